"""One export as bytes: its SHA-256, its physical lines, its header. Read once, streamed, never altered.

Belongs here: what can be said of a file before a dialect's columns are typed.
"""

from __future__ import annotations

import csv
import difflib
import hashlib
from dataclasses import dataclass
from pathlib import Path

from pumpledger.intake.dialects import Dialect
from pumpledger.intake.rows import open_text
from pumpledger.problems import Problem

_CHUNK = 1 << 22
_HEADER_MOST = 1 << 16
"""Longest header that is looked at [characters]."""


@dataclass(frozen=True, slots=True)
class ExportFile:
    """A file of the inbox. ``lines`` are physical lines; a last line without line end counts.

    ``lone_returns`` are carriage returns that end no line. ``pump`` is the pump that the file's name gives, where the
    dialect takes it from there: the same bytes under another pump's name are another export.
    """

    path: Path
    sha256: str
    size: int
    lines: int
    tail: bytes
    lone_returns: int = 0
    pump: str | None = None

    @property
    def export_id(self) -> str:
        if self.pump is None:
            return self.sha256[:16]
        return hashlib.sha256(f"{self.sha256} {self.pump}".encode()).hexdigest()[:16]


class Unreadable(Exception):
    """A file that is set aside whole; ``problem`` says why and what to do."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        super().__init__(str(problem))


def examine(path: Path) -> ExportFile:
    """Hash ``path`` and count its physical lines in one pass of bounded memory.

    Raises:
        Unreadable: the file cannot be opened.
    """
    digest, lines, size, tail, lone = hashlib.sha256(), 0, 0, b"", 0
    try:
        with path.open("rb") as file:
            while chunk := file.read(_CHUNK):
                digest.update(chunk)
                lines += chunk.count(b"\n")
                if tail.endswith(b"\r") or b"\r" in chunk:
                    split = tail.endswith(b"\r") and chunk.startswith(b"\n")
                    lone += chunk.count(b"\r") - chunk.count(b"\r\n") - split
                size += len(chunk)
                tail = (tail + chunk)[-4096:]
    except OSError as error:
        raise Unreadable(
            Problem(
                "export_unreadable", f"cannot be read ({error.strerror}); copy it into the inbox again", file=path.name
            )
        ) from None
    if size and not tail.endswith(b"\n"):
        lines += 1
    return ExportFile(path, digest.hexdigest(), size, lines, tail, lone)


def header_columns(export: ExportFile, dialect: Dialect) -> list[str]:
    """Column names of the header line, checked against what the dialect needs.

    Raises:
        Unreadable: no header, wrong encoding, or a needed column is missing.
    """
    name, number = export.path.name, dialect.preamble_lines + 1
    with open_text(export.path, dialect) as file:
        for _ in range(dialect.preamble_lines):
            while (part := file.readline(_HEADER_MOST)) and not part.endswith("\n"):
                pass
        line = file.readline(_HEADER_MOST)
    line = line.removeprefix("\ufeff") if number == 1 else line
    if "\ufffd" in line or any("\ud800" <= mark <= "\udfff" for mark in line):
        fault = f"is not {dialect.encoding} text; declare the encoding in a dialect"
        raise Unreadable(Problem("export_encoding", fault, file=name, line=number))
    if not line.strip():
        raise Unreadable(
            Problem(
                "export_empty",
                f"has no header in line {number}; dialect {dialect.name} expects {', '.join(dialect.needed_columns)}",
                file=name,
                line=number,
            )
        )
    if "\r" in line.rstrip("\r\n"):
        fault = "ends its lines with carriage returns alone; save it with ordinary line ends"
        raise Unreadable(Problem("export_line_ends", fault, file=name, line=number))
    columns = [cell.strip() for cell in next(csv.reader([line], delimiter=dialect.delimiter))]
    missing = [column for column in dialect.needed_columns if column not in columns]
    if missing:
        close = [
            f"{column!r} (is it {near[0]!r}?)"
            if (near := difflib.get_close_matches(column, columns, n=1))
            else repr(column)
            for column in missing
        ]
        raise Unreadable(
            Problem(
                "export_columns",
                f"does not fit dialect {dialect.name}: column {', '.join(close)} is missing; the header holds "
                f"{', '.join(map(repr, columns))}. Declare the file's own dialect (README, 'Declare your own export')",
                file=name,
                line=number,
            )
        )
    twice = [column for column in dialect.needed_columns if columns.count(column) > 1]
    if twice:
        raise Unreadable(
            Problem("export_columns", f"names a column twice: {', '.join(map(repr, twice))}", file=name, line=number)
        )
    return columns


def ends_in_footer(export: ExportFile, dialect: Dialect) -> bool:
    """Whether the last physical line is the dialect's footer."""
    if not dialect.footer:
        return False
    lines = export.tail.rstrip(b"\r\n").rsplit(b"\n", 1)
    return lines[-1].startswith(dialect.footer.encode())
