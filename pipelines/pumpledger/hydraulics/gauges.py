"""Total head from the two gauges of a pad, and the flow at which the pump gives it.

Belongs here: one gauge reading of one pump. Friction that follows from it stands in `system.py`.
"""

from __future__ import annotations

import numpy as np

from pumpledger.hydraulics.operating_point import GRAVITY_M_S2, WATER_DENSITY_KG_M3
from pumpledger.hydraulics.pump import PumpCurve
from pumpledger.problems import CurveError


def head_from_gauges_m(return_pressure_kpa: float, suction_vacuum_kpa: float) -> float:
    """Total head across the pump [m]: pressure after it plus vacuum before it, as height of water of 20 C.

    Gauge height and velocity head are left out; `uncertainty.GAUGE_HEAD_M` allows for both.

    Raises:
        CurveError: either is below 0.

    Source: trade rule 2.31 ft/psi and 1.13 ft/inHg [from memory, high confidence]; the same by density and gravity.
    """
    if return_pressure_kpa < 0 or suction_vacuum_kpa < 0:
        raise CurveError("a gauge reading is below 0")
    return (return_pressure_kpa + suction_vacuum_kpa) * 1000 / (WATER_DENSITY_KG_M3 * GRAVITY_M_S2)


def flow_at_head_m3h(pump: PumpCurve, speed_rpm: float, head_m: float) -> float:
    """Flow at which the pump gives ``head_m`` at ``speed_rpm`` [m3/h].

    Raises:
        CurveError: the speed is not above 0, the head is not below the shut-off head at this speed, or it lies below
            the last point of the curve.
    """
    if not speed_rpm > 0:
        raise CurveError("the speed of the reading is not above 0")
    ratio = speed_rpm / pump.rated_speed_rpm
    at_rated = head_m / ratio**2
    if at_rated >= pump.shutoff_head_m:
        raise CurveError(
            f"the gauges show {head_m:.2f} m at {speed_rpm:.0f} rpm, above the curve's shut-off head of "
            f"{pump.shutoff_head_m * ratio**2:.2f} m there"
        )
    if at_rated < pump.heads[-1]:
        raise CurveError(
            f"the gauges show {head_m:.2f} m at {speed_rpm:.0f} rpm, below the last point of the curve, "
            f"{pump.heads[-1] * ratio**2:.2f} m there"
        )
    return ratio * float(np.sqrt(np.interp(at_rated, pump.heads[::-1], pump.flow_squared[::-1])))
