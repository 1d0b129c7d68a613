"""Several claims of one call: a line each, their sums with an interval, and the sample for checks on site.

Belongs here: adding up over sites. What sites share, such as the class of their meters, adds straight and does not shrink
with their number; what is each site's own adds in quadrature.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import polars as pl

from pumpledger.accounting.fleet_uncertainty import Term, words
from pumpledger.claims.data import ClaimData
from pumpledger.claims.period import EQUAL, RAW
from pumpledger.claims.programme_data import Programme
from pumpledger.claims.ready import MISSING
from pumpledger.claims.sampling import draw, sample_size
from pumpledger.claims.uncertainty import portfolio
from pumpledger.engine.schema import Table

BATCH = Table(
    "batch",
    "one claim",
    ("site_id",),
    {
        "claim_id": ("text", "the claim, and its folder"),
        "site_id": ("text", "site"),
        "verdict": ("text", "READY or NOT READY"),
        "missing": ("text", "what is missing, separated by semicolons; empty when ready"),
        "days": ("int", "days of the period"),
        "counted_days": ("int", "days that count"),
        "raw_kwh_lo": ("real", "raw saving, low [kWh]; null cannot tell"),
        "raw_kwh_mid": ("real", "raw saving [kWh]"),
        "raw_kwh_hi": ("real", "raw saving, high [kWh]"),
        "equal_kwh_lo": ("real", "equal-volume saving, low [kWh]; null cannot tell"),
        "equal_kwh_mid": ("real", "equal-volume saving [kWh]"),
        "equal_kwh_hi": ("real", "equal-volume saving, high [kWh]"),
        "result": ("real", "what the programme pays by; null no programme or cannot be computed"),
        "result_unit": ("text", "its unit"),
        "sampled": ("bool", "drawn for a check on site"),
    },
)

PORTFOLIO = Table(
    "portfolio",
    "one sum over the claims of a batch",
    ("scope", "quantity"),
    {
        "scope": ("text", "ready claims, or all claims"),
        "quantity": ("text", "raw saving or equal-volume saving"),
        "sites": ("int", "sites with a saving in it"),
        "lo_kwh": ("real", "the sum, low [kWh], 90 %"),
        "mid_kwh": ("real", "the sum [kWh]"),
        "hi_kwh": ("real", "the sum, high [kWh]"),
        "sentence": ("text", "where its uncertainty comes from"),
    },
)

SAMPLING = Table(
    "sampling",
    "the sampling plan, where the programme asks for one",
    ("population",),
    {
        "population": ("int", "ready claims"),
        "confidence": ("real", "as the programme asks"),
        "precision": ("real", "half-width asked for, share of the mean"),
        "cv": ("real", "expected spread between sites, share of the mean"),
        "seed": ("int", "draws the sample"),
        "size": ("int", "claims to be looked at"),
        "drawn": ("text", "their sites, separated by semicolons"),
    },
)


def sampling_plan(claims: Sequence[ClaimData], programme: Programme | None) -> pl.DataFrame:
    """`SAMPLING` over the ready claims; no row where the programme asks for none."""
    if programme is None or not programme.sampling:
        return SAMPLING.empty()
    asked = programme.sampling
    sites = [str(claim.site["site_id"]) for claim in claims if claim.is_ready]
    size = sample_size(len(sites), asked["confidence"], asked["precision"], asked["cv"])
    drawn = draw(sites, size, int(asked["seed"]))
    row = (len(sites), asked["confidence"], asked["precision"], asked["cv"], int(asked["seed"]), size, "; ".join(drawn))
    return SAMPLING.conform(pl.DataFrame([row], schema=SAMPLING.schema, orient="row"))


def batch_rows(claims: Sequence[ClaimData], plan: pl.DataFrame) -> pl.DataFrame:
    """`BATCH` of ``claims``."""
    drawn = set(plan["drawn"][0].split("; ")) if plan.height else set()
    rows = []
    for claim in claims:
        raw, equal, site = claim.totals.raw, claim.totals.equal, str(claim.site["site_id"])
        paid = claim.programme_results[0] if claim.programme_results else None
        rows.append(
            (
                claim.claim_id,
                site,
                claim.verdict,
                "; ".join(claim.ready.filter(state=MISSING)["requirement"]),
                claim.totals.days,
                claim.totals.counted_days,
                *((raw.lo, raw.mid, raw.hi) if raw else (None,) * 3),
                *((equal.lo, equal.mid, equal.hi) if equal else (None,) * 3),
                paid.value if paid else None,
                paid.unit if paid else "",
                site in drawn,
            )
        )
    return BATCH.conform(pl.DataFrame(rows, schema=BATCH.schema, orient="row"))


def portfolio_rows(claims: Sequence[ClaimData]) -> pl.DataFrame:
    """`PORTFOLIO`: sums over the ready claims and over all of them."""
    rows = []
    for scope, chosen in (("ready claims", [c for c in claims if c.is_ready]), ("all claims", list(claims))):
        for quantity in (RAW, EQUAL):
            known = [c for c in chosen if (c.totals.raw if quantity == RAW else c.totals.equal) is not None]
            if not known:
                continue
            found, below, above = portfolio(term for claim in known for term in terms_of(claim, quantity))
            middle = math.fsum(
                interval.mid
                for claim in known
                if (interval := claim.totals.raw if quantity == RAW else claim.totals.equal) is not None
            )
            said = words(found, below, above)
            rows.append((scope, quantity, len(known), middle - below, middle, middle + above, said))
    return PORTFOLIO.conform(pl.DataFrame(rows, schema=PORTFOLIO.schema, orient="row"))


def terms_of(claim: ClaimData, quantity: str) -> list[Term]:
    """The terms of one claim, as its table of uncertainty lists them."""
    site = str(claim.site["site_id"])
    rows = claim.uncertainty.filter(pl.col("quantity") == quantity).iter_rows(named=True)
    return [Term(site, row["term"], row["shared"], row["below_kwh"], row["above_kwh"]) for row in rows]
