"""One pump's proposal: the cheapest plan with its proof, what it saves, and whether it is worth a visit.

Belongs here: the order of the work and what is said of the result. The searches stand in `flat_search.py` and
`tou_search.py`; what cannot be met is explained in `infeasible.py`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pumpledger.planning import flat_search, tou_search
from pumpledger.planning.bound import lay_out
from pumpledger.planning.day_grid import DayGrid, day_grid
from pumpledger.planning.infeasible import Infeasible, clash
from pumpledger.planning.keeping import along_day, binding, broken, cost, starts
from pumpledger.planning.mixes import Found
from pumpledger.planning.placing import place
from pumpledger.planning.problem import QUARTERS, Array, Plan, PlanProblem

Band = tuple[float | None, float | None, float | None]
"""Low, middle, high; None where the speed grid does not tell."""

_DAYS = 365
_EXACT = 1e-9


@dataclass(frozen=True, slots=True)
class Saving:
    """The plan in force less the proposal, a day.

    ``energy_kwh`` and ``money`` (None without a tariff) as low, middle, high; ``volume_m3`` is water given up, negative
    where the proposal filters more; ``turnovers`` the same over the pool, None without its volume. The range holds for
    any powers and flows within the speed grid's bounds: at a speed that both plans hold equally long it cancels.
    """

    energy_kwh: Band
    money: Band | None
    volume_m3: Band
    turnovers: Band | None


@dataclass(frozen=True, slots=True)
class Proposal:
    """A plan, its proof, and whether it is proposed.

    Args:
        plan: periods by start; None where none may be given.
        proposed: whether it is worth a visit; else ``reason`` says why not.
        cost: of a day [currency], or [kWh] without a tariff; ``lower_bound`` in the same unit: no plan that keeps to
            everything costs less; ``gap`` their distance as a share of the cost, 0 where the plan is the best possible.
        binding: names of the requirements that hold the plan where it is.
        next_m3_cost: what the next m3 a day costs at the margin of the bound, in the unit of ``cost``; 0 where water
            does not bind. None where the bound does not say.
        saving: against the plan in force; None where there is none, or its speeds are not on the grid.
        cured: requirements that the plan in force breaks and this one keeps.
        cheaper: the cheapest plan of all in words, where this one has fewer periods instead; else empty.
    """

    site_id: str
    pump_id: str
    plan: Plan | None
    proposed: bool
    reason: str
    cost: float | None = None
    lower_bound: float | None = None
    gap: float | None = None
    energy_kwh: Band | None = None
    volume_m3: Band | None = None
    turnovers: Band | None = None
    binding: tuple[str, ...] = ()
    next_m3_cost: float | None = None
    saving: Saving | None = None
    cured: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    cheaper: str = ""

    @property
    def is_best(self) -> bool:
        return self.gap == 0


def search(grid: DayGrid, any_plan: bool = False, known: Found | None = None) -> Found:
    """The cheapest mix of a grid, by the search that fits it; only one that is cheaper than a ``known`` one."""
    room = flat_search if grid.is_blind else tou_search
    return room.search(grid, any_plan=any_plan, known=known)


def propose(problem: PlanProblem, found: Found | None = None) -> Proposal | Infeasible:
    """The cheapest plan that keeps to everything, or the smallest set of requirements that clash.

    Args:
        found: what `search` said of the problem's grid, where it was asked before.
    """
    if problem.withheld:
        return Proposal(problem.site_id, problem.pump_id, None, False, problem.withheld, notes=problem.notes)
    grid = day_grid(problem)
    found = search(grid) if found is None else found
    if found.mix is None:
        if np.isfinite(found.bound):
            reason = "no plan was found, and it is not proven that there is none"
            return Proposal(problem.site_id, problem.pump_id, None, False, reason, notes=problem.notes)
        return clash(problem, lambda part: search(part, any_plan=True))
    plan = place(lay_out(grid), found.mix)
    lacks = broken(problem, plan)
    if lacks:
        raise RuntimeError(f"pump {problem.pump_id}: the plan found breaks {', '.join(lacks)}")
    rest = problem.standby_w * 24 / 1000 * float(problem.price.mean())
    price = cost(problem, plan)
    bound = price if found.bound >= found.cost * (1 - _EXACT) else found.bound + rest
    volume = _told(*(_sums(problem, plan, "flow") / 4))
    saving = savings(problem, plan)
    cured = (
        () if problem.in_force is None else tuple(n for n in broken(problem, problem.in_force) if n in problem.names)
    )
    reason = not_worth(problem, saving, price, cured)
    return Proposal(
        problem.site_id,
        problem.pump_id,
        plan,
        not reason,
        reason,
        cost=price,
        lower_bound=bound,
        gap=max(price - bound, 0.0) / abs(price) if price else 0.0,
        energy_kwh=_energy(problem, plan),
        volume_m3=volume,
        turnovers=_per_pool(problem, volume),
        binding=binding(problem, plan),
        next_m3_cost=_next_m3(grid, found),
        saving=saving,
        cured=cured,
        notes=problem.notes,
    )


def _next_m3(grid: DayGrid, found: Found) -> float | None:
    water = next((number for number, need in enumerate(grid.needs) if not need.hours), None)
    if water is None:
        return 0.0
    return None if found.prices is None else float(found.prices[water])


def _told(low: float, mid: float, high: float) -> Band:
    """Three numbers as a band: what is not a number is not told."""
    low, mid, high = (float(value) if np.isfinite(value) else None for value in (low, mid, high))
    return low, mid, high


def _sums(problem: PlanProblem, plan: Plan, quantity: str) -> Array:
    """(3,) low, middle and high of a quantity, summed over the quarters of the day."""
    return np.array([along_day(problem, plan, f"{quantity}_{end}").sum() for end in ("lo", "mid", "hi")])


def _energy(problem: PlanProblem, plan: Plan) -> Band:
    running = sum(period.length for period in plan)
    fixed = (QUARTERS - running) * problem.standby_w / 4000 + starts(plan).sum() * problem.start_cost.priming_kwh
    return _told(*(_sums(problem, plan, "power") / 4000 + fixed))


def _per_pool(problem: PlanProblem, volume: Band) -> Band | None:
    if not problem.pool_volume_m3:
        return None
    low, mid, high = (None if value is None else value / problem.pool_volume_m3 for value in volume)
    return low, mid, high


def _time_at(problem: PlanProblem, plan: Plan, weight: Array) -> Array:
    """(S,) weighted quarters at each speed of the problem."""
    out = np.zeros(problem.speeds.speed_rpm.size)
    for period in plan:
        index = problem.speeds.index(period.speed_rpm)
        out[index] += weight[(period.start + np.arange(period.length)) % QUARTERS].sum()
    return out


def _widest(weight: Array, low: Array, mid: Array, high: Array) -> Array:
    """(3,) sum of weight x value, and the ends it can reach while each value stays within its bounds."""
    held = np.flatnonzero(np.abs(weight) > _EXACT)
    weight, low, mid, high = weight[held], low[held], mid[held], high[held]
    up = weight > 0
    return np.array([np.where(up, low, high) @ weight, mid @ weight, np.where(up, high, low) @ weight])


def savings(problem: PlanProblem, plan: Plan) -> Saving | None:
    """The plan in force less ``plan``; None without one, or where its speeds are not on the grid."""
    now, speeds = problem.in_force, problem.speeds
    if not now or any(speeds.index(period.speed_rpm) is None for period in now):
        return None

    def change(weight: Array) -> Array:
        return _time_at(problem, now, weight) - _time_at(problem, plan, weight)

    def energy(weight: Array, wear: float) -> Band:
        weight_at_rest = -float(change(weight).sum()) * problem.standby_w / 4000
        begun = float((starts(now) - starts(plan)) @ (problem.start_cost.priming_kwh * weight + wear)) + weight_at_rest
        powers = (speeds.power_lo / 4000, speeds.power_mid / 4000, speeds.power_hi / 4000)
        return _told(*(_widest(change(weight), *powers) + begun))

    hours = change(np.ones(QUARTERS)) / 4
    volume = _told(*_widest(hours, speeds.flow_lo, speeds.flow_mid, speeds.flow_hi))
    priced = problem.price_per_kwh is not None
    return Saving(
        energy(np.ones(QUARTERS), 0.0),
        energy(problem.price, problem.start_cost.wear) if priced else None,
        volume,
        _per_pool(problem, volume),
    )


def not_worth(problem: PlanProblem, saving: Saving | None, price: float, cured: tuple[str, ...]) -> str:
    """Why the plan is not proposed; empty where it is."""
    if saving is None or cured or problem.restraint.cures_finding:
        return ""
    restraint = problem.restraint
    gain = (saving.money or saving.energy_kwh)[1]
    if gain is None:
        return "what it would save cannot be told: the power of the plan in force is not known"
    if not gain > restraint.least_share * (price + gain):
        return f"the plan in force is within {restraint.least_share:.0%} of the best: leave it as it is"
    if saving.money is not None and gain * _DAYS < restraint.least_money_year:
        return f"it would save less than {restraint.least_money_year:g} a year: leave the plan as it is"
    return ""
