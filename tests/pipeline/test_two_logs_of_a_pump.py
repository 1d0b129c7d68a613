"""Run times from one source and energy from another: the pump's day is made of both."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import polars as pl
import pytest

from pumpledger.engine.tables import SPANS
from pumpledger.orchestration.session import Session
from pumpledger.orchestration.steps import make_spans, make_verdicts

DAY = datetime(2026, 10, 27, tzinfo=UTC)
ENERGY = """about = "energy of quarter hours"
[file]
delimiter = ","
[time]
column = "start"
format = "%Y-%m-%d %H:%M"
zone = "utc"
label = "interval_beginning"
interval_s = 900
gap_limit_s = 2700
[pump]
column = "meter"
[quantity]
energy = { column = "kwh", unit = "kWh" }
"""
TOTALS = """about = "energy counter every hour"
[file]
delimiter = ","
[time]
column = "at"
format = "%Y-%m-%d %H:%M"
zone = "utc"
label = "instant"
interval_s = 3600
gap_limit_s = 7200
[pump]
column = "meter"
[quantity]
energy_total = { column = "kwh", unit = "kWh" }
"""


def watts(minute: int) -> float:
    """The pump of this test: 1,800 rpm at 300 W from 06:00 to 14:00, 2,800 rpm at 900 W from 14:00 to 16:00."""
    return 300 if 360 <= minute < 840 else 900 if 840 <= minute < 960 else 0


def rpm(minute: int) -> int:
    return 1800 if 360 <= minute < 840 else 2800 if 840 <= minute < 960 else 0


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "inbox").mkdir()
    (tmp_path / "dialects").mkdir()
    (tmp_path / "dialects" / "energy.toml").write_text(ENERGY)
    (tmp_path / "dialects" / "totals.toml").write_text(TOTALS)
    sources = "".join(
        f'[[source]]\nname = "{name}"\nfiles = "{name}_*.csv"\ndialect = "{dialect}"\n'
        for name, dialect in (("run", "samples_5min"), ("energy", "energy"), ("totals", "totals"))
    )
    (tmp_path / "fleet.toml").write_text(f'zone = "UTC"\nmade_up = true\n{sources}')
    (tmp_path / "sites.csv").write_text(
        "site_id,site_name,zone,pool_volume_m3\nS-1,Made up,UTC,80\nS-2,Made up,UTC,80\n"
    )
    (tmp_path / "pumps.csv").write_text("pump_id,site_id\nP-1,S-1\nP-2,S-2\n")
    lines = [
        f"{DAY + timedelta(minutes=m):%Y-%m-%dT%H:%M:%SZ},{pump},{rpm(m)},{watts(m) if pump == 'P-2' else ''},\n"
        for pump in ("P-1", "P-2")
        for m in range(0, 1440, 5)
    ]
    (tmp_path / "inbox" / "run_a.csv").write_text("time_utc,pump,speed_rpm,power_w,aux\n" + "".join(lines))
    return tmp_path


def spans_of(folder: Path) -> pl.DataFrame:
    session = Session(folder)
    session.take_inbox()
    make_verdicts(session, "2026-W44")
    make_spans(session, "2026-W44")
    rows = session.lake.read(SPANS, "2026-W44").filter(day_local=date(2026, 10, 27))
    session.close()
    return rows


def by_speed(rows: pl.DataFrame, pump: str) -> list[tuple[float, float, float]]:
    """(speed, minutes, kWh) of the pump's running."""
    running = rows.filter(pl.col("pump_id") == pump, pl.col("kind") == "run")
    totals = running.group_by("speed_rpm").agg(pl.col("duration_min").sum(), pl.col("energy_kwh").sum())
    return [(speed, minutes, pytest.approx(kwh)) for speed, minutes, kwh in totals.sort("speed_rpm").rows()]


EXPECTED = [(1800, 480, 0.3 * 8), (2800, 120, 0.9 * 2)]
"""Worked out by hand: 8 h at 300 W, 2 h at 900 W."""


def test_energy_of_intervals_joins_the_speeds_of_another_log(folder: Path) -> None:
    lines = [f"{DAY + timedelta(minutes=m):%Y-%m-%d %H:%M},P-1,{watts(m) / 4000}\n" for m in range(0, 1440, 15)]
    (folder / "inbox" / "energy_a.csv").write_text("start,meter,kwh\n" + "".join(lines))
    rows = spans_of(folder)
    assert by_speed(rows, "P-1") == EXPECTED
    assert by_speed(rows, "P-2") == EXPECTED
    assert set(rows["pump_id"]) == {"P-1", "P-2"}
    # The energy log's quarter hours do not cut what the pump did.
    assert rows.filter(pl.col("pump_id") == "P-1", pl.col("kind") == "run").height == 2


def test_a_counter_joins_them_too(folder: Path) -> None:
    total, lines = 100.0, []
    for hour in range(25):
        lines.append(f"{DAY + timedelta(hours=hour):%Y-%m-%d %H:%M},P-1,{total:.3f}\n")
        total += sum(watts(60 * hour + m) for m in range(60)) / 60_000
    (folder / "inbox" / "totals_a.csv").write_text("at,meter,kwh\n" + "".join(lines))
    assert by_speed(spans_of(folder), "P-1") == EXPECTED


def test_where_one_log_is_silent_the_other_still_counts(folder: Path) -> None:
    """No energy from 10:00 on: those hours ran, and their energy is not known."""
    lines = [f"{DAY + timedelta(minutes=m):%Y-%m-%d %H:%M},P-1,{watts(m) / 4000}\n" for m in range(0, 600, 15)]
    (folder / "inbox" / "energy_a.csv").write_text("start,meter,kwh\n" + "".join(lines))
    running = spans_of(folder).filter(pl.col("pump_id") == "P-1", pl.col("kind") == "run")
    assert running["duration_min"].sum() == 600
    assert running.filter(pl.col("energy_kwh").is_not_null())["energy_kwh"].sum() == pytest.approx(0.3 * 4)
    assert running.filter(pl.col("energy_kwh").is_null())["duration_min"].sum() == 360


def test_of_two_logs_that_measure_the_same_the_first_named_stands(folder: Path) -> None:
    lines = [f"{DAY + timedelta(minutes=m):%Y-%m-%d %H:%M},P-2,{watts(m) / 2000}\n" for m in range(0, 1440, 15)]
    (folder / "inbox" / "energy_a.csv").write_text("start,meter,kwh\n" + "".join(lines))
    assert by_speed(spans_of(folder), "P-2") == EXPECTED
