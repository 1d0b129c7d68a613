"""DuckDB's CSV reader, told what a dialect declares: typed columns, or cells as text.

Belongs here: the options of the reader, which SQL text cannot take as parameters, and the columns it gives.
"""

from __future__ import annotations

import re
from pathlib import Path

import duckdb

from pumpledger.engine.database import Database, file_literal
from pumpledger.intake.dialect import QUANTITIES, Dialect
from pumpledger.intake.files import ExportFile
from pumpledger.intake.lines import LONGEST, Chunk

_ISO = "%Y-%m-%d %H:%M:%S.%f"


def open_typed(
    db: Database, path: Path, skip: int, export: ExportFile, dialect: Dialect, columns: list[str]
) -> dict[str, object]:
    """Make the view ``fast_row``, the file at ``path`` after ``skip`` lines as DuckDB reads it with typed columns.

    Returns:
        The parameters of ``intake/typed_from_fast`` but the first line's number.
    """
    # Columns go by position: a header may hold an empty name, or two that differ in case alone.
    at = {name: f"c{position}" for position, name in enumerate(columns)}
    (time_column,) = dialect.time_columns
    kinds = dict.fromkeys((f"c{position}" for position in range(len(columns))), "VARCHAR")
    kinds |= {at[name]: "DOUBLE" for name in dialect.columns.values()}
    kinds[at[time_column]] = "BIGINT" if dialect.epoch else "TIMESTAMP"
    stamp = at[time_column]
    if dialect.epoch:  # beyond year 5000 a logger counts something else than seconds
        unit = 1_000_000 if dialect.time_format == "epoch_s" else 1000
        most = 1e11 if dialect.time_format == "epoch_s" else 1e14
        stamp = f"case when {stamp} between 0 and {most} then make_timestamp({stamp} * {unit}) end"
    aux = at[dialect.aux_column] if dialect.aux_column else "null::varchar"
    chosen = [f"{stamp} as stamp", f"{_pump(export, dialect, at)} as pump_id", f"{aux} as aux_text"]
    for name in QUANTITIES:
        chosen.append(f"{at[dialect.columns[name]] if name in dialect.columns else 'null::double'} as {name}")
    time_format = None if dialect.epoch else dialect.time_format
    if time_format and offsets(dialect):
        kinds[at[time_column]] = "VARCHAR"
        fits = f"regexp_matches({stamp}, {quoted(offsets(dialect))})"
        stamp = f"case when {fits} then try_strptime(trim({stamp}), {quoted(time_format)})::timestamp end"
        chosen[0], time_format = f"{stamp} as stamp", None
    source = _source(path, skip, dialect, kinds, time_format)
    db.view_text("fast_row", f"select {', '.join(chosen)} from {source}")
    return {"interval_s": reading_interval(dialect), **scales(dialect)}


def rows_typed(db: Database, chunk: Chunk, export: ExportFile, dialect: Dialect, columns: list[str]) -> int:
    """Fill ``typed_part``; the number of rows read, each with a stamp; -1 where DuckDB cannot read the chunk."""
    parameters = open_typed(db, chunk.path, 0, export, dialect, columns)
    try:
        db.build("typed_part", "intake/typed_from_fast", parameters | {"first_line": chunk.first_line})
    except duckdb.InvalidInputException:  # mixed line ends, an endless line: its reader gives the whole file up
        return -1
    return db.connection.execute("select count(stamp) from typed_part").fetchall()[0][0]


def cells_text(db: Database, chunk: Chunk, export: ExportFile, dialect: Dialect, columns: list[str]) -> int:
    """Fill ``text_row`` with the chunk's cells as text; the number of rows read, -1 where DuckDB cannot read it."""
    kinds = dict.fromkeys((f"c{position}" for position in range(len(columns))), "VARCHAR")
    source = _source(chunk.path, 0, dialect, kinds, None)
    rows = f"select row_number() over () - 1 + {chunk.first_line} as line, * from {source}"
    text = text_cells(rows, columns, export, dialect)
    try:
        db.build_text("text_row", text)
    except duckdb.InvalidInputException:
        return -1
    return db.connection.execute("select count(*) from text_row").fetchall()[0][0]


