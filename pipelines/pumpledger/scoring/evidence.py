"""What the reviews of made-up fleets said, week by week, beside what was seeded: plain frames to count on.

Belongs here: reading ``truth/seeded.csv`` and the lake. What is counted stands in `modes.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

import polars as pl

from pumpledger.engine.followup_tables import ACTIONS
from pumpledger.engine.lake import Lake
from pumpledger.engine.tables import FINDINGS, SITE_WEEKS, VERDICTS
from pumpledger.problems import FleetError, Problem

TRUTH = {
    "fleet": pl.String, "site_id": pl.String, "kind": pl.String, "mode": pl.String, "from_day": pl.Date,
    "to_day": pl.Date, "size": pl.Float64, "seen_from": pl.Date,
}  # fmt: skip
FOUND = {
    "fleet": pl.String, "site_id": pl.String, "monday": pl.Date, "rule_id": pl.String, "severity": pl.String,
    "explained_by": pl.String,
}  # fmt: skip
SITE_WEEK = {"fleet": pl.String, "site_id": pl.String, "monday": pl.Date}
ACTION = {**SITE_WEEK, "rank": pl.Int64, "rule_id": pl.String, "seen": pl.Date}


@dataclass(frozen=True)
class Evidence:
    """``truth``: one row a site and mode, ``kind`` fault, innocent, consequence (a mode that may truthfully be found with
    a fault) or hidden (a fault that moves less than no log could tell from scatter and season: neither missed nor
    false), ``size`` 0 hardly visible to 1 plain, null unknown, ``seen_from`` the first day on which a log can show a
    fault, null its first. ``found``: one row a review, site and rule, and
    one a review, pump and verdict on its log; not what only stands on from earlier weeks. ``site_weeks``: every site of
    every reviewed week. ``actions``: the lines of each review, ``rank`` from 1, ``seen`` the Monday of the week in which
    the finding was last in sight.
    """

    truth: pl.DataFrame
    found: pl.DataFrame
    site_weeks: pl.DataFrame
    actions: pl.DataFrame


def read_evidence(fleets: list[Path]) -> Evidence:
    """All reviewed weeks of all ``fleets``.

    Raises:
        FleetError: a fleet without truth, or without a review.
    """
    parts = [_one(fleet, f"{number}") for number, fleet in enumerate(fleets)]
    return pooled(parts)


def pooled(parts: list[Evidence]) -> Evidence:
    """Several fleets' evidence as one; their ``fleet`` names differ."""
    return Evidence(
        *(pl.concat([getattr(part, name) for part in parts]) for name in ("truth", "found", "site_weeks", "actions"))
    )


def monday_of(week: str) -> date:
    """First day of an ISO week such as 2026-W45."""
    return date.fromisocalendar(int(week[:4]), int(week[-2:]), 1)


def _one(fleet: Path, name: str) -> Evidence:
    seeded = fleet / "truth" / "seeded.csv"
    if not seeded.is_file():
        raise FleetError(
            Problem("no_truth", f"{fleet}: only a made-up fleet that pumpledger demo wrote has a truth", file="truth")
        )
    lake = Lake(fleet / "lake")
    weeks = lake.weeks(FINDINGS)
    if not weeks:
        raise FleetError(Problem("no_review", f"{fleet}: there is no review yet to score", file="lake"))
    truth = pl.read_csv(seeded, try_parse_dates=True)
    if "size" not in truth.columns:
        truth = truth.with_columns(size=pl.lit(None, pl.Float64))
    if "seen_from" not in truth.columns:
        truth = truth.with_columns(seen_from=pl.lit(None, pl.Date))
    pumps = pl.read_csv(fleet / "pumps.csv", infer_schema=False).select("pump_id", "site_id")
    found, site_weeks, actions = [], [], []
    for week in weeks:
        monday = pl.lit(monday_of(week)).alias("monday")
        findings = lake.read(FINDINGS, week).filter((pl.col("verdict") == "found") & (pl.col("site_id") != ""))
        seen = findings.filter("in_sight")
        doubts = _of_sites(lake.read(VERDICTS, week), pumps, truth, monday_of(week))
        found.append(seen.with_columns(monday))
        # A doubt that its rule tells counts as that finding: another finding may explain it there.
        found.append(doubts.join(seen, on=["site_id", "rule_id"], how="anti").with_columns(monday))
        site_weeks.append(lake.read(SITE_WEEKS, week).with_columns(monday))
        last_seen = pl.when("in_sight").then(monday).otherwise(pl.col("last_day").dt.truncate("1w")).alias("seen")
        keys = ["site_id", "rule_id", "component"]
        actions.append(
            lake.read(ACTIONS, week)
            .join(findings.select(*keys, last_seen), on=keys, how="left")
            .with_columns(monday, pl.col("seen").fill_null(monday))
        )
    return Evidence(
        *(
            _shaped(frames, schema, name)
            for frames, schema in (([truth], TRUTH), (found, FOUND), (site_weeks, SITE_WEEK), (actions, ACTION))
        )
    )


def _of_sites(verdicts: pl.DataFrame, pumps: pl.DataFrame, truth: pl.DataFrame, monday: date) -> pl.DataFrame:
    """Verdicts that nobody refused, by site. One on a whole source stands for every site that has the mode; where no
    site has it, for the source by its name, so that it counts as false.
    """
    said = verdicts.filter(pl.col("state") != "refused").select("source", "pump_id", rule_id="mode")
    single = said.filter(pl.col("pump_id") != "").join(pumps, on="pump_id")
    live = truth.filter(
        (pl.col("kind") == "fault")
        & (pl.col("from_day") <= monday + timedelta(days=6))
        & (pl.col("to_day") >= monday - timedelta(days=7))
    ).select("site_id", rule_id="mode")
    whole = said.filter(pl.col("pump_id") == "").join(live, on="rule_id", how="left")
    return (
        pl.concat(
            [
                single.select("site_id", "rule_id"),
                whole.select(pl.coalesce("site_id", "source").alias("site_id"), "rule_id"),
            ]
        )
        .unique(maintain_order=True)
        .with_columns(severity=pl.lit("data"), explained_by=pl.lit(""))
    )


def _shaped(frames: list[pl.DataFrame], schema: dict[str, type[pl.DataType]], name: str) -> pl.DataFrame:
    columns = [pl.lit(name).alias("fleet") if c == "fleet" else pl.col(c).cast(kind) for c, kind in schema.items()]
    return pl.concat([frame.select(columns) for frame in frames]).unique(maintain_order=True)
