"""Where one search of the whole day would take too long: the day is split by its pauses, and each part searched.

Belongs here: which part is looked at next, and when it is split. The search of a part is `tou_search.py`'s.

A bound of the whole day mixes plans that run long with plans that run short, and may lie some per cent below the best of
them. So plans are told apart by their number of pauses, and those with one pause by its length: each part has multipliers
of its own, and its bound is close. The part whose bound is lowest is looked at first, under a level a little above it.
Where that takes too long, it is split in two. A part whose bound reaches the best plan found holds none that is cheaper.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from itertools import count

import numpy as np

from pumpledger.planning.bound import Case, Day, Priced, multipliers_of_part, priced, relax
from pumpledger.planning.mixes import Best
from pumpledger.planning.problem import QUARTERS, Array

_STEP, _RAISE = 0.002, 3.0
_TRIPLES_A_PART = 300_000
_MOST_PARTS = 120


@dataclass
class Part:
    """Plans of one case whose pauses last ``shortest`` to ``longest`` quarters. ``proven``: none of them costs less, save
    the best one found; ``step`` how far above the bound the next level lies, as a share."""

    day: Day
    case: Case
    shortest: int
    longest: int
    multipliers: Array
    relaxed: Priced
    proven: float
    step: float = _STEP


Stage = Callable[[Part, float, Best], bool]
"""Search a part under a level; whether all of it was seen before the effort ran out."""


def search_parts(day: Day, every: list[Case], best: Best, stage: Stage) -> tuple[float, list[Part]]:
    """Search all cases, part by part; what no plan costs less than, save the best one found, and the first parts."""
    queue: list[tuple[float, int, Part]] = []
    number = count()

    def put(part: Part | None) -> None:
        if part is not None and part.proven < min(best.cost, day.most_cost):
            heapq.heappush(queue, (part.proven, next(number), part))

    for case in every:
        for pauses in range(day.grid.most_periods + 1):
            longest = min(day.grid.longest_pause, QUARTERS - 1)
            put(_part(day, replace(case, pauses=pauses), 1, longest))
    first = [part for _, _, part in sorted(queue)]
    while queue:
        proven, _, part = heapq.heappop(queue)
        if proven >= best.cost:
            return best.cost, first
        if next(number) > _MOST_PARTS or best.triples_left < 0:
            return proven, first
        most = min(best.cost, day.most_cost)
        level = part.relaxed.bound + part.step * max(abs(part.relaxed.bound), 1e-6)
        level = min(level, most) if level > proven else most
        if _within(part, level, best, stage):
            part.proven, part.step = level, part.step * _RAISE
            put(part)
        elif part.case.pauses == 1 and part.shortest < part.longest:
            for half in _halves(part):
                put(half)
        elif not stage(part, level, best):
            return proven, first
        else:
            part.proven = level
            put(part)
    return np.inf, first


def _within(part: Part, level: float, best: Best, stage: Stage) -> bool:
    """Whether a part could be searched with the effort of one part."""
    left = best.triples_left
    best.triples_left = min(left, _TRIPLES_A_PART)
    given = best.triples_left
    whole = stage(part, level, best)
    best.triples_left = left - (given - best.triples_left)
    return whole


def _halves(part: Part) -> Iterator[Part | None]:
    middle = (part.shortest + part.longest) // 2
    for shortest, longest in ((part.shortest, middle), (middle + 1, part.longest)):
        yield _part(part.day, part.case, shortest, longest, part)


def _part(day: Day, case: Case, shortest: int, longest: int, whole: Part | None = None) -> Part | None:
    """A part with its bound; None where no chain of periods fits it."""
    lengths = np.arange(QUARTERS + 1)
    held = (lengths == 0) | ((lengths >= shortest) & (lengths <= longest))
    mine = replace(day, pause=np.where(held, day.pause, np.inf))
    if whole is None:
        relaxed = relax(mine, case)
        return None if relaxed is None else Part(mine, case, shortest, longest, *relaxed, relaxed[1].bound)
    own = multipliers_of_part(mine, case, {shortest, longest, (shortest + longest) // 2})
    tried = [(each, priced(mine, case, each)) for each in (own, whole.multipliers) if each is not None]
    multipliers, relaxed = max(tried, key=lambda pair: pair[1].bound)
    return Part(mine, case, shortest, longest, multipliers, relaxed, max(relaxed.bound, whole.proven))
