"""Faults of what is keyed in, C1, C2, C4 to C9, C12 to C18, D15 and D11: periods, speeds, priming, the record.

Belongs here: one function per mode. What people do at the pad (C10, C11) stands in `faults_hand.py`. C3 (a step cut
short by the next) is not here: its sign is a record whose periods overlap, and the register refuses such a record.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pumpledger.simulator.case import Case, in_force
from pumpledger.simulator.controller import AirAtStart, KeyedPlan, Period
from pumpledger.simulator.plans import Wish, cheapest_speed, peak_plan, placed

_SPEEDS = np.arange(600, 3451, 25)
_CELL_HOURS = 5.0  # that an invented chlorinator needs a day


def _main(case: Case, longest_min: int = 1080) -> tuple[int, int]:
    """The cheapest single speed [rev/min] and its length [min]."""
    return cheapest_speed(case.pump.machine, Wish(case.need_m3, longest_min=longest_min))


def _morning(case: Case) -> int:
    return 15 * int(case.rng.integers(22, 34))


def _three_steps(case: Case) -> tuple[Period, ...]:
    """A good plan of a fast, a main and a slow step, on record since before the first day."""
    speed, length = _main(case, 900)
    fast = min(speed + 25 * int(case.rng.integers(12, 25)), 3200)
    slow = max(speed - 25 * int(case.rng.integers(7, 11)), 650)
    periods = placed([(fast, 120), (speed, max(length - 60, 150)), (slow, 150)], _morning(case))
    plans = [KeyedPlan(case.pump.recorded_plans[0].valid_from, periods)]
    case.pump.recorded_plans = plans
    case.set(plans=tuple(plans))
    return periods


def _bad_plan(case: Case, periods: tuple[Period, ...], note: str) -> str:
    """Keyed in and written down, until a better one is."""
    case.key_in(periods)
    if case.first > case.horizon.first_day:
        case.visit(case.first, "keying")
    case.mended("keying", "new plan")
    return note


def hole_in_the_day(case: Case) -> str:
    """C1: two steps that do not join, and no water to make up for it."""
    speed, length = _main(case)
    hole = 15 * round(case.between(60, min(300, length - 180)) / 15)
    start = min(_morning(case), 1425 - length)
    half = (length - hole) // 30 * 15
    periods = (Period(speed, start, start + half), Period(speed, start + half + hole, start + length))
    return _bad_plan(case, periods, f"hole of {hole} min in the middle of the plan")


def only_at_night(case: Case) -> str:
    """C2: start and stop changed places; nobody asked for it."""
    speed, length = _main(case, 600)
    early = 15 * round(case.between(6, 0))
    start = (1440 + 360 - max(length, 480) - early) % 1440
    start = max(start, 1200) if start > 720 else start
    return _bad_plan(case, placed([(speed, min(length, 600))], start), "runs at night only, not on anybody's wish")


def step_dropped(case: Case) -> str:
    """C4: the controller leaves out one of the steps on record."""
    periods = _three_steps(case)
    gone = int(case.rng.choice([0, 1, 2]))
    case.key_in(tuple(row for i, row in enumerate(periods) if i != gone), recorded=False)
    case.mended("keying", "plan keyed in again")
    case.size = min(1.0, periods[gone].length_min / 300.0)
    return f"step {gone + 1} of 3 on record does not run"


def wrong_order(case: Case) -> str:
    """C5: the speeds of two steps stand in each other's row."""
    a, b, c = _three_steps(case)
    one, other, third = [(b, a, c), (c, b, a), (a, c, b)][int(case.rng.integers(3))]
    turned = tuple(replace(row, speed_rpm=by.speed_rpm) for row, by in zip((a, b, c), (one, other, third), strict=True))
    case.key_in(turned, recorded=False)
    case.mended("keying", "speeds put right")
    return "speeds of two steps changed places"


def full_speed(case: Case) -> str:
    """C6: full speed around the clock, written down or not."""
    recorded = bool(case.rng.random() < 0.5)
    hours = round(case.between(20.5, 24.0) * 4) / 4
    speed = 3450 if case.rng.random() < 0.7 else 3200
    stop = int(hours * 60) % 1440 or 1440
    case.key_in((Period(speed, 0, stop),), recorded=recorded)
    if recorded and case.first > case.horizon.first_day:
        case.visit(case.first, "keying", "reset to default")
    case.mended("keying", "plan keyed in again")
    return f"{speed} rpm for {hours:g} h a day, {'on record' if recorded else 'not on record'}"


