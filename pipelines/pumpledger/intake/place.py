"""Places the rows of an export in time: UTC, and the site's local day.

Belongs here: which of the two queries places a dialect, and what it needs. Offsets come from `clock.py`, what the order
of the rows tells from `row_order.py` and `late_clock.py`.
"""

from __future__ import annotations

from collections import Counter
from itertools import combinations

import polars as pl

from pumpledger.engine.database import Database
from pumpledger.intake.clock import Change, changes_near, utc_eras, wall_eras
from pumpledger.intake.dialect import Dialect
from pumpledger.intake.late_clock import Again, Note, Run, Stretch, resolve, steps_in_doubt, stretches
from pumpledger.intake.row_order import Rhythm, in_order, odd_rows, order_rows, take_out_strays

_MOST_STEPS = 50
"""Steps back of one pump near changes of clocks that are looked into. No clock makes more; a file that holds the same
night many times does, and each step costs as much as the rows around it."""

_WALL = pl.Datetime("us")
_RUN_SCHEMA = {
    "pump_id": pl.String,
    "from_line": pl.Int64,
    "to_line": pl.Int64,
    "from_wall": _WALL,
    "to_wall": _WALL,
    "offset_s": pl.Int64,
    "clock_state": pl.String,
}
_STRAY_SCHEMA = {"pump_id": pl.String, "from_line": pl.Int64, "to_line": pl.Int64}
_HOUR_SCHEMA = {"pump_id": pl.String, "from_wall": _WALL, "to_wall": _WALL}
_SET_SCHEMA = {
    "pump_id": pl.String,
    "kind": pl.String,
    "line_before": pl.Int64,
    "line": pl.Int64,
    "stamp_before": _WALL,
    "stamp": _WALL,
    "set_min": pl.Float64,
}
_STEP_SCHEMA = {
    "pump_id": pl.String,
    "nth": pl.Int64,
    "since_nth": pl.Int64,
    "until_nth": pl.Int64,
    "from_stamp": _WALL,
    "to_stamp": _WALL,
}


def names_its_instant(dialect: Dialect) -> bool:
    """Whether a stamp is one instant by itself: UTC, with its offset, on a fixed offset, or an epoch."""
    return dialect.zone in ("utc", "offset") or dialect.epoch or dialect.fixed_offset_s is not None


def shift_of(dialect: Dialect) -> int:
    """Seconds from the beginning that a row describes to its stamp; with a fixed offset, from the beginning in UTC."""
    interval_s = int(dialect.interval_s or 0) if dialect.label == "interval_ending" else 0
    return interval_s + (dialect.fixed_offset_s or 0)


def place(db: Database, dialect: Dialect) -> None:
    """Make ``placed_row`` from ``typed_row`` and ``pump_zone``, and ``clock_set``: steps at which a logger made a
    change of clocks late or early (pump_id, kind, line_before, line, stamp_before, stamp, set_min)."""
    days = db.query("intake/stamp_days")["day"].to_list()
    zones = db.table("pump_zone")
    rhythm = Rhythm.of(dialect)
    eras = zones.join(utc_eras(_unique(zones), days), on="zone")
    if names_its_instant(dialect):
        strays: list[tuple[str, int, int]] = []
        if not in_order(db):
            order_rows(db)
            pumps = odd_rows(db, rhythm, None, pl.DataFrame(schema=_HOUR_SCHEMA))
            strays = take_out_strays(db, pumps.values(), rhythm)
        _load(db, [], strays, [])
        db.load("pump_era", eras)
        db.build("placed_row", "intake/place_universal", {"shift_s": shift_of(dialect)})
        return
    by_wall = zones.with_columns(wall=pl.col("zone") if dialect.zone == "site" else pl.lit(dialect.zone))
    changes = {zone: changes_near(zone, days) for zone in by_wall["wall"].unique().sort()}
    of_pump = {pump: changes[wall] for pump, wall in by_wall.select("pump_id", "wall").iter_rows()}
    _load(db, *_told(db, rhythm, of_pump))
    db.load("wall_era", by_wall.join(wall_eras(list(changes), days).rename({"zone": "wall"}), on="wall"))
    db.load("pump_era", eras.drop("zone"))
    db.build("placed_row", "intake/place_wall_clock", {"shift_s": shift_of(dialect)})


