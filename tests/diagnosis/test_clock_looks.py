"""How far apart a log looks, and what of a clock's lateness is only that; outages that a log without a hole shows; a
step at the speed of the frost that keeps its hours."""

from __future__ import annotations

from datetime import date, timedelta

import polars as pl
import pytest
from clock_cases import found_of, reviewed, rows, run_programme, tables
from small_clock import midnight
from small_fleet import FIRST, LAST, PLAN, WEEK, Fleet

from pumpledger.diagnosis.run import diagnose
from pumpledger.engine.tables import EXPORTS, READINGS


def looked(fleet: Fleet, pump: str, hold_s: int, interval_s: int | None = None) -> pl.DataFrame:
    """FINDINGS of the fleet whose pump has a log of this interval: of instants, or with ``interval_s`` of means."""
    with tables(fleet) as db:
        export = {**dict.fromkeys(EXPORTS.columns), "export_id": "e1", "status": "read", "hold_s": hold_s}
        db.load("export", pl.DataFrame([export], schema=EXPORTS.schema))
        reading = {**dict.fromkeys(READINGS.columns), "pump_id": pump, "export_id": "e1", "interval_s": interval_s,
                   "time_utc": midnight(LAST), "day_local": LAST}  # fmt: skip
        db.load("reading", pl.DataFrame([reading], schema=READINGS.schema))
        diagnose(db, WEEK, LAST)
        return db.table("finding")


@pytest.mark.parametrize(
    ("seen_late", "hold_s", "interval_s", "is_found"),
    [
        (15, 900, None, False),  # really 0 to 15 min late: 7.5 in the middle
        (15, 900, 900, True),  # means say it to the minute
        (15, 0, None, True),  # changes of state, too
        (15, 300, None, True),  # really 10 to 15: 12.5 in the middle
        (12, 300, None, False),
        (30, 900, None, True),  # 15 to 30
        (-15, 900, None, True),  # 15 to 30 min early
    ],
)
def test_what_a_log_sees_late_is_not_the_clock(seen_late, hold_s, interval_s, is_found) -> None:
    fleet = Fleet()
    pump = fleet.site(moved_min=lambda day: seen_late)
    assert found_of(looked(fleet, pump, hold_s, interval_s)) == ({("S1", "A3")} if is_found else set())


@pytest.mark.parametrize(("step_min", "is_found"), [(5, True), (15, False)])
def test_a_log_looks_as_seldom_as_on_the_coarsest_of_its_days(step_min, is_found) -> None:
    """Each five minutes on the last day, and as often or each quarter hour on the two before: in an hour fewer readings."""
    fleet = Fleet()
    fleet.site(moved_min=lambda day: 15)
    steps = [(LAST - timedelta(days=back), step_min if back else 5) for back in range(3)]
    with tables(fleet) as db:
        export = {**dict.fromkeys(EXPORTS.columns), "export_id": "e1", "status": "read", "hold_s": 300}
        db.load("export", pl.DataFrame([export], schema=EXPORTS.schema))
        blank = {**dict.fromkeys(READINGS.columns), "pump_id": "P-S1", "export_id": "e1"}
        readings = [
            {**blank, "time_utc": midnight(day) + timedelta(minutes=minute), "day_local": day}
            for day, step in steps
            for minute in range(0, 60, step)
        ]
        db.load("reading", pl.DataFrame(readings, schema=READINGS.schema))
        diagnose(db, WEEK, LAST)
        assert found_of(db.table("finding")) == ({("S1", "A3")} if is_found else set())


# A clock that was out before the change of clocks


@pytest.mark.parametrize(("since", "rule"), [(date(2026, 10, 30), "A3"), (date(2026, 11, 1), "A2")])
def test_a_clock_out_before_the_change_is_out_for_another_reason(since, rule) -> None:
    fleet = Fleet()
    fleet.site(moved_min=lambda day: -60 if day >= since else 0)
    assert found_of(reviewed(fleet)) == {("S1", rule)}


# An outage that a log without a hole shows


def stopped(begin_min: int, until_min: int, moved_min: int) -> Fleet:
    """The pump of PLAN (6:00 to 20:00) stands on 29 October from ``begin_min``, and from ``until_min`` on runs by a clock
    that is ``moved_min`` late."""
    fleet = Fleet()
    day = date(2026, 10, 29)
    pump = fleet.site(moved_min=lambda other: moved_min if other > day else 0)
    moved = fleet.speed[pump, day + timedelta(days=1)]
    fleet.set(pump, day, 0.0, begin_min, until_min)
    fleet.speed[pump, day][until_min:] = moved[until_min:]
    return fleet


def test_a_stop_in_which_the_clock_began_anew() -> None:
    """It stops at 10:00; at 13:00 the supply is back and the clock reads 00:00, so that it waits for its 6:00 until 19:00."""
    found = reviewed(stopped(600, 1140, 780))
    assert found_of(found) == {("S1", "A5")}
    (row,) = rows(found, "A5")
    assert "it stood from 10:00 on 2026-10-29, and its clock began at 00:00 at about 13:00" in row["sentence"]


def test_a_stop_at_another_time_explains_nothing() -> None:
    """It stands from 10:00 to 12:00; a clock that read 00:00 in it would be 10 to 12 h late, and not five."""
    assert found_of(reviewed(stopped(600, 720, 300))) == {("S1", "A3")}


def test_a_clock_set_by_hand_ends_the_plan_earlier_and_that_is_no_outage() -> None:
    """PLAN until 23:30, set two hours ahead: it ends at 21:30, and the wall clock reads 22:00 in what is missing."""
    fleet = Fleet()
    day = date(2026, 10, 29)
    late = ((1, 1500, 360, 480), (2, 1000, 480, 1410))
    pump = fleet.site(plan=late, moved_min=lambda other: -120 if other > day else 0)
    fleet.set(pump, day, 0.0, 1290, 1410)
    assert found_of(reviewed(fleet)) == {("S1", "A3")}


# A step at the speed keyed in for frost


def test_a_step_that_keeps_its_hours_is_no_frost() -> None:
    fleet = Fleet()
    pump = fleet.site(freeze_speed_rpm=1700.0)
    run_programme(fleet, pump, ((1, 1500, 360, 480), (2, 1700, 480, 1200)))
    (row,) = rows(reviewed(fleet), "C13")
    assert row["verdict"] == "found" and "1700 rpm from 08:00 to 20:00" in row["sentence"]


def test_nights_at_the_speed_of_frost_are_no_programme() -> None:
    fleet = Fleet()
    pump = fleet.site(freeze_speed_rpm=1700.0)
    run_programme(fleet, pump, (*PLAN, (3, 1700, 0, 300)), [day for day in fleet.days if day >= FIRST])
    assert [row["verdict"] for row in rows(reviewed(fleet), "C13")] == []
