"""Proposed plans: which pumps are asked for one in a review, what is withheld, and the effect of those keyed in.

Belongs here: the frame around `planning`: tables in, tables out, restraint that rests on findings and doubts. What if,
and putting a keyed plan on record, stand in `what_if.py`.

A plan is looked for where a finding says that the plan itself is in question: too little water, waste, or steps that
cannot do what is wanted. An override, a plan lost by the controller, a wrong record and priming are not mended by a new
plan, and a clock is set first: a plan keyed in by a wrong clock runs at wrong hours.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

import polars as pl

from pumpledger.accounting.site_weeks import LEAST_BELIEVED_DAYS
from pumpledger.diagnosis.assemble import advice
from pumpledger.diagnosis.observed_plan import PlanRow
from pumpledger.engine.database import Database
from pumpledger.engine.followup_tables import ACTIONS
from pumpledger.engine.proposal_tables import PLAN_EFFECTS, PROPOSALS, PROPOSED_PERIODS
from pumpledger.engine.tables import BEST_PLANS, DAILY, DOUBTS, FINDINGS, SPEED_GRID
from pumpledger.followup.keyed import plan_effects, read_keyed
from pumpledger.orchestration.session import Session
from pumpledger.planning.cures import with_cures
from pumpledger.planning.fleet_problems import plan_problems
from pumpledger.planning.offers import simplest, tables
from pumpledger.planning.problem import PlanProblem
from pumpledger.planning.wishes import Wishes, usual_wishes
from pumpledger.profile.calendar import iso_week, week_days

_STEP = ("start_min", "stop_min", "speed_rpm")
IN_QUESTION = ("O1", "O2", "O3", "C1", "C2", "C3", "C4", "C5", "C6", "C7", "C8", "C12", "C16", "C17")
PUT_RIGHT_FIRST = ("A1", "A2", "A3", "A4", "A5", "A7", "C9", "C13", "C18", "D1", "D2", "D4", "D5", "D6", "D7", "D8", "D9",
                   "D10", "D20")  # fmt: skip


def make_proposals(session: Session, week: str) -> pl.DataFrame:
    """findings and curves -> a proposal for each pump of the sites whose plan is in question; effects of keyed plans."""
    found = session.lake.read(FINDINGS, week).filter(pl.col("verdict") == "found", pl.col("explained_by") == "")
    asked = names_by_site(found.filter(pl.col("rule_id").is_in(IN_QUESTION)))
    problems = [problem for problem in restrained(session, week, found) if problem.site_id in asked]
    rules = rules_by_site(found)
    proposals, periods = tables(
        (problem, with_cures(problem, simplest(problem), rules.get(problem.site_id, ())), asked[problem.site_id])
        for problem in problems
    )
    session.lake.write(PROPOSALS, week, proposals)
    session.lake.write(PROPOSED_PERIODS, week, periods)
    session.lake.write(PLAN_EFFECTS, week, _effects(session, week))
    _advise(session, week, proposals, periods)
    return proposals


def _advise(session: Session, week: str, proposals: pl.DataFrame, periods: pl.DataFrame) -> None:
    """Put the proposals into the words of findings and actions, where these give the simple best plan as advice: no page
    may tell a technician two plans."""
    before = advice(session.lake.read(BEST_PLANS, week))
    now: dict[str, list[str]] = {}
    for row in proposals.sort("site_id", "pump_id").iter_rows(named=True):
        steps = [PlanRow(*step).words() for step in periods.filter(pump_id=row["pump_id"]).select(_STEP).iter_rows()]
        now.setdefault(row["site_id"], []).append(
            f"Proposed plan for {row['pump_id']}: {', then '.join(steps)}."
            if steps
            else f"No plan is proposed for {row['pump_id']}: {str(row['reason']).rstrip('.')}."
        )
    for table, column in ((FINDINGS, "instruction"), (ACTIONS, "action")):
        told = [
            text.replace(before[site_id], " ".join(now[site_id])) if site_id in now and site_id in before else text
            for site_id, text in session.lake.read(table, week).select("site_id", column).iter_rows()
        ]
        session.lake.write(
            table, week, session.lake.read(table, week).with_columns(pl.Series(column, told, dtype=pl.String))
        )


def names_by_site(found: pl.DataFrame) -> dict[str, str]:
    """The names of findings, by site, in their order there."""
    names: dict[str, dict[str, None]] = {}
    for site_id, name in found.sort("site_id", "rank").select("site_id", "name").iter_rows():
        names.setdefault(site_id, {})[name] = None
    return {site_id: "; ".join(parts) for site_id, parts in names.items()}


def rules_by_site(found: pl.DataFrame) -> dict[str, list[str]]:
    """The rules of findings, by site."""
    rules: dict[str, list[str]] = {}
    for site_id, rule_id in found.sort("site_id", "rank").select("site_id", "rule_id").iter_rows():
        rules.setdefault(site_id, []).append(rule_id)
    return rules


def restrained(
    session: Session, week: str, found: pl.DataFrame, wishes: Mapping[str, Wishes] | None = None,
    usual: Wishes | None = None, site: pl.DataFrame | None = None,
) -> list[PlanProblem]:  # fmt: skip
    """The plan problems of a week, withheld where data are not believed or something is to be put right first.

    Args:
        found: findings of the week that stand by themselves.
        site: the register's sites, where something of them is asked to be otherwise.
    """
    daily, doubts = session.lake.read(DAILY, week), session.lake.read(DOUBTS, week)
    with session.database(week_days(week)) as db:
        db.load("daily", daily)
        db.load("speed_grid", session.lake.read(SPEED_GRID, week))
        db.load("fleet_day", pl.DataFrame({"day_local": week_days(week), "in_week": [True] * 7}))
        problems = _problems(db, session, wishes, usual or usual_wishes(session.register.fleet.proposals), site)
    reasons = _reasons(session.register.pump, daily, doubts, found)
    return [
        replace(problem, withheld=reasons[problem.site_id]) if problem.site_id in reasons else problem
        for problem in problems
    ]


def _problems(
    db: Database, session: Session, wishes: Mapping[str, Wishes] | None, usual: Wishes | None, site: pl.DataFrame | None
) -> list[PlanProblem]:
    if site is None:
        return plan_problems(db, wishes, usual)
    before = db.table("site")
    db.load("site", site)
    try:
        return plan_problems(db, wishes, usual)
    finally:
        db.load("site", before)


def _reasons(pump: pl.DataFrame, daily: pl.DataFrame, doubts: pl.DataFrame, found: pl.DataFrame) -> dict[str, str]:
    """Why nothing may be proposed, by site."""
    reasons: dict[str, str] = {}
    first = found.filter(pl.col("rule_id").is_in(PUT_RIGHT_FIRST)).sort("site_id", "rank")
    for site_id, names in names_by_site(first).items():
        reasons[site_id] = f"put right first what was found here: {names}"
    believed = daily.group_by("site_id", "pump_id").agg(pl.col("believed").sum())
    days: dict[str, int] = dict(believed.select("pump_id", "believed").iter_rows())
    for site_id, pump_id in pump.sort("site_id", "pump_id").select("site_id", "pump_id").iter_rows():
        known = days.get(pump_id, 0)
        if known < LEAST_BELIEVED_DAYS:
            reasons[site_id] = f"the week of {pump_id} has {known} believed days, and {LEAST_BELIEVED_DAYS} are needed"
    for site_id, doubt in doubts.sort("site_id", "pump_id").select("site_id", "doubt").iter_rows():
        reasons[site_id] = f"its data are not believed: {doubt}"
    return reasons


def _effects(session: Session, week: str) -> pl.DataFrame:
    keyed = read_keyed(session.workspace.folder)
    if not keyed:
        return PLAN_EFFECTS.empty()
    oldest = iso_week(min(line.valid_from for line in keyed))
    weeks: Iterable[str] = [name for name in session.lake.weeks(DAILY) if oldest <= name <= week]
    daily = pl.concat([DAILY.empty(), *(session.lake.read(DAILY, name) for name in weeks)])
    return plan_effects(keyed, session.register.plan, daily, week_days(week)[6])
