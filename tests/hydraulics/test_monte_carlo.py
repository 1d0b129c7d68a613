"""Monte Carlo against first order, against the scalar solver, and against the laws that every band must keep."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pumpledger.hydraulics.flow_band import flow_band
from pumpledger.hydraulics.monte_carlo import (
    NINETY,
    SAMPLES,
    band_by_friction,
    band_by_gauges,
    band_by_readings,
    draws,
    sampled_flows,
)
from pumpledger.hydraulics.operating_point import flows, zero_flow_speed_rpm
from pumpledger.hydraulics.pump import PumpCurve
from pumpledger.hydraulics.system import SystemCurve
from pumpledger.hydraulics.uncertainty import COMMISSIONED_FLOW, FILTER_DUE, FLOW_METER, Sides

FLOWS = np.linspace(0, 28, 8)
PUMP = PumpCurve(3450, tuple(FLOWS), tuple(18 - 15 * (FLOWS / 30) ** 2))
FIVE = Sides(0.05, 0.05)
SPEEDS = np.arange(0, 3451, 25.0)


def test_the_draws_are_ninety_percent_within_one() -> None:
    """Each stratum once: the share within one half-width is exact to one sample, and the three do not move together."""
    inside = np.mean(np.abs(draws()) < 1, axis=1)
    assert inside == pytest.approx(0.9, abs=1.5 / SAMPLES)
    assert draws().std(axis=1) * NINETY == pytest.approx(1, abs=0.01)
    assert np.abs(np.corrcoef(draws()) - np.eye(3)).max() < 0.15


def test_every_sample_is_solved_as_the_scalar_solver_does() -> None:
    generator = np.random.default_rng(2)
    friction, factor = generator.uniform(0.005, 0.3, SAMPLES), generator.uniform(0.9, 1.1, SAMPLES)
    static = generator.uniform(0, 6, SAMPLES)
    many = sampled_flows(PUMP, friction, factor, static, SPEEDS)
    for index in range(0, SAMPLES, 17):
        system = SystemCurve(static[index], friction[index])
        one = flows(PUMP.scaled(factor[index]), system, SPEEDS, follow_last_segment=True)
        assert many[index] == pytest.approx(one, rel=1e-9, abs=1e-9)


@pytest.mark.parametrize("static_m", [0.0, 1.5])
def test_the_two_ways_agree_where_first_order_may_be_used(static_m: float) -> None:
    """Well above the zero-flow speed and near the speed read both half-widths agree within a tenth of themselves plus
    0.5 % of the flow: the rest is curvature, which only Monte Carlo sees."""
    speeds = np.arange(2000, 2801, 100.0)
    first = flow_band(PUMP, static_m, [(2400, 11.0)], FIVE, speeds)
    second = band_by_readings(PUMP, static_m, [(2400, 11.0)], FIVE, speeds)
    assert second[1] == pytest.approx(first[1], rel=1e-12)
    for end in (0, 2):
        assert (
            np.abs(second[end] - first[end]).max() < 0.1 * np.abs(first[end] - first[1]).max() + 0.005 * first[1].max()
        )


def test_the_same_bytes_every_time() -> None:
    one, two = (band_by_readings(PUMP, 1.0, [(2400, 11.0)], FIVE, SPEEDS) for _ in range(2))
    assert all((a == b).all() for a, b in zip(one, two, strict=True))


@settings(max_examples=40, deadline=None)
@given(static=st.floats(0.0, 4.0), share=st.floats(0.2, 0.9), wide=st.floats(0.01, 0.1))
def test_laws_of_every_band(static: float, share: float, wide: float) -> None:
    """Low <= middle <= high, none falls with speed, nothing is promised at or below the zero-flow speed, and more
    uncertainty in never narrows what comes out at the speed read."""
    flow = share * float(flows(PUMP, SystemCurve(static, 0.02), np.array([2400.0]))[0]) + 0.5
    reading = (2400.0, flow)
    head = PUMP.head_at(flow, 2400)
    if head <= static + 0.2:
        return
    bands = [
        band_by_readings(PUMP, static, [reading], Sides(wide, wide), SPEEDS),
        band_by_gauges(PUMP, static, (*reading, head), 10 * wide, SPEEDS),
        band_by_friction(PUMP, SystemCurve(static, 0.03), 1 + 10 * wide, SPEEDS),
    ]
    for low, mid, high in bands:
        known = np.isfinite(mid)
        assert (low[known] <= mid[known]).all() and (mid[known] <= high[known]).all()
        assert all((np.diff(values[known]) >= -1e-9).all() for values in (low, mid, high))
        still = SPEEDS <= zero_flow_speed_rpm(PUMP, static)
        assert (mid[still] == 0).all() and (low[still] == 0).all()
    at_read = np.array([2400.0])
    narrow, broad = (
        band_by_readings(PUMP, static, [reading], Sides(width, width), at_read) for width in (wide, 2 * wide)
    )
    assert broad[2] - broad[0] >= narrow[2] - narrow[0]


def test_ninety_percent_of_true_flows_lie_within() -> None:
    """300 made-up pumps with errors as stated; 87-95 % of the true flows at 1700 rpm are held."""
    generator = np.random.default_rng(7)
    held = []
    for _ in range(300):
        static = generator.uniform(1, 3)
        true_pump = PUMP.scaled(1 + 0.05 / NINETY * generator.standard_normal())
        true_static = max(static + max(0.1 * static, 0.2) / NINETY * generator.standard_normal(), 0)
        truth = SystemCurve(true_static, generator.uniform(0.03, 0.08))
        at_read, at_slow = flows(true_pump, truth, np.array([2400.0, 1700.0]))
        read = at_read * (1 + FLOW_METER / NINETY * generator.standard_normal())
        taken = 1 - generator.uniform(0, FILTER_DUE)  # clean when the flow was read, anywhere up to due since
        low, _, high = band_by_readings(PUMP, static, [(2400.0, read)], COMMISSIONED_FLOW, np.array([1700.0]))
        held.append(low[0] <= taken * at_slow <= high[0])
    assert 0.87 <= np.mean(held) <= 0.95
