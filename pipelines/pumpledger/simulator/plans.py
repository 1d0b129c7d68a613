"""Plans a good company would key in, and bad ones, for a given machine and pool.

Belongs here: which speeds and hours. What is keyed into a controller, and when, stands in `faults.py`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pumpledger.simulator.controller import Period
from pumpledger.simulator.physics import Machine

# Water a sensible plan moves beyond the required turnovers, with a filter that has begun to load.
MARGIN = 1.07
LOADING_ALLOWED = 0.06
# A plan of several periods may cost this much more than the cheapest plan of one.
_DRESSING = 1.04
_SLOT_MIN = 15
# Outside 16:00 to 21:00 there are 19 hours; half an hour stays free. A day with less than an hour off is filled up.
OFF_PEAK_MIN = 1110
_NEARLY_ALL_DAY_MIN = 1380
_SPEEDS = np.arange(600, 3451, 25)
# Faster first period and slower last one: (rev/min up, hours, rev/min down, hours).
_SHAPES = ((300, 1.5, 100, 3.0), (200, 1.5, 100, 2.0), (150, 2.0, 75, 2.0), (150, 1.0, 0, 0.0), (75, 1.0, 0, 0.0))


@dataclass(frozen=True, slots=True)
class Wish:
    """What a plan has to do: filter ``volume_m3`` a day, never below ``least_rpm``, within ``longest_min``.

    ``avoid_peak`` keeps out of 16:00 to 21:00; ``start_min`` fixes the beginning; ``one_period`` asks for a single row.
    """

    volume_m3: float
    least_rpm: int = 600
    longest_min: int = 1440
    avoid_peak: bool = False
    start_min: int | None = None
    one_period: bool = False


def _length_min(volume_m3: np.ndarray | float, flow_m3h: np.ndarray | float) -> np.ndarray:
    return np.ceil(np.asarray(volume_m3) / flow_m3h * 60.0 / _SLOT_MIN - 1e-9) * _SLOT_MIN


def most_volume_m3(machine: Machine, wish: Wish) -> float:
    """Volume a day that the machine's most frugal permitted speed moves within the wish's longest time [m3].

    Above it a longer and slower plan would be cheaper than any that the wish permits.
    """
    flow = machine.flow_m3h(_SPEEDS, LOADING_ALLOWED)
    per_m3 = np.where(
        (flow > 0.5) & (_SPEEDS >= wish.least_rpm),
        machine.running_w(_SPEEDS, LOADING_ALLOWED) / np.maximum(flow, 0.5),
        np.inf,
    )
    return float(flow[np.argmin(per_m3)]) * _longest_min(wish) / 60.0 / MARGIN


def cheapest_speed(machine: Machine, wish: Wish) -> tuple[int, int]:
    """Speed [rev/min] and length [min] that move the wished volume with the least energy in one period.

    Raises:
        ValueError: no speed moves the volume in time.
    """
    flow = machine.flow_m3h(_SPEEDS, LOADING_ALLOWED)
    moves = (flow > 0.5) & (_SPEEDS >= wish.least_rpm)
    length = np.where(moves, _length_min(wish.volume_m3 * MARGIN, np.maximum(flow, 0.5)), np.inf)
    longest = _longest_min(wish)
    energy = np.where(length <= longest, machine.running_w(_SPEEDS, LOADING_ALLOWED) * length, np.inf)
    best = int(np.argmin(energy))
    if not np.isfinite(energy[best]):
        raise ValueError(f"no plan moves {wish.volume_m3:.0f} m3 in {longest} min")
    return int(_SPEEDS[best]), int(length[best])


def sensible_plan(machine: Machine, wish: Wish, rng: np.random.Generator) -> tuple[Period, ...]:
    """A low-cost plan of one to three periods: a faster hour or two, a long slow stretch, a slower end."""
    speed, length = cheapest_speed(machine, wish)
    longest = _longest_min(wish)
    rows = [(speed, length)]
    if not wish.one_period:
        first = int(rng.choice([0, 0, 1, 2]))
        for shape in _SHAPES[first:]:
            dressed = _dressed(machine, wish, speed, shape)
            if dressed is None or sum(minutes for _, minutes in dressed) > longest:
                continue
            cost = sum(float(machine.running_w(rpm, LOADING_ALLOWED)) * minutes for rpm, minutes in dressed)
            if cost <= _DRESSING * float(machine.running_w(speed, LOADING_ALLOWED)) * length:
                rows = dressed
                break
    total = sum(minutes for _, minutes in rows)
    if _NEARLY_ALL_DAY_MIN < total < 1440 and longest == 1440:
        rows[-1] = (rows[-1][0], rows[-1][1] + 1440 - total)
        total = 1440
    return placed(rows, _start_min(total, wish, rng))


def excess(machine: Machine, periods: tuple[Period, ...], wish: Wish) -> float:
    """Energy of a plan over that of the cheapest single speed that moves just the wished volume, less one."""
    flow = machine.flow_m3h(_SPEEDS, LOADING_ALLOWED)
    hours = np.where((flow > 0.5) & (_SPEEDS >= wish.least_rpm), wish.volume_m3 / np.maximum(flow, 0.5), np.inf)
    energy = np.where(hours * 60.0 <= _longest_min(wish), machine.running_w(_SPEEDS, LOADING_ALLOWED) * hours, np.inf)
    used = sum(float(machine.running_w(row.speed_rpm, LOADING_ALLOWED)) * row.length_min / 60.0 for row in periods)
    return used / float(energy.min()) - 1.0


def _longest_min(wish: Wish) -> int:
    return min(wish.longest_min, OFF_PEAK_MIN if wish.avoid_peak else 1440)


def placed(rows: list[tuple[int, int]], start_min: int) -> tuple[Period, ...]:
    """Rows of (speed, minutes) one after the other from a clock time; a row that ends at midnight stops at 24:00."""
    periods = []
    at = start_min
    for speed, minutes in rows:
        stop = (at + minutes) % 1440
        periods.append(Period(speed, at % 1440, stop or 1440))
        at += minutes
    return tuple(periods)


def twin_plan(machine: Machine, volume_m3: float) -> tuple[Period, ...]:
    """Two equal periods twelve hours apart: a plan by which the clock cannot be checked against twelve hours."""
    speed, length = cheapest_speed(machine, Wish(volume_m3, longest_min=1080))
    half = int(np.ceil(length / 2 / _SLOT_MIN) * _SLOT_MIN)
    return (Period(speed, 180, 180 + half), Period(speed, 900, 900 + half))


def short_plan(machine: Machine, volume_m3: float, share: float, start_min: int) -> tuple[Period, ...]:
    """A plan that moves only ``share`` of the volume."""
    speed, length = cheapest_speed(machine, Wish(volume_m3, longest_min=960))
    minutes = int(round(length * share / MARGIN / _SLOT_MIN) * _SLOT_MIN)
    lead = max(60, minutes // 4 // _SLOT_MIN * _SLOT_MIN)
    return placed([(speed + 200, min(lead, 90)), (speed, minutes - min(lead, 90))], start_min)


def wasteful_plan(machine: Machine, volume_m3: float, start_min: int) -> tuple[Period, ...]:
    """Twice the water at well over the speed it needs: at least twice the energy of the cheapest plan."""
    speed, length = cheapest_speed(machine, Wish(volume_m3, longest_min=1080))
    fast = min(speed + 700, 2600)
    minutes = int(_length_min(1.9 * volume_m3, float(machine.flow_m3h(fast))))
    minutes = min(max(minutes, 360), 1080)
    return placed([(fast + 200, 120), (fast, minutes - 120)], start_min)


def peak_plan(machine: Machine, volume_m3: float) -> tuple[Period, ...]:
    """Slow in the morning, and the fast hours right in the dear ones from 16:00 to 20:30."""
    speed, _ = cheapest_speed(machine, Wish(volume_m3, longest_min=960))
    fast = min(speed + 700, 2500)
    evening = 4.5 * float(machine.flow_m3h(fast, LOADING_ALLOWED))
    rest = max(MARGIN * volume_m3 - evening, 0.15 * volume_m3)
    morning = min(int(_length_min(rest, float(machine.flow_m3h(speed, LOADING_ALLOWED)))), 540)
    return (Period(speed, 390, 390 + morning), Period(fast, 960, 1230))


def _dressed(
    machine: Machine, wish: Wish, speed: int, shape: tuple[float, float, float, float]
) -> list[tuple[int, int]] | None:
    up, up_h, down, down_h = shape
    fast, slow = int(speed + up), int(speed - down)
    if slow < max(wish.least_rpm, 600) or fast > 3450:
        return None
    left = wish.volume_m3 * MARGIN - up_h * float(machine.flow_m3h(fast, LOADING_ALLOWED))
    if down_h:
        left -= down_h * float(machine.flow_m3h(slow, LOADING_ALLOWED))
    main = int(_length_min(left, float(machine.flow_m3h(speed, LOADING_ALLOWED))))
    if main < 120:
        return None
    rows = [(fast, int(up_h * 60)), (speed, main)]
    return [*rows, (slow, int(down_h * 60))] if down_h else rows


def _start_min(length: int, wish: Wish, rng: np.random.Generator) -> int:
    if wish.start_min is not None:
        return wish.start_min
    if wish.avoid_peak:  # between 21:00 and 16:00, ending in the afternoon
        latest_stop = 1440 + 960 - _SLOT_MIN * int(rng.integers(1, 5))
        return max(latest_stop - length, 1275) % 1440
    if length == 1440:
        return 0
    return _SLOT_MIN * int(rng.integers(20, 37))
