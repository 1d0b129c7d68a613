"""Loggers that make a change of clocks late, early or never, and files whose order tells less than it seems.

Source of the instants: `zoneinfo`; of the lateness: set here. Los Angeles skips 02:00 to 03:00 on 8 March 2026 and
repeats 01:00 to 02:00 on 1 November 2026 (facts 7a: days of 23 and 25 hours).
"""

from __future__ import annotations

import random
from datetime import datetime, timedelta

import polars as pl
import pytest
from clock_rows import (
    CHANGING,
    at,
    change_by,
    changes_of,
    clock_dialect,
    late_clock,
    logger,
    placed,
    states,
    wall_at,
    wrong,
)
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pumpledger.engine.database import Database

ZONES = ("America/Los_Angeles", "Australia/Lord_Howe", "Europe/Berlin", "America/St_Johns", "Pacific/Chatham")
WEST = "America/Los_Angeles"
SPRING, AUTUMN = changes_of(WEST, 2026)
HOUR, DAY = timedelta(hours=1), timedelta(days=1)
QUARTER = timedelta(minutes=15)
LATENESS = {"1 h": HOUR, "1 day": DAY, "1 week": 7 * DAY, "2 h 37 min": timedelta(hours=2, minutes=37)}
UNHURRIED = settings(deadline=None, derandomize=True, max_examples=24, suppress_health_check=list(HealthCheck))
CERTAIN = ("once", "twice", "late change", "early change")


def changes_both_ways(zone: str) -> list[datetime]:
    return sorted(changes_of(zone, 2026), key=lambda change: change_by(zone, change))


def stamps(db: Database, texts: list[str], zone: str = WEST, speeds: list[float] | None = None, **how) -> pl.DataFrame:
    rows = [("P-1", at(text), speeds[k] if speeds else 600.0 + k) for k, text in enumerate(texts)]
    return placed(db, rows, {"P-1": zone}, clock_dialect(**how))


@pytest.mark.parametrize("falling", [False, True])
@pytest.mark.parametrize("interval_s", [60, 300, 900])
@pytest.mark.parametrize("late", LATENESS)
@pytest.mark.parametrize("zone", ZONES)
def test_a_late_change_is_found_both_ways(db: Database, zone, late, interval_s, falling) -> None:
    """Two days before to two days after the logger's own step; spring and autumn are two pumps in one file."""
    rows, instants, zones = [], [], {}
    for number, change in enumerate(changes_both_ways(zone)):
        clock = late_clock(zone, change, LATENESS[late])
        length = LATENESS[late] + 2 * DAY
        pump_rows, written = logger(
            f"P-{number}",
            clock,
            change - DAY,
            round(length.total_seconds() / interval_s),
            timedelta(seconds=interval_s),
        )
        rows += pump_rows[::-1] if falling else pump_rows
        instants += written[::-1] if falling else written
        zones[f"P-{number}"] = zone
    found = placed(db, rows, zones, clock_dialect(interval_s=interval_s))
    assert wrong(found, instants).is_empty()
    assert set(states(found)) == {"once", "twice", "late change"}
    for number, change in enumerate(changes_both_ways(zone)):
        late_rows = found.filter((pl.col("pump_id") == f"P-{number}") & (pl.col("clock_state") == "late change"))
        step = abs(change_by(zone, change))
        truth = LATENESS[late] // timedelta(seconds=interval_s)
        assert abs(late_rows.height - truth) <= step // timedelta(seconds=interval_s) + 1
    noted = db.table("clock_set").sort("pump_id")
    assert noted["kind"].to_list() == ["late change"] * 2
    assert noted["set_min"].to_list() == [
        change_by(zone, change) / timedelta(minutes=1) for change in changes_both_ways(zone)
    ]


@pytest.mark.parametrize("zone", ZONES)
def test_a_clock_that_is_never_set_forward(db: Database, zone) -> None:
    """The rows run through the skipped times and on to the end of the file: all on the old offset."""
    spring = changes_both_ways(zone)[-1]
    rows, instants = logger("P-1", late_clock(zone, spring, 300 * DAY), spring - DAY, 96 * 6, QUARTER)
    found = placed(db, rows, {"P-1": zone})
    assert wrong(found, instants).is_empty()
    assert states(found) == {"once": 96, "late change": 96 * 5}
    assert db.table("clock_set").is_empty()


