"""Findings about the plan itself that a new plan takes away, whatever it saves.

Belongs here: what a plan must be like for a finding to be gone. What the plan in force breaks of its requirements is told by
`keeping.broken`; a finding about energy or money is left to what the new plan saves.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping

from pumpledger.planning.infeasible import Infeasible
from pumpledger.planning.keeping import longest_pause, starts
from pumpledger.planning.offers import Answer, propose_anyway
from pumpledger.planning.problem import Plan, PlanProblem

CURES: Mapping[str, Callable[[Plan, Plan], bool]] = {
    "C1": lambda new, now: longest_pause(new) < longest_pause(now),  # hole in the day
    "C16": lambda new, now: starts(new).sum() < starts(now).sum(),  # too many starts
    "C17": lambda new, now: len(new) < len(now),  # two steps almost the same
}
"""By rule, whether the new plan is free of what was found of the one in force."""


def with_cures(problem: PlanProblem, answer: Answer, rules: Iterable[str]) -> Answer:
    """An answer that was held back for saving too little, proposed after all where it cures a finding of ``rules``."""
    if isinstance(answer, Infeasible) or answer.proposed or answer.plan is None or not problem.in_force:
        return answer
    found = [rule for rule in rules if rule in CURES and CURES[rule](answer.plan, problem.in_force)]
    return propose_anyway(answer) if found else answer
