"""Rows of a Parquet export, typed.

Belongs here: Parquet columns brought into the same text cells as those of a text export, so that one query types and
judges both. A typed time stamp is taken as it is; one with a zone is UTC.
"""

from __future__ import annotations

import json
import math
import shutil
from collections.abc import Iterator
from pathlib import Path

import duckdb
import pyarrow as pa
import pyarrow.parquet as pq

from pumpledger.engine.database import Database, file_literal
from pumpledger.intake.dialect import Dialect
from pumpledger.intake.files import ExportFile, checked_columns
from pumpledger.intake.parse import Parsed
from pumpledger.intake.read_csv import text_cells, typed_from_text
from pumpledger.intake.rows import shown
from pumpledger.intake.unreadable import Unreadable
from pumpledger.problems import Problem


def parse_parquet(db: Database, export: ExportFile, dialect: Dialect, folder: Path) -> Parsed:
    """Make the view ``typed_row``, as `parse_text` does; ``line`` is the row, from 1.

    Raises:
        Unreadable: the file is no Parquet file, is damaged, or lacks a column.
    """
    path = _plain_file(export, folder)
    schema, rows = _opened(export, path)
    columns = checked_columns(export, dialect, schema.names, None)
    _check_zone(export, dialect, schema)
    target = folder / "typed-00000.parquet"
    try:
        cells = text_cells(_rows(path, schema, dialect), columns, export, dialect)
        db.build_text("text_row", f"{cells} order by line")
        typed_from_text(db, dialect)
        db.write_table("typed_part", target)
    except duckdb.Error as error:  # a damaged page is found only when it is read
        raise Unreadable(_damaged(export, error)) from None
    db.drop("text_row")
    db.view_parquet("typed_row", [target])
    wanted, read = rows * max(1, len(dialect.pump_codes_in(columns))), pq.read_metadata(target).num_rows
    if read != wanted:  # a damaged footer may still be read, by two readers in two ways
        raise Unreadable(_damaged(export, ValueError(f"its footer says {wanted} rows and its pages hold {read}")))
    return Parsed(wanted, 0)


def parquet_rows(export: ExportFile, wanted: set[int], folder: Path) -> Iterator[tuple[int, str]]:
    """(row, its values as JSON) of the rows ``wanted``."""
    first = 1
    for batch in pq.ParquetFile(_plain_file(export, folder)).iter_batches():
        inside = sorted(line for line in wanted if first <= line < first + batch.num_rows)
        for line in inside:
            cells = zip(batch.schema.names, batch.columns, strict=True)
            plain = {name: _plain(column[line - first]) for name, column in cells}
            yield line, shown(json.dumps(plain, default=str, ensure_ascii=False))
        first += batch.num_rows


def _plain_file(export: ExportFile, folder: Path) -> Path:
    """A file to read at random: Parquet cannot be streamed, so a packed one is unpacked once."""
    if not export.member.packed:
        return export.path
    path = folder / "unpacked.parquet"
    if not path.exists():
        folder.mkdir(parents=True, exist_ok=True)
        with export.open() as source, path.open("wb") as target:
            shutil.copyfileobj(source, target, 1 << 22)
    return path


def _opened(export: ExportFile, path: Path) -> tuple[pa.Schema, int]:
    try:
        file = pq.ParquetFile(path)
        return file.schema_arrow, file.metadata.num_rows
    except (pa.ArrowException, OSError, UnicodeDecodeError) as error:  # the last: a column whose name is no text
        raise Unreadable(_damaged(export, error)) from None


def _damaged(export: ExportFile, error: Exception) -> Problem:
    said = str(error).splitlines()[0][:200]
    return Problem("export_parquet", f"is not a whole Parquet file ({said}); export it again", file=export.name)


def _plain(cell: pa.Scalar) -> object:
    """The value of ``cell``; its name where JSON has no number for it, and the number that is stored where Python has no
    day or instant for it (Parquet knows the year 200,000)."""
    try:
        value = cell.as_py()
    except (OverflowError, ValueError):
        return str(getattr(cell, "value", "cannot be shown"))
    return str(value) if isinstance(value, float) and not math.isfinite(value) else value


def _check_zone(export: ExportFile, dialect: Dialect, schema: pa.Schema) -> None:
    """Raises Unreadable where the stamps are instants and the dialect takes them for a wall clock."""
    for column in dialect.time_columns if dialect.time_format == "timestamp" and dialect.zone != "utc" else ():
        if _is_instant(schema.field(column).type):
            fault = (
                f"holds instants in its column {column!r}, which need no zone, and dialect {dialect.name} reads them as "
                f'a wall clock ({dialect.zone}); declare time.zone = "utc"'
            )
            raise Unreadable(Problem("export_zone", fault, file=export.name))


def _rows(path: Path, schema: pa.Schema, dialect: Dialect) -> str:
    """The query that reads the file as lines of text. Columns go by position: SQL takes ``t`` and ``T`` for one."""
    cells = []
    for position, field in enumerate(schema):
        column = f"c{position}"
        typed = field.name in dialect.time_columns and dialect.time_format == "timestamp"
        cells.append(f"{_stamp(column, field.type) if typed else f'{column}::varchar'} as {column}")
    names = ", ".join(f"c{position}" for position in range(len(schema)))
    file = f"read_parquet({file_literal(path)}, hive_partitioning = false) as held({names})"
    return f"select row_number() over () as line, {', '.join(cells)} from {file}"


def _stamp(column: str, kind: pa.DataType) -> str:
    moment = f"({column} at time zone 'UTC')" if _is_instant(kind) else f"try_cast({column} as timestamp)"
    return f"strftime({moment}, '%Y-%m-%d %H:%M:%S.%f')"


def _is_instant(kind: pa.DataType) -> bool:
    return pa.types.is_timestamp(kind) and kind.tz is not None