def test_a_clock_on_standard_time_all_year(db: Database) -> None:
    """Never set forward, it needs no setting back: the hour that it shows once is the second pass."""
    rows, instants = logger(
        "P-1", lambda instant: instant - 8 * HOUR, SPRING - DAY, 24 * 2 * 250, timedelta(minutes=30)
    )
    found = placed(db, rows, {"P-1": WEST}, clock_dialect(interval_s=1800))
    assert wrong(found, instants).is_empty()
    assert (
        found.filter(pl.col("clock_state") == "twice")["stamp" if "stamp" in found.columns else "time_utc"].len() == 2
    )
    assert set(states(found)) == {"once", "twice", "late change"}


def test_a_clock_that_is_never_set_back_cannot_be_told(db: Database) -> None:
    """The hour is there once, as it would be if a pass had been lost: the rows of the hour are marked, none is moved."""
    rows, _ = logger("P-1", late_clock(WEST, AUTUMN, 300 * DAY), AUTUMN - DAY, 96 * 3, QUARTER)
    found = placed(db, rows, {"P-1": WEST})
    assert states(found) == {"once": 96 * 3 - 4, "twice, first taken": 4}


def test_a_file_that_begins_after_the_change(db: Database) -> None:
    """Monday's file of a logger that steps back on Monday noon: what lies before stands on the old offset."""
    rows, instants = logger("P-1", late_clock(WEST, AUTUMN, 29 * HOUR), AUTUMN + 15 * HOUR, 96, QUARTER)
    found = placed(db, rows, {"P-1": WEST})
    assert wrong(found, instants).is_empty()
    assert states(found) == {"late change": 14 * 4, "once": 96 - 14 * 4}


def test_a_clock_that_is_set_back_a_week_early(db: Database) -> None:
    """By rules of before 2007, say: the hour is there once, after a step back a week before."""
    rows, instants = logger("P-1", late_clock(WEST, AUTUMN, -7 * DAY), AUTUMN - 8 * DAY, 96 * 9, QUARTER)
    found = placed(db, rows, {"P-1": WEST})
    assert wrong(found, instants).is_empty()
    assert states(found) == {"early change": 7 * 96, "once": 2 * 96 - 4, "twice": 4}
    assert db.table("clock_set")["kind"].to_list() == ["early change"]


def test_an_early_step_forward_is_not_told_from_a_gap(db: Database) -> None:
    """An hour's jump days before, and rows at skipped times: early, or a gap and late. They stay in quarantine."""
    rows, _ = logger("P-1", late_clock(WEST, SPRING, -2 * DAY), SPRING - 3 * DAY, 96 * 4, QUARTER)
    found = placed(db, rows, {"P-1": WEST})
    assert states(found)["never"] == 4
    assert found.filter(pl.col("clock_state") == "never")["time_utc"].null_count() == 4


def test_the_end_of_an_interval_at_the_change(db: Database) -> None:
    """A logger that writes the old hour's end before it sets its clock: 02:00 belongs to the old offset, then 01:15."""
    texts = ["01:30", "01:45", "02:00", "01:15", "01:30", "01:45", "02:00", "02:15"]
    found = stamps(db, texts, label="interval_ending")
    assert found["time_utc"].to_list() == [datetime(2026, 11, 1, 8, 15) + k * QUARTER for k in range(8)]
    assert states(found) == {"once": 2, "twice": 6}


