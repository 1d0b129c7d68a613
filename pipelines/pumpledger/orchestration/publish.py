"""Gathers what the review prints and has it written.

Belongs here: from lake to `ReviewData`. How it looks belongs to `reports`.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, time, timedelta
from pathlib import Path

import polars as pl

from pumpledger.accounting.efficiency import implausible
from pumpledger.diagnosis.ranking import ACTIONS_PER_HUNDRED_SITES
from pumpledger.diagnosis.rules import RULES
from pumpledger.engine.account_tables import (
    BALANCE,
    CURVES,
    EFFICIENCY,
    EFFICIENCY_RECORD,
    FLEET_SAVINGS,
    LEVELS,
    LOADING,
)
from pumpledger.engine.expectations import checks_frame, run_suite
from pumpledger.engine.followup_tables import ACTION_STATES, ACTIONS, RULE_OUTCOMES
from pumpledger.engine.lake import parquet_batches
from pumpledger.engine.proposal_tables import PLAN_EFFECTS, PROPOSALS, PROPOSED_PERIODS
from pumpledger.engine.tables import (
    BEST_PLANS,
    CHECKS,
    DAILY,
    DOUBTS,
    EXCLUSIONS,
    EXPORTS,
    FINDINGS,
    NOTES,
    PROFILE,
    SAVINGS,
    SAVINGS_BANDS,
    SITE_WEEKS,
    SPANS,
    SPEED_GRID,
    VERDICTS,
)
from pumpledger.intake.ledger_tables import (
    exports_of,
    profiles,
    pump_exports,
    pump_sources,
    refused_counts,
    superseded,
)
from pumpledger.intake.rules import FATES
from pumpledger.orchestration.session import Session
from pumpledger.orchestration.steps import PAST_WEEKS, weeks_back
from pumpledger.orchestration.thresholds import Thresholds, parameters_of
from pumpledger.problems import Problem
from pumpledger.profile.calendar import week_days
from pumpledger.reports.data import DECISIONS, RULE_NOTES, ReviewData
from pumpledger.reports.data import RULES as RULES_SCHEMA
from pumpledger.reports.review import summary_lines, write_review
from pumpledger.workspace import write_whole


def publish_review(session: Session, week: str) -> Path:
    """Write ``reports/<week>/`` and the lines for the terminal; return the page's path."""
    data = review_data(session, week)
    folder = write_review(session.workspace.folder, data, _refused(session, data.exports))
    write_whole(session.summary(week), ("\n".join(summary_lines(data)) + "\n").encode())
    return folder / "index.html"


def _refused(session: Session, exports: pl.DataFrame) -> Iterator[pl.DataFrame]:
    """The refused rows of ``exports`` in order of arrival, from the lake; of a withdrawn one nothing needs mending."""
    for export_id in exports.filter(~pl.col("status").is_in(["repeated", "withdrawn"])).sort("sequence")["export_id"]:
        path = session.ledger.refused_path(export_id)
        if export_id and path.exists():
            yield from parquet_batches(path)


