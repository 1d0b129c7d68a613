"""Numbers as text: what looks like one, and which mark is the decimal one.

Belongs here: single cells and columns of cells. What the numbers measure is in `quantities.py`.
"""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass

_NUMBER = re.compile(r"[+-]?(?:\d[\d.,' ]*\d|\d|[.,]\d+|\d+[.,])(?:[eE][+-]?\d{1,3})?", re.ASCII)
_GROUPED = re.compile(r"[+-]?\d{1,3}(?:([.,' ])\d{3})+(?!\d)", re.ASCII)
EMPTY_WORDS = frozenset({"", "-", "--", "---", "n/a", "na", "nan", "null", "none", "nil", "#n/a", "?"})
"""What loggers write where there is no value, in lower case (common practice, no source)."""


def looks_like_number(text: str) -> bool:
    """Whether ``text`` can be a number by some decimal and thousands mark."""
    return bool(_NUMBER.fullmatch(text)) and _form(text) is not None


@dataclass(frozen=True, slots=True)
class Marks:
    """How numbers are written: ``decimal`` mark and mark between ``thousands``, if any."""

    decimal: str
    thousands: str | None = None

    def read(self, text: str) -> float | None:
        """The number in ``text``; ``None`` where it is none by these marks."""
        text = text.strip()
        if not looks_like_number(text):
            return None
        if self.thousands and self.thousands in text:
            whole = text.split(self.decimal)[0]
            grouped = _GROUPED.fullmatch(whole)
            if not grouped or set(re.findall(r"[.,' ]", whole)) != {self.thousands}:
                return None
            text = text.replace(self.thousands, "")
        text = text.replace(self.decimal, ".") if self.decimal != "." else text
        try:
            return float(text)
        except ValueError:
            return None


def _form(text: str) -> tuple[str | None, str | None, bool] | None:
    """(decimal mark, thousands mark, decided) of one number; marks it does not show are ``None``.

    Not decided is one mark with three digits after it and one to three before, such as 1,234. ``None``: no number.
    """
    body = re.sub(r"[eE][+-]?\d{1,3}$", "", text.lstrip("+-"))
    marks = re.findall(r"[.,' ]", body)
    kinds = list(dict.fromkeys(marks))
    if not marks:
        return None, None, True
    if len(kinds) > 2 or (len(kinds) == 2 and (marks.count(kinds[1]) > 1 or kinds[1] in "' ")):
        return None
    if len(kinds) == 2:
        return (kinds[1], kinds[0], True) if _GROUPED.fullmatch(body.rsplit(kinds[1], 1)[0]) else None
    mark = kinds[0]
    if mark in "' " or len(marks) > 1:
        return (None, mark, True) if _GROUPED.fullmatch(body) else None
    before, after = body.split(mark)
    if len(after) == 3 and 1 <= len(before) <= 3 and not before.startswith("0"):
        return mark, None, False
    return mark, None, True


@dataclass(frozen=True, slots=True)
class MarkVotes:
    """What a set of numbers says about their marks: how many different ones have each decimal mark for certain, each
    thousands mark for certain, and one mark that can be either; and one number of each sort. A word that is repeated
    all over, such as the version 1.2, counts once."""

    decimal: Counter[str]
    thousands: Counter[str]
    either: Counter[str]
    example: dict[tuple[str, str], str]


def votes_of(cells: list[str]) -> MarkVotes:
    """Votes of all numbers among ``cells``."""
    decimal, thousands, either = Counter[str](), Counter[str](), Counter[str]()
    example: dict[tuple[str, str], str] = {}
    for text in dict.fromkeys(cell.strip() for cell in cells):
        form = _form(text) if _NUMBER.fullmatch(text) else None
        if form is None:
            continue
        point, group, decided = form
        if group:
            thousands[group] += 1
            example.setdefault(("thousands", group), text)
        if point:
            (decimal if decided else either)[point] += 1
            example.setdefault(("decimal" if decided else "either", point), text)
    return MarkVotes(decimal, thousands, either, example)
