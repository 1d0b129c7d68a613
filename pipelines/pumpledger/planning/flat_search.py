"""The cheapest plan where the hour of the day makes no difference: a full search over speeds and lengths.

Belongs here: the search for a flat price without windows. Where the periods lie is settled in `placing.py`.

The bound is the lower convex envelope of power over flow, or, with hours to keep, the linear program that it stands
for: shares of the day at each speed, at least the water and the hours asked for, at most the whole day. Its dual prices
split what any plan costs above the bound into parts that are never negative: one for each period (its length times the
reduced cost of its speed), one for water and hours given beyond what is asked, one for time at rest, and the starts.

Why it is exact: a plan is left out only where these parts reach the level under which plans are looked at; the parts of
two periods and a list of third ones, sorted by what they give, decide that without looking at each. If the best plan
found lies under the level, none is cheaper; otherwise the level is raised.
"""

from __future__ import annotations

import numpy as np
from scipy.optimize import linprog

from pumpledger.planning.day_grid import ROUNDING, DayGrid
from pumpledger.planning.mixes import MOST_TRIPLES, Best, Found, Index, sorted_range
from pumpledger.planning.problem import QUARTERS, Array

_FIRST_LEVEL, _RAISE = 3e-6, 3.0


def search(grid: DayGrid, triples: int = MOST_TRIPLES, any_plan: bool = False) -> Found:
    """The cheapest mix of a grid that is blind to the hour, with its lower bound; as `tou_search.search`.

    Raises:
        ValueError: the hour makes a difference.
    """
    if not grid.is_blind:
        raise ValueError("prices or limits differ by the hour")
    if not grid.cost.size:
        return Found(None, np.inf, np.inf)
    best = Best(triples_left=triples)
    ways = [_Flat(grid, rests=False), *([_Flat(grid, rests=True)] if grid.rests[0] else [])]
    proven = [way.search(best, any_plan) for way in sorted(ways, key=lambda way: way.bound)]
    cheapest = min(ways, key=lambda way: way.bound)
    return best.found(min(proven), cheapest.prices if np.isfinite(cheapest.bound) else None)


class _Flat:
    """One of the two ways to spend the day: running throughout, or with at least one pause and so one start."""

    def __init__(self, grid: DayGrid, rests: bool) -> None:
        self.grid, self.rests = grid, rests
        self.cost = grid.cost * float(grid.price[0])
        self.start = float(grid.start_cost[0])
        self.rates = np.array([need.rate for need in grid.needs]).reshape(len(grid.needs), grid.cost.size)
        self.totals = np.array([need.total for need in grid.needs])
        envelope = self.envelope()
        self.bound = np.inf
        if envelope is not None:
            low, self.prices, self.quarter = envelope
            self.bound = low + (self.start if rests else 0.0)

    def envelope(self) -> tuple[float, Array, float] | None:
        """Bound, price of each need, price of a quarter of the day (at most 0 where the pump may rest); None where
        even shares of the day do not do."""
        day = np.ones((1, self.cost.size))
        program = linprog(
            self.cost,
            A_ub=np.vstack([-self.rates, day]) if self.rests else -self.rates if len(self.totals) else None,
            b_ub=np.r_[-self.totals, QUARTERS - 1] if self.rests else -self.totals if len(self.totals) else None,
            A_eq=None if self.rests else day,
            b_eq=None if self.rests else [QUARTERS],
        )
        if program.status == 2:
            return None
        if program.status != 0:
            raise RuntimeError(f"the envelope could not be computed: {program.message}")
        duals = program.ineqlin.marginals
        quarter = float(duals[-1]) if self.rests else float(program.eqlin.marginals[0])
        prices = np.maximum(-duals[: len(self.totals)], 0.0)
        # Rounded duals may lie a hair outside: what the bound needs is that no reduced cost is negative.
        lowest = float((self.cost - prices @ self.rates).min())
        quarter = min(quarter, lowest, 0.0) if self.rests else min(quarter, lowest)
        return float(prices @ self.totals) + (QUARTERS - self.rests) * quarter, prices, quarter

    def search(self, best: Best, any_plan: bool) -> float:
        """Search under rising levels; what no plan of this way that is cheaper than ``best`` goes below."""
        most = QUARTERS * float(np.abs(self.cost).max()) + 3 * self.start + 1e-6
        proven, step = self.bound, _FIRST_LEVEL * max(abs(self.bound), 1e-6)
        while proven < min(best.cost, most) and not (any_plan and best.mix):
            level = min(self.bound + step, best.cost, most)
            if not self._stage(level, best):
                return proven
            proven, step = level, step * _RAISE
        return proven if proven < most else np.inf

    def _stage(self, level: float, best: Best) -> bool:
        """All mixes under ``level``; whether all were searched before the effort ran out."""
        bound, prices, quarter = self.bound, self.prices, self.quarter
        lengths = np.arange(1, QUARTERS + 1)
        above = lengths[:, None] * (self.cost - prices @ self.rates - quarter)
        kept = np.argwhere(above < level - bound)
        length, speed = np.r_[0, lengths[kept[:, 0]]], np.r_[0, kept[:, 1]]  # the first: no period
        above = np.r_[0.0, above[kept[:, 0], kept[:, 1]]]
        gives = self.rates[:, speed] * length
        scarce = int(np.argmax(prices * self.totals)) if len(prices) else -1
        order = np.argsort(gives[scarce] if scarce >= 0 else length, kind="stable")
        length, speed, above, gives = length[order], speed[order], above[order], gives[:, order]
        if self.grid.most_periods < 3:
            one, two = np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64)
            one, two = (np.zeros(len(length), dtype=np.int64) + np.flatnonzero(length == 0)[0], np.arange(len(length)))
        else:
            one, two = np.nonzero(np.triu(above[:, None] + above < level - bound))
        low, high = two.copy(), np.full(len(two), len(length))
        if self.grid.most_periods == 1:
            one = two = low = one[:1]
            high = np.full(1, len(length))
        spare = level - bound - above[one] - above[two]
        if scarce >= 0 and prices[scarce] > 0:
            missing = self.totals[scarce] - gives[scarce, one] - gives[scarce, two]
            ordered = gives[scarce]
            low = np.maximum(low, np.searchsorted(ordered, missing - ROUNDING))
            high = np.searchsorted(ordered, missing + spare / prices[scarce] + ROUNDING, side="right")
        best.triples_left -= int(np.maximum(high - low, 0).sum())
        if best.triples_left < 0:
            return False
        which, third = sorted_range(low, high)
        self._take(one[which], two[which], third, length, speed, gives, best)
        return True

    def _take(
        self, one: Index, two: Index, third: Index, length: Index, speed: Index, gives: Array, best: Best
    ) -> None:
        """Real costs of complete mixes; those that break a need or need more pauses than they have are left out."""
        running = length[one] + length[two] + length[third]
        rest = QUARTERS - running
        kept = ((rest > 0) if self.rests else (rest == 0)) & (running > 0)
        kept &= (gives[:, one] + gives[:, two] + gives[:, third] >= self.totals[:, None] - ROUNDING).all(axis=0)
        pauses = -(-rest // self.grid.longest_pause) if self.grid.longest_pause else np.where(rest > 0, 4, 0)
        kept &= pauses <= (length[one] > 0).astype(int) + (length[two] > 0) + (length[third] > 0)
        one, two, third, pauses = one[kept], two[kept], third[kept], pauses[kept]
        costs = sum(length[part] * self.cost[speed[part]] for part in (one, two, third)) + self.start * pauses
        best.take(costs, [(length[part], speed[part]) for part in (one, two, third)])
