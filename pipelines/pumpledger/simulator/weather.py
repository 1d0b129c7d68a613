"""Invented air temperature of three stations, hour by hour, with a cold snap on the ridge.

Belongs here: the air. What freeze protection makes of it stands in `controller.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from scipy.signal import lfilter

from pumpledger.simulator.horizon import CHANGE_DAY, Horizon


@dataclass(frozen=True, slots=True)
class Climate:
    """Mean of late October, half the daily swing, and depth of the cold snap, all [deg C]."""

    mean_c: float
    swing_c: float
    snap_c: float
    noise_c: float


CLIMATES = {
    "coast": Climate(16.0, 3.5, -2.0, 0.7),
    "inland": Climate(18.5, 7.0, -3.0, 0.8),
    "ridge": Climate(13.0, 4.5, -12.5, 0.5),
}
# Three frost nights, evening of the first to morning of the last: four local days, so a healthy site's week stays
# ordinary.
SNAP_FROM = CHANGE_DAY + timedelta(days=3)
SNAP_TO = CHANGE_DAY + timedelta(days=6)
_WARMEST_CLOCK_H = 15.0
_COOLING_PER_DAY_C = -0.08


@dataclass(frozen=True)
class Station:
    """Hourly air temperature: ``time_s`` [s since 1970, UTC], ``air_temperature_c`` [deg C], equal lengths."""

    name: str
    time_s: np.ndarray
    air_temperature_c: np.ndarray

    def at(self, time_s: np.ndarray) -> np.ndarray:
        """Temperature between the hours by straight lines [deg C]."""
        return np.interp(time_s, self.time_s, self.air_temperature_c)


def make_station(name: str, horizon: Horizon, seed: int) -> Station:
    """A station with a daily swing, slow noise, a slow cooling and the snap; from a day before the warm-up to a day
    after the end.
    """
    climate = CLIMATES[name]
    rng = np.random.default_rng([seed, 900_000 + list(CLIMATES).index(name)])
    time_s = np.arange(horizon.warm_start_s - 86_400, horizon.end_s + 86_400 + 1, 3600)
    local_s = horizon.local_s(time_s)
    clock_h = (local_s % 86_400) / 3600.0
    day = local_s / 86_400.0 - (CHANGE_DAY - date(1970, 1, 1)).days
    swing = climate.swing_c * np.cos(2.0 * np.pi * (clock_h - _WARMEST_CLOCK_H) / 24.0)
    noise = lfilter([1.0], [1.0, -0.93], rng.standard_normal(time_s.size)) * climate.noise_c * np.sqrt(1.0 - 0.93**2)
    # From 14:00 on the first day to 12:00 on the last, with half a day of slope on either side.
    begin = (SNAP_FROM - CHANGE_DAY).days + 14.0 / 24.0
    end = (SNAP_TO - CHANGE_DAY).days + 12.0 / 24.0
    snap = climate.snap_c * np.interp(day, [begin, begin + 0.3, end - 0.15, end + 0.15], [0.0, 1.0, 1.0, 0.0])
    air = climate.mean_c + swing + noise + snap + _COOLING_PER_DAY_C * day
    return Station(name, time_s, np.round(air, 1))
