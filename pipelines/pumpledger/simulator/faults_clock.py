"""Faults of the pump's clock, A1 to A5 and A7: the whole plan runs at another time.

Belongs here: one function per mode, which changes the case's site and says in a sentence what it did. A6 (wrong weekday)
is not here: a plan of this register is the same every day, so that nothing would show.
"""

from __future__ import annotations

from datetime import timedelta

import numpy as np

from pumpledger.simulator.case import Case, moved
from pumpledger.simulator.controller import KeyedPlan
from pumpledger.simulator.horizon import CHANGE_DAY


def _shift(case: Case, shifts_s: list[tuple[int, int]]) -> None:
    """Add shifts to the clock from each instant on; at the case's end someone sets the clock right."""
    small = case.pump.controller.clock_shifts[0][1]
    back = [(case.stop_s, small)] if case.ends else []
    steps = [(at, small + shift) for at, shift in shifts_s]
    case.set(clock_shifts=((0, small), *steps, *back))
    case.mended("check", "clock set")


def twelve_hours(case: Case) -> str:
    """A1: morning and afternoon changed places when someone set the clock by hand."""
    at = case.at(case.first, 60 * int(case.rng.integers(8, 12)) + 20)
    _shift(case, [(at, 43_200)])
    return "clock set by hand, 12 h out"


def not_changed(case: Case) -> str:
    """A2: the clock does not follow the end of summer time."""
    case.first = max(CHANGE_DAY, case.horizon.first_day)
    case.last = case.horizon.last_day if case.last < case.first + timedelta(days=10) else case.last
    at = case.horizon.midnight_s(CHANGE_DAY) + 7200
    _shift(case, [(at, 3600)])
    return "clock stayed on summer time, one hour ahead"


def odd_amount(case: Case) -> str:
    """A3: mis-keyed."""
    minutes = 5 * round(case.between(25, 330) / 5)
    minutes = minutes + 20 if abs(minutes - 60) < 15 else minutes
    minutes *= int(case.rng.choice([-1, 1]))
    at = case.at(case.first, 60 * int(case.rng.integers(8, 16)) + 10)
    _shift(case, [(at, 60 * minutes)])
    return f"clock set {minutes:+d} min out"


def drifts(case: Case) -> str:
    """A4: a weak oscillator, so much a day, and in all its days more than three looks of a log of five minutes."""
    least = 3 * 300.0 / len(case.days)
    per_day = max(case.between(20.0, 150.0), least) * float(case.rng.choice([-1.0, 1.0]))
    steps = [
        (case.horizon.midnight_s(day) + 10_800, int(round(per_day * (number + 1) / 10.0) * 10))
        for number, day in enumerate(case.days)
    ]
    _shift(case, steps)
    return f"clock drifts {per_day:+.0f} s a day"


def starts_again(case: Case) -> str:
    """A5: without a battery the clock begins at 00:00 when the power comes back. Half of the loggers lose it, too."""
    gone = case.at(case.first, 60 * int(case.rng.integers(6, 20)) + int(case.rng.integers(0, 60)))
    back = gone + 60 * int(case.between(20, 300))
    shown = int(case.horizon.local_s(np.array([back]))[0]) % 86_400
    # To the nearer midnight, so that the calendar day of a controller that has one stays right.
    shift = -shown if shown <= 43_200 else 86_400 - shown
    small = case.pump.controller.clock_shifts[0][1]
    _shift(case, [(back, shift - small)])
    case.set(dead=(*case.pump.controller.dead, (gone, back)))
    if case.rng.random() < 0.5:
        case.pump.lost.append((gone, back))
    elif not _missed_until(case, gone, back):
        case.shown_as = "A3"
    case.size = min(1.0, abs(shift) / 43_200)
    return f"power came back {shown // 3600:02d}:{shown // 60 % 60:02d}, and the clock began at 00:00"


def _missed_until(case: Case, gone_s: int, back_s: int) -> bool:
    """Whether the pump's plan asks for running when the power comes back, and did for ten minutes in which there was none.

    A log that goes on shows the end of a power cut by that alone. A pump that stops early and would rest by then looks
    like one whose clock someone put forward.
    """
    spans = [(case.at(case.first, a), case.at(case.first, b)) for a, b in case.running_min(case.first)]
    return any(max(a, gone_s) + 600 <= back_s <= b for a, b in spans)


def old_season(case: Case) -> str:
    """A7: the new season's plan, the same hours at another time, was written down and never keyed in."""
    old = case.keyed()
    minutes = 15 * round(case.between(60, 300) / 15)
    new = moved(old, minutes)
    case.key_in(new, run=False)
    case.visit(case.first, "keying", "autumn plan")
    if case.ends:  # what is on record is keyed in at last
        after = case.last + timedelta(days=1)
        kept = tuple(plan for plan in case.pump.controller.plans if plan.valid_from < after)
        case.set(plans=(*kept, KeyedPlan(after, new)))
        case.pump.recorded_plans = [plan for plan in case.pump.recorded_plans if plan.valid_from < after]
        case.visit(after, "keying", "autumn plan keyed in")
    return f"autumn plan, {minutes} min later, on record and not keyed in"
