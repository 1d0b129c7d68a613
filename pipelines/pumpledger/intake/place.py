"""Places the rows of an export in time: UTC, and the site's local day.

Belongs here: which of the two queries places a dialect, and the offsets it needs. Offsets come from `clock.py`.
"""

from __future__ import annotations

from pumpledger.engine.database import Database
from pumpledger.intake.clock import utc_eras, utc_offsets, wall_offsets
from pumpledger.intake.dialects import Dialect


def names_its_instant(dialect: Dialect) -> bool:
    """Whether a stamp is one instant by itself: UTC, with its offset, or epoch seconds."""
    return dialect.zone in ("utc", "offset")


def place(db: Database, dialect: Dialect) -> None:
    """Make ``placed_row`` from ``typed_row`` and ``pump_zone``."""
    days = db.query("intake/stamp_days")["day"].to_list()
    if names_its_instant(dialect):
        db.load("pump_era", db.table("pump_zone").join(utc_eras(_zones(db), days), on="zone"))
        db.build("placed_row", "intake/place_universal", {"shift_s": shift_of(dialect)})
        return
    fixed = None if dialect.zone == "site" else dialect.zone
    db.load("utc_offset", utc_offsets(_zones(db), days))
    db.load("wall_offset", wall_offsets(sorted({*_zones(db), *([fixed] if fixed else [])}), days))
    db.build(
        "placed_row",
        "intake/place_wall_clock",
        {"shift_s": shift_of(dialect), "fixed_zone": fixed, "interval_s": dialect.interval_s},
    )


def shift_of(dialect: Dialect) -> int:
    """Seconds from the beginning that a row describes to its stamp."""
    return int(dialect.interval_s or 0) if dialect.label == "interval_ending" else 0


def _zones(db: Database) -> list[str]:
    return db.table("pump_zone")["zone"].unique().to_list()
