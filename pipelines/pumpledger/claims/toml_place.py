"""Where in a TOML text a value stands: line and column, for messages.

Belongs here: finding a place. A file that is no TOML has its place in the parser's own message.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

_HEADER = re.compile(r"\s*(\[\[?)\s*([^\[\]]+?)\s*\]\]?\s*(#.*)?$")
_KEY = re.compile(r"""\s*((?:[\w-]+|"[^"]*"|'[^']*')(?:\s*\.\s*(?:[\w-]+|"[^"]*"|'[^']*'))*)\s*=""")

Path = Sequence[str | int]


def place(text: str, path: Path) -> tuple[int | None, int | None]:
    """Line and column, 1-based, of the value at ``path`` (keys, and positions from 0 in lists); of the nearest thing
    around it where the value itself is not written out; (None, None) where nothing of it is."""
    best: tuple[int, int, int] | None = None  # how much of the path, line, column
    at: list[str | int] = []
    seen: dict[str, int] = {}
    for number, line in enumerate(text.splitlines(), start=1):
        header = _HEADER.match(line)
        if header:
            at = [_bare(part) for part in header[2].split(".")]
            if header[1] == "[[":
                seen[header[2]] = seen.get(header[2], -1) + 1
                at = [*at, seen[header[2]]]
            elif at and str(at[0]) in seen and len(at) > 1:  # a table inside the last entry of a list
                at = [at[0], seen[str(at[0])], *at[1:]]
            best = _better(best, at, path, number, line.index("[") + 1)
            continue
        key = _KEY.match(line)
        if key:
            here = [*at, *(_bare(part) for part in key[1].split("."))]
            best = _better(best, here, path, number, line.index(key[1]) + 1)
    if best is None:
        return None, None
    matched, line_number, column = best
    rest = path[matched:]
    if rest and isinstance(rest[0], int):
        return _nth_entry(text, line_number, column, rest[0])
    return line_number, column


def _bare(part: str) -> str:
    return part.strip().strip("\"'")


def _better(
    best: tuple[int, int, int] | None, here: Sequence[str | int], path: Path, line: int, column: int
) -> tuple[int, int, int] | None:
    if list(path[: len(here)]) == list(here) and (best is None or len(here) > best[0]):
        return len(here), line, column
    return best


def _nth_entry(text: str, line: int, column: int, position: int) -> tuple[int, int]:
    """Place of an inline table of a list that begins in ``line``; the list's own place where it holds none."""
    count = -1
    for number, content in enumerate(text.splitlines()[line - 1 :], start=line):
        for found in re.finditer(r"\{", content):
            count += 1
            if count == position:
                return number, found.start() + 1
        if number > line and _HEADER.match(content):
            break
    return line, column
