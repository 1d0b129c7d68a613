"""Clocks that jump inside one export: rows that leave and return, steps that counters contradict, stamps to come.

Rows, counters and jumps are made up here; the limits (5 % and 10 min) are those of the design, common practice, no
source.
"""

from __future__ import annotations

import random
from datetime import datetime, timedelta

import polars as pl
import pytest
from clock_rows import clock_dialect, late_clock, logger, placed, states
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from intake_fleet import SAMPLES, built_in, stage_file

from pumpledger.engine.database import Database
from pumpledger.intake.clock import future_note
from pumpledger.intake.clock_notes import MOST_NOTES, clock_counts, clock_notes, clock_problems, sentence
from pumpledger.intake.rules import REFUSALS

START = datetime(2026, 6, 1, 6)
FIVE, QUARTER = timedelta(minutes=5), timedelta(minutes=15)
UTC_FIVE = clock_dialect("utc", interval_s=300)
WITH_COUNTERS = clock_dialect("utc", interval_s=900, columns=("speed", "power", "run_total", "energy_total"))


def steady(rows: int, interval: timedelta = FIVE) -> list[datetime]:
    return [START + number * interval for number in range(rows)]


def faults(db: Database, stamps: list[datetime], dialect=UTC_FIVE, zone: str = "America/Los_Angeles") -> list[int]:
    """Places in ``stamps`` of rows whose clock was lost."""
    rows = [("P-1", stamp, 900.0 + number % 500) for number, stamp in enumerate(stamps)]
    found = placed(db, rows, {"P-1": zone}, dialect)
    assert set(found["time_fault"].unique()) <= {None, "time_jumps_and_returns"}
    return [line - 2 for line in found.filter(pl.col("time_fault").is_not_null())["line"]]


@pytest.mark.parametrize("zone", ["utc", "site"])
@pytest.mark.parametrize("falling", [False, True])
@pytest.mark.parametrize(
    "away", [timedelta(hours=5), timedelta(days=3), timedelta(days=9000), -timedelta(hours=5), -timedelta(days=2600)]
)
@pytest.mark.parametrize("length", [1, 7])
def test_rows_that_leave_and_return(db: Database, zone, falling, away, length) -> None:
    """A clock lost and found again: the rows between fill the place that they left."""
    stamps = steady(200)
    lost = range(60, 60 + length)
    for number in lost:
        stamps[number] += away
    way = -1 if falling else 1
    expected = sorted(199 - number if falling else number for number in lost)
    assert faults(db, stamps[::way], clock_dialect(zone, interval_s=300)) == expected


def test_a_clock_that_starts_again_at_its_first_day(db: Database) -> None:
    """Two power cuts, after each an hour from the first of January 2000 on."""
    stamps = steady(400)
    for cut in (100, 250):
        for number in range(12):
            stamps[cut + number] = datetime(2000, 1, 1) + number * FIVE
    assert faults(db, stamps) == [*range(100, 112), *range(250, 262)]


def test_stamps_out_of_every_range_do_not_hide_a_jump(db: Database) -> None:
    """1970 is refused by a rule of its own, and the rows beside it are judged without it."""
    stamps = steady(100)
    stamps[30], stamps[40], stamps[41] = datetime(1970, 1, 1), datetime(1970, 1, 1), START + timedelta(days=400)
    assert faults(db, stamps) == [41], "two places are free, one row has left"


def test_a_clock_that_does_not_return_is_not_judged(db: Database) -> None:
    """Which half is right cannot be told: nothing is refused."""
    stamps = steady(100)
    assert faults(db, stamps[:50] + [stamp + timedelta(days=30) for stamp in stamps[50:]]) == []
    assert faults(db, stamps[:50] + [stamp - timedelta(days=30) for stamp in stamps[50:]]) == []


def test_rows_from_elsewhere_put_between_others_are_kept(db: Database) -> None:
    """A block of yesterday between rows that follow each other without a place free: filled in late, not lost."""
    stamps = steady(100)
    late = [stamp - timedelta(days=1) for stamp in steady(10)]
    assert faults(db, stamps[:50] + late + stamps[50:]) == []


def test_two_rows_that_changed_places_are_kept(db: Database) -> None:
    """Each stands in the other's place, so that no place is empty."""
    stamps = steady(200)
    stamps[20], stamps[150] = stamps[150], stamps[20]
    assert faults(db, stamps) == []


@settings(deadline=None, derandomize=True, max_examples=15, suppress_health_check=list(HealthCheck))
@given(st.integers(0, 10**6), st.sampled_from([300, 900, None]))
def test_shuffled_rows_are_all_kept(db: Database, seed, interval_s) -> None:
    chance = random.Random(seed)
    stamps = [START + number * FIVE * (interval_s or 4000) / 300 for number in range(150) if chance.random() > 0.1]
    chance.shuffle(stamps)
    label = "instant" if interval_s else "change_of_state"
    assert faults(db, stamps, clock_dialect("utc", label=label, interval_s=interval_s)) == []


