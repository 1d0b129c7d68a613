"""What one rule finds by other thresholds, in tables that a whole diagnosis has left: for tests of many thresholds."""

from __future__ import annotations

from collections.abc import Mapping

from small_fleet import LAST

from pumpledger.diagnosis.rules import BY_ID, RULES, parameter_values
from pumpledger.diagnosis.run import prepare
from pumpledger.engine.database import Database

PREPARED = ("A1", "A2", "A3", "A4", "A5", "A7", "C13", "D2", "D8")
"""Rules whose thresholds also make tables that others read."""


def found_by(db: Database, rule_id: str, values: Mapping[str, float]) -> int:
    """Rows that the rule finds with ``values`` in place of its defaults."""
    parameters = {rule_id: dict(values)}
    every = {rule.id: parameter_values(rule, parameters) for rule in RULES}
    if rule_id in PREPARED:
        prepare(db, LAST, every, parameters)
    return BY_ID[rule_id].evidence(db, every[rule_id]).filter(verdict="found").height
