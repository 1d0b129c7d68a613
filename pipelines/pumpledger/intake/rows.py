"""Records of a text export line by line, with their raw text and line number, whatever the characters are.

Belongs here: splitting lines into cells. Python's csv reader does it; this adds line numbers, raw text, and a reason
for each record that cannot be split.
"""

from __future__ import annotations

import csv
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Literal

from pumpledger.intake.dialect import Dialect
from pumpledger.intake.files import ExportFile, csv_form
from pumpledger.intake.lines import LONGEST, Chunk, numbered_lines

_SHOWN = 2000
"""Longest raw text that goes back with a refused row [characters]."""


@dataclass(frozen=True, slots=True)
class Record:
    """One record. ``other`` are header, preamble, footer and blank lines; ``fault`` says why a data record cannot be
    split."""

    kind: Literal["data", "other"]
    line: int
    raw: str
    cells: list[str]
    fault: str | None = None


def records(export: ExportFile, dialect: Dialect) -> Iterator[Record]:
    """Every record of ``export`` in order, one per physical line: exports keep a record on one line, so a quoted line
    break is a fault.

    One line, one record: a stray quote spoils its own line and no other.
    """
    return _records(numbered_lines(export, dialect), dialect)


def chunk_records(chunk: Chunk, dialect: Dialect) -> Iterator[Record]:
    """The same of one chunk of an export."""
    with chunk.path.open(encoding="utf-8", errors="surrogateescape", newline="\n") as file:
        lines = (text.rstrip("\r\n") for text in file)
        yield from _records(enumerate(lines, start=chunk.first_line), dialect)


def raw_lines(export: ExportFile, dialect: Dialect, wanted: set[int]) -> Iterator[tuple[int, str]]:
    """(line, text) of the physical lines ``wanted``: the raw text of rows that the fast way read and a rule refused."""
    if wanted:
        for number, raw in numbered_lines(export, dialect):
            if number in wanted:
                yield number, shown(raw)


def shown(raw: str) -> str:
    """``raw`` as it goes back to people: no longer than needed, and clean UTF-8."""
    return raw[:_SHOWN].encode("utf-8", "surrogateescape").decode("utf-8", "replace")


def _records(lines: Iterable[tuple[int, str]], dialect: Dialect) -> Iterator[Record]:
    for number, raw in lines:
        if number <= dialect.header_lines or not raw.strip() or (dialect.footer and raw.startswith(dialect.footer)):
            yield Record("other", number, "", [])
        else:
            yield _split(raw, number, dialect)


def _split(raw: str, number: int, dialect: Dialect) -> Record:
    text = shown(raw)
    if len(raw) > LONGEST:
        return Record("data", number, text, [], "is longer than a million characters")
    if not raw.isascii() and any("\ud800" <= mark <= "\udfff" for mark in raw):
        return Record("data", number, text, [], "holds bytes that are not UTF-8; declare the encoding in the dialect")
    try:
        rows = list(csv.reader([raw], strict=True, **csv_form(dialect)))
    except csv.Error as error:
        return Record("data", number, text, [], f"cannot be split into fields ({error})")
    if len(rows) != 1:
        return Record("data", number, text, [], "does not hold one record")
    return Record("data", number, text, rows[0])
