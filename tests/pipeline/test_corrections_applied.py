"""A doubt that a person confirms corrects the readings, and nothing else; a refused one lets them stand.

The fleet is made up: two pumps of one source whose power stands in kW under a dialect that says W, and one pump of
another source that is right.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import polars as pl
import pytest

from pumpledger.engine.tables import DOUBTS, VERDICTS
from pumpledger.orchestration.session import Session
from pumpledger.orchestration.steps import make_daily, make_spans, make_verdicts
from tests.command import Done, run

MONDAY = datetime(2026, 10, 26, tzinfo=UTC)
WEEK = "2026-W44"


def log(pumps: list[str], scale: float) -> str:
    """A week of five-minute samples: 1,800 rpm at 300 W from 06:00 to 18:00."""
    lines = ["time_utc,pump,speed_rpm,power_w,aux\n"]
    for step in range(7 * 288):
        moment = MONDAY + timedelta(minutes=5 * step)
        running = 6 <= moment.hour < 18
        for number, pump in enumerate(pumps):
            watts = (300 + 20 * number + step % 7) * scale if running else 0
            lines.append(f"{moment:%Y-%m-%dT%H:%M:%SZ},{pump},{1800 if running else 0},{watts:.4f},\n")
    return "".join(lines)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "inbox").mkdir()
    sources = "".join(
        f'[[source]]\nname = "{name}"\nfiles = "{name}_*.csv"\ndialect = "samples_5min"\n'
        for name in ("north", "south")
    )
    (tmp_path / "fleet.toml").write_text(f'zone = "UTC"\nmade_up = true\n{sources}')
    pumps = ["P-1", "P-2", "P-3"]
    sites = "".join(f"S-{pump[-1]},Made up,UTC,80\n" for pump in pumps)
    (tmp_path / "sites.csv").write_text(f"site_id,site_name,zone,pool_volume_m3\n{sites}")
    (tmp_path / "pumps.csv").write_text("pump_id,site_id\n" + "".join(f"{pump},S-{pump[-1]}\n" for pump in pumps))
    (tmp_path / "inbox" / "north_a.csv").write_text(log(["P-1", "P-2"], 0.001))
    (tmp_path / "inbox" / "south_a.csv").write_text(log(["P-3"], 1))
    return tmp_path


def taken(folder: Path) -> tuple[pl.DataFrame, pl.DataFrame, dict[str, float]]:
    """Verdicts, doubts, and the greatest power by pump, after a run."""
    session = Session(folder)
    session.take_inbox()
    for step in (make_verdicts, make_spans, make_daily):
        step(session, WEEK)
    files = session.lake.readings_files(WEEK)
    rows = pl.concat([pl.read_parquet(path, glob=False) for path in files])
    most = dict(rows.group_by("pump_id").agg(pl.col("power_w").max()).iter_rows())
    verdicts, doubts = session.lake.read(VERDICTS, WEEK), session.lake.read(DOUBTS, WEEK)
    session.close()
    return verdicts, doubts, most


def decide(folder: Path, *arguments: str) -> Done:
    return run("verdict", folder, *arguments)


def test_a_confirmed_unit_is_applied_once_for_its_pumps(folder: Path) -> None:
    verdicts, doubts, most = taken(folder)
    assert most["P-1"] < 1 < most["P-3"]
    assert set(verdicts["mode"]) == {"B4"} and set(verdicts["remedy"]) == {"power x1000"}
    assert set(doubts["pump_id"]) == {"P-1", "P-2"}
    ids = verdicts["verdict_id"].unique().to_list()
    done = decide(folder, *[word for name in ids for word in ("--confirm", name)], "--by", "Made-up Manager")
    assert done.returncode == 0, done.stderr
    verdicts, doubts, corrected = taken(folder)
    assert corrected == {"P-1": pytest.approx(306), "P-2": pytest.approx(326), "P-3": pytest.approx(306)}
    assert verdicts.is_empty() and doubts.is_empty()
    session = Session(folder)
    assert not session.look_at_inbox(), "nothing is read a third time"


def test_a_refused_one_lets_the_readings_stand(folder: Path) -> None:
    verdicts, _, before = taken(folder)
    ids = verdicts["verdict_id"].unique().to_list()
    assert (
        decide(folder, *[word for name in ids for word in ("--refuse", name)], "--by", "Made-up Manager").returncode
        == 0
    )
    verdicts, doubts, after = taken(folder)
    assert after == before
    assert set(verdicts["state"]) == {"refused"} and not verdicts["blocks"].any()
    # A third of a watt is no running pump whoever says so: what still holds it back is the expectation on the site's days.
    assert all(text.startswith("not true that") for text in doubts["doubt"])


def test_a_clamp_on_backwards_is_one_doubt_and_no_row_is_refused(folder: Path) -> None:
    (folder / "inbox" / "north_a.csv").write_text(log(["P-1", "P-2"], -1))
    verdicts, _, before = taken(folder)
    assert before["P-1"] == 0
    assert set(verdicts["mode"]) == {"B10"} and set(verdicts["remedy"]) == {"power x-1"} and verdicts["blocks"].all()
    session = Session(folder)
    assert session.standing.sums()["quarantine"] == 0
    ids = verdicts["verdict_id"].unique().to_list()
    assert (
        decide(folder, *[word for name in ids for word in ("--confirm", name)], "--by", "Made-up Manager").returncode
        == 0
    )
    verdicts, doubts, after = taken(folder)
    assert after == {"P-1": pytest.approx(306), "P-2": pytest.approx(326), "P-3": pytest.approx(306)}
    assert verdicts.is_empty() and doubts.is_empty()
