"""One DuckDB connection in memory, and the queries of the ``sql`` folder by name.

Belongs here: how a query is found, run and turned into a table. What the queries say stands in ``sql/`` alone.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from functools import cache
from glob import escape, has_magic
from pathlib import Path

import duckdb
import polars as pl
import pyarrow as pa

Parameters = Mapping[str, object] | None
Over = Mapping[str, str] | None
_IDENTIFIER = re.compile(r"[a-z][a-z0-9_]*")


def resource_folder(name: str) -> Path:
    """``sql`` or ``expectations``: inside an installed package, or beside ``pipelines`` in a checkout."""
    package = Path(__file__).resolve().parent.parent
    installed = package / name
    return installed if installed.is_dir() else package.parent.parent / name


@cache
def sql_text(name: str) -> str:
    """The text of ``sql/<name>.sql``; ``name`` may hold one folder, such as ``profile/spans``."""
    return (resource_folder("sql") / f"{name}.sql").read_text(encoding="utf-8")


def composed(query: str, over: Over = None) -> str:
    """The text of a query; each table of ``over`` is, in order, another query instead of a table that is built first.

    What two steps say stays in two files, and DuckDB runs them as one without writing the rows in between.
    """
    if not over:
        return sql_text(query)
    steps = ",\n".join(f"{_named(table)} as (\n{sql_text(other)}\n)" for table, other in over.items())
    return f"with {steps}\nselect * from (\n{sql_text(query)}\n)"


def can_be_named(path: Path) -> bool:
    """Whether `file_literal` can stand for ``path``: in a pattern, DuckDB takes a backslash for a slash."""
    return not (has_magic(str(path)) and "\\" in str(path))


def file_literal(path: Path) -> str:
    """``path`` as a literal of SQL that stands for this one file, whatever marks its name holds; see `can_be_named`."""
    return "'" + escape(str(path)).replace("'", "''") + "'"


class Database:
    """An in-memory DuckDB whose tables live for one step.

    Results are read whole before the next query starts, because a half-read result keeps the connection busy.
    """

    def __init__(self, threads: int | None = None, memory_limit: str | None = None, spill: Path | None = None) -> None:
        config: dict[str, object] = {}
        if threads:
            config["threads"] = threads
        if memory_limit:
            config["memory_limit"] = memory_limit
        if spill:
            config["temp_directory"] = str(spill)
        self._settle(duckdb.connect(":memory:", config=config), "")

    def _settle(self, connection: duckdb.DuckDBPyConnection, scope: str) -> None:
        self.connection = connection
        self.connection.execute("set TimeZone = 'UTC'").fetchall()
        # DuckDB draws a bar on standard output where it takes Python for interactive, as in a spawned process.
        self.connection.execute("set enable_progress_bar = false").fetchall()
        self._scope = scope
        self._made: dict[str, str] = {}

    def __enter__(self) -> Database:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Give the memory back."""
        self.connection.close()

    @contextmanager
    def beside(self) -> Iterator[Database]:
        """A second connection to the same tables, for another thread; what it makes is its alone and goes with it."""
        other = object.__new__(Database)
        other._settle(self.connection.cursor(), "temp ")
        with other:
            yield other

    @contextmanager
    def step(self) -> Iterator[None]:
        """Whatever tables are made inside are gone after, so that no step rests on what another happened to leave."""
        before = set(self._made)
        try:
            yield
        finally:
            for name in sorted(set(self._made) - before):
                self.drop(name)

    def _make(self, table: str, kind: str, text: str, parameters: Parameters = None) -> None:
        if self._made.get(table, kind) != kind:
            self.drop(table)
        statement = f"create or replace {self._scope}{kind} {_named(table)} as\n{text}"
        self.connection.execute(statement, dict(parameters or {})).fetchall()
        self._made[table] = kind

    def load(self, table: str, rows: pl.DataFrame | pa.Table) -> None:
        """Make ``table`` hold ``rows``."""
        arrow = rows.to_arrow() if isinstance(rows, pl.DataFrame) else rows
        self.connection.register("incoming_rows", arrow)
        self._make(table, "table", "from incoming_rows")
        self.connection.unregister("incoming_rows")

    def view_parquet(self, table: str, files: list[Path]) -> None:
        """Make ``table`` a view over Parquet ``files``, which must share one schema and be at least one."""
        paths = ", ".join(file_literal(path) for path in files)
        self._make(table, "view", f"from read_parquet([{paths}], hive_partitioning = false)")

    def view_readings(self, table: str, files: list[Path], superseded: list[Path]) -> None:
        """Make ``table`` a view of the readings in ``files`` that count: less those that ``superseded`` lists."""
        if not superseded:
            self.view_parquet(table, files)
            return
        self.view_parquet(f"{table}_file", files)
        self.view_parquet(f"{table}_gone", superseded)
        gone = f"{table}_gone.old_export_id = {table}_file.export_id and {table}_gone.old_line = {table}_file.line"
        same = f"{table}_gone.pump_id = {table}_file.pump_id"
        self._make(table, "view", f"select * from {table}_file anti join {table}_gone on {gone} and {same}")

    def view_text(self, table: str, text: str) -> None:
        """Make ``table`` a view of a query that is written out by the caller, such as a file with its columns."""
        self._make(table, "view", text)

    def view(self, table: str, query: str) -> None:
        """Make ``table`` a view of ``sql/<query>.sql``, which takes no parameters."""
        self._make(table, "view", sql_text(query))

    def build(self, table: str, query: str, parameters: Parameters = None, over: Over = None) -> None:
        """Make ``table`` hold the rows of ``sql/<query>.sql``; ``over`` as in `composed`."""
        self._make(table, "table", composed(query, over), parameters)

    def build_text(self, table: str, text: str) -> None:
        """Make ``table`` hold the rows of a query that is written out by the caller."""
        self._make(table, "table", text)

    def drop(self, table: str) -> None:
        """Give back the memory of a table that no later step reads."""
        self.connection.execute(f"drop {self._made.pop(table)} {_named(table)}").fetchall()

    def write_parquet(self, query: str, path: Path, parameters: Parameters = None, over: Over = None) -> None:
        """Write the rows of ``sql/<query>.sql`` to ``path``, in its order, straight from DuckDB: for tables too large
        to
        pass on. ``over`` as in `composed`."""
        target = str(path).replace("'", "''")
        text = f"copy (\n{composed(query, over)}\n) to '{target}' (format parquet, compression zstd)"
        self.connection.execute(text, dict(parameters or {})).fetchall()

    def write_table(self, table: str, path: Path) -> None:
        """Write the rows of ``table`` to ``path`` as they stand, straight from DuckDB."""
        target = str(path).replace("'", "''")
        self.connection.execute(f"copy {_named(table)} to '{target}' (format parquet, compression zstd)").fetchall()

    def write_parts(
        self, table: str, column: str, parts: int, folder: Path, together: list[str], flush_rows: int
    ) -> None:
        """Write the rows of ``table`` into at most ``parts`` folders in ``folder``, all of one value of ``column`` in
        one, in their order; the values ``together`` count as one. ``flush_rows`` of a part are held at once."""
        key = f"if({_named(column)} in (select unnest($together)), '', {_named(column)})"
        self.connection.execute(f"set partitioned_write_flush_threshold = {int(flush_rows)}").fetchall()
        text = (
            f"copy (select *, hash({key}) % {int(parts)} as part from {_named(table)}) to {file_literal(folder)} "
            "(format parquet, compression zstd, partition_by (part))"
        )
        self.connection.execute(text, {"together": together}).fetchall()

    def query(self, query: str, parameters: Parameters = None, over: Over = None) -> pl.DataFrame:
        """The rows of ``sql/<query>.sql``; ``over`` as in `composed`."""
        return self._read(composed(query, over), parameters)

    def table(self, table: str) -> pl.DataFrame:
        """All rows of ``table``, in the order they were built."""
        return self._read(f"from {_named(table)}", None)

    def arrow(self, table: str) -> pa.Table:
        """All rows of ``table`` as an Arrow table, in the order they were built."""
        return self.connection.sql(f"from {_named(table)}").to_arrow_table()

    def _read(self, text: str, parameters: Parameters) -> pl.DataFrame:
        arrow = self.connection.sql(text, params=dict(parameters or {})).to_arrow_table()
        return pl.from_arrow(arrow)  # type: ignore[return-value]


def _named(table: str) -> str:
    if not _IDENTIFIER.fullmatch(table):
        raise ValueError(f"not a table name: {table!r}")
    return table
