"""Rows of one export, typed: every carrier ends in the same view ``typed_row``.

Belongs here: which way each part of a text export is read. Time zones, rules and repeats do not.

Three ways, each slower and more patient than the one before. DuckDB reads typed columns; or it reads cells as text,
which are typed one by one; or Python splits line by line. A way is kept for a chunk only if it read exactly one row
from every line that holds data: then no row can have been lost, joined or split. Only the last way gives a reason for a
line that cannot be split.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import polars as pl

from pumpledger.engine.database import Database
from pumpledger.intake.dialect import QUANTITIES, Dialect
from pumpledger.intake.files import ExportFile, ends_in_footer
from pumpledger.intake.lines import Chunk, chunks
from pumpledger.intake.progress import Progress
from pumpledger.intake.read_csv import cells_text, rows_typed, typed_from_text, typing_parameters
from pumpledger.intake.rows import Record, chunk_records

_BATCH = 100_000
_TEXT_SCHEMA = {
    "line": pl.Int64,
    "raw": pl.String,
    "fault": pl.String,
    "pump_text": pl.String,
    "time_text": pl.String,
    **{f"{name}_text": pl.String for name in QUANTITIES},
    "aux_text": pl.String,
}


@dataclass(slots=True)
class Parsed:
    """How many rows and lines a parse accounted for; ``other_lines`` are header, preamble, footer and blank lines."""

    data_rows: int
    other_lines: int


def parse_text(
    db: Database, export: ExportFile, dialect: Dialect, columns: list[str], folder: Path, progress: Progress
) -> Parsed:
    """Make the view ``typed_row`` of the rows of a text export; the parts it shows are files in ``folder``.

    ``columns`` is the header. ``typed_row`` columns: line, raw (null where the row was read), fault (null, or why it
    cannot be read), pump_id (as written), stamp (as written, no zone), interval_s, speed_rpm, power_w,
    energy_total_kwh, run_total_h, flow_m3h, air_temperature_c, aux_text.
    """
    parsed = Parsed(0, min(dialect.header_lines, export.lines))
    parts: list[Path] = []
    for chunk in chunks(export, dialect, folder):
        rows, other = _parse_chunk(db, chunk, export, dialect, columns)
        parsed.data_rows += rows
        parsed.other_lines += other
        parts.append(folder / f"typed-{len(parts):05}.parquet")
        db.write_table("typed_part", parts[-1])
        progress.advance(int(chunk.path.stat().st_size))
    if not parts:
        load_cells(db, [])
        db.build("typed_part", "intake/typed_from_text", typing_parameters(dialect))
        parts.append(folder / "typed-00000.parquet")
        db.write_table("typed_part", parts[-1])
    db.view_parquet("typed_row", parts)
    return parsed


def _parse_chunk(
    db: Database, chunk: Chunk, export: ExportFile, dialect: Dialect, columns: list[str]
) -> tuple[int, int]:
    """Fill ``typed_part``; return (data rows, other lines)."""
    footer = int(ends_in_footer(chunk.tail, dialect))
    lines = chunk.lines - footer
    if lines and not chunk.lone_returns and chunk.footers == footer:
        read = rows_typed(db, chunk, export, dialect, columns) if _typed_at_once(dialect) else -1
        if read == lines:
            return lines, footer
        per_line = max(1, len(dialect.pump_codes_in(columns)))
        if cells_text(db, chunk, export, dialect, columns) == lines * per_line:
            typed_from_text(db, dialect)
            return lines * per_line, footer
    return _parse_lines(db, chunk, export, dialect, columns)


def _typed_at_once(dialect: Dialect) -> bool:
    """Whether DuckDB's reader can type the cells: one stamp a row, one pump a row, no thousands mark."""
    return len(dialect.time_columns) == 1 and not dialect.wide and dialect.thousands is None


def _parse_lines(
    db: Database, chunk: Chunk, export: ExportFile, dialect: Dialect, columns: list[str]
) -> tuple[int, int]:
    load_cells(db, [])
    data_rows = other = 0
    batch: list[dict[str, object]] = []
    for record in chunk_records(chunk, dialect):
        if record.kind == "other":
            other += 1
            continue
        rows = _text_rows(record, export, dialect, columns)
        data_rows += len(rows)
        batch += rows
        if len(batch) >= _BATCH:
            _append(db, batch)
            batch = []
    _append(db, batch)
    typed_from_text(db, dialect)
    return data_rows, other


def _text_rows(record: Record, export: ExportFile, dialect: Dialect, columns: list[str]) -> list[dict[str, object]]:
    """The rows that a line holds: one, or one for each pump of a wide file."""
    cells = dict(zip(columns, record.cells, strict=False)) if record.fault is None else {}
    fault = record.fault
    # Delimiters at the end of the line, with nothing behind them, are no fields; DuckDB's reader sees it so, too.
    if fault is None and (len(record.cells) < len(columns) or any(record.cells[len(columns) :])):
        fault = (
            f"has {len(record.cells)} fields where the header has {len(columns)}: "
            "the line is torn, or the delimiter stands inside a field"
        )
    stamps = [cells.get(column) for column in dialect.time_columns]
    row: dict[str, object] = {
        "line": record.line,
        "raw": record.raw,
        "fault": fault,
        "time_text": " ".join(stamp or "" for stamp in stamps) if any(stamps) else None,
        "pump_text": cells.get(dialect.pump_column) if dialect.pump_column else export.pump,
        **{f"{name}_text": cells.get(column) for name, column in dialect.columns.items() if column},
        "aux_text": cells.get(dialect.aux_column) if dialect.aux_column else None,
    }
    if not dialect.wide:
        return [row]
    (quantity,) = dialect.columns
    codes = dialect.pump_codes_in(columns)
    return [row | {"pump_text": code, f"{quantity}_text": cells.get(column)} for column, code in codes.items()]


def load_cells(db: Database, rows: list[dict[str, object]]) -> None:
    """Make ``text_row`` hold ``rows``."""
    db.load("text_row", pl.DataFrame(rows, schema=_TEXT_SCHEMA))


def _append(db: Database, batch: list[dict[str, object]]) -> None:
    if batch:
        db.load("text_batch", pl.DataFrame(batch, schema=_TEXT_SCHEMA))
        db.connection.execute("insert into text_row from text_batch").fetchall()
