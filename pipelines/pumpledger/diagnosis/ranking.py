"""The order of findings within a site and of sites within the review: one action a site.

Belongs here: assumptions of the score and the week's budget. The order itself is `sql/diagnosis/finding.sql` and
`action.sql`.

Score = probability x (benefit a week + risk cost a week) / (minutes of work + share of the drive). Safety stands first
whatever its score.
"""

from __future__ import annotations

import polars as pl

from pumpledger.diagnosis.rules import RULES
from pumpledger.engine.database import Database
from pumpledger.engine.tables import ACTIONS, FINDINGS

PRICE_PER_KWH = (
    0.20  # [currency/kWh] prices a benefit in kWh where the site has no tariff: an assumption, used for the order alone
)
DRIVE_MIN = 10.0  # [min] a site's share of the drive: an assumption
ACTIONS_PER_HUNDRED_SITES = 12.0  # what a crew can take up in a week beside its round: an assumption


def _score(db: Database, rows: pl.DataFrame) -> None:
    db.load(
        "rule_value",
        pl.DataFrame(
            [(rule.id, float(rule.risk_cost_week), rule.order) for rule in RULES],
            schema={"rule_id": pl.String, "risk_cost_week": pl.Float64, "ordering": pl.Int64},
            orient="row",
        ),
    )
    db.load("unranked_finding", rows)
    db.build("scored_finding", "diagnosis/scored_finding", {"price_per_kwh": PRICE_PER_KWH, "drive_min": DRIVE_MIN})


def rank_findings(db: Database, rows: pl.DataFrame) -> None:
    """Make ``finding`` (FINDINGS) from ``rows`` (FINDINGS whose rank is not yet known)."""
    _score(db, rows.drop("rank"))
    db.load("finding", FINDINGS.conform(db.query("diagnosis/finding")))


def rank_actions(db: Database) -> None:
    """Make ``action`` (ACTIONS) from ``finding`` and ``site``: every site with a finding of its own, none dropped for
    the budget."""
    _score(db, db.table("finding"))
    db.load("action", ACTIONS.conform(db.query("diagnosis/action")))
