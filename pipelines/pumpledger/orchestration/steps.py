"""One function a step of the flow: open a database, load what the step needs, call its room, write its tables.

Belongs here: which tables a step reads and writes. Each step returns the checks it ran; the assets turn them into asset
checks.
"""

from __future__ import annotations

from datetime import date, timedelta

import polars as pl

from pumpledger.accounting.balance import build_balance, find_aux_draw, strike_unbalanced
from pumpledger.accounting.daily import AccountingParameters, build_daily, power_points
from pumpledger.accounting.efficiency import build_efficiency
from pumpledger.accounting.fleet_uncertainty import build_fleet_savings
from pumpledger.accounting.loading import WEEKS_BACK, build_loading, held_levels
from pumpledger.accounting.savings import build_savings
from pumpledger.accounting.site_weeks import build_site_weeks
from pumpledger.diagnosis.default_plan import OFF_RECORD, PAST_PROGRAMME
from pumpledger.diagnosis.early import struck_days, unit_doubts
from pumpledger.diagnosis.ranking import rank_actions
from pumpledger.diagnosis.run import diagnose
from pumpledger.diagnosis.standing import LOOK_BACK_WEEKS, PAST_FINDING, SAID
from pumpledger.engine.account_tables import (
    BALANCE,
    COUNTER_RUNS,
    CURVES,
    EFFICIENCY,
    EFFICIENCY_RECORD,
    FLEET_SAVINGS,
    LEVELS,
    LOADING,
)
from pumpledger.engine.clock_tables import CLOCK_DAYS, OUTAGES
from pumpledger.engine.database import Database
from pumpledger.engine.expectations import Check, checks_frame, run_suite
from pumpledger.engine.followup_tables import ACTION_STATES, ACTIONS, RULE_OUTCOMES
from pumpledger.engine.tables import (
    BEST_PLANS,
    CHECKS,
    DAILY,
    DAY_BANDS,
    DOUBTS,
    EXCLUSIONS,
    FINDINGS,
    NOTES,
    PROFILE,
    READINGS,
    SAVINGS,
    SAVINGS_BANDS,
    SITE_WEEKS,
    SPANS,
    SPEED_GRID,
    VERDICTS,
)
from pumpledger.followup.life import action_states, rule_outcomes
from pumpledger.hydraulics.speed_grid import build_speed_grid
from pumpledger.intake.ledger_tables import clock_warnings, exports_of, pump_sources, refused_counts, shared_pumps
from pumpledger.orchestration.session import Session
from pumpledger.planning.simple_plan import build_best_plans
from pumpledger.planning.wishes import usual_wishes
from pumpledger.problems import Problem
from pumpledger.profile.build import build_profile, build_spans
from pumpledger.profile.calendar import iso_week, local_days, week_days
from pumpledger.verdicts.inputs import export_extents, source_dialects
from pumpledger.verdicts.run import weigh
from pumpledger.verdicts.value_modes import BAD_VALUES

_RUNNING_RPM = 600
PAST_WEEKS = 8  # that slow changes are looked for in


def weeks_back(week: str, count: int) -> list[str]:
    """``count`` ISO weeks that end with ``week``."""
    monday = week_days(week)[0]
    return [iso_week(monday - timedelta(weeks=step)) for step in reversed(range(count))]


def accounting_parameters(session: Session) -> AccountingParameters:
    """The defaults, with the fleet's meter accuracy."""
    return AccountingParameters(meter_accuracy=session.register.meter_accuracy)


def make_verdicts(session: Session, week: str) -> pl.DataFrame:
    """readings -> doubts about whole sources and single logs, before any site is judged."""
    weeks = weeks_back(week, 2)
    with session.database([day for name in weeks for day in week_days(name)]) as db:
        db.load("pump_source", pump_sources(session.ledger, set(weeks)))
        _view_readings(db, session, weeks)
        if not db.table("shared_pump").is_empty():
            db.view("reading", "profile/reading_of_main_log")
        db.load("source_dialect", source_dialects(session.declared.dialects))
        db.load("extent", export_extents(session.ledger.entries))
        session.lake.write(VERDICTS, week, weigh(db, session.decisions, session.thresholds.modes))
        session.lake.write(BAD_VALUES, week, db.table("bad_value"))
    return session.lake.read(VERDICTS, week)


