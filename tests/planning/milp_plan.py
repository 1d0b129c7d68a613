"""The same problems for an independent solver: scipy's HiGHS, on a formulation by quarter hours that shares nothing with
the searches.

One binary for each quarter and speed; a period begins where a speed runs that did not run in the quarter before; a start
is a quarter that runs after one that does not.
"""

from __future__ import annotations

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import coo_matrix

from pumpledger.planning.day_grid import day_grid
from pumpledger.planning.problem import QUARTERS, PlanProblem


class _Rows:
    def __init__(self) -> None:
        self.entries: list[tuple[int, int, float]] = []
        self.least: list[float] = []
        self.most: list[float] = []

    def add(self, terms: list[tuple[int, float]], least: float, most: float) -> None:
        row = len(self.least)
        self.entries += [(row, column, value) for column, value in terms]
        self.least.append(least)
        self.most.append(most)

    def matrix(self, columns: int) -> LinearConstraint:
        rows, places, values = (np.array(part) for part in zip(*self.entries, strict=True))
        shape = (len(self.least), columns)
        return LinearConstraint(coo_matrix((values, (rows, places)), shape=shape).tocsr(), self.least, self.most)


def milp_cost(problem: PlanProblem, seconds: float = 120.0) -> tuple[float, float] | None:
    """Cost of the best plan HiGHS finds, and its own lower bound, without the draw at rest; None where it proves that
    there is no plan."""
    grid = day_grid(problem)
    count = grid.cost.size
    if not count:
        return None

    def runs(quarter: int, speed: int) -> int:
        return quarter % QUARTERS * count + speed

    def begins(quarter: int, speed: int) -> int:
        return QUARTERS * count + quarter % QUARTERS * count + speed

    def starts(quarter: int) -> int:
        return 2 * QUARTERS * count + quarter % QUARTERS

    columns = 2 * QUARTERS * count + QUARTERS
    cost = np.zeros(columns)
    highest = np.ones(columns)
    rows = _Rows()
    for quarter in range(QUARTERS):
        cut = quarter == 0 and not grid.crosses_midnight
        for speed in range(count):
            cost[runs(quarter, speed)] = grid.price[quarter] * grid.cost[speed]
            highest[runs(quarter, speed)] = float(grid.runs[quarter, speed])
            before = [] if cut else [(runs(quarter - 1, speed), 1.0)]
            rows.add([(begins(quarter, speed), 1.0), (runs(quarter, speed), -1.0), *before], 0.0, np.inf)
        every = [(runs(quarter, speed), 1.0) for speed in range(count)]
        rows.add(every, 0.0 if grid.rests[quarter] else 1.0, 1.0)
        cost[starts(quarter)] = grid.start_cost[quarter]
        before = [(runs(quarter - 1, speed), 1.0) for speed in range(count)]
        rows.add([(starts(quarter), 1.0), *((column, -1.0) for column, _ in every), *before], 0.0, np.inf)
        if grid.longest_pause < QUARTERS:
            ahead = range(quarter, quarter + grid.longest_pause + 1)
            rows.add([(runs(later, speed), 1.0) for later in ahead for speed in range(count)], 1.0, np.inf)
    everywhere = [(quarter, speed) for quarter in range(QUARTERS) for speed in range(count)]
    rows.add([(begins(*place), 1.0) for place in everywhere], 0.0, grid.most_periods)
    for need in grid.needs:
        terms = [(runs(q, s), need.rate[s] / need.total) for q, s in everywhere if need.rate[s] > 0]
        if not terms:
            return None
        rows.add(terms, 1.0, np.inf)
    whole = np.zeros(columns)
    whole[: QUARTERS * count] = 1  # begins and starts are whole by themselves
    options = {"time_limit": seconds, "mip_rel_gap": 1e-7}
    result = milp(cost, constraints=rows.matrix(columns), bounds=Bounds(0, highest), integrality=whole, options=options)
    if result.status == 2:
        return None
    return (float(result.fun) if result.x is not None else np.inf), float(result.mip_dual_bound)
