"""What a later export corrected, and what was taken out again: readings that no longer count.

Belongs here: grouping and wording of superseded readings and withdrawn exports. Which of two readings stands is decided
by the intake.
"""

from __future__ import annotations

import math
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import polars as pl

from pumpledger.reports import wording
from pumpledger.reports.data import ReviewData

Row = dict[str, object]

MOST_ROWS = 200  # on the page; all of them stand in corrections.csv
OUT = ("withdrawn", "to read again")
"""States of an export that was taken out of the readings."""

CORRECTIONS = {
    "site_id": pl.String(),
    "pump_id": pl.String(),
    "old_file": pl.String(),
    "new_file": pl.String(),
    "old_export_id": pl.String(),
    "new_export_id": pl.String(),
    "readings": pl.Int64(),
    "changed": pl.String(),
    "first_local": pl.String(),
    "last_local": pl.String(),
    "speed_was_rpm": pl.Float64(),
    "speed_rpm": pl.Float64(),
    "power_was_w": pl.Float64(),
    "power_w": pl.Float64(),
}
"""A pump and a pair of exports a row. Local times are ISO 8601 with offset. Speeds and powers are means over the
readings that hold one, null where none does; ``changed`` names what differs in at least one reading."""

_KEYS = ("pump_id", "old_export_id", "new_export_id")


def corrections(data: ReviewData) -> pl.DataFrame:
    """Superseded readings of the week by pump, old export, new export; columns CORRECTIONS."""
    sites = dict(data.pump.select("pump_id", "site_id").iter_rows())
    zones = dict(data.site.select("site_id", "zone").iter_rows())
    rows = []
    ordered = data.superseded.filter("counted").sort(*_KEYS, "time_utc", "old_line")
    for (pump_id, old, new), group in ordered.group_by(_KEYS, maintain_order=True):
        site_id = sites.get(str(pump_id), "")
        zone = ZoneInfo(zones.get(site_id) or "UTC")
        rows.append(
            {
                "site_id": site_id,
                "pump_id": pump_id,
                "old_file": group["old_file"][0] or old,
                "new_file": group["new_file"][0] or new,
                "old_export_id": old,
                "new_export_id": new,
                "readings": group.height,
                "changed": _changed(group),
                "first_local": _local(group["time_utc"][0], zone),
                "last_local": _local(group["time_utc"][-1], zone),
                **{name: _mean(group[name]) for name in ("speed_was_rpm", "speed_rpm", "power_was_w", "power_w")},
            }
        )
    return pl.DataFrame(rows, schema=CORRECTIONS).sort("site_id", "pump_id", "new_file", "old_file", *_KEYS)


def replaced_section(data: ReviewData) -> Row:
    """``corrections`` and ``taken_out``, rows for the template."""
    rows = corrections(data)
    return {
        "corrections": [_shown(row) for row in rows.head(MOST_ROWS).iter_rows(named=True)],
        "corrections_all": rows.height,
        "readings": int(rows["readings"].sum()),
        "pumps": rows["pump_id"].n_unique(),
        "taken_out": [
            {**row, "restore": f"pumpledger withdraw FLEET {row['export_id']} --restore"}
            if row["status"] == "withdrawn" and row["export_id"]
            else {**row, "restore": ""}
            for row in data.exports.filter(pl.col("status").is_in(OUT)).sort("sequence").iter_rows(named=True)
        ],
        "most": MOST_ROWS,
    }


def _shown(row: Row) -> Row:
    return {
        **row,
        "first": _moment(str(row["first_local"])),
        "last": _moment(str(row["last_local"])),
        "speed": _from_to(row["speed_was_rpm"], row["speed_rpm"], 0),
        "power": _from_to(row["power_was_w"], row["power_w"], 1),
    }


def _from_to(before: float | None, after: float | None, decimals: int) -> str:
    if before is None and after is None:
        return wording.DASH
    was, now = (wording.number(value, decimals) if value is not None else "none" for value in (before, after))
    return f"{was} to {now}"


def _changed(group: pl.DataFrame) -> str:
    """What differs in at least one reading; the table holds speed and power only."""
    differs = group.select(
        speed=pl.col("speed_rpm").ne_missing(pl.col("speed_was_rpm")).any(),
        power=pl.col("power_w").ne_missing(pl.col("power_was_w")).any(),
    ).row(0, named=True)
    return " and ".join(name for name, is_other in differs.items() if is_other) or "another column"


def _mean(values: pl.Series) -> float | None:
    """fsum: the same bytes whatever the number of threads."""
    known = values.drop_nulls()
    return math.fsum(known) / known.len() if known.len() else None


def _local(moment: datetime, zone: ZoneInfo) -> str:
    return moment.replace(tzinfo=UTC).astimezone(zone).isoformat()


def _moment(local: str) -> str:
    """``Sun 1 Nov 01:30 -07:00``: with the offset, because an hour of autumn happens twice."""
    moment = datetime.fromisoformat(local)
    return f"{wording.weekday(moment.date())} {moment:%H:%M} {moment.isoformat()[-6:].replace('-', wording.MINUS)}"
