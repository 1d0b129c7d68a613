"""A1, A2, A3 and A5 on the small fleet, over the 25-hour day 2026-11-01. Signs: a clock not set back runs an hour early by the
wall clock."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import polars as pl
import pytest
from clock_cases import CHANGE, found_of, reviewed, rows
from hypothesis import given, settings
from hypothesis import strategies as st
from small_clock import planned_rpm
from small_fleet import FIRST, LAST, PLAN, WEEK

from pumpledger.diagnosis.clock import matched
from pumpledger.diagnosis.clock_days import PumpDays, edge_lateness, taken_whole
from pumpledger.diagnosis.run import diagnose
from pumpledger.engine.clock_tables import CLOCK_DAYS
from pumpledger.profile.plan_match import SHIFTED, MatchLimits

ASKED = ("A1", "A2", "A3", "A5", "B5", "C10", "C13")
SYMMETRIC = ((1, 1500, 360, 600), (2, 1500, 1080, 1320))


def test_healthy_site_over_the_25_hour_day_says_nothing(fleet, findings) -> None:
    fleet.tariff("evening")
    fleet.site(tariff="evening", plan=((1, 1500, 120, 240), (2, 1000, 240, 960)))  # over before the peak begins
    assert findings(fleet, asked=()).is_empty()


def test_twelve_hours_out(fleet, findings) -> None:
    pump = fleet.site(moved_min=lambda day: 720)
    found = findings(fleet)
    (row,) = rows(found, "A1")
    assert (row["verdict"], row["component"], row["measured"], row["days"], row["rank"]) == ("found", pump, 720, 7, 1)
    assert (row["first_day"], row["last_day"]) == (date(2026, 10, 26), date(2026, 11, 8))  # all that was seen
    assert "or the record" in row["sentence"]
    assert [r["explained_by"] for r in rows(found, "C10")] == ["A1"]


@pytest.mark.parametrize("moved", [0, 15, 60])
def test_a_clock_right_or_odd_is_not_twelve_hours_out(fleet, findings, moved) -> None:
    fleet.site(moved_min=lambda day: moved)
    assert all(row["verdict"] == "cannot tell" for row in rows(findings(fleet), "A1"))


def test_not_moved_at_the_clock_change(fleet, findings) -> None:
    fleet.site(moved_min=lambda day: -60 if day >= CHANGE else 0)
    (row,) = rows(findings(fleet), "A2")
    assert (row["verdict"], row["measured"], row["threshold"], row["first_day"]) == (
        "found",
        -60,
        -60,
        date(2026, 11, 2),
    )
    assert "Before the clock change" in row["sentence"]


@pytest.mark.parametrize("moved", [lambda day: 60 if day >= CHANGE else 0, lambda day: -60])
def test_an_hour_the_wrong_way_or_from_before_the_change_is_not_put_down_to_it(fleet, findings, moved) -> None:
    fleet.site(moved_min=moved)
    found = findings(fleet)
    assert rows(found, "A2") == []
    (row,) = rows(found, "A3")
    first = CHANGE + timedelta(days=1) if moved(FIRST) == 0 else FIRST  # a day of 25 h is not matched
    assert (row["verdict"], row["measured"], row["first_day"]) == ("found", moved(CHANGE), first)


@pytest.mark.parametrize(("kept", "rule"), [(3, "A3"), (2, "A2")])
def test_a_clock_that_kept_its_plan_after_the_change_was_moved_at_it(fleet, findings, kept, rule) -> None:
    """Three days from the change on (one of 25 h is not matched) part it from a change that is dated a day late."""
    fleet.site(moved_min=lambda day: -60 if day > CHANGE + timedelta(days=kept) else 0)
    found = findings(fleet)
    assert [name for name in ("A2", "A3") if rows(found, name)] == [rule]


def test_plans_that_cannot_be_checked_say_so(fleet, findings) -> None:
    fleet.site("S1", plan=SYMMETRIC, moved_min=lambda day: 720)
    fleet.site("S2", plan=((1, 1000, 0, 1440),))
    fleet.site("S3", plan=None)
    found = findings(fleet)
    sentences = {row["site_id"]: row["sentence"] for row in rows(found, "A1")}
    assert "the clock cannot be checked from this plan" in sentences["S1"]
    assert "the clock cannot be checked from this plan" in sentences["S2"]
    assert sentences["S3"] == "cannot tell: needs the plan of this pump in plans.csv"
    assert found.filter(found["rule_id"].is_in(["A1", "A2"]))["verdict"].unique().to_list() == ["cannot tell"]


def test_too_few_valid_days(fleet, findings) -> None:
    pump = fleet.site(moved_min=lambda day: 720)
    for day in fleet.days[9:]:
        fleet.set(pump, day, float("nan"), 0, 300)
    (row,) = rows(findings(fleet), "A1")
    assert row["sentence"].startswith("cannot tell: needs more valid days")


def test_another_programme_is_pump_or_record(fleet, findings) -> None:
    pump = fleet.site()
    for day in fleet.days:
        fleet.set(pump, day, 0, 0, None)
        fleet.set(pump, day, 2000, 300, 900)
    found = findings(fleet)
    assert rows(found, "A1") == []
    (row,) = rows(found, "C13")
    assert row["verdict"] == "found" and "2000 rpm from 05:00 to 15:00" in row["instruction"]
    assert [r["verdict"] for r in rows(found, "C10")] == ["cannot tell"]


def test_a_whole_source_shifted_accuses_no_site(fleet, findings) -> None:
    for n in range(5):
        fleet.site(f"S{n}", moved_min=lambda day: 720)
    found = findings(fleet)
    (row,) = rows(found, "A1")
    assert (row["verdict"], row["site_id"], row["component"], row["measured"]) == (
        "cannot tell",
        "",
        "coast gateway",
        720,
    )
    assert {row["verdict"] for row in rows(found, "C10")} == {"cannot tell"}


def test_four_shifted_of_six_are_accused(fleet, findings) -> None:
    for n in range(6):
        fleet.site(f"S{n}", moved_min=lambda day, n=n: 720 if n < 4 else 0)
    assert [row["verdict"] for row in rows(findings(fleet), "A1")] == ["found"] * 4


# A3, A5: an odd amount, and the outage that brought it


@pytest.mark.parametrize("moved", [15, -90, 255, 600])
def test_an_odd_amount_since_a_day(fleet, findings, moved) -> None:
    since = date(2026, 10, 31)
    fleet.site(moved_min=lambda day: moved if day >= since else 0)
    found = findings(fleet)
    (row,) = rows(found, "A3")
    assert (row["verdict"], row["measured"], row["first_day"], row["days"]) == ("found", moved, since, 7)
    assert f"{abs(moved)} min {'late' if moved > 0 else 'early'}" in row["sentence"]
    assert found_of(found) == {("S1", "A3")}


@pytest.mark.parametrize(("moved", "found"), [(5, False), (11, False), (14, True), (18, True)])
def test_a_few_minutes_are_none(fleet, findings, moved, found) -> None:
    fleet.site(moved_min=lambda day: moved)
    assert found_of(findings(fleet)) == ({("S1", "A3")} if found else set())


@pytest.mark.parametrize("edge", ["start", "change", "stop"])
def test_one_edited_time_is_no_clock(fleet, findings, edge) -> None:
    """One time of the record is half an hour off: the other two changes say that the clock is right."""
    start, change, stop = (360 + 30 * (edge == "start"), 480 + 30 * (edge == "change"), 1200 + 30 * (edge == "stop"))
    pump = fleet.site()
    for day in fleet.days:
        fleet.speed[pump, day] = planned_rpm(((1, 1500, start, change), (2, 1000, change, stop)), day)
    assert found_of(findings(fleet)) == set()


def test_an_odd_amount_needs_five_days_and_says_so(fleet, findings) -> None:
    fleet.site(moved_min=lambda day: 255 if day >= date(2026, 11, 5) else 0)
    (row,) = rows(findings(fleet), "A3")
    assert row["verdict"] == "cannot tell" and "so far on 4 days of 5" in row["sentence"]


def outage(fleet, day: date, start_min: int, stop_min: int, late_min: int, hole: float = float("nan")) -> str:
    """A pump that is not seen for a while, and runs late from the end of it on."""
    pump = fleet.site(moved_min=lambda other: late_min if other > day else 0)
    after = planned_rpm(PLAN, day, late_min)
    fleet.speed[pump, day][stop_min:] = after[stop_min:]
    fleet.set(pump, day, hole, start_min, stop_min)
    return pump


@pytest.mark.parametrize(
    ("day", "stop_min", "late_min", "reads"),
    [
        (date(2026, 10, 29), 320, 320, "at 05:20 left it at 00:00"),
        (date(2026, 10, 29), 320, 320 - 720, "at 05:20 left it at 12:00"),
        (date(2026, 10, 29), 725, 725, "at 12:05 left it at 00:00"),  # as good as half a day, and no hand's
        (CHANGE, 380, 320, "at 05:20 left it at 00:00"),  # 380 min after midnight of the day of 25 h
    ],
)
def test_a_clock_that_began_anew_after_an_outage(fleet, findings, day, stop_min, late_min, reads) -> None:
    outage(fleet, day, stop_min - 190, stop_min, late_min)
    found = findings(fleet)
    assert found_of(found) == {("S1", "A5")}
    (row,) = rows(found, "A5")
    assert reads in row["sentence"] and "battery" in row["instruction"]
    assert (row["severity"], row["first_day"]) == ("this week", day + timedelta(days=1))


@pytest.mark.parametrize(
    ("day", "start_min", "stop_min"),
    [
        (date(2026, 10, 29), 100, 280),  # ended 40 min earlier than the clock could have stood at 00:00
        (date(2026, 10, 27), 130, 320),  # ended at the right hour, two days before
    ],
)
def test_an_outage_at_another_time_explains_nothing(fleet, findings, day, start_min, stop_min) -> None:
    pump = fleet.site(moved_min=lambda other: 320 if other >= date(2026, 10, 30) else 0)
    fleet.set(pump, day, float("nan"), start_min, stop_min)
    assert found_of(findings(fleet)) == {("S1", "A3")}


@pytest.mark.parametrize(
    ("plan", "late_min"),
    [
        (((1, 1500, 0, 120), (2, 1000, 120, 840)), 120),  # it stands until 02:00, when its own clock reads 00:00
        (((1, 1500, 600, 700), (2, 1000, 700, 1410)), -30),  # it stops at 23:00, and the record at 23:30
    ],
)
def test_what_any_wrong_clock_makes_is_no_outage(fleet, findings, plan, late_min) -> None:
    fleet.site(plan=plan, moved_min=lambda day: late_min if day >= date(2026, 10, 29) else 0)
    assert found_of(findings(fleet)) == {("S1", "A3")}


@pytest.mark.parametrize(("stops_at", "rule"), [(565, "A1"), (700, "A5")])
def test_a_hole_after_a_pump_stopped_did_not_set_its_clock(fleet, findings, stops_at, rule) -> None:
    """Half a day out since 09:25, when it stopped and its log went on; a hole ends at 12:05. Or it ran until the hole."""
    pump = outage(fleet, date(2026, 10, 29), 700, 725, 720)
    fleet.set(pump, date(2026, 10, 29), 0, stops_at, 700)
    assert found_of(findings(fleet)) == {("S1", rule)}


@pytest.mark.parametrize(("stop_min", "rule"), [(600, "A5"), (560, "A3")])
def test_an_outage_on_the_first_day_that_the_log_holds(fleet, findings, stop_min, rule) -> None:
    """No day before it shows the clock right; an outage that ends 40 min before the clock stood at 00:00 is another's."""
    pump = fleet.site(moved_min=lambda day: 600)
    fleet.set(pump, fleet.days[0], float("nan"), 300, stop_min)
    assert found_of(findings(fleet)) == {("S1", rule)}


