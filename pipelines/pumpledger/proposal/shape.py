"""Which lines of a file are data, which are its header, preamble and footer.

Belongs here: lines. Fields are `fields.py`, what columns mean comes later.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from pumpledger.proposal.cells import looks_like_number
from pumpledger.proposal.claim import Claim, Sureness, refuse
from pumpledger.proposal.fields import Split, split_of
from pumpledger.proposal.stamps import kind_of
from pumpledger.proposal.text import LONGEST_LINE, Lines
from pumpledger.proposal.words import knows_word, unit_only

_PREAMBLE_MOST = 100
_ROWS_LEAST = 2


@dataclass(frozen=True, slots=True)
class Shape:
    """The table in a file. ``names`` are those of the header, or made up where ``headed`` is false; ``rows`` are the
    data rows, each with the number of its stretch. ``preamble`` is the text before the header. ``units`` are the cells
    of a second header line, empty where there is none. ``renamed`` are names of a header that were empty or said
    before, and were made distinct."""

    names: list[str]
    headed: bool
    rows: list[list[str]]
    stretch: list[int]
    preamble: list[str]
    units: list[str]
    renamed: list[str]
    claims: list[Claim]


def shape_of(lines: Lines, name: str) -> Shape:
    """The table in ``lines`` and the claims on its form.

    Raises:
        NoProposal: there is none, or it has too few rows to tell anything from.
    """
    filled = [text for text in lines.texts if text.strip()]
    if len(filled) < _ROWS_LEAST:
        raise refuse("holds one line; a proposal needs a header and some rows", name)
    split, claims = split_of(lines, name)
    fields = [split.cells(text) if text.strip() and len(text) <= LONGEST_LINE else [] for text in lines.texts]
    table = [number for number, cells in enumerate(fields) if len(cells) == split.width]
    top = table[0]
    if lines.stretch[top] != 0 or top > _PREAMBLE_MOST:
        raise refuse(f"has no header or row of data in its first {_PREAMBLE_MOST} lines", name)
    timed = _time_positions([fields[number] for number in table[1:]])
    body = [number for number in table if _is_row(fields[number], timed)]
    if len(body) < _ROWS_LEAST:
        raise refuse("holds fewer than two rows of data; a proposal needs more", name)
    above = [number for number in table if number < body[0]]
    names, head_claims, headed = _header(fields, lines.texts, above, body[0], split)
    header_cells = fields[above[-1]] if above else names
    below = fields[above[-1]] if len(above) > 1 and headed else []
    units = [cell.strip() for cell in below] if _is_units_line(below) else []
    header_cells = fields[above[-2]] if units else header_cells
    footer = _footer(lines, body, split)
    first = above[0] if above else body[0]
    return Shape(
        names,
        headed,
        [fields[number] for number in body],
        [lines.stretch[number] for number in body],
        lines.texts[:first],
        units,
        [name for at, name in enumerate(names) if headed and name != header_cells[at].strip()],
        [*claims, *head_claims, *footer],
    )


def _time_positions(rows: list[list[str]]) -> list[int]:
    """Positions that hold a stamp, date or epoch in most rows."""
    if not rows:
        return []
    looked = rows[:: max(len(rows) // 200, 1)]
    width = len(looked[0])
    share = [sum(kind_of(row[at]) is not None for row in looked) / len(looked) for at in range(width)]
    return [at for at in range(width) if share[at] > 0.8]


def _is_row(cells: list[str], timed: list[int]) -> bool:
    """Whether a line of the right width is data: it holds a stamp where the others do, or a number where none does."""
    if timed:
        return any(kind_of(cells[at]) is not None for at in timed)
    return any(looks_like_number(cell.strip()) for cell in cells)


def _header(
    fields: list[list[str]], texts: list[str], above: list[int], first_row: int, split: Split
) -> tuple[list[str], list[Claim], bool]:
    """Column names, the claims on names and preamble, and whether there is a header."""
    if not above:
        names = [f"column {number}" for number in range(1, split.width + 1)]
        near = [text for text in texts[:first_row] if text.strip()]
        torn = near and any(knows_word(word) for word in re.split(r"\W+", near[-1]))
        told = "no header; these names are made up, in the order of the columns"
        if torn:
            told = f"the line above has another number of fields ({near[-1][:60]!r}); names are made up"
        kept = Claim("file.names", names, "likely", told)
        why = "the first line is a row of data" if first_row == 0 else f"line {first_row + 1} is the first row of data"
        return names, [kept, *_preamble(first_row, "sure" if first_row == 0 else "likely", why)], False
    under = above[-1] if len(above) > 1 and _is_units_line(fields[above[-1]]) else None
    header = above[-2] if under is not None else above[-1]
    names = [cell.strip() for cell in fields[header]]
    known = [name for name in names if knows_word(name)]
    if under is not None:
        names = _distinct(names)
        why = f"from line {header + 1}; line {under + 1} below it holds units: {texts[under][:60]!r}"
        return names, [Claim("file.names", names, "likely", why), *_preamble(under + 1, "likely", why)], True
    names = _distinct(names)
    told = f"line {header + 1} holds names" + (f" such as {known[0]!r}" if known else ", none of them a known word")
    return names, _preamble(header, "sure" if known else "likely", told), True


def _preamble(lines: int, sureness: Sureness, told: str) -> list[Claim]:
    return [Claim("file.preamble_lines", lines, sureness, told)]


def _is_units_line(cells: list[str]) -> bool:
    """Whether half of the filled cells hold a unit and nothing else, and no other is a name."""
    filled = [cell for cell in cells if cell.strip()]
    others = [cell for cell in filled if not unit_only(cell)]
    return bool(filled) and 2 * len(others) <= len(filled) and not any(knows_word(cell) for cell in others)


def _distinct(names: list[str]) -> list[str]:
    """``names`` with what is empty or said before made different."""
    seen: list[str] = []
    for number, name in enumerate(names, start=1):
        name = name or f"column {number}"
        seen.append(name if name not in seen else f"{name} {number}")
    return seen


def _footer(lines: Lines, body: list[int], split: Split) -> list[Claim]:
    """The claim on ``file.footer``: what stands after the last row, if the file's end was seen."""
    if not lines.ends:
        return []
    after = [text for text in lines.texts[body[-1] + 1 :] if text.strip() and len(text) <= LONGEST_LINE]
    if not after:
        return []
    start = re.match(r"[^\d\n]*", after[-1])[0].split(split.delimiter)[0].strip()  # type: ignore[index]
    rows = {lines.texts[number][: len(start)] for number in body}
    if not re.search(r"[^\d\s.,:;+\-/]", start) or start in rows or len(start) > 60:
        return []
    rest = sum(not text.startswith(start) for text in after)
    told = f"the last line is {after[-1][:60]!r}"
    if rest:
        told += f"; {rest} more between the last row and it start otherwise and will be refused one by one"
    return [Claim("file.footer", start, "likely", told)]
