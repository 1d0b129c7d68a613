"""The federal method's arithmetic against the check values of the project's facts, section 1.

Constants of the method (curve C, 3956, weights, 24.7 and 31.1 gpm, 80 %) are from memory [MEM-H] there; what is
computed from them is [CALC]. No published worked example was found, so these test arithmetic, not a real pump.
"""

from __future__ import annotations

import numpy as np
import pint
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pumpledger.accounting import weighted_factor as method
from pumpledger.hydraulics.pump import PumpCurve, points
from pumpledger.units import convert, for_people

UNITS = pint.UnitRegistry()
KGAL = 60 / 1000  # gpm -> thousand gallons an hour: kgal/kWh is gal/Wh


@pytest.mark.parametrize(
    ("flow_gpm", "head_ft"),
    [(24.7, 5.0027), (31.1, 7.9311), (36, 10.627), (60, 29.520), (80, 52.480), (100, 82.000)],
)
def test_curve_c(flow_gpm: float, head_ft: float) -> None:
    """Facts 1a, 1b, 1c [CALC]."""
    assert method.curve_c_head_ft(flow_gpm) == pytest.approx(head_ft, abs=1e-3)


@pytest.mark.parametrize(("flow_gpm", "rated_hp"), [(70.00, 0.711), (71.26, 0.75), (106.45, 2.5)])
def test_hydraulic_horsepower_on_curve_c(flow_gpm: float, rated_hp: float) -> None:
    """Facts 1l [CALC]: flow on curve C by hydraulic horsepower, constant 3956; 0.02 gpm."""
    per_gpm = 3 * rated_hp / flow_gpm  # slope of a cube
    assert method.hydraulic_hp(flow_gpm, method.curve_c_head_ft(flow_gpm)) == pytest.approx(
        rated_hp, abs=0.02 * per_gpm
    )


def test_weighted_factor_of_two_points_is_a_ratio_of_sums() -> None:
    """Facts 1d and 1e [CALC]: 7.6650, and never the weighted mean of 12.44 and 4.80, which is 10.912."""
    factor = method.weighted_energy_factor(31.1 * KGAL, 150, 80 * KGAL, 1000)
    assert factor == pytest.approx(7.6650, abs=1e-4)
    mean_of_ratios = 0.8 * (31.1 * 60 / 150) + 0.2 * (80 * 60 / 1000)
    assert mean_of_ratios == pytest.approx(10.912, abs=1e-3)
    assert abs(factor - mean_of_ratios) > 3


def test_weighted_factor_of_the_other_examples() -> None:
    """Facts 1g two-speed 4.3448 and 1f single-speed 2.4706 [CALC]: with both points the same, it is the one point's
    factor."""
    assert method.weighted_energy_factor(35 * KGAL, 300, 70 * KGAL, 1700) == pytest.approx(4.3448, abs=1e-4)
    assert method.weighted_energy_factor(70 * KGAL, 1700, 70 * KGAL, 1700) == pytest.approx(2.4706, abs=1e-4)


def test_low_flow_by_size() -> None:
    """Facts 1.3 [MEM-H]: 24.7 gpm up to 0.75 hp, 31.1 above."""
    assert method.low_flow_gpm(0.75) == 24.7
    assert method.low_flow_gpm(0.7501) == 31.1


def test_flow_on_curve_c_by_facts_4a_4b() -> None:
    """Facts 4b [CALC]: H = 53.3333 - 0.0037037 Q2 (EPANET one-point curve through 60 gpm, 40 ft) meets curve C at
    66.9358 gpm; facts 4c: at half speed 33.4679."""
    curve = PumpCurve.one_point(convert(60.0, "gpm", "m3h"), convert(40.0, "ft", "m"), 3450)
    assert convert(method.flow_on_curve_c(curve, 3450), "m3h", "gpm") == pytest.approx(66.9358, abs=1e-3)
    assert convert(method.flow_on_curve_c(curve, 1725), "m3h", "gpm") == pytest.approx(33.4679, abs=1e-3)


def test_flow_on_curve_c_is_not_stretched() -> None:
    """A curve drawn below full speed, or one that ends before curve C, gives nothing."""
    curve = PumpCurve.one_point(convert(60.0, "gpm", "m3h"), convert(40.0, "ft", "m"), 2800)
    assert method.flow_on_curve_c(curve, 3450) is None
    short = points([0, 4, 8], [16, 15.5, 14], 3450)
    assert method.flow_on_curve_c(short, 3450) is None