@pytest.mark.parametrize("later", [0, 1, 2])
def test_an_outage_on_one_of_the_first_days(fleet, findings, later) -> None:
    """An hour without power leaves most of the day to be seen, and one or two right days before it are no offset yet."""
    outage(fleet, fleet.days[later], 540, 600, 600)
    assert found_of(findings(fleet)) == {("S1", "A5")}


def test_a_single_day_that_shows_more_than_the_others_does_not_speak_for_them() -> None:
    """On six days of seven, 240 min late, a load sets the speed of the last five hours; the seventh shows them, and is right."""
    plan = np.where((np.arange(96) >= 24) & (np.arange(96) < 80), 1000.0, 0.0)
    late = np.where(np.arange(96) < 76, np.roll(plan, 16), np.nan)
    days = np.array([date(2026, 11, 2) + timedelta(days=n) for n in range(7)], dtype="datetime64[D]")
    pump = PumpDays(
        np.array(["P-1"] * 7), days, np.ones(7, dtype=bool), np.stack([late] * 6 + [plan]), np.stack([plan] * 7)
    )
    (clock,) = matched(pump, {}, MatchLimits(), 3).values()
    assert (clock.verdict, clock.shift_min, clock.best_rpm) == (SHIFTED, 240, 0.0)
    assert np.isnan(clock.observed[-1, 76:]).all()


