"""Which source of wire power wins, the covariance of the fit against scipy, and the band of a stated efficiency."""

from __future__ import annotations

import fluids
import numpy as np
import polars as pl
import pytest
from fluids.constants import hp as HP_W
from scipy.optimize import curve_fit

from pumpledger.hydraulics.operating_point import water_power_w
from pumpledger.hydraulics.power import fit_power
from pumpledger.hydraulics.power_source import LEAST_SPEED_SHARE
from pumpledger.hydraulics.uncertainty import STATED_EFFICIENCY_ABOVE, STATED_EFFICIENCY_BELOW
from tests.hydraulics.test_flow_sources import CURVE, VISIT, build, fact

SPEEDS = np.array([900, 1100, 1400, 1725, 2000, 2300, 2600, 2850, 3150, 3450.0])
NAMEPLATE = {"nameplate_power_w": 1500.0, "nameplate_low_speed_rpm": 1725.0, "nameplate_low_power_w": 250.0}


def law(speed: np.ndarray, base: float, factor: float, exponent: float) -> np.ndarray:
    return base + factor * (speed / 1000) ** exponent


def power(found, speed: int, bound: str = "mid") -> float | None:
    return found.grid.filter(pl.col("speed_rpm") == speed)[f"power_w_{bound}"][0]


def test_best_source_first() -> None:
    read = [VISIT | {"power_w": watts, "speed_rpm": speed} for speed, watts in ((1200.0, 110.0), (2400.0, 650.0))]
    flow = VISIT | {"flow_m3h": 11.0}
    paper = NAMEPLATE | {"wire_to_water": 0.4}
    metered = ((900, 90.0), (1800, 350.0), (2700, 900.0))
    for pump, visits, points, expected in (
        (paper, [flow, *read], metered, "fitted to readings"),
        (paper, [flow, *read], (), "fitted to visit points"),
        (paper, [flow], (), "nameplate points"),
        ({"wire_to_water": 0.4}, [flow], (), "stated efficiency"),
        ({}, [flow], (), "none"),
    ):
        found = build(pump, *visits, power=points)
        assert {expected} == set(found.grid["power_source"]) == set(found.curves["power_source"])
        assert found.problems == [] and fact(found, "power_basis")


def test_nothing_below_the_lowest_speed_seen() -> None:
    found = build({}, power=((900, 90.0), (1800, 350.0), (2700, 900.0)))
    assert fact(found, "lowest_rpm") == 900 and power(found, 850) is None and power(found, 900) is not None
    paper = build(NAMEPLATE)
    assert power(paper, 1675) is None and power(paper, 1725) == pytest.approx(250)
    assert power(paper, 3450, "hi") == pytest.approx(1500 * 1.158, rel=2e-3)  # 15 % nameplate, 5 % scatter


def test_the_exponent_is_fitted_from_the_nameplate_too() -> None:
    """ln(1500 / 250) / ln(3450 / 1725) = 2.585, facts 4.5."""
    assert fact(build(NAMEPLATE), "exponent") == pytest.approx(2.585, abs=1e-3)


@pytest.mark.parametrize("change", [{"nameplate_low_power_w": 1600.0}, {"nameplate_low_speed_rpm": 3450.0}])
def test_a_nameplate_that_cannot_be_is_named_and_withheld(change: dict) -> None:
    found = build(NAMEPLATE | change)
    assert [problem.name for problem in found.problems] == ["nameplate_power_refused"]
    assert found.grid["power_w_mid"].null_count() == found.grid.height


def test_one_missing_nameplate_number_is_no_nameplate() -> None:
    found = build(NAMEPLATE | {"nameplate_low_power_w": None})
    assert fact(found, "power_source") == "none" and found.problems == []


def test_negative_power_is_named_and_not_used() -> None:
    found = build({}, power=((900, -90.0), (1200, 150.0), (1800, 350.0), (2700, 900.0)))
    assert [problem.name for problem in found.problems] == ["negative_power_refused"]
    assert "-90 W" in found.problems[0].sentence and fact(found, "lowest_rpm") == 1200


def test_points_that_contradict_each_other_do_not_fall_back_on_paper() -> None:
    found = build(NAMEPLATE, power=((1200, 700.0), (2400, 690.0)))
    assert fact(found, "power_source") == "none" and found.problems[0].name == "power_curve_refused"