@pytest.mark.parametrize("interval_s", [60, 300, 900])
def test_jitter_is_no_change_of_clocks(db: Database, interval_s) -> None:
    """Stamps a few seconds off, and now and then a second back at the same place in the order."""
    chance, interval = random.Random(7), timedelta(seconds=interval_s)
    rows, instants = logger("P-1", lambda i: wall_at(i, WEST), AUTUMN - 6 * HOUR, 12 * 3600 // interval_s, interval)
    shaken = [timedelta(seconds=chance.randint(-interval_s // 12, interval_s // 12)) for _ in rows]
    rows = [(p, wall + s, n) for (p, wall, n), s in zip(rows, shaken, strict=True)]
    found = placed(db, rows, {"P-1": WEST}, clock_dialect(interval_s=interval_s))
    assert wrong(found, [i + s for i, s in zip(instants, shaken, strict=True)]).is_empty()
    assert states(found).get("twice, first taken", 0) == 0


def test_two_rows_swapped_in_the_repeated_hour_are_no_pass(db: Database) -> None:
    """One pass is there, and two of its rows in the wrong order: nothing is told."""
    found = stamps(db, ["00:45", "01:00", "01:30", "01:15", "01:45", "02:00"])
    assert states(found) == {"once": 2, "twice, first taken": 4}
    assert found["time_utc"][3] == datetime(2026, 11, 1, 8, 15)


def test_two_rows_swapped_beside_the_step_between_the_passes(db: Database) -> None:
    passes = ["01:00", "01:15", "01:30", "01:45"]
    found = stamps(db, ["00:45", "01:15", "01:00", *passes[2:], *passes, "02:00"])
    assert states(found) == {"once": 2, "twice": 8}
    assert found["time_utc"].sort().to_list() == [datetime(2026, 11, 1, 7, 45) + k * QUARTER for k in range(10)]


def test_rows_sent_again_after_a_change_are_no_late_change(db: Database) -> None:
    """An hour of Monday stands there twice with the same values: rows sent again, or a clock set back while nothing
    changed. The rows before are marked; none is moved."""
    rows, instants = logger("P-1", lambda i: wall_at(i, WEST), AUTUMN + 20 * HOUR, 60, QUARTER)
    again = rows[:31] + rows[27:]
    found = placed(db, again, {"P-1": WEST})
    assert wrong(found, instants[:31] + instants[27:]).is_empty()
    assert states(found) == {"late change, not sure": 31, "once": 33}


def test_a_file_sent_twice_in_one(db: Database) -> None:
    """The whole day twice, one after the other: each copy is told for itself."""
    rows, instants = logger("P-1", lambda i: wall_at(i, WEST), AUTUMN - 12 * HOUR, 96, QUARTER)
    found = placed(db, rows * 2, {"P-1": WEST})
    assert wrong(found, instants * 2).is_empty()
    assert states(found) == {"once": 176, "twice": 16}


def test_one_pass_sent_twice_in_a_longer_file(db: Database) -> None:
    """The step back from evening to midnight is none between passes."""
    day = [f"2026-11-01 {k // 4:02}:{k % 4 * 15:02}" for k in range(96)]
    found = stamps(db, day * 2)
    assert states(found) == {"once": 184, "twice, first taken": 8}


@pytest.mark.parametrize("gap", [range(90, 110), range(98, 101), range(96, 97)])
def test_a_gap_over_the_spring_change(db: Database, gap) -> None:
    """Rows lost around the change: the clock is taken to follow its zone, as nothing says otherwise."""
    rows, instants = logger("P-1", lambda i: wall_at(i, WEST), SPRING - DAY, 200, QUARTER)
    kept = [k for k in range(200) if k not in gap]
    found = placed(db, [rows[k] for k in kept], {"P-1": WEST})
    assert wrong(found, [instants[k] for k in kept]).is_empty()
    assert states(found) == {"once": len(kept)}


def test_a_gap_after_a_late_change_leaves_it_open(db: Database) -> None:
    """The clock may have been set while no rows were written: sure before the gap, marked after it."""
    rows, instants = logger("P-1", late_clock(WEST, SPRING, 300 * DAY), SPRING - DAY, 96 * 3, QUARTER)
    kept = [k for k in range(len(rows)) if not 150 <= k < 165]
    found = placed(db, [rows[k] for k in kept], {"P-1": WEST})
    assert states(found) == {"once": 96, "late change": 54, "late change, not sure": 96 * 3 - 165}
    assert set(wrong(found, [instants[k] for k in kept])["clock_state"]) == {"late change, not sure"}


def test_two_jumps_of_an_hour_after_skipped_times(db: Database) -> None:
    """One is the clock, one is a gap, and nothing tells which: what lies between is marked."""
    rows, instants = logger("P-1", late_clock(WEST, SPRING, 10 * HOUR), SPRING - DAY, 96 * 2, QUARTER)
    kept = [k for k in range(len(rows)) if not 160 <= k < 164]
    found = placed(db, [rows[k] for k in kept], {"P-1": WEST})
    assert states(found) == {"once": 96 + 28, "late change": 40, "late change, not sure": 24}
    assert wrong(found, [instants[k] for k in kept]).is_empty()


def test_one_row_at_a_skipped_time_is_no_proof(db: Database) -> None:
    """A stray stamp: the rows around it follow the zone."""
    march = ["01:30", "01:45", "02:20", "03:00", "03:15"]
    found = stamps(db, [f"2026-03-08 {text}" for text in march])
    assert found["clock_state"].to_list() == ["once", "once", "never", "once", "once"]
    hourly = [f"2026-03-08 {hour:02}:00" for hour in range(6)]
    assert states(stamps(db, hourly, interval_s=3600)) == {"once": 2, "late change": 4}


def test_rows_without_values_are_no_evidence(db: Database) -> None:
    """A table laid over a grid of times holds empty rows at the skipped hour: no logger saw them."""
    texts = [f"2026-03-08 {k // 4:02}:{k % 4 * 15:02}" for k in range(24)]
    rows = [("P-1", at(text), None if 8 <= k < 12 else 900.0 + k) for k, text in enumerate(texts)]
    found = placed(db, rows, {"P-1": WEST})
    assert states(found) == {"once": 20, "never": 4}


def test_changes_of_state_at_skipped_times(db: Database) -> None:
    """Sure until the first hour without a row, in which the clock may have been set."""
    texts = ["01:20", "02:10", "02:40", "03:05", "03:50", "06:00", "06:30"]
    found = stamps(db, [f"2026-03-08 {text}" for text in texts], label="change_of_state")
    assert found["clock_state"].to_list() == ["once", *["late change"] * 4, *["late change, not sure"] * 2]
    assert found["time_utc"].to_list() == [at(f"2026-03-08 {text}") + 8 * HOUR for text in texts[:5]] + [
        at(f"2026-03-08 {text}") + 7 * HOUR for text in texts[5:]
    ]


def test_changes_of_state_out_of_order_elsewhere(db: Database) -> None:
    """A log that is out of order in other hours too does not tell passes by a step back."""
    texts = ["00:10", "00:50", "00:30", "01:40", "01:10", "01:50", "03:00"]
    assert states(stamps(db, texts, label="change_of_state")) == {"once": 4, "twice, first taken": 3}
    assert states(stamps(db, texts[3:], label="change_of_state")) == {"once": 1, "twice": 3}


def test_a_shuffled_file_tells_nothing_and_moves_nothing(db: Database) -> None:
    chance = random.Random(3)
    rows, instants = logger("P-1", lambda i: wall_at(i, WEST), AUTUMN - DAY, 192, QUARTER)
    order = chance.sample(range(192), 192)
    found = placed(db, [rows[k] for k in order], {"P-1": WEST})
    assert set(states(found)) <= {"once", "twice, first taken"}
    assert set(wrong(found, [instants[k] for k in order])["clock_state"]) == {"twice, first taken"}


def test_pumps_are_told_each_for_itself(db: Database) -> None:
    """On time, late, early, and one in falling order, row by row in turn in one file."""
    clocks = {"on": timedelta(), "late": 5 * HOUR, "early": -30 * HOUR, "falls": timedelta()}
    files = {
        name: logger(
            name, late_clock(WEST, AUTUMN, late) if late else lambda i: wall_at(i, WEST), AUTUMN - 2 * DAY, 384, QUARTER
        )
        for name, late in clocks.items()
    }
    files["falls"] = (files["falls"][0][::-1], files["falls"][1][::-1])
    rows = [files[name][0][k] for k in range(384) for name in clocks]
    instants = [files[name][1][k] for k in range(384) for name in clocks]
    found = placed(db, rows, dict.fromkeys(clocks, WEST))
    assert wrong(found, instants).is_empty()
    told = {name: states(found.filter(pl.col("pump_id") == name)) for name in clocks}
    assert told["on"] == told["falls"] == {"once": 376, "twice": 8}
    assert told["late"].keys() == {"once", "twice", "late change"}
    assert told["early"].keys() == {"once", "twice", "early change"}


@UNHURRIED
@given(
    st.sampled_from(CHANGING),
    st.sampled_from((2019, 2026)),
    st.sampled_from((60, 300, 900, 1800)),
    st.integers(0, 10**6),
)
def test_a_clock_that_keeps_its_zone_is_never_moved(db: Database, zone, year, interval_s, seed) -> None:
    """Rows lost at random, neighbours swapped, rows doubled: what is placed wrong is marked.

    Not with an interval as long as what is repeated: nothing in the rows could show that two of one stamp were swapped.
    """
    interval, chance = timedelta(seconds=interval_s), random.Random(seed)
    for change in changes_of(zone, year)[:2]:
        if change_by(zone, change) == -interval:
            continue
        rows, instants = logger("P-1", lambda i: wall_at(i, zone), change - 120 * interval, 240, interval)
        kept = [k for k in range(240) if chance.random() > 0.05]
        for place in chance.sample(range(len(kept) - 1), 4):
            if chance.random() < 0.5:
                kept[place], kept[place + 1] = kept[place + 1], kept[place]
            else:
                kept.insert(place, kept[place])
        found = placed(db, [rows[k] for k in kept], {"P-1": zone}, clock_dialect(interval_s=interval_s))
        assert set(wrong(found, [instants[k] for k in kept])["clock_state"]) <= {
            "twice, first taken",
            "late change, not sure",
        }
        assert not set(states(found)) & {"late change", "early change"}


@UNHURRIED
@given(
    st.sampled_from(ZONES),
    st.booleans(),
    st.sampled_from((60, 300, 900)),
    st.integers(-3 * 96, 8 * 96),
    st.integers(0, 10**6),
)
def test_what_is_said_to_be_sure_is_right(db: Database, zone, forward, interval_s, quarters, seed) -> None:
    """Clocks late or early by any number of quarters, rows lost at random: no sure word is false.

    Sure are rows told apart and rows on the old or the new offset; rows `once` are as the zone has them.
    """
    interval, chance = timedelta(seconds=interval_s), random.Random(seed)
    change = changes_both_ways(zone)[-1 if forward else 0]
    start = change + min(timedelta(), quarters * QUARTER) - 6 * HOUR
    length = abs(quarters) * QUARTER + 12 * HOUR
    clock = late_clock(zone, change, quarters * QUARTER) if quarters else lambda i: wall_at(i, zone)
    rows, instants = logger("P-1", clock, start, length // interval, interval)
    kept = [k for k in range(len(rows)) if chance.random() > 0.03]
    found = placed(db, [rows[k] for k in kept], {"P-1": zone}, clock_dialect(interval_s=interval_s))
    assert not set(wrong(found, [instants[k] for k in kept])["clock_state"]) & {"twice", "late change", "early change"}


@UNHURRIED
@given(
    st.sampled_from(("Africa/Casablanca", "Australia/Lord_Howe", "America/Los_Angeles")),
    st.sampled_from((300, 900, 1800, 3600, None)),
    st.integers(0, 10**6),
)
def test_any_rows_are_placed_once(db: Database, zone, interval_s, seed) -> None:
    """Stamps that run, jump, repeat and step back at random over two changes: none is lost, doubled or makes trouble."""
    chance, changes = random.Random(seed), changes_of(zone, 2026)
    unit = timedelta(seconds=interval_s or 700)
    stamp, rows = wall_at(changes[0], zone) - 30 * unit, []
    for number in range(300):
        rows.append((chance.choice(["P-1", "P-1", "P-2"]), stamp, 600.0 + number if chance.random() < 0.9 else None))
        stamp += chance.choice([unit] * 40 + [unit + HOUR, unit - HOUR, -unit, 5 * unit, timedelta(), 2 * HOUR])
        stamp += timedelta(seconds=chance.choice([0, 0, 0, 20, -20]))
        if chance.random() < 0.01:
            stamp = wall_at(chance.choice(changes), zone) - chance.randint(0, 9) * unit
    label = "instant" if interval_s else "change_of_state"
    found = placed(db, rows, {"P-1": zone, "P-2": zone}, clock_dialect(label=label, interval_s=interval_s))
    assert set(states(found)) <= {*CERTAIN, "never", "twice, first taken", "late change, not sure"}
    assert found.filter(pl.col("time_utc").is_null())["clock_state"].unique().to_list() in ([], ["never"])
