"""One claim from a period's accounts, the register, the papers, the programme and the exports.

Belongs here: putting together. Every number is another module's.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

import polars as pl

from pumpledger.claims.applied import Facts, in_unit, results
from pumpledger.claims.data import (
    CLAIM_BALANCE,
    CLAIM_DAYS,
    CLAIM_EXCLUSIONS,
    CLAIM_MONTHS,
    CLAIM_PLANS,
    CLAIM_VISITS,
    HOURS_BY_SPEED_MONTH,
    ClaimData,
    ProgrammeResult,
    Totals,
)
from pumpledger.claims.formulas import Inputs
from pumpledger.claims.measured import power_by_speed
from pumpledger.claims.method import method
from pumpledger.claims.papers import PRIVATE, address_of
from pumpledger.claims.past import Line, claim_id, claimed_before
from pumpledger.claims.period import EQUAL, RAW, Period
from pumpledger.claims.programme_data import Programme
from pumpledger.claims.ready import MISSING, NOT_SUPPLIED, YEAR, Known, ready_list
from pumpledger.claims.stipulated import option_of, stipulated
from pumpledger.claims.totals import scatter_terms, total_of, uncertainty_rows
from pumpledger.register.load import Register
from pumpledger.reports.cautions import CAUTIONS

_NAMES = ("site_name", "route")
"""Columns of a site that may name people or places."""
_FEW_DAYS = 90


@dataclass(frozen=True, slots=True)
class Around:
    """What a claim needs beside the accounts: ``papers`` of all pumps, ``earlier`` claims, ``exports`` by site as
    `data.CLAIM_EXPORTS`, weeks whose reviews are out of date, who signs, and versions."""

    register: Register
    papers: pl.DataFrame
    earlier: tuple[Line, ...]
    exports: Mapping[str, pl.DataFrame]
    stale_weeks: tuple[str, ...]
    versions: dict[str, str]
    prepared_by: str = ""
    reviewed_by: str = ""


def assemble(period: Period, site_id: str, programme: Programme | None, around: Around) -> ClaimData:
    """The claim of one site over ``period``. ``site_id`` is a site of the register."""
    register = around.register
    whole = register.site.row(by_predicate=pl.col("site_id") == site_id, named=True)
    pumps = register.pump.filter(pl.col("site_id") == site_id)
    papers = around.papers.filter(pl.col("pump_id").is_in(pumps["pump_id"].to_list()))
    days = CLAIM_DAYS.conform(_of(period.days, site_id))
    months = CLAIM_MONTHS.conform(_of(period.months, site_id))
    exclusions = _exclusions(_of(period.exclusions, site_id), days)
    balance = CLAIM_BALANCE.conform(_of(period.balance, site_id))
    baselines = period.pump_baseline.filter(pl.col("site_id") == site_id)
    scatter = scatter_terms(site_id, papers, baselines, pumps)
    terms = {
        name: [*(term for term in period.terms[name] if term.site_id == site_id), *scatter] for name in (RAW, EQUAL)
    }
    totals = total_of(days, terms, programme)
    facts = Facts(whole, tuple(pumps.join(papers, on="pump_id", how="left").sort("pump_id").iter_rows(named=True)))
    applied = results(programme, _inputs(totals, whole, programme), facts) if programme else []
    ordered = sorted(applied, key=lambda pair: not pair[0].claimed)
    given: tuple[ProgrammeResult, ...] = tuple(result for _, found in ordered for result in found)
    own = claim_id(site_id, programme.key if programme else "", period.first_day, period.last_day)
    doubts = _of(period.doubts, site_id).group_by("pump_id", "doubt").agg(pl.col("week").min()).sort("pump_id", "doubt")
    ready = ready_list(
        Known(
            programme=programme,
            results=given,
            facts=facts,
            papers=papers,
            totals=totals,
            days=days,
            months=months,
            exclusions=exclusions,
            balance=balance,
            doubts=tuple(f"pump {pump}: {doubt} (from {week})" for pump, doubt, week in doubts.iter_rows()),
            missing_weeks=period.missing_weeks,
            stale_weeks=tuple(week for week in period.weeks if week in around.stale_weeks),
            earlier=tuple(claimed_before(around.earlier, site_id, period.first_day, period.last_day, own)),
            fleet_units=register.units,
            prepared_by=around.prepared_by,
            reviewed_by=around.reviewed_by,
            first_day=period.first_day,
            last_day=period.last_day,
            season=str(whole["season"]),
        )
    )
    option, reason = option_of(pumps, papers, totals.computed_kwh)
    return ClaimData(
        claim_id=own,
        programme=programme,
        programme_results=given,
        fleet_name=register.name,
        made_up=register.made_up,
        site={name: value for name, value in whole.items() if name not in _NAMES},
        private={
            **{name: str(whole[name] or "") for name in _NAMES},
            **{name: address_of(papers, name) for name in PRIVATE},
            "prepared_by": around.prepared_by,
            "reviewed_by": around.reviewed_by,
        },
        pumps=pumps.join(papers.drop(PRIVATE), on="pump_id", how="left").sort("pump_id"),
        first_day=period.first_day,
        last_day=period.last_day,
        zone=str(whole["zone"]),
        units=register.units,
        currency=register.currency,
        meter_accuracy=register.meter_accuracy,
        option=option,
        option_reason=reason,
        is_ready=not (ready["state"] == MISSING).any(),
        ready=ready,
        totals=totals,
        days=days,
        months=months,
        exclusions=exclusions,
        power_by_speed=power_by_speed(period.levels.filter(pl.col("pump_id").is_in(pumps["pump_id"].to_list()))),
        hours_by_speed_month=HOURS_BY_SPEED_MONTH.conform(_of(period.hours, site_id)),
        balance=balance,
        stipulated=stipulated(whole, pumps, baselines, totals.raw.mid if totals.raw else None, programme),
        uncertainty=uncertainty_rows(terms),
        plans=plans_of(register.plan.filter(pl.col("pump_id").is_in(pumps["pump_id"].to_list())), period),
        visits=_visits(register.visit, site_id, period.last_day),
        exports=around.exports[site_id],
        method=method(totals, programme, applied),
        weeks=period.weeks,
        missing_weeks=period.missing_weeks,
        labels=tuple(labels(totals, programme, register.made_up, facts)),
        versions={**around.versions, **({programme.file: programme.sha256} if programme else {})},
        cautions=tuple(f"{topic}: {text}" for topic, text in CAUTIONS),
    )


def _of(frame: pl.DataFrame, site_id: str) -> pl.DataFrame:
    return frame.filter(pl.col("site_id") == site_id).drop("site_id")


def _exclusions(rows: pl.DataFrame, days: pl.DataFrame) -> pl.DataFrame:
    """The accounts' reasons, and those of days that the claim alone leaves out."""
    out = days.filter(pl.col("state") != "counted").join(rows, on="day_local", how="anti")
    added = out.select(
        "day_local",
        "reason",
        place=pl.lit(99),
        kind=pl.when(pl.col("state") == "not reviewed").then(pl.lit("not reviewed")).otherwise(pl.lit("coverage")),
        minutes=pl.col("day_min") - pl.col("observed_min").fill_null(0.0),
        excluded_min="day_min",
    )
    return CLAIM_EXCLUSIONS.conform(pl.concat([CLAIM_EXCLUSIONS.conform(rows), CLAIM_EXCLUSIONS.conform(added)]))


