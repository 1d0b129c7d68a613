"""Rows of made-up loggers, straight into the step that places them in time, and the truth by `zoneinfo` alone.

Source of every instant and wall-clock time here: the IANA time zone database through Python's `zoneinfo`.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from datetime import UTC, datetime, timedelta
from functools import cache
from zoneinfo import ZoneInfo

import polars as pl

from pumpledger.engine.database import Database
from pumpledger.intake.dialect import Dialect
from pumpledger.intake.place import place

CHANGING = (
    "Africa/Cairo",
    "Africa/Casablanca",
    "America/Asuncion",
    "America/Chicago",
    "America/Denver",
    "America/Halifax",
    "America/Havana",
    "America/Los_Angeles",
    "America/New_York",
    "America/Nuuk",
    "America/Santiago",
    "America/St_Johns",
    "Asia/Beirut",
    "Asia/Jerusalem",
    "Atlantic/Azores",
    "Australia/Adelaide",
    "Australia/Lord_Howe",
    "Australia/Sydney",
    "Europe/Athens",
    "Europe/Berlin",
    "Europe/Chisinau",
    "Europe/Dublin",
    "Europe/Helsinki",
    "Europe/Lisbon",
    "Europe/London",
    "Europe/Madrid",
    "Pacific/Auckland",
    "Pacific/Chatham",
    "Pacific/Easter",
    "Pacific/Norfolk",
)
STEADY = ("America/Phoenix", "Asia/Kathmandu", "Asia/Kolkata", "Pacific/Honolulu", "Pacific/Kiritimati", "UTC")
VALUES = ("speed_rpm", "power_w", "energy_total_kwh", "run_total_h", "flow_m3h", "air_temperature_c")

Row = tuple[str, datetime, float | None]
"""Pump, stamp as written, speed."""


def offset_at(instant: datetime, zone: str) -> timedelta:
    """Offset of ``zone`` at naive UTC."""
    return instant.replace(tzinfo=UTC).astimezone(ZoneInfo(zone)).utcoffset() or timedelta()


def wall_at(instant: datetime, zone: str) -> datetime:
    return instant + offset_at(instant, zone)


@cache
def changes_of(zone: str, year: int) -> tuple[datetime, ...]:
    """Instants (naive UTC) of ``year`` at which the offset of ``zone`` changes, to the minute, by looking at each."""
    found, day = [], datetime(year, 1, 1)
    while day.year == year:
        if offset_at(day, zone) != offset_at(day + timedelta(days=1), zone):
            before = offset_at(day, zone)
            minutes = (day + timedelta(minutes=minute) for minute in range(1, 24 * 60 + 1))
            found.append(next(instant for instant in minutes if offset_at(instant, zone) != before))
        day += timedelta(days=1)
    return tuple(found)


def change_by(zone: str, at: datetime) -> timedelta:
    """By how much the clock is set forward at ``at``."""
    return offset_at(at, zone) - offset_at(at - timedelta(minutes=1), zone)


def late_clock(zone: str, at: datetime, late: timedelta) -> Callable[[datetime], datetime]:
    """The clock of a logger that makes the change at ``at`` later (earlier where negative) than its zone."""
    set_at = at + late

    def clock(instant: datetime) -> datetime:
        if min(at, set_at) <= instant < max(at, set_at):
            return wall_at(instant, zone) - change_by(zone, at) * (1 if late > timedelta() else -1)
        return wall_at(instant, zone)

    return clock


def logger(
    pump: str, clock: Callable[[datetime], datetime], start: datetime, rows: int, interval: timedelta
) -> tuple[list[Row], list[datetime]]:
    """Rows of a logger, each with another speed, and the instants at which they were written."""
    instants = [start + number * interval for number in range(rows)]
    return [(pump, clock(instant), 600.0 + number) for number, instant in enumerate(instants)], instants


def clock_dialect(
    zone: str = "site",
    label: str = "instant",
    interval_s: int | None = 900,
    time_format: str = "%Y-%m-%d %H:%M:%S",
    columns: Iterable[str] = ("speed",),
) -> Dialect:
    return Dialect(
        name="own",
        about="made up",
        carrier="text",
        time_columns=("t",),
        time_format=time_format,
        zone=zone,
        label=label,  # type: ignore[arg-type]
        interval_s=None if label == "change_of_state" else interval_s,
        gap_limit_s=3 * (interval_s or 20_000),
        columns={name: name for name in columns},
        scale={},
        shift={},
        digest="",
        pump_column="p",
    )


def put_rows(db: Database, rows: Sequence[Row], more: dict[str, Sequence[float | None]] | None = None) -> None:
    """Make ``typed_row``: the rows of a file whose first data row is its second line; ``more`` are further columns."""
    frame = pl.DataFrame(
        {
            "line": range(2, len(rows) + 2),
            "pump_id": [pump for pump, _, _ in rows],
            "stamp": pl.Series([stamp for _, stamp, _ in rows], dtype=pl.Datetime("us")),
            "speed_rpm": pl.Series([speed for _, _, speed in rows], dtype=pl.Float64),
        }
    )
    blank = {"raw": pl.String, "fault": pl.String, "aux_text": pl.String} | dict.fromkeys(VALUES[1:], pl.Float64)
    given = [pl.Series(name, values, dtype=pl.Float64) for name, values in (more or {}).items()]
    nothing = [pl.lit(None, kind).alias(name) for name, kind in blank.items() if name not in (more or {})]
    db.load("typed_row", frame.with_columns(*nothing, *given))


def placed(
    db: Database,
    rows: Sequence[Row],
    zones: dict[str, str],
    dialect: Dialect | None = None,
    **more: Sequence[float | None],
) -> pl.DataFrame:
    """Rows placed in time, by line; ``zones`` maps pumps to their sites' zones."""
    put_rows(db, rows, more)
    db.load("pump_zone", pl.DataFrame(list(zones.items()), schema=["pump_id", "zone"], orient="row"))
    place(db, dialect or clock_dialect())
    found = db.table("placed_row").sort("line", "pump_id", maintain_order=True)
    assert found.height == len(rows), "no row lost, none doubled"
    assert found["line"].to_list() == sorted(range(2, len(rows) + 2))
    return found


def wrong(found: pl.DataFrame, instants: Sequence[datetime]) -> pl.DataFrame:
    """Rows of ``found`` that were placed elsewhere than at ``instants``."""
    truth = found.with_columns(pl.Series("truth", instants, dtype=pl.Datetime("us")))
    return truth.filter(~pl.col("time_utc").eq_missing(pl.col("truth")))


def states(found: pl.DataFrame) -> dict[str, int]:
    """Rows by ``clock_state``."""
    return dict(found.group_by("clock_state").len().sort("clock_state").iter_rows())


def at(text: str) -> datetime:
    """``2026-11-01 01:15`` as written."""
    return datetime.fromisoformat(re.sub(r"^(\d\d:\d\d)", r"2026-11-01 \1", text))
