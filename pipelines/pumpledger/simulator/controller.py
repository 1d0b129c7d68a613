"""What a pump's controller asks for, every ten seconds: plan, clock, priming, override, freeze protection, auxiliary
load.

Belongs here: commands. Ramps and water stand in `trace.py`; which faults a site has stands in `faults.py`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date

import numpy as np

from pumpledger.simulator.horizon import Horizon

STEP_S = 10
_EPOCH = date(1970, 1, 1)
# Freeze protection looks at the air each five minutes and, once started, runs at least half an hour.
_FREEZE_LOOK_S = 300
_FREEZE_LEAST_LOOKS = 6
SAG_LOOK_S, SAG_STEP_RPM, SAG_LEAST_RPM = 1800, 5.0, 1000.0
"""A drive that protects itself looks at the air so often, gives way in such steps, and never runs below."""


@dataclass(frozen=True, slots=True)
class Period:
    """One row of a plan: speed [rev/min], start and stop [min since 00:00]; stop at or before start runs across
    midnight.
    """

    speed_rpm: int
    start_min: int
    stop_min: int

    @property
    def length_min(self) -> int:
        """How long it runs on a day of 24 hours [min]."""
        return (self.stop_min - self.start_min - 1) % 1440 + 1


@dataclass(frozen=True, slots=True)
class KeyedPlan:
    """Up to three periods, in force from a local day on."""

    valid_from: date
    periods: tuple[Period, ...]

    def speed_by_minute(self) -> np.ndarray:
        """Speed at each minute of the clock, shape (1440,) [rev/min]; 0 off."""
        speeds = np.zeros(1440)
        for period in self.periods:
            speeds[(period.start_min + np.arange(period.length_min)) % 1440] = period.speed_rpm
        return speeds


@dataclass(frozen=True, slots=True)
class Manual:
    """Someone at the pad: a speed (0 is off) from one instant to another [s, UTC]; ``to_waste`` water does not pass the
    filter.
    """

    start_s: int
    stop_s: int
    speed_rpm: int
    to_waste: bool = False


@dataclass(frozen=True, slots=True)
class Sag:
    """From one instant to another [s, UTC] the drive protects itself: for each deg C of pad air above ``above_c`` it
    runs ``rpm_per_c`` slower than it was told, looked at each half hour.
    """

    start_s: int
    stop_s: int
    above_c: float
    rpm_per_c: float


@dataclass(frozen=True, slots=True)
class AirAtStart:
    """Each start between two instants [s, UTC] leaves air in the pump for ``length_s``: water is ``water`` of the full
    flow.
    """

    start_s: int
    stop_s: int
    length_s: int
    water: float


@dataclass(frozen=True, slots=True)
class AuxWindow:
    """From a local day on the controller calls for the auxiliary load between two clock times [min since 00:00]."""

    valid_from: date
    start_min: int
    stop_min: int


@dataclass(frozen=True)
class Controller:
    """Everything keyed into one controller, right or wrong.

    ``clock_shifts`` holds ``(from [s, UTC], shift [s])``: what the controller's clock is ahead of the local clock from
    then on. ``aux_min_rpm`` is the speed at which the relay really closes. ``dead`` holds ``(start, stop)`` [s, UTC]
    without drive. ``freeze_off``, ``aux_stuck`` and ``aux_open`` hold such stretches, too: freeze protection switched
    off, the relay welded shut, the relay that never closes.
    """

    plans: tuple[KeyedPlan, ...]
    clock_shifts: tuple[tuple[int, int], ...] = ((0, 0),)
    priming_rpm: int = 0
    priming_s: int = 0
    manual: tuple[Manual, ...] = ()
    dead: tuple[tuple[int, int], ...] = ()
    freeze_setpoint_c: float | None = None
    freeze_rpm: int = 0
    freeze_acts: bool = True
    aux_windows: tuple[AuxWindow, ...] = ()
    aux_min_rpm: float = 0.0
    freeze_off: tuple[tuple[int, int], ...] = ()
    aux_stuck: tuple[tuple[int, int], ...] = ()
    aux_open: tuple[tuple[int, int], ...] = ()
    sags: tuple[Sag, ...] = ()
    air_at_start: tuple[AirAtStart, ...] = ()
    ramp_rpm_per_s: float = field(default=250.0)


def controller_clock_s(controller: Controller, horizon: Horizon, time_s: np.ndarray) -> np.ndarray:
    """What the controller's clock shows, as seconds since 1970 [s]."""
    starts = np.array([start for start, _ in controller.clock_shifts])
    shifts = np.array([shift for _, shift in controller.clock_shifts])
    return horizon.local_s(time_s) + shifts[np.searchsorted(starts, time_s, side="right") - 1]


