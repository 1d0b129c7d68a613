"""Wire-power fits against scipy's curve_fit and known laws."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import curve_fit
from scipy.stats import linregress

from pumpledger.hydraulics.power import effective_exponent, fit_power

SPEEDS = np.array([900, 1200, 1725, 2200, 2850, 3450.0])


def law(speed: np.ndarray, base: float, factor: float, exponent: float) -> np.ndarray:
    return base + factor * (speed / 1000) ** exponent


def many(count: int) -> np.ndarray:
    return np.full(count, 100.0)


def test_effective_exponent() -> None:
    """Facts 4l: (3450, 1800 W) and (1725, 280 W) give 2.6845; scipy's linregress on the logs gives the same."""
    assert effective_exponent(3450, 1800, 1725, 280) == pytest.approx(2.6845, abs=1e-4)
    assert linregress(np.log([1725, 3450]), np.log([280, 1800])).slope == pytest.approx(2.6845, abs=1e-4)


@pytest.mark.parametrize(("exponent", "half_speed_w"), [(3, 250.0), (2.7, 307.8), (2.5, 353.6)])
def test_half_speed_by_exponent(exponent: float, half_speed_w: float) -> None:
    """Facts 4k: 2000 W at full speed; the cube law understates half speed where the exponent is lower. Arithmetic."""
    powers = 2000 * (np.array([3450, 2400]) / 3450) ** exponent
    fit = fit_power(np.array([3450, 2400]), powers, many(2), 0.02)
    assert fit.exponent == pytest.approx(exponent)
    assert fit.factor_w * 1.725**fit.exponent == pytest.approx(half_speed_w, abs=0.1)


@pytest.mark.parametrize(
    ("base", "factor", "exponent"), [(45, 52, 3.0), (12, 60, 2.6), (0, 70, 2.4), (30, 40, 1.2), (5, 30, 3.9)]
)
def test_exact_points_give_the_law_back(base: float, factor: float, exponent: float) -> None:
    fit = fit_power(SPEEDS, law(SPEEDS, base, factor, exponent), many(6), 0.02)
    _, mid, _ = fit.power_w(SPEEDS)
    assert mid == pytest.approx(law(SPEEDS, base, factor, exponent), rel=1e-3)
    assert fit.exponent == pytest.approx(exponent, abs=0.05)


def test_agrees_with_scipy_curve_fit_on_noisy_points() -> None:
    generator = np.random.default_rng(11)
    for _ in range(20):
        base, factor, exponent = generator.uniform(5, 60), generator.uniform(30, 70), generator.uniform(2.2, 3.2)
        powers = law(SPEEDS, base, factor, exponent) * generator.normal(1, 0.003, SPEEDS.size)
        ours = fit_power(SPEEDS, powers, many(6), 0.02).power_w(SPEEDS)[1]
        found, _ = curve_fit(
            law, SPEEDS, powers, p0=(20, 50, 2.7), sigma=powers, bounds=([0, 0, 1], [np.inf, np.inf, 4])
        )
        assert ours == pytest.approx(law(SPEEDS, *found), rel=5e-3)


def test_one_odd_point_does_not_bend_the_curve() -> None:
    speeds = np.arange(900, 3451, 150.0)
    powers = law(speeds, 40, 55, 2.8)
    powers[6] *= 1.6
    _, mid, _ = fit_power(speeds, powers, many(speeds.size), 0.02).power_w(speeds)
    kept = np.arange(speeds.size) != 6
    assert mid[kept] == pytest.approx(law(speeds, 40, 55, 2.8)[kept], rel=0.03)


def test_never_beyond_one_grid_step_of_the_fitted_speeds() -> None:
    fit = fit_power(SPEEDS, law(SPEEDS, 45, 52, 2.8), many(6), 0.02)
    low, mid, high = fit.power_w(np.array([0, 850, 874, 875, 900, 3450, 3475, 3476]))
    assert np.isnan(mid).tolist() == [True, True, True, False, False, False, False, True]
    inside = ~np.isnan(mid)
    assert (low[inside] < mid[inside]).all() and (mid[inside] < high[inside]).all()


@pytest.mark.parametrize(
    ("speeds", "powers"),
    [
        ([2400], [700]),
        ([2400, 2425], [700, 715]),  # one speed that jitters
        ([1200, 2400], [700, 690]),  # power that does not rise
        ([1200, 2400], [10, 700]),  # exponent above 4
        ([1200, 2400], [130, 0]),
        ([], []),
    ],
    ids=["one", "jitter", "falling", "too steep", "zero", "none"],
)
def test_points_that_carry_no_curve(speeds: list, powers: list) -> None:
    assert fit_power(np.array(speeds, float), np.array(powers, float), many(len(speeds)), 0.02) is None


def test_points_on_no_one_curve_are_refused() -> None:
    """Kilowatts and watts mixed in one column."""
    powers = law(SPEEDS, 45, 52, 2.8) * np.array([1, 0.001, 1, 0.001, 1, 0.001])
    assert fit_power(SPEEDS, powers, many(6), 0.02) is None


def test_the_band_says_what_it_rests_on() -> None:
    few = fit_power(SPEEDS[:3], law(SPEEDS[:3], 45, 52, 2.8), many(3), 0.02)
    assert few.half_width == pytest.approx(np.hypot(0.05, 0.02)) and "assumed" in few.basis
    enough = fit_power(SPEEDS, law(SPEEDS, 45, 52, 2.8), many(6), 0.02)
    assert enough.half_width == pytest.approx(np.hypot(0.02, 0.02), rel=0.05) and "scatter" in enough.basis


def test_the_band_holds_about_nineteen_in_twenty() -> None:
    """Seeded: points with 2 % scatter, the true curve within the band at nearly all speeds."""
    generator = np.random.default_rng(5)
    speeds = np.arange(900, 3451, 255.0)
    truth = law(speeds, 40, 55, 2.7)
    held = [
        np.mean((low <= truth) & (truth <= high))
        for low, _, high in (
            fit_power(speeds, truth * generator.normal(1, 0.02, speeds.size), many(speeds.size), 0.02).power_w(speeds)
            for _ in range(40)
        )
    ]
    assert np.mean(held) > 0.95
