"""A diagnosis that asks some rules alone, with those that may explain them: for tests of many cases of one rule.

All rules together are asked on the small fleet, on paper (`tests/golden`) and on made-up fleets; here the rest would only
take its time.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from unittest.mock import patch

import polars as pl

from pumpledger.diagnosis import run
from pumpledger.diagnosis.evidence import EVIDENCE
from pumpledger.diagnosis.rules import BY_ID, Rule
from pumpledger.engine.database import Database


@contextmanager
def asked_alone(*rule_ids: str) -> Iterator[None]:
    """`run.diagnose` within it asks ``rule_ids`` and whatever may explain them, however remotely."""
    kept: set[str] = set()
    ahead = list(rule_ids)
    while ahead:
        rule_id = ahead.pop()
        if rule_id in BY_ID and rule_id not in kept:
            kept.add(rule_id)
            ahead += BY_ID[rule_id].explained_by
    gated = run.gated

    def some(db: Database, rules: list[Rule], values: run.Parameters) -> pl.DataFrame:
        asked = [rule for rule in rules if rule.id in kept]
        return gated(db, asked, values) if asked else EVIDENCE.empty()

    with patch.object(run, "gated", some):
        yield