def test_test_flows_name_what_is_missing() -> None:
    pumps = pl.DataFrame(
        {"pump_id": ["B", "A", "C"], "curve": ["big", None, "gone"], "full_speed_rpm": [3450.0, 3450.0, 3450.0]}
    )
    curve = PumpCurve.one_point(convert(60.0, "gpm", "m3h"), convert(40.0, "ft", "m"), 3450)
    rows = method.method_flows(pumps, {"big": curve}).to_dicts()
    assert [(row["pump_id"], row["missing"]) for row in rows] == [
        ("A", "no pump curve"),
        ("B", ""),
        ("C", "no pump curve"),
    ]
    # Hydraulic horsepower by facts 4b: 66.9358 gpm x 36.7393 ft / 3956 = 0.6216, so the low point needs 24.7 gpm.
    assert rows[1]["curve_c_hp"] == pytest.approx(66.9358 * 36.7393 / 3956, rel=1e-4)
    assert rows[1]["low_flow_m3h"] == pytest.approx(UNITS.Quantity(24.7, "gallon/minute").to("meter**3/hour").magnitude)
    assert rows[1]["high_flow_m3h"] == pytest.approx(convert(0.8 * 66.9358, "gpm", "m3h"), rel=1e-5)
    assert rows[0]["low_flow_m3h"] is None


def test_energy_factor_units_by_pint() -> None:
    """gal/Wh is 3.785411784 m3/kWh; facts 1p: 87 gpm at 2000 W is 2.61, 30 gpm at 300 W is 6.00 (ANSI/APSP/ICC-15
    section 4.1.2 as quoted in HPXML 3.1.0 [READ])."""
    for flow_gpm, power_w, expected in ((87, 2000, 2.61), (30, 300, 6.00)):
        inside = 1000 * convert(float(flow_gpm), "gpm", "m3h") / power_w
        assert for_people(inside, "energy factor", "us")[0] == pytest.approx(expected, abs=1e-9)
        by_pint = (UNITS.Quantity(flow_gpm, "gallon/minute") / UNITS.Quantity(power_w, "watt")).to(
            "meter**3/kilowatt_hour"
        )
        assert inside == pytest.approx(by_pint.magnitude, rel=1e-12)
    assert for_people(1.0, "energy factor", "metric") == (1.0, "m³/kWh")


@given(
    flows=st.tuples(st.floats(0.1, 50), st.floats(0.1, 50)),
    powers=st.tuples(st.floats(5, 3000), st.floats(5, 3000)),
    scale=st.floats(0.1, 10),
)
def test_scaling_flow_and_power_alike_leaves_the_factor(
    flows: tuple[float, float], powers: tuple[float, float], scale: float
) -> None:
    plain = method.weighted_energy_factor(flows[0], powers[0], flows[1], powers[1])
    scaled = method.weighted_energy_factor(scale * flows[0], scale * powers[0], scale * flows[1], scale * powers[1])
    assert scaled == pytest.approx(float(plain), rel=1e-9)
    # And it lies between the factors of its two points.
    ends = sorted(1000 * flow / power for flow, power in zip(flows, powers, strict=True))
    assert ends[0] * (1 - 1e-9) <= plain <= ends[1] * (1 + 1e-9)


def test_band_of_the_weighted_factor_by_hand() -> None:
    """Flow 10 % either way and power 5 % either way: 1 - hypot(0.1, 1 - 1/1.05) and 1 + hypot(0.1, 1/0.95 - 1)."""
    asked = pl.DataFrame([("P", "", 15.0, 0.7, 5.0, 12.0)], schema=method.TEST_FLOW, orient="row")
    ends = {"lo": -1, "mid": 0, "hi": 1}
    point = {"pump_id": ["P"], "weighted_state": ["given"], "low_speed_rpm": [1200], "high_speed_rpm": [2600]}
    for name, flow, power in (("low", 5.0, 80.0), ("high", 12.0, 500.0)):
        for bound, sign in ends.items():
            point[f"{name}_flow_{bound}"] = [flow * (1 + 0.10 * sign)]
            point[f"{name}_power_{bound}"] = [power * (1 + 0.05 * sign)]
    row = method.weighted_factors(asked, pl.DataFrame(point)).to_dicts()[0]
    mid = 1000 * (0.8 * 5 + 0.2 * 12) / (0.8 * 80 + 0.2 * 500)
    assert row["weighted_factor_m3kwh_mid"] == pytest.approx(mid)
    assert row["weighted_factor_m3kwh_lo"] == pytest.approx(mid * (1 - np.hypot(0.1, 1 - 1 / 1.05)))
    assert row["weighted_factor_m3kwh_hi"] == pytest.approx(mid * (1 + np.hypot(0.1, 1 / 0.95 - 1)))
