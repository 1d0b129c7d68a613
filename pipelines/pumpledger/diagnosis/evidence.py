"""The shape in which every rule returns what it saw, before it becomes a finding.

Belongs here: the columns and how a query's rows are brought to them. Words and ranks do not.
"""

from __future__ import annotations

import polars as pl

from pumpledger.engine.tables import Table

FOUND = "found"
CANNOT_TELL = "cannot tell"

EVIDENCE = Table(
    "evidence",
    "one departure that one rule saw, or one question it could not answer",
    ("site_id", "rule_id", "component"),
    {
        "site_id": ("text", "site; empty for a whole source"),
        "rule_id": ("text", "rule"),
        "component": ("text", "pump_id, pumps of the site, or export"),
        "verdict": ("text", "found, or cannot tell"),
        "needs": ("text", "what is missing, where the verdict is cannot tell"),
        "severity": ("text", "severity of this row where it differs from the rule's; null as the rule says"),
        "explained_by": ("text", "rule that explains it, where the rule's own days show so; null otherwise"),
        "first_day": ("day", "first local day of the evidence"),
        "last_day": ("day", "last local day of the evidence"),
        "on_days": (
            "text",
            "local days of the evidence, YYYY-MM-DD with a space between, where it holds on those days alone; null "
            "where it holds all along, or its days are not at hand",
        ),
        "days": ("int", "local days with evidence"),
        "measured": ("real", "the number that was compared"),
        "threshold": ("real", "what it was compared with"),
        "unit": ("text", "unit of both"),
        "extra": ("text", "one more sentence or number for the text"),
        "causes": ("text", "of an outcome: its causes in words; explaining fills it in"),
        "probability": ("real", "chance that it is right, where the row's own numbers say so; null as the rule says"),
        "benefit_kwh_week": ("real", "energy the fix saves in a week [kWh]"),
        "benefit_money_week": ("real", "money the fix saves in a week [currency]"),
    },
)


def as_evidence(rule_id: str, rows: pl.DataFrame) -> pl.DataFrame:
    """``rows`` of one rule as EVIDENCE; columns a rule has no use for become null.

    Raises:
        ValueError: a column that EVIDENCE does not know. A fault of the tool.
    """
    if rows.is_empty() and set(rows.columns) <= set(EVIDENCE.columns):  # as most rules end, in most weeks
        return EVIDENCE.empty()
    rows = rows.with_columns(pl.lit(rule_id).alias("rule_id"))
    absent = [
        pl.lit(None, dtype=kind).alias(column) for column, kind in EVIDENCE.schema.items() if column not in rows.columns
    ]
    return EVIDENCE.conform(rows.with_columns(absent))