def test_changes_of_state_need_a_month(db: Database) -> None:
    """Events have no places to fill: only what lies a month outside of all others is lost."""
    events = clock_dialect("utc", label="change_of_state")
    stamps = [START + timedelta(hours=3) * number for number in range(40)]
    far, near = list(stamps), list(stamps)
    far[20] = datetime(2000, 1, 1, 0, 3)
    near[20] = START - timedelta(days=9)
    assert faults(db, far, events) == [20]
    assert faults(db, near, events) == []


def test_each_pump_is_judged_by_its_own_rows(db: Database) -> None:
    rows = []
    for number, stamp in enumerate(steady(100)):
        rows.append(("P-1", stamp + (timedelta(days=50) if number == 30 else timedelta()), 900.0))
        rows.append(("P-2", stamp, 900.0 + number))
    found = placed(db, rows, {"P-1": "UTC", "P-2": "UTC"}, UTC_FIVE)
    assert found.filter(pl.col("time_fault").is_not_null())["line"].to_list() == [62]


def test_the_quarantined_row_says_what_to_do(db: Database, tmp_path) -> None:
    """Through the whole of one export: the row goes back with its rule, and nothing else is lost."""
    path = tmp_path / "five_a.csv"
    stamps = steady(50)
    stamps[20] += timedelta(days=400)
    path.write_text(SAMPLES + "".join(f"{stamp:%Y-%m-%dT%H:%M:%SZ},P-1,1500,200,1\n" for stamp in stamps))
    staged = stage_file(db, path, built_in("samples_5min"), {"P-1": "UTC"})
    assert staged.fates == {"readings": 49, "duplicates": 0, "quarantine": 1, "rejects": 0}
    assert staged.refused.select("line", "rule").rows() == [(22, "time_jumps_and_returns")]
    assert "jumped" in REFUSALS["time_jumps_and_returns"].wrong


