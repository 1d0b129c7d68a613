"""Pump curves: head against flow at one rated speed, and the affinity laws that scale them.

Belongs here: what the pump alone can do. Where it meets the pipes stands in `operating_point.py`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from pumpledger.problems import CurveError

_EXTENSION = 4.0  # of the last flow squared: how far the uncertainty bounds may follow the last segment


@dataclass(frozen=True)
class PumpCurve:
    """Total head against flow at ``rated_speed_rpm``, by points; between them head is linear in flow squared.

    Centrifugal pumps fall about with the square of flow, so that this needs few points, and it is exact for
    ``head = a - b * flow**2``, the one-point curve of EPANET. The last point ends the curve: nothing is known beyond
    it.

    Args:
        rated_speed_rpm: speed the curve was drawn at [rev/min].
        flow_m3h: flows, rising, the first 0 [m3/h].
        head_m: total heads, falling [m].

    Raises:
        CurveError: fewer than three points, flows that do not rise from 0, heads that do not fall, or a speed not above
            0.
    """

    rated_speed_rpm: float
    flow_m3h: tuple[float, ...]
    head_m: tuple[float, ...]

    def __post_init__(self) -> None:
        flow, head = np.asarray(self.flow_m3h, float), np.asarray(self.head_m, float)
        if not np.isfinite(self.rated_speed_rpm) or self.rated_speed_rpm <= 0:
            raise CurveError(f"its speed is {self.rated_speed_rpm} rpm")
        if flow.size != head.size or flow.size < 3:
            raise CurveError("it needs three points of flow and head at least")
        if not (np.isfinite(flow).all() and np.isfinite(head).all()):
            raise CurveError("a point lacks its flow or its head")
        if flow[0] != 0 or (np.diff(flow) <= 0).any():
            raise CurveError("its flows do not rise from 0")
        rises = np.flatnonzero(np.diff(head) >= 0)
        if rises.size:
            raise CurveError(f"head does not fall from point {rises[0] + 1} to point {rises[0] + 2}")
        if head[-1] < 0:
            raise CurveError("its last head is below 0")

    @classmethod
    def one_point(cls, flow_m3h: float, head_m: float, rated_speed_rpm: float) -> PumpCurve:
        """The curve EPANET draws through one design point: 4/3 of the head at no flow, no head at twice the flow.

        Source: EPANET one-point curve, as in the docstring of `wntr`'s ``get_head_curve_coefficients``.
        """
        flows = np.linspace(0, 2 * flow_m3h, 5)
        heads = 4 / 3 * head_m - head_m / 3 * (flows / flow_m3h) ** 2
        return cls(rated_speed_rpm, tuple(flows.tolist()), (*heads[:-1].tolist(), 0.0))

    @property
    def shutoff_head_m(self) -> float:
        """Head at no flow and rated speed [m]."""
        return self.head_m[0]

    @property
    def largest_flow_m3h(self) -> float:
        """Flow of the last point, at rated speed [m3/h]."""
        return self.flow_m3h[-1]

    @cached_property
    def flow_squared(self) -> np.ndarray:
        """Squares of the flows at rated speed, one by point [(m3/h)2]."""
        return np.square(np.asarray(self.flow_m3h, float))

    @cached_property
    def heads(self) -> np.ndarray:
        """Heads at rated speed, one by point [m]."""
        return np.asarray(self.head_m, float)

    @cached_property
    def extended(self) -> tuple[np.ndarray, np.ndarray]:
        """Flow squared and head with the last segment drawn on: for the edges of an uncertainty band only, never for a
        value."""
        squares, heads = self.flow_squared, self.heads
        slope = (heads[-1] - heads[-2]) / (squares[-1] - squares[-2])
        far = _EXTENSION * squares[-1]
        return np.append(squares, far), np.append(heads, heads[-1] + slope * (far - squares[-1]))

    def head_at(self, flow_m3h: float, speed_rpm: float) -> float:
        """Total head at a flow and speed [m], by the affinity laws: flow with speed, head with its square.

        Raises:
            CurveError: the flow lies beyond the last point of the curve at this speed.
        """
        ratio = speed_rpm / self.rated_speed_rpm
        if not 0 <= flow_m3h <= self.largest_flow_m3h * ratio * (1 + 1e-9):
            raise CurveError(
                f"{flow_m3h:.2f} m3/h at {speed_rpm:.0f} rpm lies beyond the last point of the curve, "
                f"{self.largest_flow_m3h * ratio:.2f} m3/h there"
            )
        return ratio**2 * float(np.interp((flow_m3h / ratio) ** 2, self.flow_squared, self.heads))

    def scaled(self, head_factor: float) -> PumpCurve:
        """The same pump with every head multiplied by ``head_factor``."""
        return PumpCurve(self.rated_speed_rpm, self.flow_m3h, tuple((self.heads * head_factor).tolist()))


def points(flow_m3h: Sequence[float], head_m: Sequence[float], rated_speed_rpm: float) -> PumpCurve:
    """A pump curve from points in any order."""
    order = np.argsort(np.asarray(flow_m3h, float), kind="stable")
    return PumpCurve(
        float(rated_speed_rpm), tuple(float(flow_m3h[i]) for i in order), tuple(float(head_m[i]) for i in order)
    )
