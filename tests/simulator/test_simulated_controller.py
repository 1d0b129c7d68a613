"""Commands of the controller: plan, clock, priming, freeze protection, auxiliary load."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from pumpledger.simulator.controller import AuxWindow, Controller, KeyedPlan, Manual, Period, aux_called, commanded_rpm
from pumpledger.simulator.horizon import Horizon, demo_horizon

HORIZON = demo_horizon("America/Los_Angeles", 2)
BEFORE = date(2026, 10, 1)
PLAN = (KeyedPlan(BEFORE, (Period(1200, 360, 900),)),)


def times(day: date, horizon: Horizon = HORIZON) -> np.ndarray:
    """Ten-second steps of one local day."""
    following = date.fromordinal(day.toordinal() + 1)
    return np.arange(horizon.midnight_s(day), horizon.midnight_s(following), 10)


def commands(controller: Controller, day: date, air_c: float = 15.0) -> np.ndarray:
    """Commands of one local day at one air temperature."""
    steps = times(day)
    return commanded_rpm(controller, HORIZON, steps, np.full(steps.size, air_c))


def on_at(controller: Controller, day: date) -> float:
    """Hours since local midnight at the first running step."""
    return float(np.flatnonzero(commands(controller, day) > 0)[0]) / 360.0


def test_days_of_the_clock_change() -> None:
    """Facts 7a: 25 h on 2026-11-01 in Los Angeles; the weeks are whole ISO weeks."""
    assert times(date(2026, 11, 1)).size == 25 * 360
    assert [week.label for week in HORIZON.weeks] == ["2026-W44", "2026-W45"]
    assert (HORIZON.first_day, HORIZON.last_day) == (date(2026, 10, 26), date(2026, 11, 8))
    assert HORIZON.weeks[0].end_s - HORIZON.weeks[0].start_s == (7 * 24 + 1) * 3600


@pytest.mark.parametrize(
    ("weeks", "first", "last"),
    [(1, "2026-11-02", "2026-11-08"), (6, "2026-09-28", "2026-11-08"), (8, "2026-09-28", "2026-11-22")],
)
def test_longer_horizons_hold_the_change(weeks: int, first: str, last: str) -> None:
    horizon = demo_horizon("America/Los_Angeles", weeks)
    assert (str(horizon.first_day), str(horizon.last_day)) == (first, last)


def test_a_right_clock_keeps_wall_time_through_the_change() -> None:
    controller = Controller(plans=PLAN)
    assert on_at(controller, date(2026, 10, 31)) == 6.0
    assert on_at(controller, date(2026, 11, 1)) == 7.0  # an hour more has passed since midnight
    assert on_at(controller, date(2026, 11, 2)) == 6.0


def test_a_clock_that_stays_on_summer_time_runs_an_hour_early() -> None:
    change_s = HORIZON.midnight_s(date(2026, 11, 1)) + 7200
    controller = Controller(plans=PLAN, clock_shifts=((0, 0), (change_s, 3600)))
    assert on_at(controller, date(2026, 10, 31)) == 6.0
    assert on_at(controller, date(2026, 11, 1)) == 6.0
    assert on_at(controller, date(2026, 11, 2)) == 5.0


def test_a_clock_twelve_hours_out_turns_the_plan_by_720_minutes() -> None:
    """Facts 7k: a constant offset of 720 min."""
    wrong = Controller(plans=PLAN, clock_shifts=((0, 43_200),))
    right = commands(Controller(plans=PLAN), date(2026, 11, 3))
    assert np.array_equal(commands(wrong, date(2026, 11, 3)), np.roll(right, 720 * 6))


def test_the_hour_that_happens_twice_runs_twice() -> None:
    controller = Controller(plans=(KeyedPlan(BEFORE, (Period(1200, 60, 120),)),))
    assert int((commands(controller, date(2026, 11, 1)) > 0).sum()) == 2 * 360


def test_a_period_across_midnight() -> None:
    period = Period(1000, 1320, 120)
    assert period.length_min == 240
    assert Period(1000, 0, 1440).length_min == 1440
    running = commands(Controller(plans=(KeyedPlan(BEFORE, (period,)),)), date(2026, 11, 3)) > 0
    assert running[: 120 * 6].all() and running[-120 * 6 :].all() and int(running.sum()) == 240 * 6


def test_a_new_plan_from_its_day_on() -> None:
    controller = Controller(plans=(*PLAN, KeyedPlan(date(2026, 11, 4), (Period(1500, 480, 600),))))
    assert commands(controller, date(2026, 11, 3)).max() == 1200
    assert commands(controller, date(2026, 11, 4)).max() == 1500


def test_priming_at_each_start_and_not_longer_than_the_run() -> None:
    plan = (KeyedPlan(BEFORE, (Period(1200, 360, 365), Period(1000, 600, 700))),)
    primed = commands(Controller(plans=plan, priming_rpm=2000, priming_s=600), date(2026, 11, 3))
    assert int((primed == 2000).sum()) == 5 * 6 + 10 * 6
    assert int((primed > 0).sum()) == 105 * 6


def test_an_override_waits_for_priming_and_ends() -> None:
    start = HORIZON.utc_s(date(2026, 11, 3), 300)
    controller = Controller(plans=PLAN, priming_rpm=2000, priming_s=300, manual=(Manual(start, start + 1800, 3000),))
    speeds = commands(controller, date(2026, 11, 3))
    assert int((speeds == 2000).sum()) == 2 * 30  # at the override's start and at the plan's
    assert int((speeds == 3000).sum()) == 150


def test_freeze_protection_runs_only_where_the_plan_is_off() -> None:
    controller = Controller(plans=PLAN, freeze_setpoint_c=3.0, freeze_rpm=1100)
    assert int((commands(controller, date(2026, 11, 3), 2.9) == 1100).sum()) == (1440 - 540) * 6
    assert int((commands(controller, date(2026, 11, 3), 3.1) == 1100).sum()) == 0
    assert int((commands(replace(controller, freeze_acts=False), date(2026, 11, 3), -5.0) == 1100).sum()) == 0


def test_no_drive_is_no_speed() -> None:
    day = date(2026, 11, 3)
    dead = Controller(
        plans=PLAN, dead=((HORIZON.midnight_s(day), HORIZON.end_s),), freeze_setpoint_c=3.0, freeze_rpm=1100
    )
    assert commands(dead, day, -5.0).max() == 0


def test_the_auxiliary_window_changes_on_its_day() -> None:
    controller = Controller(
        plans=PLAN, aux_windows=(AuxWindow(BEFORE, 420, 480), AuxWindow(date(2026, 11, 2), 420, 540))
    )
    assert int(aux_called(controller, HORIZON, times(date(2026, 10, 31))).sum()) == 60 * 6
    assert int(aux_called(controller, HORIZON, times(date(2026, 11, 3))).sum()) == 120 * 6
