"""System curves: the head that pipes, filter and height ask for at a flow, and friction from one known point.

Belongs here: the pipes alone. Source of the form: H = Hs + k * Q2, any pump handbook; the trade's system curves are k
alone.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pumpledger.hydraulics.pump import PumpCurve
from pumpledger.problems import CurveError


@dataclass(frozen=True, slots=True)
class SystemCurve:
    """Static head and friction: ``head = static_head_m + friction * flow**2``.

    Args:
        static_head_m: height the water is lifted [m], not below 0.
        friction: friction coefficient [m/(m3/h)2], not below 0.

    Raises:
        CurveError: either is below 0 or not a number.
    """

    static_head_m: float
    friction: float

    def __post_init__(self) -> None:
        if not (np.isfinite(self.static_head_m) and np.isfinite(self.friction)):
            raise CurveError("static head or friction is not a number")
        if self.static_head_m < 0 or self.friction < 0:
            raise CurveError("static head or friction is below 0")

    def head_at(self, flow_m3h: float) -> float:
        """Head asked for at a flow [m]."""
        return self.static_head_m + self.friction * flow_m3h**2


def friction_from_design(flow_m3h: float, head_m: float, static_head_m: float) -> float:
    """Friction coefficient of the system through one design point [m/(m3/h)2]; ``head_m`` includes the static head.

    Raises:
        CurveError: no flow, or a head that does not exceed the static head.
    """
    if not flow_m3h > 0:
        raise CurveError("the design flow is not above 0")
    if not head_m > static_head_m:
        raise CurveError(f"the design head of {head_m:.2f} m does not exceed the static head of {static_head_m:.2f} m")
    return (head_m - static_head_m) / flow_m3h**2


def friction_from_reading(pump: PumpCurve, speed_rpm: float, flow_m3h: float, static_head_m: float) -> float:
    """Friction coefficient of the system on which the pump gave ``flow_m3h`` at ``speed_rpm`` [m/(m3/h)2].

    Raises:
        CurveError: the reading lies off the pump curve, or the pump's head there does not exceed the static head.
    """
    if not speed_rpm > 0:
        raise CurveError("the speed of the reading is not above 0")
    return friction_from_design(flow_m3h, pump.head_at(flow_m3h, speed_rpm), static_head_m)
