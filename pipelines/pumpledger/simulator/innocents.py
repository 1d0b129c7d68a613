"""Healthy sites that look like faults, for fleets that hold every fault: nothing here may be found.

Belongs here: one function per look-alike, at days drawn from the case's. Those of the demo's block stand in `faults.py`.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

from pumpledger.simulator.case import Case
from pumpledger.simulator.controller import AuxWindow, Period
from pumpledger.simulator.horizon import CHANGE_DAY
from pumpledger.simulator.plans import LOADING_ALLOWED, Wish, sensible_plan, twin_plan
from pumpledger.simulator.weather import SNAP_FROM, SNAP_TO


def _some_days(case: Case, per_week: float) -> list[date]:
    days = [day for day in case.days if case.rng.random() < per_week / 7.0]
    return days or [case.days[int(case.rng.integers(len(case.days)))]]


def _on(case: Case, days: list[date]) -> None:
    case.first, case.last = days[0], days[-1]


def party(case: Case) -> str:
    days = _some_days(case, 0.5)
    for day in days:
        case.add_hands([case.hand(day, case.rng.uniform(840, 1080), 60 * case.rng.uniform(3.5, 7), 2700)])
        case.visit(day, "agreed override", "party, asked for by the owner")
    _on(case, days)
    return f"{len(days)} overrides for parties, on record"


def backwash(case: Case) -> str:
    days = _some_days(case, 0.5)
    for day in days:
        at = 15 * int(case.rng.integers(36, 60))
        rows = ((0, 5, 0, False), (5, 10, 2800, True), (15, 5, 0, False), (20, 5, 2800, True))
        case.add_hands([case.hand(day, at + after, length, rpm, waste) for after, length, rpm, waste in rows])
        case.visit(day, "backwash")
    _on(case, days)
    return f"{len(days)} backwashes, water to waste"


def vacuum(case: Case) -> str:
    days = _some_days(case, 0.7)
    for day in days:
        case.add_hands([case.hand(day, case.rng.uniform(480, 660), 60 * case.rng.uniform(2, 5), 2900)])
        case.visit(day, "vacuum")
    _on(case, days)
    return f"{len(days)} times some hours at 2900 rpm to vacuum"


def night(case: Case) -> str:
    wish = Wish(case.need_m3, longest_min=660, start_min=1275)
    case.whole()
    case.key_in(sensible_plan(case.pump.machine, wish, case.rng))
    case.visit(case.pump.recorded_plans[0].valid_from, "keying", "night running is the owner's wish")
    return "runs at night on purpose, clock right"


def symmetric(case: Case) -> str:
    case.whole()
    case.key_in(twin_plan(case.pump.machine, case.need_m3))
    return "two equal periods twelve hours apart, clock right"


def plan_change(case: Case) -> str:
    case.last = case.horizon.last_day
    old_start = case.keyed()[0].start_min
    wish = Wish(case.need_m3, longest_min=900, start_min=(old_start + 150) % 1440)
    case.key_in(sensible_plan(case.pump.machine, wish, case.rng))
    case.visit(case.first, "keying", "start moved, owner's wish")
    return "new plan keyed in and recorded on one day"


def refill(case: Case) -> str:
    """After half of the water was changed it runs through a night or two, on record."""
    case.last = case.first
    case.add_hands([case.hand(case.first, 600, 60 * case.rng.uniform(20, 40), 2000)])
    for after in range(3):
        case.visit(case.first + timedelta(days=after), "agreed override", "refilled, runs until clear")
    case.last = min(case.first + timedelta(days=2), case.horizon.last_day)
    return "runs through after a refill, on record"


def heater_season(case: Case) -> str:
    """From some day on the heater is called for longer, always above its minimum speed."""
    start = 7 * 60
    fast = 50 + int(case.pump.aux_min_rpm or 1500)
    left = case.need_m3 - 3.0 * float(case.pump.machine.flow_m3h(fast, LOADING_ALLOWED))
    wish = Wish(left, longest_min=780, start_min=start + 180, one_period=True)
    rest = sensible_plan(case.pump.machine, wish, case.rng) if left > 0.1 * case.need_m3 else ()
    from_day, since = case.first, case.pump.controller.plans[0].valid_from
    case.whole()
    case.key_in((Period(fast, start, start + 180), *rest))
    windows = (AuxWindow(since, start + 30, start + 120), AuxWindow(from_day, start + 15, start + 180))
    case.set(aux_windows=windows)
    case.first = from_day
    return "heater called for longer, always above its minimum speed"


def new_pump(case: Case) -> str:
    """A new pump of the same kind, a little stronger or weaker, on record."""
    case.last = case.horizon.last_day
    by = float(case.rng.choice([-1, 1]) * case.rng.uniform(0.02, 0.05))
    case.change("impeller", [(case.start_s + 40_000, 0.0), (case.start_s + 40_060, by)])
    case.visit(case.first, "repair", "new pump of the same kind")
    return f"new pump, as one at {1 + by:.0%} of the speed"


def short_override(case: Case) -> str:
    days = _some_days(case, 0.5)
    case.add_hands([case.hand(day, case.rng.uniform(600, 1140), case.rng.uniform(30, 130), 2800) for day in days])
    _on(case, days)
    return f"{len(days)} overrides of up to two hours"


def clock_right(case: Case) -> str:
    case.first = case.last = max(CHANGE_DAY, case.horizon.first_day)
    return "clock change followed on the day"


def freeze_acts(case: Case) -> str:
    case.first, case.last = max(SNAP_FROM, case.horizon.first_day), min(SNAP_TO, case.horizon.last_day)
    return f"freeze protection runs the pump at {case.pump.controller.freeze_rpm} rpm in the frost nights"


def long_hole(case: Case) -> str:
    """Some hours of one day were lost, less than half of it."""
    at = case.start_s + int(case.rng.uniform(0, 30_000))
    case.pump.lost.append((at, at + int(3600 * case.rng.uniform(3, 9))))
    case.last = case.first
    return "some hours of one day lost"


def closed(case: Case) -> str:
    case.whole()
    case.site.season = "closed"
    case.pump.silent = True
    case.set(dead=((0, case.horizon.end_s),))
    case.visit(case.horizon.first_day - timedelta(days=14), "closing", "drained for the winter")
    return "closed and silent"


def cleaned(case: Case) -> str:
    """A filter that loads within the usual and is cleaned in time, on record."""
    days = [day for i, day in enumerate(case.days) if i % 14 == 10] or [case.last]
    for begin, end in zip([case.first, *days[:-1]], days, strict=True):
        a, b = case.horizon.midnight_s(begin) + 36_000, case.horizon.midnight_s(end) + 36_000
        part = replace(case, first=begin, last=case.horizon.last_day)
        part.change("friction", [(a, 0.0), (max(a + 60, b - 600), 0.12), (max(a + 120, b), 0.0)])
        case.visit(end, "cleaning")
    _on(case, days)
    return "loads a little and is cleaned each fortnight"
