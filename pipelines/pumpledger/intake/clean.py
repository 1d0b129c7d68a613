"""The short way for an export that is clean from end to end: one pass from CSV to Parquet, nothing in between.

Belongs here: when the short way may be kept. It is kept only if every line that holds data gave one row, no row breaks
a rule and no pump has an instant twice; in all other cases the long way reads the file again and says what is wrong
with which line. `tests/intake/test_clean_way.py` holds the two together.
"""

from __future__ import annotations

import csv
from datetime import UTC, datetime, timedelta
from pathlib import Path

import duckdb
import polars as pl
import pyarrow.parquet as pq

from pumpledger.engine.database import Database
from pumpledger.intake.clock import utc_eras
from pumpledger.intake.dialects import Dialect
from pumpledger.intake.files import ExportFile
from pumpledger.intake.parse import data_lines, open_fast
from pumpledger.intake.place import names_its_instant, shift_of
from pumpledger.intake.rows import records

_LONGEST = timedelta(days=400)
"""A file that reaches further crosses a clock change in most zones, or has lost its clock."""


def read_clean(
    db: Database,
    export: ExportFile,
    dialect: Dialect,
    columns: list[str],
    zones: dict[str, str],
    rules: dict[str, object],
    path: Path,
) -> bool:
    """Write the readings of ``export`` to ``path``; make ``judged_row``, a view of them, and ``tally``.

    Needs ``known_word`` in ``db``; ``zones`` maps the register's pumps to their zones, ``rules`` are the parameters of
    ``intake/rule``.

    Returns:
        Whether it could be done.
    """
    expected = data_lines(export, dialect)
    place = _constant(export, dialect, columns, zones) if expected and names_its_instant(dialect) else None
    if place is None:
        return False
    try:
        typed = open_fast(db, export, dialect, columns)
        placed = {name: place[name] for name in ("offset_s", "shift_s")}
        db.write_parquet("intake/clean_reading", path, typed | rules | placed)
    except duckdb.InvalidInputException:  # a row breaks a rule, or the reader gives the file up
        path.unlink(missing_ok=True)
        return False
    if pq.read_metadata(path).num_rows == expected:
        db.view_parquet("clean_row", [path])
        db.build("tally", "intake/tally", over={"judged_row": "intake/judged_clean"})
        if _holds(db.table("tally"), place, zones):
            db.view("judged_row", "intake/judged_clean")
            return True
    path.unlink()
    return False


def _holds(tally: pl.DataFrame, place: dict[str, object], zones: dict[str, str]) -> bool:
    """No instant twice, every pump in the zone that was taken for all, every instant in the stretch of its one
    offset."""
    return (
        (tally["rows"] == tally["instants"]).all()
        and all(zones.get(pump) == place["zone"] for pump in tally["pump_id"])
        and tally["first_utc"].min() >= place["from_utc"]
        and tally["last_utc"].max() < place["to_utc"]
    )


def _constant(
    export: ExportFile, dialect: Dialect, columns: list[str], zones: dict[str, str]
) -> dict[str, object] | None:
    """The zone of the first row's pump and the stretch of one offset that the first and the last row lie in."""
    rows = _edge_rows(export, dialect)
    try:
        start, end = sorted(_instant(row[columns.index(dialect.time_column)], dialect) for row in rows)
        pump = rows[0][columns.index(dialect.pump_column)] if dialect.pump_column else export.pump
    except (ValueError, IndexError, OverflowError):
        return None
    zone = zones.get(str(pump).strip())
    if zone is None or end - start > _LONGEST:
        return None
    shift_s = shift_of(dialect)
    days = [start.date() + timedelta(days=step) for step in range((end - start).days + 2)]
    eras = utc_eras([zone], days).filter((pl.col("from_utc") <= start) & (pl.col("to_utc") > end)).rows(named=True)
    return {**eras[0], "shift_s": shift_s} if eras and eras[0]["offset_s"] is not None else None


def _edge_rows(export: ExportFile, dialect: Dialect) -> tuple[list[str], list[str]]:
    """Cells of the first and of the last data row, as far as they can be split."""
    first = next((record.cells for record in records(export.path, dialect) if record.kind == "data"), [])
    tail = [line for line in export.tail.decode("utf-8", "replace").splitlines() if line.strip()]
    last = [line for line in tail if not (dialect.footer and line.startswith(dialect.footer))][-1:]
    return first, next(csv.reader(last, delimiter=dialect.delimiter), [])


def _instant(text: str, dialect: Dialect) -> datetime:
    if dialect.time_format == "epoch_s":
        return datetime.fromtimestamp(int(text), UTC).replace(tzinfo=None)
    stamp = datetime.strptime(text.strip(), dialect.time_format)
    return stamp.astimezone(UTC).replace(tzinfo=None) if stamp.tzinfo else stamp
