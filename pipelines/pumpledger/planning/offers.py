"""A pump's answer as rows of the tables, and the simplest plan that is worth keying.

Belongs here: what of a search's answer is kept, and the preference for few periods. Which pumps are asked for a plan is
chosen in `orchestration/proposing.py`.

A step that saves next to nothing is one more row to key wrongly: of the plans with one, two and three periods the one
with the fewest is taken that costs at most ``NEAR_BEST`` more than the cheapest of all, which is told beside it. The
bound stays that of all plans.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np
import polars as pl

from pumpledger.engine.proposal_tables import PROPOSALS, PROPOSED_PERIODS
from pumpledger.planning.day_grid import day_grid
from pumpledger.planning.infeasible import Infeasible
from pumpledger.planning.keeping import along_day
from pumpledger.planning.mixes import Found
from pumpledger.planning.problem import PlanProblem, Turnover
from pumpledger.planning.proposal import Band, Proposal, not_worth, propose, search

NEAR_BEST = 0.01  # of the cost: a starting value
_ROUNDING = 1e-9
_NOTHING: Band = (None, None, None)

Answer = Proposal | Infeasible


def simplest(problem: PlanProblem, near: float = NEAR_BEST) -> Answer:
    """The plan with the fewest periods that costs at most ``near`` (a share) more than the cheapest."""
    if problem.withheld:
        return propose(problem)
    # One run is soon found, and a search that knows a plan is short.
    single = search(day_grid(replace(problem, most_periods=1)))
    cheapest = search(day_grid(problem), known=single) if problem.most_periods > 1 else single
    best = propose(problem, cheapest)
    if isinstance(best, Infeasible) or best.plan is None or best.cost is None:
        return best
    dearest = Found(None, cheapest.cost + near * abs(best.cost) + _ROUNDING * abs(best.cost), -np.inf)
    for periods in range(1, len(best.plan)):
        fewer = replace(problem, most_periods=periods)
        found = single if periods == 1 else search(day_grid(fewer), known=dearest)
        if found.mix is None:
            continue
        plain = propose(fewer, found)
        if isinstance(plain, Proposal) and plain.cost is not None and _near(plain.cost, best.cost, near):
            gap = max(plain.cost - best.lower_bound, 0.0) / abs(plain.cost) if plain.cost else 0.0
            return _not_for_doubt(
                problem, replace(plain, lower_bound=best.lower_bound, gap=gap, cheaper=_cheaper(best, plain.cost))
            )
    return _not_for_doubt(problem, best)


def _cheaper(best: Proposal, cost: float) -> str:
    saved = cost - (best.cost or 0.0)
    if saved <= _ROUNDING * abs(cost):
        return ""
    return f"{', then '.join(map(str, best.plan or ()))}, {saved / abs(cost):.2%} cheaper"


def propose_anyway(found: Proposal) -> Proposal:
    """The same plan, worth a visit for another reason than what it saves."""
    return replace(found, proposed=True, reason="")


def _not_for_doubt(problem: PlanProblem, found: Proposal) -> Proposal:
    """The same, not proposed where all that it cures is water that the plan in force moves by the middle flow estimate.

    A new plan must filter enough by the low bound; that the old one may not is no reason by itself to send someone.
    """
    water = next((asked for asked in problem.requirements if isinstance(asked, Turnover)), None)
    if not found.proposed or not problem.in_force or water is None or found.cured != (water.name,):
        return found
    likely = float(along_day(problem, problem.in_force, "flow_mid").sum()) / 4
    reason = not_worth(problem, found.saving, found.cost or 0.0, ())
    if likely < water.required_m3 or not reason:
        return found
    said = "by the middle flow estimate the plan in force filters as required, by the low one a little less"
    return replace(found, proposed=False, reason=f"{said}; {reason}")


def _near(cost: float, best: float, near: float) -> bool:
    return cost <= best + near * abs(best)


def state_of(answer: Answer) -> str:
    """``proposed``, ``kept``, ``withheld`` or ``clash``, as the table says."""
    if isinstance(answer, Infeasible):
        return "clash"
    return "withheld" if answer.plan is None else "proposed" if answer.proposed else "kept"


def tables(answers: Iterable[tuple[PlanProblem, Answer, str]]) -> tuple[pl.DataFrame, pl.DataFrame]:
    """The tables ``proposals`` and ``proposed_periods``.

    Args:
        answers: problem, its answer, and the names of the findings that put the plan in question.
    """
    rows, periods = [], []
    for problem, answer, found in answers:
        rows.append(_row(problem, answer, found))
        plan = answer.plan if isinstance(answer, Proposal) and answer.proposed else None
        periods += [
            (answer.site_id, answer.pump_id, number, period.speed_rpm, period.start * 15, period.stop * 15)
            for number, period in enumerate(plan or (), 1)
        ]
    return (
        PROPOSALS.conform(pl.DataFrame(rows, schema=PROPOSALS.schema)),
        PROPOSED_PERIODS.conform(pl.DataFrame(periods, schema=PROPOSED_PERIODS.schema, orient="row")),
    )


def _row(problem: PlanProblem, answer: Answer, found: str) -> dict[str, object]:
    row: dict[str, object] = dict.fromkeys(PROPOSALS.columns)
    row |= {
        "site_id": answer.site_id,
        "pump_id": answer.pump_id,
        "state": state_of(answer),
        "found": found,
        "priced": problem.price_per_kwh is not None,
        "notes": "; ".join(answer.notes),
        "cheaper": "",
        "binding": "",
        "cured": "",
    }
    if isinstance(answer, Infeasible):
        return row | {"reason": answer.sentence}
    saving = answer.saving
    return (
        row
        | {
            "reason": answer.reason,
            "cost_day": answer.cost,
            "bound_day": answer.lower_bound,
            "gap": answer.gap,
            "next_m3_cost": answer.next_m3_cost,
            "cheaper": answer.cheaper,
            "binding": "; ".join(answer.binding),
            "cured": "; ".join(answer.cured),
            "turnovers_less": saving.turnovers[1] if saving and saving.turnovers else None,
        }
        | _ends("energy_kwh", answer.energy_kwh)
        | _ends("turnovers", answer.turnovers)
        | _ends("saving_kwh", saving and saving.energy_kwh)
        | _ends("saving_money", saving and saving.money)
    )


def _ends(name: str, band: Band | None) -> dict[str, float | None]:
    return dict(zip((f"{name}_lo", f"{name}_mid", f"{name}_hi"), band or _NOTHING, strict=True))
