"""Daylight saving rules of ESPI files, against the standard's own examples, dateutil and the tz database.

Sources: facts 7d, 7e, 7f (bit fields [READ], values by arithmetic); python-dateutil for weekdays of a month; the IANA
time zone database through zoneinfo for the zones of the world.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from dateutil.relativedelta import relativedelta, weekday
from hypothesis import given, settings
from hypothesis import strategies as st

from pumpledger.intake.espi import EspiError
from pumpledger.intake.espi_clock import (
    DISABLED,
    DstRule,
    LocalTimeParameters,
    decode_dst_rule,
    dst_moment,
    encode_dst_rule,
    zone_agrees,
)

SUNDAY = 7


def rule(month: int, operator: int, hour: int, day: int = 0, on: int = SUNDAY, second: int = 0) -> DstRule:
    return DstRule(month=month, operator=operator, day=day, weekday=on, hour=hour, second=second)


@pytest.mark.parametrize(
    ("code", "meaning", "moment"),
    [
        (0x360E2000, rule(3, 3, 2), datetime(2026, 3, 8, 2)),  # facts 7d: second Sunday of March 02:00
        (0xB40E2000, rule(11, 2, 2), datetime(2026, 11, 1, 2)),  # facts 7e: first Sunday of November 02:00
        (0x380A1A8C, rule(3, 4, 1, on=5, second=2700), datetime(2026, 3, 20, 1, 45)),  # facts 7f: third Friday 01:45
        (0xFFFFFFFF, DISABLED, None),
    ],
)
def test_the_standards_examples_both_ways(code: int, meaning: DstRule, moment: datetime | None) -> None:
    assert decode_dst_rule(code) == meaning
    assert encode_dst_rule(meaning) == code
    assert dst_moment(meaning, 2026) == moment


RULES = st.builds(
    DstRule,
    month=st.integers(1, 12),
    operator=st.integers(0, 7),
    day=st.integers(1, 28),
    weekday=st.integers(1, 7),
    hour=st.integers(0, 23),
    second=st.integers(0, 3599),
)


@settings(deadline=None)
@given(RULES)
def test_a_rule_goes_into_bits_and_back(found: DstRule) -> None:
    assert decode_dst_rule(encode_dst_rule(found)) == found


@settings(max_examples=300, deadline=None)
@given(RULES, st.integers(1970, 2199))
def test_moments_agree_with_dateutil(found: DstRule, year: int) -> None:
    first, day = datetime(year, found.month, 1), weekday(found.weekday - 1)
    expected = {
        0: first.replace(day=found.day),
        1: first.replace(day=found.day) + relativedelta(weekday=day(1)),
        7: first + relativedelta(day=31, weekday=day(-1)),
    }.get(found.operator) or first + relativedelta(weekday=day(found.operator - 1))
    moment = dst_moment(found, year)
    if found.operator == 6 and expected.month != found.month:
        assert moment is None, "this month has no fifth one"
    else:
        assert moment == expected + timedelta(hours=found.hour, seconds=found.second)


def test_a_day_that_the_month_does_not_have_is_no_moment() -> None:
    leap_day = rule(2, 0, 2, day=29)
    assert dst_moment(leap_day, 2028) == datetime(2028, 2, 29, 2)
    assert dst_moment(leap_day, 2026) is None
    assert dst_moment(rule(2, 1, 2, day=30), 2028) is None


@pytest.mark.parametrize(
    "code",
    [-1, 2**32, 0, 0x060E2000, 0xD60E2000, 0x36002000, 0x30002000, 0x32002000, 0x360F8000, 0x360E2E10, 0xFFFFFFFE],
)
def test_bits_that_name_no_moment_are_refused(code: int) -> None:
    with pytest.raises(EspiError):
        decode_dst_rule(code)


def test_a_rule_that_names_no_moment_is_not_written() -> None:
    with pytest.raises(EspiError):
        encode_dst_rule(rule(13, 2, 2))


H = 3600
AMERICA, EUROPE = (rule(3, 3, 2), rule(11, 2, 2)), (rule(3, 7, 1), rule(10, 7, 2))
KNOWN = [
    ("America/Los_Angeles", -8 * H, H, *AMERICA),
    ("America/New_York", -5 * H, H, *AMERICA),
    ("America/St_Johns", -12_600, H, *AMERICA),
    ("Europe/London", 0, H, *EUROPE),
    ("Europe/Dublin", 0, H, *EUROPE),
    ("Europe/Berlin", H, H, rule(3, 7, 2), rule(10, 7, 3)),
    ("Australia/Sydney", 10 * H, H, rule(10, 2, 2), rule(4, 2, 3)),
    ("Australia/Lord_Howe", 37_800, 1800, rule(10, 2, 2), rule(4, 2, 2)),
    ("Pacific/Auckland", 12 * H, H, rule(9, 7, 2), rule(4, 2, 3)),
    ("America/Phoenix", -7 * H, H, DISABLED, DISABLED),
    ("America/Phoenix", -7 * H, 0, *AMERICA),
    ("Asia/Kolkata", 19_800, 0, DISABLED, DISABLED),
]


@pytest.mark.parametrize(("zone", "tz", "dst", "start", "end"), KNOWN)
def test_zones_of_the_world_keep_their_rules_and_no_others(
    zone: str, tz: int, dst: int, start: DstRule, end: DstRule
) -> None:
    """The rules as the tz database has them for 2026; each small untruth about them is seen."""
    found = LocalTimeParameters(tz, dst, start, end)
    assert zone_agrees(found, zone, 2026)
    wrong = [LocalTimeParameters(tz + shift, dst, start, end) for shift in (-H, H, 900)]
    if dst and not start.disabled:
        wrong += [LocalTimeParameters(tz, dst + 1800, start, end), LocalTimeParameters(tz, dst, end, start)]
        wrong += [LocalTimeParameters(tz, dst, DISABLED, DISABLED), LocalTimeParameters(tz, 0, start, end)]
        later = DstRule(start.month, start.operator, start.day, start.weekday, start.hour, 1800)
        wrong += [LocalTimeParameters(tz, dst, later, end)]
    else:
        wrong += [LocalTimeParameters(tz, H, *AMERICA)]
    assert not any(zone_agrees(other, zone, 2026) for other in wrong)


def test_a_zone_of_the_same_offset_but_other_dates_does_not_agree() -> None:
    america = LocalTimeParameters(-8 * H, H, *AMERICA)
    assert not zone_agrees(america, "America/Phoenix", 2026)
    assert not zone_agrees(LocalTimeParameters(-7 * H, H, DISABLED, DISABLED), "America/Denver", 2026)
    assert zone_agrees(america, "America/Vancouver", 2024)


@pytest.mark.parametrize(
    "zone", ["Asia/Jerusalem", "America/Santiago", "Pacific/Chatham", "Europe/Chisinau", "Africa/Cairo"]
)
@pytest.mark.parametrize("year", range(2023, 2026))
def test_rules_by_date_made_from_the_tz_database_agree(zone: str, year: int) -> None:
    """Operator 0 can write any pair of changes down; both are found here by walking the year in UTC."""
    place, begin = ZoneInfo(zone), datetime(year, 1, 1, tzinfo=UTC)

    def offset(at: datetime) -> timedelta:
        return at.astimezone(place).utcoffset()

    step = timedelta(minutes=15)
    instants = [begin + step * number for number in range(366 * 96) if (begin + step * number).year == year]
    changes = [at for before, at in pairwise(instants) if offset(before) != offset(at)]
    rules = {}
    for at in changes:
        forward = offset(at) > offset(at - step)
        wall = at.replace(tzinfo=None) + offset(at - step)  # the clock as it stands before the change
        rules[forward] = DstRule(wall.month, 0, wall.day, 0, wall.hour, wall.minute * 60)
    offsets = sorted({offset(at) for at in instants})
    tz, dst = offsets[0].total_seconds(), (offsets[1] - offsets[0]).total_seconds()
    assert len(changes) == 2 and len(offsets) == 2
    assert zone_agrees(LocalTimeParameters(int(tz), int(dst), rules[True], rules[False]), zone, year)
