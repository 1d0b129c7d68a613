"""The clock of the rules' test fleet: minutes of local days of 23, 24 and 25 hours, a plan's speed in
each of them, and prices by the clock."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from functools import cache
from zoneinfo import ZoneInfo

import numpy as np

ZONE = ZoneInfo("America/Los_Angeles")
Bands = tuple[tuple[str, str, int, int, float, bool], ...]
EVENING_PEAK: Bands = (
    ("off peak", "weekday", 0, 960, 0.2, False),
    ("peak", "weekday", 960, 1260, 0.6, True),
    ("off peak", "weekday", 1260, 1440, 0.2, False),
    ("off peak", "weekend", 0, 1440, 0.2, False),
)


@cache
def midnight(day: date) -> datetime:
    return datetime(day.year, day.month, day.day, tzinfo=ZONE).astimezone(UTC).replace(tzinfo=None)


@cache
def wall_min(day: date) -> np.ndarray:
    """Wall-clock minute of each elapsed minute of the day: 1380, 1440 or 1500 of them; only to be read."""
    start, stop = midnight(day), midnight(day + timedelta(days=1))
    minutes = int((stop - start).total_seconds() // 60)
    hours = [(start + timedelta(hours=h)).replace(tzinfo=UTC).astimezone(ZONE).hour for h in range(minutes // 60)]
    clock = np.repeat(np.array(hours) * 60, 60) + np.tile(np.arange(60), len(hours))
    clock.flags.writeable = False
    return clock


def planned_rpm(plan: tuple, day: date, moved_min: int = 0) -> np.ndarray:
    """Speed of ``plan`` by the minute of ``day``; ``moved_min`` runs it that much later by the wall clock."""
    clock = (wall_min(day) - moved_min) % 1440
    speed = np.zeros(len(clock))
    for _, rpm, start, stop in plan:
        inside = (clock >= start) & (clock < stop) if stop > start else (clock >= start) | (clock < stop)
        speed[inside] = rpm
    return speed
