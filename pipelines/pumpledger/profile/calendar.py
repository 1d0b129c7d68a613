"""Local days and their quarter hours, for each zone of a fleet: days of 23, 24 and 25 hours, ISO weeks.

Belongs here: the calendar that every local number is counted on. From ``zoneinfo``, never by adding 24 hours.
"""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

import polars as pl

from pumpledger.engine.database import Database

_DAY_SCHEMA = {
    "zone": pl.String,
    "day_local": pl.Date,
    "start_utc": pl.Datetime("us"),
    "end_utc": pl.Datetime("us"),
    "day_min": pl.Float64,
    "iso_week": pl.String,
}


def iso_week(day: date) -> str:
    """``2026-W44``."""
    year, week, _ = day.isocalendar()
    return f"{year}-W{week:02d}"


def week_days(week: str) -> list[date]:
    """Monday to Sunday of ``2026-W44``.

    Raises:
        ValueError: not an ISO week.
    """
    if not re.fullmatch(r"\d{4}-W\d\d", week, re.ASCII):  # int() would take 2026-W5 too, and a line break after it
        raise ValueError(f"{week!r} is not an ISO week")
    year, _, number = week.partition("-W")
    return [date.fromisocalendar(int(year), int(number), day) for day in range(1, 8)]


def midnight_utc(zone: str, day: date) -> datetime:
    """The instant at which ``day`` begins in ``zone``, as naive UTC; where midnight itself is skipped, the first
    instant of the day."""
    place = ZoneInfo(zone)
    wall = datetime(day.year, day.month, day.day, tzinfo=place)
    instant = wall.astimezone(UTC)
    if instant.astimezone(place).date() < day:  # midnight never happened: zones that change their clocks at 00:00
        instant = wall.replace(fold=1).astimezone(UTC)
    while instant.astimezone(place).date() < day:
        instant += timedelta(minutes=15)
    return instant.replace(tzinfo=None)


@lru_cache(maxsize=4096)
def _one_day(zone: str, day: date) -> tuple[datetime, datetime]:
    return midnight_utc(zone, day), midnight_utc(zone, day + timedelta(days=1))


def local_days(zones: list[str], days: list[date]) -> pl.DataFrame:
    """``zone, day_local, start_utc, end_utc, day_min, iso_week`` for every zone and day."""
    rows = []
    for zone in sorted(set(zones)):
        for day in days:
            start, end = _one_day(zone, day)
            rows.append((zone, day, start, end, (end - start).total_seconds() / 60, iso_week(day)))
    return pl.DataFrame(rows, schema=_DAY_SCHEMA, orient="row")


def quarters(days: pl.DataFrame) -> pl.DataFrame:
    """The quarter hours of ``local_days``: ``zone, day_local, quarter, start_utc, end_utc, clock_local, clock_min``."""
    rows = []
    for zone, day, start, _, day_min, _ in days.iter_rows():
        place = ZoneInfo(zone)
        for quarter in range(round(day_min / 15)):
            begin = start + timedelta(minutes=15 * quarter)
            wall = begin.replace(tzinfo=UTC).astimezone(place)
            rows.append(
                (
                    zone,
                    day,
                    quarter,
                    begin,
                    begin + timedelta(minutes=15),
                    f"{wall:%H:%M}",
                    wall.hour * 60 + wall.minute,
                )
            )
    return pl.DataFrame(
        rows,
        orient="row",
        schema={
            "zone": pl.String,
            "day_local": pl.Date,
            "quarter": pl.Int64,
            "start_utc": pl.Datetime("us"),
            "end_utc": pl.Datetime("us"),
            "clock_local": pl.String,
            "clock_min": pl.Int64,
        },
    )


def load_calendar(db: Database, zones: list[str], days: list[date]) -> None:
    """Fill ``local_day`` and ``quarter``, then what the register's plans make of them: ``plan_part``, ``plan_window``,
    ``plan_slot``, ``pump_day``.

    Needs the register's tables in ``db``.
    """
    calendar = local_days(zones, days)
    db.load("local_day", calendar)
    db.load("quarter", quarters(calendar))
    for table in ("pump_day", "plan_in_force", "plan_part", "plan_window", "plan_slot"):
        db.build(table, f"profile/{table}")
