"""Faults of drive, supply, auxiliary load and freeze protection, D8 to D10, D12 to D14 and D17 to D20.

Belongs here: one function per mode. D16 (heating on a slow step) is not here: no log of the demo holds the heater's call,
only the relay, so that heat asked for and not given leaves no mark.
"""

from __future__ import annotations

from datetime import timedelta

from pumpledger.simulator.case import DAY_S, Case
from pumpledger.simulator.controller import Sag
from pumpledger.simulator.plans import Wish, cheapest_speed, placed
from pumpledger.simulator.weather import SNAP_FROM, SNAP_TO


def _dead(case: Case, spans: list[tuple[int, int]]) -> None:
    case.set(dead=(*case.pump.controller.dead, *spans))


def does_not_run(case: Case) -> str:
    """D8: tripped; the logger lives."""
    length = round(case.between(2, 14))
    case.last = min(case.last, case.first + timedelta(days=length - 1))
    _dead(case, [(case.start_s + 60 * int(case.rng.integers(0, 300)), case.stop_s)])
    case.mended("repair", "breaker closed")
    return f"breaker of the motor tripped for {len(case.days)} days"


def no_power(case: Case) -> str:
    """D9: the drive shows a speed and the motor has no current, for some hours of most days."""
    hours = case.between(0.5, 10.0)
    for day in case.days:
        if day != case.first and case.rng.random() < 0.3:
            continue
        for begin, end in case.running_min(day, 90)[:1]:
            length = min(60.0 * hours, end - begin - 20)
            at = case.at(day, begin + 15 + case.rng.uniform(0, max(1.0, end - begin - 20 - length)))
            case.pump.powerless.append((at, at + int(6 * length) * 10))
    case.mended("repair", "drive reset")
    return f"speed told, no current, {hours:.1f} h a day"


def sags(case: Case) -> str:
    """D10: the drive protects itself from heat."""
    per_c = case.between(15.0, 80.0)
    case.set(sags=(*case.pump.controller.sags, Sag(case.start_s, case.stop_s, 17.0, per_c)))
    case.mended("repair", "drive in the shade")
    return f"{per_c:.0f} rpm slower for each deg C above 17"


def relay_stuck(case: Case) -> str:
    """D12: the relay is welded shut, always or for hours now and then."""
    if case.size > 0.5:
        spans = [(case.start_s + 30_000, case.stop_s)]
    else:
        days = [day for day in case.days if case.rng.random() < 0.4] or [case.first]
        spans = []
        for day in days:
            at = case.at(day, 60 * case.rng.uniform(0, 20))
            spans.append((at, at + int(3600 * case.rng.uniform(1.5, 4.0))))
    case.set(aux_stuck=(*case.pump.controller.aux_stuck, *spans))
    case.mended("repair", "relay replaced")
    return (
        "relay of the auxiliary load stuck on" if case.size > 0.5 else f"relay stuck on for hours on {len(spans)} days"
    )


def relay_open(case: Case) -> str:
    """D13: the relay never closes."""
    case.set(aux_open=(*case.pump.controller.aux_open, (case.start_s, case.stop_s)))
    case.mended("repair", "coil replaced")
    case.size = 1.0
    return "relay of the auxiliary load never closes"


def too_little_for_the_load(case: Case) -> str:
    """D14: the relay closes below what the equipment needs."""
    case.whole()
    relay = case.pump.controller.aux_min_rpm
    planned = min(row.speed_rpm for plan in case.pump.controller.plans for row in plan.periods)
    case.pump.aux_min_rpm = int(25 * round((max(relay, planned) + case.between(75, 700)) / 25))
    return f"relay closes from {relay:.0f} rpm, equipment needs {case.pump.aux_min_rpm} rpm"


def no_freeze_protection(case: Case) -> str:
    """D17: switched off; it shows in the frost nights only."""
    case.first, case.last = max(SNAP_FROM, case.horizon.first_day), min(SNAP_TO, case.horizon.last_day)
    case.set(freeze_off=((case.horizon.warm_start_s, case.horizon.end_s),))
    case.size = 1.0
    return "pump stays off in the frost nights"


def freezes_in_the_warm(case: Case) -> str:
    """D18: the controller's sensor reads too low."""
    off = case.between(7.0, 16.0)
    case.change("pad_air", [(case.start_s, 0.0), (case.start_s + 7200, -off)])
    case.mended("repair", "sensor replaced")
    return f"air sensor reads {off:.0f} deg C too low"


def off_at_night(case: Case) -> str:
    """D19: a plan around the clock, and an owner who pulls the plug in the evening."""
    speed, length = cheapest_speed(case.pump.machine, Wish(case.need_m3))
    length = max(length, 1080)
    shift = 15 * int(case.rng.integers(0, 9))
    case.key_in(placed([(speed, length)], (480 + shift) % 1440))
    if case.first > case.horizon.first_day:
        case.visit(case.first, "keying")
    hours = case.between(2.5, 9.0)
    out = 1320.0 + float(case.rng.uniform(-60, 60)) - 30.0 * max(0.0, hours - 6.0)
    spans = []
    for day in case.days:
        if case.rng.random() < 0.9:
            at = case.at(day, out + float(case.rng.normal(0.0, 12.0)))
            spans.append((at, at + int(3600 * hours + 600 * case.rng.standard_normal())))
    _dead(case, spans)
    return f"unplugged for {hours:.1f} h on most nights"


def closed_unsaid(case: Case) -> str:
    """D20: closed for the winter with a note of the visit, and still open in the register; for the rest of the time."""
    case.last = case.horizon.last_day
    _dead(case, [(case.start_s + 40_000, case.horizon.end_s)])
    case.visit(case.first, "closing", "drained for the winter")
    case.size = min(1.0, len(case.days) * DAY_S / (28.0 * DAY_S))
    return "closed for the winter, register says open"