def text_cells(rows: str, columns: list[str], export: ExportFile, dialect: Dialect) -> str:
    """The query of ``text_row`` over ``rows``, a query of ``line`` and of the cells as text, ``c0``, ``c1`` and so on in
    the order of ``columns``: one row a line, or one for each pump of a wide file."""
    at = {name: f"c{position}" for position, name in enumerate(columns)}
    stamps = [f"coalesce({at[column]}, '')" for column in dialect.time_columns]
    codes = dialect.pump_codes_in(columns)
    cell = {name: at[column] for name, column in dialect.columns.items() if column}
    cell |= {name: "pumps.cell" for name, column in dialect.columns.items() if not column}
    chosen = [
        "line",
        "null::varchar as raw",
        "null::varchar as fault",
        f"{'pumps.code' if codes else _pump(export, dialect, at)} as pump_text",
        f"{' || chr(32) || '.join(stamps)} as time_text",
        *(f"{cell.get(name, 'null::varchar')} as {name}_text" for name in QUANTITIES),
        f"{at[dialect.aux_column] if dialect.aux_column else 'null::varchar'} as aux_text",
    ]
    each = ", ".join(f"{{'code': {quoted(code)}, 'cell': {at[column]}}}" for column, code in codes.items())
    pumps = f", (select unnest([{each}], recursive := true)) as pumps" if codes else ""
    return f"with numbered as ({rows}) select {', '.join(chosen)} from numbered{pumps}"


def typed_from_text(db: Database, dialect: Dialect) -> None:
    """Fill ``typed_part`` from ``text_row``."""
    db.build("typed_part", "intake/typed_from_text", typing_parameters(dialect))


def typing_parameters(dialect: Dialect) -> dict[str, object]:
    """The parameters of ``intake/typed_from_text``."""
    time_format = _ISO if dialect.time_format == "timestamp" else dialect.time_format
    return {
        "epoch_unit_us": {"epoch_s": 1_000_000, "epoch_ms": 1000}.get(dialect.time_format),
        "offsets": offsets(dialect),
        "time_format": "%Y" if dialect.epoch else time_format,  # unused for epoch stamps, but parsed
        "decimal": dialect.decimal,
        "thousands": dialect.thousands or "",
        "grouped": _grouped(dialect),
        "interval_s": reading_interval(dialect),
        **scales(dialect),
    }


def offsets(dialect: Dialect) -> str:
    """Regular expression of stamps whose offset a zone may have: -14:59 to +14:59; strptime would take -47:00, too.
    Empty, which fits all, where stamps carry none at their end."""
    return r"([+-](0\d|1[0-4])(:?[0-5]\d)?|[Zz])\s*$" if dialect.time_format.endswith("%z") else ""


def reading_interval(dialect: Dialect) -> int | None:
    """Length of the interval that a row describes [s]; ``None`` for instants and changes of state."""
    return dialect.interval_s if dialect.label.startswith("interval") else None


def scales(dialect: Dialect) -> dict[str, float]:
    """``<quantity>_scale`` of every quantity, and the shift of the one that has one."""
    return {f"{name}_scale": dialect.scale.get(name, 1.0) for name in QUANTITIES} | {
        "air_temperature_shift": dialect.shift.get("air_temperature", 0.0)
    }


def quoted(text: str) -> str:
    """``text`` as a literal of SQL."""
    return "'" + text.replace("'", "''") + "'"


def _grouped(dialect: Dialect) -> str:
    """Regular expression of a number whose thousands are marked: groups of three, or none at all."""
    mark, point = re.escape(dialect.thousands or ","), re.escape(dialect.decimal)
    return rf"[+-]?(\d+|\d{{1,3}}({mark}\d{{3}})+)({point}\d*)?"


def _pump(export: ExportFile, dialect: Dialect, at: dict[str, str]) -> str:
    if dialect.pump_column:
        return at[dialect.pump_column]
    return quoted(export.pump) if export.pump else "null::varchar"


def _source(path: Path, skip: int, dialect: Dialect, kinds: dict[str, str], time_format: str | None) -> str:
    options = [
        f"columns = {{{', '.join(f'{name}: {quoted(kind)}' for name, kind in kinds.items())}}}",
        "auto_detect = false",
        "header = false",
        f"skip = {skip}",
        f"delim = {quoted(dialect.delimiter)}",
        f"quote = {quoted(dialect.quote or '')}",
        f"escape = {quoted(dialect.quote or '')}",
        f"decimal_separator = {quoted(dialect.decimal)}",
        "ignore_errors = true",
        "null_padding = false",
        f"max_line_size = {LONGEST}",
    ]
    if time_format is not None:
        options.append(f"timestampformat = {quoted(time_format)}")
    return f"read_csv({file_literal(path)}, {', '.join(options)})"
