"""What moves a pump's watts and its filter besides its speed, in a hard fleet.

Belongs here: day-to-day noise, the season, dirt, and the changes that faults bring. Those of the demo's block stand in
`fleet.py`.
"""

from __future__ import annotations

import numpy as np

from pumpledger.simulator.horizon import Horizon
from pumpledger.simulator.sites import Pump
from pumpledger.simulator.trace import Conditions
from pumpledger.simulator.weather import CLIMATES, Station

FOLLOWS = 0.6
"""How much of a day's departure the next day keeps: noise correlated in time, AR(1)."""
NOISE = (0.006, 0.014)
"""Standard deviation of a day's power about its mean, share, least and most."""
SEASON_OF_ALL, SEASON_OF_ONE = 0.05, 0.03
"""Most that the season moves power over ten weeks: what the pumps of a station share, and a pump's own; 8 % together."""
_SEASON_DAYS = 70.0


def hard_conditions(station: Station, pump: Pump, horizon: Horizon, seed: int, index: int, order: int) -> Conditions:
    """Hourly from warm-up to end, with the pump's own `Change`s in it."""
    rng = np.random.default_rng([seed, index, 850_000 + order])
    shared = np.random.default_rng([seed, 860_000 + list(CLIMATES).index(station.name)])
    time_s = np.arange(horizon.warm_start_s, horizon.end_s + 3601, 3600)
    day = (time_s - time_s[0]) / 86_400.0
    noons = np.arange(-1.0, day[-1] + 2.0)
    spread = rng.uniform(*NOISE)
    daily = np.zeros(noons.size)
    daily[0] = spread * rng.standard_normal()
    for i in range(1, noons.size):
        daily[i] = FOLLOWS * daily[i - 1] + np.sqrt(1.0 - FOLLOWS**2) * spread * rng.standard_normal()
    season = shared.uniform(-SEASON_OF_ALL, SEASON_OF_ALL) + rng.uniform(-SEASON_OF_ONE, SEASON_OF_ONE)
    # From the height of summer to the depth of winter is half a cosine; ten weeks of it, begun somewhere near the top.
    bend = (1.0 - np.cos(np.pi * np.clip(day / _SEASON_DAYS, 0.0, 1.0))) / 2.0
    supply = 0.003 * np.sin(2.0 * np.pi * (day + rng.uniform(0.0, 7.0)) / 7.0)
    factor = 1.0 + np.interp(day, noons, daily) + supply + season * bend
    age = pump.errors.filter_age_days
    dirt = rng.uniform(0.0, 0.04) + rng.uniform(0.0008, 0.003) * ((day + age) % 28.0)
    changed = {
        kind: sum((_change(c.points, time_s) for c in pump.changes if c.kind == kind), start=np.zeros(time_s.size))
        for kind in ("friction", "impeller", "watts", "pad_air")
    }
    return Conditions(
        time_s=time_s,
        power_factor=factor,
        loading=dirt + changed["friction"],
        pad_temperature_c=station.at(time_s) + rng.uniform(-0.5, 0.5) + changed["pad_air"],
        added_w=changed["watts"],
        impeller=1.0 + changed["impeller"],
        air=tuple(pump.air),
        powerless=tuple(pump.powerless),
    )


def _change(points: tuple[tuple[int, float], ...], time_s: np.ndarray) -> np.ndarray:
    at, value = zip(*points, strict=True)
    return np.interp(time_s, at, value, left=0.0)
