"""Order of day and month, clock changes and zones, labels: against calendars and the time-zone database by zoneinfo."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pumpledger.proposal import date_order
from pumpledger.proposal.claim import Claim, Proposal
from pumpledger.proposal.known_codes import KnownCodes
from pumpledger.proposal.propose import propose
from pumpledger.proposal.stamps import fitting, kind_of


def order_of(texts: list[str]) -> Claim:
    return date_order.decide(texts, fitting(texts), [list(range(len(texts)))])[1]


def log(tmp_path: Path, stamps: list[str], name: str = "time", known: KnownCodes | None = None) -> Proposal:
    path = tmp_path / "log.csv"
    path.write_text(
        f"{name},pump,speed_rpm\n" + "".join(f"{stamp},P-1,{1500 + n % 7}\n" for n, stamp in enumerate(stamps))
    )
    return propose([path], known)


def walk(start: datetime, zone: str, steps: int, step: timedelta) -> list[datetime]:
    """Wall clock of ``zone`` at even steps of real time."""
    first = start.replace(tzinfo=ZoneInfo(zone)).astimezone(UTC)
    return [(first + n * step).astimezone(ZoneInfo(zone)).replace(tzinfo=None) for n in range(steps)]


@settings(max_examples=60, deadline=None, derandomize=True)
@given(
    st.dates(date(2019, 1, 1), date(2030, 12, 31)),
    st.sampled_from(["%d/%m/%Y %H:%M", "%m/%d/%Y %H:%M", "%d.%m.%y %H:%M", "%m/%d/%y %I:%M %p", "%y-%m-%d %H:%M"]),
    st.integers(1, 12),
    st.sampled_from([900, 3600, 21_600]),
)
def test_the_order_is_the_one_that_wrote_it_or_it_is_asked(day: date, form: str, days: int, step_s: int) -> None:
    """Any stretch of days; where the order is sure it is right, over three days or more it is never asked."""
    start = datetime(day.year, day.month, day.day)
    times = [start + n * timedelta(seconds=step_s) for n in range(days * 86_400 // step_s)]
    claim = order_of([time.strftime(form) for time in times])
    if claim.sureness == "sure":
        assert claim.value == form
    if days >= 3:
        assert claim.sureness == "sure", claim


@pytest.mark.parametrize(
    ("texts", "value"),
    [
        (["05/06/2026 00:00", "05/06/2026 00:15"], None),
        (["12/12/2026 23:45", "12/12/2026 23:50"], None),
        (["25/06/2026 00:00", "25/06/2026 00:15"], "%d/%m/%Y %H:%M"),
        (["06/25/2026 00:00", "06/25/2026 00:15"], "%m/%d/%Y %H:%M"),
        (["2026-05-06 00:00", "2026-05-06 00:15"], "%Y-%m-%d %H:%M"),
        (["05-Jun-26 00:00", "05-Jun-26 00:15"], "%d-%b-%y %H:%M"),
    ],
)
def test_a_part_above_twelve_proves_the_order(texts: list[str], value: str | None) -> None:
    claim = order_of(texts)
    assert (claim.value, claim.asked) == (value, value is None)


def test_one_odd_stamp_proves_nothing() -> None:
    """Forty rows of one day that reads both ways, and one stamp with a 25 in it: a slip, or the one proof."""
    texts = [f"05/06/2026 00:{minute:02d}" for minute in range(40)] + ["25/06/2026 00:40"]
    assert order_of(texts).sureness == "likely"


def test_newest_first_is_read_as_well() -> None:
    times = [datetime(2026, 6, 3) + n * timedelta(hours=1) for n in range(96)][::-1]
    claim = order_of([f"{time:%d/%m/%Y %H:%M}" for time in times])
    assert (claim.value, claim.sureness) == ("%d/%m/%Y %H:%M", "sure")


def test_a_twelve_hour_clock_without_a_mark_is_asked(tmp_path: Path) -> None:
    times = [datetime(2026, 6, 13) + n * timedelta(minutes=30) for n in range(96)]
    claim = log(tmp_path, [f"{time:%d/%m/%Y %I:%M}" for time in times]).claim("time.format")
    assert claim is not None and claim.asked and "noon" in claim.evidence


@pytest.mark.parametrize(
    ("zone", "start"),
    [
        ("America/New_York", datetime(2026, 10, 31)),
        ("America/New_York", datetime(2026, 3, 7)),
        ("Europe/Berlin", datetime(2026, 10, 24)),
        ("Australia/Lord_Howe", datetime(2026, 4, 4)),
        ("Australia/Sydney", datetime(2026, 10, 3)),
    ],
)
def test_a_clock_change_says_wall_clock_and_names_zones(tmp_path: Path, zone: str, start: datetime) -> None:
    """A log in the wall clock of the zone over its change of 2026 (half an hour on Lord Howe)."""
    claim = log(tmp_path, [f"{time:%Y-%m-%d %H:%M}" for time in walk(start, zone, 288, timedelta(minutes=15))]).claim(
        "time.zone"
    )
    assert claim is not None and (claim.value, claim.sureness) == ("site", "likely")
    assert zone in claim.evidence and ("30 min" in claim.evidence) == (zone == "Australia/Lord_Howe")


def test_no_change_where_the_sites_clock_changes_is_told_and_asked(tmp_path: Path) -> None:
    """The log runs on evenly over 1 November 2026: UTC or a fixed offset, not the wall clock of Los Angeles."""
    times = [datetime(2026, 10, 30) + n * timedelta(minutes=15) for n in range(400)]
    known = KnownCodes(frozenset(), frozenset(), ("America/Los_Angeles",))
    claim = log(tmp_path, [f"{time:%Y-%m-%d %H:%M}" for time in times], known=known).claim("time.zone")
    assert claim is not None and claim.asked and "without the clock change of America/Los_Angeles" in claim.evidence


@pytest.mark.parametrize(
    ("name", "value", "sureness"),
    [
        ("time_utc", "utc", "likely"),
        ("local time", "site", "likely"),
        ("time", None, "cannot tell"),
        ("Zeit (GMT)", "utc", "likely"),
    ],
)
def test_a_name_alone_is_likely(tmp_path: Path, name: str, value: str | None, sureness: str) -> None:
    times = [datetime(2026, 6, 13) + n * timedelta(minutes=15) for n in range(96)]
    claim = log(tmp_path, [f"{time:%Y-%m-%d %H:%M}" for time in times], name).claim("time.zone")
    assert claim is not None and (claim.value, claim.sureness) == (value, sureness)


@pytest.mark.parametrize(
    ("name", "first", "value", "sureness"),
    [
        ("time", 0, "instant", "likely"),
        ("time", 15, "interval_ending", "likely"),
        ("Ende", 15, "interval_ending", "sure"),
        ("start", 0, "interval_beginning", "sure"),
        ("Ende", 0, None, "cannot tell"),
        ("Ende", 45, "interval_ending", "likely"),
        ("time", 45, None, "cannot tell"),
    ],
)
def test_labels_by_name_and_by_where_the_day_begins(
    tmp_path: Path, name: str, first: int, value: str | None, sureness: str
) -> None:
    """96 rows: from 00:00 to 23:45 they begin, or are instants; from 00:15 to 00:00 they end; a name may disagree."""
    times = [datetime(2026, 6, 13) + timedelta(minutes=first + 15 * n) for n in range(96)]
    claim = log(tmp_path, [f"{time:%Y-%m-%d %H:%M}" for time in times], name).claim("time.label")
    assert claim is not None and (claim.value, claim.sureness) == (value, sureness)


def test_uneven_rows_that_each_change_something_are_a_log_of_changes(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    steps = [37, 4100, 9000, 61, 12_345, 700, 21_600, 21_600, 21_600, 55, 8000, 5000]
    at, lines = datetime(2026, 6, 13), ["time,pump,speed_rpm"]
    for number, step in enumerate(steps):
        speed = 1200 if step == 21_600 else 1200 + 300 * (number % 3)
        lines.append(f"{at:%Y-%m-%dT%H:%M:%SZ},P-1,{speed}")
        at += timedelta(seconds=step)
    path.write_text("\n".join(lines) + "\n")
    proposal = propose([path])
    assert proposal.value("time.label") == "change_of_state"
    assert proposal.value("time.gap_limit_s") == 21_600 + 3600
    assert proposal.claim("time.interval_s") is None


def test_wavering_seconds_are_a_likely_interval(tmp_path: Path) -> None:
    times = [datetime(2026, 6, 13) + timedelta(seconds=300 * n + (n * 7) % 11) for n in range(200)]
    claim = log(tmp_path, [f"{time:%Y-%m-%d %H:%M:%S}" for time in times]).claim("time.interval_s")
    assert claim is not None and (claim.value, claim.sureness) == (300, "likely")


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("2026-06-03 00:15", "stamp"),
        ("03.06.2026", "date"),
        ("7:05", "clock"),
        ("1792998000", "epoch"),
        ("1500", None),
        ("P-1", None),
        ("12.5", None),
        ("20260603T001500Z", "stamp"),
        ("2026-154 00:15", "stamp"),
        ("", None),
    ],
)
def test_kinds_of_cells(text: str, kind: str | None) -> None:
    assert kind_of(text) == kind
