"""How far the flow fell when a pump draws less at the same speed: a loaded filter throttles it along its own curve.

Belongs here: the physics of one pump at one speed, and the assumptions that it takes. Which power belongs to a loaded
filter is said in `accounting/loading.py`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pumpledger.hydraulics.pump import PumpCurve

_GRID = np.linspace(0.0, 1.0, 401)


@dataclass(frozen=True, slots=True)
class PowerShape:
    """How wire power at one speed follows flow.

    Shaft power is head x flow over efficiency, and efficiency is a parabola that is 0 at no flow and highest at
    ``best_share`` of the flow at no head: so shaft power is head / (2 - flow / best flow) to a constant, and stays finite
    at no flow. ``fixed_share`` of the wire power before the change follows neither: electronics and no-load losses.

    Common practice, no source; the three below are an assumption's middle and its two ends, which are wide because no
    pool pump publishes them.
    """

    best_share: float
    fixed_share: float


LEAST_FALL = PowerShape(0.50, 0.0)  # of flow: power falls with flow as fast as a parabola allows
MIDDLE = PowerShape(0.58, 0.10)
MOST_FALL = PowerShape(0.65, 0.18)


def open_flow_m3h(pump: PumpCurve) -> float:
    """Flow at no head and rated speed [m3/h], the last segment drawn on where the curve ends before."""
    squares, heads = pump.flow_squared, pump.heads
    slope = (heads[-1] - heads[-2]) / (squares[-1] - squares[-2])
    return float(np.sqrt(squares[-1] - heads[-1] / slope))


def flow_factor(
    pump: PumpCurve, speed_rpm: float, flow_m3h: float, power_ratio: float, shape: PowerShape = MIDDLE
) -> float | None:
    """Flow now / ``flow_m3h``, at most 1, when wire power at ``speed_rpm`` is ``power_ratio`` of what it was there.

    Of the flows that give this power the one left of the highest power is taken: friction that grows lowers flow. Where
    power is flat about the flow of before, a small fall of power says that the flow fell across the flat part.

    Returns ``None`` where even a closed pipe would draw more: then it is not the filter.

    Args:
        pump: pump curve.
        speed_rpm: the speed [rev/min], above 0.
        flow_m3h: flow before [m3/h], above 0.
        power_ratio: wire power now / before, both at that speed.
        shape: how power follows flow.
    """
    if power_ratio >= 1:
        return 1.0
    before = flow_m3h * pump.rated_speed_rpm / speed_rpm
    flows = _GRID * before
    squares, heads = pump.extended
    power = np.interp(np.square(flows), squares, heads) / (2 - flows / (shape.best_share * open_flow_m3h(pump)))
    shaft_ratio = (power_ratio - shape.fixed_share) / (1 - shape.fixed_share)
    wanted = shaft_ratio * power[-1]
    rising = slice(0, int(np.argmax(power)) + 1)
    if wanted < power[0]:
        return None
    return float(np.interp(wanted, np.maximum.accumulate(power[rising]), _GRID[rising]))
