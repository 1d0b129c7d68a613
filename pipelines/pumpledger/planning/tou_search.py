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

from pumpledger.planning.bound import Case, Day, Priced, cases, lay_out, relax
from pumpledger.planning.branching import Part, search_parts
from pumpledger.planning.day_grid import DayGrid
from pumpledger.planning.mixes import MOST_TRIPLES, Best, Found
from pumpledger.planning.problem import Array
from pumpledger.planning.stage import Stage

_FIRST_LEVEL, _RAISE, _RAISE_IN_HASTE = 1e-3, 4.0, 30.0
_TRIPLES_AT_FIRST = 500_000


@dataclass
class _Open:
    """A case under search: ``proven`` is what none of its plans costs less than, save the best one found."""

    case: Case
    multipliers: Array
    relaxed: Priced
    proven: float


def search(grid: DayGrid, triples: int = MOST_TRIPLES, any_plan: bool = False, known: Found | None = None) -> Found:
    """The cheapest plan of a grid, with its lower bound: equal, or the effort of ``triples`` plans ran out.

    ``any_plan``: end with the first plan that keeps to everything, cheap or not. ``known``: a plan of this grid (or none,
    and a cost): only cheaper ones are looked for, and it is what is handed back where there are none.
    """
    if not grid.cost.size:
        return Found(None, np.inf, np.inf)
    day, every = lay_out(grid), list(cases(grid))
    best = Best.knowing(known, min(triples, _TRIPLES_AT_FIRST))
    found = _search(day, every, best, any_plan)
    if found.bound >= found.cost or (any_plan and found.mix):
        return found
    best.triples_left = triples
    if any_plan:
        return _search(day, every, best, any_plan)
    bound, parts = search_parts(
        day,
        every,
        best,
        lambda part, level, best: Stage(part.day, part.case, part.multipliers, part.relaxed, level, best).run(),
    )
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
                whole = Stage(day, entry.case, entry.multipliers, entry.relaxed, level, best).run()
                if not whole or (any_plan and best.mix):
                    return best.found(min(other.proven for other in under_search), prices)
                entry.proven = level
        step *= _RAISE_IN_HASTE if any_plan else _RAISE
    return best.found(np.inf, prices)
