"""From which day a fault is there to be seen at all: D3 to D7, a change of pump or water that moves the power at its
planned speeds by more than else moves it, C1, a pause that leaves the pool short of water, D10, a drive that gives way in
hours in which it runs fast enough to, and D12, a relay that is stuck while it ought to be open.

Belongs here: what no log of watts could show, by the physics of `physics.py` and the noise of `conditions.py` alone. What
a pipeline makes of it is not asked.

A change that comes at once is held against a pump's own scatter from day to day; one that grows slowly also against the
season of that one pump, which grows as slowly and which nobody can take out. A pause in the plan of a pool that has its
water all the same is no fault, and one that leaves it short by less than what a flow meter errs cannot be told from that.
"""

from __future__ import annotations

from datetime import date

import numpy as np

from pumpledger.simulator.case import Case, in_force
from pumpledger.simulator.conditions import NOISE, SEASON_OF_ONE
from pumpledger.simulator.controller import SAG_LEAST_RPM, SAG_LOOK_S, SAG_STEP_RPM, KeyedPlan
from pumpledger.simulator.errors import FLOW_METER
from pumpledger.simulator.physics import Machine
from pumpledger.simulator.sites import Change
from pumpledger.simulator.weather import Station

AT_ONCE = 2.0 * NOISE[1]
"""Two standard deviations of a day of the most restless pump, share of power."""
SLOWLY = SEASON_OF_ONE + 2.0 * sum(NOISE) / 2.0
"""The most that a pump's own season moves it, and two standard deviations of a day of the middle pump, share of power."""
_SUDDEN = ("D4", "D5")
_GRADUAL = ("D3", "D6", "D7")
_DIRT = 0.05  # of an ordinary filter, share of the clean friction
_NOON_S = 43_200


def power_share(machine: Machine, speed_rpm: float, changes: list[Change], time_s: int) -> float:
    """Power at a speed with ``changes`` over power without, less 1."""
    friction, impeller, watts = (
        sum(_value(change, time_s) for change in changes if change.kind == kind)
        for kind in ("friction", "impeller", "watts")
    )
    before = float(machine.running_w(np.array(speed_rpm), _DIRT))
    after = float(machine.running_w(np.array(speed_rpm * (1.0 + impeller)), _DIRT + friction)) + watts
    return after / before - 1.0


def seen_from(case: Case, mode: str, air: Station | None = None) -> date | None:
    """First day of ``case`` on which the log can show ``mode`` at all, ``None`` where it never can. ``air`` is that of the
    site, which D10 alone needs.

    A worn impeller looks like a loading filter until a cleaning does not help: it is D6 from the cleaning on. Modes
    other than C1, D3 to D7, D10 and D12 show from their first day.
    """
    if mode == "C1":
        return case.first if short_share(case, case.first) >= FLOW_METER else None
    if mode == "D10" and air is not None:
        return next((day for day in case.days if _gives_way(case, day, air)), None)
    if mode == "D12":
        return next((day for day in case.days if _stuck_at_rest(case, day)), None)
    if mode not in _SUDDEN and mode not in _GRADUAL:
        return case.first
    limit = AT_ONCE if mode in _SUDDEN else SLOWLY
    cleaned = [v.day_local for v in case.site.visits if v.work == "cleaning" and case.first <= v.day_local <= case.last]
    for day in case.days:
        noon_s = case.horizon.midnight_s(day) + _NOON_S
        speeds = {row.speed_rpm for row in in_force(case.pump.controller.plans, day)}
        away = max(abs(power_share(case.pump.machine, n, case.pump.changes, noon_s)) for n in speeds)
        if away >= limit and (mode != "D6" or (cleaned and day >= min(cleaned))):
            return day
    return None


def _minutes(case: Case, day: date) -> tuple[np.ndarray, np.ndarray]:
    """Of each minute of the clock: instant [s, UTC] and planned speed [rev/min], shape (1440,)."""
    plan = KeyedPlan(day, in_force(case.pump.controller.plans, day))
    return case.horizon.midnight_s(day) + 60 * np.arange(1440), plan.speed_by_minute()


def _gives_way(case: Case, day: date, air: Station) -> bool:
    """Whether on ``day`` the drive runs slower than told by a step, for as long as lies between two looks at the air."""
    time_s, told = _minutes(case, day)
    slower = np.zeros(told.size, dtype=bool)
    for sag in case.pump.controller.sags:
        by = sag.rpm_per_c * (air.at(time_s) - sag.above_c)
        slower |= (told > SAG_LEAST_RPM) & (by >= SAG_STEP_RPM) & (time_s >= sag.start_s) & (time_s < sag.stop_s)
    return 60 * int(slower.sum()) >= SAG_LOOK_S


def _stuck_at_rest(case: Case, day: date) -> bool:
    """Whether the relay sticks in a minute of ``day`` in which the pump runs too slowly for its load, or not at all."""
    time_s, told = _minutes(case, day)
    stuck = np.zeros(told.size, dtype=bool)
    for start_s, stop_s in case.pump.controller.aux_stuck:
        stuck |= (time_s >= start_s) & (time_s < stop_s)
    return bool((stuck & (told < case.pump.controller.aux_min_rpm)).any())


def short_share(case: Case, day: date) -> float:
    """How much of the water that the pool needs its plan of ``day`` leaves out, with an ordinary filter; negative where it
    moves more."""
    moved_m3 = sum(
        float(case.pump.machine.flow_m3h(row.speed_rpm, _DIRT)) * row.length_min / 60.0
        for row in in_force(case.pump.controller.plans, day)
    )
    return 1.0 - moved_m3 / case.need_m3


def _value(change: Change, time_s: int) -> float:
    at, value = zip(*change.points, strict=True)
    return float(np.interp(time_s, at, value, left=0.0))