@pytest.mark.parametrize(("moved", "put_back"), [(48, True), (0, False)])
def test_what_a_load_seems_to_ask_for_is_the_plan_where_that_explains_it_as_a_whole(moved, put_back) -> None:
    """A plan of ten hours, half a day out, whose second half was set aside; one that keeps its hours lets the rest stay aside."""
    plan = np.where((np.arange(96) >= 20) & (np.arange(96) < 60), 1000.0, 0.0)[None]
    ran = np.roll(plan, moved, axis=1)
    aside = np.where((np.roll(np.arange(96), moved) >= 40)[None] & (ran > 0), np.nan, ran)
    taken = taken_whole(aside, ran, plan, MatchLimits())
    assert np.array_equal(taken, ran if put_back else aside, equal_nan=True)


def test_what_a_load_asks_for_beside_a_moved_plan_stays_aside() -> None:
    """Five hours beside the plan are 52 rpm of the day, more than a moved plan leaves."""
    plan = np.where((np.arange(96) >= 20) & (np.arange(96) < 60), 1000.0, 0.0)[None]
    ran = np.roll(plan, 24, axis=1)
    aside = ran.copy()
    ran[:, :20], aside[:, :20] = 1000.0, np.nan
    assert np.array_equal(taken_whole(aside, ran, plan, MatchLimits()), aside, equal_nan=True)