def commanded_rpm(
    controller: Controller, horizon: Horizon, time_s: np.ndarray, pad_temperature_c: np.ndarray
) -> np.ndarray:
    """Speed asked for from each instant of ``time_s`` (every ten seconds) to the next [rev/min].

    Order: plan; freeze protection where the plan is off; a hand at the controller; no drive at all; and priming at each
    start from standstill, which nothing but a stop cuts short.
    """
    target = _planned(controller, horizon, time_s)
    if controller.freeze_setpoint_c is not None and controller.freeze_acts:
        freezing = _freezing(controller.freeze_setpoint_c, pad_temperature_c)
        for start_s, stop_s in controller.freeze_off:
            freezing &= (time_s < start_s) | (time_s >= stop_s)
        target = np.where((target == 0) & freezing, controller.freeze_rpm, target)
    for hand in controller.manual:
        target[(time_s >= hand.start_s) & (time_s < hand.stop_s)] = hand.speed_rpm
    for sag in controller.sags:
        target = _sagged(target, sag, time_s, pad_temperature_c)
    for start_s, stop_s in controller.dead:
        target[(time_s >= start_s) & (time_s < stop_s)] = 0
    return _primed(target, controller.priming_rpm, controller.priming_s // STEP_S)


def aux_called(controller: Controller, horizon: Horizon, time_s: np.ndarray) -> np.ndarray:
    """Whether the controller's clock calls for the auxiliary load, shape of ``time_s``."""
    clock = controller_clock_s(controller, horizon, time_s)
    day, minute = clock // 86_400, (clock % 86_400) // 60
    called = np.zeros(time_s.size, dtype=bool)
    for window in controller.aux_windows:
        length = (window.stop_min - window.start_min - 1) % 1440 + 1
        inside = (minute - window.start_min) % 1440 < length
        called = np.where(day >= (window.valid_from - _EPOCH).days, inside, called)
    return called


def _planned(controller: Controller, horizon: Horizon, time_s: np.ndarray) -> np.ndarray:
    clock = controller_clock_s(controller, horizon, time_s)
    day, minute = clock // 86_400, (clock % 86_400) // 60
    starts = np.array([(plan.valid_from - _EPOCH).days for plan in controller.plans])
    tables = np.stack([plan.speed_by_minute() for plan in controller.plans])
    return tables[np.maximum(np.searchsorted(starts, day, side="right") - 1, 0), minute.astype(np.int64)]


def _freezing(setpoint_c: float, pad_temperature_c: np.ndarray) -> np.ndarray:
    """Whether freeze protection is on: a look every five minutes, held for half an hour after each cold look."""
    per_look = _FREEZE_LOOK_S // STEP_S
    cold = pad_temperature_c[::per_look] <= setpoint_c
    held = np.convolve(cold, np.ones(_FREEZE_LEAST_LOOKS))[: cold.size] > 0
    return np.repeat(held, per_look)[: pad_temperature_c.size]


def _sagged(target: np.ndarray, sag: Sag, time_s: np.ndarray, pad_temperature_c: np.ndarray) -> np.ndarray:
    """The drive gives way in steps, never below its least speed and never upward."""
    per_look = SAG_LOOK_S // STEP_S
    hot = np.repeat(np.maximum(pad_temperature_c[::per_look] - sag.above_c, 0.0), per_look)[: target.size]
    given = np.maximum(target - SAG_STEP_RPM * np.rint(hot * sag.rpm_per_c / SAG_STEP_RPM), SAG_LEAST_RPM)
    inside = (time_s >= sag.start_s) & (time_s < sag.stop_s)
    return np.where(inside & (target > SAG_LEAST_RPM), given, target)


def _primed(target: np.ndarray, priming_rpm: int, cells: int) -> np.ndarray:
    if not priming_rpm or not cells:
        return target
    primed = target.copy()
    running = target > 0
    for start in np.flatnonzero(running[1:] & ~running[:-1]) + 1:
        window = running[start : start + cells]
        length = window.size if window.all() else int(np.argmin(window))
        primed[start : start + length] = priming_rpm
    return primed
