"""The lake: Parquet files under ``lake/``, written with the same bytes for the same rows.

Belongs here: where a table's file is and how it is written. Readings are one file per week and export; every other
table is one file per week.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import polars as pl
import pyarrow as pa
import pyarrow.parquet as pq

from pumpledger.engine.tables import Table
from pumpledger.workspace import settle, unfinished


class Lake:
    """Tables of one fleet folder by name and ISO week (``2026-W44``)."""

    def __init__(self, root: Path) -> None:
        self.root = root

    def path(self, table: str, week: str) -> Path:
        return self.root / table / f"week={week}.parquet"

    def write(self, table: Table, week: str, rows: pl.DataFrame) -> Path:
        """Write ``rows``, conformed and sorted."""
        path = self.path(table.name, week)
        write_parquet(path, table.conform(rows))
        return path

    def read(self, table: Table, week: str) -> pl.DataFrame:
        """The rows of a week; an empty table where none are held."""
        path = self.path(table.name, week)
        return pl.from_arrow(pq.read_table(path)) if path.exists() else table.empty()

    def weeks(self, table: Table) -> list[str]:
        """Weeks of which the table is held, in order."""
        return [path.stem.removeprefix("week=") for path in sorted((self.root / table.name).glob("week=*.parquet"))]

    def readings_folder(self, week: str) -> Path:
        return self.root / "readings" / f"week={week}"

    def readings_files(self, week: str) -> list[Path]:
        """Readings of a week, one file per export, by name."""
        return sorted(self.readings_folder(week).glob("*.parquet"))

    def superseded_folder(self, week: str) -> Path:
        return self.root / "superseded" / f"week={week}"

    def superseded_files(self, week: str) -> list[Path]:
        """Readings of a week that no longer count, one file per export that says so."""
        return sorted(self.superseded_folder(week).glob("*.parquet"))

    def reading_weeks(self) -> list[str]:
        """Weeks that hold readings, in order."""
        folders = sorted((self.root / "readings").glob("week=*"))
        return [folder.name.removeprefix("week=") for folder in folders if any(folder.glob("*.parquet"))]


def write_parquet(path: Path, rows: pl.DataFrame | pa.Table) -> None:
    """Write whole or not at all, with pinned settings."""
    arrow = rows.to_arrow(compat_level=pl.CompatLevel.oldest()) if isinstance(rows, pl.DataFrame) else rows
    path.parent.mkdir(parents=True, exist_ok=True)
    with unfinished(path) as temporary:
        pq.write_table(arrow, temporary, compression="zstd", version="2.6", use_dictionary=True, write_statistics=True)
        settle(temporary, path)


def parquet_batches(path: Path, rows: int = 50_000) -> Iterator[pl.DataFrame]:
    """The rows of ``path`` in order, a part at a time: for tables that may be too large to hold."""
    with pq.ParquetFile(path) as file:
        for batch in file.iter_batches(rows):
            yield pl.from_arrow(pa.Table.from_batches([batch]))  # type: ignore[misc]
