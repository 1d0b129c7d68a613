"""Flow against speed with its band: the system fitted through known points, and solved again with each input off.

Belongs here: low, mid and high flow of one pump at many speeds. The half-widths stand in `uncertainty.py`.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pumpledger.hydraulics.operating_point import flows
from pumpledger.hydraulics.pump import PumpCurve
from pumpledger.hydraulics.system import SystemCurve, friction_from_reading
from pumpledger.hydraulics.uncertainty import CURVE_HEAD, STATIC_HEAD, STATIC_HEAD_LEAST_M, Sides


def flow_band(
    pump: PumpCurve,
    static_head_m: float,
    readings: Sequence[tuple[float, float]],
    flow_off: Sides,
    speeds_rpm: np.ndarray,
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Low, mid and high flow at each speed [m3/h].

    The friction is the mean over the readings. Each of three inputs is then moved both ways, the friction fitted again,
    and the flow solved again: the flow read, the pump's heads, the static head. The three are taken as independent, so
    their deviations add in quadrature. At a speed that was read the band is about ``flow_off``; it widens away
    from it, most of all near the zero-flow speed, where little head is left over.

    Args:
        pump: pump curve.
        static_head_m: height the water is lifted [m].
        readings: known points (speed [rev/min], flow [m3/h]), at least one, each on the pump curve.
        flow_off: how far the truth may lie off the flows read.
        speeds_rpm: shape (n,), speeds [rev/min].

    Returns:
        Three arrays of shape (n,): exactly 0 at speed 0, NaN in all three where the curves meet beyond the last point.

    Raises:
        CurveError: a reading lies off the pump curve, or leaves no head for friction.
    """
    friction = float(np.mean([friction_from_reading(pump, speed, flow, static_head_m) for speed, flow in readings]))
    mid = flows(pump, SystemCurve(static_head_m, friction), speeds_rpm)

    static_off = max(STATIC_HEAD * static_head_m, STATIC_HEAD_LEAST_M)
    below, above = np.zeros_like(mid), np.zeros_like(mid)
    for moved in (
        [(pump, static_head_m, factor) for factor in (1 - flow_off.below, 1 + flow_off.above)],
        [(pump.scaled(factor), static_head_m, 1.0) for factor in (1 - CURVE_HEAD, 1 + CURVE_HEAD)],
        [(pump, max(static_head_m + step, 0.0), 1.0) for step in (-static_off, static_off)],
    ):
        away = np.stack([_moved_flow(*case, readings, speeds_rpm) - mid for case in moved])
        below += np.square(np.minimum(away.min(axis=0), 0))
        above += np.square(np.maximum(away.max(axis=0), 0))
    return np.maximum(mid - np.sqrt(below), 0), mid, mid + np.sqrt(above)


def _moved_flow(
    pump: PumpCurve,
    static_head_m: float,
    factor: float,
    readings: Sequence[tuple[float, float]],
    speeds_rpm: np.ndarray,
) -> np.ndarray:
    """Flow at each speed with one input moved; the last segment of the pump curve may be drawn on here."""
    squares, heads = pump.extended
    frictions = []
    for speed_rpm, flow_m3h in readings:
        ratio, flow = speed_rpm / pump.rated_speed_rpm, flow_m3h * factor
        head = ratio**2 * float(np.interp((flow / ratio) ** 2, squares, heads))
        # A moved reading may leave nothing for friction; a system cannot have less than none.
        frictions.append(max(head - static_head_m, 0.0) / flow**2)
    system = SystemCurve(static_head_m, float(np.mean(frictions)))
    return flows(pump, system, speeds_rpm, follow_last_segment=True)
