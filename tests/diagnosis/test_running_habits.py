"""C7 and C8, speeds that a pump is kept at: numbers worked out by hand, near misses, and what cannot be told.

The thresholds are starting values of the trade's practice, without a published source.
"""

from __future__ import annotations

from datetime import date

import polars as pl
import pytest
from running_cases import CRAWL, FAST, KNEE, SUNDAY_25H, days, verdicts
from running_fleet import HABITS, database, told
from small_fleet import LAST, WEEK

from pumpledger.diagnosis.run import diagnose


def test_a_healthy_site_hears_nothing_of_habits(fleet, findings) -> None:
    fleet.site(aux_load="chlorinator", aux_min_speed_rpm=900.0, priming_speed_rpm=1500.0, priming_min=3.0)
    assert findings(fleet).filter(pl.col("rule_id").is_in(HABITS)).is_empty()


# C7


def test_fast_for_longer_than_skimming_asks_for(fleet) -> None:
    fleet.site(plan=FAST)
    with database(fleet) as db:
        slow = db.table("best_plan")["speed_rpm"].item()
        diagnose(db, WEEK, LAST)
        (row,) = db.table("finding").filter(rule_id="C7").iter_rows(named=True)
    assert (row["verdict"], row["days"], row["measured"], row["threshold"]) == ("found", 7, 6.0, 1.5)
    # 4.5 h beyond: 45 + 52 x 2.8^3 = 1186.5 W at 16.8 m3/h, against that water at the speed of the simple best plan
    cheap = (45 + 52 * (slow / 1000) ** 3) * 16.8 / (0.006 * slow)
    assert slow < 2000 and row["benefit_kwh_week"] == pytest.approx(7 * 4.5 * (1186.504 - cheap) / 1000)


@pytest.mark.parametrize(("length", "n_days", "found"), [(211, 5, True), (210, 7, False), (211, 4, False)])
def test_two_hours_beyond_on_five_days(fleet, length, n_days, found) -> None:
    pump = fleet.site()
    for day in days(n_days):
        fleet.set(pump, day, 2600, 360, 360 + length)
    assert verdicts(told(fleet, "C7")) == ["found"] * found


@pytest.mark.parametrize(
    ("minimum", "on_min", "expected"),
    [(2700.0, 300, []), (2700.0, 200, ["found"]), (1200.0, 300, ["found"]), (None, 300, [])],
)
def test_a_load_that_needs_the_speed_has_its_hours(fleet, minimum, on_min, expected) -> None:
    """6 h fast: 1 h beyond a heater of 5 h, 2 h 40 min beyond one of 3 h 20 min; a slower load needs no fast hour."""
    pump = fleet.site(plan=FAST, aux_load="heater", aux_min_speed_rpm=minimum)
    fleet.log_aux(pump)
    for day in fleet.days:
        fleet.load_on(pump, day, 360, 360 + on_min)
    assert verdicts(told(fleet, "C7")) == expected


def test_a_load_that_is_not_logged_may_need_the_hours(fleet) -> None:
    fleet.site(plan=FAST, aux_load="heater", aux_min_speed_rpm=2700.0)
    (row,) = told(fleet, "C7")
    assert row["verdict"] == "cannot tell" and "state of the heater" in row["sentence"]


@pytest.mark.parametrize("cause", ["override", "freeze protection", "auxiliary load", "priming"])
def test_minutes_that_something_else_explains_are_not_the_plans(fleet, cause) -> None:
    pump = fleet.site()
    for day in fleet.days:
        fleet.set(pump, day, 2800, 360, 720)
    assert told(fleet, "C7", causes={2800.0: cause}) == []
    assert verdicts(told(fleet, "C7")) == ["found"]


def test_water_that_needs_the_speed_is_no_habit(fleet) -> None:
    """400 m3 a day are 16.7 m3/h around the clock: more than 2600 rpm give (15.6 m3/h, and less by the low bound)."""
    fleet.site(plan=((1, 3000, 0, 1440),), required_turnovers=5.0)
    with database(fleet) as db:
        assert db.table("best_plan")["speed_rpm"].item() >= 2600
    assert told(fleet, "C7") == []


def test_a_public_pool_without_a_flow_may_need_it(fleet) -> None:
    fleet.site(plan=FAST, pool_class="public", flow=False)
    assert verdicts(told(fleet, "C7")) == ["cannot tell"]