def review_data(session: Session, week: str) -> ReviewData:
    """Everything the review of ``week`` prints."""
    lake, register, weeks, days = session.lake, session.register, weeks_back(week, 2), week_days(week)
    ledger = session.ledger
    newest = week == max(session.ready_weeks(), default=week)
    exports = exports_of(ledger, {week})
    if newest:  # what could not be read belongs to no week; it is said where the manager looks first
        exports = pl.concat(
            [
                exports,
                session.exports.filter((pl.col("status") != "read") & ~pl.col("sequence").is_in(exports["sequence"])),
            ]
        )
    with session.database([day for name in weeks for day in week_days(name)]) as db:
        plan_slot = db.table("plan_slot").select("pump_id", "day_local", "quarter", "planned_speed_rpm")
        quarter_price = db.query("planning/quarter_price")
    start = datetime.combine(days[0], time()) - timedelta(days=8)
    file_checks = run_suite("file_profile", profiles(ledger, {week}), "file")
    previous = lake.path(ACTIONS.name, weeks[0])
    return ReviewData(
        fleet_name=register.name,
        made_up=register.made_up,
        week=week,
        first_day=days[0],
        last_day=days[6],
        units=register.units,
        currency=register.currency,
        site=register.site_in(days[-1].month),
        pump=register.pump,
        plan=register.plan,
        exports=EXPORTS.conform(exports),
        refused_counts=refused_counts(ledger, {week})
        .group_by("file", "rule", "fate", "reason")
        .agg(pl.col("rows").sum())
        .sort("file", "rule"),
        profile=session.read_weeks(PROFILE, weeks),
        spans=session.read_weeks(SPANS, weeks),
        daily=session.read_weeks(DAILY, weeks),
        savings=session.read_weeks(SAVINGS, weeks),
        savings_bands=session.read_weeks(SAVINGS_BANDS, weeks),
        exclusions=session.read_weeks(EXCLUSIONS, weeks),
        co2_source=register.fleet.co2_source,
        fleet_savings=lake.read(FLEET_SAVINGS, week),
        findings=lake.read(FINDINGS, week),
        actions=lake.read(ACTIONS, week),
        action_states=lake.read(ACTION_STATES, week),
        rule_outcomes=lake.read(RULE_OUTCOMES, week),
        site_weeks=lake.read(SITE_WEEKS, week),
        best_plans=lake.read(BEST_PLANS, week),
        proposals=lake.read(PROPOSALS, week),
        proposed_periods=lake.read(PROPOSED_PERIODS, week),
        plan_effects=lake.read(PLAN_EFFECTS, week),
        quarter_price=quarter_price,
        plan_slot=plan_slot,
        checks=CHECKS.conform(pl.concat([lake.read(CHECKS, week), CHECKS.conform(checks_frame(file_checks))])),
        conservation={name: int(exports[name].sum()) for name in ("data_rows", *FATES)},
        problems=[
            *(session.problems() if newest else []),
            *_notes(session, week),
            *implausible(lake.read(EFFICIENCY, week)),
        ],
        air=register.weather.filter(
            pl.col("time_utc").is_between(start, datetime.combine(days[6], time()) + timedelta(days=2))
        ),
        previous_actions=lake.read(ACTIONS, weeks[0]) if previous.exists() else None,
        actions_per_100_sites=ACTIONS_PER_HUNDRED_SITES,
        rules=_rules(session.thresholds),
        rule_notes=pl.DataFrame(
            [(rule.id, rule.others, rule.picture) for rule in RULES], schema=RULE_NOTES, orient="row"
        ),
        levels=session.read_weeks(LEVELS, weeks_back(week, PAST_WEEKS)),
        pump_exports=pump_exports(ledger, {week}).select("pump_id", "file", "readings"),
        verdicts=lake.read(VERDICTS, week),
        doubts=lake.read(DOUBTS, week),
        pump_sources=pump_sources(ledger, set(weeks)),
        decisions=_decisions(session),
        superseded=_superseded(session, week),
        visit=register.visit,
        speed_grid=lake.read(SPEED_GRID, week),
        curves=lake.read(CURVES, week),
        balance=session.read_weeks(BALANCE, weeks),
        loading=session.read_weeks(LOADING, weeks),
        efficiency=lake.read(EFFICIENCY, week),
        efficiency_record=lake.read(EFFICIENCY_RECORD, week),
    )


def _decisions(session: Session) -> pl.DataFrame:
    rows = [[getattr(line, name) for name in DECISIONS] for line in session.decisions.standing()]
    return pl.DataFrame(rows, schema=DECISIONS, orient="row")


def _superseded(session: Session, week: str) -> pl.DataFrame:
    """The table ``superseded`` with the names of both files."""
    names = session.exports.filter(pl.col("status") != "repeated").select("export_id", "file").unique("export_id")
    frame = superseded(session.ledger, week)
    for age in ("old", "new"):
        named = names.rename({"export_id": f"{age}_export_id", "file": f"{age}_file"})
        frame = frame.join(named, on=f"{age}_export_id", how="left", maintain_order="left")
    return frame


def _notes(session: Session, week: str) -> list[Problem]:
    rows = session.lake.read(NOTES, week).iter_rows(named=True)
    return [Problem(r["name"], r["sentence"], "warns", r["file"], r["line"], site_id=r["site_id"]) for r in rows]


def _rules(found: Thresholds) -> pl.DataFrame:
    rows = [
        (
            rule.id,
            rule.name,
            rule.severity,
            name,
            float(found.value(rule.id, name, item.default)),
            item.unit,
            rule.probability,
            rule.work_min,
        )
        for rule in RULES
        for name, item in parameters_of(rule.id).items()
    ]
    return pl.DataFrame(rows, schema=RULES_SCHEMA, orient="row")
