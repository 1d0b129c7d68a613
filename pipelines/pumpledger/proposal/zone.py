"""The zone of the stamps: what they say themselves, what names say, and what a clock change in the log shows.

Belongs here: hints at a zone. A wall clock without any cannot be told from another, and is asked.
"""

from __future__ import annotations

import zoneinfo
from datetime import datetime, timedelta
from itertools import pairwise

from pumpledger.proposal.claim import Claim
from pumpledger.proposal.stamps import TimeFormat
from pumpledger.proposal.words import read_name

_KEY = "time.zone"
_SHOWN = 3
_WELL_KNOWN = (
    "America/New_York", "America/Chicago", "America/Denver", "America/Los_Angeles", "Europe/Berlin", "Europe/London",
    "Europe/Athens", "Australia/Sydney", "Australia/Lord_Howe", "America/Santiago", "America/Sao_Paulo",
)  # fmt: skip
"""Shown first of the zones that fit, for most people know where they lie."""

_FILL_IN = "site (the site's wall clock), utc, a fixed offset such as -07:00, or an IANA zone"


def zone_claim(
    form: TimeFormat,
    names: list[str],
    preamble: list[str],
    times: list[datetime | None],
    series: list[list[int]],
    interval_s: int | None,
    site_zones: list[str],
    typed_utc: bool = False,
) -> Claim:
    """The claim on ``time.zone``. ``names`` are the time's columns; ``site_zones`` those of the register, if any."""
    if typed_utc:
        return Claim(_KEY, "utc", "sure", "the column is typed as an instant with a zone, which Parquet stores in UTC")
    if form.text.startswith("epoch"):
        return Claim(_KEY, "utc", "sure", "seconds since 1970 are counted in UTC")
    if form.zone == "offset":
        return Claim(_KEY, "offset", "sure", "each stamp carries its offset")
    if form.zone == "utc":
        return Claim(_KEY, "utc", "sure", f"each stamp ends in {form.text.split('%')[-1][1:].strip()}")
    change = _clock_change(times, series, interval_s)
    if change:
        at, moved_s = change
        zones = _zones_that_change(at, moved_s)
        told = f"the clock goes {'back' if moved_s < 0 else 'forward'} {abs(moved_s) // 60} min at {at:%Y-%m-%d %H:%M}"
        if zones:
            zones = [zone for zone in zones if zone in site_zones] + [zone for zone in zones if zone not in site_zones]
            more = f" and {len(zones) - _SHOWN} more" if len(zones) > _SHOWN else ""
            told += f", as in {', '.join(zones[:_SHOWN])}{more}"
            return Claim(_KEY, "site", "likely", f"{told}; or write that zone, if the sites lie elsewhere")
    hints = {hint for name in names for hint in read_name(name).hints}
    if "utc" in hints and "local" not in hints:
        return Claim(_KEY, "utc", "likely", f"the column is called {names[0]!r}")
    if "local" in hints:
        return Claim(_KEY, "site", "likely", f"the column is called {names[0]!r}")
    if any("utc" in read_name(line).hints for line in preamble):
        return Claim(_KEY, "utc", "likely", "the lines above the header speak of UTC")
    passed = _changes_passed(times, interval_s, site_zones)
    told = f"no stamp says its zone{passed}; {_FILL_IN}"
    return Claim(_KEY, None, "cannot tell", told)


def _clock_change(
    times: list[datetime | None], series: list[list[int]], interval_s: int | None
) -> tuple[datetime, int] | None:
    """(last wall-clock time before it, seconds the clock moved) of the one hour or half hour that most pumps repeat or
    lack at the same time."""
    if not interval_s or interval_s >= 3600:
        return None
    seen: dict[tuple[datetime, int], int] = {}
    for rows in series:
        known = [time for row in rows if (time := times[row]) is not None]
        for before, after in pairwise(known):
            moved = (after - before).total_seconds() - interval_s
            if moved in (3600, -3600, 1800, -1800) and before.hour < 5:
                seen[before, int(moved)] = seen.get((before, int(moved)), 0) + 1
    if not seen:
        return None
    (at, moved), pumps = max(seen.items(), key=lambda item: (item[1], item[0][0]))
    return (at, moved) if pumps >= 0.5 * len(series) else None


def _zones_that_change(before: datetime, moved_s: int) -> list[str]:
    """IANA zones whose wall clock moves by ``moved_s`` within the hour after ``before`` (tz database)."""
    found = []
    for zone in sorted(zoneinfo.available_timezones()):
        if "/" not in zone or zone.startswith(("Etc/", "posix/", "right/", "SystemV/", "US/", "Canada/")):
            continue
        place = zoneinfo.ZoneInfo(zone)
        noon = before.replace(hour=12, minute=0, second=0)
        early, late = ((noon + timedelta(days=day)).replace(tzinfo=place).utcoffset() for day in (-1, 1))
        if late - early == timedelta(seconds=moved_s) and _within_the_hour(before, place):
            found.append(zone)
    known = [zone for zone in _WELL_KNOWN if zone in found]
    return [*known, *(zone for zone in found if zone not in known)]


def _within_the_hour(before: datetime, place: zoneinfo.ZoneInfo) -> bool:
    """Whether the wall clock of ``place`` changes between ``before``, in its first pass, and an hour later."""
    start = before.replace(tzinfo=place).astimezone(zoneinfo.ZoneInfo("UTC"))
    local = [(start + timedelta(minutes=minute)).astimezone(place).utcoffset() for minute in (0, 61)]
    return local[0] != local[1]


def _changes_passed(times: list[datetime | None], interval_s: int | None, site_zones: list[str]) -> str:
    """Words on a clock change of a site's zone that the log passes without one: it is not that wall clock."""
    known = [time for time in times if time is not None]
    if not known or not interval_s or interval_s >= 3600:
        return ""
    first, last = min(known), max(known)
    days = {time.date() for time in known}
    for zone in site_zones:
        place = zoneinfo.ZoneInfo(zone)
        for step in range(1, min((last - first).days, 400)):
            noon = (first + timedelta(days=step)).replace(hour=12, minute=0, second=0)
            offsets = [(noon + timedelta(days=day)).replace(tzinfo=place).utcoffset() for day in (-1, 0)]
            if offsets[0] != offsets[1] and noon.date() in days:
                return f"; it passes {noon:%Y-%m-%d} without the clock change of {zone}"
    return ""
