"""Whether a period holds enough days to say anything of it: pure functions on counts.

Belongs here: the rules and their sentences. What makes a day valid belongs to the accounts, which are stricter than
the half of the intervals asked here, and never fill a gap with a mean: a pump's day is a step, not a level.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

LEAST_SHARE = 0.9
"""Share of days, and of a month's minutes, that must be there: CalTRACK 2.0, 2.2.1.2."""

YEAR_DAYS, YEAR_MOST_MISSING = 365, 37
"""CalTRACK 2.0, 2.2.1.2 names the count itself for a year: 37, although 10 % of 365 is 36.5."""

_SLACK = 1e-9
"""So that 10 % of 100 days is 10 and not 9.999."""


def usable_day(intervals: int, missing: int) -> bool:
    """No more than half of a day's intervals are missing: CalTRACK 2.0, 2.2.2.1."""
    if intervals <= 0 or not 0 <= missing <= intervals:
        raise ValueError(f"{missing} of {intervals} intervals")
    return 2 * missing <= intervals


def most_missing(days: int, least_share: float = LEAST_SHARE) -> int:
    """Most days of ``days`` that may be missing.

    A year under the general rule may miss 37, the count that the methods name; any other length is held to the share
    itself.
    """
    if days == YEAR_DAYS and least_share == LEAST_SHARE:
        return YEAR_MOST_MISSING
    return max(0, math.floor(days * (1 - least_share) + _SLACK))


def enough_days(days: int, counted: int, least_share: float = LEAST_SHARE, least_days: int = 0) -> tuple[bool, str]:
    """Whether ``counted`` of ``days`` are enough, and the sentence that says so."""
    if not 0 <= counted <= days:
        raise ValueError(f"{counted} of {days} days")
    allowed = most_missing(days, least_share)
    missing = days - counted
    share = f"{counted} of {days} days count, {missing} do not; {allowed} may be missing ({least_share:.0%} needed)"
    if days == 0:
        return False, "the period has no day"
    if missing > allowed:
        return False, share
    if counted < least_days:
        return False, f"{share}, but at least {least_days} counted days are needed"
    return True, share


def thin_months(coverage: Sequence[float], least_share: float = LEAST_SHARE) -> list[int]:
    """Positions of the months that are too thin by the rule for hourly data: a month stands where more than
    ``least_share`` of it is observed, and of each month beside it (CalTRACK 2.0, 2.2.1.2)."""
    good = [share > least_share for share in coverage]
    return [n for n in range(len(good)) if not all(good[max(0, n - 1) : n + 2])]
