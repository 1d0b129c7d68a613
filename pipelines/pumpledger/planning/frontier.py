"""What more or less water would cost a pump: the cheapest plan for each of several turnovers.

Belongs here: the points of the curve. The search is that of the proposal; drawing belongs to `reports/svg_frontier.py`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pumpledger.planning.day_grid import day_grid
from pumpledger.planning.keeping import along_day, cost
from pumpledger.planning.problem import PlanProblem, Turnover
from pumpledger.planning.proposal import Proposal, propose, search

SHARES = (0.5, 0.75, 1.0, 1.25, 1.5, 1.75, 2.0)  # of what is required


@dataclass(frozen=True, slots=True)
class Point:
    """Water that is asked for [turnovers a day of the pump's share of the pool, by the low flow bound], cost and proven
    bound of the cheapest plan for it [currency a day, or kWh without a tariff]."""

    turnovers: float
    cost: float
    bound: float


def frontier(problem: PlanProblem, shares: tuple[float, ...] = SHARES) -> list[Point]:
    """The cheapest plan for each share of the required water, as far as plans can reach.

    Empty where no plan may be given, where no water is required or the pool's volume is not known.
    """
    water = next((asked for asked in problem.requirements if isinstance(asked, Turnover)), None)
    if problem.withheld or water is None or not water.required_m3 > 0 or not problem.pool_volume_m3:
        return []
    points = []
    for share in sorted(shares):
        asked = replace(water, required_m3=water.required_m3 * share)
        other = replace(problem, requirements=tuple(asked if r is water else r for r in problem.requirements))
        found = search(day_grid(other))
        if found.mix is None:
            break
        told = propose(other, found)
        if isinstance(told, Proposal) and told.cost is not None and told.lower_bound is not None:
            points.append(Point(asked.required_m3 / problem.pool_volume_m3, told.cost, told.lower_bound))
    return points


def in_force_point(problem: PlanProblem) -> Point | None:
    """The plan keyed in now, in the same terms; None where there is none or the grid does not tell its cost or flow."""
    plan = problem.in_force
    if not plan or not problem.pool_volume_m3 or any(problem.speeds.index(p.speed_rpm) is None for p in plan):
        return None
    price = cost(problem, plan)
    turnovers = float(along_day(problem, plan, "flow_lo").sum()) / 4 / problem.pool_volume_m3
    return Point(turnovers, price, price) if np.isfinite(price) and np.isfinite(turnovers) else None
