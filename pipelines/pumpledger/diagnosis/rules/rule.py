"""What a rule is.

Belongs here: the kind of thing. The rules themselves stand beside, one file a section of the registry.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Literal

import polars as pl

from pumpledger.engine.database import Database
from pumpledger.engine.parameter import Parameter

Severity = Literal["safety", "this week", "next visit", "note", "data"]
Picture = Literal["days", "power", "air", "energy", "turnovers", "none"]
"""The days of evidence with the plan over them; power at one speed over the weeks; air temperature over running; the
site's energy or turnovers by day."""
OUTCOME_ORDER = 60
"""Outcomes stand last in the order of explanation: their causes are listed under them."""
Finder = Callable[[Database, Mapping[str, float]], pl.DataFrame]
"""Takes the tables that `run.py` names and the rule's parameters; gives rows of EVIDENCE, one a component."""


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule.

    ``needs`` names the inputs; ``speed`` and ``power`` among them make the rule silent on a pump whose readings of that
    quantity are in doubt. ``season`` 'open' leaves closed sites alone. ``scope`` says what one row is about: a pump, or
    all pumps of a site. ``sentence`` and ``instruction`` are `str.format` templates over the evidence row (columns of
    `evidence.EVIDENCE`, ``day_count``, and ``advice``, the plan to key in). ``order`` is the order of explanation: data
    10-19, clock 20-29, override 30-39, programming 40-49, hardware 50-59, outcomes 60-69. ``explained_by`` names the
    rules that, found on the same site (and pump, where ``scope`` is pump), explain this one; first asked, first
    believed (`explain.py`). A rule with a parameter ``days`` needs that many of its days for itself. ``others`` says
    what else could look the same, for the reader to weigh; ``picture`` in what the evidence can be seen. ``find`` is
    the pure function that looks; without one it is the query ``rule_<id>.sql``.
    """

    id: str
    name: str
    severity: Severity
    needs: tuple[str, ...]
    order: float
    season: Literal["open", "any"]
    probability: float
    work_min: float
    risk_cost_week: float
    sentence: str
    instruction: str
    caution: str = ""
    parameters: Mapping[str, Parameter] = field(default_factory=dict)
    scope: Literal["pump", "site"] = "pump"
    explained_by: tuple[str, ...] = ()
    others: str = ""
    picture: Picture = "days"
    find: Finder | None = None

    def evidence(self, db: Database, values: Mapping[str, float]) -> pl.DataFrame:
        """Rows with columns of EVIDENCE: what the rule found, and what it could not tell."""
        return self.find(db, values) if self.find else db.query(f"diagnosis/rule_{self.id.lower()}", dict(values))
