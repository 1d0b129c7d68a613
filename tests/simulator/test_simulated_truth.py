"""The integrated truth against scipy's adaptive quadrature on a speed written out by hand."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

import numpy as np
import pytest
from scipy.integrate import quad

from pumpledger.simulator.controller import AuxWindow, Controller, KeyedPlan, Manual, Period
from pumpledger.simulator.horizon import Horizon
from pumpledger.simulator.physics import Machine
from pumpledger.simulator.trace import Conditions, Trace, simulate

DAY = date(2026, 11, 3)
HORIZON = Horizon("America/Los_Angeles", DAY, DAY)
START = HORIZON.midnight_s(DAY)
CONTROLLER = Controller(
    plans=(KeyedPlan(date(2026, 10, 1), (Period(1800, 360, 420), Period(1200, 420, 900))),),
    priming_rpm=2400,
    priming_s=300,
    ramp_rpm_per_s=200.0,
    aux_windows=(AuxWindow(date(2026, 10, 1), 390, 600),),
    aux_min_rpm=1500.0,
    manual=(Manual(START + 20 * 3600, START + 20 * 3600 + 600, 3000, True),),
)
TIMES = np.array([HORIZON.warm_start_s, HORIZON.end_s + 3600.0])


def conditions(first: float = 1.0, last: float = 1.0, loading: float = 0.0) -> Conditions:
    """Supply factor on a straight line, a steady filter, mild air."""
    return Conditions(TIMES, np.array([first, last]), np.full(2, loading), np.full(2, 15.0))


# Corners by hand: (seconds since midnight, speed). Ramps at 200 rpm/s: 2400/200 = 12 s, 600/200 = 3 s, 1200/200 = 6 s,
# 3000/200 = 15 s.
CORNERS = [
    (0, 0),
    (21600, 0),
    (21612, 2400),
    (21900, 2400),
    (21903, 1800),
    (25200, 1800),
    (25203, 1200),
    (54000, 1200),
    (54006, 0),
    (72000, 0),
    (72012, 2400),
    (72300, 2400),
    (72303, 3000),
    (72600, 3000),
    (72615, 0),
    (86400, 0),
]


Value = Callable[[float, float], float]


def by_quadrature(value: Value, skip: tuple[float, float] = (0.0, 0.0)) -> float:
    """Integral of ``value(time, speed)`` over the running parts of the day [s], corner to corner, without ``skip``."""
    total = 0.0
    for (a, left), (b, right) in zip(CORNERS, CORNERS[1:], strict=False):
        if left == right == 0:
            continue
        for lower, upper in ((a, min(b, skip[0])), (max(a, skip[1]), b)) if skip[0] < b and a < skip[1] else ((a, b),):
            if upper > lower:
                total += quad(along(value, a, left, (right - left) / (b - a)), lower, upper, epsabs=1e-9, limit=200)[0]
    return total


def along(value: Value, start: float, speed: float, slope: float) -> Callable[[float], float]:
    """``value`` along one straight line of the speed."""
    return lambda t: value(t, speed + slope * (t - start))


@pytest.fixture
def trace(machine: Machine) -> Trace:
    return simulate(machine, CONTROLLER, HORIZON, conditions(0.98, 1.03, 0.1))


def test_corners_of_the_speed(trace: Trace) -> None:
    seconds, speeds = np.array(CORNERS, dtype=float).T
    assert trace.speed_at(START + seconds) == pytest.approx(speeds, abs=1e-9)
    middles = (seconds[1:] + seconds[:-1]) / 2.0
    assert trace.speed_at(START + middles) == pytest.approx(np.interp(middles, seconds, speeds), abs=1e-9)


def test_energy_of_a_day(machine: Machine, trace: Trace) -> None:
    """Within 0.01 % of quadrature; ramps and a drifting supply are inside."""
    span = TIMES[1] - TIMES[0]

    def watts(t: float, speed: float) -> float:
        return float(machine.running_w(speed, 0.1)) * (0.98 + 0.05 * (START + t - TIMES[0]) / span)

    still_s = 86_400 - (54_006 - 21_600) - (72_615 - 72_000)
    expected = (by_quadrature(watts) + 4.0 * still_s) / 3.6e6
    assert np.diff(trace.energy_kwh_at(np.array([START, START + 86_400.0])))[0] == pytest.approx(expected, rel=1e-4)


def test_volume_of_a_day_leaves_out_water_to_waste(machine: Machine, trace: Trace) -> None:
    def flow(t: float, speed: float) -> float:
        return float(machine.flow_m3h(speed, 0.1)) / 3600.0

    day = np.diff(trace.volume_m3_at(np.array([START, START + 86_400.0])))[0]
    assert day == pytest.approx(by_quadrature(flow, (72_000.0, 72_600.0)), rel=1e-4)
    assert day < by_quadrature(flow)


def test_running_time_of_a_day(trace: Trace) -> None:
    assert np.diff(trace.run_s_at(np.array([START, START + 86_400.0])))[0] == pytest.approx(
        (54_006 - 21_600) + (72_615 - 72_000), abs=0.01
    )


def test_integral_of_the_speed(trace: Trace) -> None:
    edges = START + np.array([0.0, 21_606.0, 30_000.0, 86_400.0])
    seconds, speeds = np.array(CORNERS, dtype=float).T
    expected = [
        quad(lambda t: float(np.interp(t, seconds, speeds)), a - START, b - START, points=seconds[1:-1], limit=500)[0]
        for a, b in zip(edges, edges[1:], strict=False)
    ]
    assert np.diff(trace.turns_at(edges)) == pytest.approx(expected, rel=1e-6)


def test_the_relay_needs_window_and_speed(trace: Trace) -> None:
    at = START + np.array([6.4, 6.6, 6.9, 7.1, 20.1]) * 3600.0
    # before the window, in it above the minimum, still, below the minimum, outside at high speed
    assert trace.aux_at(at).tolist() == [False, True, True, False, False]


def test_a_change_during_a_ramp_starts_from_the_speed_reached(machine: Machine) -> None:
    slow = Controller(
        plans=(KeyedPlan(date(2026, 10, 1), (Period(600, 0, 1440),)),),
        ramp_rpm_per_s=100.0,
        manual=(Manual(START + 1000, START + 1010, 3400), Manual(START + 1010, START + 2000, 1000)),
    )
    fast = simulate(machine, slow, HORIZON, conditions())
    assert float(fast.speed_at(np.array([START + 1005.0]))[0]) == pytest.approx(
        600 + 2800 * 5 / 20
    )  # at most 20 s a ramp
    assert float(fast.speed_at(np.array([START + 1010.0]))[0]) == pytest.approx(2000.0)
    assert float(fast.speed_at(np.array([START + 1020.0]))[0]) == pytest.approx(1000.0)
