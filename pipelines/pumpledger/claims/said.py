"""A claim in lines for the terminal: the ready list first, then the totals.

Belongs here: wording. Numbers are the claim's; energy is in kWh in every system of units.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import polars as pl

from pumpledger.claims.data import ClaimData, Interval
from pumpledger.claims.ready import MET


def claim_lines(claim: ClaimData) -> Iterator[str]:
    """Everything that is printed of one claim."""
    yield f"Claim {claim.claim_id}, site {claim.site['site_id']}, {claim.first_day} to {claim.last_day}: {claim.verdict}"
    for row in claim.ready.iter_rows(named=True):
        fix = f" Mend it in: {row['fix']}" if row["state"] != MET and row["fix"] else ""
        yield f"  {row['state']:<8} {row['requirement']}: {row['sentence']}{'.' if fix else ''}{fix}"
    t = claim.totals
    yield f"  Days that count: {t.counted_days} of {t.days} ({t.share:.0%})"
    yield f"  Energy: {t.measured_kwh:,.1f} kWh measured, {t.computed_kwh:,.1f} kWh computed; baseline {t.baseline_kwh:,.1f} kWh"
    yield f"  Raw saving: {_interval(t.raw, 'kWh')}{_money(t.raw_money, claim.currency)}"
    yield f"  Equal-volume saving: {_interval(t.equal, 'kWh')}{_money(t.equal_money, claim.currency)}"
    if t.measured_peak_kw is not None and t.baseline_peak_kw is not None:
        yield f"  In the peak window, over {t.peak_days} days: {t.measured_peak_kw:.3f} kW against {t.baseline_peak_kw:.3f} kW"
    if t.uncertainty_90 is not None and t.uncertainty_68 is not None:
        yield f"  Uncertainty: {t.uncertainty_90:.1%} at 90 %, {t.uncertainty_68:.1%} at 68 %; largest: {t.largest_term}"
    for result in claim.programme_results:
        value = "cannot be computed" if result.value is None else f"{result.value:,.4g} {result.unit}"
        yield f"  By the programme, {result.name}: {value}{f' ({result.capped})' if result.capped else ''}"
    yield f"  Option {claim.option}: {claim.option_reason}"
    yield from (f"  {label}" for label in claim.labels)


def batch_lines(claims: Sequence[ClaimData], portfolio: pl.DataFrame, plan: pl.DataFrame) -> Iterator[str]:
    """A batch in a few lines: how many are ready, what is missing most often, the sums, the sample."""
    ready = sum(claim.is_ready for claim in claims)
    yield f"{len(claims)} claims: {ready} READY, {len(claims) - ready} NOT READY"
    missing = pl.concat(claim.ready.filter(pl.col("state") == "missing").select("requirement") for claim in claims)
    counted = missing.group_by("requirement").len().sort(["len", "requirement"], descending=[True, False])
    for requirement, count in counted.iter_rows():
        yield f"  missing at {count}: {requirement}"
    for row in portfolio.iter_rows(named=True):
        interval = Interval(row["lo_kwh"], row["mid_kwh"], row["hi_kwh"])
        yield f"  {row['scope'].capitalize()}, {row['quantity']} of {row['sites']}: {_interval(interval, 'kWh')}. {row['sentence']}"
    for row in plan.iter_rows(named=True):
        yield (
            f"  Sample: {row['size']} of {row['population']} ready claims at {row['confidence']:.0%} and "
            f"\u00b1{row['precision']:.0%}, seed {row['seed']}: {row['drawn'] or 'none'}"
        )


def _interval(value: Interval | None, unit: str) -> str:
    return "cannot tell" if value is None else f"{value.mid:,.1f} {unit} ({value.lo:,.1f} to {value.hi:,.1f}, 90 %)"


def _money(value: Interval | None, currency: str) -> str:
    return "" if value is None else f", {value.mid:,.2f} {currency} ({value.lo:,.2f} to {value.hi:,.2f})"
