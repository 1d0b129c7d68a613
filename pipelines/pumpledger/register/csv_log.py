"""CSV files of a fleet folder that only ever grow: a line a decision, kept for good.

Belongs here: reading and adding lines. What they mean belongs to those who keep them.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Mapping
from pathlib import Path

from pumpledger.problems import FleetError, Problem
from pumpledger.register.csv_file import read_rows
from pumpledger.register.fields import Field
from pumpledger.workspace import write_whole

_FORMULA = re.compile(r"'*[=+\-@]")


def read_log(path: Path, fields: tuple[Field, ...]) -> list[dict[str, object]]:
    """The lines of ``path`` in the order in which they were added; none where there is no such file.

    Raises:
        FleetError: the file does not hold, with every fault. Nothing is to change because a line was skipped.
    """
    if not path.exists():
        return []
    problems: list[Problem] = []
    rows = read_rows(path, path.name, fields, problems)
    faults = [problem for problem in problems if problem.severity == "disqualifies"]
    if faults:
        raise FleetError(faults)
    return [{item.column: _unescaped(row[item.column]) for item in fields} for row in rows.rows]


def append_log(path: Path, fields: tuple[Field, ...], lines: Iterable[Mapping[str, object]]) -> None:
    """Add ``lines`` to ``path``; what stood there stays byte for byte. Hold the fleet's lock."""
    before = path.read_bytes() if path.exists() else b""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\n")
    if not before.strip():
        writer.writerow([item.column for item in fields])
    for line in lines:
        writer.writerow([_escaped(line[item.column]) for item in fields])
    ended = before if not before or before.endswith(b"\n") else before + b"\n"
    write_whole(path, ended + out.getvalue().encode("utf-8"))


def plain(text: str) -> str:
    """``text`` on one line, without control characters, as a cell may hold it."""
    return " ".join("".join(mark if mark.isprintable() else " " for mark in text).split())


def _escaped(value: object) -> str:
    """A cell that no spreadsheet takes for a formula. Numbers are none."""
    text = "" if value is None else plain(str(value))
    return f"'{text}" if isinstance(value, str) and _FORMULA.match(text) else text


def _unescaped(value: object) -> object:
    return value[1:] if isinstance(value, str) and value.startswith("'") and _FORMULA.match(value) else value
