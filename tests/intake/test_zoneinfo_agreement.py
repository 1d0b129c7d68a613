"""Local time to UTC against `zoneinfo` (the IANA time zone database), in more than 30 zones, 2012 to 2030.

Stamps are made from instants by `zoneinfo` alone; the pipeline gets the stamps, in order, and must give the instants
back, on both passes of an hour that happens twice.
"""

from __future__ import annotations

from datetime import date, datetime, timedelta

import polars as pl
import pytest
from clock_rows import CHANGING, STEADY, change_by, changes_of, clock_dialect, offset_at, placed, states, wall_at, wrong
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pumpledger.engine.database import Database
from pumpledger.intake.clock import changes_near, utc_eras, wall_eras, year_changes
from pumpledger.intake.place import names_its_instant, shift_of

YEARS = range(2012, 2031)
ZONES = (*CHANGING, *STEADY)
LABELS = ("instant", "interval_beginning", "interval_ending")
INTERVALS = (60, 300, 420, 600, 900, 1800, 3600, 5400, 7200)
UNHURRIED = settings(deadline=None, derandomize=True, max_examples=24, suppress_health_check=list(HealthCheck))


def near_change(zone: str, at: datetime, interval: timedelta, lead: int) -> list[datetime]:
    """Instants on both sides of a change, three hours and two intervals at least, off the change by ``lead`` seconds."""
    side = 3 + timedelta(hours=3) // interval
    return [at + timedelta(seconds=lead) + step * interval for step in range(-side, side + 1)]


def test_there_are_zones_enough_with_both_kinds_of_change() -> None:
    both = [zone for zone in CHANGING if len({change_by(zone, at) > timedelta() for at in changes_of(zone, 2023)}) == 2]
    assert len(both) >= 28
    assert {"Australia/Lord_Howe", "America/Phoenix", "Asia/Kathmandu"} <= set(ZONES)
    assert len(ZONES) > 30
    assert all(not changes_of(zone, year) for zone in STEADY for year in (2012, 2023, 2030))


@pytest.mark.parametrize("label", LABELS)
@pytest.mark.parametrize("interval_s", [60, 900, 3600])
def test_every_change_of_nineteen_years(db: Database, label: str, interval_s: int) -> None:
    """Every change of every zone, a pump for each, in one file: pumps one after the other, or row by row in turn."""
    interval, rows, instants, zones = timedelta(seconds=interval_s), [], [], {}
    years = YEARS if interval_s > 60 else range(2024, 2026)
    for zone in CHANGING:
        for year in years:
            for at in changes_of(zone, year):
                name = f"{zone} {at:%Y-%m-%d}"
                zones[name] = zone
                for instant in near_change(zone, at, interval, 0):
                    rows.append((name, wall_at(instant, zone), 600.0 + len(rows) % 2000))
                    instants.append(instant - (interval if label == "interval_ending" else timedelta()))
    if label == "instant":
        turn = sorted(range(len(rows)), key=lambda number: instants[number])
        rows, instants = [rows[number] for number in turn], [instants[number] for number in turn]
    found = placed(db, rows, zones, clock_dialect(label=label, interval_s=interval_s))
    assert wrong(found, instants).is_empty()
    assert set(states(found)) <= {"once", "twice"}
    assert found.filter(pl.col("clock_state") == "twice").height > 2 * len(CHANGING)
    local = [wall_at(instant, zones[name]).date() for (name, _, _), instant in zip(rows, instants, strict=True)]
    assert found["day_local"].to_list() == local


@st.composite
def loggers(draw: st.DrawFn) -> tuple[list[tuple[str, datetime, float]], list[datetime], dict[str, str], str, int]:
    """A file of one to four loggers over changes of their zones, with label and interval."""
    label, interval_s = draw(st.sampled_from(LABELS)), draw(st.sampled_from(INTERVALS))
    interval, files, zones = timedelta(seconds=interval_s), [], {}
    for number in range(draw(st.integers(1, 4))):
        zone, year = draw(st.sampled_from(ZONES)), draw(st.sampled_from(YEARS))
        moments = changes_of(zone, year) or (datetime(year, draw(st.integers(1, 12)), 7, 1),)
        at, name = draw(st.sampled_from(moments)), f"P-{number}"
        zones[name] = zone
        moments = near_change(zone, at, interval, draw(st.integers(0, interval_s - 1)))
        files.append([((name, wall_at(i, zone), 600.0 + k), i) for k, i in enumerate(moments)])
    mixed = [pair for file in files for pair in file]
    if draw(st.booleans()):
        mixed.sort(key=lambda pair: pair[1])
    if draw(st.booleans()):  # the newest row first
        mixed.reverse()
    shift = interval if label == "interval_ending" else timedelta()
    return [row for row, _ in mixed], [i - shift for _, i in mixed], zones, label, interval_s


@UNHURRIED
@given(loggers())
def test_rows_in_order_give_their_instants_back(db: Database, file) -> None:
    rows, instants, zones, label, interval_s = file
    found = placed(db, rows, zones, clock_dialect(label=label, interval_s=interval_s))
    assert wrong(found, instants).is_empty()
    assert set(states(found)) <= {"once", "twice"}


