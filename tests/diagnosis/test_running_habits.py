"""C7, C8, C11, C14, C15, C16 and C10 beside them: numbers worked out by hand, near misses, and what cannot be told.

The thresholds are starting values of the trade's practice, without a published source. Priming at 1500 rpm or more for
at most 10 min at each start, and an override of at most 24 h, are common practice, no source (facts, head).
"""

from __future__ import annotations

from datetime import date, timedelta

import polars as pl
import pytest
from found_by import found_by
from running_fleet import HABITS, after_priming, database, told
from small_fleet import LAST, WEEK, Fleet

from pumpledger.diagnosis.rules import BY_ID
from pumpledger.diagnosis.run import diagnose

NAN = float("nan")
MONDAY, SUNDAY_25H = date(2026, 11, 2), date(2026, 11, 1)


def days(n: int, first: date = MONDAY) -> list[date]:
    return [first + timedelta(days=at) for at in range(n)]


def verdicts(rows: list[dict]) -> list[str]:
    return [row["verdict"] for row in rows]


def test_a_healthy_site_hears_nothing_of_habits(fleet, findings) -> None:
    fleet.site(aux_load="chlorinator", aux_min_speed_rpm=900.0, priming_speed_rpm=1500.0, priming_min=3.0)
    assert findings(fleet).filter(pl.col("rule_id").is_in(HABITS)).is_empty()


# C7

FAST = ((1, 2800, 360, 720), (2, 1000, 720, 1200))  # 6 h fast


def test_fast_for_longer_than_skimming_asks_for(fleet) -> None:
    fleet.site(plan=FAST)
    with database(fleet) as db:
        slow = db.table("best_plan")["speed_rpm"].item()
        diagnose(db, WEEK, LAST)
        (row,) = db.table("finding").filter(rule_id="C7").iter_rows(named=True)
    assert (row["verdict"], row["days"], row["measured"], row["threshold"]) == ("found", 7, 6.0, 2.0)
    # 4 h beyond: 45 + 52 x 2.8^3 = 1186.5 W at 16.8 m3/h, against that water at the speed of the simple best plan
    cheap = (45 + 52 * (slow / 1000) ** 3) * 16.8 / (0.006 * slow)
    assert slow < 2000 and row["benefit_kwh_week"] == pytest.approx(7 * 4 * (1186.504 - cheap) / 1000)


@pytest.mark.parametrize(("length", "n_days", "found"), [(241, 5, True), (240, 7, False), (241, 4, False)])
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
    """00:00 to 04:00 by the clock is 4 h, no more than allowed; on the day of 25 hours it is 5. Four other days have half
    an hour more: five days in all."""
    pump = fleet.site(plan=((1, 2800, 0, 240), (2, 1000, 480, 1200)))
    for day in days(4, date(2026, 10, 26)):
        fleet.set(pump, day, 2800, 240, 270)
    (row,) = told(fleet, "C7", first_week=True)
    assert (row["verdict"], row["days"], row["last_day"]) == ("found", 5, SUNDAY_25H)


# C8

CRAWL = ((1, 1200, 360, 420), (2, 700, 420, 720))  # an hour at 1200, five at 700
KNEE = {"knee": ("given", 1000), "grid": {700: (120.0, 2.0), 1000: (170.0, 4.0), 1200: (230.0, 5.0)}}


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


# C11

BY_HAND = {"causes": {3000.0: "override"}}


def overrides(fleet: Fleet, starts: list[int], length: int = 120, rpm: float = 3000, first: date = MONDAY) -> str:
    pump = fleet.site()
    for day, start in zip(days(7, first), starts, strict=False):
        fleet.set(pump, day, rpm, start, start + length)
    return pump


def test_the_same_override_on_four_days(fleet) -> None:
    overrides(fleet, [1080, 1100, 1050, 1120])
    (row,) = told(fleet, "C11", **BY_HAND)
    # quartiles of 1050, 1080, 1100, 1120 lie at 1072.5 and 1105
    assert (row["verdict"], row["days"], row["measured"]) == ("found", 4, pytest.approx(32.5))
    assert "about 3000 rpm from about 18:10 for 2.0 h" in row["sentence"]


@pytest.mark.parametrize(
    ("starts", "found"),
    [
        ([1080, 1100, 1050], False),
        ([300, 600, 900, 1200], False),
        ([1080, 1170, 1080, 1170], True),  # quartiles 90 min apart
        ([1079, 1170, 1079, 1170], False),
        ([1430, 5, 1425, 12], True),  # about midnight: quartiles of -15, -10, 5, 12
    ],
)
def test_on_how_many_days_and_how_far_apart(fleet, starts, found) -> None:
    overrides(fleet, starts)
    assert verdicts(told(fleet, "C11", **BY_HAND)) == ["found"] * found


