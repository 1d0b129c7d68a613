"""The simulated pump against handbook values, affinity laws and scipy."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq

from pumpledger.simulator.physics import FULL_SPEED_RPM, PUMP_CLASSES, Machine, draw_machine


def example_machine(machine: Machine, static: float) -> Machine:
    """The one-point pump 60 gpm at 40 ft on system curve C, in gpm and ft: the formula does not mind the units."""
    return replace(
        machine,
        shutoff_head_m=4 / 3 * 40.0,
        linear=0.0,
        quadratic=1 / 3 * 40.0 / 60.0**2,
        static_head_m=static,
        friction=0.0082,
    )


@pytest.mark.parametrize(
    ("ratio", "flow"), [(1.0, 66.9358), (0.8, 53.5486), (0.6, 40.1615), (0.5, 33.4679), (0.4, 26.7743)]
)
def test_operating_point_of_the_example_without_static_head(machine: Machine, ratio: float, flow: float) -> None:
    """Facts 4b, 4c: EPANET's one-point curve; system curve C is from memory [MEM-H]."""
    assert float(example_machine(machine, 0.0).flow_m3h(ratio * FULL_SPEED_RPM)) == pytest.approx(flow, abs=1e-3)


@pytest.mark.parametrize(("ratio", "flow"), [(1.0, 60.335), (0.8, 45.026), (0.6, 27.801), (0.5, 16.734)])
def test_operating_point_of_the_example_with_ten_feet_of_static_head(
    machine: Machine, ratio: float, flow: float
) -> None:
    """Facts 4f: with static head flow is not proportional to speed."""
    assert float(example_machine(machine, 10.0).flow_m3h(ratio * FULL_SPEED_RPM)) == pytest.approx(flow, abs=5e-3)


def test_no_flow_below_the_speed_that_lifts_the_static_head(machine: Machine) -> None:
    """Facts 4g: sqrt(10 / 53.333) = 0.43301 of full speed."""
    example = example_machine(machine, 10.0)
    assert float(example.flow_m3h(0.43301 * FULL_SPEED_RPM - 1.0)) == 0.0
    assert float(example.flow_m3h(0.43301 * FULL_SPEED_RPM + 1.0)) > 0.0


@pytest.mark.parametrize("speed", [900.0, 1450.0, 2600.0, 3450.0])
@pytest.mark.parametrize("loading", [0.0, 0.15])
def test_pump_and_system_meet_where_a_root_finder_says(machine: Machine, speed: float, loading: float) -> None:
    """The closed form against scipy's brentq on the two head curves written out here."""
    ratio = speed / 3450.0

    def spare(flow: float) -> float:
        return (20.0 * ratio**2 - 0.1 * ratio * flow - 0.02 * flow**2) - (1.0 + 0.025 * (1.0 + loading) * flow**2)

    assert float(machine.flow_m3h(speed, loading)) == pytest.approx(brentq(spare, 0.0, 40.0, xtol=1e-12), abs=1e-9)


def test_affinity_laws_without_static_head(machine: Machine) -> None:
    """Flow with speed, head with its square (any pump handbook); facts 4.1."""
    free = replace(machine, static_head_m=0.0)
    full, half = float(free.flow_m3h(3450.0)), float(free.flow_m3h(1725.0))
    assert half == pytest.approx(full / 2.0, rel=1e-12)
    assert float(free.head_m(1725.0, half)) == pytest.approx(float(free.head_m(3450.0, full)) / 4.0, rel=1e-12)


def test_shaft_power_is_hydraulic_power_over_efficiency(machine: Machine) -> None:
    """P = rho g Q H / eta at 998.2 kg/m3 and 9.80665 m/s2, eta the parabola at full speed."""
    flow = float(machine.flow_m3h(3450.0))
    head = float(machine.head_m(3450.0, flow))
    x = flow / 18.0
    assert float(machine.shaft_w(3450.0)) == pytest.approx(
        998.2 * 9.80665 * flow / 3600.0 * head / (0.6 * x * (2.0 - x)), rel=1e-9
    )


def test_wire_power_is_no_clean_power_law() -> None:
    """Effective exponent on wire power falls at low speed and stays below 3 (facts 4.5, typical 2.4 to 2.9 [MEM-M])."""
    rng = np.random.default_rng(1)
    for pump_class in PUMP_CLASSES:
        drawn = draw_machine(pump_class, 0.0, rng)
        watts = {speed: float(drawn.running_w(float(speed))) for speed in (800, 1150, 2400, 3450)}
        low = np.log(watts[1150] / watts[800]) / np.log(1150 / 800)
        high = np.log(watts[3450] / watts[2400]) / np.log(3450 / 2400)
        assert 0.5 < low < high < 3.0
        assert high > 2.4


def test_wire_to_water_efficiency_is_believable() -> None:
    """Above about 0.70 it would be suspect (facts 4.4); below 0.15 at full speed no pump would be sold (common sense,
    no source).
    """
    rng = np.random.default_rng(2)
    for pump_class in PUMP_CLASSES:
        drawn = draw_machine(pump_class, 0.6, rng)
        flow = drawn.flow_m3h(3450.0)
        share = 998.2 * 9.80665 * flow / 3600.0 * drawn.head_m(3450.0, flow) / drawn.running_w(3450.0)
        assert 0.15 < float(share) < 0.70


def test_dirt_lowers_flow(machine: Machine) -> None:
    speeds = np.array([900.0, 1800.0, 3450.0])
    assert np.all(machine.flow_m3h(speeds, 0.2) < machine.flow_m3h(speeds, 0.0))
