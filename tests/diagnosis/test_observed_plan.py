"""Rows read off a pump's days: what a controller was keyed with comes back, and what no controller holds does not."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pumpledger.diagnosis.observed_plan import (
    PlanRow,
    Steadiness,
    change_scatter_min,
    fitted_rows,
    interdaily_stability,
    observed_plan,
    plan_quarters,
    words,
)

STEADY = Steadiness(days=5, stability=0.9, residual_rpm=30)
DAY_RPM = 25


def quarters(*rows: PlanRow) -> np.ndarray:
    return plan_quarters((row.start_min, row.stop_min, row.speed_rpm) for row in rows)


@st.composite
def programmes(draw) -> tuple[PlanRow, ...]:
    """One to three periods of at least an hour, apart by pauses or by at least 200 rpm, anywhere round the clock."""
    count = draw(st.integers(1, 3))
    cuts = sorted(draw(st.lists(st.integers(0, 23), min_size=2 * count, max_size=2 * count, unique=True)))
    turn = draw(st.integers(0, 95))
    speeds = draw(st.permutations(list(range(600, 3451, 225))))
    spans = [(cuts[2 * k], cuts[2 * k + 1]) for k in range(count)]
    if draw(st.booleans()) and count > 1:
        spans[0] = (spans[0][0], spans[1][0])  # one period runs into the next
    rows = [
        PlanRow((start * 4 + turn) % 96 * 15, ((stop * 4 + turn - 1) % 96 + 1) * 15, speed)
        for (start, stop), speed in zip(spans, speeds, strict=False)
    ]
    return tuple(sorted(rows))


@settings(max_examples=150)
@given(programmes(), st.integers(0, 2**32 - 1))
def test_what_was_keyed_in_comes_back(rows: tuple[PlanRow, ...], seed: int) -> None:
    rng = np.random.default_rng(seed)
    exact = quarters(*rows)
    days = exact + np.where(exact > 0, rng.normal(0, 5, (7, 96)), 0)
    days[rng.random(days.shape) < 0.04] = np.nan
    found = observed_plan(days, DAY_RPM)
    assert found.rows == rows
    assert STEADY.fault(found) is None


@settings(max_examples=60)
@given(programmes(), st.integers(0, 95))
def test_turning_the_day_turns_the_rows(rows: tuple[PlanRow, ...], turn: int) -> None:
    turned = fitted_rows(np.roll(quarters(*rows), turn))
    assert np.array_equal(quarters(*turned), np.roll(quarters(*rows), turn))


def test_priming_and_a_late_minute_are_no_period() -> None:
    """2,900 rpm for 5 min at the start of 800 rpm: a quarter of (5*2900 + 10*800)/15 = 1,500; and a stop 3 min late."""
    profile = quarters(PlanRow(420, 1185, 800))
    profile[28], profile[79] = (5 * 2900 + 10 * 800) / 15, 3 / 15 * 800
    assert fitted_rows(profile) == (PlanRow(420, 1185, 800),)


def test_half_an_hour_of_high_speed_is_a_period() -> None:
    rows = (PlanRow(480, 510, 2800), PlanRow(510, 1020, 1200))
    assert fitted_rows(quarters(*rows)) == rows


def test_all_day_and_across_midnight_and_standing() -> None:
    assert fitted_rows(np.full(96, 1725.0)) == (PlanRow(0, 1440, 1725),)
    assert fitted_rows(quarters(PlanRow(1320, 360, 1000))) == (PlanRow(1320, 360, 1000),)
    assert fitted_rows(np.zeros(96)) == () == fitted_rows(np.full(96, np.nan))
    assert fitted_rows(quarters(PlanRow(1200, 1440, 900))) == (PlanRow(1200, 1440, 900),)


def test_four_periods_are_no_plan() -> None:
    four = [PlanRow(hour * 60, hour * 60 + 120, 1000 + 300 * k) for k, hour in enumerate((2, 7, 12, 17))]
    found = observed_plan(np.tile(quarters(*four), (7, 1)), DAY_RPM)
    assert found.rows == () and "no plan of one to 3 periods" in STEADY.fault(found)


def test_a_habit_of_the_hand_is_not_steady() -> None:
    """2,600 rpm for 4 h in the evening by hand, begun up to 90 min apart, over 1,200 rpm: each day lies 30 rpm and more
    from the middle one."""
    days = np.tile(quarters(PlanRow(480, 1320, 1200)), (7, 1))
    for day, start in zip(days, (66, 70, 68, 72, 66, 71, 69), strict=True):
        day[start : start + 16] = 2600
    assert "ran alike" in STEADY.fault(observed_plan(days, DAY_RPM))


@pytest.mark.parametrize(("stops", "scatter_min"), [((80,) * 7, 0.0), ((80, 79, 81, 80, 78, 82, 79), 1.4826 * 15)])
def test_a_change_that_is_made_by_hand_scatters(stops, scatter_min) -> None:
    """A plug is pulled at 20:00, or half an hour about it: the middle distance from the middle is a quarter hour. The start
    in the morning and the change at noon are kept to the minute."""
    days = np.tile(quarters(PlanRow(420, 720, 1500), PlanRow(720, 1200, 975)), (7, 1))
    for day, stop in zip(days, stops, strict=True):
        day[stop:], day[76:stop] = 0, 975
    assert change_scatter_min(days, (PlanRow(420, 720, 1500), PlanRow(720, 1200, 975))) == pytest.approx(scatter_min)
    assert change_scatter_min(days, (PlanRow(0, 1440, 975),)) == 0
    assert change_scatter_min(np.full((7, 96), np.nan), (PlanRow(420, 720, 1500),)) == 0


def test_too_few_days_and_days_that_changed() -> None:
    old, new = quarters(PlanRow(480, 1020, 1200)), quarters(PlanRow(360, 720, 2000))
    assert "only 4 days" in STEADY.fault(observed_plan(np.tile(new, (4, 1)), DAY_RPM))
    assert "4 of the last 7" in STEADY.fault(observed_plan(np.stack([old] * 3 + [new] * 4), DAY_RPM))
    assert STEADY.fault(observed_plan(np.stack([old] * 2 + [new] * 5), DAY_RPM)) is None
    assert observed_plan(np.stack([old] * 2 + [new] * 5), DAY_RPM).rows == (PlanRow(360, 720, 2000),)


def test_interdaily_stability_worked_out_by_hand() -> None:
    """Two days of two hours, (0, 2) and (2, 4): mean 2, hours' means 1 and 3; IS = 4*(1+1) / (2*(4+0+0+4)) = 0.5."""
    assert interdaily_stability(np.array([[0.0, 2.0], [2.0, 4.0]])) == pytest.approx(0.5)
    assert interdaily_stability(np.tile([0.0, 2.0], (5, 1))) == pytest.approx(1)
    assert interdaily_stability(np.full((3, 4), 7.0)) == 1


def test_words() -> None:
    assert words([PlanRow(360, 480, 1500), PlanRow(1200, 1440, 900)]) == (
        "1500 rpm from 06:00 to 08:00; 900 rpm from 20:00 to 24:00"
    )
