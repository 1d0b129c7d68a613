"""D1 and D2: priming again and running dry; each with a near miss and a 'cannot tell', and what savings make of it."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta

import numpy as np
import polars as pl
import pytest
from asked_alone import asked_alone
from power_rows import ONES, levels, load_levels, step
from small_fleet import LAST, PLAN, WEEK, Fleet, power_w

from pumpledger.diagnosis.run import diagnose

MONDAY = date(2026, 11, 2)
FULL_W = float(power_w(1500))  # 45 + 52 x 1.5^3 = 220.5 W
DRY_RPM = 1501.0  # marks dry minutes at 1500 rpm: the same step of the grid, a span of its own


def judged(
    fleet: Fleet, dry_share: float | None = None, change: Callable | None = None, past: np.ndarray = ONES
) -> dict[str, dict]:
    """``rule -> finding`` of D1 and D2. Spans at DRY_RPM draw ``dry_share`` of the power at 1500 rpm."""
    with fleet.database() as db, asked_alone("D1", "D2"):
        load_levels(db, levels({"P-S1": past}, scatter=0.0))
        if dry_share is not None:
            dry = pl.when(pl.col("speed_rpm") == DRY_RPM).then(dry_share * FULL_W).otherwise("power_w")
            db.load("span", db.table("span").with_columns(dry.alias("power_w")))
        if change:
            change(db)
        diagnose(db, WEEK, LAST)
        rows = db.table("finding").filter(pl.col("rule_id").is_in(["D1", "D2"]))
        found = {row["rule_id"]: row for row in rows.iter_rows(named=True)}
        found["dry_day"] = db.table("dry_day").to_dicts()
        return found


# D2


@pytest.mark.parametrize(
    ("minutes", "share", "severity"),
    [(5, 0.5, "this week"), (30, 0.39, "safety"), (4, 0.5, None), (60, 0.56, None), (5, 0.30, "safety")],
)
def test_runs_dry(minutes, share, severity) -> None:
    """Within the first period, 06:00 to 08:00 at 1500 rpm: 0.5 is 110 W of 220.5 W."""
    fleet = Fleet()
    fleet.set(fleet.site(), MONDAY, DRY_RPM, 400, 400 + minutes)
    found = judged(fleet, share)
    assert (found["D2"]["severity"] if "D2" in found else None) == severity
    assert len(found["dry_day"]) == (severity is not None)
    if severity:
        d2 = found["D2"]
        assert (d2["measured"], d2["days"], d2["first_day"]) == (minutes, 1, MONDAY)
        assert f"{100 * share:.0f} %" in d2["sentence"] and "from a start on" not in d2["sentence"]
        assert "suction fitting" in d2["caution"] and "licensed practice" in d2["caution"]
        assert found["dry_day"][0]["dry_min"] == minutes
        assert ("valve shut" in d2["sentence"]) == (share > 0.4)


@pytest.mark.parametrize("dry", [False, True])
def test_the_zero_of_a_meter_that_moved_is_no_dryness(dry) -> None:
    """From Tuesday on the meter shows 300 W too much, at rest as well, and so does what is usual: Monday's 220 W are then
    42 % of it, less than what it draws without load. Tuesday with 0.3 of the water's power is dry all the same."""
    fleet = Fleet()
    pump = fleet.site()
    if dry:
        fleet.set(pump, MONDAY + timedelta(days=1), DRY_RPM, 400, 440)

    def moved(db) -> None:
        later = pl.col("day_local") > MONDAY
        db.load(
            "span",
            db.table("span").with_columns(power_w=pl.when(later).then(pl.col("power_w") + 300).otherwise("power_w")),
        )
        db.load("past_level", db.table("past_level").with_columns(pl.col("power_w") + 300))

    found = judged(fleet, 0.3, moved)
    assert found["D2"]["first_day"] == MONDAY + timedelta(days=1) if dry else "D2" not in found
    assert len(found["dry_day"]) == dry