def test_an_override_of_another_speed_is_another(fleet) -> None:
    pump = overrides(fleet, [1080, 1100, 1050])
    fleet.set(pump, MONDAY + timedelta(days=3), 2500, 1120, 1240)
    causes = {3000.0: "override", 2500.0: "override"}
    assert told(fleet, "C11", causes=causes) == []
    fleet.set(pump, MONDAY + timedelta(days=3), 3050, 1120, 1240)
    assert verdicts(told(fleet, "C11", causes=causes | {3050.0: "override"})) == ["found"]


def test_days_that_a_visit_explains_are_left_out(fleet) -> None:
    overrides(fleet, [1080, 1100, 1050, 1120])
    fleet.visit("S1", MONDAY + timedelta(days=4), "agreed override")
    assert told(fleet, "C11", **BY_HAND) == []


def test_what_is_not_seen_neither_raises_nor_clears(fleet) -> None:
    pump = overrides(fleet, [1080, 1100, 1050, 1120])
    for day in days(3, date(2026, 11, 6)):
        fleet.set(pump, day, NAN)
    assert verdicts(told(fleet, "C11", **BY_HAND)) == ["found"]
    fleet.set(pump, MONDAY, NAN)
    assert told(fleet, "C11", **BY_HAND) == []


@pytest.mark.parametrize(("late", "verdict"), [(10, "cannot tell"), (11, "found")])
def test_starts_on_the_minute_may_be_a_keyed_period(fleet, late, verdict) -> None:
    """Quartiles of 1080, 1080, 1090, 1090 lie 10 min apart: no hand is so regular."""
    overrides(fleet, [1080, 1080, 1080 + late, 1080 + late])
    (row,) = told(fleet, "C11", **BY_HAND)
    assert row["verdict"] == verdict and ("keyed in" in row["sentence"]) == (verdict == "cannot tell")


def test_the_time_of_day_is_the_clocks_on_the_25_hour_day(fleet) -> None:
    """18:10 by the clock is minute 1150 of that day. Quartiles of 1050, 1060, 1080, 1090, 1100 lie at 1060 and 1090; counted
    in minutes elapsed they would lie 40 apart."""
    overrides(fleet, [1050, 1080, 1100, 1060, 1150], first=date(2026, 10, 28))
    (row,) = told(fleet, "C11", **BY_HAND, first_week=True)
    assert (row["verdict"], row["days"], row["measured"]) == ("found", 5, pytest.approx(30))
    assert "from about 18:00" in row["sentence"]


def test_a_habit_explains_the_override_left_on(fleet, findings) -> None:
    overrides(fleet, [1000, 1040, 980, 1020], length=200)
    with database(fleet, **BY_HAND) as db:
        diagnose(db, WEEK, LAST)
        found = db.table("finding").filter(verdict="found")
    assert found.filter(rule_id="C10")["explained_by"].to_list() == ["C11"]
    assert found.filter(rule_id="C11")["explained_by"].to_list() == [""]


def test_a_wrong_clock_is_no_habit(fleet) -> None:
    fleet.site("S1", moved_min=lambda day: 720)
    fleet.site("S2", plan=((1, 1500, 180, 360), (2, 1500, 900, 1080)), moved_min=lambda day: 360)
    causes = {1500.0: "override", 1000.0: "override"}
    assert [(row["site_id"], row["verdict"]) for row in told(fleet, "C11", causes=causes)] == [("S2", "cannot tell")]


# C10 beside it


def test_an_override_that_its_own_limit_ended_is_said(fleet) -> None:
    pump = fleet.site()
    fleet.set(pump, MONDAY, 3000, 600, 1440)
    fleet.set(pump, MONDAY + timedelta(days=1), 3000, 0, 600)
    (row,) = told(fleet, "C10", **BY_HAND)
    assert row["measured"] == 24.0 and "by itself" in row["sentence"]


def test_two_overrides_back_to_back_are_not_one_long_one(fleet) -> None:
    pump = fleet.site()
    fleet.set(pump, MONDAY, 3000, 600, 760)
    fleet.set(pump, MONDAY, 2500, 760, 920)
    assert told(fleet, "C10") == []
    fleet.set(pump, MONDAY, 3000, 600, 780)
    assert [row["measured"] for row in told(fleet, "C10")] == [3.0]


# C14


def primes(fleet: Fleet, minutes: int, starts: int = 2, rpm: float = 2800, n_days: int = 7, **pump: object) -> str:
    """Starts at 06:00, 10:10, 11:10 ... each with so many minutes of priming, out of the plan's 1500 and 1000 rpm."""
    pump_id = fleet.site(**pump)
    for day in days(n_days):
        fleet.set(pump_id, day, rpm, 360, 360 + minutes)
        for at in range(600, 600 + 60 * (starts - 1), 60):
            fleet.set(pump_id, day, 0, at, at + 10)
            fleet.set(pump_id, day, rpm, at + 10, at + 10 + minutes)
    return pump_id


