"""A7 and C13 on the small fleet: an older plan, a programme nobody wrote down, and what only looks like one."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest
from clock_cases import found_of, reviewed, rows, run_programme
from small_fleet import FIRST, LAST, PLAN, WEEK_FIRST, Fleet

SUMMER = ((1, 1800, 300, 540), (2, 1200, 540, 1320))
OTHER = ((1, 2000, 420, 780), (2, 900, 780, 1080))
SPRING = date(2026, 4, 1)
NAN = float("nan")


def test_an_older_plan_is_named_with_its_day() -> None:
    fleet = Fleet()
    pump = fleet.site()
    run_programme(fleet, pump, SUMMER)
    found = reviewed(fleet, older={(pump, date(2025, 5, 1)): SUMMER, (pump, date(2025, 1, 1)): OTHER})
    assert found_of(found) == {("S1", "A7")}
    (row,) = rows(found, "A7")
    assert (row["days"], row["last_day"], row["first_day"]) == (7, LAST, FIRST)
    assert "the plan of 2025-05-01, not that of 2026-01-01." in row["sentence"]
    assert "put off" in row["sentence"] and "record is ahead" in row["sentence"]  # both readings
    assert "put off" in row["instruction"] and "out of the record" in row["instruction"]
    assert row["measured"] == 0
    # by hand: 4 h on 1800 for 05-06 off 0, 06-08 1500, 08-09 1000; 09-20 1200 for 1000; 20-22 1200 for 0, cap 400
    by_hand = (60 * 400 + 120 * 300 + 60 * 400 + 660 * 200 + 120 * 400) / 1440
    assert row["threshold"] == pytest.approx(by_hand)


def test_a_plan_put_on_record_this_week_is_not_yet_late() -> None:
    fleet = Fleet()
    pump = fleet.site()
    run_programme(fleet, pump, SUMMER, fleet.days[7:10])  # keyed in on the fourth day
    found = reviewed(fleet, older={(pump, date(2025, 5, 1)): SUMMER})
    assert found_of(found) == set()


def test_an_older_plan_an_hour_off_names_the_clock_too() -> None:
    """The older plan is today's an hour later: what runs fits both, and nothing in the log says which."""
    fleet = Fleet()
    late = tuple((k, n, a + 60, b + 60) for k, n, a, b in PLAN)
    pump = fleet.site(moved_min=lambda day: 60)
    (row,) = rows(reviewed(fleet, older={(pump, date(2025, 5, 1)): late}), "A7")
    assert "moved by +60 min fits as well: look at the clock, too" in row["sentence"]


def test_what_runs_today_is_no_older_plan() -> None:
    fleet = Fleet()
    pump = fleet.site()
    assert found_of(reviewed(fleet, older={(pump, date(2025, 5, 1)): SUMMER})) == set()


def test_a_stale_record_names_the_rows_that_run() -> None:
    fleet = Fleet()
    pump = fleet.site()
    run_programme(fleet, pump, OTHER)
    found = reviewed(fleet)
    assert found_of(found) == {("S1", "C13")}
    (row,) = rows(found, "C13")
    said = "2000 rpm from 07:00 to 13:00; 900 rpm from 13:00 to 18:00"
    assert said in row["sentence"] and said in row["instruction"]
    # by hand: 06-07 1500 lost (cap 400), 07-08 500 (400), 08-13 1000 (400), 13-18 100, 18-20 1000 (400)
    assert row["measured"] == pytest.approx((60 + 60 + 300 + 120) * 400 / 1440 + 300 * 100 / 1440)
    assert (row["days"], row["first_day"], row["severity"]) == (7, FIRST, "data")


@pytest.mark.parametrize(
    ("late_min", "found"), [((0,) * 14, {("S1", "C13")}), ((0, 15, -12, 20, -8, 12, -18) * 2, set())]
)
def test_a_plug_that_is_pulled_each_night_is_no_programme(late_min, found) -> None:
    """Round the clock at 1000 rpm, and off from about 22:00 to 07:00: a quarter hour is 10 rpm in the mean of a day."""
    fleet = Fleet()
    pump = fleet.site(plan=((1, 1000, 0, 1440),))
    for day, late in zip(fleet.days, late_min, strict=True):
        fleet.set(pump, day, 0, 1320 + late)
        fleet.set(pump, day, 0, 0, 420)
    assert found_of(reviewed(fleet)) == found


def test_a_programme_keyed_in_on_a_day_is_dated_to_it() -> None:
    fleet = Fleet()
    pump = fleet.site()
    day = date(2026, 10, 30)
    run_programme(fleet, pump, OTHER, [d for d in fleet.days if d >= day])
    (row,) = rows(reviewed(fleet), "C13")
    assert (row["first_day"], row["days"]) == (day, 7)


@pytest.mark.parametrize(("days", "found"), [(4, set()), (5, {("S1", "C13")})])
def test_five_days_make_a_programme(days: int, found: set) -> None:
    fleet = Fleet()
    pump = fleet.site()
    run_programme(fleet, pump, OTHER, fleet.days[-days:])
    assert found_of(reviewed(fleet)) == found


def test_a_wrong_clock_is_no_stale_record() -> None:
    fleet = Fleet()
    fleet.site(moved_min=lambda day: 255)
    assert found_of(reviewed(fleet)) == {("S1", "A3")}


