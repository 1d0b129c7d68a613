"""A physical pump on a physical pool: flow, shaft power and wire power at a speed. Shares nothing with the pipeline's
hydraulics.

Belongs here: what water, impeller, motor and drive do. When the pump runs stands in `controller.py`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

FULL_SPEED_RPM = 3450.0
# Water of 20 deg C and standard gravity: 998.2 kg/m3 x 9.80665 m/s2, and 3600 s in an hour.
_WATTS_PER_M3H_M = 998.2 * 9.80665 / 3600.0
# Internal leakage weighs more at low speed: a small power of the speed ratio. Assumption, no source.
_LEAKAGE_EXPONENT = 0.08
_FURTHEST_FLOW_RATIO = 1.7


@dataclass(frozen=True, slots=True)
class Machine:
    """Pump, piping and motor of one site.

    Head of the pump at speed ratio ``s``: ``shutoff_head_m s^2 - linear s Q - quadratic Q^2`` (affinity laws, any pump
    handbook). Head of the system: ``static_head_m + friction (1 + loading) Q^2``, where loading is the filter's dirt.
    Units: head [m], flow [m3/h], power [W]. ``shutoff_share`` is the shaft power at no flow over that at the best flow;
    ``None`` leaves it to the efficiency's parabola, which makes it about 0.8.
    """

    shutoff_head_m: float
    linear: float
    quadratic: float
    static_head_m: float
    friction: float
    best_flow_m3h: float
    best_efficiency: float
    rated_shaft_w: float
    drive_efficiency: float
    drive_loss_share: float
    electronics_w: float
    standby_w: float
    shutoff_share: float | None = None

    def flow_m3h(self, speed_rpm: np.ndarray, loading: np.ndarray | float = 0.0) -> np.ndarray:
        """Flow where pump and system meet [m3/h]; 0 where the shut-off head does not exceed the static head."""
        ratio = np.asarray(speed_rpm, dtype=float) / FULL_SPEED_RPM
        square = self.quadratic + self.friction * (1.0 + loading)
        spare_m = np.maximum(ratio**2 * self.shutoff_head_m - self.static_head_m, 0.0)
        slope = self.linear * ratio
        return (np.sqrt(slope**2 + 4.0 * square * spare_m) - slope) / (2.0 * square)

    def head_m(self, speed_rpm: np.ndarray, flow_m3h: np.ndarray) -> np.ndarray:
        """Head of the pump at a speed and flow [m]."""
        ratio = np.asarray(speed_rpm, dtype=float) / FULL_SPEED_RPM
        return ratio**2 * self.shutoff_head_m - self.linear * ratio * flow_m3h - self.quadratic * flow_m3h**2

    def shaft_w(self, speed_rpm: np.ndarray, loading: np.ndarray | float = 0.0) -> np.ndarray:
        """Shaft power [W].

        Efficiency is a parabola ``best x (2 - x)`` of the flow ratio ``x``, so that power stays finite at no flow,
        where the impeller only churns. With a ``shutoff_share`` the power is a straight line of the flow ratio instead,
        as catalogue curves of radial impellers are.
        """
        ratio = np.asarray(speed_rpm, dtype=float) / FULL_SPEED_RPM
        flow = self.flow_m3h(speed_rpm, loading)
        head = self.head_m(speed_rpm, flow)
        turning = np.maximum(ratio, 1e-9)
        flow_ratio = np.minimum(flow / (turning * self.best_flow_m3h), _FURTHEST_FLOW_RATIO)
        if self.shutoff_share is not None:
            best_m = float(self.head_m(np.array(FULL_SPEED_RPM), np.array(self.best_flow_m3h)))
            best_w = _WATTS_PER_M3H_M * best_m * self.best_flow_m3h / self.best_efficiency
            line = self.shutoff_share + (1.0 - self.shutoff_share) * flow_ratio
            return best_w * turning ** (3.0 - _LEAKAGE_EXPONENT) * line
        efficiency_over_x = self.best_efficiency * turning**_LEAKAGE_EXPONENT * (2.0 - flow_ratio)
        return _WATTS_PER_M3H_M * head * turning * self.best_flow_m3h / efficiency_over_x

    def running_w(self, speed_rpm: np.ndarray, loading: np.ndarray | float = 0.0) -> np.ndarray:
        """Wire power of a turning pump [W].

        Motor and drive together reach ``drive_efficiency x / (x + drive_loss_share)`` at the share ``x`` of the rated
        shaft power: the shape falls at light load, as published tables for motors and drives do. The electronics draw a
        few watts.
        """
        load = self.shaft_w(speed_rpm, loading) / self.rated_shaft_w
        return self.electronics_w + self.rated_shaft_w * (load + self.drive_loss_share) / self.drive_efficiency

    def idle_w(self) -> float:
        """Wire power of a turning motor without load [W]: electronics and the losses that do not hang on the load."""
        return self.electronics_w + self.rated_shaft_w * self.drive_loss_share / self.drive_efficiency


@dataclass(frozen=True, slots=True)
class PumpClass:
    """An invented size of pump at 3450 rev/min: shut-off head [m], flow at no head [m3/h], share of the linear term,
    rated shaft power [W].
    """

    curve: str
    shutoff_head_m: float
    open_flow_m3h: float
    linear_share: float
    rated_shaft_w: float

    def head_m(self, flow_m3h: np.ndarray) -> np.ndarray:
        """Head at full speed [m]."""
        x = np.asarray(flow_m3h, dtype=float) / self.open_flow_m3h
        return self.shutoff_head_m * (1.0 - self.linear_share * x - (1.0 - self.linear_share) * x**2)


PUMP_CLASSES = (
    PumpClass("QC-075", 15.0, 24.0, 0.25, 760.0),
    PumpClass("QC-110", 18.0, 30.0, 0.10, 1150.0),
    PumpClass("QC-150", 20.0, 37.0, 0.20, 1600.0),
    PumpClass("QC-220", 22.5, 46.0, 0.00, 2300.0),
)


def draw_machine(
    pump_class: PumpClass, static_head_m: float, rng: np.random.Generator, head_spread: float = 0.01
) -> Machine:
    """One pump of a class on one pool's piping, with the spread of manufacture and plumbing.

    ``head_spread`` is the standard deviation of the heads of one class, share.
    """
    shutoff = pump_class.shutoff_head_m * (1.0 + head_spread * rng.standard_normal())
    open_flow = pump_class.open_flow_m3h * (1.0 + 0.01 * rng.standard_normal())
    full_flow = open_flow * rng.uniform(0.56, 0.70)
    x = full_flow / open_flow
    head_there = shutoff * (1.0 - pump_class.linear_share * x - (1.0 - pump_class.linear_share) * x**2)
    return Machine(
        shutoff_head_m=shutoff,
        linear=pump_class.linear_share * shutoff / open_flow,
        quadratic=(1.0 - pump_class.linear_share) * shutoff / open_flow**2,
        static_head_m=static_head_m,
        friction=(head_there - static_head_m) / full_flow**2,
        best_flow_m3h=open_flow * rng.uniform(0.56, 0.64),
        best_efficiency=rng.uniform(0.56, 0.64),
        rated_shaft_w=pump_class.rated_shaft_w,
        drive_efficiency=rng.uniform(0.88, 0.92),
        drive_loss_share=rng.uniform(0.018, 0.030),
        electronics_w=rng.uniform(5.0, 10.0),
        standby_w=round(rng.uniform(3.0, 6.0), 1),
    )