PRIMING = {2800.0: "priming", 3200.0: "priming"}


@pytest.mark.parametrize("causes", [PRIMING, {}], ids=["on record", "not on record"])
def test_sixteen_minutes_of_priming_a_day(fleet, causes) -> None:
    primes(fleet, 8)
    (row,) = told(fleet, "C14", causes=causes)
    assert (row["verdict"], row["days"], row["measured"], row["threshold"]) == ("found", 7, 16.0, 15.0)
    assert "at 2800 rpm, over 2 starts" in row["sentence"]
    # a minute more than 15, at 52 x (2.8^3 - 1.25^3) W more than the plan's 1500 and 1000 rpm, their middle 1250
    assert row["benefit_kwh_week"] == pytest.approx(7 / 60 * 52 * (2.8**3 - 1.25**3) / 1000)


@pytest.mark.parametrize(
    ("minutes", "starts", "rpm", "n_days", "found"),
    [
        (5, 3, 2800, 7, False),  # 15 min
        (8, 2, 2800, 4, False),
        (10, 1, 3200, 7, False),  # 10 min fast
        (11, 1, 3200, 7, True),
        (11, 1, 2800, 7, False),
        (21, 1, 2800, 7, False),  # longer than any priming: a hand, where the record knows of none
    ],
)
def test_priming_is_judged_by_minutes_and_speed(fleet, minutes, starts, rpm, n_days, found) -> None:
    primes(fleet, minutes, starts, rpm, n_days)
    assert verdicts(told(fleet, "C14")) == ["found"] * found


@pytest.mark.parametrize(("starts", "measured"), [(2, []), (3, [22.5])])
def test_half_a_sample_is_taken_off(fleet, starts, measured) -> None:
    """Ten minutes as a log of five shows them are 7.5 on average: 15 for two starts, 22.5 for three."""
    primes(fleet, 10, starts)
    assert [row["measured"] for row in told(fleet, "C14", causes=PRIMING, hold_s=300)] == measured


def test_a_coarse_log_counts_starts_and_the_record_says_how_long(fleet) -> None:
    primes(fleet, 15, 2, priming_min=8.0, priming_speed_rpm=2800.0)
    (row,) = told(fleet, "C14", causes=PRIMING, hold_s=900)
    assert row["measured"] == 16.0
    other = Fleet()
    primes(other, 15, 2, priming_min=7.0, priming_speed_rpm=2800.0)
    assert told(other, "C14", causes=PRIMING, hold_s=900) == []


def test_too_many_starts_explain_the_priming(fleet) -> None:
    primes(fleet, 3, 7)
    with database(fleet, causes=PRIMING) as db:
        diagnose(db, WEEK, LAST)
        found = dict(db.table("finding").filter(verdict="found").select("rule_id", "explained_by").rows())
    assert found["C16"] == "" and found["C14"] == "C16"


# C15

PRIMED = {"priming_speed_rpm": 1800.0, "priming_min": 5.0}


def late_starts(fleet: Fleet, low: list[float], step_s: int = 60, **pump: object) -> list:
    """Priming from 06:00 to 06:05 on the last days, then 1500 rpm; so many minutes of low power on each."""
    pump_id, power = fleet.site(**PRIMED | pump), []
    for day, minutes in zip(fleet.days[-len(low) :], low, strict=True):
        fleet.set(pump_id, day, 1800, 360, 365)
        power += after_priming(pump_id, day, 365, minutes, step_s)
    return power


AIR = {"causes": {1800.0: "priming"}}


def test_power_that_rises_late_in_three_of_five_starts(fleet) -> None:
    power = late_starts(fleet, [4, 0, 4, 0, 6])
    (row,) = told(fleet, "C15", power=power, **AIR)
    assert (row["verdict"], row["days"], row["measured"], row["last_day"]) == ("found", 3, 4.0, LAST)
    assert "At 3 of the last 5 starts" in row["sentence"] and "ratings" in row["instruction"]


@pytest.mark.parametrize(
    "low",
    [
        [4, 0, 4, 0, 0],
        [2, 2, 2, 2, 2],
        [4, 4, 4, 0, 0, 0, 0, 0],  # mended since
        [60, 60, 60, 60, 60],  # low for good is not late: no other level to hold it against
    ],
)
def test_two_minutes_or_two_starts_are_no_matter(fleet, low) -> None:
    assert told(fleet, "C15", power=late_starts(fleet, low), **AIR) == []