def counters(
    clock_min: list[float], really_min: list[float] | None = None, speeds: list[float] | None = None, unit_h: float = 0
) -> tuple[list[tuple[str, datetime, float]], dict[str, list[float]]]:
    """Rows of a logger whose steps are ``clock_min`` by its clock and ``really_min`` by its counters, at 500 W."""
    really, at, ran = really_min or clock_min, START, 100.0
    stamps, hours = [at], [ran]
    for by_clock, by_counter in zip(clock_min, really, strict=True):
        at, ran = at + timedelta(minutes=by_clock), ran + by_counter / 60
        stamps.append(at)
        hours.append(ran)
    shown = [hour // unit_h * unit_h if unit_h else hour for hour in hours]
    rows = [("P-1", stamp, (speeds or [1500.0] * len(stamps))[k]) for k, stamp in enumerate(stamps)]
    return rows, {"run_total_h": shown, "power_w": [500.0] * len(stamps), "energy_total_kwh": [h / 2 for h in hours]}


def notes(db: Database, rows, more, dialect=WITH_COUNTERS, zone: str = "UTC") -> list[dict]:
    placed(db, rows, {"P-1": zone}, dialect, **more)
    db.view_text("judged_row", "select *, if(time_fault is null, 'readings', 'quarantine') as fate from placed_row")
    return list(clock_notes(db, dialect).iter_rows(named=True))


def test_counters_that_agree_say_nothing(db: Database) -> None:
    assert notes(db, *counters([15] * 200)) == []
    assert notes(db, *counters([15] * 50 + [240] + [15] * 50)) == [], "a gap that the counters saw too"


def test_a_clock_set_back(db: Database) -> None:
    """More hours were run than time has passed: three hours and a quarter in a quarter."""
    rows, more = counters([15] * 50 + [15] + [15] * 50, [15] * 50 + [195] + [15] * 50)
    (note,) = notes(db, rows, more)
    assert (note["kind"], note["sureness"], note["line_before"], note["line"]) == ("clock set back", "sure", 52, 53)
    assert (note["clock_min"], note["set_min"]) == (15, pytest.approx(-180))
    assert (note["run_min"], note["energy_min"]) == (pytest.approx(195), pytest.approx(195))
    assert "the clock was set back by 180 min" in sentence(note)
    (note,) = notes(db, rows, {"run_total_h": more["run_total_h"]})
    assert (note["kind"], note["sureness"]) == ("clock set back", "likely")


def test_a_step_back_in_time_that_counters_see_through(db: Database) -> None:
    rows, more = counters([15] * 50 + [-105] + [15] * 50, [15] * 101)
    (note,) = notes(db, rows, more)
    assert (note["kind"], note["sureness"], note["set_min"]) == ("clock set back", "sure", pytest.approx(-120))


def test_a_clock_set_forward(db: Database) -> None:
    """Three hours more by the clock, one interval by the counters, and the pump runs on both sides."""
    rows, more = counters([15] * 50 + [195] + [15] * 50, [15] * 101)
    (note,) = notes(db, rows, more)
    assert (note["kind"], note["sureness"], note["set_min"]) == ("clock set forward", "likely", pytest.approx(180))
    assert "unless the pump stood in between" in sentence(note)
    rows, more = counters([15] * 50 + [195] + [15] * 50, [15] * 50 + [80] + [15] * 50)
    assert [note["sureness"] for note in notes(db, rows, more)] == ["possible"]


def test_a_pump_that_stands_proves_nothing(db: Database) -> None:
    """Off at one side of a gap: no hours were run because it stood."""
    speeds = [1500.0] * 50 + [0.0] + [1500.0] * 51
    rows, more = counters([15] * 50 + [195] + [15] * 50, [15] * 50 + [15] + [15] * 50, speeds)
    assert notes(db, rows, more) == []


@pytest.mark.parametrize("off_min", [9, 11])
def test_ten_minutes_and_five_per_cent(db: Database, off_min) -> None:
    """9 min are within what clocks and counters differ by; 11 min of a quarter are not, of 300 min they are."""
    rows, more = counters([15] * 50 + [15] + [15] * 50, [15] * 50 + [15 + off_min] + [15] * 50)
    assert len(notes(db, rows, more)) == (off_min > 10)
    rows, more = counters([15] * 50 + [300] + [15] * 50, [15] * 50 + [300 + off_min] + [15] * 50)
    assert notes(db, rows, more) == []


@pytest.mark.parametrize("unit_h", [1.0, 0.1])
def test_a_counter_of_whole_hours_is_not_a_clock(db: Database, unit_h) -> None:
    """It stands for four quarters and then counts an hour."""
    rows, more = counters([15] * 200, unit_h=unit_h)
    assert notes(db, rows, {"run_total_h": more["run_total_h"]}) == []


def test_a_counter_that_falls_or_contradicts_the_other(db: Database) -> None:
    """A new counter, and a run-hour counter that leaps while energy and clock agree: no matter of the clock."""
    rows, more = counters([15] * 100)
    new = [hour if k < 50 else hour - 100 for k, hour in enumerate(more["run_total_h"])]
    leap = [hour if k < 50 else hour + 30 for k, hour in enumerate(more["run_total_h"])]
    assert notes(db, rows, more | {"run_total_h": new}) == []
    assert notes(db, rows, more | {"run_total_h": leap}) == []


def test_rows_that_step_back_without_counters(db: Database) -> None:
    """Said once a step, and no more than a few of many; the count says how many there are."""
    stamps = steady(100)
    rows = [("P-1", stamp, 900.0) for stamp in stamps[:60] + stamps[40:]]
    (note,) = notes(db, rows, {}, UTC_FIVE)
    assert (note["kind"], note["clock_min"], note["steps"], note["set_min"]) == ("rows step back", -95, 1, None)
    assert "95 min" in sentence(note)
    shuffled = random.Random(1).sample(stamps, 100)
    many = notes(db, [("P-1", stamp, 900.0) for stamp in shuffled], {}, UTC_FIVE)
    assert len(many) == MOST_NOTES < many[0]["steps"]


def test_a_change_of_clocks_is_no_jump(db: Database) -> None:
    """Both passes of the hour that Los Angeles repeats, with counters: in order once placed."""
    own = clock_dialect("site", interval_s=900, columns=("speed", "run_total"))
    hour = [datetime(2026, 11, 1, 0) + k * QUARTER for k in range(8)]
    stamps = [*hour, *hour[4:], *(datetime(2026, 11, 1, 2) + k * QUARTER for k in range(8))]
    rows = [("P-1", stamp, 1500.0) for stamp in stamps]
    more = {"run_total_h": [k / 4 for k in range(len(rows))]}
    assert notes(db, rows, more, own, "America/Los_Angeles") == []
    assert states(db.table("placed_row")) == {"once": 12, "twice": 8}


def test_what_is_said_of_rows_beside_a_change(db: Database) -> None:
    """A change made an hour late, and a pump whose hour is there once: each with the number of its rows."""
    zone, change = "America/Los_Angeles", datetime(2026, 11, 1, 9)
    late, _ = logger("P-1", late_clock(zone, change, timedelta(hours=1)), change - timedelta(hours=2), 20, QUARTER)
    once = [("P-2", datetime(2026, 11, 1) + k * QUARTER, 700.0) for k in range(12)]
    found = placed(db, late + once, {"P-1": zone, "P-2": zone})
    db.view_text("judged_row", "select *, 'readings' as fate from placed_row")
    said = {problem.name: problem.sentence for problem in clock_problems(clock_counts(db), "a.csv")}
    assert states(found) == {"late change": 4, "once": 20, "twice": 4, "twice, first taken": 4}
    assert said.keys() == {"repeated_hour", "clock_set_late"}
    assert said["clock_set_late"].startswith("4 rows run on by the old clock")


NOW = datetime(2026, 6, 1, 12)


@pytest.mark.parametrize(
    ("ahead", "said"),
    [
        (-timedelta(days=2), None),
        (timedelta(minutes=5), None),
        (timedelta(minutes=30), "30 min after now"),
        (timedelta(hours=8), "8.0 h after now"),
        (timedelta(days=153), "153 days after now"),
    ],
)
def test_stamps_in_the_future(ahead, said) -> None:
    """UTC taken for Pacific time is eight hours ahead; day and month in the wrong order may be months."""
    note = future_note(NOW + ahead, NOW)
    assert (note is None) if said is None else (said in (note or "") and "zone" in (note or ""))
