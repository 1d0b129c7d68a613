"""How far a period's saving may be off: scatter of a baseline, fractional savings uncertainty, and sums of terms.

Belongs here: pure functions on numbers. The terms themselves come from the accounts (`sql/accounting/fleet_terms.sql`)
as half-widths of a 90 % interval; how they add is `accounting/fleet_uncertainty.py`.

Sign of a bias here: measured less predicted. Sources that print predicted less measured have the other sign.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from pumpledger.accounting.fleet_uncertainty import Part, Term, parts, total

T_68, T_90, T_95 = 1.000, 1.645, 1.960
"""Two-sided points of the normal distribution for 68, 90 and 95 %, as M&V documents print them."""

GUIDELINE_FACTOR = 1.26
"""ASHRAE Guideline 14-2002, Annex B: the factor of the fractional savings uncertainty."""

MOST_68 = 0.5
"""Savings uncertainty at 68 % confidence that reviewers take at most, share of the saving (facts 5.7)."""


@dataclass(frozen=True, slots=True)
class Scatter:
    """How a baseline's metered days scatter about what is said of them: shares of the mean.

    ``nmbe`` is measured less predicted.
    """

    cv_rmse: float
    nmbe: float


def scatter(measured: Sequence[float], predicted: Sequence[float], parameters: int = 1) -> Scatter:
    """CV(RMSE) and NMBE of ``predicted`` against ``measured``, with n - p degrees of freedom.

    Raises:
        ValueError: unequal lengths, no more values than ``parameters``, or a mean of 0.
    """
    n = len(measured)
    if n != len(predicted) or n <= parameters or parameters < 0:
        raise ValueError(f"{n} values, {len(predicted)} predicted, {parameters} parameters")
    mean = math.fsum(measured) / n
    if mean == 0:
        raise ValueError("the mean is 0")
    off = [y - f for y, f in zip(measured, predicted, strict=True)]
    freedom = n - parameters
    return Scatter(math.sqrt(math.fsum(e * e for e in off) / freedom) / mean, math.fsum(off) / (freedom * mean))


def independent_days(days: float, autocorrelation: float) -> float:
    """n' = n (1 - rho) / (1 + rho): as many days without autocorrelation tell as much.

    Raises:
        ValueError: ``autocorrelation`` is not between -1 and 1.
    """
    if not -1 < autocorrelation < 1:
        raise ValueError(f"autocorrelation {autocorrelation}")
    return days * (1 - autocorrelation) / (1 + autocorrelation)


def baseline_scatter_share(
    baseline_days: float,
    reporting_days: float,
    cv_rmse: float,
    autocorrelation: float,
    t: float = T_90,
    factor: float = GUIDELINE_FACTOR,
) -> float:
    """Half-width of the period's saving through the baseline's scatter, as a share of the period's baseline energy:
    t 1.26 CV sqrt((n / n') (1 + 2 / n') / m), ASHRAE Guideline 14 with n' in both places.

    Raises:
        ValueError: a count is not above 0.
    """
    if baseline_days <= 0 or reporting_days <= 0:
        raise ValueError(f"{baseline_days} baseline days, {reporting_days} reporting days")
    effective = independent_days(baseline_days, autocorrelation)
    return t * factor * cv_rmse * math.sqrt(baseline_days / effective * (1 + 2 / effective) / reporting_days)


def fractional_savings_uncertainty(
    baseline_days: float,
    reporting_days: float,
    cv_rmse: float,
    saving_share: float,
    autocorrelation: float,
    t: float = T_90,
) -> float:
    """Half-width as a share of the saving; ``saving_share`` is saving / baseline energy of the period.

    Raises:
        ValueError: ``saving_share`` is 0 or below: there is no saving to be a share of.
    """
    if saving_share <= 0:
        raise ValueError(f"saving share {saving_share}")
    return baseline_scatter_share(baseline_days, reporting_days, cv_rmse, autocorrelation, t) / saving_share


def at_68(half_width_90: float) -> float:
    """The 68 % half-width of a 90 % one, both normal."""
    return half_width_90 * T_68 / T_90


def site_parts(terms: Iterable[Term]) -> list[tuple[Term, float]]:
    """The terms of one site, summed over the days by kind and cause, each with its mean half-width [kWh], widest
    first. Days of one site add straight: they share its meter, its curve and its baseline."""
    summed: dict[tuple[str, str], list[Term]] = {}
    for term in terms:
        summed.setdefault((term.kind, term.shared), []).append(term)
    found = [
        Term(
            members[0].site_id,
            kind,
            shared,
            math.fsum(term.below for term in members),
            math.fsum(term.above for term in members),
        )
        for (kind, shared), members in summed.items()
    ]
    found.sort(key=lambda term: (-(term.below + term.above), term.kind, term.shared))
    return [(term, (term.below + term.above) / 2) for term in found]


def half_widths(terms: Iterable[Term]) -> tuple[float, float]:
    """Half-widths below and above [kWh] of a sum over sites: what sites share adds straight, all else in quadrature."""
    return total(parts(terms))


def portfolio(terms: Iterable[Term]) -> tuple[list[Part], float, float]:
    """The parts of a sum over several claims, and its half-widths below and above [kWh]."""
    found = parts(terms)
    return found, *total(found)


__all__ = ["Part", "Term"]
