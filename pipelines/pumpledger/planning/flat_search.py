"""The cheapest plan where the hour of the day makes no difference: a full search over speeds and lengths.

Belongs here: the search for a flat price without windows. Where the periods lie is settled in `placing.py`.

The bound is the lower convex envelope of power over flow, or, with hours to keep, the linear program that it stands
for: shares of the day at each speed, at least the water and the hours asked for, running as long as the number of pauses
allows. Its dual prices split what any plan costs above the bound into parts that are never negative: one for each period
(its length times the reduced cost of its speed), one for water and hours given beyond what is asked, one for running
longer than the shortest time, or shorter than the longest. Each number of pauses is a search by itself: what a start
costs, and how long the pump may stand in all, then lie in the bound and open no gap.

Why it is exact: a plan is left out only where these parts reach the level under which plans are looked at; the parts of
two periods and a list of third ones, sorted by what they give, decide that without looking at each. If the best plan
found lies under the level, none is cheaper; otherwise the level is raised.
"""

from __future__ import annotations

from functools import cached_property

import numpy as np
from scipy.optimize import linprog

from pumpledger.planning.day_grid import ROUNDING, DayGrid
from pumpledger.planning.mixes import MOST_TRIPLES, Best, Found, Index, sorted_range
from pumpledger.planning.problem import QUARTERS, Array

_FIRST_LEVEL, _RAISE = 1e-4, 4.0


def search(grid: DayGrid, triples: int = MOST_TRIPLES, any_plan: bool = False, known: Found | None = None) -> Found:
    """The cheapest mix of a grid that is blind to the hour, with its lower bound; as `tou_search.search`.

    Raises:
        ValueError: the hour makes a difference.
    """
    if not grid.is_blind:
        raise ValueError("prices or limits differ by the hour")
    if not grid.cost.size:
        return Found(None, np.inf, np.inf)
    best = Best.knowing(known, triples)
    pauses = range(grid.most_periods + 1 if grid.rests[0] and grid.longest_pause else 1)
    ways = [_Flat(grid, number) for number in pauses if number == 0 or (number - 1) * grid.longest_pause < QUARTERS - 1]
    proven = [way.search(best, any_plan) for way in sorted(ways, key=lambda way: way.bound)]
    cheapest = min(ways, key=lambda way: way.bound)
    return best.found(min(proven), cheapest.prices if np.isfinite(cheapest.bound) else None)


