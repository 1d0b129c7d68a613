"""A4: a clock that runs away over weeks, told from one that was set, from one that is right, and from its logger's."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest
from clock_cases import found_of, reviewed, rows, weeks_before
from small_fleet import FIRST, LAST, Fleet

WEEKS = 5
START = FIRST - timedelta(weeks=WEEKS)


def past_days(pump: str, late, days: list[date] | None = None) -> list[tuple]:
    """Kept days with the lateness ``late(day)`` [min]; mismatch as recorded 2.5 rpm for each minute."""
    return [
        (pump, day, int(round(late(day) / 15) * 15), float(late(day)), abs(late(day)) * 2.5)
        for day in days or weeks_before(WEEKS)
    ]


def a_minute_a_day(day: date) -> int:
    return (day - START).days


def site(fleet: Fleet, name: str, late) -> str:
    """A pump that runs as late as ``late`` says, to the minute."""
    return fleet.site(name, moved_min=lambda day: round(late(day)))


def test_a_minute_a_day_is_found_with_its_size() -> None:
    fleet = Fleet()
    pump = site(fleet, "S1", lambda day: a_minute_a_day(day) - 45)  # 45 min early at first, right by the end
    found = reviewed(fleet, past=past_days(pump, lambda day: a_minute_a_day(day) - 45))
    assert found_of(found) == {("S1", "A4")}
    (row,) = rows(found, "A4")
    assert row["measured"] == pytest.approx(60) and row["unit"] == "s a day"
    assert "loses 60 s a day (60 to 60)" in row["sentence"]
    assert (row["first_day"], row["severity"]) == (START, "note")


def test_a_clock_that_has_run_far_is_for_the_next_visit_and_no_odd_amount() -> None:
    fleet = Fleet()
    pump = site(fleet, "S1", a_minute_a_day)
    found = reviewed(fleet, past=past_days(pump, a_minute_a_day))
    assert found_of(found) == {("S1", "A4")}
    (row,) = rows(found, "A4")
    assert row["severity"] == "next visit" and "It is now 45 min late" in row["sentence"]


def test_fast_clocks_gain() -> None:
    fleet = Fleet()
    pump = site(fleet, "S1", lambda day: 30 - a_minute_a_day(day))
    (row,) = rows(reviewed(fleet, past=past_days(pump, lambda day: 30 - a_minute_a_day(day))), "A4")
    assert row["measured"] == pytest.approx(-60) and "gains 60 s a day" in row["sentence"]


def test_a_log_that_looks_each_five_minutes_still_shows_it() -> None:
    """Each day's lateness as such a log sees it: up to five minutes late, in steps of five."""

    def seen(day: date) -> int:
        return int(np.ceil((a_minute_a_day(day) - 20) / 5) * 5)

    fleet = Fleet()
    pump = site(fleet, "S1", seen)
    (row,) = rows(reviewed(fleet, past=past_days(pump, seen)), "A4")
    assert row["measured"] == pytest.approx(60, rel=0.1)


@pytest.mark.parametrize(
    ("case", "late"),
    [
        ("right", lambda day: 0),
        ("what a crystal may be off", lambda day: 1.7 / 60 * (day - START).days),
        ("set forward by a quarter hour", lambda day: 0 if day < START + timedelta(days=20) else 11),
        ("to and fro", lambda day: (day.toordinal() * 7) % 5 - 2),
    ],
)
def test_what_is_no_drift(case: str, late) -> None:
    fleet = Fleet()
    pump = site(fleet, "S1", late)
    assert ("S1", "A4") not in found_of(reviewed(fleet, past=past_days(pump, late))), case


def test_three_weeks_are_needed_of_a_slow_one() -> None:
    """20 s a day are 6.3 min in 20 days: less than ten, so a week more is waited for."""

    def slowly(day: date) -> float:
        return a_minute_a_day(day) / 3

    fleet = Fleet()
    pump = site(fleet, "S1", slowly)
    few = past_days(pump, slowly, weeks_before(1)[-6:])  # 20 days in all
    assert ("S1", "A4") not in found_of(reviewed(fleet, past=few))
    enough = past_days(pump, slowly, weeks_before(1))
    assert ("S1", "A4") in found_of(reviewed(fleet, past=enough))


@pytest.mark.parametrize(("begins", "is_found"), [(LAST - timedelta(days=8), True), (LAST - timedelta(days=6), False)])
def test_a_fast_one_shows_in_nine_days_although_weeks_before_were_right(begins: date, is_found: bool) -> None:
    """Two minutes a day: 16 min in nine days are a drift; 12 min in seven days are too few days."""

    def late(day: date) -> int:
        return 2 * max(0, (day - begins).days)

    fleet = Fleet()
    pump = site(fleet, "S1", late)
    found = reviewed(fleet, past=past_days(pump, late))
    assert (("S1", "A4") in found_of(found)) is is_found
    if is_found:
        (row,) = rows(found, "A4")
        assert row["measured"] == pytest.approx(120, rel=0.1)
        assert abs((row["first_day"] - begins).days) <= 3


def test_all_pumps_of_a_source_alike_are_their_loggers_clock() -> None:
    fleet = Fleet()
    pumps = [site(fleet, f"S{n}", lambda day: a_minute_a_day(day) - 45) for n in range(5)]
    past = [row for pump in pumps for row in past_days(pump, lambda day: a_minute_a_day(day) - 45)]
    found = reviewed(fleet, past=past)
    assert found_of(found) == set()
    (row,) = rows(found, "A4")
    assert (row["site_id"], row["component"], row["verdict"]) == ("", "coast gateway", "cannot tell")
    assert "5 of the 5 pumps" in row["sentence"]


def test_four_of_six_are_their_own() -> None:
    fleet = Fleet()
    pumps = [site(fleet, f"S{n}", lambda day: a_minute_a_day(day) - 45) for n in range(4)]
    fleet.site("S8")
    fleet.site("S9")
    past = [row for pump in pumps for row in past_days(pump, lambda day: a_minute_a_day(day) - 45)]
    assert found_of(reviewed(fleet, past=past)) == {(f"S{n}", "A4") for n in range(4)}
