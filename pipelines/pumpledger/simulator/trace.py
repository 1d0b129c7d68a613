"""The truth: speed, flow and power of one pump on a fine time base, integrated.

Belongs here: ramps, water, watts, and sums. What a logger shows of it stands in `exports.py`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pumpledger.simulator.controller import STEP_S, Controller, aux_called, commanded_rpm
from pumpledger.simulator.horizon import Horizon
from pumpledger.simulator.physics import Machine

_RAMP_LEAST_S, _RAMP_MOST_S = 2.0, 20.0
# What an impeller that churns air takes of the shaft power it takes in water; water is 800 times as dense, but foam and
# seal keep part of the load. Assumption, no source.
_DRY_SHARE = 0.3


@dataclass(frozen=True)
class Conditions:
    """What moves a pump's watts and water besides its speed, as straight lines between ``time_s`` [s, UTC].

    ``power_factor`` multiplies wire power (supply voltage, water temperature, day to day); ``loading`` is the filter's
    dirt as a share of the clean friction; ``pad_temperature_c`` is the controller's own air sensor [deg C].
    ``added_w`` is what worn bearings take while the pump turns [W]; ``impeller`` is the speed ratio at which a whole
    impeller would do what a worn or clogged one does. ``air`` holds (start, stop, water) [s, UTC; share of the full
    flow]; ``powerless`` holds (start, stop): a speed is told, the motor has no current.
    """

    time_s: np.ndarray
    power_factor: np.ndarray
    loading: np.ndarray
    pad_temperature_c: np.ndarray
    added_w: np.ndarray | None = None
    impeller: np.ndarray | None = None
    air: tuple[tuple[int, int, float], ...] = ()
    powerless: tuple[tuple[int, int], ...] = ()


@dataclass(frozen=True)
class Trace:
    """One pump's truth.

    ``edge_s`` (n + 1) bounds n cells of at most ten seconds [s, UTC]; ``cell_w``, ``cell_m3h``, ``cell_aux`` (n) hold
    within a cell; ``energy_kwh``, ``volume_m3``, ``run_s`` (n + 1) are sums since the first edge. ``node_s`` and
    ``node_rpm`` are the corners of the speed, straight in between. ``settled_s`` are the instants at which a new speed
    is reached.
    """

    edge_s: np.ndarray
    cell_w: np.ndarray
    cell_m3h: np.ndarray
    cell_aux: np.ndarray
    energy_kwh: np.ndarray
    volume_m3: np.ndarray
    run_s: np.ndarray
    node_s: np.ndarray
    node_rpm: np.ndarray
    settled_s: np.ndarray
    conditions: Conditions

    def speed_at(self, time_s: np.ndarray) -> np.ndarray:
        """Speed at instants [rev/min]."""
        return np.interp(time_s, self.node_s, self.node_rpm)

    def power_at(self, time_s: np.ndarray) -> np.ndarray:
        """Wire power from instants on [W]."""
        return self.cell_w[self._cell(time_s)]

    def aux_at(self, time_s: np.ndarray) -> np.ndarray:
        """Auxiliary relay from instants on."""
        return self.cell_aux[self._cell(time_s)]

    def energy_kwh_at(self, time_s: np.ndarray) -> np.ndarray:
        """Energy since the first edge [kWh]."""
        return np.interp(time_s, self.edge_s, self.energy_kwh)

    def volume_m3_at(self, time_s: np.ndarray) -> np.ndarray:
        """Filtered volume since the first edge [m3]."""
        return np.interp(time_s, self.edge_s, self.volume_m3)

    def run_s_at(self, time_s: np.ndarray) -> np.ndarray:
        """Running time since the first edge [s]."""
        return np.interp(time_s, self.edge_s, self.run_s)

    def turns_at(self, time_s: np.ndarray) -> np.ndarray:
        """Integral of the speed since the first node [rev/min x s], exact for straight ramps."""
        steps = np.diff(self.node_s) * (self.node_rpm[1:] + self.node_rpm[:-1]) / 2.0
        sums = np.concatenate([[0.0], np.cumsum(steps)])
        node = np.clip(np.searchsorted(self.node_s, time_s, side="right") - 1, 0, self.node_s.size - 2)
        into = time_s - self.node_s[node]
        slope = np.diff(self.node_rpm)[node] / np.diff(self.node_s)[node]
        return sums[node] + self.node_rpm[node] * into + slope * into**2 / 2.0

    def _cell(self, time_s: np.ndarray) -> np.ndarray:
        return np.clip(np.searchsorted(self.edge_s, time_s, side="right") - 1, 0, self.cell_w.size - 1)


def simulate(machine: Machine, controller: Controller, horizon: Horizon, conditions: Conditions) -> Trace:
    """Run one pump from the warm-up to the end of the horizon.

    Speed changes at exact instants, ramps in steps of a second, all else in steps of ten; each cell is taken at its
    middle.
    """
    step_s = np.arange(horizon.warm_start_s, horizon.end_s, STEP_S)
    pad = np.interp(step_s, conditions.time_s, conditions.pad_temperature_c)
    commands = commanded_rpm(controller, horizon, step_s, pad)
    node_s, node_rpm, settled_s, ramp_s = _ramps(step_s, commands, controller.ramp_rpm_per_s, float(horizon.end_s))
    edge_s = np.unique(np.concatenate([step_s.astype(float), [float(horizon.end_s)], node_s, ramp_s]))
    middle_s = (edge_s[1:] + edge_s[:-1]) / 2.0
    width_h = np.diff(edge_s) / 3600.0
    speed = np.interp(middle_s, node_s, node_rpm)
    running = speed > 0
    loading = np.interp(middle_s, conditions.time_s, conditions.loading)
    factor = np.interp(middle_s, conditions.time_s, conditions.power_factor)
    whole = speed
    if conditions.impeller is not None:
        whole = speed * np.interp(middle_s, conditions.time_s, conditions.impeller)
    flow = np.where(running, machine.flow_m3h(whole, loading), 0.0)
    turning = machine.running_w(whole, loading)
    flow, turning = _aerated(
        machine, flow, turning, middle_s, [*conditions.air, *_air_of_starts(controller, _starts(step_s, commands))]
    )
    power = np.where(running, turning * factor, machine.standby_w)
    if conditions.added_w is not None:
        power = power + np.where(running, np.interp(middle_s, conditions.time_s, conditions.added_w), 0.0)
    for start_s, stop_s in conditions.powerless:
        inside = (middle_s >= start_s) & (middle_s < stop_s)
        flow[inside], power[inside] = 0.0, machine.standby_w
    filtered = flow.copy()
    for hand in controller.manual:
        if hand.to_waste:
            filtered[(middle_s >= hand.start_s) & (middle_s < hand.stop_s)] = 0.0
    aux = (
        aux_called(controller, horizon, np.floor(middle_s).astype(np.int64))
        & (speed >= controller.aux_min_rpm - 1e-6)
        & running
    )
    for start_s, stop_s in controller.aux_stuck:
        aux |= (middle_s >= start_s) & (middle_s < stop_s)
    for start_s, stop_s in controller.aux_open:
        aux &= (middle_s < start_s) | (middle_s >= stop_s)
    return Trace(
        edge_s=edge_s,
        cell_w=power,
        cell_m3h=filtered,
        cell_aux=aux,
        energy_kwh=_sums(power * width_h / 1000.0),
        volume_m3=_sums(filtered * width_h),
        run_s=_sums(running * width_h * 3600.0),
        node_s=node_s,
        node_rpm=node_rpm,
        settled_s=settled_s,
        conditions=conditions,
    )


def _starts(step_s: np.ndarray, commands: np.ndarray) -> np.ndarray:
    """Instants at which a standing pump is told to run [s, UTC]."""
    return step_s[1:][(commands[1:] > 0) & (commands[:-1] == 0)]


def _air_of_starts(controller: Controller, starts_s: np.ndarray) -> list[tuple[int, int, float]]:
    """Air that `AirAtStart` leaves behind each of the starts from standstill."""
    return [
        (int(at), int(at) + rule.length_s, rule.water)
        for rule in controller.air_at_start
        for at in starts_s.tolist()
        if rule.start_s <= at < rule.stop_s
    ]


def _aerated(
    machine: Machine, flow: np.ndarray, power: np.ndarray, time_s: np.ndarray, air: list[tuple[int, int, float]]
) -> tuple[np.ndarray, np.ndarray]:
    """Flow and wire power with air in the pump: less water, and the shaft's load between that of air and of water."""
    if not air:
        return flow, power
    water = np.ones(time_s.size)
    for start_s, stop_s, share in air:
        inside = slice(*np.searchsorted(time_s, [start_s, stop_s]))
        water[inside] = np.minimum(water[inside], share)
    load = _DRY_SHARE + (1.0 - _DRY_SHARE) * water
    idle_w = machine.idle_w()
    return flow * water, idle_w + (power - idle_w) * load


