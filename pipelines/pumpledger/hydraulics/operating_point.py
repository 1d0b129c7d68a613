"""Operating points: flow and head where a pump curve meets a system curve, at one speed or at many.

Belongs here: the solver. Uncertainty stands in `flow_band.py`. The last point of a pump curve is never passed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pumpledger.hydraulics.pump import PumpCurve
from pumpledger.hydraulics.system import SystemCurve
from pumpledger.problems import CurveError

WATER_DENSITY_KG_M3 = 998.2  # 20 C; over 10-30 C it moves by 0.4 %
GRAVITY_M_S2 = 9.80665  # standard gravity


@dataclass(frozen=True, slots=True)
class OperatingPoint:
    """Flow [m3/h] and total head [m] of a running pump."""

    flow_m3h: float
    head_m: float

    @property
    def water_power_w(self) -> float:
        """Hydraulic power given to the water [W]: density x gravity x flow x head."""
        return water_power_w(self.flow_m3h, self.head_m)


def water_power_w(flow_m3h: float, head_m: float) -> float:
    """Hydraulic power [W] of a flow [m3/h] lifted by a head [m], with water of 20 C."""
    return WATER_DENSITY_KG_M3 * GRAVITY_M_S2 * flow_m3h / 3600 * head_m


def operating_point(pump: PumpCurve, system: SystemCurve, speed_rpm: float) -> OperatingPoint | None:
    """Flow and head where the pump curve at ``speed_rpm`` meets the system curve.

    Affinity laws scale the curve: flow with speed, head with its square. Returns ``None`` where the shut-off head does
    not exceed the static head: the pump turns and moves no water.

    Args:
        pump: head against flow at rated speed [m against m3/h].
        system: static head [m] and friction coefficient [m/(m3/h)2].
        speed_rpm: shaft speed [rev/min], 0 < speed <= rated.

    Raises:
        CurveError: the curves meet beyond the last point of the pump curve.
        ValueError: the speed is not within 0 < speed <= rated.

    Source: affinity laws, any pump handbook; checked against EPANET in tests/reference.
    """
    if not 0 < speed_rpm <= pump.rated_speed_rpm:
        raise ValueError(f"speed {speed_rpm} rpm is not within 0 to {pump.rated_speed_rpm} rpm")
    flow = float(flows(pump, system, np.array([speed_rpm]))[0])
    if np.isnan(flow):
        raise CurveError(f"at {speed_rpm:.0f} rpm the system curve passes the last point of the pump curve")
    return OperatingPoint(flow, system.head_at(flow)) if flow > 0 else None


def flows(
    pump: PumpCurve, system: SystemCurve, speeds_rpm: np.ndarray, follow_last_segment: bool = False
) -> np.ndarray:
    """Flow at each speed [m3/h]: 0 where the pump moves no water, NaN where the curves meet beyond the last point.

    With u = (flow / ratio)2 both curves are straight in u between points: head(u) - friction * u = static head /
    ratio2. The left side falls, so that its inverse is one interpolation.

    Args:
        pump: pump curve.
        system: system curve.
        speeds_rpm: shape (n,), shaft speeds [rev/min], not below 0. The affinity laws also carry above the rated speed;
            whether that is wanted is for the caller to say.
        follow_last_segment: draw the last segment of the pump curve on, for the edges of an uncertainty band only.

    Returns:
        Shape (n,).
    """
    squares, heads = pump.extended if follow_last_segment else (pump.flow_squared, pump.heads)
    surplus = heads - system.friction * squares
    ratio = np.asarray(speeds_rpm, float) / pump.rated_speed_rpm
    with np.errstate(divide="ignore", invalid="ignore"):
        needed = system.static_head_m / np.square(ratio)
    flow = ratio * np.sqrt(np.interp(needed, surplus[::-1], squares[::-1]))
    if not follow_last_segment:
        flow = np.where(needed < surplus[-1] - 1e-9 * heads[0], np.nan, flow)
    return np.where((ratio <= 0) | (needed >= surplus[0]), 0.0, flow)


def zero_flow_speed_rpm(pump: PumpCurve, static_head_m: float) -> float:
    """Speed up to which the pump turns, draws power and moves no water [rev/min]: rated speed x sqrt(static / shut-off
    head).

    Above the rated speed where the static head exceeds the shut-off head.
    """
    return pump.rated_speed_rpm * float(np.sqrt(static_head_m / pump.shutoff_head_m))