@pytest.mark.parametrize(("fast_w", "dry"), [(0.0, False), (100.0, True)])
def test_watts_that_all_speeds_lack_alike_are_no_dryness(fast_w, dry) -> None:
    """Usual are 100 W more than the small fleet draws, as since bearings bind: at 1000 rpm Monday's 97 W are below the
    145 W that it would draw without load. Where 1500 rpm draws the 100 W all the same, the slow period lacks water."""
    fleet = Fleet()
    fleet.site()

    def usual(db) -> None:
        full = (pl.col("speed_rpm") > 1400) | (pl.col("day_local") > MONDAY)
        running = (pl.col("kind") == "run") & full
        more = pl.when(pl.col("day_local") > MONDAY).then(100.0).otherwise(fast_w)
        db.load(
            "span",
            db.table("span").with_columns(power_w=pl.when(running).then(pl.col("power_w") + more).otherwise("power_w")),
        )
        db.load("past_level", db.table("past_level").with_columns(pl.col("power_w") + 100))

    assert ("D2" in judged(fleet, change=usual)) == dry


@pytest.mark.parametrize(("minutes", "dry"), [(10, True), (9, False)])
def test_a_start_without_priming_on_record_is_granted_its_air(minutes, dry) -> None:
    """Five minutes to fill the pump, and five that are dry."""
    fleet = Fleet()
    fleet.set(fleet.site(), MONDAY, DRY_RPM, 360, 360 + minutes)
    found = judged(fleet, 0.5)
    assert ("D2" in found) == dry
    assert not dry or "from a start on" in found["D2"]["sentence"]


@pytest.mark.parametrize(
    ("watts", "speeds", "minutes", "dry"),
    [
        (52.0, (1000,), 60, False),  # 0.54 of the 97 W that 1000 rpm takes: losses may hide the rest
        (38.0, (1000,), 60, True),  # 0.39 of them
        (66.0, (1000, 1500), 60, True),  # 45 W go without any load: 21 W of 52 W are 0.40 of the load
        (66.0, (1000, 1500), 14, False),  # one slow sample may be of two speeds
        (68.0, (1000, 1500), 60, False),  # 23 W are 0.44: a closed pipe may leave as much
    ],
)
def test_at_low_speed_the_load_counts_where_it_is_known(watts, speeds, minutes, dry) -> None:
    fleet = Fleet()
    fleet.set(fleet.site(), MONDAY, 1001.0, 600, 600 + minutes)
    slow = pl.when(pl.col("speed_rpm") == 1001.0).then(watts).otherwise("power_w").alias("power_w")

    def change(db):
        load_levels(db, levels({"P-S1": ONES}, speeds, scatter=0.0))
        db.load("span", db.table("span").with_columns(slow))

    found = judged(fleet, change=change)
    assert ("D2" in found) == dry
    assert not dry or watts < 40 or "without any load" in found["D2"]["sentence"]


def test_a_drive_without_power_is_no_dry_pump_and_no_saving() -> None:
    """20 W at 1500 rpm is what electronics draw: not D2, but the day is struck all the same."""
    fleet = Fleet()
    fleet.set(fleet.site(), MONDAY, DRY_RPM, 400, 460)
    found = judged(fleet, 20 / FULL_W)
    assert "D2" not in found
    assert [(row["dry_min"], row["powered_min"]) for row in found["dry_day"]] == [(60, 0)]


@pytest.mark.parametrize(
    ("share", "minutes", "later", "days", "dry"),
    [
        # 154 W of 220.5 W from 06:00 on, then all of it: above both limits, but the water came.
        (0.70, 40, 1.0, (-7, 0), True),
        (0.70, 40, 1.0, (0,), False),  # once: a meter that was mended, as like as not
        (0.76, 40, 1.0, (-7, 0), False),  # a filter or the supply may do as much
        (0.70, 14, 1.0, (-7, 0), False),  # air that a good priming leaves is out within a quarter of an hour
        (0.70, 40, 0.85, (-7, 0), False),  # never what the speed takes: a valve stands
        (1.0, 40, 2.0, (-7, 0), False),  # low against a meter that doubled, not against what the speed takes
    ],
)
def test_power_that_comes_back_within_the_run_was_the_water(share, minutes, later, days, dry) -> None:
    """The pump starts at 06:00; both stretches run at 1500 rpm, told apart by a revolution. One of two days lies in the
    week, the other in the one before."""
    fleet = Fleet()
    fleet.site()
    for day in (MONDAY + timedelta(days=n) for n in days):
        fleet.set("P-S1", day, DRY_RPM, 360, 360 + minutes)
        fleet.set("P-S1", day, 1502.0, 360 + minutes, 480)
    again = pl.when(pl.col("speed_rpm") == 1502.0).then(later * FULL_W).otherwise("power_w").alias("power_w")
    found = judged(fleet, share, lambda db: db.load("span", db.table("span").with_columns(again)))
    assert ("D2" in found) == dry and bool(found["dry_day"]) == (dry or len(days) == 1)
    if dry:
        assert (found["D2"]["measured"], found["D2"]["severity"]) == (minutes, "this week")
        assert "70 %" in found["D2"]["sentence"] and "the water came" in found["D2"]["sentence"]


