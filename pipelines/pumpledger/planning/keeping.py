"""Whether a plan keeps to a problem's requirements, by plain counting along the 96 quarters.

Belongs here: the count for plans that are not looked for, such as the one in force, and what binds a plan that was
found. It shares no arrays with the searches; the check through the profile's own code is `checker.py`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from pumpledger.planning.day_grid import ROUNDING, keyed_rpm, usable
from pumpledger.planning.problem import (
    QUARTERS,
    Array,
    AsKeyed,
    Continuous,
    FlowLimit,
    Hours,
    LoadWindow,
    LongestPause,
    Plan,
    PlanProblem,
    QuietWindow,
    Requirement,
    SpeedLimit,
    Turnover,
    quarters_of,
)


def along_day(problem: PlanProblem, plan: Plan, column: str) -> Array:
    """(96,) a column of the speeds in each quarter of a plan: 0 where the pump stands, NaN where it is not known."""
    speeds, values = problem.speeds, getattr(problem.speeds, column)
    out = np.zeros(QUARTERS)
    for period in plan:
        index = speeds.index(period.speed_rpm)
        out[quarters_of(period.start, period.length)] = np.nan if index is None else values[index]
    return out


def starts(plan: Plan) -> Array:
    """(96,) 1 in each quarter in which the pump starts after a pause."""
    running = keyed_rpm(plan) > 0
    return (running & ~np.roll(running, 1)).astype(float)


def longest_pause(plan: Plan) -> int:
    """The longest pause of a plan in quarters, round the clock."""
    running = keyed_rpm(plan) > 0
    if not running.any():
        return QUARTERS
    stops = np.flatnonzero(running)
    gaps = np.diff(np.r_[stops, stops[0] + QUARTERS]) - 1
    return int(gaps.max())


def broken(problem: PlanProblem, plan: Plan) -> dict[str, float]:
    """By name, the requirements that a plan does not keep to, and by how much: m3, m3/h, rev/min or quarters.

    A flow that is not known breaks what rests on it. A plan that cannot be keyed in at all breaks "periods".
    """
    found = {requirement.name: _lack(problem, plan, requirement) for requirement in problem.requirements}
    lacks = {name: lack for name, lack in found.items() if not lack <= ROUNDING}
    if not _keyable(problem, plan):
        lacks["periods"] = 1.0
    return lacks


def _keyable(problem: PlanProblem, plan: Plan) -> bool:
    if not 1 <= len(plan) <= problem.most_periods:
        return False
    taken = np.zeros(QUARTERS, dtype=int)
    known = problem.speeds.where(usable(problem.speeds))
    for period in plan:
        whole = 1 <= period.length <= QUARTERS and 0 <= period.start < QUARTERS
        inside = problem.crosses_midnight or period.start + period.length <= QUARTERS
        if not (whole and inside) or known.index(period.speed_rpm) is None:
            return False
        taken[quarters_of(period.start, period.length)] += 1
    return bool((taken <= 1).all())


def _lack(problem: PlanProblem, plan: Plan, requirement: Requirement) -> float:
    """How much is missing, or too much; 0 or less: kept. NaN: not known."""
    speed = keyed_rpm(plan)
    free = np.ones(QUARTERS, dtype=bool)
    if getattr(requirement, "spares_loads", False):
        for other in problem.requirements:
            if isinstance(other, LoadWindow):
                free[quarters_of(other.start, other.length)] = False
    match requirement:
        case Turnover(_, required):
            return required - float(along_day(problem, plan, "flow_lo").sum()) / 4
        case FlowLimit(_, most, _):
            return float(np.max(along_day(problem, plan, "flow_hi")[free], initial=0.0)) - most
        case SpeedLimit(_, most, _):
            return float(np.max(speed[free], initial=0.0)) - most
        case LoadWindow(_, start, length, least):
            return least - float(speed[quarters_of(start, length)].min())
        case QuietWindow(_, start, length, most):
            return float(speed[quarters_of(start, length)].max()) - most
        case AsKeyed(_, start, length):
            window = quarters_of(start, length)
            return float(np.abs(speed - keyed_rpm(problem.in_force or ()))[window].max())
        case Hours(_, least, quarters):
            return quarters - float(((speed >= least) & (speed > 0)).sum())
        case LongestPause(_, quarters):
            return longest_pause(plan) - quarters
        case Continuous(_, least):
            lack = least - float(along_day(problem, plan, "flow_lo").min())
            return max(lack, float((speed == 0).sum()))
    raise TypeError(requirement)


def cost(problem: PlanProblem, plan: Plan, power: str = "power_mid") -> float:
    """What a plan costs a day [currency], without a tariff its energy [kWh]; the draw at rest and the starts counted."""
    watts = np.where(keyed_rpm(plan) > 0, along_day(problem, plan, power), problem.standby_w)
    start = problem.start_cost
    wear = start.wear if problem.price_per_kwh is not None else 0.0
    return float(
        (watts / 4000 * problem.price).sum() + (starts(plan) * (start.priming_kwh * problem.price + wear)).sum()
    )


def _steps(plan: Plan, problem: PlanProblem) -> Iterator[Plan]:
    """Plans one step away: a period slower, shorter or longer at one end, moved, or left out."""
    speeds = problem.speeds.speed_rpm
    for place, period in enumerate(plan):
        others = plan[:place] + plan[place + 1 :]
        index = problem.speeds.index(period.speed_rpm)
        if index is not None:
            for near in (index - 1, index + 1):
                if 0 <= near < len(speeds):
                    yield (*others, replace(period, speed_rpm=int(speeds[near])))
        for start, length in ((0, -1), (1, -1), (0, 1), (-1, 1), (1, 0), (-1, 0)):
            yield (*others, replace(period, start=(period.start + start) % QUARTERS, length=period.length + length))
        yield others
    for turn in (-1, 1):
        yield tuple(replace(period, start=(period.start + turn) % QUARTERS) for period in plan)


def binding(problem: PlanProblem, plan: Plan) -> tuple[str, ...]:
    """The requirements that hold a plan where it is: those that a cheaper plan one step away would break."""
    now = cost(problem, plan)
    held: set[str] = set()
    for step in _steps(plan, problem):
        if all(1 <= period.length <= QUARTERS for period in step) and cost(problem, step) < now * (1 - ROUNDING):
            held |= set(broken(problem, step))
    return tuple(name for name in problem.names if name in held)
