"""C11, the same override day after day, and C10 beside it: numbers worked out by hand, near misses, and what cannot be
told.

The thresholds are starting values of the trade's practice, without a published source. An override of at most
24 h is common practice, no source (facts, head).
"""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from running_cases import MONDAY, NAN, days, verdicts
from running_fleet import database, told
from small_fleet import LAST, WEEK, Fleet

from pumpledger.diagnosis.run import diagnose

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


@pytest.mark.parametrize(("freeze_rpm", "verdict"), [(2970.0, "cannot tell"), (2950.0, "found"), (None, "found")])
def test_what_runs_at_the_speed_of_freeze_protection_may_be_that(fleet, freeze_rpm, verdict) -> None:
    pump = fleet.site(freeze_speed_rpm=freeze_rpm)
    for day, start in zip(days(4, MONDAY), [1080, 1100, 1050, 1120], strict=True):
        fleet.set(pump, day, 3000, start, start + 120)
    (row,) = told(fleet, "C11", **BY_HAND)
    assert row["verdict"] == verdict and ("sensor of freeze protection" in row["sentence"]) == (verdict != "found")


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
