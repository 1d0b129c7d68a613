"""Records of a CSV file line by line, with their raw text and first line number, whatever the bytes are.

Belongs here: splitting lines into cells. Python's csv reader does it; this adds line numbers, raw text, and a reason
for each record that cannot be split.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, TextIO

from pumpledger.intake.dialects import Dialect

_LONGEST = 1 << 20
"""Longest record kept whole [characters]; a longer one is one unreadable record, so that a missing quote cannot eat the
file."""


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


def open_text(path: Path, dialect: Dialect) -> TextIO:
    """``path`` as text whose lines end at line feeds alone, so that every way of reading counts the same lines.

    Bytes that are not UTF-8 come as lone surrogates, for `records` to tell.
    """
    errors = "surrogateescape" if dialect.encoding == "utf-8" else "replace"
    return path.open(encoding=dialect.encoding, errors=errors, newline="\n")


def records(path: Path, dialect: Dialect) -> Iterator[Record]:
    """Every record of ``path`` in order, one per physical line: exports keep a record on one line, so a quoted line
    break is a fault.

    One line, one record: a stray quote spoils its own line and no other.
    """
    for number, raw in _lines(path, dialect):
        if (
            number <= dialect.preamble_lines + 1
            or not raw.strip()
            or (dialect.footer and raw.startswith(dialect.footer))
        ):
            yield Record("other", number, "", [])
        else:
            yield _split(raw, number, dialect)


def raw_lines(path: Path, dialect: Dialect, wanted: set[int]) -> Iterator[tuple[int, str]]:
    """(line, text) of the physical lines ``wanted``: the raw text of rows that the fast way read and a rule refused."""
    if wanted:
        for number, raw in _lines(path, dialect):
            if number in wanted:
                yield number, _shown(raw)


def _lines(path: Path, dialect: Dialect) -> Iterator[tuple[int, str]]:
    with open_text(path, dialect) as file:
        for number, text in enumerate(file, start=1):
            raw = text.rstrip("\r\n")
            yield number, raw.removeprefix("\ufeff") if number == 1 else raw


def _shown(raw: str) -> str:
    return raw[:_SHOWN].encode("utf-8", "surrogateescape").decode("utf-8", "replace")


def _split(raw: str, number: int, dialect: Dialect) -> Record:
    shown = _shown(raw)
    if len(raw) > _LONGEST:
        return Record("data", number, shown, [], "is longer than a million characters")
    if not raw.isascii() and any("\ud800" <= mark <= "\udfff" for mark in raw):
        return Record("data", number, shown, [], "holds bytes that are not UTF-8; declare the encoding in the dialect")
    try:
        rows = list(csv.reader([raw], delimiter=dialect.delimiter, strict=True))
    except csv.Error as error:
        return Record("data", number, shown, [], f"cannot be split into fields ({error})")
    if len(rows) != 1:
        return Record("data", number, shown, [], "does not hold one record")
    return Record("data", number, shown, rows[0])
