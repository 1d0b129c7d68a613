"""The order of findings within a site and of sites within the review: one action a site.

Belongs here: assumptions of the score and the week's budget. The order itself is `sql/diagnosis/finding.sql` and
`action.sql`.

Score = probability x (benefit a week + risk cost a week) / (minutes of work + share of the drive). Safety stands first
whatever its score, and what is more likely wrong than right waits behind the rest: the budget is small. What people found
on site moves a rule's probability, and a rule that is mostly wrong falls quiet.
"""

from __future__ import annotations

import polars as pl

from pumpledger.diagnosis.explain import EVEN
from pumpledger.diagnosis.rules import RULES
from pumpledger.engine.database import Database
from pumpledger.engine.followup_tables import ACTION_STATES, ACTIONS, PARKED, RULE_OUTCOMES
from pumpledger.engine.tables import FINDINGS
from pumpledger.followup.life import rule_outcomes
from pumpledger.followup.log import action_id

PRICE_PER_KWH = (
    0.20  # [currency/kWh] prices a benefit in kWh where the site has no tariff: an assumption, used for the order alone
)
DRIVE_MIN = 10.0  # [min] a site's share of the drive: an assumption
ACTIONS_PER_HUNDRED_SITES = 12.0  # what a crew can take up in a week beside its round: an assumption


COMING_SHARE = 0.5  # of the score, for a finding that comes and goes: an assumption
PRIOR_OUTCOMES = 10.0  # looks on site that a rule's starting probability is worth: an assumption
QUIET_LEAST, QUIET_SHARE = 10.0, 0.6  # a rule that was right less often than this, of so many looks, keeps off the list


def _score(db: Database, rows: pl.DataFrame, outcomes: pl.DataFrame) -> None:
    values = pl.DataFrame(
        [(rule.id, float(rule.risk_cost_week), float(rule.order)) for rule in RULES],
        schema={"rule_id": pl.String, "risk_cost_week": pl.Float64, "ordering": pl.Float64},
        orient="row",
    )
    looked = outcomes.select(
        "rule_id",
        right_outcomes=(pl.col("verified") + pl.col("returned")).cast(pl.Float64),
        outcomes=(pl.col("verified") + pl.col("returned") + pl.col("rejected")).cast(pl.Float64),
    )
    db.load(
        "rule_value",
        values.join(looked, on="rule_id", how="left").with_columns(pl.col(looked.columns[1:]).fill_null(0)),
    )
    db.load("unranked_finding", rows)
    db.build(
        "scored_finding",
        "diagnosis/scored_finding",
        {
            "price_per_kwh": PRICE_PER_KWH,
            "drive_min": DRIVE_MIN,
            "coming_share": COMING_SHARE,
            "prior_outcomes": PRIOR_OUTCOMES,
            "quiet_least": QUIET_LEAST,
            "quiet_share": QUIET_SHARE,
            "even": EVEN,
        },
    )


def rank_findings(db: Database, rows: pl.DataFrame) -> None:
    """Make ``finding`` (FINDINGS) from ``rows`` (FINDINGS whose rank is not yet known)."""
    _score(db, rows.drop("rank"), RULE_OUTCOMES.empty())
    db.load("finding", FINDINGS.conform(db.query("diagnosis/finding")))


def rank_actions(db: Database, states: pl.DataFrame | None = None) -> None:
    """Make ``action`` (ACTIONS) from ``finding`` and ``site``: every site with a finding of its own that stands, none
    dropped for the budget. ``states`` (ACTION_STATES) says what people have said of findings; by what came of them a
    rule is taken as more or less likely right."""
    states = ACTION_STATES.empty() if states is None else states
    _score(db, db.table("finding"), rule_outcomes(states))
    db.load("action_state", states)
    rows = db.query("diagnosis/action", {"parked": list(PARKED)})
    names = [action_id(*key) for key in rows.select("site_id", "rule_id", "component").iter_rows()]
    db.load("action", ACTIONS.conform(rows.with_columns(pl.Series("action_id", names, dtype=pl.String))))