def test_two_days_before_a_clock_went_wrong_are_enough_to_date_it(fleet, findings) -> None:
    """Five days of seven: with three days of before it would count four."""
    last = date(2026, 11, 8)
    pump = fleet.site(moved_min=lambda day: 255 if day >= last - timedelta(days=4) else 0)
    for day in fleet.days:
        if day < last - timedelta(days=6):
            fleet.set(pump, day, float("nan"), 0, 1440)
    (row,) = rows(findings(fleet), "A3")
    assert (row["verdict"], row["days"], row["first_day"]) == ("found", 5, last - timedelta(days=4))


def test_a_pump_seen_standing_through_an_outage(fleet, findings) -> None:
    """The logger lives on: the pump stands while its plan asks for 1,000 rpm, until 12:15, and its clock begins at 00:00."""
    outage(fleet, date(2026, 10, 29), 600, 735, 735, hole=0.0)
    # At 12:15 by the wall the clock reads 00:00 and the plan pauses, so that the end of the outage is not to be seen
    assert found_of(findings(fleet)) == {("S1", "A1")}  # 12 h and a quarter: within the quarter hour of the match


# Whole sources


@pytest.mark.parametrize(("state", "expected"), [("open", set()), ("refused", {(f"S{n}", "A1") for n in range(5)})])
def test_a_source_in_the_wrong_zone_speaks_for_its_pumps_until_people_refuse(fleet, state, expected) -> None:
    for n in range(5):
        fleet.site(f"S{n}", moved_min=lambda day: 720)
    row = {"mode": "B5", "source": "coast gateway", "pump_id": "", "quantity": "time", "sentence": "made up",
           "blocks": state == "open", "state": state}  # fmt: skip
    found = reviewed(fleet, verdict=[row])
    assert found_of(found) == expected
    assert all(row["verdict"] == "found" for row in rows(found, "A1"))


# Days as numbers


def test_an_am_pm_swap_moves_every_event_by_720_min(fleet) -> None:
    """Facts 7k, a definition: a constant 720 min for all events."""
    fleet.site(moved_min=lambda day: 720)
    with fleet.database() as db:
        diagnose(db, WEEK, LAST)
        days = db.table("clock_day")
    assert days.height == 13  # of 14, the day of 25 h is not matched
    assert days["shift_min"].to_list() == [720] * 13 and days["late_min"].to_list() == [720.0] * 13


@settings(max_examples=60, deadline=None)
@given(late=st.integers(-7, 7), quarter=st.integers(8, 80), old=st.sampled_from([800, 1500]), new=st.sampled_from([0, 1200, 2400]))  # fmt: skip
def test_a_change_is_timed_to_the_minute_in_quarter_hours(late: int, quarter: int, old: int, new: int) -> None:
    """By the minute in, means of 15 min out: the minutes at the old speed say when it changed."""
    plan = np.where(np.arange(96) < quarter, float(old), float(new))
    minutes = np.where(np.arange(1440) < quarter * 15 + late, float(old), float(new))
    observed = minutes.reshape(96, 15).mean(axis=1)
    assert edge_lateness(observed[None], plan[None])[0] == pytest.approx(late)


def test_a_start_from_standstill_is_not_timed() -> None:
    plan = np.where(np.arange(96) < 40, 0.0, 1500.0)
    assert np.isnan(edge_lateness(plan[None], plan[None])[0])


def test_what_is_kept_of_the_week_before_is_taken_and_not_made_again(fleet) -> None:
    """A kept day stands as it was kept; a day of the week itself is made anew."""
    pump = fleet.site()
    past = [(pump, FIRST, 45, 45.0, 31.0), (pump, date(2026, 11, 3), 45, 45.0, 31.0)]
    with fleet.database() as db:
        kept = [dict(zip(CLOCK_DAYS.columns, (*row, 3.0), strict=True)) for row in past]
        db.load("past_clock_day", pl.DataFrame(kept, schema=CLOCK_DAYS.schema))
        diagnose(db, WEEK, LAST)
        shifts = dict(db.table("clock_day").select("day_local", "shift_min").iter_rows())
    assert shifts[FIRST] == 45 and shifts[date(2026, 11, 3)] == 0 and len(shifts) == 13