def test_covariance_is_that_of_scipy() -> None:
    """curve_fit with sigma = power: the same model, no damping. Scatter of 1.5 % is inside the soft L1's width."""
    generator = np.random.default_rng(4)
    for _ in range(10):
        powers = law(SPEEDS, 45, 50, 2.75) * generator.normal(1, 0.015, SPEEDS.size)
        ours = fit_power(SPEEDS, powers, np.full(SPEEDS.size, 100.0), 0.02)
        found, covariance = curve_fit(law, SPEEDS, powers, p0=(40, 50, 2.7), sigma=powers)
        assert ours.exponent == pytest.approx(found[2], abs=0.15)
        deviations = np.sqrt(np.diag(ours.covariance)) / np.sqrt(np.diag(covariance))
        assert ((deviations > 0.65) & (deviations < 1.5)).all()


def test_the_band_is_widest_at_the_ends_and_the_exponent_has_one() -> None:
    powers = law(SPEEDS, 45, 50, 2.75) * np.random.default_rng(8).normal(1, 0.02, SPEEDS.size)
    fit = fit_power(SPEEDS, powers, np.full(SPEEDS.size, 100.0), 0.02)
    share = fit.fit_share(np.arange(900, 3451, 25.0))
    assert share.argmax() in (0, share.size - 1) and share[0] > share[20] and share[-1] > share[-30]
    low, high = fit.exponent_band
    assert low < fit.exponent < high and high - low < 1.5
    assert fit_power(SPEEDS[:3], powers[:3], np.full(3, 100.0), 0.02).exponent_band is None


def test_the_fitted_exponent_is_held_nine_times_in_ten() -> None:
    """200 seeded fits; by Student's t a 90 % interval."""
    generator = np.random.default_rng(12)
    held = []
    for _ in range(200):
        powers = law(SPEEDS, 45, 50, 2.75) * generator.normal(1, 0.02, SPEEDS.size)
        low, high = fit_power(SPEEDS, powers, np.full(SPEEDS.size, 100.0), 0.02).exponent_band
        held.append(low <= 2.75 <= high)
    assert 0.83 <= np.mean(held) <= 0.96


def test_stated_efficiency_is_hydraulic_power_over_it() -> None:
    found = build({"wire_to_water": 0.4}, VISIT | {"flow_m3h": 11.0})
    flow = 11.0 * 3450 / 2400
    water = water_power_w(flow, CURVE.head_at(flow, 3450))
    assert power(found, 3450) == pytest.approx(water / 0.4, rel=1e-6)
    assert power(found, 2575) is None and power(found, 2600) is not None  # 75 % of 3450 is 2587.5
    low, high = power(found, 3450, "lo"), power(found, 3450, "hi")
    assert low <= water / 0.4 * (1 - STATED_EFFICIENCY_BELOW) and high >= water / 0.4 * (1 + STATED_EFFICIENCY_ABOVE)


def test_a_stated_efficiency_without_flow_gives_nothing() -> None:
    found = build({"wire_to_water": 0.4})
    assert fact(found, "power_source") == "none" and "no flow" in fact(found, "power_basis")


def test_part_load_of_motor_and_drive_lies_within_the_stated_band() -> None:
    """`fluids`: motor of 1 hp relative to full load (Washington State Energy Office 1993) times drive of 3 hp, for
    their shape only: both are for induction motors. Load goes with the cube of speed."""
    docstrings = (
        (fluids.motor_efficiency_underloaded(HP_W), 0.8705179600980149),
        (fluids.VFD_efficiency(10 * HP_W), 0.96),
    )
    for given, printed in docstrings:  # facts 8a
        assert given == pytest.approx(printed, rel=1e-12)
    full = fluids.motor_efficiency_underloaded(HP_W, 1.0) * fluids.VFD_efficiency(3 * HP_W, 1.0)
    for ratio in np.linspace(LEAST_SPEED_SHARE, 1, 11):
        now = fluids.motor_efficiency_underloaded(HP_W, ratio**3) * fluids.VFD_efficiency(3 * HP_W, ratio**3)
        assert 1 - STATED_EFFICIENCY_BELOW < full / now < 1 + STATED_EFFICIENCY_ABOVE
    half = fluids.motor_efficiency_underloaded(HP_W, 0.125) * fluids.VFD_efficiency(3 * HP_W, 0.125)
    assert full / half > 1 + STATED_EFFICIENCY_ABOVE  # which is why nothing is given at half speed
