"""Lay a role over a healthy site: what goes wrong, or only looks wrong, from which day to which.

Belongs here: one function per mode. What the modes mean to the pipeline stands in its own diagnosis, which this never
imports.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np

from pumpledger.simulator.controller import AuxWindow, KeyedPlan, Manual, Period
from pumpledger.simulator.horizon import CHANGE_DAY, Horizon
from pumpledger.simulator.plans import (
    LOADING_ALLOWED,
    Wish,
    peak_plan,
    sensible_plan,
    short_plan,
    twin_plan,
    wasteful_plan,
)
from pumpledger.simulator.roles import Role
from pumpledger.simulator.sites import Pump, Seeded, Site, Visit
from pumpledger.simulator.weather import SNAP_FROM, SNAP_TO


def lay_role(site: Site, role: Role, horizon: Horizon, rng: np.random.Generator) -> None:
    """Change ``site`` as its role says, and note what was seeded."""
    if role.mode not in _MODES:
        return
    pump = site.pumps[0]
    from_day, to_day, note = _MODES[role.mode](site, pump, horizon, rng)
    if role.kind != "ordinary":
        site.seeded.append(Seeded(pump.pump_id, role.kind, role.mode, from_day, to_day, note))
    if site.filter_limit_m3h is not None and site.suction_limit_m3h is not None:
        # No plan of the demo passes a rating by accident: the ratings follow the plan that is keyed in.
        highest = max(
            float(pump.machine.flow_m3h(row.speed_rpm)) for plan in pump.controller.plans for row in plan.periods
        )
        site.filter_limit_m3h = max(site.filter_limit_m3h, round(1.2 * highest, 1))
        site.suction_limit_m3h = max(site.suction_limit_m3h, round(1.3 * highest, 1))


def _set(pump: Pump, **changes: object) -> None:
    pump.controller = replace(pump.controller, **changes)  # type: ignore[arg-type]


def _rekey(pump: Pump, valid_from: date, periods: tuple[Period, ...]) -> None:
    """Key a plan in and write it down, from a day on; a plan of before the record replaces the old one."""
    plan = KeyedPlan(valid_from, periods)
    kept = tuple(old for old in pump.controller.plans if old.valid_from < valid_from)
    _set(pump, plans=(*kept, plan))
    pump.recorded_plans = [*kept, plan]


def _since(pump: Pump) -> date:
    return pump.controller.plans[0].valid_from


def _need_m3(site: Site) -> float:
    return site.pool_volume_m3 * site.required_turnovers / len(site.pumps)


def _hand(
    horizon: Horizon, day: date, clock_min: float, minutes: float, speed_rpm: int, to_waste: bool = False
) -> Manual:
    start = horizon.utc_s(day, clock_min)
    return Manual(start, start + int(minutes * 60), speed_rpm, to_waste)


def _odd_s(rng: np.random.Generator) -> float:
    """Ten or twenty seconds before the minute [min].

    The clock times below lie on whole fives, so that a logger that looks each five minutes sees a hand's speed for as
    long as it lasts: what such a logger misses between looks is a limit of its own, and no part of this demo.
    """
    return -int(rng.integers(1, 3)) / 6.0


# Faults --------------------------------------------------------------------------------------------------------------


def _clock_twelve_hours(site: Site, pump: Pump, horizon: Horizon, rng: np.random.Generator) -> tuple[date, date, str]:
    day = max(horizon.first_day, horizon.middle_wednesday - timedelta(days=1))
    at = horizon.utc_s(day, 9 * 60 + 40)
    small = pump.controller.clock_shifts[0][1]
    _set(pump, clock_shifts=((0, small), (at, small + 43_200)))
    return day, horizon.last_day, "clock set by hand after a power cut, 12 h out"


def _clock_not_changed(site: Site, pump: Pump, horizon: Horizon, rng: np.random.Generator) -> tuple[date, date, str]:
    small = pump.controller.clock_shifts[0][1]
    # The instant at which the local clock first goes back: 02:00 summer time, two hours after midnight.
    change_s = horizon.midnight_s(CHANGE_DAY) + 7200
    _set(pump, clock_shifts=((0, small), (change_s, small + 3600)))
    return max(CHANGE_DAY, horizon.first_day), horizon.last_day, "clock stayed on summer time, one hour ahead"


def _missing_days(site: Site, pump: Pump, horizon: Horizon, rng: np.random.Generator) -> tuple[date, date, str]:
    first = horizon.middle_wednesday
    days = sorted({first, *(horizon.last_monday + timedelta(days=i) for i in (1, 2, 3))})
    pump.lost = [(horizon.midnight_s(day), horizon.midnight_s(day + timedelta(days=1))) for day in days]
    return days[0], days[-1], "export lost the days " + ", ".join(str(day) for day in days)


def _sent_twice(site: Site, pump: Pump, horizon: Horizon, rng: np.random.Generator) -> tuple[date, date, str]:
    pump.sent_again = True
    return horizon.first_day, horizon.last_day, "rows of this pump sent again in a second file"


def _watts_in_kw(site: Site, pump: Pump, horizon: Horizon, rng: np.random.Generator) -> tuple[date, date, str]:
    pump.watts_in_kw = True
    return horizon.first_day, horizon.last_day, "kW written in the column of watts"


def _too_little(site: Site, pump: Pump, horizon: Horizon, rng: np.random.Generator) -> tuple[date, date, str]:
    share = float(rng.uniform(0.48, 0.60))
    _rekey(pump, _since(pump), short_plan(pump.machine, _need_m3(site), share, 15 * int(rng.integers(22, 30))))
    return horizon.first_day, horizon.last_day, f"plan moves about {share:.0%} of the required water"


def _wasteful(site: Site, pump: Pump, horizon: Horizon, rng: np.random.Generator) -> tuple[date, date, str]:
    _rekey(pump, _since(pump), wasteful_plan(pump.machine, _need_m3(site), 15 * int(rng.integers(20, 29))))
    return horizon.first_day, horizon.last_day, "far too fast and long for the pool"


def _full_speed(site: Site, pump: Pump, horizon: Horizon, rng: np.random.Generator) -> tuple[date, date, str]:
    day = horizon.middle_wednesday - timedelta(days=1)
    day = max(day, horizon.first_day)
    _rekey(pump, day, (Period(3450, 0, 1440),))
    site.visits.append(Visit(pump.pump_id, day, "keying", note="reset to default after a fault light"))
    return day, horizon.last_day, "full speed around the clock, as recorded; also costs more than it has to"


def _override_left_on(site: Site, pump: Pump, horizon: Horizon, rng: np.random.Generator) -> tuple[date, date, str]:
    monday = horizon.last_monday
    speed = 25 * int(rng.integers(116, 129))
    shapes = ((0, 16 * 60 + 20, 570), (2, 9 * 60 + 5, 840), (4, 18 * 60 + 40, 1440))
    hands = tuple(
        _hand(horizon, monday + timedelta(days=i), clock + _odd_s(rng), minutes, speed) for i, clock, minutes in shapes
    )
    _set(pump, manual=hands)
    return monday, monday + timedelta(days=5), f"three overrides at {speed} rpm of 9.5, 14 and 24 h, none agreed"


def _peak_hours(site: Site, pump: Pump, horizon: Horizon, rng: np.random.Generator) -> tuple[date, date, str]:
    _rekey(pump, _since(pump), peak_plan(pump.machine, _need_m3(site)))
    return horizon.first_day, horizon.last_day, "fast period from 16:00 to 20:30; also costs more than it has to"


def _does_not_run(site: Site, pump: Pump, horizon: Horizon, rng: np.random.Generator) -> tuple[date, date, str]:
    day = horizon.last_monday + timedelta(days=2)
    _set(pump, dead=((horizon.utc_s(day, 3 * 60 + 12), horizon.end_s),))
    return day, horizon.last_day, "breaker of the motor tripped, logger alive"


def _aux_too_slow(site: Site, pump: Pump, horizon: Horizon, rng: np.random.Generator) -> tuple[date, date, str]:
    pump.aux_min_rpm = 1800
    return (
        horizon.first_day,
        horizon.last_day,
        f"relay closes from {pump.controller.aux_min_rpm:.0f} rpm, equipment needs 1800 rpm",
    )


def _no_freeze_protection(site: Site, pump: Pump, horizon: Horizon, rng: np.random.Generator) -> tuple[date, date, str]:
    _set(pump, freeze_acts=False)
    return SNAP_FROM, SNAP_TO, "pump stays off in the frost nights"


# Innocents -----------------------------------------------------------------------------------------------------------


def _agreed_override(site: Site, pump: Pump, horizon: Horizon, rng: np.random.Generator) -> tuple[date, date, str]:
    day = horizon.last_monday + timedelta(days=5)
    _set(pump, manual=(_hand(horizon, day, 17 * 60 + 25 + _odd_s(rng), 330, 2700),))
    site.visits.append(Visit(pump.pump_id, day, "agreed override", note="party, asked for by the owner"))
    return day, day, "5.5 h at 2700 rpm for a party, on record"


def _backwash(site: Site, pump: Pump, horizon: Horizon, rng: np.random.Generator) -> tuple[date, date, str]:
    day = horizon.last_monday + timedelta(days=1)
    start = 10 * 60 + 35 + _odd_s(rng)
    _set(
        pump,
        manual=(
            _hand(horizon, day, start, 5, 0),
            _hand(horizon, day, start + 5, 10, 2800, True),
            _hand(horizon, day, start + 15, 5, 0),
            _hand(horizon, day, start + 20, 5, 2800, True),
        ),
    )
    site.visits.append(Visit(pump.pump_id, day, "backwash"))
    return day, day, "backwash and rinse, water to waste"


def _vacuum(site: Site, pump: Pump, horizon: Horizon, rng: np.random.Generator) -> tuple[date, date, str]:
    day = horizon.last_monday + timedelta(days=1)
    _set(pump, manual=(_hand(horizon, day, 9 * 60 + 15 + _odd_s(rng), 240, 2900),))
    site.visits.append(Visit(pump.pump_id, day, "vacuum"))
    return day, day, "4 h at 2900 rpm to vacuum"


def _night(site: Site, pump: Pump, horizon: Horizon, rng: np.random.Generator) -> tuple[date, date, str]:
    wish = Wish(_need_m3(site), longest_min=660, start_min=21 * 60 + 15)
    _rekey(pump, _since(pump), sensible_plan(pump.machine, wish, rng))
    site.visits.append(Visit(pump.pump_id, _since(pump), "keying", note="night running is the owner's wish"))
    return horizon.first_day, horizon.last_day, "runs at night on purpose, clock right"


def _symmetric(site: Site, pump: Pump, horizon: Horizon, rng: np.random.Generator) -> tuple[date, date, str]:
    _rekey(pump, _since(pump), twin_plan(pump.machine, _need_m3(site)))
    return horizon.first_day, horizon.last_day, "two equal periods twelve hours apart, clock right"


def _plan_change(site: Site, pump: Pump, horizon: Horizon, rng: np.random.Generator) -> tuple[date, date, str]:
    day = horizon.last_monday + timedelta(days=2)
    old_start = pump.controller.plans[0].periods[0].start_min
    wish = Wish(_need_m3(site), longest_min=900, start_min=(old_start + 150) % 1440)
    _rekey(pump, day, sensible_plan(pump.machine, wish, rng))
    site.visits.append(Visit(pump.pump_id, day, "keying", note="start moved, owner's wish"))
    return day, horizon.last_day, "new plan keyed in and recorded in mid-week"


def _clock_right(site: Site, pump: Pump, horizon: Horizon, rng: np.random.Generator) -> tuple[date, date, str]:
    day = max(CHANGE_DAY, horizon.first_day)
    return day, day, "clock change followed on the day, peak hours avoided before and after"


def _freeze_acts(site: Site, pump: Pump, horizon: Horizon, rng: np.random.Generator) -> tuple[date, date, str]:
    return (
        SNAP_FROM,
        SNAP_TO,
        f"freeze protection runs the pump at {pump.controller.freeze_rpm} rpm in the frost nights",
    )


def _heater(site: Site, pump: Pump, horizon: Horizon, rng: np.random.Generator) -> tuple[date, date, str]:
    """An hour and a half of heater, nearly three from the last week on, always above its minimum speed."""
    start = 7 * 60
    fast, need = 1550, _need_m3(site)
    left = Wish(
        need - 3.0 * float(pump.machine.flow_m3h(fast, LOADING_ALLOWED)),
        longest_min=780,
        start_min=start + 180,
        one_period=True,
    )
    rest = sensible_plan(pump.machine, left, rng) if left.volume_m3 > 0.1 * need else ()
    _rekey(pump, _since(pump), (Period(fast, start, start + 180), *rest))
    _set(
        pump,
        aux_windows=(
            AuxWindow(_since(pump), start + 30, start + 120),
            AuxWindow(horizon.last_monday, start + 15, start + 180),
        ),
    )
    return horizon.last_monday, horizon.last_day, "heater called for longer, always above its minimum speed"


def _short_override(site: Site, pump: Pump, horizon: Horizon, rng: np.random.Generator) -> tuple[date, date, str]:
    day = horizon.last_monday + timedelta(days=3)
    _set(pump, manual=(_hand(horizon, day, 15 * 60 + 35 + _odd_s(rng), 130, 2800),))
    return day, day, "one override of 2 h 10 min"


def _closed(site: Site, pump: Pump, horizon: Horizon, rng: np.random.Generator) -> tuple[date, date, str]:
    site.season = "closed"
    pump.silent = True
    _set(pump, dead=((0, horizon.end_s),))
    site.visits.append(
        Visit(pump.pump_id, horizon.first_day - timedelta(days=14), "closing", note="drained for the winter")
    )
    return horizon.first_day, horizon.last_day, "closed and silent"


def _not_metered(site: Site, pump: Pump, horizon: Horizon, rng: np.random.Generator) -> tuple[date, date, str]:
    pump.metered = False
    return horizon.first_day, horizon.last_day, "logger has no power meter"


_MODES = {
    "A1": _clock_twelve_hours,
    "A2": _clock_not_changed,
    "B1": _missing_days,
    "B2": _sent_twice,
    "B4": _watts_in_kw,
    "O1": _too_little,
    "O3": _wasteful,
    "C6": _full_speed,
    "C10": _override_left_on,
    "C12": _peak_hours,
    "D8": _does_not_run,
    "D14": _aux_too_slow,
    "D17": _no_freeze_protection,
    "agreed override": _agreed_override,
    "backwash": _backwash,
    "vacuum day": _vacuum,
    "night running on purpose": _night,
    "near-symmetric plan": _symmetric,
    "plan change on record": _plan_change,
    "clock change handled right": _clock_right,
    "freeze protection acts": _freeze_acts,
    "heater season": _heater,
    "short override": _short_override,
    "closed season": _closed,
    "power not metered": _not_metered,
}