def test_power_that_falls_and_comes_back_in_the_midst_of_a_run_is_no_start() -> None:
    fleet = Fleet()
    fleet.set(fleet.site(), MONDAY, DRY_RPM, 380, 420)
    assert judged(fleet, 0.7) == {"dry_day": []}


@pytest.mark.parametrize(("minutes", "dry"), [(59, False), (60, True)])
def test_a_visit_with_the_lid_open_is_granted_an_hour(minutes, dry) -> None:
    fleet = Fleet()
    fleet.set(fleet.site(), MONDAY, DRY_RPM, 380, 380 + minutes)
    fleet.visit("S1", MONDAY, "cleaning")
    assert ("D2" in judged(fleet, 0.5)) == dry


def test_a_smaller_pump_put_in_is_not_dry() -> None:
    """Since Tuesday another machine draws half, which is its own power then."""
    fleet = Fleet()
    pump = fleet.site()
    for day in fleet.days[-5:]:
        fleet.set(pump, day, DRY_RPM, 360, 480)
    half = step(51, 0.5)
    assert judged(fleet, 0.5, past=half)["D2"]["days"] == 5
    fleet.visit("S1", fleet.days[-6], "commissioning")
    assert "D2" not in judged(fleet, 0.5, past=half)


def test_minutes_of_the_25_hour_day_are_elapsed_minutes() -> None:
    """On 2026-11-01 the clocks go back at 02:00: 01:30 comes twice, and 90 elapsed minutes are 90."""
    fleet = Fleet()
    pump = fleet.site(plan=((1, 1500, 0, 240),))
    fleet.set(pump, date(2026, 11, 1), DRY_RPM, 60, 150)
    (day,) = judged(fleet, 0.5)["dry_day"]
    assert (day["day_local"], day["dry_min"]) == (date(2026, 11, 1), 90)


def test_power_that_stopped_being_logged_cannot_tell() -> None:
    fleet = Fleet()
    fleet.site()
    found = judged(
        fleet, change=lambda db: db.load("span", db.table("span").with_columns(power_w=pl.lit(None, pl.Float64)))
    )
    assert found["D2"]["verdict"] == "cannot tell" and "2026-11-01" in found["D2"]["sentence"]


def test_a_healthy_pump_says_nothing() -> None:
    fleet = Fleet()
    fleet.site(priming_speed_rpm=3000.0, priming_min=3.0)
    assert judged(fleet) == {"dry_day": []}


# D1


def bursting(
    bursts: int, days: int, stop_min: int = 0, minutes: int = 3, speed: float = 3000, **fields: object
) -> Fleet:
    """Runs at priming speed each hour from 09:00 on, each after ``stop_min`` of standstill, on the newest days."""
    fleet = Fleet()
    pump = fleet.site(**{"priming_speed_rpm": 3000.0, "priming_min": 3.0} | fields)
    for day in fleet.days[-days:]:
        for number in range(bursts):
            start = 540 + 60 * number
            fleet.set(pump, day, 0, start - stop_min, start)
            fleet.set(pump, day, speed, start, start + minutes)
    return fleet


@pytest.mark.parametrize(("bursts", "days", "found"), [(3, 2, True), (2, 3, False), (3, 1, False), (8, 3, True)])
def test_keeps_priming(bursts, days, found) -> None:
    told = judged(bursting(bursts, days))
    assert ("D1" in told) == found
    if found:
        d1 = told["D1"]
        assert (d1["verdict"], d1["measured"], d1["days"]) == ("found", bursts, days)
        assert "None of them followed a stop" in d1["sentence"] and "suction" in d1["caution"].lower()


