"""What a table is: its grain, its key, its columns with types and meanings.

Belongs here: the kind of thing. The tables themselves stand in `tables.py`.
"""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

_TYPES: dict[str, pl.DataType] = {
    "text": pl.String(),
    "int": pl.Int64(),
    "real": pl.Float64(),
    "bool": pl.Boolean(),
    "time": pl.Datetime("us"),
    "day": pl.Date(),
}


@dataclass(frozen=True, slots=True)
class Table:
    """A named table: its grain, its sort key, and ``column -> (type, meaning)``."""

    name: str
    grain: str
    key: tuple[str, ...]
    columns: dict[str, tuple[str, str]]

    @property
    def schema(self) -> dict[str, pl.DataType]:
        """Polars types by column, in order."""
        return {column: _TYPES[kind] for column, (kind, _) in self.columns.items()}

    def empty(self) -> pl.DataFrame:
        """The table with no rows."""
        return pl.DataFrame(schema=self.schema)

    def conform(self, rows: pl.DataFrame) -> pl.DataFrame:
        """``rows`` with exactly these columns, types and order, sorted by the key.

        Raises:
            ValueError: a column is missing or unknown. A fault of the tool, never of the data.
        """
        missing = [column for column in self.columns if column not in rows.columns]
        unknown = [column for column in rows.columns if column not in self.columns]
        if missing or unknown:
            raise ValueError(f"table {self.name}: missing {missing}, unknown {unknown}")
        return rows.select(pl.col(column).cast(kind) for column, kind in self.schema.items()).sort(
            self.key, nulls_last=True, maintain_order=True
        )
