"""The cheapest plan where the hour of the day matters: a full search of all plans that could be cheapest.

Belongs here: the search. The bound it leans on stands in `bound.py`, the placing of what it finds in `placing.py`.

Why it is exact. Move all periods of a plan by the same time: between two breakpoints of prices and limits the cost is
linear in that time, so some cheapest plan has an edge on a breakpoint. Call the period at that edge the first; what is
left is a stretch of the day from its end to its beginning, with at most two more periods. The search goes through all
first periods (speed, length, at a breakpoint), all second and all third ones, and leaves out a part only where its
relaxed cost (`bound.py`: a lower bound that takes in the best completion) reaches a level. A third period is looked up
in a list sorted by what it gives: it must give what is still missing, and not so much more that the credit lifts the
plan over the level. Where in the stretch the two lie is minimised over exactly. So under the level all plans are seen;
if the best one found lies under it, none is cheaper. The level begins just above the bound and is raised until that is
so, or until the effort runs out: then the last level that was searched whole is the lower bound.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pumpledger.planning.bound import AFTER, Case, Day, Priced, cases, lay_out, relax
from pumpledger.planning.branching import Part, search_parts
from pumpledger.planning.day_grid import ROUNDING, DayGrid
from pumpledger.planning.mixes import MOST_TRIPLES, Best, Found, Index, sorted_range
from pumpledger.planning.problem import QUARTERS, Array

_FIRST_LEVEL, _RAISE, _RAISE_IN_HASTE = 3e-6, 3.0, 30.0
_AT_ONCE = 20_000
_TRIPLES_AT_FIRST = 500_000


@dataclass
class _Open:
    """A case under search: ``proven`` is what none of its plans costs less than, save the best one found."""

    case: Case
    multipliers: Array
    relaxed: Priced
    proven: float


def search(grid: DayGrid, triples: int = MOST_TRIPLES, any_plan: bool = False) -> Found:
    """The cheapest plan of a grid, with its lower bound: equal, or the effort of ``triples`` plans ran out.

    ``any_plan``: end with the first plan that keeps to everything, cheap or not.
    """
    if not grid.cost.size:
        return Found(None, np.inf, np.inf)
    day, every = lay_out(grid), list(cases(grid))
    best = Best(triples_left=min(triples, _TRIPLES_AT_FIRST))
    found = _search(day, every, best, any_plan)
    if found.bound >= found.cost or (any_plan and found.mix):
        return found
    best.triples_left = triples
    if any_plan:
        return _search(day, every, best, any_plan)
    bound, parts = search_parts(day, every, best, lambda part, level, best: _Stage(part.day, part, level, best).run())
    return best.found(bound, _prices(parts) if parts else found.prices)


def _prices(under_search: list[_Open] | list[Part]) -> Array:
    """What one more of each need costs, by the case whose bound is lowest."""
    cheapest = min(under_search, key=lambda entry: entry.proven)
    return np.array([0.0 if at is None else cheapest.multipliers[at] for at in cheapest.case.need_at])


def _search(day: Day, every: list[Case], best: Best, any_plan: bool) -> Found:
    """Search all cases under rising levels."""
    under_search: list[_Open] = []
    for case in every:
        relaxed = relax(day, case)
        if relaxed is not None and relaxed[1].bound < day.most_cost:
            under_search.append(_Open(case, *relaxed, relaxed[1].bound))
    if not under_search:
        return best.found(np.inf)
    prices, lowest = _prices(under_search), min(entry.proven for entry in under_search)
    step = _FIRST_LEVEL * max(abs(lowest), 1e-6)
    while any(entry.proven < min(best.cost, day.most_cost) for entry in under_search):
        level = min(lowest + step, best.cost, day.most_cost)
        for entry in under_search:
            if entry.proven < min(level, best.cost):
                whole = _Stage(day, entry, level, best).run()
                if not whole or (any_plan and best.mix):
                    return best.found(min(other.proven for other in under_search), prices)
                entry.proven = level
        step *= _RAISE_IN_HASTE if any_plan else _RAISE
    return best.found(np.inf, prices)


@dataclass(frozen=True)
class _Rest:
    """What may follow a first period: candidates ``k`` with the least reduced cost of the stretch that is left.

    ``as_second`` directly after the first and at most one more behind, ``as_last`` with at most one more before,
    ``alone``; ``entries`` index the stage's placed candidates, with ``wait`` after the end of the first and ``room``
    behind.
    """

    k: Index
    as_second: Array
    as_last: Array
    alone: Array
    entries: Index
    wait: Index
    room: Index


class _Stage:
    """All plans of a case whose relaxed cost lies under ``level``."""

    def __init__(self, day: Day, entry: _Open | Part, level: float, best: Best) -> None:
        self.day, self.level, self.best = day, level, best
        self.case, self.found, self.relaxed = entry.case, entry.multipliers, entry.relaxed
        speeds = day.grid.cost.size
        start, length, speed = np.nonzero(self.relaxed.whole < level - self.relaxed.base)
        kept, number = np.unique(length * speeds + speed, return_inverse=True)
        kept_length, kept_speed = kept // speeds, kept % speeds
        gives = self.case.gives[:, kept_length, kept_speed]
        # The need that the lists are sorted by: the one whose lack costs most.
        self.scarce = int(np.argmax(self.found * self.case.totals)) if len(self.found) else -1
        order = np.argsort(gives[self.scarce] if len(self.found) else kept_length, kind="stable")
        self.length, self.speed, self.gives = kept_length[order], kept_speed[order], gives[:, order]
        rank = np.empty_like(order)
        rank[order] = np.arange(order.size)
        place = np.argsort(rank[number] * QUARTERS + start, kind="stable")
        # Candidates with a place, by candidate and then by quarter.
        self.at, self.k = start[place], rank[number][place]
        self.at_length = self.length[self.k]
        self.run_cost = self.relaxed.period[self.at, self.at_length, self.speed[self.k]]
        self.after = AFTER[self.at, self.at_length]

    @property
    def under(self) -> float:
        return min(self.level, self.best.cost)

    def run(self) -> bool:
        """Whether all was searched before the effort ran out."""
        on_edge = np.zeros(QUARTERS, dtype=bool)
        on_edge[self.day.grid.breakpoints()] = True
        firsts = np.flatnonzero(on_edge[self.at] | on_edge[self.after])
        if not firsts.size:
            return True
        whole = self.relaxed.whole[self.at[firsts], self.at_length[firsts], self.speed[self.k[firsts]]]
        place = self.at[firsts] * (QUARTERS + 1) + self.at_length[firsts]
        order = np.lexsort((whole, place))
        begins = np.flatnonzero(np.diff(place[order], prepend=-1))
        groups = np.split(firsts[order], begins[1:])
        least = whole[order][begins] + self.relaxed.base
        for number in np.argsort(least, kind="stable"):
            if least[number] >= self.under:
                break
            self._first(groups[number])
            if self.best.triples_left < 0:
                return False
        return True

    def _costs(self, reduced: Array, gives: Array) -> Array:
        """Real cost of complete plans from reduced ones; infinite where a need is not met."""
        spare = gives - self.case.totals[:, None]
        return np.where((spare >= -ROUNDING).all(axis=0), reduced + self.found @ spare, np.inf)

    def _first(self, group: Index) -> None:
        """All plans with a first period of this group: one place and length, several speeds."""
        pause = self.day.pause
        first, end = self.k[group], int(self.after[group[0]])
        left = QUARTERS - int(self.at_length[group[0]])
        reduced = self.run_cost[group] + self.relaxed.base
        self.best.take(self._costs(reduced + pause[end, left], self.gives[:, first]), self._mix(first))
        if not left or self.day.grid.most_periods < 2:
            return
        rest = self._rest(end, left, self.under - float(reduced.min()))
        if rest is None:
            return
        one, two = np.nonzero(reduced[:, None] + rest.as_second < self.under)
        both = self.gives[:, first[one]] + self.gives[:, rest.k[two]]
        self.best.take(self._costs(reduced[one] + rest.alone[two], both), self._mix(first[one], rest.k[two]))
        if self.day.grid.most_periods > 2 and one.size:
            self._third(end, left, rest, reduced[one], first[one], two, both)

    def _mix(self, *periods: Index) -> list[tuple[Index, Index]]:
        return [(self.length[k], self.speed[k]) for k in periods]

    def _rest(self, end: int, left: int, most: float) -> _Rest | None:
        """What fits the stretch and stays under ``most``."""
        wait = (self.at - end) % QUARTERS
        room = left - wait - self.at_length
        entries = np.flatnonzero(room >= 0)
        wait, room, run, after = wait[entries], room[entries], self.run_cost[entries], self.after[entries]
        pause, one_more = self.day.pause, self.relaxed.one_more
        before, behind = run + pause[end, wait], pause[after, room]
        second = before + one_more[after, room]
        last = run + one_more[end, wait] + behind
        kept = np.flatnonzero(np.minimum(second, last) < most)
        if not kept.size:
            return None
        k = self.k[entries[kept]]
        starts = np.flatnonzero(np.r_[True, k[1:] != k[:-1]])
        least = [np.minimum.reduceat(values[kept], starts) for values in (second, last, before + behind)]
        return _Rest(k[starts], *least, entries[kept], wait[kept], room[kept])

    def _third(self, end: int, left: int, rest: _Rest, reduced: Array, first: Index, two: Index, both: Array) -> None:
        """All third periods that give what is missing and stay under the level."""
        totals = self.case.totals
        lasts = np.flatnonzero(rest.as_last < self.under - reduced.min())
        gives = self.gives[:, rest.k[lasts]]
        low, high = np.zeros(len(two), dtype=np.int64), np.full(len(two), len(lasts))
        if self.scarce >= 0 and self.found[self.scarce] > 0:
            missing = totals[self.scarce] - both[self.scarce]
            spare = (self.under - reduced - rest.as_second[two]) / self.found[self.scarce]
            low = np.searchsorted(gives[self.scarce], missing - ROUNDING)
            high = np.searchsorted(gives[self.scarce], missing + spare + ROUNDING, side="right")
        total = int(np.maximum(high - low, 0).sum())
        self.best.triples_left -= total
        if not total or self.best.triples_left < 0:
            return
        which, third = sorted_range(low, high)
        spare = both[:, which] + gives[:, third] - totals[:, None]
        kept = (spare >= -ROUNDING).all(axis=0)
        bound = np.maximum(rest.as_second[two[which]], rest.as_last[lasts[third]])
        kept &= reduced[which] + bound + self.found @ spare < self.under
        kept &= self.length[rest.k[two[which]]] + self.length[rest.k[lasts[third]]] <= left
        which, third, spare = which[kept], lasts[third[kept]], spare[:, kept]
        if not which.size:
            return
        second = two[which]
        seconds, row = np.unique(second, return_inverse=True)
        thirds, column = np.unique(third, return_inverse=True)
        ready = self._ready(end, left, rest, seconds)
        closing = self._closing(left, rest, thirds)
        for begin in range(0, which.size, _AT_ONCE):
            part = slice(begin, begin + _AT_ONCE)
            least = (ready[row[part]] + closing[column[part]]).min(axis=1)
            costs = reduced[which[part]] + least + self.found @ spare[:, part]
            self.best.take(costs, self._mix(first[which[part]], rest.k[second[part]], rest.k[third[part]]))

    def _dense(self, left: int, rest: _Rest, wanted: Index, after: bool) -> Array:
        """(wanted, left + 1) reduced cost of candidates with the pause before or after them, by when they end or
        begin; infinite elsewhere."""
        row = np.full(len(rest.k), -1)
        row[wanted] = np.arange(len(wanted))
        rows = row[np.searchsorted(rest.k, self.k[rest.entries])]
        chosen = np.flatnonzero(rows >= 0)
        entries = rest.entries[chosen]
        out = np.full((len(wanted), left + 1), np.inf)
        if after:
            out[rows[chosen], rest.wait[chosen]] = (
                self.run_cost[entries] + self.day.pause[self.after[entries], rest.room[chosen]]
            )
        else:
            end = (self.at[entries] - rest.wait[chosen]) % QUARTERS
            out[rows[chosen], left - rest.room[chosen]] = (
                self.run_cost[entries] + self.day.pause[end, rest.wait[chosen]]
            )
        return out

    def _ready(self, end: int, left: int, rest: _Rest, seconds: Index) -> Array:
        """(seconds, left + 1) least reduced cost up to the beginning of a third period."""
        over = self._dense(left, rest, seconds, after=False)
        ready = over.copy()
        for pause in range(1, left + 1):
            cost = self.day.pause[(end + np.arange(left + 1 - pause)) % QUARTERS, pause]
            if not np.isfinite(cost).any():
                break
            np.minimum(ready[:, pause:], over[:, : left + 1 - pause] + cost, out=ready[:, pause:])
        return ready

    def _closing(self, left: int, rest: _Rest, thirds: Index) -> Array:
        """(thirds, left + 1) reduced cost of a third period with the pause behind it, by when it begins."""
        return self._dense(left, rest, thirds, after=True)
