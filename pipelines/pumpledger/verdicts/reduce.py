"""Readings reduced once for all modes: by speed level, and by the steps between neighbours.

Belongs here: the two passes over all readings and the memory they may use. What is made of them is the modes' business.
"""

from __future__ import annotations

import polars as pl

from pumpledger.engine.database import Database
from pumpledger.profile.pump_ranges import pump_ranges

RUNNING_RPM = 600.0
"""Lowest speed that is keyed in (common practice, no source): at or above it a pump runs and draws power."""
STANDBY_W = 30.0
"""Above the standby of controllers (a few watts to 15 W, common practice, no source), below any running pump."""
SPEED_CHANGE_RPM = 40.0
"""Above the jitter of a drive (about 5 rpm either way, common practice, no source), below two steps of the grid."""
LEVEL_RPM = 50.0
READINGS_AT_ONCE = 2_000_000
"""About 0.3 GB in the walk along the readings."""


def reduce_readings(db: Database, differences: float, at_once: int = READINGS_AT_ONCE) -> None:
    """Make ``speed_level`` and ``reading_step`` from ``reading`` and ``export_hold``.

    ``reading_step`` says on which days B12 and B13 may find something, so that those need not walk along all readings
    again. ``differences`` is the parameter of B13; ``at_once`` bounds how many readings are walked along in one go.
    """
    db.build("speed_level", "verdicts/speed_level", {"level_rpm": LEVEL_RPM})
    walk = {
        "running_rpm": RUNNING_RPM,
        "speed_change_rpm": SPEED_CHANGE_RPM,
        "differences": int(differences),
    }
    readings = db.table("speed_level").group_by("pump_id").agg(pl.col("readings").sum()).sort("pump_id")
    parts = [
        db.query("verdicts/reading_step", walk | {"from_pump": first, "to_pump": last})
        for first, last in pump_ranges(readings, at_once) or [("", "")]
    ]
    db.load("reading_step", pl.concat(parts).sort("pump_id", "day_local", "step_s"))
