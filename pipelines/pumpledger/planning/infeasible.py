"""Requirements that no plan can keep together: the smallest set of them, in words with numbers.

Belongs here: the search for the set and its sentence. Whether a set can be kept is asked of the plan searches.

The set is irreducible: with any one of its requirements away a plan exists. First each requirement is tried alone; then
requirements are taken away one after the other, and stay away while no plan exists (deletion filter); where more than
two are left, all pairs are tried, for a smaller set.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from pumpledger.planning import tou_search
from pumpledger.planning.day_grid import DayGrid, day_grid
from pumpledger.planning.mixes import Found
from pumpledger.planning.problem import PlanProblem, Turnover

Search = Callable[[DayGrid], Found]


@dataclass(frozen=True, slots=True)
class Infeasible:
    """No plan keeps to everything.

    ``names``: requirements that clash, none of which can be spared from the clash; empty where not even the speeds are
    known. ``sentence`` says so in words with numbers; ``most_m3`` is the most water that the other requirements of the
    set let through [m3 a day], None where the set has no turnover. ``smallest``: no smaller set clashes, proven up to
    sets of three.
    """

    site_id: str
    pump_id: str
    names: tuple[str, ...]
    sentence: str
    most_m3: float | None = None
    smallest: bool = True
    notes: tuple[str, ...] = ()


def clash(problem: PlanProblem, search: Search) -> Infeasible:
    """The smallest set of requirements of a problem that no plan keeps.

    Args:
        search: gives a grid's plan, any one, and an infinite bound where it is proven that there is none.
    """

    def impossible(names: tuple[str, ...]) -> bool:
        found = search(day_grid(problem.only(names)))
        return found.mix is None and np.isinf(found.bound)

    def told(names: tuple[str, ...], smallest: bool = True) -> Infeasible:
        sentence, most = _sentence(problem, names)
        return Infeasible(problem.site_id, problem.pump_id, names, sentence, most, smallest, problem.notes)

    if impossible(()):
        return told(())
    for name in problem.names:
        if impossible((name,)):
            return told((name,))
    kept = list(problem.names)
    for name in problem.names:
        fewer = tuple(other for other in kept if other != name)
        if impossible(fewer):
            kept = list(fewer)
    if len(kept) > 2:
        for pair in combinations(problem.names, 2):
            if impossible(pair):
                return told(pair)
    return told(tuple(kept), len(kept) <= 3)


def _sentence(problem: PlanProblem, names: tuple[str, ...]) -> tuple[str, float | None]:
    if not names:
        return "no speed has a known flow and power", None
    asked = [requirement for requirement in problem.requirements if requirement.name in names]
    listed = "; ".join(str(requirement) for requirement in asked)
    head = f"cannot be kept: {listed}" if len(asked) == 1 else f"cannot be kept together: {listed}"
    water = next((requirement for requirement in asked if isinstance(requirement, Turnover)), None)
    if water is None:
        return head, None
    most = most_water(problem.only(name for name in names if name != water.name))
    if most is None or most <= 0:
        return f"{head}. The others let no water through", 0.0
    hours = 24 * water.required_m3 / most
    return (
        f"{head}. At most {most:.1f} m3 a day can be filtered; {water.required_m3:.1f} m3 would need {hours:.1f} h",
        most,
    )


def most_water(problem: PlanProblem) -> float | None:
    """The most water that a plan can filter in a day by the low bound [m3]; None where there is no plan."""
    grid = day_grid(problem)
    needs = tuple(need for need in grid.needs if need.hours)
    flow = grid.speeds.flow_lo / 4
    thirsty = replace(
        grid, cost=-flow, price=np.ones_like(grid.price), start_cost=np.zeros_like(grid.price), needs=needs
    )
    found = tou_search.search(thirsty)
    return None if found.mix is None else -found.cost