def _sums(steps: np.ndarray) -> np.ndarray:
    return np.concatenate([[0.0], np.cumsum(steps)])


def _ramps(
    step_s: np.ndarray, commands: np.ndarray, rpm_per_s: float, end_s: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Corners of the speed (time, speed), instants at which each ramp ends, and every whole second inside a ramp."""
    times, speeds = [float(step_s[0])], [float(commands[0])]
    settled, inside = [], []
    for change in np.flatnonzero(np.diff(commands)) + 1:
        at, goal = float(step_s[change]), float(commands[change])
        if times[-1] > at:  # the last ramp is still under way: cut it here
            reached = float(np.interp(at, times, speeds))
            times[-1], speeds[-1] = at, reached
        elif times[-1] < at:
            times.append(at)
            speeds.append(speeds[-1])
        length = min(max(abs(goal - speeds[-1]) / rpm_per_s, _RAMP_LEAST_S), _RAMP_MOST_S)
        length = round(length, 1)
        times.append(at + length)
        speeds.append(goal)
        settled.append(at + length)
        inside.append(at + np.arange(1.0, length))
    times.append(max(end_s, times[-1] + 1.0))
    speeds.append(speeds[-1])
    return np.array(times), np.array(speeds), np.array(settled), np.concatenate([np.empty(0), *inside])
