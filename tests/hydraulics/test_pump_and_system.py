"""Curves, friction and operating points by hand arithmetic. The independent solver stands in tests/reference."""

from __future__ import annotations

import numpy as np
import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from iapws import IAPWS95

from pumpledger.hydraulics.operating_point import (
    WATER_DENSITY_KG_M3,
    flows,
    operating_point,
    water_power_w,
    zero_flow_speed_rpm,
)
from pumpledger.hydraulics.pump import PumpCurve, points
from pumpledger.hydraulics.system import SystemCurve, friction_from_design, friction_from_reading
from pumpledger.problems import CurveError

UNITS = pint.UnitRegistry()
GPM = UNITS("gallon/minute").to("m**3/hour").magnitude
FT = 0.3048


def trade_curve(k_ft_gpm2: float, static_ft: float = 0.0) -> SystemCurve:
    """A system curve of the trade, H [ft] = k Q2 [gpm]."""
    return SystemCurve(static_ft * FT, k_ft_gpm2 * FT / GPM**2)


CURVE_A, CURVE_B, CURVE_C = trade_curve(0.0167), trade_curve(0.050), trade_curve(0.0082)
PUMP = PumpCurve.one_point(60 * GPM, 40 * FT, 3450)


@pytest.mark.parametrize(
    ("system", "flow_gpm", "head_ft"),
    [
        (CURVE_C, 24.7, 5.0027),
        (CURVE_C, 31.1, 7.9311),
        (CURVE_C, 36, 10.627),
        (CURVE_C, 60, 29.520),
        (CURVE_C, 80, 52.480),
        (CURVE_C, 100, 82.000),
        (CURVE_A, 60, 60.12),
        (CURVE_B, 60, 180.00),
    ],
)
def test_system_curves_of_the_trade_from_memory(system: SystemCurve, flow_gpm: float, head_ft: float) -> None:
    """Facts 1a-1c and 2j. The coefficients 0.0167, 0.050 and 0.0082 are from memory, high confidence; the rest is
    arithmetic."""
    assert system.head_at(flow_gpm * GPM) / FT == pytest.approx(head_ft, abs=1e-3)


def test_one_point_curve() -> None:
    """Facts 4a: A = 53.3333 ft, B = 0.00370370; the form is read in wntr's docstring."""
    assert PUMP.shutoff_head_m / FT == pytest.approx(53.3333, abs=1e-4)
    for flow in (10.0, 60.0, 97.3):
        assert PUMP.head_at(flow * GPM, 3450) / FT == pytest.approx(53.33333 - 0.00370370 * flow**2, abs=1e-3)


@pytest.mark.parametrize(
    ("ratio", "flow_gpm", "head_ft", "water_w"),
    [
        (1.0, 66.9358, 36.7393, 463.55),
        (0.8, 53.5486, 23.5131, 237.34),
        (0.6, 40.1615, 13.2261, 100.13),
        (0.5, 33.4679, 9.1848, 57.944),
        (0.4, 26.7743, 5.8783, 29.667),
    ],
)
def test_operating_points_without_static_head(ratio: float, flow_gpm: float, head_ft: float, water_w: float) -> None:
    """Facts 4b-4e, arithmetic. The water power there takes K = 3956; 20 C water is within 0.2 % of it."""
    point = operating_point(PUMP, CURVE_C, 3450 * ratio)
    assert point.flow_m3h / GPM == pytest.approx(flow_gpm, abs=1e-3)
    assert point.head_m / FT == pytest.approx(head_ft, abs=1e-3)
    assert point.water_power_w == pytest.approx(water_w, rel=2e-3)


def test_operating_points_with_static_head_do_not_follow_speed() -> None:
    """Facts 4f and 4g, arithmetic: 10 ft of static head."""
    system = trade_curve(0.0082, static_ft=10)
    found = flows(PUMP, system, 3450 * np.array([1, 0.8, 0.6, 0.5])) / GPM
    assert found == pytest.approx([60.335, 45.026, 27.801, 16.734], abs=0.005)
    assert zero_flow_speed_rpm(PUMP, 10 * FT) / 3450 == pytest.approx(0.43301, abs=1e-4)
    assert operating_point(PUMP, system, 1490) is None
    assert operating_point(PUMP, system, 1500).flow_m3h > 0


def test_water_power() -> None:
    """Facts 4h, 4i, 4n: 60 gpm at 50 ft is 564.72 W in SI; handbook constants 3956 and 3960 from memory, within 0.2
    %."""
    watts = water_power_w(60 * GPM, 50 * FT)
    assert watts == pytest.approx(564.72, abs=0.05)
    for constant in (3956, 3960, 33_000 / (62.4 * 0.133680556)):
        assert watts == pytest.approx(60 * 50 / constant * 745.69987, rel=2e-3)
    by_pint = (998.2 * UNITS("kg/m**3") * UNITS.standard_gravity * 60 * UNITS("gallon/minute") * 50 * UNITS("foot")).to(
        "watt"
    )
    assert watts == pytest.approx(by_pint.magnitude, rel=1e-9)


