"""Wall clock to UTC in the zones of the world, over both kinds of clock change.

Source: the IANA time zone database through `zoneinfo`. Stamps are made here from instants, by `zoneinfo` alone; the
pipeline gets the stamps and must give the instants back.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import polars as pl
import pytest
from clock_rows import CHANGING, STEADY, changes_of, wall_at
from intake_fleet import stage_file, staged_readings

from pumpledger.intake.dialect import Dialect
from pumpledger.intake.dialect_file import read_dialect
from pumpledger.profile.calendar import local_days, midnight_utc, quarters

HOUR, QUARTER = timedelta(hours=1), timedelta(minutes=15)


def wall(instant: datetime, zone: str) -> str:
    return f"{wall_at(instant, zone):%Y-%m-%d %H:%M}"


def dialect(tmp_path: Path, label: str = "instant", interval_s: int = 900, zone: str = "site") -> Dialect:
    path, problems = tmp_path / "own.toml", []
    interval = "" if label == "change_of_state" else f"interval_s = {interval_s}"
    path.write_text(
        'about = "made up"\n[file]\ndelimiter = ","\n[time]\ncolumn = "t"\nformat = "%Y-%m-%d %H:%M"\n'
        f'zone = "{zone}"\nlabel = "{label}"\n{interval}\ngap_limit_s = 86400\n'
        '[pump]\ncolumn = "p"\n[quantity]\nspeed = { column = "n", unit = "rpm" }\n'
    )
    found = read_dialect(path, "own.toml", problems)
    assert found, problems
    return found


def place(db, tmp_path: Path, rows: list[tuple[str, str, int]], zones: list[str], **how):
    """Stage rows of (stamp, zone, number): one pump a zone, the number as its speed."""
    path = tmp_path / "a.csv"
    pumps = {zone.replace("/", "."): zone for zone in zones}
    path.write_text("t,p,n\n" + "".join(f"{stamp},{zone.replace('/', '.')},{n}\n" for stamp, zone, n in rows))
    return stage_file(db, path, dialect(tmp_path, **how), pumps)


def test_wall_clock_gives_the_instants_back(db, tmp_path) -> None:
    """Quarter hours from six hours before to six after each change of 2023, in 36 zones, in one file."""
    rows, expected = [], {}
    for zone in (*CHANGING, *STEADY):
        for change in changes_of(zone, 2023) or [datetime(2023, 3, 26, 1)]:
            for step in range(-24, 25):
                instant = change + step * QUARTER
                expected[len(rows)] = instant
                rows.append((wall(instant, zone), zone, len(rows) % 3000))
    staged = place(db, tmp_path, rows, [*CHANGING, *STEADY])
    readings = staged_readings(staged).sort("line")
    assert staged.refused.is_empty()
    assert staged.problems == []
    assert readings["time_utc"].to_list() == list(expected.values())
    local = [
        instant.replace(tzinfo=UTC).astimezone(ZoneInfo(zone)).date()
        for (_, zone, _), instant in zip(rows, expected.values(), strict=True)
    ]
    assert readings["day_local"].to_list() == local


def test_interval_ending_gives_the_beginnings_back(db, tmp_path) -> None:
    """The stamp is the wall clock at the end; the last quarter before a change ends by the new clock."""
    rows, expected = [], []
    for zone in CHANGING:
        for change in changes_of(zone, 2023):
            for step in range(-12, 13):
                rows.append((wall(change + step * QUARTER, zone), zone, len(rows) % 3000))
                expected.append(change + (step - 1) * QUARTER)
    staged = place(db, tmp_path, rows, list(CHANGING), label="interval_ending")
    assert staged_readings(staged).sort("line")["time_utc"].to_list() == expected


def test_skipped_times_are_quarantined(db, tmp_path) -> None:
    """Wall-clock times that no instant has: what `zoneinfo` does not give back as it was put in."""
    rows = []
    for zone in CHANGING:
        place_of = ZoneInfo(zone)
        for change in changes_of(zone, 2023):
            before = (change - timedelta(minutes=1)).replace(tzinfo=UTC).astimezone(place_of).replace(tzinfo=None)
            for minute in range(1, 61, 7):
                stamp = before + timedelta(minutes=minute)
                there = stamp.replace(tzinfo=place_of).astimezone(UTC).astimezone(place_of).replace(tzinfo=None)
                if there != stamp:
                    rows.append((f"{stamp:%Y-%m-%d %H:%M}", zone, len(rows) % 3000))
    assert len({zone for _, zone, _ in rows}) >= 28
    staged = place(db, tmp_path, rows, list(CHANGING))
    assert staged.refused["rule"].to_list() == ["hour_does_not_exist"] * len(rows)
    assert staged.fates["readings"] == 0


def test_repeated_hour_is_told_apart_by_order(db, tmp_path) -> None:
    """Los Angeles, 1 November 2026: 01:00 to 01:45 twice, first at -07:00 and then at -08:00."""
    stamps = ["00:45", "01:00", "01:15", "01:30", "01:45", "01:00", "01:15", "01:30", "01:45", "02:00"]
    zone = "America/Los_Angeles"
    staged = place(db, tmp_path, [(f"2026-11-01 {s}", zone, n) for n, s in enumerate(stamps)], [zone])
    assert staged_readings(staged)["time_utc"].to_list() == [
        datetime(2026, 11, 1, 7, 45) + i * QUARTER for i in range(10)
    ]


@pytest.mark.parametrize("second", [["01:30", "01:45"], ["01:00"], ["01:00", "01:45"]])
def test_repeated_hour_with_rows_missing(db, tmp_path, second) -> None:
    """A step back is enough, wherever the second pass begins."""
    zone = "America/Los_Angeles"
    stamps = ["01:00", "01:50", *second]
    staged = place(db, tmp_path, [(f"2026-11-01 {s}", zone, n) for n, s in enumerate(stamps)], [zone])
    got = staged_readings(staged).sort("line")["time_utc"].to_list()[2:]
    assert got == [datetime.fromisoformat(f"2026-11-01T{s}-08:00").astimezone(UTC).replace(tzinfo=None) for s in second]
    assert staged.problems == []


@pytest.mark.parametrize("order", [1, -1])
@pytest.mark.parametrize("count", [1, 2])
def test_order_that_does_not_tell(db, tmp_path, order, count) -> None:
    """One pass alone: the first is taken, and the export says so. A file in falling order tells as well as another."""
    zone = "America/Los_Angeles"
    stamps = (["00:45", *["01:00", "01:15", "01:30", "01:45"] * count, "02:00"])[::order]
    told = count == 2
    staged = place(db, tmp_path, [(f"2026-11-01 {s}", zone, 100) for s in stamps], [zone])
    times = set(staged_readings(staged)["time_utc"])
    first_pass = {datetime(2026, 11, 1, 8) + i * QUARTER for i in range(4)}
    assert first_pass <= times
    assert (len(times), [p.name for p in staged.problems]) == ((10, []) if told else (6, ["repeated_hour"]))
    assert staged.fates["duplicates"] == (0 if told or count == 1 else 4)


def test_pumps_of_one_file_are_told_apart_each_for_itself(db, tmp_path) -> None:
    """Rows of two pumps in turn, and a third that logged one pass only."""
    rows = []
    for hour in (0, 1):
        for minute in (0, 30):
            rows += [
                (f"2026-11-01 01:{minute:02d}", "America/Los_Angeles", hour),
                (f"2026-11-01 01:{minute:02d}", "America/Chicago", hour),
            ]
    rows.append(("2026-11-01 01:30", "America/Denver", 0))
    zones = ["America/Los_Angeles", "America/Chicago", "America/Denver"]
    staged = place(db, tmp_path, rows, zones)
    readings = staged_readings(staged)
    for zone, hour in (("America/Los_Angeles", 8), ("America/Chicago", 6)):
        times = readings.filter(pl.col("pump_id") == zone.replace("/", "."))["time_utc"].to_list()
        assert times == [datetime(2026, 11, 1, hour) + i * 2 * QUARTER for i in range(4)]
    assert "1 rows lie in the hour" in staged.problems[0].sentence


@pytest.mark.parametrize(
    ("zone", "day", "repeated", "interval_s", "stamps"),
    [
        ("America/Los_Angeles", "2026-11-01", "01:00", 3600, ["00:00", "01:00", "01:00", "02:00"]),
        ("Australia/Lord_Howe", "2026-04-05", "01:30", 1800, ["01:00", "01:30", "01:30", "02:00"]),
    ],
)
def test_interval_as_long_as_what_is_repeated(db, tmp_path, zone, day, repeated, interval_s, stamps) -> None:
    """Hourly rows over a repeated hour: the stamp stands twice running and never steps back; it is not a duplicate."""
    staged = place(db, tmp_path, [(f"{day} {s}", zone, n) for n, s in enumerate(stamps)], [zone], interval_s=interval_s)
    times = staged_readings(staged)["time_utc"]
    assert times.diff().dt.total_seconds().to_list() == [None, interval_s, interval_s, interval_s]
    assert staged.problems == []


def test_same_stamp_twice_in_shorter_intervals_is_a_duplicate(db, tmp_path) -> None:
    zone = "America/Los_Angeles"
    staged = place(db, tmp_path, [("2026-11-01 01:15", zone, 5), ("2026-11-01 01:15", zone, 5)], [zone])
    assert (staged.fates["readings"], staged.fates["duplicates"]) == (1, 1)


def test_changes_of_state_in_a_repeated_hour(db, tmp_path) -> None:
    zone = "America/Los_Angeles"
    rows = [("2026-11-01 01:40", zone, 1), ("2026-11-01 01:10", zone, 2), ("2026-11-01 01:50", zone, 3)]
    staged = place(db, tmp_path, rows, [zone], label="change_of_state")
    assert staged_readings(staged)["time_utc"].to_list() == [
        datetime(2026, 11, 1, 8, 40),
        datetime(2026, 11, 1, 9, 10),
        datetime(2026, 11, 1, 9, 50),
    ]


def test_zone_of_the_export_and_zone_of_the_site(db, tmp_path) -> None:
    """Stamped in Sydney, where 4 October 2026 skips 02:00 to 03:00; the local days are those of Los Angeles."""
    zone = "America/Los_Angeles"
    rows = [("2026-10-04 01:45", zone, 1), ("2026-10-04 02:15", zone, 2), ("2026-10-04 03:00", zone, 3)]
    staged = place(db, tmp_path, rows, [zone], zone="Australia/Sydney")
    assert staged_readings(staged).select("time_utc", "day_local").rows() == [
        (datetime(2026, 10, 3, 15, 45), date(2026, 10, 3)),
        (datetime(2026, 10, 3, 16, 0), date(2026, 10, 3)),
    ]
    assert staged.refused["rule"].to_list() == ["hour_does_not_exist"]


@pytest.mark.parametrize(
    ("zone", "day", "hours"),
    [
        ("America/Los_Angeles", date(2026, 3, 8), 23),  # facts 7a
        ("America/Los_Angeles", date(2026, 11, 1), 25),
        ("America/New_York", date(2026, 3, 8), 23),
        ("America/New_York", date(2026, 11, 1), 25),
        ("America/Phoenix", date(2026, 3, 8), 24),  # facts 7b
        ("America/Phoenix", date(2026, 11, 1), 24),
        ("Australia/Sydney", date(2026, 4, 5), 25),  # facts 7c
        ("Australia/Sydney", date(2026, 10, 4), 23),
        ("Australia/Lord_Howe", date(2026, 4, 5), 24.5),  # half an hour, by the time zone database
        ("Australia/Lord_Howe", date(2026, 10, 4), 23.5),
    ],
)
def test_length_of_local_days(zone, day, hours) -> None:
    days = local_days([zone], [day])
    assert days["day_min"].to_list() == [hours * 60]
    parts = quarters(days)
    assert parts.height == hours * 4
    assert (parts["start_utc"][0], parts["end_utc"][-1]) == (days["start_utc"][0], days["end_utc"][0])


@pytest.mark.parametrize("zone", [*CHANGING, *STEADY])
def test_days_follow_each_other_without_hole(zone) -> None:
    """Over a year each day begins where the one before ends; its first instant has its date, the one before has not."""
    place_of, day = ZoneInfo(zone), date(2023, 1, 1)
    total = timedelta()
    while day < date(2024, 1, 1):
        start, end = midnight_utc(zone, day), midnight_utc(zone, day + timedelta(days=1))
        assert start.replace(tzinfo=UTC).astimezone(place_of).date() == day
        assert (start - timedelta(seconds=1)).replace(tzinfo=UTC).astimezone(place_of).date() == day - timedelta(days=1)
        total += end - start
        day += timedelta(days=1)
    year = midnight_utc(zone, date(2024, 1, 1)) - midnight_utc(zone, date(2023, 1, 1))
    assert total == year


@pytest.mark.parametrize(
    ("zone", "day", "expected"),
    [
        (
            "America/Santiago",
            date(2026, 9, 6),
            datetime(2026, 9, 6, 4),
        ),  # 00:00 to 01:00 is skipped: the day begins at 01:00 -03
        ("America/Havana", date(2026, 3, 8), datetime(2026, 3, 8, 5)),  # the same, at -04
        (
            "America/Havana",
            date(2026, 11, 1),
            datetime(2026, 11, 1, 4),
        ),  # 00:00 to 01:00 happens twice: the first is midnight
        ("Europe/Berlin", date(2026, 10, 25), datetime(2026, 10, 24, 22)),
        ("Pacific/Chatham", date(2026, 9, 27), datetime(2026, 9, 26, 11, 15)),
    ],
)
def test_midnight(zone, day, expected) -> None:
    assert midnight_utc(zone, day) == expected