def test_hours_of_the_25_hour_day_are_counted_as_they_ran(fleet) -> None:
    """00:00 to 03:30 by the clock is 3.5 h, no more than allowed; on the day of 25 hours it is 4.5. Four other days have half
    an hour more: five days in all."""
    pump = fleet.site(plan=((1, 2800, 0, 210), (2, 1000, 480, 1200)))
    for day in days(4, date(2026, 10, 26)):
        fleet.set(pump, day, 2800, 210, 240)
    (row,) = told(fleet, "C7", first_week=True)
    assert (row["verdict"], row["days"], row["last_day"]) == ("found", 5, SUNDAY_25H)


# C8


def test_below_the_knee_a_litre_costs_more(fleet) -> None:
    fleet.site(plan=CRAWL)
    (row,) = told(fleet, "C8", **KNEE)
    # without standby of 10 W: 110 W / 2 m3/h = 55 Wh/m3 at 700, 160 / 4 = 40 at 1000: 37.5 % more
    assert (row["verdict"], row["days"], row["measured"], row["threshold"]) == ("found", 7, 700.0, 1000.0)
    assert "5.0 h a day, each litre 38 % dearer" in row["sentence"]
    assert row["benefit_kwh_week"] == pytest.approx(7 * 5 * (110 - 2 * 40) / 1000)


@pytest.mark.parametrize(
    ("plan", "grid", "found"),
    [
        (CRAWL, {700: (98.0, 2.0)}, True),  # 88 / 2 = 44: 10 % more
        (CRAWL, {700: (97.9, 2.0)}, False),
        (((1, 1200, 360, 420), (2, 875, 420, 720)), {875: (140.0, 2.0)}, False),  # 125 below the knee
        (((1, 1200, 360, 420), (2, 700, 420, 659)), {}, False),  # 3 h 59 min
        (CRAWL, {700: (120.0, 0.0)}, True),  # moves no water
    ],
)
def test_near_the_knee_or_for_short_hours_is_no_matter(fleet, plan, grid, found) -> None:
    fleet.site(plan=plan)
    more = KNEE | {"grid": KNEE["grid"] | grid}
    assert verdicts(told(fleet, "C8", **more)) == ["found"] * found


def test_the_minimum_of_a_load_is_a_reason_to_run_slowly(fleet) -> None:
    fleet.site(plan=CRAWL, aux_load="chlorinator", aux_min_speed_rpm=700.0)
    assert told(fleet, "C8", **KNEE) == []


def test_a_public_pool_is_not_told_to_run_shorter(fleet) -> None:
    fleet.site(plan=CRAWL, pool_class="public")
    assert told(fleet, "C8", **KNEE) == []


@pytest.mark.parametrize(
    ("plan", "limit", "expected"),
    [
        (((1, 700, 360, 720),), None, ["cannot tell"]),  # 6b: no rating, and 1000 rpm is faster than anything keyed in
        (((1, 700, 360, 720),), 4.3, []),  # 6a: 4.4 m3/h by the high bound pass a rating of 4.3
        (((1, 700, 360, 720),), 4.5, ["found"]),
        (CRAWL, None, ["found"]),  # it runs faster already
    ],
)
def test_no_speed_is_raised_across_a_rating(fleet, plan, limit, expected) -> None:
    """Facts 6a, 6b: a flow above a rating is never proposed, nor a higher top speed where the rating is not known."""
    fleet.site(plan=plan, filter_limit_m3h=limit, suction_limit_m3h=limit)
    assert verdicts(told(fleet, "C8", **KNEE)) == expected


def test_a_knee_above_the_speeds_seen_lies_no_lower_than_the_fastest(fleet) -> None:
    fleet.site(plan=CRAWL)
    (row,) = told(fleet, "C8", **KNEE | {"knee": ("above the speeds seen", None)})
    assert (row["verdict"], row["threshold"]) == ("found", 1200.0)


@pytest.mark.parametrize(
    ("rpm", "state", "expected"),
    [
        (700, "flow or power curve missing", ["cannot tell"]),
        (1000, "flow or power curve missing", []),
        (700, "none within the speeds seen", []),
    ],
)
def test_an_unknown_knee_is_asked_for_where_it_runs_very_slowly(fleet, rpm, state, expected) -> None:
    fleet.site(plan=((1, rpm, 360, 720),))
    assert verdicts(told(fleet, "C8", knee=(state, None))) == expected
