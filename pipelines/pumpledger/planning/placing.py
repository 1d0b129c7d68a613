"""Where the periods of a mix go: the cheapest places, and of equally cheap ones those around midday.

Belongs here: places alone; speeds and lengths are settled.
"""

from __future__ import annotations

import numpy as np

from pumpledger.planning.bound import Day, chained
from pumpledger.planning.day_grid import DayGrid
from pumpledger.planning.mixes import Mix
from pumpledger.planning.problem import QUARTERS, Array, Period, Plan

# 13:00: sunlight uses up chlorine (common practice, no source).
MIDDAY_QUARTER = 52
_TIE = 1e-10  # relative: what being far from midday may count


def place(day: Day, mix: Mix) -> Plan:
    """The cheapest places of the periods of ``mix``; neighbours of one speed become one period.

    Of equal costs: the running time nearest 13:00.

    Raises:
        ValueError: the mix does not fit the day.
    """
    orders = [mix] if len(mix) < 3 else [mix, (mix[0], mix[2], mix[1])]
    placed = [_chain(day, order) for order in orders]
    cost, starts, order = min(
        ((cost, starts, order) for (cost, starts), order in zip(placed, orders, strict=True)), key=lambda p: p[0]
    )
    if not np.isfinite(cost):
        raise ValueError("the periods do not fit the day")
    speeds = day.grid.speeds.speed_rpm
    periods = [Period(int(speeds[speed]), start, length) for start, (length, speed) in zip(starts, order, strict=True)]
    return joined(tuple(periods), day.grid.crosses_midnight)


def joined(plan: Plan, crosses_midnight: bool = True) -> Plan:
    """Periods by start, neighbours of one speed as one; a day at one speed begins at midnight."""
    periods = sorted(plan, key=lambda period: period.start)
    whole_day = sum(period.length for period in periods) == QUARTERS
    if whole_day and len({period.speed_rpm for period in periods}) == 1:
        return (Period(periods[0].speed_rpm, 0, QUARTERS),)
    merged: list[Period] = []
    for period in periods:
        last = merged[-1] if merged else None
        if last and last.speed_rpm == period.speed_rpm and last.start + last.length == period.start:
            merged[-1] = Period(last.speed_rpm, last.start, last.length + period.length)
        else:
            merged.append(period)
    first, last = merged[0], merged[-1]
    if (
        crosses_midnight
        and len(merged) > 1
        and last.speed_rpm == first.speed_rpm
        and last.stop % QUARTERS == first.start
    ):
        merged = [*merged[1:-1], Period(last.speed_rpm, last.start, last.length + first.length)]
    return tuple(merged)


def _chain(day: Day, order: Mix) -> tuple[float, list[int]]:
    """Cost and starts of the periods one after the other round the clock; infinite where they do not fit."""
    runs = [_placed(day, length, speed) for length, speed in order]
    rests: list[Array] = []  # the least cost of what follows the end of each period, by quarter and length
    rest = day.pause
    for run, (length, _) in zip(reversed(runs[1:]), reversed(order[1:]), strict=True):
        rests.insert(0, rest)
        rest = chained(day.pause, _after(run, length, rest))
    rests.insert(0, rest)
    whole = _after(runs[0], order[0][0], rest)[:, QUARTERS]
    at = int(whole.argmin())
    cost, starts = float(whole[at]), [at]
    left = QUARTERS
    for number in range(len(order) - 1):
        at, left = (at + order[number][0]) % QUARTERS, left - order[number][0]
        waits = np.arange(left + 1)
        follow = _after(runs[number + 1], order[number + 1][0], rests[number + 1])
        wait = int(np.argmin(day.pause[at, waits] + follow[(at + waits) % QUARTERS, left - waits]))
        at, left = (at + wait) % QUARTERS, left - wait
        starts.append(at)
    return cost, starts


def _placed(day: Day, length: int, speed: int) -> Array:
    """(96,) cost of a period by start; infinite where it is not allowed."""
    starts = np.arange(QUARTERS)
    far = np.abs((starts + length / 2 - MIDDAY_QUARTER + QUARTERS / 2) % QUARTERS - QUARTERS / 2)
    cost = day.price[:, length] * day.grid.cost[speed]
    cost = cost + _TIE * day.most_cost * length * far / QUARTERS**2
    return np.where(day.runs[:, length, speed], cost, np.inf)


def _after(run: Array, length: int, rest: Array) -> Array:
    """(96, 97) a period at the beginning of a stretch, and the rest behind it."""
    out = np.full(rest.shape, np.inf)
    out[:, length:] = run[:, None] + np.roll(rest, -length, axis=0)[:, : QUARTERS + 1 - length]
    return out


def mix_cost(day: Day, plan: Plan) -> float:
    """What a plan costs by the arrays of the day: its periods and its starts."""
    grid: DayGrid = day.grid
    cost = sum(
        float(day.price[period.start, period.length]) * float(grid.cost[grid.speeds.index(period.speed_rpm)])
        for period in plan
    )
    running = np.zeros(QUARTERS, dtype=bool)
    for period in plan:
        running[(period.start + np.arange(period.length)) % QUARTERS] = True
    return cost + float(grid.start_cost[running & ~np.roll(running, 1)].sum())
