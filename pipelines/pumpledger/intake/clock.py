"""Offsets of a zone by quarter hour, both ways, from the time-zone database through ``zoneinfo``.

Belongs here: which wall-clock quarters happen once, twice or never. Which pass a stamp belongs to is told in SQL, by
file order. DuckDB's own conversion picks one silently; here nothing is picked unseen. All changes of
clocks where people keep pools fall on quarters since 2012; before, four zones of Canada and Palestine changed at a
minute past, and that minute is taken with the rest of its quarter.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import UTC, date, datetime, timedelta
from functools import lru_cache
from itertools import pairwise
from zoneinfo import ZoneInfo

import polars as pl

_OneDay = Callable[[str, datetime], pl.DataFrame]
_QUARTER = timedelta(minutes=15)
_UTC_SCHEMA = {"zone": pl.String, "quarter_utc": pl.Datetime("us"), "offset_s": pl.Int64}
_ERA_SCHEMA = {"zone": pl.String, "from_utc": pl.Datetime("us"), "to_utc": pl.Datetime("us"), "offset_s": pl.Int64}
_WALL_SCHEMA = {
    "zone": pl.String,
    "quarter_wall": pl.Datetime("us"),
    "clock_state": pl.String,
    "first_offset_s": pl.Int64,
    "second_offset_s": pl.Int64,
}


@lru_cache(maxsize=2048)
def _day_utc_offsets(zone: str, day: datetime) -> pl.DataFrame:
    place = ZoneInfo(zone)
    quarters = [day + i * _QUARTER for i in range(96)]
    offsets = [int(q.replace(tzinfo=UTC).astimezone(place).utcoffset().total_seconds()) for q in quarters]
    return pl.DataFrame({"zone": [zone] * 96, "quarter_utc": quarters, "offset_s": offsets}, schema=_UTC_SCHEMA)


@lru_cache(maxsize=2048)
def _day_wall_offsets(zone: str, day: datetime) -> pl.DataFrame:
    place = ZoneInfo(zone)
    rows = []
    for i in range(96):
        wall = day + i * _QUARTER
        first, second = (int(wall.replace(tzinfo=place, fold=fold).utcoffset().total_seconds()) for fold in (0, 1))
        # fold changes the offset both in a repeated hour (clock set back: offset falls) and in a missing one (offset
        # rises)
        state = "once" if first == second else "twice" if first > second else "never"
        rows.append((zone, wall, state, first, second))
    return pl.DataFrame(rows, schema=_WALL_SCHEMA, orient="row")


def utc_offsets(zones: list[str], days: Iterable[date]) -> pl.DataFrame:
    """Offset from UTC by ``zone`` and UTC quarter hour, of ``days`` (as stamped) and two days to either side: so far
    may a zone's offset and an interval of a day move an instant."""
    return _stack(_day_utc_offsets, _UTC_SCHEMA, zones, days)


def utc_eras(zones: list[str], days: Iterable[date]) -> pl.DataFrame:
    """Stretches of one offset by ``zone``, ``from_utc`` to ``to_utc``, over all time; ``offset_s`` is null before and
    after
    ``days`` and the two days to either side of them."""
    rows: list[tuple[str, datetime, datetime, int | None]] = []
    for zone in sorted(zones):
        steps = utc_offsets([zone], days).select("quarter_utc", "offset_s").rows()
        changes = [step for before, step in zip([(None, None), *steps], steps, strict=False) if step[1] != before[1]]
        edges = [
            (datetime.min, None),
            *changes,
            *([(steps[-1][0] + _QUARTER, None)] if steps else []),
            (datetime.max, None),
        ]
        rows += [(zone, start, end, offset) for (start, offset), (end, _) in pairwise(edges)]
    return pl.DataFrame(rows, schema=_ERA_SCHEMA, orient="row")


def wall_offsets(zones: list[str], days: Iterable[date]) -> pl.DataFrame:
    """State and offsets by ``zone`` and wall-clock quarter hour, of ``days`` and those around them."""
    return _stack(_day_wall_offsets, _WALL_SCHEMA, zones, days)


def _stack(one_day: _OneDay, schema: dict[str, pl.DataType], zones: list[str], days: Iterable[date]) -> pl.DataFrame:
    """Only the days that occur: a logger that lost its clock must not cost all the years between."""
    around = sorted({day + timedelta(days=step) for day in days for step in range(-2, 3)})
    frames = [one_day(zone, datetime(day.year, day.month, day.day)) for zone in sorted(zones) for day in around]
    return pl.concat(frames) if frames else pl.DataFrame(schema=schema)