@pytest.mark.parametrize(("temperature_c", "printed"), [(10, 999.70), (20, 998.21), (25, 997.05), (30, 995.65)])
def test_density_of_water(temperature_c: float, printed: float) -> None:
    """By `iapws` (IAPWS-95) at 1 atm; the printed values are facts 8, from memory, high confidence. The one density
    that is used lies within 0.3 % of all of them."""
    density = IAPWS95(T=273.15 + temperature_c, P=0.101325).rho
    assert density == pytest.approx(printed, abs=0.02)
    assert pytest.approx(density, rel=3e-3) == WATER_DENSITY_KG_M3
    if temperature_c == 20:
        assert pytest.approx(density, abs=0.02) == WATER_DENSITY_KG_M3


def test_affinity() -> None:
    """Flow with speed, head with its square: any pump handbook, from memory, high confidence."""
    assert PUMP.head_at(30 * GPM, 1725) == pytest.approx(PUMP.head_at(60 * GPM, 3450) / 4)


def test_friction_from_a_reading_gives_the_reading_back() -> None:
    friction = friction_from_reading(PUMP, 2400, 9.0, 1.2)
    assert operating_point(PUMP, SystemCurve(1.2, friction), 2400).flow_m3h == pytest.approx(9.0)


def test_friction_from_a_design_point() -> None:
    assert friction_from_design(10.0, 12.0, 2.0) == pytest.approx(0.1)


@pytest.mark.parametrize(
    ("flow", "head", "says"),
    [
        ((0, 10), (15, 5), "three points"),
        ((0, 5, 10), (15, 16, 5), "point 1 to point 2"),
        ((0, 5, 10), (15, 15, 5), "does not fall"),
        ((1, 5, 10), (15, 12, 5), "rise from 0"),
        ((0, 5, 5), (15, 12, 5), "rise from 0"),
        ((0, 5, 10), (15, 12, -1), "below 0"),
        ((0, 5, float("nan")), (15, 12, 5), "lacks"),
    ],
)
def test_curves_no_pump_can_have(flow: tuple, head: tuple, says: str) -> None:
    with pytest.raises(CurveError, match=says):
        PumpCurve(3450, flow, head)


def test_points_may_come_in_any_order() -> None:
    assert points([10, 0, 5], [5, 15, 12], 3450) == PumpCurve(3450, (0, 5, 10), (15, 12, 5))


def test_the_last_point_is_never_passed() -> None:
    short = PumpCurve(3450, (0, 5, 10), (15, 14, 11))
    open_pipes = SystemCurve(0, 0.01)
    with pytest.raises(CurveError, match="last point"):
        operating_point(short, open_pipes, 3450)
    assert np.isnan(flows(short, open_pipes, np.array([3450.0])))[0]
    with pytest.raises(CurveError, match="last point"):
        short.head_at(10.5, 3450)
    with pytest.raises(CurveError):
        friction_from_reading(short, 1725, 5.5, 0)


@pytest.mark.parametrize(("static", "friction"), [(-1, 0.1), (1, -0.1), (float("nan"), 0.1)])
def test_systems_no_pipes_can_have(static: float, friction: float) -> None:
    with pytest.raises(CurveError):
        SystemCurve(static, friction)


@pytest.mark.parametrize("speed", [0, -5, 3451])
def test_speeds_outside_the_rating_are_refused(speed: float) -> None:
    with pytest.raises(ValueError):
        operating_point(PUMP, CURVE_C, speed)


def test_a_reading_that_leaves_no_head_for_friction() -> None:
    with pytest.raises(CurveError, match="static head"):
        friction_from_reading(PUMP, 1500, 5.0, 6.0)


@settings(max_examples=60, deadline=None)
@given(static=st.floats(0, 5), friction=st.floats(0.01, 0.5), speed=st.floats(400, 3450), cut=st.floats(0.01, 0.99))
def test_both_curves_hold_at_the_point_and_flow_rises_with_speed(
    static: float, friction: float, speed: float, cut: float
) -> None:
    system = SystemCurve(static, friction)
    point = operating_point(PUMP, system, speed)
    if point is None:
        assert speed <= zero_flow_speed_rpm(PUMP, static) * (1 + 1e-9)
        return
    assert PUMP.head_at(point.flow_m3h, speed) == pytest.approx(system.head_at(point.flow_m3h), rel=1e-6, abs=1e-9)
    slower, faster = flows(PUMP, system, np.array([speed * cut, speed]))
    assert slower <= faster * (1 + 1e-12)