def make_spans(session: Session, week: str) -> pl.DataFrame:
    """readings -> spans of the week, each with its cause."""
    following = iso_week(week_days(week)[6] + timedelta(days=1))
    with session.database(week_days(week)) as db:
        _view_readings(db, session, [*weeks_back(week, 2), following])
        db.load("pump_source", pump_sources(session.ledger, set(weeks_back(week, 2))))
        db.load("bad_value", session.lake.read(BAD_VALUES, week))
        shared = not db.table("shared_pump").is_empty()
        if shared:
            db.view("reading", "profile/reading_by_log")
            db.load("bad_value", db.query("profile/bad_value_by_log"))
        longest = session.exports["gap_limit_s"].max() or 0
        build_spans(db, timedelta(seconds=int(longest)), shared)
        session.lake.write(SPANS, week, db.table("span"))
        session.lake.write(COUNTER_RUNS, week, db.table("counter_run"))
        session.lake.write(LEVELS, week, held_levels(db))
        return session.lake.read(SPANS, week)


def _view_readings(db: Database, session: Session, weeks: list[str]) -> None:
    """Make ``reading``, the readings of ``weeks`` that count, and ``export_hold``.

    Where pumps have logs of several sources, ``shared_pump`` names these logs, and ``reading`` is for the caller to
    make of ``every_reading``.
    """
    shared = shared_pumps(session.ledger, set(weeks), [source.name for source in session.register.fleet.sources])
    db.load("shared_pump", shared)
    name = "reading" if shared.is_empty() else "every_reading"
    files = [path for week in weeks for path in session.lake.readings_files(week)]
    if files:
        superseded = [path for week in weeks for path in session.lake.superseded_files(week)]
        db.view_readings(name, files, superseded)
    else:
        db.load(name, READINGS.empty())
    db.build("export_hold", "profile/export_hold")


def _load_verdicts(db: Database, session: Session, week: str) -> None:
    db.load("verdict", session.lake.read(VERDICTS, week))
    db.load("pump_source", pump_sources(session.ledger, set(weeks_back(week, 2))))


def make_daily(session: Session, week: str) -> list[Check]:
    """spans -> quarter-hour profile and the daily accounts, after the verdict on units."""
    parameters = accounting_parameters(session)
    with session.database(week_days(week)) as db:
        db.load("span", session.read_weeks(SPANS, weeks_back(week, 2)))
        _load_verdicts(db, session, week)
        unit_doubts(db)
        find_aux_draw(db)
        db.load("span", db.query("accounting/pump_alone"))
        flow_metered = set(db.table("span").filter(pl.col("flow_m3h").is_not_null())["pump_id"])
        grid = build_speed_grid(session.register, power_points(db, parameters), flow_metered)
        db.load("span", session.lake.read(SPANS, week))
        checks = run_suite("site_days", db.query("quality/site_days", {"running_rpm": _RUNNING_RPM}), "site_day")
        doubts = _doubts(db, checks)
        db.load("pump_doubt", doubts.select("pump_id", "doubt"))
        db.load("speed_grid", SPEED_GRID.conform(grid.grid))
        build_profile(db)
        loading = _loading(session, week, grid.grid, db.table("pump_doubt"))
        build_daily(db, parameters, loading)
        db.load("counter_run", session.lake.read(COUNTER_RUNS, week))
        build_balance(db)
        daily_checks = run_suite("daily", db.query("quality/daily_check"), "pump_day")
        pump_sites = dict(session.register.pump.select("pump_id", "site_id").iter_rows())
        broken = {pump_sites[key.split(" ")[0]] for check in daily_checks if check.critical for key in check.failing}
        daily = db.table("daily").with_columns(pl.col("believed") & ~pl.col("site_id").is_in(broken))
        session.lake.write(DOUBTS, week, doubts)
        session.lake.write(NOTES, week, _notes(grid.problems))
        session.lake.write(SPEED_GRID, week, grid.grid)
        session.lake.write(CURVES, week, grid.curves)
        session.lake.write(PROFILE, week, db.table("profile"))
        session.lake.write(DAILY, week, daily)
        session.lake.write(LOADING, week, loading)
        session.lake.write(BALANCE, week, db.table("balance"))
        session.lake.write(DAY_BANDS, week, db.table("day_band"))
    return _keep(session, week, [*checks, *daily_checks], replaces=("site_days", "daily"))


