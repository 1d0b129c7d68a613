"""Flow against speed with its band by Monte Carlo: for pumps whose inputs bend the answer too much for first order.

Belongs here: sampling, with a fixed seed, over all samples and speeds at once. Used where water is lifted (near the
zero-flow speed the answer has a corner) and where friction comes from gauges or from the pipe size (wide, and skew).
`flow_band.py` is the first-order way for the rest; a test holds the two against each other.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from statistics import NormalDist

import numpy as np

from pumpledger.hydraulics.operating_point import flows
from pumpledger.hydraulics.pump import PumpCurve
from pumpledger.hydraulics.system import SystemCurve, friction_from_reading
from pumpledger.hydraulics.uncertainty import CURVE_HEAD, STATIC_HEAD, STATIC_HEAD_LEAST_M, Sides

SAMPLES = 256
SEED = 20261026
NINETY = NormalDist().inv_cdf(0.95)  # half-width of a 90 % band, in standard deviations
_LEAST_SHARE = 1e-3  # of the largest flow: a sampled reading never asks for less, so that friction stays finite


@cache
def draws() -> np.ndarray:
    """Shape (3, SAMPLES): independent standard normal draws of the reading, the pump's heads and the static head, each
    divided by ``NINETY`` so that a half-width multiplies it. Latin hypercube with a fixed seed: every stratum once."""
    strata = np.array([NormalDist().inv_cdf((index + 0.5) / SAMPLES) for index in range(SAMPLES)])
    generator = np.random.default_rng(SEED)
    return np.stack([generator.permutation(strata) for _ in range(3)]) / NINETY


def band_by_readings(
    pump: PumpCurve,
    static_head_m: float,
    readings: Sequence[tuple[float, float]],
    flow_off: Sides,
    speeds_rpm: np.ndarray,
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Low (5 %), mid and high (95 %) flow at each speed [m3/h] from flows read; arguments as of ``flow_band``."""
    mid_friction = np.mean([friction_from_reading(pump, *reading, static_head_m) for reading in readings])
    read, factor, static = _samples(static_head_m)
    shift, half = (flow_off.above - flow_off.below) / 2, (flow_off.above + flow_off.below) / 2
    squares, heads = pump.extended
    friction = np.zeros(SAMPLES)
    for speed_rpm, flow_m3h in readings:
        ratio = speed_rpm / pump.rated_speed_rpm
        flow = flow_m3h * np.maximum(1 + shift + half * read, _LEAST_SHARE)
        head = factor * ratio**2 * np.interp((flow / ratio) ** 2, squares, heads)
        friction += np.maximum(head - static, 0.0) / flow**2 / len(readings)
    return _band(pump, SystemCurve(static_head_m, float(mid_friction)), (friction, factor, static), speeds_rpm)


def band_by_gauges(
    pump: PumpCurve,
    static_head_m: float,
    reading: tuple[float, float, float],
    head_uncertainty_m: float,
    speeds_rpm: np.ndarray,
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Low, mid and high flow at each speed [m3/h] from one gauge reading.

    Args:
        pump: pump curve.
        static_head_m: height the water is lifted [m].
        reading: speed [rev/min], flow solved from the head [m3/h], total head by the gauges [m].
        head_uncertainty_m: half-width of that head [m].
        speeds_rpm: shape (n,), speeds [rev/min].

    Raises:
        CurveError: the head leaves nothing for friction.
    """
    speed_rpm, flow_m3h, head_m = reading
    system = SystemCurve(static_head_m, friction_from_reading(pump, speed_rpm, flow_m3h, static_head_m))
    read, factor, static = _samples(static_head_m)
    squares, heads = pump.extended
    ratio = speed_rpm / pump.rated_speed_rpm
    head = np.maximum(head_m + head_uncertainty_m * read, 0.0)
    square = np.interp(head / factor / ratio**2, heads[::-1], squares[::-1])
    flow = ratio * np.sqrt(np.maximum(square, (_LEAST_SHARE * pump.largest_flow_m3h) ** 2))
    return _band(pump, system, (np.maximum(head - static, 0.0) / flow**2, factor, static), speeds_rpm)


def band_by_friction(
    pump: PumpCurve, system: SystemCurve, friction_factor: float, speeds_rpm: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Low, mid and high flow at each speed [m3/h] where friction is known within ``friction_factor`` either way."""
    read, factor, static = _samples(system.static_head_m)
    return _band(pump, system, (system.friction * friction_factor**read, factor, static), speeds_rpm)


def _samples(static_head_m: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    read, head, height = draws()
    static_off = max(STATIC_HEAD * static_head_m, STATIC_HEAD_LEAST_M)
    return read, 1 + CURVE_HEAD * head, np.maximum(static_head_m + static_off * height, 0.0)


def _band(
    pump: PumpCurve,
    system: SystemCurve,
    samples: tuple[np.ndarray, np.ndarray, np.ndarray],
    speeds_rpm: np.ndarray,
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    mid = flows(pump, system, speeds_rpm)
    many = sampled_flows(pump, *samples, speeds_rpm)
    first = SAMPLES // 20
    ordered = np.partition(many, (first, SAMPLES - 1 - first), axis=0)
    # No median of the samples: the middle is the answer of the inputs as given, and the band is drawn around it.
    low, high = np.minimum(ordered[first], mid), np.maximum(ordered[-1 - first], mid)
    return np.where(mid > 0, low, mid), mid, np.where(np.isnan(mid), mid, high)


def sampled_flows(
    pump: PumpCurve, friction: np.ndarray, head_factor: np.ndarray, static_head_m: np.ndarray, speeds_rpm: np.ndarray
) -> np.ndarray:
    """Flow of every sample at every speed [m3/h], shape (samples, speeds); the last segment may be drawn on.

    As ``operating_point.flows``, whose inverse interpolation is written as a sum over the segments of the curve, so
    that each sample may have a curve of its own.
    """
    squares, heads = pump.extended
    surplus = head_factor[:, None] * heads - friction[:, None] * squares
    ratio = np.asarray(speeds_rpm, float) / pump.rated_speed_rpm
    running = ratio > 0
    needed = static_head_m[:, None] / np.square(np.where(running, ratio, 1.0))
    square = np.zeros_like(needed)
    for segment in range(squares.size - 1):
        upper, lower = surplus[:, segment, None], surplus[:, segment + 1, None]
        share = np.clip((upper - needed) / (upper - lower), 0.0, 1.0)
        square += share * (squares[segment + 1] - squares[segment])
    return np.where(running, ratio, 0.0) * np.sqrt(square)
