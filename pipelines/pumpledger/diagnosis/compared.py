"""Rules that hold the plan in force against what ran: their queries over the same few steps.

Belongs here: which steps a query stands on. What they say stands in `sql/diagnosis`.
"""

from __future__ import annotations

from collections.abc import Mapping

import polars as pl

from pumpledger.diagnosis.rules.rule import Finder
from pumpledger.engine.database import Database

_STEPS = ("keyed_day", "keyed_period", "period_run", "period_elsewhere")
"""In the order in which they rest on each other."""


def steps(*names: str) -> dict[str, str]:
    """``over`` of `Database.query` for the named steps, in their order."""
    return {step: f"diagnosis/{step}" for step in _STEPS if step in names}


def over(query: str, *names: str) -> Finder:
    """A rule's `find`: ``sql/diagnosis/<query>.sql`` over the named steps, with the rule's parameters."""

    def find(db: Database, values: Mapping[str, float]) -> pl.DataFrame:
        return db.query(f"diagnosis/{query}", dict(values), over=steps(*names))

    return find
