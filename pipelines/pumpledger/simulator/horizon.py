"""The weeks a made-up fleet covers, as local days and UTC seconds.

Belongs here: which days, where local midnight falls, what the local clock shows. What a controller's own clock shows,
right or wrong, stands in `controller.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import cached_property
from zoneinfo import ZoneInfo

import numpy as np

# The clock change of the demo: 2026-11-01 in the United States, a local day of 25 hours (tz database).
CHANGE_DAY = date(2026, 11, 1)
_USUAL_LAST_DAY = date(2026, 11, 8)
_LONGEST_BEFORE = 6
# The controller runs a day before the first export, so that the first midnight is no start.
WARM_UP_DAYS = 1


@dataclass(frozen=True, slots=True)
class Week:
    """One ISO week of the horizon: ``label`` such as ``2026-W44``, local Monday 00:00 to local Monday 00:00 in UTC
    seconds.
    """

    label: str
    start_s: int
    end_s: int


@dataclass(frozen=True)
class Horizon:
    """Whole local weeks, Monday to Sunday, in one zone."""

    zone_name: str
    first_day: date
    last_day: date

    @cached_property
    def zone(self) -> ZoneInfo:
        """The zone's rules."""
        return ZoneInfo(self.zone_name)

    @cached_property
    def days(self) -> list[date]:
        """Local days in order."""
        return [self.first_day + timedelta(days=i) for i in range((self.last_day - self.first_day).days + 1)]

    @cached_property
    def weeks(self) -> list[Week]:
        """ISO weeks in order."""
        weeks = []
        for monday in self.days[::7]:
            year, number, _ = monday.isocalendar()
            weeks.append(
                Week(f"{year}-W{number:02d}", self.midnight_s(monday), self.midnight_s(monday + timedelta(days=7)))
            )
        return weeks

    @property
    def start_s(self) -> int:
        """First local midnight [s since 1970, UTC]."""
        return self.midnight_s(self.first_day)

    @property
    def end_s(self) -> int:
        """Local midnight after the last day [s since 1970, UTC]."""
        return self.midnight_s(self.last_day + timedelta(days=1))

    @property
    def warm_start_s(self) -> int:
        """Where the simulation starts, before the first export [s since 1970, UTC]."""
        return self.midnight_s(self.first_day - timedelta(days=WARM_UP_DAYS))

    @property
    def middle_wednesday(self) -> date:
        """Wednesday of the week that holds the clock change, or the first day where that week is not covered."""
        return max(self.first_day, CHANGE_DAY - timedelta(days=4))

    @property
    def last_monday(self) -> date:
        """Monday of the last week, the week under review."""
        return self.last_day - timedelta(days=6)

    def midnight_s(self, day: date) -> int:
        """Local midnight at the beginning of ``day`` [s since 1970, UTC]."""
        return self.utc_s(day, 0)

    def utc_s(self, day: date, clock_min: float) -> int:
        """The instant at which the local clock first shows ``clock_min`` minutes since 00:00 on ``day`` [s since 1970,
        UTC].
        """
        wall = datetime(day.year, day.month, day.day) + timedelta(minutes=clock_min)
        return int(wall.replace(tzinfo=self.zone).timestamp())

    def local_s(self, time_s: np.ndarray) -> np.ndarray:
        """Local wall clock as seconds since 1970 [s], same shape as ``time_s`` [s, UTC]."""
        first_hour, offsets = self._offsets
        return time_s + offsets[(np.asarray(time_s, dtype=np.int64) // 3600) - first_hour]

    @cached_property
    def _offsets(self) -> tuple[int, np.ndarray]:
        """First UTC hour, and the zone's offset in each hour from there [s]; clock changes fall on whole hours."""
        first_hour = self.warm_start_s // 3600 - 48
        hours = range(first_hour, self.end_s // 3600 + 48)
        offsets = [int(datetime.fromtimestamp(hour * 3600, self.zone).utcoffset().total_seconds()) for hour in hours]
        return first_hour, np.array(offsets, dtype=np.int64)


def demo_horizon(zone_name: str, weeks: int) -> Horizon:
    """``weeks`` local weeks with the clock change of 2026-11-01 inside.

    Up to six weeks end on Sunday 2026-11-08; a longer fleet starts six weeks before that and runs on.

    Raises:
        ValueError: fewer than one week.
    """
    if weeks < 1:
        raise ValueError(f"a fleet needs at least one week, not {weeks}")
    first_day = _USUAL_LAST_DAY - timedelta(days=7 * min(weeks, _LONGEST_BEFORE) - 1)
    return Horizon(zone_name, first_day, first_day + timedelta(days=7 * weeks - 1))
