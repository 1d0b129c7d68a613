"""A claim's sums over its counted days, with their intervals.

Belongs here: adding up days and terms of one site. Missing days add nothing and are never filled or scaled.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

import polars as pl

from pumpledger.accounting.fleet_uncertainty import Term
from pumpledger.claims.data import UNCERTAINTY, Interval, Totals
from pumpledger.claims.period import EQUAL, RAW
from pumpledger.claims.programme_data import Programme
from pumpledger.claims.sufficiency import LEAST_SHARE, enough_days
from pumpledger.claims.uncertainty import at_68, baseline_scatter_share, half_widths, site_parts

SCATTER = "baseline, day to day"
_ACCOUNTS = (
    "first-order sum of the accounts' 90 % half-widths: terms of one kind add straight over days and pumps, kinds add as "
    "the root of their squares (JCGM 100:2008, 5.1 and 5.2.2)"
)
_WITH_SCATTER = (
    "; the scatter of the metered baseline adds by ASHRAE Guideline 14: t 1.26 CV sqrt((n / n')(1 + 2 / n') / m)"
)


def scatter_terms(site_id: str, papers: pl.DataFrame, pump_baseline: pl.DataFrame, pumps: pl.DataFrame) -> list[Term]:
    """The terms of baselines that were metered themselves: where days, scatter and autocorrelation are all entered."""
    found = []
    evidence = dict(pumps.select("pump_id", "baseline_evidence").iter_rows())
    known = papers.drop_nulls(["baseline_days", "baseline_cv", "baseline_autocorrelation"])
    for row in pump_baseline.join(known, on="pump_id").sort("pump_id").iter_rows(named=True):
        if evidence.get(row["pump_id"]) != "measured" or not row["baseline_kwh"]:
            continue
        share = baseline_scatter_share(
            row["baseline_days"], row["days"], row["baseline_cv"], row["baseline_autocorrelation"]
        )
        width = share * row["baseline_kwh"]
        found.append(Term(site_id, f"{SCATTER} {row['pump_id']}", "", width, width))
    return found


def uncertainty_rows(terms: dict[str, list[Term]]) -> pl.DataFrame:
    """`data.UNCERTAINTY` of one site."""
    rows = [
        (
            quantity,
            place,
            term.kind,
            "common" if term.shared else "independent",
            term.shared,
            term.below,
            term.above,
            width,
        )
        for quantity in (RAW, EQUAL)
        for place, (term, width) in enumerate(site_parts(terms.get(quantity, [])), start=1)
    ]
    return UNCERTAINTY.conform(pl.DataFrame(rows, schema=UNCERTAINTY.schema, orient="row"))


def total_of(days: pl.DataFrame, terms: dict[str, list[Term]], programme: Programme | None) -> Totals:
    """The sums over ``days`` (`data.CLAIM_DAYS`) that are counted."""
    counted = days.filter(pl.col("state") == "counted")
    share = programme.least_share_of_days if programme else LEAST_SHARE
    enough, sentence = enough_days(days.height, counted.height, share, programme.least_days if programme else 0)
    raw = _interval(counted["raw_kwh_mid"], terms.get(RAW, []))
    equal = _interval(counted["equal_kwh_mid"], terms.get(EQUAL, []))
    equal_counted = counted.drop_nulls("equal_kwh_mid")
    priced = counted.drop_nulls("raw_money_mid")
    peak = counted.filter(pl.col("peak") == "in the peak window")
    parts = site_parts(terms.get(RAW, []))
    largest = f"{parts[0][0].kind}, \u00b1{parts[0][1]:.1f} kWh" if parts else "none"
    scattered = any(term.kind.startswith(SCATTER) for term in terms.get(RAW, []))
    widths = [_share(value) for value in (raw, equal)]
    return Totals(
        days=days.height,
        counted_days=counted.height,
        share=counted.height / days.height if days.height else 0.0,
        sufficient=enough,
        sufficiency=sentence,
        measured_kwh=_sum(counted["measured_kwh"]),
        computed_kwh=_sum(counted["computed_kwh"]),
        energy_kwh=_sum(counted["energy_kwh_mid"]),
        baseline_kwh=_sum(counted["baseline_kwh"]),
        raw=raw,
        equal=equal,
        equal_days=equal_counted.height,
        raw_money=_money(priced, "raw"),
        equal_money=_money(counted.drop_nulls("equal_money_mid"), "equal"),
        money_days=priced.height,
        measured_peak_kw=_mean(peak["measured_peak_kw"]),
        baseline_peak_kw=_mean(peak["baseline_peak_kw"]),
        peak_days=peak.height,
        uncertainty_90=widths[0],
        uncertainty_68=at_68(widths[0]) if widths[0] is not None else None,
        equal_uncertainty_90=widths[1],
        equal_uncertainty_68=at_68(widths[1]) if widths[1] is not None else None,
        largest_term=largest,
        uncertainty_method=_ACCOUNTS + (_WITH_SCATTER if scattered else ""),
    )


def _sum(values: pl.Series) -> float:
    return math.fsum(values.drop_nulls())


def _mean(values: pl.Series) -> float | None:
    known = values.drop_nulls()
    return math.fsum(known) / known.len() if known.len() else None


def _interval(values: pl.Series, terms: Iterable[Term]) -> Interval | None:
    known = values.drop_nulls()
    if not known.len():
        return None
    below, above = half_widths(terms)
    middle = math.fsum(known)
    return Interval(middle - below, middle, middle + above)


def _money(rows: pl.DataFrame, kind: str) -> Interval | None:
    """Bounds of the days added: a tariff prices each day's bounds, and days of one site err alike."""
    if rows.is_empty():
        return None
    return Interval(*(_sum(rows[f"{kind}_money_{end}"]) for end in ("lo", "mid", "hi")))


def _share(value: Interval | None) -> float | None:
    """Mean half-width of the interval, as a share of a saving above 0."""
    return (value.hi - value.lo) / 2 / value.mid if value is not None and value.mid > 0 else None
