"""Uncertainty of a saving: printed examples, a public library, a general one, and a simulation."""

from __future__ import annotations

import math
import warnings

import pytest
import uncertainties
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from pumpledger.claims.uncertainty import (
    T_68,
    T_90,
    T_95,
    Term,
    at_68,
    baseline_scatter_share,
    fractional_savings_uncertainty,
    half_widths,
    independent_days,
    portfolio,
    scatter,
    site_parts,
)


def test_fractional_uncertainty_of_a_year() -> None:
    # Facts 5j: n = m = 365, CV .20, F .30, rho .5; ASHRAE Guideline 14, read in public code.
    assert independent_days(365, 0.5) == pytest.approx(121.667, abs=1e-3)
    found = [fractional_savings_uncertainty(365, 365, 0.20, 0.30, 0.5, t) for t in (T_68, T_90, T_95)]
    assert found == pytest.approx([0.07678, 0.12630, 0.15048], abs=1e-5)


def test_twelve_bills_and_a_small_saving_are_not_enough() -> None:
    # Facts 5k.
    assert fractional_savings_uncertainty(12, 12, 0.15, 0.10, 0.0, 1.64) == pytest.approx(0.96647, abs=1e-4)


Y, F = (10, 12, 9, 11, 13, 10), (9.5, 12.5, 9.2, 10.4, 13.1, 10.6)


def test_scatter_by_degrees_of_freedom_and_by_count() -> None:
    # Facts 5l, 5m; measured less predicted.
    one, none = scatter(Y, F, 1), scatter(Y, F, 0)
    assert (100 * one.cv_rmse, 100 * one.nmbe) == pytest.approx((4.6522, -0.5538), abs=1e-3)
    assert (100 * none.cv_rmse, 100 * none.nmbe) == pytest.approx((4.2468, -0.4615), abs=1e-3)


def test_scatter_of_nothing_is_refused() -> None:
    for measured, predicted, p in (([1.0], [1.0], 1), ([1, 2], [1], 0), ([1, -1], [1, 1], 0)):
        with pytest.raises(ValueError, match="values|mean"):
            scatter(measured, predicted, p)
    for call in (
        lambda: independent_days(10, 1.0),
        lambda: baseline_scatter_share(0, 10, 0.1, 0),
        lambda: fractional_savings_uncertainty(10, 10, 0.1, 0.0, 0),
    ):
        with pytest.raises(ValueError, match=r"autocorrelation|days|share"):
            call()


@pytest.mark.parametrize("reporting_days", [30, 90, 365])
@pytest.mark.parametrize("rho", [-0.2, 0.0, 0.5, 0.8])
def test_the_error_band_is_opendsms_but_for_its_own_factor(reporting_days: int, rho: float) -> None:
    # opendsm has a polynomial of the months in place of the Guideline's 1.26; all else is the same formula.
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from opendsm.eemeter.models.hourly_caltrack import derivatives
    days, mean, cv, months = 300, 14.0, 0.17, reporting_days / 30
    expected = derivatives._compute_fsu_error(
        t_stat=T_90,
        interval="daily",
        post_obs=reporting_days,
        total_base_energy=mean * reporting_days,
        rmse_base_residuals=cv * mean,
        base_avg=mean,
        base_obs=days,
        nprime=independent_days(days, rho),
    )
    factor = -0.00024 * months**2 + 0.03535 * months + 1.00286
    ours = baseline_scatter_share(days, reporting_days, cv, rho, T_90, factor) * mean * reporting_days
    assert ours == pytest.approx(expected, rel=1e-12)
    # The Guideline's factor is the wider one for a month and up to eight, and 10 % the narrower at a year.
    assert (1.26 / factor >= 1) is (reporting_days <= 90)
    assert 0.90 < 1.26 / factor < 1.22


@given(st.floats(0.001, 1), st.floats(-0.9, 0.9), st.integers(20, 400), st.integers(20, 400))
def test_more_days_never_tell_less(cv: float, rho: float, before: int, after: int) -> None:
    now = baseline_scatter_share(before, after, cv, rho)
    assert baseline_scatter_share(before + 50, after, cv, rho) <= now
    assert baseline_scatter_share(before, after + 50, cv, rho) <= now
    assert baseline_scatter_share(before, after, cv * 2, rho) == pytest.approx(2 * now)


def test_the_points_are_those_of_the_normal_distribution() -> None:
    assert at_68(T_90) == pytest.approx(stats.norm.ppf(0.84), abs=6e-3)
    assert stats.norm.ppf(0.95) == pytest.approx(T_90, abs=2e-4)
    assert stats.norm.ppf(0.975) == pytest.approx(T_95, abs=1e-4)


def test_a_site_season_worked_by_hand() -> None:
    # Worked example of the project's notes: baseline 2.05 kW x 8 h x 120 d = 1968 kWh, measured 672, saving 1296.
    # Baseline power 2 %, hours 6 %, meter 2 % of what is measured, filled gaps 1.2 %: 9.7 % at 68 %, 15.9 % at 90 %.
    saving = 2.05 * 8 * 120 - 672
    sigma = [0.02 * 1968, 0.06 * 1968, 0.02 * 672, 0.012 * 672]
    terms = [Term("S", f"term {n}", "", s * T_90, s * T_90) for n, s in enumerate(sigma)]
    below, above = half_widths(terms)
    assert below == above
    assert 100 * below / saving == pytest.approx(15.9, abs=0.1)
    assert 100 * at_68(below) / saving == pytest.approx(9.7, abs=0.05)
    assert site_parts(terms)[0][0].kind == "term 1"


def test_what_sites_share_does_not_shrink_with_their_number() -> None:
    own = [Term(f"S{n}", "baseline", "", 10.0, 10.0) for n in range(100)]
    shared = [Term(f"S{n}", "meter", "energy meters", 2.0, 2.0) for n in range(100)]
    assert half_widths(own)[0] == pytest.approx(100)
    assert half_widths(shared)[0] == pytest.approx(200)
    found, below, above = portfolio(own + shared)
    assert below == above == pytest.approx(math.hypot(100, 200))
    assert [part.name for part in found] == ["energy meters", "each site's own"]


def test_the_weeks_of_one_site_add_straight() -> None:
    weeks = [Term("S", "baseline", "", 3.0, 4.0) for _ in range(10)]
    (term, width), = site_parts(weeks)  # fmt: skip
    assert (term.below, term.above, width) == (30.0, 40.0, 35.0)


def test_quadrature_agrees_with_the_package_uncertainties() -> None:
    terms = [Term("A", "baseline", "", 12.0, 12.0), Term("B", "baseline", "", 5.0, 5.0)]
    common = [Term(s, "meter", "energy meters", 3.0, 3.0) for s in "AB"]
    meter = uncertainties.ufloat(0, 1)
    total = uncertainties.ufloat(0, 12) + uncertainties.ufloat(0, 5) + 3 * meter + 3 * meter
    assert half_widths(terms + common)[0] == pytest.approx(total.std_dev)
