"""The assets, one per arrow of the flow, each calling one step; the suites are their asset checks.

Belongs here: names, order, partitions, metadata. The command line materialises these same assets in process.
No postponed annotations here: Dagster reads the types of an asset's arguments.
"""

from collections.abc import Sequence

import dagster as dg
import polars as pl

from pumpledger.engine.expectations import Check
from pumpledger.engine.tables import BEST_PLANS, DAILY, FINDINGS, PROFILE, SAVINGS
from pumpledger.intake.rules import FATES
from pumpledger.orchestration import steps
from pumpledger.orchestration.charts import bar_chart
from pumpledger.orchestration.proposing import make_proposals
from pumpledger.orchestration.publish import publish_review
from pumpledger.orchestration.resource import Fleet

WEEKS = dg.DynamicPartitionsDefinition(name="iso_week")
"""ISO weeks such as 2026-W44, added as readings arrive; a site is a column, never a partition."""


@dg.asset(
    check_specs=[
        dg.AssetCheckSpec(
            "conservation",
            asset="exports",
            blocking=True,
            description="every data row ends in exactly one of the fates",
        ),
        dg.AssetCheckSpec(
            "file_profile", asset="exports", description="expectations/file_profile.json on the new files"
        ),
    ]
)
def exports(fleet: dg.ResourceParam[Fleet]) -> dg.MaterializeResult:
    """inbox/ -> readings, refused rows and the ledger."""
    with fleet.locked() as session:
        intake = session.take_inbox()
    sums = intake.sums()
    fates = {fate: sums[fate] for fate in FATES}
    return dg.MaterializeResult(
        metadata={
            "dagster/row_count": sums["readings"],
            "files_in_ledger": intake.exports.height,
            "taken_now": intake.taken,
            "data_rows": sums["data_rows"],
            "problems": [str(problem) for problem in intake.problems],
            "rows_by_fate": bar_chart("rows by fate", fates),
        },
        check_results=[
            dg.AssetCheckResult(
                passed=sums["data_rows"] == sum(fates.values()), check_name="conservation", metadata=sums
            ),
            *_check_results(intake.checks, ("file_profile",)),
        ],
    )


@dg.asset(partitions_def=WEEKS, deps=[exports])
def verdicts(context: dg.AssetExecutionContext, fleet: dg.ResourceParam[Fleet]) -> dg.MaterializeResult:
    """readings -> doubts about whole sources and single logs."""
    with fleet.locked() as session:
        rows = steps.make_verdicts(session, context.partition_key)
    return _result(rows.height, _sums(rows, "mode", "pumps"), "pumps in doubt by mode")


@dg.asset(partitions_def=WEEKS, deps=[verdicts])
def spans(context: dg.AssetExecutionContext, fleet: dg.ResourceParam[Fleet]) -> dg.MaterializeResult:
    """readings -> spans, each with its cause."""
    with fleet.locked() as session:
        rows = steps.make_spans(session, context.partition_key)
    return _result(
        rows.height, _sums(rows.with_columns(hours=pl.col("duration_min") / 60), "cause", "hours"), "hours by cause"
    )


@dg.asset(
    partitions_def=WEEKS,
    deps=[spans],
    check_specs=[
        dg.AssetCheckSpec(
            "site_days", asset="daily", description="expectations/site_days.json on each site's local days"
        ),
        dg.AssetCheckSpec("daily", asset="daily", description="expectations/daily.json on the daily accounts"),
    ],
)
def daily(context: dg.AssetExecutionContext, fleet: dg.ResourceParam[Fleet]) -> dg.MaterializeResult:
    """spans -> quarter-hour profile, turnover and kWh of each local day."""
    week = context.partition_key
    with fleet.locked() as session:
        checks = steps.make_daily(session, week)
        rows, quarters = session.lake.read(DAILY, week), session.lake.read(PROFILE, week).height
    return _result(
        rows.height,
        _sums(rows, "day_local", "energy_kwh_mid"),
        "kWh a day",
        checks,
        ("site_days", "daily"),
        quarter_hours=quarters,
    )


@dg.asset(
    partitions_def=WEEKS,
    deps=[daily],
    check_specs=[dg.AssetCheckSpec("savings", asset="savings", description="expectations/savings.json")],
)
def savings(context: dg.AssetExecutionContext, fleet: dg.ResourceParam[Fleet]) -> dg.MaterializeResult:
    """daily accounts -> raw and equal-volume savings of each site and day."""
    week = context.partition_key
    with fleet.locked() as session:
        checks = steps.make_savings(session, week)
        rows = session.lake.read(SAVINGS, week)
    counted = rows.filter("counted")
    return _result(
        rows.height,
        _sums(counted, "day_local", "equal_kwh_mid"),
        "equal-volume kWh saved a day",
        checks,
        ("savings",),
        counted=counted.height,
    )


