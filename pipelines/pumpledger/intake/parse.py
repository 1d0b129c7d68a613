"""Rows of one export, typed: the fast way where every line proves to be a row, and the careful way for all else.

Belongs here: from bytes to a table ``typed_row`` (line, pump_id, stamp, quantities, fault, raw). Time zones, rules and
repeats do not.

The fast way lets DuckDB read typed columns and is kept only if it read exactly one row from every line that holds data:
then no row can have been lost, joined or split. The careful way goes line by line and gives each unreadable row a
reason.
"""

from __future__ import annotations

import duckdb
import polars as pl

from pumpledger.engine.database import Database
from pumpledger.intake.dialects import QUANTITIES, Dialect
from pumpledger.intake.files import ExportFile, ends_in_footer
from pumpledger.intake.rows import Record, records

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


def data_lines(export: ExportFile, dialect: Dialect) -> int | None:
    """Lines that hold data, where every line can be one row; ``None`` where only the careful way can tell."""
    expected = export.lines - dialect.preamble_lines - 1 - ends_in_footer(export, dialect)
    return expected if dialect.encoding == "utf-8" and not export.lone_returns and expected >= 0 else None


def open_fast(db: Database, export: ExportFile, dialect: Dialect, columns: list[str]) -> dict[str, object]:
    """Make the view ``fast_row``, the file as DuckDB reads it with typed columns, line by line.

    Returns:
        The parameters of ``intake/typed_from_fast``.
    """
    # Columns go by position: a header may hold an empty name, or two that differ in case alone.
    at = {name: f"c{position}" for position, name in enumerate(columns)}
    kinds = dict.fromkeys((f"c{position}" for position in range(len(columns))), "VARCHAR")
    kinds |= {at[name]: "DOUBLE" for name in dialect.columns.values()}
    kinds[at[dialect.time_column]] = "BIGINT" if dialect.time_format == "epoch_s" else "TIMESTAMP"
    options = [
        f"columns = {{{', '.join(f'{name}: {_quoted(kind)}' for name, kind in kinds.items())}}}",
        "auto_detect = false",
        "header = true",
        f"skip = {dialect.preamble_lines}",
        f"delim = {_quoted(dialect.delimiter)}",
        "quote = '\"'",
        "escape = '\"'",
        f"decimal_separator = {_quoted(dialect.decimal)}",
        "ignore_errors = true",
        "null_padding = false",
    ]
    if dialect.time_format != "epoch_s":
        options.append(f"timestampformat = {_quoted(dialect.time_format)}")
    pump = at[dialect.pump_column] if dialect.pump_column else _quoted(export.pump) if export.pump else "null::varchar"
    aux = at[dialect.aux_column] if dialect.aux_column else "null::varchar"
    stamp = at[dialect.time_column]
    if dialect.time_format == "epoch_s":  # beyond year 5000 a logger counts something else than seconds
        stamp = f"case when {stamp} between 0 and 1e11 then make_timestamp({stamp} * 1000000) end"
    chosen = [f"{stamp} as stamp", f"{pump} as pump_id", f"{aux} as aux_text"]
    for name in QUANTITIES:
        chosen.append(f"{at[dialect.columns[name]] if name in dialect.columns else 'null::double'} as {name}")
    source = f"read_csv({_quoted(str(export.path))}, {', '.join(options)})"
    db.view_text("fast_row", f"select {', '.join(chosen)} from {source}")
    return {"first_line": dialect.preamble_lines + 2, **_scales(dialect)}


def parse(db: Database, export: ExportFile, dialect: Dialect, columns: list[str]) -> tuple[int, int]:
    """Fill ``typed_row`` in ``db``; return (data rows, other lines).

    ``columns`` is the header. ``typed_row`` columns: line, raw (null where the row was read), fault (null, or why it
    cannot be read), pump_id, stamp (as written, no zone), speed_rpm, power_w, energy_total_kwh, run_total_h, flow_m3h,
    aux_text.
    """
    expected = data_lines(export, dialect)
    if expected is not None and _read_fast(db, export, dialect, columns) == expected:
        return expected, export.lines - expected
    return _read_carefully(db, export, dialect, columns)


def _read_fast(db: Database, export: ExportFile, dialect: Dialect, columns: list[str]) -> int:
    """The number of rows read, each with a stamp; -1 where DuckDB cannot read the file."""
    try:
        db.build("typed_row", "intake/typed_from_fast", open_fast(db, export, dialect, columns))
    except duckdb.InvalidInputException:  # mixed line ends, an endless line: its reader gives the whole file up
        return -1
    return db.connection.execute("select count(stamp) from typed_row").fetchall()[0][0]


def _read_carefully(db: Database, export: ExportFile, dialect: Dialect, columns: list[str]) -> tuple[int, int]:
    db.load("text_row", pl.DataFrame(schema=_TEXT_SCHEMA))
    data_rows = other = 0
    batch: list[dict[str, object]] = []
    for record in records(export.path, dialect):
        if record.kind == "other":
            other += 1
            continue
        data_rows += 1
        batch.append(_text_row(record, export, dialect, columns))
        if len(batch) == _BATCH:
            _append(db, batch)
            batch = []
    _append(db, batch)
    epoch = dialect.time_format == "epoch_s"
    db.build(
        "typed_row",
        "intake/typed_from_text",
        {
            "epoch": epoch,
            "time_format": "%Y" if epoch else dialect.time_format,  # unused for epoch seconds, but parsed
            "decimal": dialect.decimal,
            **_scales(dialect),
        },
    )
    return data_rows, other


def _text_row(record: Record, export: ExportFile, dialect: Dialect, columns: list[str]) -> dict[str, object]:
    cells = dict(zip(columns, record.cells, strict=False)) if record.fault is None else {}
    fault = record.fault
    if fault is None and len(record.cells) != len(columns):
        fault = (
            f"has {len(record.cells)} fields where the header has {len(columns)}: "
            "the line is torn, or the delimiter stands inside a field"
        )
    row: dict[str, object] = {
        "line": record.line,
        "raw": record.raw,
        "fault": fault,
        "time_text": cells.get(dialect.time_column),
    }
    row["pump_text"] = cells.get(dialect.pump_column) if dialect.pump_column else export.pump
    row |= {
        f"{name}_text": cells.get(dialect.columns[name]) if name in dialect.columns else None for name in QUANTITIES
    }
    row["aux_text"] = cells.get(dialect.aux_column) if dialect.aux_column else None
    return row


def _append(db: Database, batch: list[dict[str, object]]) -> None:
    if batch:
        db.load("text_batch", pl.DataFrame(batch, schema=_TEXT_SCHEMA))
        db.connection.execute("insert into text_row from text_batch").fetchall()


def _scales(dialect: Dialect) -> dict[str, float]:
    return {f"{name}_scale": dialect.scale.get(name, 1.0) for name in QUANTITIES}


def _quoted(text: str) -> str:
    return "'" + text.replace("'", "''") + "'"
