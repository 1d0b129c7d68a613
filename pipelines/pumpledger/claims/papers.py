"""``claim_papers.csv``: plate, invoice, addresses and meter of each pump, as people entered them.

Belongs here: reading, and keeping what names places apart from the rest.
"""

from __future__ import annotations

import re
from pathlib import Path

import polars as pl

from pumpledger.problems import Problem
from pumpledger.register.csv_file import read_rows
from pumpledger.register.fields import PAPERS

FILE = "claim_papers.csv"
PRIVATE = ("site_address", "account_address")
_KINDS = {"number": pl.Float64, "count": pl.Int64, "day": pl.Date}
_SCHEMA = {item.column: _KINDS.get(item.kind, pl.String()) for item in PAPERS}


def read_papers(folder: Path, problems: list[Problem]) -> pl.DataFrame:
    """The rows of ``folder/claim_papers.csv``, one a pump; a row that does not fit, and a second one of a pump, is left
    out with its fault in ``problems``."""
    path = folder / FILE
    if not path.exists():
        return pl.DataFrame(schema=_SCHEMA)
    found = read_rows(path, FILE, PAPERS, problems)
    rows: dict[str, dict[str, object]] = {}
    for row in found.rows:
        pump = str(row["pump_id"])
        if pump in rows:
            sentence = f"pump {pump} stands here a second time; the first row is used"
            problems.append(Problem("papers_twice", sentence, "warns", FILE, int(str(row["line"])), "pump_id"))
            continue
        rows[pump] = {column: row.get(column) for column in _SCHEMA}
    return pl.DataFrame(list(rows.values()), schema=_SCHEMA)


def address_of(papers: pl.DataFrame, column: str) -> str:
    """The first address given for the site's pumps; empty where none is."""
    given = papers[column].drop_nulls().to_list()
    return str(given[0]) if given else ""


def alike(one: str, other: str) -> bool:
    """Alike but for case, spaces and marks."""
    return _bare(one) == _bare(other)


def _bare(text: str) -> str:
    return re.sub(r"[\W_]+", " ", text.casefold()).strip()
