"""What an export holds, from its tally: extents, profile, the pumps that it names.

Belongs here: what is asked of the few rows of the tally. How rows are counted stands in ``sql/intake/tally.sql``.
"""

from __future__ import annotations

import polars as pl

from pumpledger.intake.rules import FATES


def extents(tally: pl.DataFrame) -> pl.DataFrame:
    """How far the readings reach: week, pump_id, rows, first_utc, last_utc; one row per local ISO week and pump."""
    found = tally.filter(pl.col("fate") == "readings", pl.col("week").is_not_null())
    return found.select("week", "pump_id", "rows", "first_utc", "last_utc").sort("week", "pump_id")


def pumps_seen(tally: pl.DataFrame) -> list[str]:
    """Pumps that the export names, in the register or not: when the register's view of one changes, the export is read
    again."""
    return tally.filter(pl.col("fate") != "rejects")["pump_id"].drop_nulls().unique().sort().to_list()


def file_profile(tally: pl.DataFrame) -> dict[str, object]:
    """The row of an export that the suite file_profile judges.

    Rows, by fate; shares of rows [0-1], impossible_share those with a value out of range; null share of speed and of
    energy among the readings; their largest speed [rev/min] and power [W], first and last UTC.
    """
    readings = tally.filter(pl.col("fate") == "readings")
    total = int(tally["rows"].sum())
    count = {fate: int(tally.filter(pl.col("fate") == fate)["rows"].sum()) for fate in FATES}
    impossible = int(tally.filter(pl.col("rule").str.ends_with("_out_of_range"))["rows"].sum())
    return {
        "rows": total,
        **count,
        "reject_share": _share(count["rejects"], total),
        "quarantine_share": _share(count["quarantine"], total),
        "duplicate_share": _share(count["duplicates"], total),
        "impossible_share": _share(impossible, total),
        "speed_null_share": _share(int(readings["speed_nulls"].sum()), count["readings"], 1.0),
        "energy_null_share": _share(int(readings["energy_nulls"].sum()), count["readings"], 1.0),
        "speed_most_rpm": readings["speed_most_rpm"].max(),
        "power_most_w": readings["power_most_w"].max(),
        "first_utc": readings["first_utc"].min(),
        "last_utc": readings["last_utc"].max(),
    }


def _share(part: int, whole: int, of_nothing: float = 0.0) -> float:
    return part / whole if whole else of_nothing
