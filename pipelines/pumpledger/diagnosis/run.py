"""One week's findings: runs every rule over the days up to the week's end and writes the table ``finding``.

Belongs here: the order of the steps. Rules, words and ranks stand in their own modules.

Tables read: site, pump, plan, plan_window, plan_slot, local_day, past_day (local days as far back as a clock change is
looked for), span, profile, daily, speed_grid, best_plan, export, refused_count, clock_warning (of `ledger_tables`),
visit, weather, tariff_band, fleet_day (day_local, in_week), pump_source (pump_id, source: source of fleet.toml that the
pump's readings came from), verdict (columns of verdicts); and of the eight weeks that end with this one past_daily
(columns of daily), past_level (columns of levels) and past_savings (columns of savings), with loading (columns of
loading) and reading (columns of readings, of each pump's main log alone) of the last two, and efficiency and
efficiency_record of the last. past_finding and said_done (columns of `standing.PAST_FINDING` and `standing.SAID`); of
the weeks before this one past_clock_day and past_outage (columns of clock_days and outages), and past_programme
(`default_plan.PAST_PROGRAMME`). Outcomes may also read
found_cause (EVIDENCE: what the other rules found).
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, timedelta

import polars as pl

from pumpledger.diagnosis.assemble import findings, gate
from pumpledger.diagnosis.clock import read_clocks
from pumpledger.diagnosis.early import struck_days, unit_doubts
from pumpledger.diagnosis.evidence import FOUND, as_evidence
from pumpledger.diagnosis.explain import explain
from pumpledger.diagnosis.power_levels import find_renewals, freed_levels
from pumpledger.diagnosis.ranking import rank_findings
from pumpledger.diagnosis.rules import RULES, Rule, parameter_values
from pumpledger.diagnosis.rules.rule import OUTCOME_ORDER
from pumpledger.diagnosis.standing import KEY, stand, still_stands
from pumpledger.engine.database import Database

Parameters = Mapping[str, Mapping[str, float]]


def diagnose(db: Database, week: str, week_end: date, parameters: Parameters | None = None) -> None:
    """Make ``finding`` (FINDINGS) for the ISO week ``week`` that ends on ``week_end``.

    Args:
        db: holds the tables named above; the working tables of the rules are added to it.
        week: such as '2026-W45'.
        week_end: last local day of that week.
        parameters: ``rule_id -> parameter -> value`` in place of the registry's defaults.

    Raises:
        ValueError: ``week_end`` is not in ``week``, or a parameter that does not exist or is out of bounds.
    """
    if f"{week_end:%G-W%V}" != week:
        raise ValueError(f"{week_end} is not in week {week}")
    values = {rule.id: parameter_values(rule, parameters) for rule in RULES}
    prepare(db, week_end, values, parameters)
    causes = gated(db, [rule for rule in RULES if rule.order < OUTCOME_ORDER], values)
    db.load("found_cause", causes.filter(pl.col("verdict") == FOUND))
    outcomes = gated(db, [rule for rule in RULES if rule.order >= OUTCOME_ORDER], values)
    evidence = pl.concat([causes, outcomes])
    past = db.table("past_finding")
    last_week = f"{week_end - timedelta(days=7):%G-W%V}"
    closed = db.table("pump_fact").filter(season="closed")["site_id"].unique().to_list()
    found = evidence.filter(pl.col("verdict") == FOUND).select(KEY)
    kept = still_stands(found, past, last_week, db.query("diagnosis/clear_day"), db.table("said_done"), closed)
    facts = db.table("pump_fact").select("site_id", "pump_id")
    explained, kept = explain(evidence, kept, facts, db.table("pump_source"), values)
    weeks = sorted(past["week"].unique().to_list())
    rank_findings(db, stand(findings(explained, db.table("best_plan")), kept, past, last_week, weeks))


def prepare(db: Database, week_end: date, values: Parameters, parameters: Parameters | None = None) -> None:
    """Make the tables that several rules read; ``values`` has the parameters of every rule, others as `diagnose`."""
    db.build("judged_day", "diagnosis/judged_day", {"week_end": week_end})
    db.build("pump_fact", "diagnosis/pump_fact")
    db.build("excused_day", "diagnosis/excused_day")
    db.build("pump_start", "diagnosis/pump_start")
    unit_doubts(db)
    struck_days(db, parameters)
    db.build("site_day", "diagnosis/site_day")
    db.build("site_fact", "diagnosis/site_fact")
    db.build("site_plan", "diagnosis/site_plan")
    db.build("spending_excused", "diagnosis/spending_excused")
    find_renewals(db)
    db.load("freed_level", freed_levels(db))

    read_clocks(db, values)


def gated(db: Database, rules: list[Rule], values: Parameters) -> pl.DataFrame:
    """What ``rules`` see, as far as the season and doubts about the data let them speak."""
    rows = pl.concat([as_evidence(rule.id, rule.evidence(db, values[rule.id])) for rule in rules])
    return gate(rows, db.table("pump_fact"), db.table("doubted_pump"))
