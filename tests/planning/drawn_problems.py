"""Made-up plan problems from a seed: pumps of the simulator, invented tariffs, windows, hours and limits."""

from __future__ import annotations

import numpy as np

from pumpledger.planning.problem import (
    QUARTERS,
    FlowLimit,
    Hours,
    LoadWindow,
    LongestPause,
    Period,
    PlanProblem,
    QuietWindow,
    Requirement,
    Speeds,
    StartCost,
    Turnover,
)
from pumpledger.simulator.physics import PUMP_CLASSES, draw_machine

GRID = np.arange(600.0, 3451.0, 25.0)


def drawn_speeds(rng: np.random.Generator, every: int = 1) -> Speeds:
    """Flow and power of a simulated pump on the grid, or on each ``every``-th speed of it; flow +-4 to 15 %."""
    lifted = float(rng.choice([0.0, 0.0, 0.3, 0.6, 1.2]))
    machine = draw_machine(PUMP_CLASSES[int(rng.integers(len(PUMP_CLASSES)))], lifted, rng)
    speed = GRID[int(rng.integers(every)) :: every]
    flow, power, half = machine.flow_m3h(speed), machine.running_w(speed), rng.uniform(0.04, 0.15)
    flow = np.where(flow > 0.3, flow, 0.0)
    return Speeds(speed, flow * (1 - half), flow, flow * (1 + half), power * 0.97, power, power * 1.03)


def drawn_price(rng: np.random.Generator) -> np.ndarray:
    """A week's mean price of each quarter, two to four levels: weekday peaks weigh 5 of 7 days."""
    hour, base = np.arange(QUARTERS) / 4, round(float(rng.uniform(0.08, 0.2)), 3)
    price, peak = np.full(QUARTERS, base), 1 + 5 / 7 * rng.uniform(0.5, 2)
    kind, begin = int(rng.integers(4)), int(rng.integers(14, 18))
    if kind == 0:
        price[(hour >= begin) & (hour < begin + rng.integers(3, 6))] *= peak
    elif kind == 1:
        price[(hour < 7) | (hour >= 23)] *= 0.5
        price[(hour >= begin) & (hour < begin + 4)] *= peak
    elif kind == 2:
        price[hour < 6] *= 0.6
        price[(hour >= 7) & (hour < 10)] *= 1.6
        price[(hour >= 17) & (hour < 21)] *= 2.1
    else:
        price[(hour >= 10) & (hour < 15)] *= 0.5
        price[(hour >= 16) & (hour < 21)] *= 1.8
        price[hour < 5] *= 0.8
    return price


def drawn_problem(seed: int, flat: bool = False, every: int = 1) -> PlanProblem:
    """A residential site's problem; about one in thirty cannot be met.

    A quiet window on a third of them, a load's window on three in ten, skimming and chlorination on four in ten each, a
    longest pause on a tenth, a cost of starts on six in ten, a controller that holds no period across midnight on a
    fifth. Flat ones have none of the windows, and half of them no tariff.
    """
    rng = np.random.default_rng([seed, 7, every])
    speeds = drawn_speeds(rng, every)
    moving = np.flatnonzero(speeds.flow_lo > 0)
    usual = moving[np.argmin(np.abs(speeds.speed_rpm[moving] - rng.uniform(900, 1900)))]
    rated = np.argmin(np.abs(speeds.speed_rpm - rng.uniform(2200, 3450)))
    asked: list[Requirement] = [
        Turnover("turnover", float(speeds.flow_lo[usual] * rng.uniform(8, 23))),
        FlowLimit("filter rating", float(speeds.flow_hi[rated])),
    ]
    if rng.random() < 0.35 and not flat:
        window = (88, 32) if rng.random() < 0.5 else (48, 8)
        asked.append(QuietWindow("quiet hours", *window, float(rng.choice([0, 900, 1200, 1500]))))
    if rng.random() < 0.3 and not flat:
        start, length = 4 * int(rng.integers(8, 17)), 4 * int(rng.integers(2, 5))
        asked.append(LoadWindow("heater hours", start, length, float(rng.choice([1200, 1500, 1800]))))
    if rng.random() < 0.4:
        asked.append(Hours("skimming", float(rng.choice([1800, 2200, 2400])), int(rng.integers(2, 9))))
    if rng.random() < 0.4:
        asked.append(Hours("chlorination", float(rng.choice([1000, 1050, 1100, 1300])), int(rng.integers(16, 49))))
    if rng.random() < 0.1:
        asked.append(LongestPause("longest pause", int(rng.integers(24, 60))))
    start = StartCost() if rng.random() < 0.4 else StartCost(float(rng.uniform(0.01, 0.1)), float(rng.uniform(0, 0.02)))
    crosses = bool(rng.random() < 0.8)
    price = np.full(QUARTERS, 0.17) if flat else drawn_price(rng)
    high = int(min(GRID[np.argmin(np.abs(GRID - speeds.speed_rpm[usual] - 400))], 3450))
    return PlanProblem(
        site_id=f"S{seed}",
        pump_id=f"P{seed}",
        speeds=speeds,
        requirements=tuple(asked),
        price_per_kwh=None if flat and rng.random() < 0.5 else price,
        start_cost=start,
        crosses_midnight=crosses,
        in_force=(Period(high, 32, 8), Period(int(speeds.speed_rpm[usual]), 40, 40)),
        standby_w=float(rng.choice([0.0, 4.0])),
        pool_volume_m3=60.0,
    )