@pytest.mark.parametrize(("second", "found"), [(1, True), (2, True), (3, False)])
def test_two_days_early_in_the_week_count_as_well(second, found) -> None:
    """Monday and the day so many after it, then quiet: any three days one after another are looked at."""
    fleet = Fleet()
    pump = fleet.site(priming_speed_rpm=3000.0, priming_min=3.0)
    for day in (MONDAY, MONDAY + timedelta(days=second)):
        for start in (540, 600, 660):
            fleet.set(pump, day, 3000, start, start + 3)
    told = judged(fleet)
    assert ("D1" in told) == found
    assert not found or (told["D1"]["first_day"], told["D1"]["days"]) == (MONDAY, 2)


def test_after_a_stop_the_supply_may_be_the_cause() -> None:
    d1 = judged(bursting(4, 2, stop_min=2))["D1"]
    assert d1["verdict"] == "cannot tell" and "8 of 8 followed a stop" in d1["sentence"]
    assert "D1" not in judged(bursting(4, 2, stop_min=31))  # starts, not blips


def test_a_long_run_at_priming_speed_is_no_burst() -> None:
    assert "D1" not in judged(bursting(4, 2, minutes=20))
    assert "D1" not in judged(bursting(4, 2, speed=2900))


def test_planned_starts_and_a_planned_fast_period_are_none() -> None:
    """Three starts a day with priming as planned, and a plan at the priming speed itself."""
    plan = ((1, 1500, 360, 480), (2, 1500, 500, 620), (3, 1500, 640, 760))
    fleet = Fleet()
    pump = fleet.site(plan=plan, priming_speed_rpm=3000.0, priming_min=3.0)
    for day in fleet.days:
        for start in (360, 500, 640):
            fleet.set(pump, day, 3000, start, start + 3)
    assert "D1" not in judged(fleet)
    fast = Fleet()
    fast.site(plan=tuple((k, 3000, a, a + 10) for k, a in ((1, 360), (2, 420), (3, 480))), priming_speed_rpm=3000.0)
    assert "D1" not in judged(fast)


def test_visits_and_missing_days_leave_days_out() -> None:
    fleet = bursting(4, 2)
    fleet.visit("S1", LAST - timedelta(days=1), "repair")
    assert "D1" not in judged(fleet)
    gap = bursting(4, 3)
    for day in gap.days[-2:]:
        gap.set("P-S1", day, float("nan"), 1100, 1400)  # not valid; the day before alone is no two days
    assert "D1" not in judged(gap)


def test_a_burst_after_unseen_time_does_not_count() -> None:
    fleet = bursting(4, 3)
    for day in fleet.days[-3:]:
        for start in (540, 600):
            fleet.set("P-S1", day, float("nan"), start - 5, start)
    assert "D1" not in judged(fleet)


def test_without_a_priming_speed_on_record_it_cannot_tell() -> None:
    d1 = judged(bursting(4, 2, priming_speed_rpm=None))["D1"]
    assert d1["verdict"] == "cannot tell" and "pumps.csv" in d1["sentence"]
    assert "D1" not in judged(bursting(4, 2, priming_speed_rpm=None, speed=1400))


def test_bursts_on_the_day_of_25_hours() -> None:
    """The newest day of that week is the 25-hour Sunday; bursts are counted by local day."""
    fleet = bursting(4, 9)
    with fleet.database() as db:
        load_levels(db, levels({"P-S1": ONES}))
        db.load("fleet_day", db.table("fleet_day").with_columns(in_week=pl.col("day_local") <= date(2026, 11, 1)))
        diagnose(db, "2026-W44", date(2026, 11, 1))
        (row,) = db.table("finding").filter(pl.col("rule_id") == "D1").to_dicts()
    assert row["last_day"] == date(2026, 11, 1) and row["measured"] == 4


def test_the_plan_of_the_small_fleet_is_what_the_cases_rest_on() -> None:
    assert PLAN == ((1, 1500, 360, 480), (2, 1000, 480, 1200)) and pytest.approx(220.5) == FULL_W
