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
from pumpledger.intake import judging
from pumpledger.intake.clock import utc_eras
from pumpledger.intake.dialect import Dialect
from pumpledger.intake.files import ExportFile, csv_form, ends_in_footer
from pumpledger.intake.known_pumps import KnownPumps
from pumpledger.intake.place import names_its_instant, shift_of
from pumpledger.intake.read_csv import open_typed
from pumpledger.intake.rows import records

_LONGEST = timedelta(days=400)
"""A file that reaches further crosses a clock change in most zones, or has lost its clock."""


def clean_rows(export: ExportFile, dialect: Dialect) -> int:
    """Lines that hold data, where every line can be one row."""
    return export.lines - dialect.header_lines - ends_in_footer(export.tail, dialect)


def _may_be_clean(export: ExportFile, dialect: Dialect, pumps: KnownPumps) -> bool:
    """Whether one pass of DuckDB's reader over the file as it lies there can be all that is needed."""
    return (
        dialect.carrier == "text"
        and not export.member.packed
        and dialect.encoding == "utf-8"
        and not export.lone_returns
        and len(dialect.time_columns) == 1
        and not dialect.wide
        and dialect.thousands is None
        and dialect.pump_codes == "pump"
        and pumps.change is None
        and names_its_instant(dialect)
        and clean_rows(export, dialect) > 0
    )


def read_clean(
    db: Database,
    export: ExportFile,
    dialect: Dialect,
    columns: list[str],
    pumps: KnownPumps,
    rules: dict[str, object],
    path: Path,
) -> pl.DataFrame | None:
    """Write the readings of ``export`` to ``path`` and make ``judged_row``, a view of them.

    Needs ``known_word`` in ``db``; ``rules`` are the parameters of ``intake/rule``.

    Returns:
        The columns of ``intake/tally`` of these readings; ``None`` where it could not be done.
    """
    if not _may_be_clean(export, dialect, pumps):
        return None
    zones = pumps.zones()
    place = _constant(export, dialect, columns, zones)
    if place is None:
        return None
    try:
        typed = open_typed(db, export.path, dialect.header_lines, export, dialect, columns)
        typed["first_line"] = dialect.header_lines + 1
        placed = {name: place[name] for name in ("offset_s", "shift_s")}
        db.write_parquet("intake/clean_reading", path, typed | rules | placed)
    except duckdb.InvalidInputException:  # a row breaks a rule, or the reader gives the file up
        path.unlink(missing_ok=True)
        return None
    if pq.read_metadata(path).num_rows == clean_rows(export, dialect):
        db.view_parquet("clean_row", [path])
        tally = db.query("intake/clean_tally")
        if _one_place(tally, place, zones) and _in_order(tally) and _no_instant_twice(db, tally):
            db.view("judged_row", "intake/judged_clean")
            return tally
    path.unlink()
    return None


def _one_place(tally: pl.DataFrame, place: dict[str, object], zones: dict[str, str]) -> bool:
    """Every pump in the zone that was taken for all, every instant in the stretch of its one offset."""
    return (
        all(zones.get(pump) == place["zone"] for pump in tally["pump_id"])
        and tally["first_utc"].min() >= place["from_utc"]
        and tally["last_utc"].max() < place["to_utc"]
    )


def _in_order(tally: pl.DataFrame) -> bool:
    """Whether no pump's stamps step back: those that do may be of a logger that lost its clock for a while."""
    return tally["back"].sum() == 0 or (tally["back_within"].sum() == 0 and _pumps_stand_together(tally))


def _no_instant_twice(db: Database, tally: pl.DataFrame) -> bool:
    """Rows that rise by time and code, or by time within pumps that stand together, need not be compared."""
    if tally["unsorted"].sum() == 0 or (tally["repeats_within"].sum() == 0 and _pumps_stand_together(tally)):
        return True
    # Too many to be counted at once: the long way compares them some pumps at a time.
    return tally["rows"].sum() <= judging.MOST_ROWS and db.query("intake/repeated_instant").item() == 0


def _pumps_stand_together(tally: pl.DataFrame) -> bool:
    return tally["turns"].sum() < tally["pump_id"].n_unique()


def _constant(
    export: ExportFile, dialect: Dialect, columns: list[str], zones: dict[str, str]
) -> dict[str, object] | None:
    """The zone of the first row's pump and the stretch of one offset that the first and the last row lie in."""
    rows = _edge_rows(export, dialect)
    try:
        start, end = sorted(_instant(row[columns.index(dialect.time_columns[0])], dialect) for row in rows)
        pump = rows[0][columns.index(dialect.pump_column)] if dialect.pump_column else export.pump
    except (ValueError, IndexError, OverflowError, OSError):  # OSError: beyond the system's calendar
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
    first = next((record.cells for record in records(export, dialect) if record.kind == "data"), [])
    tail = [line for line in export.tail.decode("utf-8", "replace").splitlines() if line.strip()]
    last = [line for line in tail if not (dialect.footer and line.startswith(dialect.footer))][-1:]
    return first, next(csv.reader(last, **csv_form(dialect)), [])


def _instant(text: str, dialect: Dialect) -> datetime:
    if dialect.epoch:
        counts_a_second = 1 if dialect.time_format == "epoch_s" else 1000
        return datetime.fromtimestamp(int(text) / counts_a_second, UTC).replace(tzinfo=None)
    stamp = datetime.strptime(text.strip(), dialect.time_format)
    return stamp.astimezone(UTC).replace(tzinfo=None) if stamp.tzinfo else stamp