def _loading(session: Session, week: str, grid: pl.DataFrame, doubts: pl.DataFrame) -> pl.DataFrame:
    """Filter loading of the week, from the weeks before it that the lake holds."""
    register = session.register
    levels = session.read_weeks(LEVELS, weeks_back(week, WEEKS_BACK))
    believed = levels.filter(~pl.col("pump_id").is_in(doubts["pump_id"].to_list()))
    return build_loading(believed, register.visit, register.pump, register.pump_curve, grid, week_days(week))


def make_savings(session: Session, week: str) -> list[Check]:
    """daily accounts -> savings of each site and day; days that were no service are struck first."""
    with session.database(week_days(week)) as db:
        _load_week(db, session, week)
        _load_verdicts(db, session, week)
        unit_doubts(db)
        db.load("past_level", session.read_weeks(LEVELS, weeks_back(week, PAST_WEEKS)))
        struck_days(db, session.thresholds.rules)
        db.load("balance", session.lake.read(BALANCE, week))
        strike_unbalanced(db)
        db.build("tariff_window", "accounting/tariff_window")
        db.load("day_band", session.lake.read(DAY_BANDS, week))
        build_savings(db, accounting_parameters(session), session.register.fleet.co2_kg_per_kwh)
        checks = run_suite("savings", db.query("quality/savings_check"), "site_day")
        broken = {key.split(" ")[0] for check in checks if check.critical for key in check.failing}
        savings = db.table("savings").with_columns(
            counted=pl.col("counted") & ~pl.col("site_id").is_in(broken),
            reason=pl.when(pl.col("site_id").is_in(broken) & pl.col("counted"))
            .then(pl.lit("a critical expectation on savings failed"))
            .otherwise("reason"),
        )
        db.load("savings", savings)
        build_fleet_savings(db, session.register.meter_accuracy)
        session.lake.write(SAVINGS, week, savings)
        session.lake.write(FLEET_SAVINGS, week, db.table("fleet_savings"))
        session.lake.write(SAVINGS_BANDS, week, db.table("savings_band"))
        session.lake.write(EXCLUSIONS, week, _left_out(db.table("exclusions"), savings))
    return _keep(session, week, checks, replaces=("savings",))


def _left_out(exclusions: pl.DataFrame, savings: pl.DataFrame) -> pl.DataFrame:
    """``exclusions`` with the days that a failed expectation took out, which no rule of the accounts names."""
    named = savings.filter(~pl.col("counted")).join(exclusions, on=("site_id", "day_local"), how="anti")
    added = named.select(
        "site_id", "day_local", "reason", kind=pl.lit("checks failed"), place=99, minutes=None, excluded_min=None
    )
    return EXCLUSIONS.conform(pl.concat([exclusions, EXCLUSIONS.conform(added)]))


def make_schedule(session: Session, week: str) -> pl.DataFrame:
    """register and curves -> the simple best plan of each pump."""
    with session.database(week_days(week)) as db:
        _load_week(db, session, week)
        build_best_plans(db, usual_wishes(session.register.fleet.proposals))
        session.lake.write(BEST_PLANS, week, db.table("best_plan"))
    return session.lake.read(BEST_PLANS, week)


def make_efficiency(session: Session, week: str) -> pl.DataFrame:
    """spans of two weeks and curves -> what a litre costs at each speed, and each pump's efficiency record."""
    with session.database(week_days(week)) as db:
        weeks, parameters = weeks_back(week, 2), accounting_parameters(session)
        spans = session.read_weeks(SPANS, weeks)
        db.load("span", spans)
        db.load("speed_grid", session.lake.read(SPEED_GRID, week))
        db.load("loading", session.read_weeks(LOADING, weeks))
        db.load("pump_doubt", session.lake.read(DOUBTS, week).select("pump_id", "doubt"))
        find_aux_draw(db)
        db.load("span", db.query("accounting/pump_alone"))
        points = power_points(db, parameters)
        db.load("span", spans)
        build_efficiency(db, points, parameters)
        session.lake.write(EFFICIENCY, week, db.table("efficiency"))
        session.lake.write(EFFICIENCY_RECORD, week, db.table("efficiency_record"))
    return session.lake.read(EFFICIENCY, week)


