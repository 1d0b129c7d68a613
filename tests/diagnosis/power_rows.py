"""Daily power at held speeds over eight weeks, for rules that read slow and sudden changes: loaded in place of what the
small fleet leaves empty.

Power is 45 + 52 (n/1000)^3 W as in the small fleet, times a share of the day, with a seeded scatter. Numbers are invented.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, timedelta

import numpy as np
import polars as pl
from small_fleet import LAST, Fleet, power_w

from pumpledger.accounting.loading import build_loading
from pumpledger.engine.account_tables import LEVELS
from pumpledger.engine.database import Database
from pumpledger.engine.tables import SPEED_GRID

DAYS = 56
START = LAST - timedelta(days=DAYS - 1)
SPEEDS = (1000, 1500, 2400)
ONES = np.ones(DAYS)


def day(number: int) -> date:
    """Local day by its number, 0 to 55."""
    return START + timedelta(days=number)


def step(number: int, share: float) -> np.ndarray:
    """Shape (56,): 1, and ``share`` from day ``number`` on."""
    return np.where(np.arange(DAYS) < number, 1.0, share)


def ramp(number: int, until: int, share: float) -> np.ndarray:
    """Shape (56,): 1, then a straight line to ``share`` from day ``number`` to day ``until``."""
    return np.interp(np.arange(DAYS), [number, until], [1.0, share])


def levels(
    shares: Mapping[str, np.ndarray],
    speeds: tuple[int, ...] = SPEEDS,
    scatter: float = 0.008,
    added_w: Mapping[str, np.ndarray] | None = None,
    seed: int = 7,
) -> pl.DataFrame:
    """LEVELS: power of each pump at each speed times its share of the day, ``added_w`` [W] on top; NaN leaves out."""
    noise, rows = np.random.default_rng(seed), []
    for pump, series in shares.items():
        extra = (added_w or {}).get(pump, np.zeros(DAYS))
        for speed in speeds:
            chance = np.exp(scatter * noise.standard_normal(DAYS))
            watts = (float(power_w(np.array(speed))) + extra) * series * chance
            rows += [(pump, day(n), speed, float(w), 240.0) for n, w in enumerate(watts) if np.isfinite(w)]
    return pl.DataFrame(rows, schema=LEVELS.schema, orient="row")


def peers(count: int = 9, season: np.ndarray = ONES) -> dict[str, np.ndarray]:
    """Pumps of a fleet that do nothing but follow the season."""
    return {f"P-Q{number}": season for number in range(count)}


def load_levels(db: Database, frame: pl.DataFrame) -> None:
    """``past_level``, and the ``loading`` that follows from it, of all pumps of the register."""
    pumps = db.table("pump").select("pump_id", "site_id", "curve")
    no_curves = pl.DataFrame(
        schema={"curve": pl.String, "speed_rpm": pl.Float64, "flow_m3h": pl.Float64, "head_m": pl.Float64}
    )
    judged = [LAST - timedelta(days=n) for n in range(14)]
    db.load("past_level", frame)
    db.load("loading", build_loading(frame, db.table("visit"), pumps, no_curves, SPEED_GRID.empty(), judged))


FAULTY = ("D2", "D3", "D4", "D5", "D6", "D7")


def add_water_faults(fleet: Fleet) -> None:
    """A site for each of D1 to D7, named after it; `load_water_faults` adds their powers."""
    primes = fleet.site("D1", priming_speed_rpm=3000.0, priming_min=3.0)
    for local_day in fleet.days[-3:]:
        for start in (540, 600, 660, 720):
            fleet.set(primes, local_day, 3000, start, start + 3)
    for rule in FAULTY:
        fleet.site(rule)
    fleet.set("P-D2", LAST, 1501, 380, 420)
    fleet.visit("D6", day(42), "cleaning")


def load_water_faults(db: Database) -> None:
    """Powers of eight weeks for the sites of `add_water_faults`, and for enough others to show the season."""
    shares = {
        "P-D2": ONES,
        "P-D3": ramp(20, 55, 0.8),
        "P-D4": step(40, 1.2),
        "P-D5": step(40, 0.8),
        "P-D6": ramp(10, 40, 0.8),
        "P-D7": ONES,
    }
    load_levels(db, levels(shares | peers(), added_w={"P-D7": np.linspace(0, 60, DAYS)}))
    dry = pl.when(pl.col("speed_rpm") == 1501).then(0.3 * float(power_w(np.array(1500)))).otherwise("power_w")
    db.load("span", db.table("span").with_columns(dry.alias("power_w")))