def _told(
    db: Database, rhythm: Rhythm, changes: dict[str, list[Change]]
) -> tuple[list[Run], list[tuple[str, int, int]], list[Note]]:
    """What the order of the rows tells: runs, lines of strays, notes."""
    steps_s = [abs(change.step_s) for of_pump in changes.values() for change in of_pump]
    if not steps_s and in_order(db):
        return [], [], []
    hours = [
        (pump, change.from_wall, change.to_wall)
        for pump, of_pump in changes.items()
        for change in of_pump
        if change.step_s > 0
    ]
    order_rows(db)
    least_s = float(min(steps_s)) if steps_s else None
    pumps = odd_rows(db, rhythm, least_s, pl.DataFrame(hours, schema=_HOUR_SCHEMA, orient="row"))
    strays = take_out_strays(db, pumps.values(), rhythm)
    parts = [part for pump in pumps.values() if changes[pump.pump_id] for part in stretches(pump)]
    again = _again(db, rhythm, [(part, changes[part.pump.pump_id]) for part in parts])
    runs: list[Run] = []
    notes: list[Note] = []
    for part in parts:
        name = part.pump.pump_id
        found, noted = resolve(part, changes[name], rhythm, again.get(name, {}))
        runs += found
        notes += noted
    return runs, strays, notes


def _again(db: Database, rhythm: Rhythm, parts: list[tuple[Stretch, list[Change]]]) -> dict[str, dict[int, Again]]:
    """What follows each step in doubt, by pump and number of its row."""
    rows = [
        (part.pump.pump_id, step.nth, part.first_nth, part.last_nth, step.stamp, step.stamp_before)
        for part, changes in parts
        for step in steps_in_doubt(part, changes, rhythm)
    ]
    steps_of = Counter(row[0] for row in rows)
    rows = [row for row in rows if steps_of[row[0]] <= _MOST_STEPS]
    seen: dict[str, dict[int, Again]] = {}
    if rows:
        db.load("back_step", pl.DataFrame(rows, schema=_STEP_SCHEMA, orient="row"))
        for pump, nth, *counts in db.query("intake/clock_again", {"tolerance_s": rhythm.tolerance_s}).iter_rows():
            seen.setdefault(pump, {})[nth] = Again(*counts)
    return seen


def _load(db: Database, runs: list[Run], strays: list[tuple[str, int, int]], notes: list[Note]) -> None:
    _check_apart(runs)
    db.load("clock_run", pl.DataFrame(runs, schema=_RUN_SCHEMA, orient="row"))
    db.load("stray_line", pl.DataFrame(strays, schema=_STRAY_SCHEMA, orient="row"))
    rows = [
        (n.pump_id, n.kind, n.step.line_before, n.step.line, n.step.stamp_before, n.step.stamp, n.set_s / 60)
        for n in notes
    ]
    db.load("clock_set", pl.DataFrame(rows, schema=_SET_SCHEMA, orient="row"))


def _check_apart(runs: list[Run]) -> None:
    """A row in two runs would be two rows."""
    of_pump: dict[str, list[Run]] = {}
    for run in runs:
        of_pump.setdefault(run.pump_id, []).append(run)
    for pump_runs in of_pump.values():
        for one, other in combinations(pump_runs, 2):
            if max(one.from_line, other.from_line) <= min(one.to_line, other.to_line) and max(
                one.from_wall, other.from_wall
            ) < min(one.to_wall, other.to_wall):
                raise ValueError(f"two runs overlap: {one}, {other}")


def _unique(zones: pl.DataFrame) -> list[str]:
    return zones["zone"].unique().to_list()