@dg.asset(partitions_def=WEEKS, deps=[daily])
def schedule(context: dg.AssetExecutionContext, fleet: dg.ResourceParam[Fleet]) -> dg.MaterializeResult:
    """register and curves -> the simple best plan of each pump."""
    with fleet.locked() as session:
        rows = steps.make_schedule(session, context.partition_key)
    return _result(
        rows.height,
        _counts(rows.with_columns(pl.col("withheld").replace("", "given")), "withheld"),
        f"{BEST_PLANS.name} by outcome",
    )


@dg.asset(partitions_def=WEEKS, deps=[daily])
def efficiency(context: dg.AssetExecutionContext, fleet: dg.ResourceParam[Fleet]) -> dg.MaterializeResult:
    """spans and curves -> volume per energy of each pump at each speed it held, and its efficiency record."""
    with fleet.locked() as session:
        rows = steps.make_efficiency(session, context.partition_key)
    return _result(rows.height, _counts(rows, "gate"), "speeds by plausibility")


@dg.asset(partitions_def=WEEKS, deps=[savings, schedule, efficiency])
def findings(context: dg.AssetExecutionContext, fleet: dg.ResourceParam[Fleet]) -> dg.MaterializeResult:
    """everything -> findings, each explained once, and one action a site."""
    week = context.partition_key
    with fleet.locked() as session:
        actions = steps.make_findings(session, week)
        rows = session.lake.read(FINDINGS, week)
    found = rows.filter(pl.col("verdict") == "found")
    return _result(rows.height, _counts(found, "name"), "findings by rule", actions=actions.height)


@dg.asset(partitions_def=WEEKS, deps=[findings])
def proposals(context: dg.AssetExecutionContext, fleet: dg.ResourceParam[Fleet]) -> dg.MaterializeResult:
    """findings and curves -> the cheapest plan, with its proof, where the plan is in question."""
    with fleet.locked() as session:
        rows = make_proposals(session, context.partition_key)
    return _result(rows.height, _counts(rows, "state"), "proposals by state")


@dg.asset(partitions_def=WEEKS, deps=[findings, proposals, efficiency])
def review(context: dg.AssetExecutionContext, fleet: dg.ResourceParam[Fleet]) -> dg.MaterializeResult:
    """all tables -> reports/<week>/: the fleet page, a page a site, the tables as CSV."""
    week = context.partition_key
    with fleet.locked() as session:
        site_weeks = steps.make_site_weeks(session, week)
        path = publish_review(session, week)
        session.mark_built(week)
    states = {
        "reporting": site_weeks["reporting"].sum(),
        "believable": site_weeks["believable"].sum(),
        "in the register": site_weeks.height,
    }
    return _result(site_weeks.height, states, "sites", page=dg.MetadataValue.path(path))


WEEK_ASSETS = (verdicts, spans, daily, savings, schedule, efficiency, findings, proposals, review)


def _result(
    rows: int,
    chart: dict[str, float],
    title: str,
    checks: Sequence[Check] = (),
    suites: Sequence[str] = (),
    **metadata: object,
) -> dg.MaterializeResult:
    return dg.MaterializeResult(
        metadata={"dagster/row_count": rows, title.replace(" ", "_"): bar_chart(title, chart), **metadata},
        check_results=_check_results(checks, suites),
    )


def _check_results(checks: Sequence[Check], suites: Sequence[str]) -> list[dg.AssetCheckResult]:
    """One result a suite. Data that fails sets its own site or file aside and nothing else, so no suite blocks."""
    results = []
    for suite in suites:
        own = [check for check in checks if check.suite == suite]
        failed = [check for check in own if not check.success]
        critical = any(check.critical for check in failed)
        results.append(
            dg.AssetCheckResult(
                passed=not failed,
                check_name=suite,
                severity=dg.AssetCheckSeverity.ERROR if critical else dg.AssetCheckSeverity.WARN,
                metadata={
                    "expectations": len(own),
                    "failed": [
                        f"{check.meaning}: {', '.join(check.failing[:20]) or check.observed}" for check in failed
                    ],
                },
            )
        )
    return results


def _sums(rows: pl.DataFrame, key: str, value: str) -> dict[str, float]:
    return {
        str(name): float(total) for name, total in rows.group_by(key).agg(pl.col(value).sum()).sort(key).iter_rows()
    }


def _counts(rows: pl.DataFrame, key: str) -> dict[str, float]:
    return {str(name): float(count) for name, count in rows.group_by(key).len().sort(key).iter_rows()}