def make_findings(session: Session, week: str) -> pl.DataFrame:
    """everything -> findings, each explained once, and one action a site."""
    with session.database(days_of_findings(week)) as db:
        load_for_findings(db, session, week)
        diagnose(db, week, week_days(week)[6], session.thresholds.rules)
        for name, table in (("clock_day", CLOCK_DAYS), ("outage", OUTAGES)):
            session.lake.write(table, week, db.table(name).filter(pl.col("day_local").is_in(week_days(week))))
        states = _action_states(session, week, db.table("finding"))
        rank_actions(db, states)
        session.lake.write(FINDINGS, week, db.table("finding"))
        session.lake.write(ACTION_STATES, week, states)
        session.lake.write(RULE_OUTCOMES, week, rule_outcomes(states))
        session.lake.write(ACTIONS, week, db.table("action"))
    return session.lake.read(ACTIONS, week)


def days_of_findings(week: str) -> list[date]:
    """The local days that rules may look at: the week and the one before."""
    return [day for name in weeks_back(week, 2) for day in week_days(name)]


def load_for_findings(db: Database, session: Session, week: str) -> None:
    """Load the tables that `diagnosis.run` names, over the days of `days_of_findings`."""
    weeks, days = weeks_back(week, 2), days_of_findings(week)
    for name, table in (("span", SPANS), ("profile", PROFILE), ("daily", DAILY), ("savings", SAVINGS)):
        db.load(name, session.read_weeks(table, weeks))
    for name, table in (("past_daily", DAILY), ("past_level", LEVELS), ("past_savings", SAVINGS)):
        db.load(name, session.read_weeks(table, weeks_back(week, PAST_WEEKS)))
    for name, table in (("past_clock_day", CLOCK_DAYS), ("past_outage", OUTAGES)):
        db.load(name, session.read_weeks(table, weeks_back(week, PAST_WEEKS)[:-1]))
    db.load("loading", session.read_weeks(LOADING, weeks))
    _load_past(db, session, week)
    db.load("past_programme", _past_programmes(session, week))
    db.load("speed_grid", session.lake.read(SPEED_GRID, week))
    db.load("best_plan", session.lake.read(BEST_PLANS, week))
    for name, table in (("efficiency", EFFICIENCY), ("efficiency_record", EFFICIENCY_RECORD)):
        db.load(name, session.lake.read(table, week))
    db.load("fleet_day", pl.DataFrame({"day_local": days, "in_week": [iso_week(day) == week for day in days]}))
    # A clock change is looked for further back than the days that are judged.
    db.load(
        "past_day",
        local_days(session.zones, [day for name in weeks_back(week, PAST_WEEKS) for day in week_days(name)]),
    )
    db.load("export", exports_of(session.ledger, set(weeks)))
    db.load("refused_count", refused_counts(session.ledger, {week}))
    db.load("clock_warning", clock_warnings(session.ledger, set(weeks)))
    _load_verdicts(db, session, week)
    _view_readings(db, session, weeks)
    if not db.table("shared_pump").is_empty():
        db.view("reading", "profile/reading_of_main_log")


def _load_past(db: Database, session: Session, week: str) -> None:
    """The findings of the weeks before, and what people said was done since."""
    held = set(session.lake.weeks(FINDINGS))
    past = [
        session.lake.read(FINDINGS, name).with_columns(week=pl.lit(name))
        for name in weeks_back(week, LOOK_BACK_WEEKS + 1)[:-1]
        if name in held
    ]
    schema = pl.DataFrame(schema=PAST_FINDING)
    db.load("past_finding", pl.concat([schema, *(frame.select(schema.columns) for frame in past)]))
    done = [
        (*event.key, event.day or event.said_on) for event in session.events if event.event in ("fixed", "rejected")
    ]
    db.load("said_done", pl.DataFrame(done, schema=SAID, orient="row"))


