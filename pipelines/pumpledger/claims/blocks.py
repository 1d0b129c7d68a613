"""The building blocks of a claim's document, as plain dicts that the templates draw: a paragraph, a list, a table, a note.

Belongs here: their shape, and how a number of a claim is written: energy to the watt-hour, missing as a dash. What is said
belongs to `packet_sections.py`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

Block = dict[str, object]
DASH, MINUS = "\u2013", "\u2212"
_LONG = 400
"""A cell with more characters may make its table longer than a page."""
MEASURED, STIPULATED, COMPUTED = "measured", "stipulated", "computed"


def number(value: float | int | None, decimals: int = 0) -> str:
    """``1,234.5`` with a true minus sign; a dash where nothing is known."""
    if value is None:
        return DASH
    text = f"{value:,.{decimals}f}"
    if float(text.replace(",", "")) == 0:
        text = text.lstrip("-")
    return text.replace("-", MINUS)


def kwh(value: float | None) -> str:
    """Energy to the watt-hour [kWh], without its unit."""
    return number(value, 3)


def percent(share: float | None, decimals: int = 1) -> str:
    return DASH if share is None else f"{number(share * 100, decimals)} %"


def clock(minutes: int) -> str:
    """Wall clock of minutes since midnight; 1440 is ``24:00``."""
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


def para(text: str) -> Block:
    return {"kind": "para", "text": text}


def note(text: str, tone: str = "plain") -> Block:
    """A boxed sentence; ``tone`` is plain, alarm or good."""
    return {"kind": "note", "text": text, "tone": tone}


def bullets(items: Iterable[str]) -> Block:
    return {"kind": "list", "items": list(items)}


def terms(items: Iterable[tuple[str, str]]) -> Block:
    return {"kind": "terms", "items": [list(item) for item in items]}


def heads(*columns: str) -> list[Block]:
    """Columns of a table from ``head``, ``head|n`` (numbers), ``head|w3`` (three parts of the room that is left), with
    ``|measured``, ``|stipulated`` or ``|computed`` after it where that is what it holds."""
    made = []
    for column in columns:
        head, *marks = column.split("|")
        kind = next((mark for mark in marks if mark in (MEASURED, STIPULATED, COMPUTED)), "")
        parts = next((int(mark[1:] or 1) for mark in marks if mark[:1] == "w"), 0)
        made.append({"head": head, "kind": kind, "number": "n" in marks, "parts": parts})
    return made


def sentence(text: str) -> str:
    """``text`` with a capital first and a full stop last."""
    said = text.strip()
    return said[:1].upper() + said[1:] + ("" if not said or said[-1] in ".:!?" else ".")


def table(caption: str, columns: list[Block], rows: Iterable[Sequence[str]], total: bool = False) -> Block:
    """A table; ``total`` says that its last row is a sum. A table without rows becomes a sentence."""
    held = [list(row) for row in rows]
    if not held:
        return para(f"{caption}: none.")
    assert all(len(row) == len(columns) for row in held), caption
    long = any(len(cell) > _LONG for row in held for cell in row)
    return {"kind": "table", "caption": caption, "columns": columns, "rows": held, "total": total, "long": long}
