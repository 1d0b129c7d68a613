"""Evidence to findings: gates and words.

Belongs here: what holds for every rule alike. What one rule looks for stands in its query, what explains what in
`explain.py`, the order of findings in `ranking.py`.
"""

from __future__ import annotations

import polars as pl

from pumpledger.diagnosis.evidence import CANNOT_TELL, EVIDENCE, FOUND
from pumpledger.diagnosis.rules import BY_ID, RULES, Rule
from pumpledger.engine.tables import FINDINGS


def gate(evidence: pl.DataFrame, facts: pl.DataFrame, doubts: pl.DataFrame) -> pl.DataFrame:
    """Evidence without closed sites where a rule asks for the season, and with 'cannot tell' where its readings are in
    doubt.

    Args:
        evidence: EVIDENCE.
        facts: pump_fact (site_id, pump_id, season).
        doubts: doubted_pump (site_id, pump_id, quantity).
    """
    closed = facts.filter(pl.col("season") == "closed")["site_id"].unique().to_list()
    of_sites = [rule.id for rule in RULES if rule.scope == "site"]
    seasonal = [rule.id for rule in RULES if rule.season == "open"]
    kept = evidence.filter(~(pl.col("rule_id").is_in(seasonal) & pl.col("site_id").is_in(closed)))
    resting = pl.DataFrame(
        [
            (rule.id, quantity)
            for rule in RULES
            if not rule.id.startswith("B")
            for quantity in ("speed", "power", "flow")
            if quantity in rule.needs
        ],
        schema={"rule_id": pl.String, "quantity": pl.String},
        orient="row",
    )
    # A site's rule rests on all its pumps, a pump's rule on that pump alone.
    doubted = pl.concat(
        [
            doubts.select("site_id", pl.col("pump_id").alias("component"), "quantity"),
            doubts.select("site_id", "quantity")
            .join(kept.filter(pl.col("rule_id").is_in(of_sites)).select("site_id", "component"), on="site_id")
            .select("site_id", "component", "quantity"),
        ]
    ).unique()
    struck = (
        doubted.join(resting, on="quantity")
        .select("site_id", "component", "rule_id")
        .unique()
        .with_columns(doubted=pl.lit(True))
    )
    marked = kept.join(struck, on=["site_id", "component", "rule_id"], how="left", maintain_order="left")
    in_doubt = pl.col("doubted").fill_null(False)
    return marked.with_columns(
        pl.when(in_doubt).then(pl.lit(CANNOT_TELL)).otherwise("verdict").alias("verdict"),
        pl.when(in_doubt)
        .then(pl.lit("readings that are not in doubt (see the data that is not believed)"))
        .otherwise("needs")
        .alias("needs"),
        *(
            pl.when(in_doubt).then(None).otherwise(column).alias(column)
            for column in ("benefit_kwh_week", "benefit_money_week", "explained_by", "severity", "extra")
        ),
    ).select(list(EVIDENCE.columns))


def advice(plans: pl.DataFrame) -> dict[str, str]:
    """``site_id -> what to key in`` from BEST_PLANS, or why nothing is proposed."""
    texts: dict[str, list[str]] = {}
    for row in plans.sort("site_id", "pump_id").iter_rows(named=True):
        if row["speed_rpm"] is None:
            text = f"No plan is proposed for {row['pump_id']}: {row['withheld']}."
        else:
            hours = f"from {row['start_local']} to {row['stop_local']}"
            part = f", {row['faster_hours']:g} h of it at {row['faster_rpm']} rpm" if row["faster_rpm"] else ""
            text = f"Simple best plan for {row['pump_id']}: {row['speed_rpm']} rpm {hours}{part}."
        texts.setdefault(row["site_id"], []).append(text)
    return {site: " ".join(lines) for site, lines in texts.items()}


def _sentence(rule: Rule, row: dict[str, object]) -> str:
    if row["verdict"] == CANNOT_TELL:
        return f"cannot tell: needs {row['needs']}" if row["needs"] else f"cannot tell: {row['extra']}"
    count = "1 day" if row["days"] == 1 else f"{row['days']} days"
    words = {"extra": row["extra"] or "", "causes": row["causes"] or "", "day_count": count}
    return rule.sentence.format(**{**row, **words}).strip()


def findings(evidence: pl.DataFrame, plans: pl.DataFrame) -> pl.DataFrame:
    """Explained EVIDENCE as FINDINGS without a rank (rank 0)."""
    keyed_in = advice(plans)
    rows = []
    for row in evidence.iter_rows(named=True):
        rule = BY_ID[row["rule_id"]]
        found = row["verdict"] == FOUND
        filled = {
            **row,
            "advice": keyed_in.get(row["site_id"], "No plan is proposed: the register and readings do not allow one."),
        }
        rows.append(
            {
                **{column: row[column] for column in FINDINGS.columns if column in row},
                "name": rule.name,
                "severity": (row["severity"] or rule.severity) if found else "note",
                "rank": 0,
                "explained_by": row["explained_by"] or "",
                "sentence": _sentence(rule, row),
                "instruction": rule.instruction.format(**filled) if found else "",
                "caution": rule.caution if found else (rule.caution if rule.id == "D17" else ""),
                "probability": (rule.probability if row["probability"] is None else row["probability"])
                if found
                else None,
                "work_min": rule.work_min if found else None,
                "standing_since": row["first_day"] if found else None,
                "in_sight": found,
                "comes_and_goes": False,
            }
        )
    return FINDINGS.conform(pl.DataFrame(rows, schema=FINDINGS.schema))
