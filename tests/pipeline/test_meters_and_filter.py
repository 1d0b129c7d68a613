"""Two meters that disagree and a filter that loads, through intake, spans, daily accounts and savings.

Nine invented pumps run 10 h a day at 1725 rpm and draw 450 W, in a fleet log with power and an energy counter. From the
second week on P1's filter loads, until it is cleaned on the Thursday; on one day P2's counter runs a tenth too fast.
"""

from __future__ import annotations

from datetime import date, datetime, timedelta
from pathlib import Path

import polars as pl
import pytest

from pumpledger.engine.account_tables import BALANCE, LOADING
from pumpledger.orchestration import steps
from pumpledger.orchestration.session import Session
from tests.fleet_folder import day_of, saving_of, write_fleet

FIRST = date(2026, 9, 7)  # a Monday
WEEK = "2026-W38"
DIALECT = """about = "Test dialect: states each hour with speed, watts and a counter; ISO time with offset."
[file]
delimiter = ","
[time]
column = "at"
format = "%Y-%m-%dT%H:%M:%S%z"
zone = "offset"
label = "change_of_state"
gap_limit_s = 7200
[pump]
column = "pump"
[quantity]
speed = { column = "rpm", unit = "rpm" }
power = { column = "w", unit = "W" }
energy_total = { column = "kwh", unit = "kWh" }
"""
MONDAY = FIRST + timedelta(days=7)
CLEANED = FIRST + timedelta(days=10)
FAST_DAY = FIRST + timedelta(days=8)
CURVE = "curve,speed_rpm,flow_m3h,head_m\n" + "".join(
    f"C,3450,{flow},{18 * (1 - (flow / 36) ** 2):.4f}\n" for flow in (0, 9, 18, 27, 36)
)


def watts(pump: int, day: date) -> float:
    """450 W; P1 a twelfth less from the second week until it is cleaned."""
    loaded = pump == 1 and FIRST + timedelta(days=7) <= day < CLEANED
    return 450 * (11 / 12 if loaded else 1)


def log() -> str:
    rows = ["at,pump,rpm,w,kwh"]
    for pump in range(1, 10):
        total = 100.0 * pump
        for count in range(14):
            day = FIRST + timedelta(days=count)
            fast = 1.10 if pump == 2 and day == FAST_DAY else 1.0
            power = watts(pump, day)
            for hour in range(24):
                rpm, draw = (1725, power) if 8 <= hour < 18 else (0, 4.0)
                at = datetime(day.year, day.month, day.day, hour).isoformat()
                rows.append(f"{at}-0700,P{pump},{rpm},{draw:.2f},{total:.2f}")
                total += draw / 1000 * fast
        end = FIRST + timedelta(days=14)
        rows.append(f"{datetime(end.year, end.month, end.day).isoformat()}-0700,P{pump},0,4.00,{total:.2f}")
    return "\n".join(rows) + "\n"


@pytest.fixture(scope="module")
def session(tmp_path_factory: pytest.TempPathFactory) -> Session:
    folder: Path = tmp_path_factory.mktemp("meters")
    sites = "site_id,site_name,pool_volume_m3,required_turnovers\n" + "".join(
        f"H{number},Made-up {number},80,0.5\n" for number in range(1, 10)
    )
    pumps = (
        "pump_id,site_id,curve,full_speed_rpm,static_head_m,design_flow_m3h,design_head_m,baseline_power_w,"
        "baseline_hours_per_day,baseline_evidence\n"
        + "".join(f"P{number},H{number},C,3450,0,20,12,1500,8,measured\n" for number in range(1, 10))
    )
    visits = f"site_id,pump_id,day_local,work\nH1,P1,{CLEANED},cleaning\n"
    files = {
        "dialects/own.toml": DIALECT,
        "inbox/own_1.csv": log(),
        "sites.csv": sites,
        "pumps.csv": pumps,
        "pump_curves.csv": CURVE,
        "visits.csv": visits,
    }
    made = Session(write_fleet(folder, files, {"own": ("own_*.csv", "own")}))
    made.take_inbox()
    steps.make_spans(made, "2026-W37")
    for step in (steps.make_spans, steps.make_daily, steps.make_savings):
        step(made, WEEK)
    yield made
    made.close()


def row_of(session: Session, table: object, pump: str, day: date) -> dict:
    return (
        session.lake.read(table, WEEK)
        .filter((pl.col("pump_id") == pump) & (pl.col("day_local") == day))
        .row(0, named=True)
    )


def test_meters_that_agree_pass(session: Session) -> None:
    row = row_of(session, BALANCE, "P2", MONDAY)
    assert (row["verdict"], row["compared_min"]) == ("pass", pytest.approx(1440))
    assert row["power_same_kwh"] == pytest.approx(4.5 + 0.056)
    assert row["counter_same_kwh"] == pytest.approx(4.5 + 0.056, abs=0.01)
    assert row["last_digit_kwh"] == 0.01
    assert row["standby_kwh"] == pytest.approx(0.056)
    # Standby is part of the day's energy.
    assert day_of(session, WEEK, "P2", MONDAY)["energy_kwh_mid"] == pytest.approx(4.5 + 0.056)
    assert saving_of(session, WEEK, "H2", MONDAY)["counted"]


def test_a_counter_a_tenth_too_fast_strikes_the_day_alone(session: Session) -> None:
    row = row_of(session, BALANCE, "P2", FAST_DAY)
    assert (row["verdict"], row["difference_share"]) == ("disqualifies", pytest.approx(1 / 1.1 - 1, abs=0.002))
    saving = saving_of(session, WEEK, "H2", FAST_DAY)
    assert not saving["counted"]
    assert "power and counter differ by 9." in saving["reason"]
    assert saving_of(session, WEEK, "H2", FAST_DAY + timedelta(days=1))["counted"]
    assert saving_of(session, WEEK, "H3", FAST_DAY)["counted"]


def test_a_loaded_filter_lowers_the_volume_until_it_is_cleaned(session: Session) -> None:
    before = CLEANED - timedelta(days=1)
    row = row_of(session, LOADING, "P1", before)
    assert (row["state"], row["power_index_mid"]) == ("loading", pytest.approx(11 / 12, abs=0.002))
    clean = day_of(session, WEEK, "P3", before)  # the same pump, curve and plan
    loaded, after = (day_of(session, WEEK, "P1", day) for day in (before, CLEANED + timedelta(days=1)))
    for bound in ("lo", "mid", "hi"):
        factor = row[f"flow_factor_{bound}"]
        assert 0 < factor < 1
        assert loaded[f"volume_m3_{bound}"] == pytest.approx(clean[f"volume_m3_{bound}"] * factor)
        assert after[f"volume_m3_{bound}"] == pytest.approx(clean[f"volume_m3_{bound}"])
    assert row_of(session, LOADING, "P1", CLEANED)["state"] == "clean"
    others = session.lake.read(LOADING, WEEK).filter(pl.col("pump_id") != "P1")
    assert "loading" not in others["state"].to_list()