class _Flat:
    """One way to spend the day: with so many pauses, each followed by a start. More pauses than the time at rest needs
    cost no less."""

    def __init__(self, grid: DayGrid, pauses: int) -> None:
        self.grid, self.pauses = grid, pauses
        self.cost = grid.cost * float(grid.price[0])
        self.start = float(grid.start_cost[0])
        self.shortest = max(QUARTERS - pauses * grid.longest_pause, 1) if pauses else QUARTERS
        self.longest = QUARTERS - ((pauses - 1) * grid.longest_pause + 1) if pauses else QUARTERS
        self.rates = np.array([need.rate for need in grid.needs]).reshape(len(grid.needs), grid.cost.size)
        self.totals = np.array([need.total for need in grid.needs])
        self.hours = np.array([need.hours for need in grid.needs], dtype=bool)
        envelope = self.envelope()
        self.bound = np.inf
        if envelope is not None:
            low, self.prices, self.quarter = envelope
            self.bound = low + self.start * pauses

    def envelope(self) -> tuple[float, Array, float] | None:
        """Bound, price of each need, price of a quarter of running (below 0 where the longest time binds, above where
        the shortest does); None where even shares of the day do not do."""
        day = np.ones((1, self.cost.size))
        program = linprog(
            self.cost,
            A_ub=np.vstack([-self.rates, day, -day]),
            b_ub=np.r_[-self.totals, self.longest, -self.shortest],
        )
        if program.status == 2:
            return None
        if program.status != 0:
            raise RuntimeError(f"the envelope could not be computed: {program.message}")
        duals = program.ineqlin.marginals
        quarter = float(duals[-2] - duals[-1])
        prices = np.maximum(-duals[:-2], 0.0)
        # Rounded duals may lie a hair outside: what the bound needs is that no reduced cost is negative.
        quarter = min(quarter, float((self.cost - prices @ self.rates).min()))
        running = self.longest if quarter < 0 else self.shortest
        return float(prices @ self.totals) + running * quarter, prices, quarter

    def search(self, best: Best, any_plan: bool) -> float:
        """Search under rising levels; what no plan of this way that is cheaper than ``best`` goes below."""
        most = QUARTERS * float(np.abs(self.cost).max()) + 3 * self.start + 1e-6
        proven, step = self.bound, _FIRST_LEVEL * max(abs(self.bound), 1e-6)
        if self.grid.most_periods == 1:  # all single runs are soon looked at
            step = most
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
        scarce = int(np.argmax(prices * self.totals)) if len(prices) and prices.any() else -1
        # Without a pause the third length is what is left of the day: sorted by length first, and then by what it gives.
        amount = gives[scarce] if scarce >= 0 else np.zeros(len(length))
        whole = float(amount.max()) + 1.0 if not self.pauses else 0.0
        key = amount + whole * length
        order = np.argsort(key, kind="stable")
        key, length, speed, above, gives = key[order], length[order], speed[order], above[order], gives[:, order]
        one, two = self._pairs(above, length, level - bound)
        spare, beyond = level - bound - above[one] - above[two], prices
        if not self.pauses and self.hours.any() and self.grid.most_periods > 2:
            kind, cost = self.beyond_hours
            spare -= cost[kind[length[one], speed[one]], kind[length[two], speed[two]]]
            one, two, spare = one[spare >= 0], two[spare >= 0], spare[spare >= 0]
            beyond = prices * ~self.hours
        both = gives[:, one] + gives[:, two]
        spare -= beyond @ np.maximum(both - self.totals[:, None], 0.0)
        kept = spare >= 0
        one, two, both, spare = one[kept], two[kept], both[:, kept], spare[kept]
        first = whole * (QUARTERS - length[one] - length[two])
        if scarce >= 0:
            missing = np.maximum(self.totals[scarce] - both[scarce], 0.0)
            most = np.minimum(missing + spare / prices[scarce], whole - 0.5 if whole else np.inf)
        else:
            missing, most = 0.0, (whole - 0.5 if whole else np.inf)
        low = np.searchsorted(key, first + missing - ROUNDING)
        high = np.searchsorted(key, first + most + ROUNDING, side="right")
        # The first that gives enough is looked at in any case: a plan in hand ends the raising of levels early.
        low, high = (np.maximum(low, two) if self.grid.most_periods > 1 else low), np.maximum(high, low + 1)
        high = np.minimum(high, len(length))
        best.triples_left -= int(np.maximum(high - low, 0).sum())
        if best.triples_left < 0:
            return False
        which, third = sorted_range(low, high)
        self._take(one[which], two[which], third, length, speed, gives, best)
        return True

    @cached_property
    def beyond_hours(self) -> tuple[Index, Array]:
        """Without a pause two periods leave the third its length: what the hours cost that the three then give beyond
        those asked, whichever the third speed; infinite where they give less.

        Returns a number for each length up to half a day and speed (49, S), and the cost by two such numbers.
        """
        rates = self.rates[self.hours]
        kinds, kind = np.unique(rates, axis=1, return_inverse=True)  # (H, C), (S,)
        lengths = np.arange(QUARTERS // 2 + 1)
        gives = (lengths[:, None] * kinds[:, None, :]).reshape(len(rates), -1)
        left = QUARTERS - np.add.outer(np.repeat(lengths, kinds.shape[1]), np.repeat(lengths, kinds.shape[1]))
        both = gives[:, :, None] + gives[:, None, :] - self.totals[self.hours][:, None, None]
        least = np.full(left.shape, np.inf)
        for third in kinds.T:
            surplus = both + third[:, None, None] * left
            cost = np.tensordot(self.prices[self.hours], surplus, axes=1)
            np.minimum(least, np.where((surplus >= -ROUNDING).all(axis=0), cost, np.inf), out=least)
        return lengths[:, None] * kinds.shape[1] + kind.reshape(-1)[None, :], least

    def _pairs(self, above: Array, length: Index, most: float) -> tuple[Index, Index]:
        """Places of two periods, the first no later than the second, that leave room for a third at or behind the second;
        place 0 is no period."""
        if self.grid.most_periods == 1:
            return np.zeros(1, dtype=np.int64), np.zeros(1, dtype=np.int64)
        if self.grid.most_periods == 2:
            return np.zeros(len(above), dtype=np.int64), np.arange(len(above))
        # Without a pause the list is sorted by length, and the third, the longest, is what is left of the day.
        fits = length[:, None] + (length if self.pauses else 2 * length) <= self.longest
        return np.nonzero(np.triu((above[:, None] + above < most) & fits))

    def _take(
        self, one: Index, two: Index, third: Index, length: Index, speed: Index, gives: Array, best: Best
    ) -> None:
        """Real costs of complete mixes; those that break a need or need more pauses than they have are left out."""
        running = length[one] + length[two] + length[third]
        kept = (running >= self.shortest) & (running <= self.longest)
        kept &= (gives[:, one] + gives[:, two] + gives[:, third] >= self.totals[:, None] - ROUNDING).all(axis=0)
        kept &= self.pauses <= (length[one] > 0).astype(int) + (length[two] > 0) + (length[third] > 0)
        one, two, third = one[kept], two[kept], third[kept]
        costs = sum(length[part] * self.cost[speed[part]] for part in (one, two, third)) + self.start * self.pauses
        best.take(costs, [(length[part], speed[part]) for part in (one, two, third)])
