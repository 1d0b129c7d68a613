"""The simple best plan of a pump: one run a day that filters as much as required for the least money.

Belongs here: the search over speed, length and start. What the plan must keep to is the pump's problem
(`fleet_problems.py`), the same as for the real search.

A plan is one period, and one faster part of it where skimming asks for more speed than the water does. It leaves out
priming, freeze protection and overrides: those are the controller's own.

Findings compare every pump with this plan and not with the cheapest one. The cheapest is searched after the findings,
because they say which plans are in question; to search it for all pumps of a fleet each week would take longer than the rest
of the review. This plan keeps to everything that is asked, so it never costs less than the cheapest: what lies above it can
be saved, and what more periods would save besides is told by the proposal.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import polars as pl

from pumpledger.engine.database import Database
from pumpledger.engine.tables import BEST_PLANS
from pumpledger.planning.day_grid import ROUNDING, DayGrid, day_grid
from pumpledger.planning.fleet_problems import plan_problems
from pumpledger.planning.placing import MIDDAY_QUARTER
from pumpledger.planning.problem import QUARTERS, Array, PlanProblem, clock_text
from pumpledger.planning.wishes import Wishes

FASTER_PART = "skimming"
TIE = 1e-9  # relative: costs closer than this are equal
NO_RUN = "no permitted speed filters the required volume and keeps the hours asked for within 24 h"

Mask = npt.NDArray[np.bool_]
_STARTS, _LENGTHS = np.arange(QUARTERS)[:, None], np.arange(QUARTERS + 1)[None, :]
_OFF_MIDDAY = np.abs((_STARTS + _LENGTHS / 2 - MIDDAY_QUARTER + QUARTERS / 2) % QUARTERS - QUARTERS / 2)


@dataclass(frozen=True, slots=True)
class SimplePlan:
    """One run: speed [rev/min], first quarter, length in quarters; ``faster_rpm`` during ``faster`` quarters of it.

    ``energy_kwh`` and ``cost`` (currency, or kWh without a tariff) a day; ``volume_m3`` by the low flow bound.
    """

    speed_rpm: int
    start: int
    length: int
    energy_kwh: float
    cost: float
    volume_m3: float
    faster_rpm: int | None = None
    faster: int = 0


def sums(values: Array) -> Array:
    """(96, 97) sums of (96,) values over stretches of the day, by first quarter and length."""
    along = np.concatenate([[0.0], np.cumsum(np.concatenate([values, values]))])
    return along[_STARTS + _LENGTHS] - along[_STARTS]


def simple_plan(problem: PlanProblem) -> SimplePlan | None:
    """The cheapest run that keeps to a problem; None where none does.

    Ties: the slower run, then the middle of the run nearest 13:00, then the earliest start.
    """
    grid = day_grid(problem)
    best: SimplePlan | None = None
    for plan in _by_speed(grid):
        if best is None or plan.cost < best.cost - TIE * abs(best.cost):
            best = plan
    return best


def _by_speed(grid: DayGrid) -> Iterator[SimplePlan]:
    """The cheapest run at each speed, ascending."""
    skim = next((need for need in grid.needs if need.name == FASTER_PART), None)
    fast = np.flatnonzero(skim.rate > 0) if skim else np.empty(0, dtype=np.int64)
    if skim and not fast.size:
        return
    price, stands = sums(grid.price), sums((~grid.rests).astype(float)) == 0
    # What is left of the day after a run, as a stretch: the pump stands there.
    rest = QUARTERS - _LENGTHS
    rests = stands[(_STARTS + _LENGTHS) % QUARTERS, rest] & (rest <= grid.longest_pause)
    if not grid.crosses_midnight:
        rests &= _STARTS + _LENGTHS <= QUARTERS
    allowed: dict[bytes, Mask] = {}
    for speed in range(grid.cost.size):
        part = skim if skim and skim.rate[speed] == 0 else None
        quick = int(fast[0]) if part else speed
        quarters = int(part.total) if part else 0
        shortest = _shortest(grid, speed, quick, quarters)
        if shortest is None:
            continue
        held = grid.runs[:, speed].tobytes()
        if held not in allowed:
            allowed[held] = rests & (sums((~grid.runs[:, speed]).astype(float)) == 0)
        runs = allowed[held] & (_LENGTHS >= shortest)
        cost = np.where(runs, grid.cost[speed] * price, np.inf)
        if part:
            quicker = _cheapest_part(grid, price, quick, quarters)
            cost[~np.isfinite(quicker)] = np.inf
            cost += (grid.cost[quick] - grid.cost[speed]) * np.nan_to_num(quicker, posinf=0.0)
        least = float(cost.min())
        if not np.isfinite(least):
            continue
        ties = cost <= least + TIE * (1e-3 + abs(least))
        length = int(np.flatnonzero(ties.any(axis=0))[0])
        start = (
            0
            if ties[0, length] and length == QUARTERS
            else int(np.where(ties[:, length], _OFF_MIDDAY[:, length], np.inf).argmin())
        )
        slow = length - quarters
        flow = grid.speeds.flow_lo
        yield SimplePlan(
            int(grid.speeds.speed_rpm[speed]),
            start,
            length,
            float(grid.cost[speed] * slow + grid.cost[quick] * quarters),
            float(cost[start, length]),
            float(flow[speed] * slow + flow[quick] * quarters) / 4,
            int(grid.speeds.speed_rpm[quick]) if part else None,
            quarters,
        )


def _shortest(grid: DayGrid, speed: int, quick: int, quarters: int) -> int | None:
    """The fewest quarters of a run at a speed, ``quarters`` of them at another, that give all that is needed; None where no
    day is long enough."""
    shortest = max(quarters, 1)
    for need in grid.needs:
        missing = need.total - need.rate[quick] * quarters
        if missing <= ROUNDING:
            continue
        if not need.rate[speed] > 0:
            return None
        shortest = max(shortest, quarters + int(np.ceil(missing / need.rate[speed] - ROUNDING)))
    return shortest if shortest <= QUARTERS else None


def _cheapest_part(grid: DayGrid, price: Array, quick: int, quarters: int) -> Array:
    """(96, 97) least price sum of ``quarters`` within a stretch in which the quick speed is allowed; infinite where none."""
    lies = sums((~grid.runs[:, quick]).astype(float))[:, quarters] == 0
    part = np.where(lies, price[:, quarters], np.inf)
    waits = np.arange(QUARTERS + 1 - quarters)[None, :]
    out = np.full(price.shape, np.inf)
    out[:, quarters:] = np.minimum.accumulate(part[(_STARTS + waits) % QUARTERS], axis=1)
    return out


def build_best_plans(db: Database, usual: Wishes | None = None) -> None:
    """Make ``best_plan`` (BEST_PLANS): one row a pump.

    Inputs: site, pump, plan, speed_grid, tariff_band, daily, fleet_day.
    """
    problems = plan_problems(db, usual=usual)
    pumps = Counter(problem.site_id for problem in problems)
    rows = [_row(problem, pumps[problem.site_id]) for problem in problems]
    db.load("best_plan", BEST_PLANS.conform(pl.DataFrame(rows, schema=BEST_PLANS.schema)))


def _row(problem: PlanProblem, site_pumps: int) -> dict[str, object]:
    row: dict[str, object] = dict.fromkeys(BEST_PLANS.columns)
    row |= {"site_id": problem.site_id, "pump_id": problem.pump_id, "withheld": problem.withheld}
    if problem.withheld:
        return row
    plan = simple_plan(problem)
    if plan is None or problem.pool_volume_m3 is None:
        return row | {"withheld": NO_RUN}
    stop = plan.start + plan.length
    return row | {
        "speed_rpm": plan.speed_rpm,
        "start_local": clock_text(plan.start),
        "stop_local": clock_text(stop if stop <= QUARTERS else stop - QUARTERS),
        "hours": plan.length / 4,
        "faster_rpm": plan.faster_rpm,
        "faster_hours": plan.faster / 4 if plan.faster_rpm is not None else None,
        "energy_kwh_day": plan.energy_kwh,
        "cost_day": None if problem.price_per_kwh is None else plan.cost,
        "turnovers_lo": plan.volume_m3 / (problem.pool_volume_m3 * site_pumps),
    }