def _past_programmes(session: Session, week: str) -> pl.DataFrame:
    """The days of the pumps that ran off their record in the weeks before."""
    held = set(session.lake.weeks(FINDINGS))
    parts = [pl.DataFrame(schema=PAST_PROGRAMME)]
    for name in weeks_back(week, PAST_WEEKS)[:-1]:
        if name in held:
            told = session.lake.read(FINDINGS, name).filter(OFF_RECORD)["component"].unique().to_list()
            rows = session.lake.read(PROFILE, name).filter(pl.col("pump_id").is_in(told), pl.col("quarter") < 96)
            parts.append(rows.with_columns(week=pl.lit(name)).select(list(PAST_PROGRAMME)))
    return pl.concat(parts)


def _action_states(session: Session, week: str, finding: pl.DataFrame) -> pl.DataFrame:
    """What people have said of the findings, against what the readings show since the oldest that is marked fixed."""
    days = week_days(week)
    fixed = [event.day or event.said_on for event in session.events if event.event == "fixed"]
    earlier = [name for name in session.lake.weeks(FINDINGS) if fixed and iso_week(min(fixed)) <= name < week]
    before = [session.lake.read(FINDINGS, name).with_columns(in_week=False) for name in earlier]
    found = pl.concat([finding.with_columns(in_week=True), *before]).filter(verdict="found", explained_by="")
    daily = pl.concat([session.lake.read(DAILY, name) for name in [*earlier, week]])
    believed = daily.group_by("site_id", "day_local").agg(pl.col("believed").all()).filter("believed")
    return action_states(session.events, found, believed.select("site_id", "day_local"), days[6])


def make_site_weeks(session: Session, week: str) -> pl.DataFrame:
    """daily, savings and plans -> one row a site, the fleet roll-up."""
    with session.database(week_days(week)) as db:
        _load_week(db, session, week)
        db.load("savings", session.lake.read(SAVINGS, week))
        db.load("best_plan", session.lake.read(BEST_PLANS, week))
        db.load("doubt", session.lake.read(DOUBTS, week))
        build_site_weeks(db)
        session.lake.write(SITE_WEEKS, week, db.table("site_week"))
    return session.lake.read(SITE_WEEKS, week)


def _load_week(db: Database, session: Session, week: str) -> None:
    """Spans, daily accounts and curves of one week, and its days."""
    days = week_days(week)
    db.load("span", session.lake.read(SPANS, week))
    db.load("daily", session.lake.read(DAILY, week))
    db.load("speed_grid", session.lake.read(SPEED_GRID, week))
    db.load("fleet_day", pl.DataFrame({"day_local": days, "in_week": [True] * 7}))


def _doubts(db: Database, checks: list[Check]) -> pl.DataFrame:
    """Verdicts on units, and critical expectations on a site's days; one phrase a pump."""
    pumps = db.table("pump").select("site_id", "pump_id")
    said = [
        {"site_id": key.split(" ")[0], "doubt": f"not true that {check.meaning}"}
        for check in checks
        if check.critical and not check.success
        for key in check.failing
    ]
    of_sites = (
        pl.DataFrame(said, schema={"site_id": pl.String, "doubt": pl.String})
        .unique("site_id", keep="first", maintain_order=True)
        .join(pumps, on="site_id")
    )
    of_pumps = db.table("pump_doubt").join(pumps, on="pump_id")
    columns = ("site_id", "pump_id", "doubt")
    return DOUBTS.conform(
        pl.concat([of_pumps.select(columns), of_sites.select(columns)]).unique(
            "pump_id", keep="first", maintain_order=True
        )
    )


def _notes(problems: list[Problem]) -> pl.DataFrame:
    """What the curves could not use, so that the review says why a number is missing."""
    rows = [(p.name, p.sentence, p.file or "", p.line, p.site_id or "") for p in problems]
    return pl.DataFrame(rows, schema=NOTES.schema, orient="row")


def _keep(session: Session, week: str, checks: list[Check], replaces: tuple[str, ...]) -> list[Check]:
    others = session.lake.read(CHECKS, week).filter(~pl.col("suite").is_in(replaces))
    session.lake.write(CHECKS, week, pl.concat([others, CHECKS.conform(checks_frame(checks))]))
    return checks
