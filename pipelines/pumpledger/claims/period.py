"""The accounts of a period, for all its sites at once: from the lake's weekly tables to frames with a row a site and day.

Belongs here: reading weeks, cutting them to the period, adding them up by the queries of `sql/claims`. What a claim says of
one site is put together in `assemble.py`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta

import polars as pl

from pumpledger.accounting.fleet_uncertainty import Term
from pumpledger.accounting.savings import build_baseline_day
from pumpledger.claims.programme_data import Programme
from pumpledger.engine.account_tables import BALANCE, LEVELS
from pumpledger.engine.database import Database
from pumpledger.engine.lake import Lake
from pumpledger.engine.schema import Table
from pumpledger.engine.tables import DAILY, DOUBTS, EXCLUSIONS, PROFILE, SAVINGS, SPANS, SPEED_GRID
from pumpledger.profile.calendar import iso_week, local_days
from pumpledger.register.load import Register

RAW, EQUAL = "raw saving", "equal-volume saving"
Held = Callable[[Table, str, str], pl.DataFrame]
"""(table, its column of sites or pumps, week) -> the rows of the claim's sites and days."""
_LEAST_COVERAGE = 0.0
"""Without a programme the accounts' own rule stands, which has been applied already."""


@dataclass(frozen=True, slots=True)
class Period:
    """Frames of `data.CLAIM_TABLES` with ``site_id`` before their columns, over all sites; ``terms``: quantity -> terms."""

    first_day: date
    last_day: date
    weeks: tuple[str, ...]
    missing_weeks: tuple[str, ...]
    days: pl.DataFrame
    months: pl.DataFrame
    exclusions: pl.DataFrame
    levels: pl.DataFrame
    hours: pl.DataFrame
    balance: pl.DataFrame
    pump_baseline: pl.DataFrame
    doubts: pl.DataFrame
    terms: dict[str, list[Term]]


def period_days(first: date, last: date) -> list[date]:
    """Every day from ``first`` to ``last``, both included."""
    return [first + timedelta(days=step) for step in range((last - first).days + 1)]


def load_period(
    lake: Lake, register: Register, sites: list[str], first: date, last: date, programme: Programme | None
) -> Period:
    """The accounts of ``sites`` from ``first`` to ``last``, local days, as the lake holds them.

    Args:
        programme: whose least coverage and peak window hold; None: those of the accounts and the tariff.
    """
    days = period_days(first, last)
    weeks = sorted({iso_week(day) for day in days})
    reviewed = [week for week in weeks if lake.path(SAVINGS.name, week).exists()]
    site = register.site.filter(pl.col("site_id").is_in(sites))
    pump = register.pump.filter(pl.col("site_id").is_in(sites))
    with Database() as db:
        db.load("site", site)
        db.load("pump", pump)
        calendar = local_days(sorted(site["zone"].unique()), days)
        db.load(
            "period_day",
            site.select("site_id", "zone")
            .join(calendar, on="zone")
            .select("site_id", "day_local", "day_min", week="iso_week"),
        )
        db.load("reviewed_week", pl.DataFrame({"week": reviewed}, schema={"week": pl.String}))

        def held(table: Table, key: str, week: str) -> pl.DataFrame:
            known = set(sites) if key == "site_id" else set(pump["pump_id"])
            rows = lake.read(table, week).filter(pl.col(key).is_in(known))
            if "day_local" in table.columns:
                rows = rows.filter(pl.col("day_local").is_between(first, last))
            return rows

        def every(table: Table, key: str = "site_id") -> pl.DataFrame:
            return pl.concat([table.empty(), *(held(table, key, week) for week in reviewed)])

        baselines = _baselines(db, reviewed, held)
        for name, table in (("savings", SAVINGS), ("daily", DAILY), ("balance", BALANCE), ("span", SPANS)):
            db.load(name, every(table))
        db.load("baseline_day", baselines)
        _load_peak(db, programme, every)
        least = programme.least_day_coverage if programme else _LEAST_COVERAGE
        own_window = programme is not None and programme.peak is not None
        db.build("claim_day", "claims/claim_day", {"least_coverage": least, "own_window": own_window})
        doubts = [held(DOUBTS, "site_id", week).with_columns(week=pl.lit(week)) for week in reviewed]
        return Period(
            first_day=first,
            last_day=last,
            weeks=tuple(weeks),
            missing_weeks=tuple(week for week in weeks if week not in reviewed),
            days=db.table("claim_day"),
            months=db.query("claims/claim_month"),
            exclusions=every(EXCLUSIONS),
            levels=every(LEVELS, "pump_id"),
            hours=db.query("claims/hours_by_speed_month"),
            balance=db.query("claims/claim_balance"),
            pump_baseline=db.query("claims/pump_baseline"),
            doubts=pl.concat([DOUBTS.empty().with_columns(week=pl.lit("")), *doubts]),
            terms=_terms(db, register.meter_accuracy, reviewed, baselines, held),
        )


def _baselines(db: Database, weeks: list[str], held: Held) -> pl.DataFrame:
    """``baseline_day`` of all weeks: each week's own speed grid gave the flow of the former pump."""
    frames = []
    for week in weeks or [""]:
        db.load("speed_grid", held(SPEED_GRID, "pump_id", week))
        db.load("daily", held(DAILY, "site_id", week))
        build_baseline_day(db)
        frames.append(db.table("baseline_day"))
    return pl.concat(frames)


def _load_peak(db: Database, programme: Programme | None, every: Callable[[Table], pl.DataFrame]) -> None:
    window = programme.peak if programme else None
    if window is None:
        empty = {
            "site_id": pl.String,
            "day_local": pl.Date,
            "measured_peak_kw": pl.Float64,
            "baseline_peak_kw": pl.Float64,
        }
        db.load("peak_day", pl.DataFrame(schema=empty))
        return
    db.load("profile", every(PROFILE))
    bounds = {"start_min": window.start_min, "stop_min": window.stop_min}
    db.build("peak_day", "claims/peak_day", {"months": [*window.months], "weekdays": [*window.weekdays]} | bounds)
    db.drop("profile")


def _terms(
    db: Database, accuracy: float, weeks: list[str], baselines: pl.DataFrame, held: Held
) -> dict[str, list[Term]]:
    """The accounts' own terms over the days that the claim counts, which may be fewer than the accounts count."""
    found: dict[str, list[Term]] = {RAW: [], EQUAL: []}
    days = db.table("claim_day")
    counted = days.select("site_id", "day_local", counted=pl.col("state") == "counted")
    db.load("savings", counted)
    for week in weeks:
        of_week = days.filter(pl.col("week") == week)["day_local"].unique()
        db.load("baseline_day", baselines.filter(pl.col("day_local").is_in(of_week.implode())))
        db.load("speed_grid", held(SPEED_GRID, "pump_id", week))
        for quantity, *rest in db.query("accounting/fleet_terms", {"meter_accuracy": accuracy}).iter_rows():
            if quantity in found:
                found[quantity].append(Term(*rest))
    return found