def test_a_habit_of_the_hand_is_none() -> None:
    fleet = Fleet()
    pump = fleet.site()
    for n, day in enumerate(fleet.days):
        start = 1020 + (0, 60, 30, 75, 10, 90, 45)[n % 7]
        fleet.set(pump, day, 2800, start, start + 240)
    assert ("S1", "C13") not in found_of(reviewed(fleet))


def test_each_day_something_else_is_none() -> None:
    fleet = Fleet()
    pump = fleet.site()
    for n, day in enumerate(fleet.days):
        run_programme(fleet, pump, ((1, 1000 + 300 * (n % 7), 60 * (n % 5), 900),), [day])
    found = reviewed(fleet)
    assert found_of(found) == set()
    assert "pump or record" in rows(found, "A1")[0]["sentence"]


@pytest.mark.parametrize(
    "reason",
    ["recorded", "party", "backwash", "agreed", "standing", "freeze", "heater", "stop too early by ten minutes"],
)
def test_what_is_no_stale_record(reason: str) -> None:
    fleet = Fleet()
    pump = fleet.site(freeze_speed_rpm=1125.0, freeze_setpoint_c=3.0, aux_load="heater", aux_min_speed_rpm=1800.0)
    for n, day in enumerate(fleet.days):
        if reason == "party" and n == 10:
            fleet.set(pump, day, 3000, 960, 1380)
        if reason == "backwash" and n == 9:
            fleet.set(pump, day, 2800, 600, 640)
        if reason == "agreed" and n >= 7:
            fleet.set(pump, day, 2600, 900, 1200)
            fleet.visit("S1", day, "agreed override")
        if reason == "standing" and n >= 7:
            fleet.set(pump, day, 0)
        if reason == "freeze":
            fleet.set(pump, day, 1125, 0, 360)
        if reason == "heater":
            fleet.set(pump, day, 1800, 600, 840)
            fleet.load_on(pump, day, 600, 840)
        if reason == "stop too early by ten minutes":
            fleet.set(pump, day, 0, 1190, 1200)
    assert ("S1", "C13") not in found_of(reviewed(fleet))


def test_a_load_that_is_on_all_along_hides_nothing() -> None:
    """The chlorinator runs with the pump, whose speed is 200 rpm over the record and not the load's lowest."""
    fleet = Fleet()
    pump = fleet.site(aux_load="chlorinator", aux_min_speed_rpm=900.0)
    run_programme(fleet, pump, ((1, 1500, 360, 480), (2, 1200, 480, 1200)))
    for day in fleet.days:
        fleet.load_on(pump, day, 360, 1200)
    assert found_of(reviewed(fleet)) == {("S1", "C13")}


def test_full_speed_all_day_stands_above_it() -> None:
    fleet = Fleet()
    pump = fleet.site()
    for day in fleet.days:
        fleet.set(pump, day, 3450)
    (row,) = rows(reviewed(fleet), "C13")
    assert row["explained_by"] == "C6"


def test_days_of_25_hours_and_of_holes_are_no_evidence() -> None:
    """Of the week's days, three have holes: four are left, one too few."""
    fleet = Fleet()
    pump = fleet.site()
    run_programme(fleet, pump, OTHER, fleet.days[6:])  # from the day of 25 h on
    for day in fleet.days[8:11]:
        fleet.set(pump, day, NAN, 0, 400)
    found = reviewed(fleet)
    assert found_of(found) == set()
    fleet.set(pump, fleet.days[8], 0, 0, 400)
    run_programme(fleet, pump, OTHER, [fleet.days[8]])
    (row,) = rows(reviewed(fleet), "C13")
    assert (row["days"], row["first_day"]) == (5, WEEK_FIRST)


def test_no_plan_and_no_speed_are_not_accused() -> None:
    fleet = Fleet()
    fleet.site("S1", plan=None)
    blind = fleet.site("S2")
    for day in fleet.days:
        fleet.set(blind, day, NAN)
    found = reviewed(fleet)
    assert found_of(found) == set()
    assert {row["site_id"]: "cannot tell" in row["sentence"] for row in rows(found, "A1")} == {"S1": True, "S2": True}


def test_a_controller_that_runs_on_its_own_clock_is_read_off_as_it_runs() -> None:
    """Rows are on the quarter hour: a stop at 13:04 is 13:00, one at 13:09 is 13:15."""
    for stop, shown in ((784, "13:00"), (789, "13:15")):
        fleet = Fleet()
        pump = fleet.site()
        run_programme(fleet, pump, ((1, 2000, 420, stop),))
        (row,) = rows(reviewed(fleet), "C13")
        assert f"2000 rpm from 07:00 to {shown}." in row["instruction"]


def test_a_day_moves_with_its_pump_alone() -> None:
    fleet = Fleet()
    first = fleet.site()
    second = fleet.second_pump("S1")
    run_programme(fleet, second, OTHER)
    found = reviewed(fleet)
    assert [row["component"] for row in rows(found, "C13")] == [second] and first != second
    assert np.isfinite(rows(found, "C13")[0]["measured"]) and fleet.days[0] + timedelta(days=13) == LAST
