"""C14, C15 and C16, what happens at starts: numbers worked out by hand, near misses, and what cannot be told.

The thresholds are starting values of the trade's practice, without a published source. Priming at 1500 rpm or more for
at most 10 min at each start is common practice, no source (facts, head).
"""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from running_cases import MONDAY, NAN, PRIMED, SUNDAY_25H, days, verdicts
from running_fleet import after_priming, database, told
from small_fleet import LAST, WEEK, Fleet

from pumpledger.diagnosis.run import diagnose

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


@pytest.mark.parametrize(
    ("low", "expected"),
    [
        ([14] * 5, ["found"]),  # of the looks at 1 or more minutes after priming, three see little power
        # Longer than it should have taken to settle: the last third of 45 min says what is usual.
        ([25] * 5, ["found"]),
        ([14, 14, 0, 0, 0], []),
        ([1] * 5, []),  # within one look, and two minutes are allowed
    ],
)
def test_a_log_of_five_minutes_shows_what_lasts_longer_than_its_looks(fleet, low, expected) -> None:
    fleet.exports.append({"source": "coast gateway", "status": "read", "hold_s": 300, "sequence": 1, "export_id": "e1"})
    power = late_starts(fleet, low, step_s=300)
    assert verdicts(told(fleet, "C15", power=power, **AIR)) == expected


@pytest.mark.parametrize(("until", "expected"), [(480, ["found"]), (380, [])])
def test_a_start_is_watched_past_the_span_that_its_rising_power_ends(fleet, until, expected) -> None:
    """Spans part where power rises, here at 06:15 by a revolution of speed; a plan that ends at 06:20 leaves too little."""
    power, causes = late_starts(fleet, [10] * 5), {1800.0: "priming", 1501.0: "plan period"}
    for day in fleet.days[-5:]:
        fleet.set(fleet.pumps[0]["pump_id"], day, 1501, 375, until)
        if until < 480:
            fleet.set(fleet.pumps[0]["pump_id"], day, 0, until, 480)
    assert verdicts(told(fleet, "C15", power=power, causes=causes)) == expected


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
