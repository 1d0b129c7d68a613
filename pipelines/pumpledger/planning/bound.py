"""A cost that no plan of a problem can go below, and what a plan that begins with a given period still must cost.

Belongs here: the relaxation and its multipliers. Plans themselves are found in `tou_search.py`.

What must add up over the day (water, hours) is taken out of the constraints and into the price: every plan is credited
``multiplier x (what it gives - what is asked)``. For any multipliers of at least 0 the cheapest plan of the relaxed
problem costs no more than the cheapest plan that keeps to everything, so its cost is a lower bound (Lagrange). The
relaxed problem falls apart into periods, and the cheapest chain of at most three periods and the pauses between them is
found exactly by min-plus products over (first quarter, length).

Hours in one piece are bounded better than hours in several: where a requirement of H quarters is kept by one period
alone, at least one period is long and fast enough, and that is what is credited; where none is, every fast period is
shorter than H, and at least two are fast. The two cases of each requirement leave nothing out (`cases`).

Good multipliers are found by cutting planes on a coarse set of edges; the bound that counts is then computed on every
quarter hour. Without hours or a longest pause the coarse set loses little: the relaxed cost is linear in each edge
between two breakpoints, so a cheapest plan has its edges on breakpoints, or one quarter off where a period is as short
as can be.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import product

import numpy as np
import numpy.typing as npt
from scipy.optimize import linprog

from pumpledger.planning.day_grid import DayGrid, Mask
from pumpledger.planning.problem import QUARTERS, Array

_STARTS = np.arange(QUARTERS)[:, None]
_LENGTHS = np.arange(QUARTERS + 1)[None, :]
AFTER = (_STARTS + _LENGTHS) % QUARTERS
"""(96, 97) the quarter that follows a stretch, by first quarter and length."""
LEFT = QUARTERS - _LENGTHS
_CUTS = 60
_CLOSE = 1e-7
_TRUST = 0.01
_ANY, _SOME, _NONE = "*", "p", "-"  # what follows a period: a pause or none, a pause, none


@dataclass(frozen=True)
class Day:
    """Sums over stretches of the day, by first quarter and length.

    ``price`` (96, 97) sum of the price; ``runs`` (96, 97, S) one period may cover it; ``pause`` (96, 97) what a pause
    over it costs: 0 for none, the start that follows, infinite where the pump may not stand.
    """

    grid: DayGrid
    price: Array
    runs: Mask
    pause: Array

    @property
    def most_cost(self) -> float:
        """More than any plan costs."""
        grid = self.grid
        highest = float(np.abs(grid.cost).max(initial=0.0))
        return float(np.abs(grid.price).sum()) * highest + 3 * float(np.abs(grid.start_cost).max()) + 1e-6


def lay_out(grid: DayGrid) -> Day:
    """The stretches of a grid."""
    ends = _STARTS + _LENGTHS

    def sums(values: npt.NDArray[np.generic]) -> npt.NDArray[np.generic]:
        twice = np.concatenate([np.zeros((1, *values.shape[1:]), values.dtype), values, values]).cumsum(axis=0)
        return twice[ends] - twice[_STARTS]

    runs = sums((~grid.runs).astype(np.int16)) == 0
    runs[:, 0] = False
    if not grid.crosses_midnight:
        runs &= (ends <= QUARTERS)[:, :, None]
    stands = (sums((~grid.rests).astype(np.int16)) == 0) & (_LENGTHS <= grid.longest_pause)
    pause = np.where(stands, np.where(_LENGTHS > 0, grid.start_cost[ends % QUARTERS], 0.0), np.inf)
    return Day(grid, sums(grid.price), runs, pause)


@dataclass(frozen=True)
class Case:
    """One way to keep the sums: ``gives`` (J, 97, S) what a period of a length and speed gives, ``totals`` (J,) what is
    asked, ``allowed`` (97, S) periods of this case, ``edges`` lengths at which something changes, ``need_at`` by need: its
    place among the J, None where it is kept in one piece; ``pauses`` how many pauses the day has, None any number."""

    gives: Array
    totals: Array
    allowed: Mask
    edges: tuple[int, ...]
    need_at: tuple[int | None, ...]
    pauses: int | None = None


def cases(grid: DayGrid) -> Iterator[Case]:
    """Every way to keep the hours: each in one period, or in several that are each too short."""
    lengths = np.arange(QUARTERS + 1)[:, None]
    for pieces in product(*([(True, False) if need.hours else (False,) for need in grid.needs])):
        gives, totals, edges, need_at = [], [], [], []
        allowed = np.ones((QUARTERS + 1, grid.cost.size), dtype=bool)
        for need, one_piece in zip(grid.needs, pieces, strict=True):
            whole = (need.rate > 0)[None, :] & (lengths >= need.total) if need.hours else None
            need_at.append(None if one_piece else len(gives))
            if whole is not None and one_piece:
                gives.append(whole.astype(float))
                totals.append(1.0)
                edges.append(int(need.total))
                continue
            gives.append(lengths * need.rate[None, :])
            totals.append(need.total)
            if whole is not None:
                allowed &= ~whole
                edges.append(int(need.total) - 1)
                gives.append((gives[-1] > 0).astype(float))
                totals.append(2.0)
        shape = (len(gives), QUARTERS + 1, grid.cost.size)
        yield Case(np.array(gives).reshape(shape), np.array(totals), allowed, tuple(edges), tuple(need_at))


@dataclass(frozen=True)
class Priced:
    """A case at fixed multipliers.

    ``period`` (96, 97, S) reduced cost of a period, infinite where it is not allowed; ``one_more`` (96, 97) the least
    reduced cost of filling a stretch with at most one period and the pauses; ``whole`` (96, 97, S) the least of a plan
    that holds a period; ``base`` what is added to a reduced cost; ``bound``: no plan of the case costs less.
    """

    period: Array
    one_more: Array
    whole: Array
    base: float

    @property
    def bound(self) -> float:
        return float(self.whole.min(initial=np.inf)) + self.base


def chained(first: Array, then: Array) -> Array:
    """Min-plus product over stretches: (N, N + 1) by start and length, one stretch and then the other."""
    starts = first.shape[0]
    out = np.full(first.shape, np.inf)
    for length in range(first.shape[1]):
        column = first[:, length]
        if np.isfinite(column).any():
            rest = np.roll(then, -length, axis=0)[:, : starts + 1 - length]
            np.minimum(out[:, length:], column[:, None] + rest, out=out[:, length:])
    return out


def priced(day: Day, case: Case, multipliers: Array) -> Priced:
    """The relaxed problem on every quarter hour."""
    credit = np.tensordot(multipliers, case.gives, axes=1)
    period = day.price[:, :, None] * day.grid.cost - credit
    period[~(day.runs & case.allowed)] = np.inf
    cheapest = period.min(axis=2, initial=np.inf)
    then = chained(cheapest, day.pause)
    fills = [day.pause]
    for _ in range(day.grid.most_periods - 1):
        fills.append(np.minimum(fills[-1], chained(fills[-1], then)))
    one_more = fills[min(1, len(fills) - 1)]
    last = fills[-1] if case.pauses is None else _filled(day, cheapest, case.pauses)
    whole = period + last[AFTER, np.broadcast_to(LEFT, AFTER.shape)][:, :, None]
    return Priced(period, one_more, whole, float(multipliers @ case.totals))


def _filled(day: Day, cheapest: Array, pauses: int) -> Array:
    """(96, 97) least reduced cost of filling a stretch with exactly so many pauses and the periods between them."""
    none = np.where(_LENGTHS == 0, 0.0, np.inf) + np.zeros(day.pause.shape)
    some = np.where(_LENGTHS == 0, np.inf, day.pause)
    then = chained(cheapest, some)
    fills = [none, some, *(np.full(none.shape, np.inf) for _ in range(pauses))]
    for _ in range(day.grid.most_periods - 1):
        longer = [np.minimum(fill, chained(fill, cheapest)) for fill in fills]
        paused = [np.minimum(longer[n + 1], chained(fills[n], then)) for n in range(len(fills) - 1)]
        fills = [longer[0], *paused]
    return fills[pauses]


class _Coarse:
    """The relaxed problem with all edges on a few quarters."""

    def __init__(self, day: Day, case: Case, edges: npt.NDArray[np.int64]) -> None:
        self.count = count = edges.size
        steps = np.arange(count + 1)
        turned = np.concatenate([edges, edges + QUARTERS, edges[:1] + 2 * QUARTERS])
        self.lengths = turned[np.arange(count)[:, None] + steps] - edges[:, None]
        at = np.broadcast_to(edges[:, None], self.lengths.shape)
        self.cost = day.price[at, self.lengths][:, :, None] * day.grid.cost
        self.cost[~(day.runs[at, self.lengths] & case.allowed[self.lengths])] = np.inf
        self.pause = day.pause[at, self.lengths]
        self.gives = case.gives[:, self.lengths]
        self.some = np.where(self.lengths == 0, np.inf, self.pause)
        self.case = case
        numbers = range(1, day.grid.most_periods + 1)
        self.patterns = [_ANY * number for number in numbers]
        if case.pauses is not None:
            # Turned so that the last period is one with a pause behind it.
            words = ("".join(word) for number in numbers for word in product(_NONE + _SOME, repeat=number))
            kept = [word for word in words if word.count(_SOME) == case.pauses]
            self.patterns = [word for word in kept if not case.pauses or word[-1] == _SOME]

    def cheapest(self, multipliers: Array) -> tuple[float, Array] | None:
        """Relaxed cost of the cheapest plan and what it gives (J,); None where no chain of periods fits the day."""
        reduced = self.cost - np.tensordot(multipliers, self.gives, axes=1)
        best = reduced.argmin(axis=2)
        first = np.take_along_axis(reduced, best[:, :, None], axis=2)[:, :, 0]
        links = {_ANY: chained(first, self.pause), _SOME: chained(first, self.some), _NONE: first}
        chains: dict[str, Array] = {}
        for pattern in self.patterns:
            for length in range(1, len(pattern) + 1):
                part, link = pattern[:length], links[pattern[length - 1]]
                if part not in chains:
                    chains[part] = chained(chains[part[:-1]], link) if length > 1 else link
        cost, pattern = min((float(chains[pattern][:, self.count].min()), pattern) for pattern in self.patterns)
        if not np.isfinite(cost):
            return None
        at, left = int(chains[pattern][:, self.count].argmin()), self.count
        gives = np.zeros(len(multipliers))
        while pattern:
            # The last period with its pause is taken off the chain, until the first is left.
            link, pattern = pattern[-1], pattern[:-1]
            cut = self._cut(chains[pattern][at], links[link], at, left) if pattern else 0
            start, length = (at + cut) % self.count, left - cut
            run = length if link == _NONE else self._run(first, start, length)
            gives += self.gives[:, start, run, best[start, run]]
            left = cut
        return cost + float(multipliers @ self.case.totals), gives

    def _cut(self, before: Array, link: Array, at: int, left: int) -> int:
        cuts = np.arange(left + 1)
        return int(np.argmin(before[cuts] + link[(at + cuts) % self.count, left - cuts]))

    def _run(self, first: Array, start: int, length: int) -> int:
        runs = np.arange(length + 1)
        pause = self.pause if self.case.pauses is None else self.some
        return int(np.argmin(first[start, runs] + pause[(start + runs) % self.count, length - runs]))


def relax(day: Day, case: Case) -> tuple[Array, Priced] | None:
    """Multipliers (J,) that make the bound high, and the relaxed problem at them.

    None where no chain of periods fits the day at all.
    """
    exact = day.grid.longest_pause == QUARTERS and case.allowed.all() and case.pauses is None
    edges = _edges(day, case, () if exact else range(0, QUARTERS, 4), (0, 1, -1))
    found = _best_multipliers(_Coarse(day, case, edges), day.most_cost)
    if found is not None:
        relaxed = priced(day, case, found[0])
        if exact or relaxed.bound >= found[1] - _TRUST * abs(found[1]):
            return found[0], relaxed
    if exact:
        return None
    # Too few edges to tell what the multipliers should be.
    found = _best_multipliers(_Coarse(day, case, np.arange(QUARTERS)), day.most_cost)
    return None if found is None else (found[0], priced(day, case, found[0]))


def multipliers_of_part(day: Day, case: Case, pauses: Iterable[int]) -> Array | None:
    """Multipliers (J,) for plans with pauses of about these lengths, from few edges: not the best ones, but any of at
    least 0 give a bound. None where those edges fit no chain of periods."""
    offsets = [turn for length in pauses for turn in (length, -length)]
    found = _best_multipliers(_Coarse(day, case, _edges(day, case, (), (0, *offsets))), day.most_cost)
    return None if found is None else found[0]


def _edges(day: Day, case: Case, hours: Iterable[int], offsets: Iterable[int]) -> npt.NDArray[np.int64]:
    """Quarters on which the edges of a coarse search may lie: near breakpoints, and a required length away."""
    turns = [*offsets, *case.edges, *(-length for length in case.edges)]
    near = [(day.grid.breakpoints() + turn) % QUARTERS for turn in turns]
    return np.unique(np.concatenate([np.array(list(hours), dtype=np.int64), *near]))


def _best_multipliers(coarse: _Coarse, most_cost: float) -> tuple[Array, float] | None:
    """Multipliers and the relaxed cost there; None where no plan fits. Ends where no plan costs as much."""
    totals = coarse.case.totals
    count = len(totals)
    now, best, best_value = np.zeros(count), np.zeros(count), -np.inf
    highest = 100 * most_cost / totals if count else totals
    heights: list[float] = []
    slopes: list[Array] = []
    for _ in range(_CUTS):
        found = coarse.cheapest(now)
        if found is None:
            return None
        value, gives = found
        if value > best_value:
            best, best_value = now, value
        slope = totals - gives
        if not count or best_value >= most_cost:
            break
        heights.append(value - float(now @ slope))
        slopes.append(slope)
        now, ceiling = _highest_point(np.array(heights), np.array(slopes), highest)
        if ceiling - best_value <= _CLOSE * max(abs(ceiling), 1e-6):
            break
    return best, best_value


def _highest_point(heights: Array, slopes: Array, highest: Array) -> tuple[Array, float]:
    """Where the lowest of the planes ``height + slope . x`` stands highest, 0 <= x <= highest, and how high."""
    count = slopes.shape[1]
    if count == 1:
        rising = slopes[:, 0] > 0
        cross = (heights[~rising][:, None] - heights[rising]) / (slopes[rising, 0] - slopes[~rising, 0][:, None])
        points = np.clip(np.concatenate([[0.0], highest, cross.ravel()]), 0.0, highest[0])
        values = (heights[:, None] + slopes * points).min(axis=0)
        best = int(values.argmax())
        return points[best : best + 1], float(values[best])
    # Scaled, so that water and hours weigh alike.
    result = linprog(
        np.r_[np.zeros(count), -1.0],
        A_ub=np.column_stack([-slopes * highest, np.ones(len(heights))]),
        b_ub=heights,
        bounds=[(0.0, 1.0)] * count + [(None, None)],
    )
    return result.x[:count] * highest, float(-result.fun)
