"""The clock that an ESPI file says its place keeps: LocalTimeParameters and their 32-bit daylight saving rules.

Belongs here: reading the rule, the moment it names, and whether it agrees with an IANA zone. Times of readings are UTC
seconds and need none of this; it only serves to warn that a file comes from another place than its site.

Source: bit fields and operators, Green Button Alliance [READ] and the DstRuleType text of the ESPI schema [READ];
dstOffset is "from local standard time", tzOffset "does not include any daylight savings time offsets" [READ]. That the
moment is told by the wall clock as it stands before the change follows from the published rules for North America:
start 360E2000 and end B40E2000 both say 02:00.
"""

from __future__ import annotations

import re
from calendar import monthrange
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from pumpledger.intake.espi_feed import EspiError, Fields
from pumpledger.intake.espi_type import Unusable, whole

_DAY_S = 86_400
_FIELDS = (
    ("month", 28, 4),
    ("operator", 25, 3),
    ("day", 20, 5),
    ("weekday", 17, 3),
    ("hour", 12, 5),
    ("second", 0, 12),
)
"""Name, lowest bit, number of bits."""

ON_DATE, ON_OR_AFTER, FIRST, LAST = 0, 1, 2, 7


@dataclass(frozen=True, slots=True)
class DstRule:
    """The moment of a year at which daylight saving starts or ends.

    ``operator``: 0 the day of the month, 1 the weekday on or after it, 2 to 6 the first to fifth weekday of the month,
    7 the last. ``weekday``: 1 Monday to 7 Sunday, 0 none. ``day``: 1 to 31, 0 none. ``second`` counts within ``hour``.
    """

    month: int
    operator: int
    day: int
    weekday: int
    hour: int
    second: int

    @property
    def disabled(self) -> bool:
        """Whether the rule is 0xFFFFFFFF: no daylight saving."""
        return self == DISABLED


DISABLED = DstRule(month=15, operator=7, day=31, weekday=7, hour=31, second=4095)


@dataclass(frozen=True, slots=True)
class LocalTimeParameters:
    """Standard time is UTC plus ``tz_offset_s``; between ``start`` and ``end`` clocks show ``dst_offset_s`` more."""

    tz_offset_s: int
    dst_offset_s: int
    start: DstRule
    end: DstRule


def decode_dst_rule(rule: int) -> DstRule:
    """The rule in 32 bits.

    Raises:
        EspiError: not 32 bits, or fields that name no moment.
    """
    if not 0 <= rule <= 0xFFFFFFFF:
        raise EspiError(f"The daylight saving rule {rule} does not fit in 32 bits.")
    found = DstRule(**{name: rule >> low & (1 << bits) - 1 for name, low, bits in _FIELDS})
    if not found.disabled:
        _check(found)
    return found


def encode_dst_rule(rule: DstRule) -> int:
    """The 32 bits of a rule. Raises ``EspiError`` as ``decode_dst_rule``."""
    if not rule.disabled:
        _check(rule)
    return sum(getattr(rule, name) << low for name, low, _ in _FIELDS)


def dst_moment(rule: DstRule, year: int) -> datetime | None:
    """Wall clock, as it stands before the change, at which the rule acts in a year.

    ``None`` if it does not: the rule is disabled, or the month has no such day (29 February, a fifth Sunday).
    """
    if rule.disabled:
        return None
    first_weekday, days = monthrange(year, rule.month)
    to_weekday = (rule.weekday - 1 - first_weekday) % 7  # days from the 1st to the first such weekday
    if rule.operator == ON_DATE:
        day = rule.day
    elif rule.operator == ON_OR_AFTER:
        day = rule.day + (to_weekday + 1 - rule.day) % 7
    elif rule.operator == LAST:
        day = 1 + to_weekday + (days - 1 - to_weekday) // 7 * 7
    else:
        day = 1 + to_weekday + (rule.operator - FIRST) * 7
    last = days + 6 if rule.operator == ON_OR_AFTER and rule.day <= days else days  # may run into the next month
    if day > last:
        return None
    return datetime(year, rule.month, 1) + timedelta(days=day - 1, hours=rule.hour, seconds=rule.second)


def zone_agrees(parameters: LocalTimeParameters, zone: str, year: int) -> bool:
    """Whether clocks of an IANA zone show the same as the parameters say, all through a year.

    Compared at every full hour of the year, and just before and at each change that the parameters name.

    Raises:
        zoneinfo.ZoneInfoNotFoundError: no such zone.
    """
    place = ZoneInfo(zone)
    begin = datetime(year, 1, 1) - timedelta(seconds=parameters.tz_offset_s)
    end = datetime(year + 1, 1, 1) - timedelta(seconds=parameters.tz_offset_s)
    changes = _changes(parameters, year)
    instants = [begin + timedelta(hours=hour) for hour in range((end - begin) // timedelta(hours=1))]
    instants += [change - step for change in changes for step in (timedelta(seconds=1), timedelta(0))]
    return all(
        instant.replace(tzinfo=UTC).astimezone(place).utcoffset()
        == timedelta(seconds=_offset_s(parameters, changes, instant))
        for instant in instants
    )


def local_time_parameters(fields: Fields) -> LocalTimeParameters:
    """The parameters in the fields of a ``LocalTimeParameters`` element; rules are hexadecimal.

    Raises:
        EspiError: a field is missing or wrong.
    """
    try:
        offsets = [whole(fields, name, name, -_DAY_S + 1, _DAY_S - 1) for name in ("tzOffset", "dstOffset")]
    except Unusable as reason:
        raise EspiError(f"The local time parameters of the file cannot be read: {reason}.") from reason
    rules = [(fields.get(name) or [""])[0].strip() for name in ("dstStartRule", "dstEndRule")]
    if None in offsets or not all(re.fullmatch("[0-9A-Fa-f]{1,8}", rule) for rule in rules):
        raise EspiError("The local time parameters of the file lack an offset or a rule of eight hexadecimal digits.")
    return LocalTimeParameters(*offsets, *(decode_dst_rule(int(rule, 16)) for rule in rules))


def _changes(parameters: LocalTimeParameters, year: int) -> list[datetime]:
    """UTC instants at which daylight saving starts and ends; empty if there is none."""
    start, end = dst_moment(parameters.start, year), dst_moment(parameters.end, year)
    if start is None or end is None or not parameters.dst_offset_s:
        return []
    standard, daylight = parameters.tz_offset_s, parameters.tz_offset_s + parameters.dst_offset_s
    return [start - timedelta(seconds=standard), end - timedelta(seconds=daylight)]


def _offset_s(parameters: LocalTimeParameters, changes: list[datetime], instant: datetime) -> int:
    if not changes:
        return parameters.tz_offset_s
    start, end = changes
    on = start <= instant < end if start < end else not end <= instant < start
    return parameters.tz_offset_s + (parameters.dst_offset_s if on else 0)


def _check(rule: DstRule) -> None:
    fits = {
        "month": 1 <= rule.month <= 12,
        "operator": 0 <= rule.operator <= 7,
        "day of the month": (1 if rule.operator in (ON_DATE, ON_OR_AFTER) else 0) <= rule.day <= 31,
        "weekday": (0 if rule.operator == ON_DATE else 1) <= rule.weekday <= 7,
        "hour": 0 <= rule.hour <= 23,
        "second": 0 <= rule.second <= 3599,
    }
    for name, good in fits.items():
        if not good:
            raise EspiError(f"A daylight saving rule names no moment: its {name} is out of range ({rule}).")
