"""All plans of a case whose relaxed cost lies under a level: first periods, second ones, third ones.

Belongs here: the enumeration. Why it leaves nothing out is said in `tou_search.py`, which raises the level.

First periods that lie at one place and have one length leave the same stretch of the day: a group. Groups are taken in
the order of their bound, a batch at a time: what may follow each of them is one row of a matrix.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pumpledger.planning.bound import AFTER, Case, Day, Priced
from pumpledger.planning.day_grid import ROUNDING
from pumpledger.planning.mixes import Best, Index, sorted_range
from pumpledger.planning.problem import QUARTERS, Array

_GROUPS_AT_FIRST, _CELLS_AT_ONCE, _TRIPLES_AT_ONCE, _PLACED_AT_ONCE = 4, 400_000, 1_000_000, 20_000


@dataclass(frozen=True)
class _Batch:
    """First periods by group, and what may follow them.

    By first period: ``first`` its candidate, ``group``, ``reduced`` its cost. By group: ``end`` the quarter after it,
    ``left`` quarters of the day. By group and candidate, the least reduced cost of the stretch that is left with the
    candidate ``as_second`` directly after the first and at most one more behind, ``as_last`` with at most one more
    before, ``alone``; infinite where it does not fit.
    """

    first: Index
    group: Index
    reduced: Array
    end: Index
    left: Index
    as_second: Array
    as_last: Array
    alone: Array


@dataclass(frozen=True)
class _Stretch:
    """What fits the stretch behind one group: ``entries`` index the stage's placed candidates, with ``wait`` after the
    end of the first and ``room`` behind."""

    end: int
    left: int
    entries: Index
    wait: Index
    room: Index


class Stage:
    """All plans of a case whose relaxed cost lies under ``level``; the cheapest goes to ``best``."""

    def __init__(self, day: Day, case: Case, multipliers: Array, relaxed: Priced, level: float, best: Best) -> None:
        self.day, self.level, self.best = day, level, best
        self.case, self.found, self.relaxed = case, multipliers, relaxed
        speeds = day.grid.cost.size
        start, length, speed = np.nonzero(relaxed.whole < level - relaxed.base)
        kept, number = np.unique(length * speeds + speed, return_inverse=True)
        kept_length, kept_speed = kept // speeds, kept % speeds
        gives = case.gives[:, kept_length, kept_speed]
        # The need that the lists are sorted by: the one whose lack costs most.
        self.scarce = int(np.argmax(multipliers * case.totals)) if len(multipliers) else -1
        order = np.argsort(gives[self.scarce] if len(multipliers) else kept_length, kind="stable")
        self.length, self.speed, self.gives = kept_length[order], kept_speed[order], gives[:, order]
        rank = np.empty_like(order)
        rank[order] = np.arange(order.size)
        place = np.argsort(rank[number] * QUARTERS + start, kind="stable")
        # Candidates with a place, by candidate and then by quarter.
        self.at, self.k = start[place], rank[number][place]
        self.starts = np.searchsorted(self.k, np.arange(order.size))
        self.at_length = self.length[self.k]
        self.run_cost = relaxed.period[self.at, self.at_length, self.speed[self.k]]
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
        _, member, number = np.unique(
            self.at[firsts] * (QUARTERS + 1) + self.at_length[firsts], return_index=True, return_inverse=True
        )
        least = np.full(member.size, np.inf)
        np.minimum.at(least, number, whole + self.relaxed.base)
        turn = np.argsort(least, kind="stable")
        least, member = least[turn], firsts[member[turn]]
        place = np.empty_like(turn)
        place[turn] = np.arange(turn.size)
        order = np.argsort(place[number], kind="stable")
        firsts, group = firsts[order], place[number][order]
        most = max(_CELLS_AT_ONCE // self.at.size, 1)
        begin, size = 0, min(_GROUPS_AT_FIRST, most)
        while begin < least.size and least[begin] < self.under:
            stop = min(begin + size, int(np.searchsorted(least, self.under)))
            mine = slice(*np.searchsorted(group, (begin, stop)))
            if not self._groups(firsts[mine], group[mine] - begin, member[begin:stop]):
                return False
            begin, size = stop, min(2 * size, most)
        return True

    def _costs(self, reduced: Array, gives: Array) -> Array:
        """Real cost of complete plans from reduced ones; infinite where a need is not met."""
        spare = gives - self.case.totals[:, None]
        return np.where((spare >= -ROUNDING).all(axis=0), reduced + self.found @ spare, np.inf)

    def _mix(self, *periods: Index) -> list[tuple[Index, Index]]:
        return [(self.length[k], self.speed[k]) for k in periods]

    def _groups(self, firsts: Index, group: Index, member: Index) -> bool:
        """All plans with a first period of these groups; ``member`` is any one of each. False: the effort ran out."""
        end, left = self.after[member], QUARTERS - self.at_length[member]
        first, reduced = self.k[firsts], self.run_cost[firsts] + self.relaxed.base
        alone = reduced + self.day.pause[end, left][group]
        self.best.take(self._costs(alone, self.gives[:, first]), self._mix(first))
        if self.day.grid.most_periods < 2:
            return True
        batch = self._batch(first, group, reduced, end, left)
        one, two = np.nonzero(reduced[:, None] + batch.as_second[group] < self.under)
        both = self.gives[:, first[one]] + self.gives[:, two]
        costs = self._costs(reduced[one] + batch.alone[group[one], two], both)
        self.best.take(costs, self._mix(first[one], two))
        return self.day.grid.most_periods < 3 or not one.size or self._third(batch, one, two, both)

    def _batch(self, first: Index, group: Index, reduced: Array, end: Index, left: Index) -> _Batch:
        wait = (self.at - end[:, None]) % QUARTERS
        room = left[:, None] - wait - self.at_length
        fits = room >= 0
        room = np.maximum(room, 0)
        behind, one_more = self.day.pause[self.after, room], self.relaxed.one_more
        before = np.where(fits, self.run_cost + self.day.pause[end[:, None], wait], np.inf)
        last = np.where(fits, self.run_cost + one_more[end[:, None], wait] + behind, np.inf)
        values = (before + one_more[self.after, room], last, before + behind)
        least = (np.minimum.reduceat(value, self.starts, axis=1) for value in values)
        return _Batch(first, group, reduced, end, left, *least)

    def _third(self, batch: _Batch, one: Index, two: Index, both: Array) -> bool:
        """All third periods that give what is missing and stay under the level. False: the effort ran out."""
        group = batch.group[one]
        cheapest = np.full(batch.end.size, np.inf)
        np.minimum.at(cheapest, batch.group, batch.reduced)
        last_group, last = np.nonzero(batch.as_last < (self.under - cheapest)[:, None])
        key, count = last_group * self.length.size + last, self.length.size
        low, high = np.zeros(one.size, dtype=np.int64), np.full(one.size, count)
        if self.scarce >= 0 and self.found[self.scarce] > 0:
            gives, missing = self.gives[self.scarce], self.case.totals[self.scarce] - both[self.scarce]
            spare = (self.under - batch.reduced[one] - batch.as_second[group, two]) / self.found[self.scarce]
            low = np.searchsorted(gives, missing - ROUNDING)
            high = np.searchsorted(gives, missing + spare + ROUNDING, side="right")
        low, high = np.searchsorted(key, group * count + low), np.searchsorted(key, group * count + high)
        number = np.maximum(high - low, 0)
        self.best.triples_left -= int(number.sum())
        if self.best.triples_left < 0:
            return False
        parts = np.split(np.arange(one.size), np.flatnonzero(np.diff(number.cumsum() // _TRIPLES_AT_ONCE)) + 1)
        for part in parts:
            which, third = sorted_range(low[part], high[part])
            self._placed(batch, one[part][which], two[part][which], last[third], both[:, part[which]])
        return True

    def _placed(self, batch: _Batch, one: Index, two: Index, third: Index, both: Array) -> None:
        """These triples, at the best places that the stretch behind their first period has for them."""
        group = batch.group[one]
        spare = both + self.gives[:, third] - self.case.totals[:, None]
        kept = (spare >= -ROUNDING).all(axis=0)
        bound = np.maximum(batch.as_second[group, two], batch.as_last[group, third])
        kept &= batch.reduced[one] + bound + self.found @ spare < self.under
        kept &= self.length[two] + self.length[third] <= batch.left[group]
        one, two, third, group, spare = one[kept], two[kept], third[kept], group[kept], spare[:, kept]
        for number in np.unique(group):
            mine = np.flatnonzero(group == number)
            stretch = self._stretch(int(batch.end[number]), int(batch.left[number]))
            seconds, row = np.unique(two[mine], return_inverse=True)
            thirds, column = np.unique(third[mine], return_inverse=True)
            ready, closing = self._ready(stretch, seconds), self._dense(stretch, thirds, after=True)
            for begin in range(0, mine.size, _PLACED_AT_ONCE):
                some = mine[begin : begin + _PLACED_AT_ONCE]
                part = slice(begin, begin + _PLACED_AT_ONCE)
                least = (ready[row[part]] + closing[column[part]]).min(axis=1)
                costs = batch.reduced[one[some]] + least + self.found @ spare[:, some]
                self.best.take(costs, self._mix(batch.first[one[some]], two[some], third[some]))

    def _stretch(self, end: int, left: int) -> _Stretch:
        wait = (self.at - end) % QUARTERS
        room = left - wait - self.at_length
        entries = np.flatnonzero(room >= 0)
        return _Stretch(end, left, entries, wait[entries], room[entries])

    def _dense(self, stretch: _Stretch, wanted: Index, after: bool) -> Array:
        """(wanted, left + 1) reduced cost of candidates with the pause before or after them, by when they end or
        begin; infinite elsewhere."""
        row = np.full(self.length.size, -1)
        row[wanted] = np.arange(len(wanted))
        rows = row[self.k[stretch.entries]]
        chosen = np.flatnonzero(rows >= 0)
        entries, wait, room = stretch.entries[chosen], stretch.wait[chosen], stretch.room[chosen]
        out = np.full((len(wanted), stretch.left + 1), np.inf)
        if after:
            out[rows[chosen], wait] = self.run_cost[entries] + self.day.pause[self.after[entries], room]
        else:
            out[rows[chosen], stretch.left - room] = self.run_cost[entries] + self.day.pause[stretch.end, wait]
        return out

    def _ready(self, stretch: _Stretch, seconds: Index) -> Array:
        """(seconds, left + 1) least reduced cost up to the beginning of a third period."""
        over = self._dense(stretch, seconds, after=False)
        ends = np.arange(stretch.left + 1)
        pause = ends - ends[:, None]
        cost = self.day.pause[(stretch.end + ends[:, None]) % QUARTERS, np.maximum(pause, 0)]
        cost[pause < 0] = np.inf
        ready = np.empty_like(over)
        many = max(_CELLS_AT_ONCE // cost.size, 1)
        for begin in range(0, len(over), many):
            ready[begin : begin + many] = (over[begin : begin + many, :, None] + cost).min(axis=1)
        return ready