def test_missing_readings_neither_raise_nor_clear(fleet) -> None:
    """Of five starts two were not logged; the three before them stand."""
    power = late_starts(fleet, [4, 4, 4, 0, 0])
    cut = min(time for _, time, _ in power) + timedelta(days=3)
    (row,) = told(fleet, "C15", power=[reading for reading in power if reading[1] < cut], **AIR)
    assert "3 of the last 3 starts" in row["sentence"]


@pytest.mark.parametrize(("rpm", "expected"), [(1400.0, ["cannot tell"]), (1500.0, [])])
def test_a_coarse_log_cannot_tell_and_is_asked_where_the_priming_is_slow(fleet, rpm, expected) -> None:
    power = late_starts(fleet, [5] * 7, step_s=300, priming_speed_rpm=rpm)
    assert verdicts(told(fleet, "C15", power=power, **AIR)) == expected


def test_the_start_on_the_25_hour_day(fleet) -> None:
    """06:00 by the clock is minute 420: the readings belong to the same instants."""
    pump = fleet.site(**PRIMED)
    power = []
    for day in days(3, date(2026, 10, 30)):
        start = 420 if day == SUNDAY_25H else 360
        fleet.set(pump, day, 1800, start, start + 5)
        power += after_priming(pump, day, start + 5, 4)
    (row,) = told(fleet, "C15", power=power, **AIR, first_week=True)
    assert (row["days"], row["measured"]) == (3, 4.0)


# C16


def stops(fleet: Fleet, starts: int, n_days: int = 3, state: float = 0, length: int = 10, **pump: object) -> str:
    """The plan's own start at 06:00 and stops of so many minutes from 08:20 on, each 40 min."""
    pump_id = fleet.site(**pump)
    for day in days(n_days):
        for at in range(500, 500 + 40 * (starts - 1), 40):
            fleet.set(pump_id, day, state, at, at + length)
    return pump_id


@pytest.mark.parametrize(
    ("starts", "n_days", "state", "length", "found"),
    [
        (7, 3, 0, 10, True),
        (6, 7, 0, 10, False),
        (7, 2, 0, 10, False),
        (9, 7, NAN, 10, False),  # holes in the log neither start nor stop
        (9, 7, 0, 1, False),  # a minute is a reading amiss
    ],
)
def test_more_than_six_starts_on_three_days(fleet, starts, n_days, state, length, found) -> None:
    stops(fleet, starts, n_days, state, length)
    rows = told(fleet, "C16")
    assert verdicts(rows) == ["found"] * found
    assert not found or (rows[0]["measured"], rows[0]["days"]) == (7, 3)


@pytest.mark.parametrize("cause", ["auxiliary load", "freeze protection"])
def test_starts_that_the_controller_owes_to_a_load_or_the_cold_do_not_count(fleet, cause) -> None:
    pump = fleet.site()
    for day in fleet.days:
        for at in range(0, 360, 40):
            fleet.set(pump, day, 1750, at, at + 20)
    assert told(fleet, "C16", causes={1750.0: cause}) == []
    assert verdicts(told(fleet, "C16")) == ["found"]


def test_a_day_of_work_at_the_pump_does_not_count(fleet) -> None:
    stops(fleet, 9)
    fleet.visit("S1", MONDAY, "repair")  # excuses the day after, too: one day is left
    assert told(fleet, "C16") == []


# thresholds


def everything() -> dict:
    fleet = Fleet()
    fleet.site("F", plan=FAST)
    fleet.site("K", plan=CRAWL)
    habit = fleet.site("H")
    for day, start in zip(days(5), (1080, 1100, 1050, 1120, 1090), strict=True):
        fleet.set(habit, day, 3000, start, start + 120)
    many, power = fleet.site("M", **PRIMED), []
    for day in days(7):
        fleet.set(many, day, 1800, 360, 369)
        power += after_priming(many, day, 369, 5)
        for at in range(500, 500 + 40 * 7, 40):
            fleet.set(many, day, 0, at, at + 10)
            fleet.set(many, day, 1800, at + 10, at + 14)
    # the plan's own grid of the small fleet is kept where the knee's is not
    return {"fleet": fleet, "power": power, "causes": {3000.0: "override", 1800.0: "priming"}} | KNEE


@pytest.mark.parametrize("rule", HABITS)
def test_stricter_thresholds_never_find_more(rule: str) -> None:
    made = everything()

    with database(made.pop("fleet"), **made) as db:
        diagnose(db, WEEK, LAST)

        def found(values: dict[str, float]) -> int:
            return found_by(db, rule, values)

        usual = found({})
        assert usual >= 1
        for name, limits in BY_ID[rule].parameters.items():
            strict, slack = (limits.most, limits.least) if limits.stricter == "more" else (limits.least, limits.most)
            assert found({name: strict}) <= usual <= found({name: slack}), name
