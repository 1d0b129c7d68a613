"""From readings to spans with causes and to the quarter-hour profile of a week.

Belongs here: the order of the queries and their parameters. What a span is stands in ``sql/profile``.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta

import polars as pl

from pumpledger.engine.database import Database
from pumpledger.profile.counters import mend_counters
from pumpledger.profile.pump_ranges import pump_ranges

STANDING = {
    "off_below_rpm": 50.0,  # jitter about standstill; the slowest speed that can be keyed in is 600
    "idle_w": 30.0,  # above the standby of controllers (a few watts to 15 W, catalogue note), below any running pump
}
STEADY = {
    # above the jitter of a drive (about 5 rpm either way, common practice, no source), below two steps of the grid
    "same_speed_rpm": 40.0,
    # beyond what voltage and temperature move power by within minutes; a dry pump draws half or less, or, where losses
    # are most of its power at low speed, four fifths
    "same_power_share": 0.85,
    "same_power_w": 12.0,  # above one step of a meter that shows tens of watts
}
COUNTER_RUN = {"longest_step_s": 3660.0}  # a counter that is read once an hour goes on without a break
CAUSES = {
    "near_rpm": 50.0,  # two grid steps
    "edge_min": 16.0,  # one quarter-hour interval and a minute of clock
    "override_least_min": 20.0,
    "override_most_min": 24 * 60.0,  # an override lasts up to 24 h (facts 2k, from memory), and what a sample hides
    "bridge_min": 120.0,  # the longest hole of a valid day
    "freeze_margin_c": 3.0,  # station against pad
}

READINGS_AT_ONCE = 1_000_000
"""About 0.15 GB in the sort and the walk of one part."""
MOST_PARTS = 16
"""Where each file holds all pumps, every part reads all files."""
WALKS = 2
"""Parts at a time: the walk itself runs on one core."""


def build_spans(db: Database, margin: timedelta, shared: bool = False) -> None:
    """Fill ``span`` and ``counter_run`` for the days of the calendar from ``reading``, ``export_hold`` and
    ``bad_value``; needs the register and the calendar in ``db``.

    ``margin`` is the longest gap limit: how far outside the days a reading can still reach into them; ``shared`` says
    that ``reading`` holds pumps with several logs, as ``profile/reading_by_log`` names them.
    """
    days = db.table("local_day")
    reach = {"from_utc": days["start_utc"].min() - margin, "to_utc": days["end_utc"].max() + margin}
    mend_counters(db)
    steady, runs = _walked(db, STANDING | reach | {"shared": shared})
    db.load("steady", steady)
    db.load("counter_run", runs)
    if shared:
        db.load("steady", db.query("profile/merged"))
    db.build("observed", "profile/observed")
    db.build("piece", "profile/piece")
    db.build("span", "profile/causes", CAUSES)


def _walked(db: Database, parameters: dict[str, object]) -> tuple[pl.DataFrame, pl.DataFrame]:
    """The rows of ``profile/steady`` and ``profile/counter_run``, walked along in parts: a sort and two walks each, two
    parts at a time."""

    def walked(pumps: tuple[str, str]) -> tuple[pl.DataFrame, pl.DataFrame]:
        with db.beside() as own:
            own.build("ordered", "profile/ordered", parameters | {"from_pump": pumps[0], "to_pump": pumps[1]})
            return own.query("profile/steady", STEADY), own.query("profile/counter_run", COUNTER_RUN)

    readings = db.query("profile/reading_count")
    at_once = max(READINGS_AT_ONCE, readings["readings"].sum() // MOST_PARTS)
    parts = pump_ranges(readings, at_once) or [("", "")]
    with ThreadPoolExecutor(WALKS) as pool:
        steady, runs = zip(*pool.map(walked, parts), strict=True)
    return pl.concat(steady), pl.concat(runs)


def build_profile(db: Database) -> None:
    """Fill ``profile`` from ``span``."""
    db.build("profile", "profile/profile")