def fast_for_too_long(case: Case) -> str:
    """C7: the fast step was meant to be an hour or two."""
    hours = case.between(3.5, 9.0)
    fast = 25 * int(case.rng.integers(106, 124))
    speed, length = _main(case)
    rest = max(120, length // 2 // 15 * 15)
    periods = placed([(fast, 15 * round(hours * 4)), (speed, min(rest, 480))], _morning(case))
    return _bad_plan(case, periods, f"{fast} rpm for {hours:.1f} h a day")


def too_slow(case: Case) -> str:
    """C8: so slow that a litre costs more than at the most frugal speed."""
    flow = case.pump.machine.flow_m3h(_SPEEDS, 0.05)
    per_m3 = np.where(flow > 0.2, case.pump.machine.running_w(_SPEEDS, 0.05) / np.maximum(flow, 0.2), np.inf)
    knee = int(np.argmin(per_m3))
    slow = [i for i in range(knee) if np.isfinite(per_m3[i]) and _SPEEDS[i] <= _SPEEDS[knee] - 150]
    worse = [i for i in slow if per_m3[i] >= per_m3[knee] * case.between(1.12, 1.35)]
    at = worse[-1] if worse else 0
    dearer = per_m3[at] / per_m3[knee] - 1.0
    if not worse:
        case.size = 0.0  # this pump is hardly less frugal at its slowest
    return _bad_plan(
        case,
        (Period(int(_SPEEDS[at]), 0, 1440),),
        f"{_SPEEDS[at]} rpm around the clock, {dearer:.0%} dearer per litre than at {_SPEEDS[knee]} rpm",
    )


def factory_plan(case: Case, periods: tuple[Period, ...]) -> str:
    """C9: a reset brings the maker's plan back, the same at all pumps of the kind."""
    case.key_in(periods, recorded=False)
    case.mended("keying", "plan keyed in again")
    case.size = 1.0
    return "back to a plan that nobody at this company wrote"


def in_peak_hours(case: Case) -> str:
    """C12: fast in the dear hours."""
    return _bad_plan(case, peak_plan(case.pump.machine, case.need_m3), "fast period from 16:00 to 20:30")


def stale_record(case: Case) -> str:
    """C13: one field of the plan is another than on record: a speed, a start or a stop."""
    periods = list(case.keyed())
    longest = max(range(len(periods)), key=lambda i: periods[i].length_min)
    row = periods[longest]
    field = str(case.rng.choice(["speed", "start", "stop"]))
    # A start earlier, a stop later: what runs is more than what is on record, and steps do not overlap.
    room = (1440 - sum(p.length_min for p in periods)) // 2
    minutes = min(15 * round(case.between(45, 180) / 15), max(room // 15 * 15, 0))
    if field == "speed" or minutes < 45 or len(periods) > 1:
        by = 25 * round(case.between(100, 450) / 25)
        speed = row.speed_rpm + by if row.speed_rpm + by <= 3300 else row.speed_rpm - by
        changed, note = replace(row, speed_rpm=speed), f"{speed} rpm in place of {row.speed_rpm}"
    elif field == "start":
        changed = replace(row, start_min=(row.start_min - minutes) % 1440)
        note = f"starts {minutes} min earlier"
    else:
        changed = replace(row, stop_min=(row.stop_min + minutes) % 1440 or 1440)
        note = f"stops {minutes} min later"
    periods[longest] = changed
    case.key_in(tuple(periods), recorded=False)
    case.mended("keying", "back to the plan on record")
    return f"step {longest + 1} {note}, not written down"


def primes_too_long(case: Case) -> str:
    """C14: ten minutes at nearly full speed at each of two or three starts."""
    case.whole()
    speed, length = _main(case)
    starts = 2 if case.size < 0.5 else 3
    each = max(90, length // starts // 15 * 15)
    gap = (1440 - starts * each) // (starts + 1) // 15 * 15
    rows = tuple(Period(speed, 60 + i * (each + gap), 60 + i * (each + gap) + each) for i in range(starts))
    case.key_in(rows)
    case.set(priming_rpm=25 * round(case.between(3050, 3450) / 25), priming_s=600)
    return f"primes 10 min at {case.pump.controller.priming_rpm} rpm at each of {starts} starts"


def primes_too_slow(case: Case) -> str:
    """C15: priming is over before the air is out; then the pump turns half dry until it is."""
    case.whole()
    case.set(priming_rpm=25 * int(case.rng.integers(52, 61)), priming_s=120)
    extra = 60.0 * case.between(6, 35)
    rule = AirAtStart(case.start_s - 86_400, case.stop_s, 120 + int(extra), case.between(0.6, 0.25))
    case.set(air_at_start=(*case.pump.controller.air_at_start, rule))
    return f"primes 2 min at {case.pump.controller.priming_rpm} rpm; air for {extra / 60:.0f} min more"


def too_many_starts(case: Case) -> str:
    """C16: a loose relay drops out for some minutes, many times a day, whenever the pump runs: within half hours by lot."""
    count = round(case.between(7, 16))
    dead = []
    for day in case.days:
        free = [m for begin, end in case.running_min(day, 60) for m in range(begin + 15, end - 44, 30)]
        at = np.sort(case.rng.permutation(free)[:count]) + case.rng.integers(0, 5, min(count, len(free)))
        dead += [(s, s + 60 * int(case.rng.integers(6, 12))) for m in at for s in [case.at(day, int(m))]]
    case.set(dead=(*case.pump.controller.dead, *dead))
    case.mended("repair", "relay replaced")
    return f"stops for some minutes about {count} times a day"


def twin_steps(case: Case) -> str:
    """C17: two steps that are almost one."""
    speed, length = _main(case)
    by = int(case.rng.choice([25, 50]))
    first = max(60, length // 2 // 15 * 15)
    case.size = 1.0
    return _bad_plan(
        case, placed([(speed, first), (speed + by, length - first)], _morning(case)), f"two steps {by} rpm apart"
    )


def off_the_grid(case: Case) -> str:
    """C18: the record has a speed that no controller of this kind takes."""
    case.whole()
    by = int(case.rng.integers(6, 13))
    case.pump.recorded_plans = [
        KeyedPlan(plan.valid_from, tuple(replace(row, speed_rpm=row.speed_rpm + by) for row in plan.periods))
        for plan in case.pump.recorded_plans
    ]
    case.size = 1.0
    return f"speeds on record are {by} rpm too high, off the grid of 25"


def above_a_rating(case: Case) -> str:
    """D11: what runs is more than a fitting is rated for, on the days on which a plan asks for so much."""
    case.whole()
    of_day = {
        day: max(float(case.pump.machine.flow_m3h(row.speed_rpm)) for row in in_force(case.pump.controller.plans, day))
        for day in case.days
    }
    highest, over = max(of_day.values()), case.between(1.05, 1.5)
    limit = round(highest / over, 1)
    if case.rng.random() < 0.5:
        case.site.filter_limit_m3h = limit
    else:
        case.site.suction_limit_m3h = limit
    above = [day for day, flow in of_day.items() if flow > limit]
    case.first, case.last = above[0], above[-1]
    return f"flow {over:.2f} times a rating"


def too_few_hours_for_the_cell(case: Case) -> str:
    """D15: most of the plan runs below the speed that the chlorinator needs."""
    least = case.pump.aux_min_rpm or 1000
    slow = max(600, 25 * int((least - 100) // 25))
    hours = case.between(3.5, 0.75)
    # The register says what the cell needs, and the plan before kept to it.
    able_min = sum(row.length_min for row in case.keyed() if row.speed_rpm >= least)
    case.pump.aux_hours = min(_CELL_HOURS, able_min // 30 / 2.0) if able_min else _CELL_HOURS
    flow = float(case.pump.machine.flow_m3h(slow, 0.05))
    length = 15 * int(np.clip(np.ceil(case.need_m3 * 1.05 / max(flow, 0.3) * 4), 24, 80))
    periods = placed([(least + 200, 15 * round(hours * 4)), (slow, length)], _morning(case))
    return _bad_plan(case, periods, f"{hours:.1f} h a day at a speed that the chlorinator needs")


def highest_flow_m3h(case: Case) -> float:
    """Of everything that runs: plans, priming, hands [m3/h]."""
    controller = case.pump.controller
    speeds = [row.speed_rpm for plan in controller.plans for row in plan.periods]
    speeds += [hand.speed_rpm for hand in controller.manual] + [controller.priming_rpm]
    return float(case.pump.machine.flow_m3h(max(speeds)))
