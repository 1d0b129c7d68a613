"""Whose a row is: a column of codes, told by its name, by the register, and by what it sorts out.

Belongs here: the column. Codes in file names are `file_names.py`, codes in column names `wide.py`.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from pumpledger.proposal.aux_words import words_are_states
from pumpledger.proposal.claim import Claim, Sureness
from pumpledger.proposal.known_codes import KnownCodes
from pumpledger.proposal.stamps import kind_of
from pumpledger.proposal.table import Table
from pumpledger.proposal.words import UNITS_OF, read_name

_REPEATS_LEAST = 5
"""So many rows must share their time with another before a column can show that it tells them apart."""


@dataclass(frozen=True, slots=True)
class PumpColumn:
    """The column that says whose a row is, and the claims on it."""

    at: int
    claims: list[Claim]


@dataclass(frozen=True, slots=True)
class _Candidate:
    at: int
    whose: str | None
    word: str | None
    tells: float | None
    codes: int


def find_pump_column(
    table: Table, time_positions: tuple[int, ...], times: list[str], known: KnownCodes
) -> PumpColumn | None:
    """The pump's or site's column of a long table; ``None`` where no column is one.

    ``times`` is the text of the stamp of each row. A column tells rows apart if rows that share their time differ in
    it.
    """
    found = [
        candidate
        for at in range(len(table.names))
        if at not in time_positions and (candidate := _candidate(table, at, times, known))
    ]
    found = [c for c in found if c.whose or c.word or (c.tells or 0) > 0.9]
    if not found:
        return None
    found.sort(
        key=lambda c: (c.whose is None, c.word != "pump", c.word != "device", c.word is None, -(c.tells or 0), c.at)
    )
    best, rivals = found[0], [table.names[other.at] for other in found[1:]]
    column, cells = table.names[best.at], table.columns[best.at]
    told = f"{best.codes} codes such as {cells[0]!r}" if best.codes > 1 else f"the one code {cells[0]!r}"
    sureness: Sureness = "likely"
    if best.whose:
        sureness, told = "sure", f"{told}, {best.whose}s of the register"
    elif best.tells is not None and best.tells > 0.9:
        told += ", which tell apart rows of the same time"
        sureness = "sure" if best.word and not rivals else "likely"
    else:
        told += ", by the column's name"
    if rivals:
        told += f"; not taken: {', '.join(map(repr, rivals))}"
    return PumpColumn(best.at, [Claim("pump.column", column, sureness, told), codes_claim(best.whose, best.word)])


def codes_claim(whose: str | None, word: str | None) -> Claim:
    """The claim on ``pump.codes``: by the register, else by the word in a name."""
    if whose:
        return Claim("pump.codes", whose, "sure", "found in the register")
    if word == "site":
        return Claim("pump.codes", "site", "likely", 'by the name; "pump" if they are codes of pumps')
    told = "by the name" if word == "pump" else "nothing says so"
    return Claim("pump.codes", "pump", "likely", f'{told}; "site" if they are codes of sites with one pump each')


def word_for_codes(name: str) -> str | None:
    """Whether a name speaks of a pump, a site or a device, and of nothing measured."""
    said = read_name(name)
    if said.quantity or said.meanings & {"aux", "time", *UNITS_OF}:
        return None
    return next((word for word in ("pump", "site", "device") if word in said.meanings), None)


def _candidate(table: Table, at: int, times: list[str], known: KnownCodes) -> _Candidate | None:
    cells = table.columns[at]
    codes = set(cells)
    word = word_for_codes(table.names[at]) if table.headed else None
    if "" in codes or len(codes) > max(0.5 * table.rows, 1) or words_are_states(codes):
        return None
    whose = known.whose(codes)
    whole = at in table.numeric
    if whole and not (whose or (word and all(re.fullmatch(r"\d{1,18}", code) for code in codes))):
        return None
    if any(len(code) > 200 or kind_of(code) is not None for code in codes):
        return None
    return _Candidate(at, whose, word, _tells(table, at, times), len(codes))


def _tells(table: Table, at: int, times: list[str]) -> float | None:
    """Share of the rows with a shared time that the column makes single; ``None`` where too few share theirs.

    Rows that are repeated word for word are no evidence and count once.
    """
    rows = set(zip(table.file, times, *table.columns, strict=True))
    alone: dict[tuple[int, str], int] = {}
    with_column: dict[tuple[int, str, str], int] = {}
    for file, time, *cells in rows:
        alone[file, time] = alone.get((file, time), 0) + 1
        with_column[file, time, cells[at]] = with_column.get((file, time, cells[at]), 0) + 1
    shared = sum(count for count in alone.values() if count > 1)
    if shared < _REPEATS_LEAST:
        return None
    still = sum(count for count in with_column.values() if count > 1)
    return 1 - still / shared
