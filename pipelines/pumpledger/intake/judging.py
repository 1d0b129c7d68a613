"""The rows of an export placed in time and judged: all at once, or of a large file some pumps at a time.

Belongs here: how many rows are held at once, and putting together what is told of each part. Nothing that a row is
judged by looks at another pump's rows, so a part is some pumps with all their rows; pumps whose logs change places stay
together. One pump's rows are never parted: they bound what is held.
"""

from __future__ import annotations

import shutil
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import polars as pl

from pumpledger.engine.database import Database
from pumpledger.intake.clock_notes import clock_counts, clock_notes
from pumpledger.intake.dialect import Dialect
from pumpledger.intake.known_pumps import KnownPumps
from pumpledger.intake.place import place

MOST_ROWS = 5_000_000
"""Rows that are sorted at once: with all they carry well beyond what DuckDB may hold, but few enough to be spilled."""
_FLUSH_ROWS = 50_000  # of each part that is held while a file is parted; DuckDB's own number is ten times that


@dataclass(slots=True)
class Judged:
    """What is told of an export besides its rows, which are in ``judged_row``.

    ``tally`` as `intake/tally` gives it, ``clock_counts`` readings by state of the clock, ``notes`` as `clock_notes` (``None``: not
    looked for).
    """

    tally: pl.DataFrame
    clock_counts: dict[str, int]
    notes: pl.DataFrame | None
    sites_seen: list[str] = field(default_factory=list)


def judge(
    db: Database, dialect: Dialect, pumps: KnownPumps, rules: dict[str, object], folder: Path, rows: int
) -> Judged:
    """Make ``judged_row`` from the ``rows`` rows of ``typed_row``. Needs ``known_word``; ``rules`` are the parameters of
    ``intake/rule``. Files that it keeps in ``folder`` are named ``typed-*`` and ``judged-*``."""
    db.load("pump_zone", pumps.zone)
    sites_seen: list[str] = []
    if dialect.pump_codes == "site":
        db.load("site_pump", pumps.of_site)
        sites_seen = db.query("intake/sites_seen")["site_id"].to_list()
        _through(db, "typed_row", "intake/pump_of_site", folder)
    if pumps.change is not None:
        db.load("pump_change", pumps.change)
    if rows <= MOST_ROWS:
        _place(db, dialect, pumps, folder)
        db.build("judged_row", "intake/judge", rules, {"ruled_row": "intake/rule"})
        return Judged(db.query("intake/tally"), clock_counts(db), clock_notes(db, dialect), sites_seen)
    told, judged = [], []
    for number, part in enumerate(_parts(db, "typed_row", folder, rows, _together(pumps))):
        db.view_parquet("typed_row", part)
        _place(db, dialect, pumps, folder)
        judged.append(folder / f"judged-{number:05}.parquet")
        db.write_parquet("intake/judge", judged[-1], rules, {"ruled_row": "intake/rule"})
        db.drop("placed_row")
        db.view_parquet("judged_row", [judged[-1]])
        told.append(Judged(db.query("intake/tally"), clock_counts(db), clock_notes(db, dialect)))
    db.view_parquet("judged_row", judged)
    return _all(told, sites_seen)


def notes_of_clean(db: Database, dialect: Dialect, folder: Path, rows: int) -> pl.DataFrame:
    """`clock_notes` of the ``rows`` clean readings in ``clean_row``, some pumps at a time where they are many."""
    if rows <= MOST_ROWS:
        return clock_notes(db, dialect)
    notes = []
    for part in _parts(db, "judged_row", folder, rows, []):
        db.view_parquet("judged_row", part)
        notes.append(clock_notes(db, dialect))
    db.view("judged_row", "intake/judged_clean")
    return pl.concat(notes)


def _place(db: Database, dialect: Dialect, pumps: KnownPumps, folder: Path) -> None:
    place(db, dialect)
    if pumps.change is not None:
        _through(db, "placed_row", "intake/changed_row", folder)


def _through(db: Database, table: str, query: str, folder: Path) -> None:
    """Put the rows that ``query`` makes of ``table`` in its place."""
    path = folder / f"typed-{table}.parquet"
    db.write_parquet(query, path)
    db.view_parquet(table, [path])


def _together(pumps: KnownPumps) -> list[str]:
    """Pumps whose logs change places: rows of one may be compared with rows of another."""
    if pumps.change is None:
        return []
    moved = pumps.change.filter(pl.col("becomes_pump_id").is_not_null())
    return sorted({*moved["pump_id"], *moved["becomes_pump_id"]})


def _parts(db: Database, table: str, folder: Path, rows: int, together: list[str]) -> Iterator[list[Path]]:
    """Files that hold the rows of ``table`` by pump, one part after another, each gone when the next is asked for."""
    room = folder / "parts"
    db.write_parts(table, "pump_id", -(-rows // MOST_ROWS), room, together, _FLUSH_ROWS)
    for part in sorted(room.iterdir()):
        files = sorted(part.glob("*.parquet"))
        yield files
        for path in files:
            path.unlink()
    shutil.rmtree(room)


def _all(told: list[Judged], sites_seen: list[str]) -> Judged:
    counts: Counter[str] = Counter()
    for part in told:
        counts.update(part.clock_counts)
    tally, notes = (pl.concat([getattr(part, name) for part in told]) for name in ("tally", "notes"))
    return Judged(tally, dict(counts), notes, sites_seen)
