"""The registry of rules: identifier, plain name, what it needs, its thresholds with bounds, what to do about it.

Belongs here: every number and sentence of a rule that a manager may ask about, one file a section: `logger` (B),
`clock` (A), `programming`, `keyed_plan` and `running` (C), `water`, `hydraulic` and `equipment` (D), `outcomes` (O). How
rows become findings stands in `assemble.py`.

Thresholds, probabilities and minutes are starting values, common practice without a source unless the rule says
otherwise. Risk costs per week are assumptions that let findings without an energy benefit take their place in the
order.
"""

from __future__ import annotations

from collections.abc import Mapping

from pumpledger.diagnosis.rules import (
    clock,
    equipment,
    hydraulic,
    keyed_plan,
    logger,
    outcomes,
    programming,
    running,
    water,
)
from pumpledger.diagnosis.rules.rule import Rule
from pumpledger.engine.parameter import values_of

_SECTIONS = (logger, clock, programming, keyed_plan, running, water, hydraulic, equipment, outcomes)

RULES: tuple[Rule, ...] = tuple(
    sorted(
        (rule for section in _SECTIONS for rule in section.RULES),
        key=lambda rule: (rule.order, rule.id),
    )
)
"""In the order of explanation."""

BY_ID: dict[str, Rule] = {rule.id: rule for rule in RULES}


def parameter_values(rule: Rule, overrides: Mapping[str, Mapping[str, float]] | None = None) -> dict[str, float]:
    """Values of ``rule``'s parameters: defaults, replaced by ``overrides[rule.id]``.

    Raises:
        ValueError: a rule or parameter that does not exist, or a value outside its bounds.
    """
    unknown = sorted(set(overrides or {}) - set(BY_ID))
    if unknown:
        raise ValueError(f"no such rule: {unknown}")
    return values_of(f"rule {rule.id}", rule.parameters, (overrides or {}).get(rule.id, {}))