@UNHURRIED
@given(
    st.sampled_from(CHANGING),
    st.sampled_from(YEARS),
    st.integers(0, 9),
    st.lists(st.integers(-9000, 9000), min_size=1, max_size=25, unique=True),
)
def test_changes_of_state_are_never_told_wrong(db: Database, zone, year, number, seconds) -> None:
    """Irregular rows may not tell the passes apart; those that are told are right, all others of the hour are marked."""
    moments = changes_of(zone, year)
    if not moments:
        return
    instants = [moments[number % len(moments)] + timedelta(seconds=second) for second in sorted(seconds)]
    rows = [("P-1", wall_at(instant, zone), 600.0 + k) for k, instant in enumerate(instants)]
    found = placed(db, rows, {"P-1": zone}, clock_dialect(label="change_of_state"))
    assert set(wrong(found, instants)["clock_state"]) <= {"twice, first taken"}
    assert set(states(found)) <= {"once", "twice", "twice, first taken"}


@UNHURRIED
@given(st.sampled_from(ZONES), st.datetimes(datetime(2012, 1, 3), datetime(2030, 12, 28)))
def test_eras_agree_at_any_instant(zone: str, instant: datetime) -> None:
    instant = instant.replace(microsecond=0)
    wall = wall_at(instant, zone)
    (era,) = (
        utc_eras([zone], [wall.date()])
        .filter((pl.col("from_utc") <= instant) & (pl.col("to_utc") > instant))
        .iter_rows(named=True)
    )
    assert timedelta(seconds=era["offset_s"]) == offset_at(instant, zone)
    (era,) = (
        wall_eras([zone], [wall.date()])
        .filter((pl.col("from_wall") <= wall) & (pl.col("to_wall") > wall))
        .iter_rows(named=True)
    )
    shown = sorted({wall - offset_at(instant + timedelta(hours=step), zone) for step in (-3, 0, 3)})
    shown = [moment for moment in shown if wall_at(moment, zone) == wall]
    assert era["clock_state"] == {1: "once", 2: "twice"}[len(shown)]
    assert wall - timedelta(seconds=era["offset_s"]) == shown[0]


@pytest.mark.parametrize("zone", ZONES)
def test_changes_are_those_of_the_database(zone: str) -> None:
    """By a walk through all days and minutes of three years."""
    for year in (2012, 2023, 2026):
        assert tuple(change.at_utc for change in year_changes(zone, year)) == changes_of(zone, year)
        for change in year_changes(zone, year):
            assert timedelta(seconds=change.step_s) == change_by(zone, change.at_utc)


def test_a_change_is_looked_for_five_weeks_back() -> None:
    zone, at = "America/Los_Angeles", datetime(2026, 11, 1, 9)
    for day, seen in (((10, 30), True), ((10, 29), False), ((12, 6), True), ((12, 7), False)):
        assert bool(changes_near(zone, [date(2026, *day)])) is seen
    (change,) = changes_near(zone, [date(2026, 11, 1)])
    assert (change.at_utc, change.step_s) == (at, -3600)
    assert (change.from_wall, change.to_wall) == (datetime(2026, 11, 1, 1), datetime(2026, 11, 1, 2))


@pytest.mark.parametrize("offset", ["+02:00", "-08:00", "+05:45", "-03:30", "+14:00", "-12:00", "+00:00"])
@pytest.mark.parametrize("label", LABELS)
def test_a_fixed_offset_repeats_no_hour(db: Database, offset: str, label: str) -> None:
    """Standard time all year: no hour is twice and none is skipped, whatever the site's clocks do."""
    own = clock_dialect(zone=offset, label=label)
    sign = -1 if offset[0] == "-" else 1
    shift = sign * timedelta(hours=int(offset[1:3]), minutes=int(offset[4:]))
    at = changes_of("America/Los_Angeles", 2026)[1]
    instants = [at + step * timedelta(minutes=15) for step in range(-20, 21)]
    found = placed(db, [("P-1", i + shift, 900.0) for i in instants], {"P-1": "America/Los_Angeles"}, own)
    begins = [i - timedelta(minutes=15) for i in instants] if label == "interval_ending" else instants
    assert names_its_instant(own) and found["time_utc"].to_list() == begins
    assert found["day_local"].to_list() == [wall_at(i, "America/Los_Angeles").date() for i in begins]
    assert states(found) == {"once": 41}
    assert shift_of(own) == shift.total_seconds() + (900 if label == "interval_ending" else 0)


@pytest.mark.parametrize("time_format", ["epoch_s", "epoch_ms"])
def test_an_epoch_names_its_instant(time_format: str) -> None:
    assert names_its_instant(clock_dialect(zone="utc", time_format=time_format))
    assert not names_its_instant(clock_dialect(zone="Europe/Berlin"))


@pytest.mark.parametrize("zone", ZONES)
def test_beginning_and_ending_differ_by_the_interval(db: Database, zone: str) -> None:
    """The same log read as interval-beginning and as interval-ending: all starts differ by 15 minutes (facts 7j)."""
    at = (changes_of(zone, 2026) or (datetime(2026, 3, 8, 10),))[0]
    rows = [("P-1", wall_at(at + step * timedelta(minutes=15), zone), 900.0 + step) for step in range(-12, 13)]
    one, other = (
        placed(db, rows, {"P-1": zone}, clock_dialect(label=f"interval_{label}")) for label in ("beginning", "ending")
    )
    assert (one["time_utc"] - other["time_utc"]).unique().to_list() == [timedelta(minutes=15)]