def _inputs(totals: Totals, site: dict[str, object], programme: Programme | None) -> Inputs:
    unit = "gal" if programme and programme.units == "us" else "L"
    known = totals.counted_days > 0
    return Inputs(
        baseline_kwh=totals.baseline_kwh if known else None,
        energy_kwh=totals.energy_kwh if known else None,
        equal_kwh=totals.equal.mid if totals.equal and totals.equal_days == totals.counted_days else None,
        counted_days=totals.counted_days,
        volume=in_unit(float(str(site["pool_volume_m3"])), "m3", unit),
        measured_peak_kw=totals.measured_peak_kw,
        baseline_peak_kw=totals.baseline_peak_kw,
    )


def plans_of(plans: pl.DataFrame, period: Period) -> pl.DataFrame:
    """`data.CLAIM_PLANS`: the newest plan on record by the first day, those keyed in later, and the newest by the last."""
    first, last = period.first_day, period.last_day

    def newest(by: date) -> pl.DataFrame:
        held = plans.filter(pl.col("valid_from") <= by)
        return held.filter(pl.col("valid_from") == pl.col("valid_from").max().over("pump_id"))

    changed = plans.filter((pl.col("valid_from") > first) & (pl.col("valid_from") <= last))
    named = [newest(first).with_columns(pl.lit("found").alias("as")),
             changed.with_columns(pl.lit("changed").alias("as")),
             newest(last).with_columns(pl.lit("left").alias("as"))]  # fmt: skip
    return CLAIM_PLANS.conform(pl.concat(named).select(*CLAIM_PLANS.columns))


def _visits(visits: pl.DataFrame, site_id: str, last: date) -> pl.DataFrame:
    rows = visits.filter((pl.col("site_id") == site_id) & (pl.col("day_local") <= last))
    return CLAIM_VISITS.conform(rows.select(*CLAIM_VISITS.columns))


def labels(totals: Totals, programme: Programme | None, made_up: bool, facts: Facts) -> list[str]:
    """Sentences that every document of the claim prints."""
    found = []
    if made_up:
        found.append("The data of this fleet are made up.")
    if programme is None:
        found.append(f"{NOT_SUPPLIED[0].upper()}{NOT_SUPPLIED[1:]}: these are accounts, and nothing is claimed.")
    elif programme.made_up:
        found.append("The programme is invented.")
    if totals.days < YEAR:
        found.append(f"The period is {totals.days} days, part of a year. No figure is scaled to a year.")
    if totals.counted_days < _FEW_DAYS:
        found.append(f"Fewer than {_FEW_DAYS} days count ({totals.counted_days}).")
    found.append(
        f"Totals are of the {totals.counted_days} of {totals.days} days that count; no saving is given for the others."
    )
    if totals.equal_days and totals.equal_days != totals.counted_days:
        found.append(f"The equal-volume saving is of {totals.equal_days} of these days.")
    if any(pump.get("baseline_evidence") != "measured" for pump in facts.pumps):
        found.append("The power of the former pump is taken from record and was not measured.")
    found.append("Compliance with any rule or code: not assessed.")
    return [*found, *(programme.notes if programme else ())]
