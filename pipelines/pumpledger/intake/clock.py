"""Changes of a zone's clocks, and the stretches between them in UTC and on the wall, from the time-zone database
through ``zoneinfo``.

Belongs here: which wall-clock times happen once, twice or never, to the second. What a logger made of them is told from
the order of its rows in `late_clock.py`. DuckDB's own conversion picks one pass in silence; here nothing is picked
unseen.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from functools import lru_cache
from itertools import pairwise
from zoneinfo import ZoneInfo

import polars as pl

LATE_DAYS = 35
"""How long before or after a change of clocks an hour's step is still put down to it: the rules of two regions, or of
one region before and after a change of law, lie up to four weeks apart. An assumption."""
FUTURE_S = 300
"""Clocks of loggers and computers differ by minutes; a later stamp is said to lie in the future. An assumption."""

_ERA_SCHEMA = {"zone": pl.String, "from_utc": pl.Datetime("us"), "to_utc": pl.Datetime("us"), "offset_s": pl.Int64}
_WALL_SCHEMA = {
    "zone": pl.String,
    "from_wall": pl.Datetime("us"),
    "to_wall": pl.Datetime("us"),
    "clock_state": pl.String,
    "offset_s": pl.Int64,
}
_YEARS = range(1990, 2111)
_Era = tuple[datetime, datetime, tuple[object, ...]]


@dataclass(frozen=True, slots=True, order=True)
class Change:
    """A change of clocks: at ``at_utc`` (naive UTC) the offset goes from ``before_s`` to ``after_s`` [s east of UTC]."""

    at_utc: datetime
    before_s: int
    after_s: int

    @property
    def step_s(self) -> int:
        """By how much the wall clock is set forward [s]; negative where it is set back."""
        return self.after_s - self.before_s

    @property
    def from_wall(self) -> datetime:
        """Where the times on the wall that are skipped, or happen twice, begin."""
        return self.at_utc + timedelta(seconds=min(self.before_s, self.after_s))

    @property
    def to_wall(self) -> datetime:
        """Where they end."""
        return self.at_utc + timedelta(seconds=max(self.before_s, self.after_s))


@lru_cache(maxsize=8192)
def year_changes(zone: str, year: int) -> tuple[Change, ...]:
    """Changes of ``zone`` in ``year`` (UTC), in order. Of two within one UTC day that cancel out, none is seen."""
    place, found = ZoneInfo(zone), []
    start = datetime(year, 1, 1)
    days = [start + timedelta(days=number) for number in range((datetime(year + 1, 1, 1) - start).days + 1)]
    for low, high in pairwise(days):
        before, after = _offset_s(place, low), _offset_s(place, high)
        if before == after:
            continue
        while high - low > timedelta(seconds=1):
            middle = low + timedelta(seconds=(high - low) // timedelta(seconds=2))
            if _offset_s(place, middle) == before:
                low = middle
            else:
                high = middle
        found.append(Change(high, before, after))
    return tuple(found)


def changes_near(zone: str, days: Iterable[date]) -> list[Change]:
    """Changes that a stamp of ``days`` (on the wall) may tell of: from two days after it back to ``LATE_DAYS``."""
    days = sorted(days)
    years = sorted({year for first, last in _runs(days) for year in range(first, last + 1)})
    return sorted(
        change
        for year in years
        for change in year_changes(zone, year)
        if any(timedelta(-2) <= day - change.at_utc.date() <= timedelta(LATE_DAYS) for day in days)
    )


def utc_eras(zones: list[str], days: Iterable[date]) -> pl.DataFrame:
    """Stretches of one offset by ``zone``, ``from_utc`` to ``to_utc``, without hole or overlap over all time.

    ``offset_s`` is null where no day lies near: a logger that lost its clock must not cost all the years between.
    """
    days = list(days)
    rows = [
        (zone, *era) for zone in sorted(zones) for era in _without_hole(_near(_stretches(zone, days), days), (None,))
    ]
    return pl.DataFrame(rows, schema=_ERA_SCHEMA, orient="row")


def wall_eras(zones: list[str], days: Iterable[date]) -> pl.DataFrame:
    """Stretches of the wall clock by ``zone`` over all time: ``clock_state`` is ``once``, ``twice`` or ``never``.

    ``offset_s`` is that of the first pass where the clock shows a time twice, and null where it shows it never or no
    day lies near.
    """
    days = list(days)
    rows = [
        (zone, *era)
        for zone in sorted(zones)
        for era in _without_hole(_near(_wall_eras(zone, days), days), ("once", None))
    ]
    return pl.DataFrame(rows, schema=_WALL_SCHEMA, orient="row")


def future_note(last_utc: datetime, now_utc: datetime) -> str | None:
    """What to say of an export whose last stamp lies after ``now_utc`` (both naive UTC); for the command line only."""
    ahead_s = (last_utc - now_utc).total_seconds()
    if ahead_s <= FUTURE_S:
        return None
    ahead = f"{ahead_s / 60:.0f} min" if ahead_s < 7200 else f"{ahead_s / 3600:.1f} h"
    if ahead_s >= 172_800:
        ahead = f"{ahead_s / 86400:.0f} days"
    return (
        f"the last row is stamped {last_utc:%Y-%m-%d %H:%M} UTC, {ahead} after now; check the logger's clock, and the "
        "zone and the order of day and month that the dialect declares"
    )


def _offset_s(place: ZoneInfo, instant: datetime) -> int:
    offset = instant.replace(tzinfo=UTC).astimezone(place).utcoffset()
    return int(offset.total_seconds()) if offset is not None else 0


def _runs(days: Iterable[date]) -> list[tuple[int, int]]:
    """First and last year of each run of years that ``days`` and what lies around them fall in."""
    around = {(day + timedelta(step)).year for day in days if day.year in _YEARS for step in (-LATE_DAYS - 5, 3)}
    runs: list[tuple[int, int]] = []
    for year in sorted(around):
        if runs and runs[-1][1] == year - 1:
            runs[-1] = (runs[-1][0], year)
        else:
            runs.append((year, year))
    return runs


def _near(eras: Iterable[_Era], days: list[date]) -> Iterator[_Era]:
    """``eras`` that reach within two days of a day: so far may an offset and an interval move an instant.

    The fewer there are, the less each row has to be compared with.
    """
    for era in eras:
        first, last = era[0].date() - timedelta(days=2), era[1].date() + timedelta(days=2)
        if any(first <= day <= last for day in days):
            yield era


def _stretches(zone: str, days: Iterable[date]) -> Iterator[_Era]:
    """(from, to, (offset,)) in UTC within the years around ``days``."""
    for first, last in _runs(days):
        start, offset = datetime(first, 1, 1), _offset_s(ZoneInfo(zone), datetime(first, 1, 1))
        for change in (change for year in range(first, last + 1) for change in year_changes(zone, year)):
            yield start, change.at_utc, (offset,)
            start, offset = change.at_utc, change.after_s
        yield start, datetime(last + 1, 1, 1), (offset,)


def _wall_eras(zone: str, days: Iterable[date]) -> Iterator[_Era]:
    """(from, to, (clock_state, offset)) on the wall within the years around ``days``."""
    for first, last in _runs(days):
        offset = _offset_s(ZoneInfo(zone), datetime(first, 1, 1))
        start = datetime(first, 1, 1) + timedelta(seconds=offset)
        for change in (change for year in range(first, last + 1) for change in year_changes(zone, year)):
            yield start, change.from_wall, ("once", offset)
            yield change.from_wall, change.to_wall, ("never", None) if change.step_s > 0 else ("twice", offset)
            start, offset = change.to_wall, change.after_s
        yield start, datetime(last + 1, 1, 1) + timedelta(seconds=offset), ("once", offset)


def _without_hole(eras: Iterable[_Era], blank: tuple[object, ...]) -> Iterator[tuple[object, ...]]:
    """``eras`` with what lies before, between and after them, as ``blank``."""
    end = datetime.min
    for low, high, what in eras:
        if low > end:
            yield end, low, *blank
        yield low, high, *what
        end = high
    yield end, datetime.max, *blank
