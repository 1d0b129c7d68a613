"""The claim's tables as data: CSV (RFC 4180, UTF-8, ISO 8601) and Parquet, with a dictionary of every column.

Belongs here: form and names of the files. A number is written to the last digit that it has; missing is an empty cell.
Text that a spreadsheet would take for a formula gets an apostrophe in front, in CSV alone.
"""

from __future__ import annotations

import re
from pathlib import Path

import polars as pl

from pumpledger.claims.data import CLAIM_TABLES, ClaimData
from pumpledger.claims.seen import seen
from pumpledger.engine.lake import write_parquet
from pumpledger.engine.schema import Table
from pumpledger.engine.tables import SPANS

DICTIONARY = "data_dictionary.csv"
_FORMULA = r"^[=+\-@\t\r]"
_UTC = "%Y-%m-%dT%H:%M:%S%.fZ"  # every time of these tables is UTC
_UNIT = re.compile(r"\[([^\]]+)\]")
_FIELDS = {"claim_days": "days", "claim_months": "months", "claim_exclusions": "exclusions", "claim_balance": "balance",
           "claim_plans": "plans", "claim_visits": "visits", "claim_exports": "exports"}  # fmt: skip
_NAMES_PEOPLE = {"claim_visits": "note"}


def claim_frames(claim: ClaimData) -> dict[str, tuple[Table, pl.DataFrame]]:
    """The claim's tables by file name. Notes of visits, which may name people, are left out."""
    made = {}
    for table in CLAIM_TABLES:
        frame = table.conform(getattr(claim, _FIELDS.get(table.name, table.name)))
        if table.name in _NAMES_PEOPLE:
            frame = frame.with_columns(pl.lit(None, pl.String).alias(_NAMES_PEOPLE[table.name]))
        made[_FIELDS.get(table.name, table.name)] = (table, frame)
    return made


def write_clean(folder: Path, claim: ClaimData, intervals: pl.DataFrame) -> None:
    """Write every table of the claim and the intervals behind it into ``folder``, with the data dictionary.

    Args:
        intervals: `SPANS` of the site's pumps over the period.
    """
    tables = claim_frames(claim) | {"intervals": (SPANS, SPANS.conform(intervals))}
    folder.mkdir(parents=True, exist_ok=True)
    for name, (_, frame) in tables.items():
        (folder / f"{name}.csv").write_bytes(csv_bytes(frame))
        write_parquet(folder / f"{name}.parquet", frame)
    (folder / DICTIONARY).write_bytes(csv_bytes(dictionary(tables)))


def dictionary(tables: dict[str, tuple[Table, pl.DataFrame]]) -> pl.DataFrame:
    """One row a column: file, what a row of it is, column, type, unit, meaning, and whether it is part of the key."""
    types = {"text": "text", "int": "whole number", "real": "number", "bool": "true or false",
             "time": "UTC, ISO 8601", "day": "local day, YYYY-MM-DD"}  # fmt: skip
    rows = [
        (name, table.grain, column, types[kind], _unit(meaning), meaning, column in table.key)
        for name, (table, _) in tables.items()
        for column, (kind, meaning) in table.columns.items()
    ]
    names = ["table", "one_row_is", "column", "type", "unit", "meaning", "key"]
    return pl.DataFrame(rows, schema=names, orient="row")


def csv_bytes(frame: pl.DataFrame) -> bytes:
    """``frame`` as CSV with CRLF. Floats are written so that they read back as the same number."""
    texts = [name for name, kind in frame.schema.items() if kind == pl.String]
    safe = frame.with_columns(pl.col(name).map_elements(seen, pl.String) for name in texts).with_columns(
        pl.when(pl.col(name).str.contains(_FORMULA))
        .then(pl.lit("'") + pl.col(name))
        .otherwise(pl.col(name))
        .alias(name)
        for name in texts
    )
    return safe.write_csv(line_terminator="\r\n", datetime_format=_UTC).encode()


def _unit(meaning: str) -> str:
    found = _UNIT.search(meaning)
    return found[1] if found else ""
