"""Which column, or which two, hold the time, and the formats that read them.

Belongs here: the choice of columns. The order of day and month is `date_order.py`; steps and labels come later.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from pumpledger.proposal.claim import Claim
from pumpledger.proposal.stamps import NO_OFFSET, TimeFormat, fitting, kind_of
from pumpledger.proposal.table import Table
from pumpledger.proposal.words import read_name


@dataclass(frozen=True, slots=True)
class TimeColumns:
    """Positions of the stamp, or of date and clock; the text they make by row; formats that read it, with faults.

    ``partner`` is a second stamp column, such as the end of the interval whose start is the first.
    """

    positions: tuple[int, ...]
    texts: list[str]
    formats: dict[TimeFormat, int]
    claims: list[Claim]
    partner: int | None = None


def find_time(table: Table) -> TimeColumns | None:
    """The time of ``table``; ``None`` where no column reads as one."""
    stamps, dates, clocks = [], [], []
    for at in range(len(table.names)):
        cells = table.filled(at)
        if len(cells) < 0.9 * table.rows:
            continue
        kinds = {kind_of(cell) for cell in cells[:: max(len(cells) // 50, 1)]}
        if _packed_clock(table, at, cells):
            clocks.append((at, {TimeFormat("%H%M%S" if len(cells[0]) == 6 else "%H%M", NO_OFFSET): 0}))
            continue
        if not kinds & {"stamp", "epoch", "date", "clock"}:
            continue
        formats = fitting(cells)
        if formats and kinds & {"stamp", "epoch"} and all("%" not in f.text or "%M" in f.text for f in formats):
            stamps.append((at, formats))
        elif formats and "clock" in kinds:
            clocks.append((at, formats))
        elif formats and "date" in kinds and not _counts(table, at):
            dates.append((at, formats))
    if stamps:
        return _stamp(table, stamps)
    if dates and clocks:
        return _date_and_clock(table, dates, clocks)
    return None


def _counts(table: Table, at: int) -> bool:
    """Whether eight digits are a counter that passes through numbers that read as days: consecutive days differ in
    few digits, a counter has many values within one month."""
    cells = table.filled(at)
    return cells[0].isdigit() and len(set(cells)) > 0.5 * len(cells) and len(set(cells)) > 40


def _packed_clock(table: Table, at: int, cells: list[str]) -> bool:
    """Whether all cells are clock times without colon, such as 001500, in a column that its name calls a time."""
    if table.headed and "time" not in read_name(table.names[at]).meanings:
        return False
    if len({len(cell) for cell in cells}) != 1 or len(cells[0]) not in (4, 6) or not any(c[0] == "0" for c in cells):
        return False
    return all(re.fullmatch(r"(?:[01]\d|2[0-3])[0-5]\d(?:[0-5]\d)?", cell) for cell in cells)


def _stamp(table: Table, stamps: list[tuple[int, dict[TimeFormat, int]]]) -> TimeColumns:
    at, formats = min(stamps, key=lambda item: _rank(table, *item))
    others = [other for other, _ in stamps if other != at]
    name = table.names[at]
    if not others:
        claim = Claim("time.column", name, "sure", f"the one column of time stamps, such as {table.columns[at][0]!r}")
    else:
        rest = ", ".join(repr(table.names[other]) for other in others)
        claim = Claim("time.column", name, "likely", f"of several columns of stamps; not taken: {rest}")
    return TimeColumns((at,), table.columns[at], formats, [claim], others[0] if others else None)


def _rank(table: Table, at: int, formats: dict[TimeFormat, int]) -> tuple[object, ...]:
    """Stamps that say their zone first, then those whose name says so, then the first column."""
    zoned = all(form.zone != NO_OFFSET for form in formats)
    name = read_name(table.names[at])
    return not zoned, "utc" not in name.hints, "end" in name.hints, at


def _date_and_clock(
    table: Table, dates: list[tuple[int, dict[TimeFormat, int]]], clocks: list[tuple[int, dict[TimeFormat, int]]]
) -> TimeColumns:
    (date, date_forms), (clock, clock_forms) = dates[0], clocks[0]
    texts = [f"{a} {b}" for a, b in zip(table.columns[date], table.columns[clock], strict=True)]
    joined = {
        TimeFormat(f"{a.text} {b.text}", b.zone): max(x, y)
        for a, x in date_forms.items()
        for b, y in clock_forms.items()
    }
    sureness = "sure" if len(dates) == len(clocks) == 1 else "likely"
    rest = [repr(table.names[at]) for at, _ in [*dates[1:], *clocks[1:]]]
    told = f"; not taken: {', '.join(rest)}" if rest else ""
    claims = [
        Claim("time.date_column", table.names[date], sureness, f"days such as {table.columns[date][0]!r}{told}"),
        Claim("time.clock_column", table.names[clock], sureness, f"clock times such as {table.columns[clock][0]!r}"),
    ]
    return TimeColumns((date, clock), texts, joined, claims)
