"""Flow behind a loaded filter from power at the same speed: closed forms, bounds, and the simulator's own pumps."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pumpledger.hydraulics.pump import PumpCurve
from pumpledger.hydraulics.throttled import LEAST_FALL, MIDDLE, MOST_FALL, PowerShape, flow_factor, open_flow_m3h
from pumpledger.simulator.physics import FULL_SPEED_RPM, PUMP_CLASSES, draw_machine

SQUARE = PumpCurve(3450.0, (0.0, 10.0, 20.0, 30.0, 40.0), tuple(20 * (1 - (q / 40) ** 2) for q in (0, 10, 20, 30, 40)))
LINEAR = PowerShape(0.5, 0.0)


def test_open_flow_is_where_the_head_ends():
    assert open_flow_m3h(SQUARE) == pytest.approx(40)
    short = PumpCurve(3450.0, SQUARE.flow_m3h[:4], SQUARE.head_m[:4])  # 20 (1 - u2) is a straight line in flow squared
    assert open_flow_m3h(short) == pytest.approx(40)


@pytest.mark.parametrize("speed_rpm", [1150, 1725, 3450])
@pytest.mark.parametrize("ratio", [0.99, 0.95, 0.9, 0.8])
def test_best_flow_at_half_the_open_flow_makes_power_linear(speed_rpm, ratio):
    """(1 - u2) / (2 - 2 u) = (1 + u) / 2: so (1 + u) falls by the ratio. By hand from the docstring's form.

    The curve is straight in flow squared between its points, and so exact for this curve.
    """
    before = 0.5
    flow = before * 40 * speed_rpm / 3450
    expected = (ratio * (1 + before) - 1) / before
    assert flow_factor(SQUARE, speed_rpm, flow, ratio, LINEAR) == pytest.approx(expected, abs=2e-3)


def test_losses_that_do_not_follow_flow_leave_more_for_the_filter():
    """0.92 of the wire power is (0.92 - 0.2) / 0.8 = 0.9 of the shaft power."""
    with_losses = flow_factor(SQUARE, 3450, 20, 0.92, PowerShape(0.5, 0.2))
    assert with_losses == pytest.approx(flow_factor(SQUARE, 3450, 20, 0.9, LINEAR), abs=1e-9)


def test_below_the_power_of_a_closed_pipe_there_is_no_answer():
    assert flow_factor(SQUARE, 3450, 20, 1 / 1.5 + 0.001, LINEAR) == pytest.approx(0, abs=0.01)
    assert flow_factor(SQUARE, 3450, 20, 1 / 1.5 - 0.001, LINEAR) is None


@given(
    st.floats(0.05, 0.95),
    st.lists(st.floats(0.3, 1.2), min_size=2, max_size=6),
    st.sampled_from([LEAST_FALL, MIDDLE, MOST_FALL]),
)
def test_lower_power_never_raises_flow(share, ratios, shape):
    factors = [flow_factor(SQUARE, 1725, 20 * share, ratio, shape) for ratio in sorted(ratios, reverse=True)]
    known = [factor for factor in factors if factor is not None]
    assert all(later <= earlier + 1e-12 for earlier, later in pairwise(known))
    assert all(0 <= factor <= 1 for factor in known)
    assert factors[len(known) :] == [None] * (len(factors) - len(known))  # once below a closed pipe, always below


@given(st.floats(0.1, 0.9), st.floats(0.7, 1.0))
def test_the_three_assumptions_are_in_order(share, ratio):
    low, mid, high = (flow_factor(SQUARE, 1725, 20 * share, ratio, shape) for shape in (MOST_FALL, MIDDLE, LEAST_FALL))
    assert (low or 0) <= (mid or 0) + 1e-6 <= (high or 0) + 2e-6


def test_the_simulated_pumps_lie_within_the_bounds():
    """The simulator shares no code with the pipeline, has motor losses and a leakage of its own, and knows the truth."""
    noise = np.random.default_rng(11)
    inside, total = 0, 0
    for _ in range(100):
        pump_class = PUMP_CLASSES[int(noise.integers(len(PUMP_CLASSES)))]
        machine = draw_machine(pump_class, 0.0, noise)
        flows = np.linspace(0, 0.95 * pump_class.open_flow_m3h, 8)
        curve = PumpCurve(FULL_SPEED_RPM, tuple(flows), tuple(machine.head_m(np.array(FULL_SPEED_RPM), flows)))
        speed, loading = float(noise.uniform(1200, 2800)), float(noise.uniform(2.0, 30.0))
        clean, now = (float(machine.flow_m3h(np.array(speed), state)) for state in (0.0, loading))
        watts_clean, watts_now = (float(machine.running_w(np.array(speed), state)) for state in (0.0, loading))
        if watts_now > 0.96 * watts_clean:
            continue  # not called loading
        low, high = (
            flow_factor(curve, speed, clean, watts_now / watts_clean, shape) for shape in (MOST_FALL, LEAST_FALL)
        )
        total += 1
        inside += (low or 0.0) <= now / clean <= (high or 0.0)
    assert total >= 40
    assert inside / total >= 0.95
