"""One export as bytes: its SHA-256, its physical lines, its header. Streamed, never altered.

Belongs here: what can be said of an export before a dialect's columns are typed.
"""

from __future__ import annotations

import csv
import difflib
import hashlib
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from pumpledger.intake.carriers import Member
from pumpledger.intake.dialect import Dialect
from pumpledger.intake.progress import Progress
from pumpledger.intake.unreadable import Unreadable
from pumpledger.problems import Problem

_CHUNK = 1 << 22


@dataclass(frozen=True, slots=True)
class ExportFile:
    """An export of the inbox: a file, or a member of an archive. ``lines`` are physical lines; a last line without line
    end counts.

    ``sha256`` and ``size`` are of the unpacked content, ``arrived_sha256`` of the file as it lies in the inbox.
    ``lone_returns`` are carriage returns that end no line. ``pump`` is the code that the dialect takes from the file's
    name or fixes: the same bytes under another pump's name are another export.
    """

    path: Path
    member: Member
    sha256: str
    arrived_sha256: str
    size: int
    lines: int
    tail: bytes
    lone_returns: int = 0
    pump: str | None = None

    @property
    def name(self) -> str:
        """The name that people know it by."""
        return self.member.name

    @property
    def export_id(self) -> str:
        return export_id(self.sha256, self.pump)

    def open(self) -> BinaryIO:
        """The unpacked bytes."""
        return self.member.open()


def export_id(sha256: str, pump: str | None) -> str:
    """Short name of an export from its content and, where the file's name says it, its pump."""
    if pump is None:
        return sha256[:16]
    return hashlib.sha256(f"{sha256} {pump}".encode()).hexdigest()[:16]


def sha256_of(path: Path) -> str:
    """SHA-256 of a file as it lies in the inbox.

    Raises:
        Unreadable: the file cannot be opened.
    """
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError as error:
        raise Unreadable(_cannot_be_read(path.name, error)) from None


def examine(
    path: Path, member: Member, arrived_sha256: str | None = None, progress: Progress | None = None
) -> ExportFile:
    """Hash the content of ``member`` and count its physical lines in one pass of bounded memory.

    ``arrived_sha256`` is that of the file it came in; ``None`` where the content is the file.

    Raises:
        Unreadable: the file cannot be opened, or its carrier is broken or too large.
    """
    digest, lines, size, tail, lone = hashlib.sha256(), 0, 0, b"", 0
    try:
        with member.open() as file:
            while chunk := file.read(_CHUNK):
                digest.update(chunk)
                lines += chunk.count(b"\n")
                if tail.endswith(b"\r") or b"\r" in chunk:
                    split = tail.endswith(b"\r") and chunk.startswith(b"\n")
                    lone += chunk.count(b"\r") - chunk.count(b"\r\n") - split
                size += len(chunk)
                tail = (tail + chunk)[-4096:]
                if progress:
                    progress.advance(len(chunk))
    except OSError as error:
        raise Unreadable(_cannot_be_read(member.name, error)) from None
    if size and not tail.endswith(b"\n"):
        lines += 1
    sha256 = digest.hexdigest()
    return ExportFile(path, member, sha256, arrived_sha256 or sha256, size, lines, tail, lone)


def header_columns(export: ExportFile, dialect: Dialect, line: str) -> list[str]:
    """Column names from the header ``line`` (line ``dialect.header_lines`` of the export), checked against what the
    dialect needs; for a file without header the declared names.

    Raises:
        Unreadable: no header, wrong encoding, or a needed column is missing.
    """
    number = max(dialect.header_lines, 1)
    if dialect.names is not None:
        return checked_columns(export, dialect, list(dialect.names), None)
    if "\ufffd" in line or any("\ud800" <= mark <= "\udfff" for mark in line):
        fault = f"is not {dialect.encoding} text; declare the encoding in a dialect"
        raise Unreadable(Problem("export_encoding", fault, file=export.name, line=number))
    if not line.strip():
        needed = ", ".join(dialect.needed_columns)
        fault = f"has no header in line {number}; dialect {dialect.name} expects {needed}"
        raise Unreadable(Problem("export_empty", fault, file=export.name, line=number))
    if "\r" in line.rstrip("\r\n"):
        fault = "ends its lines with carriage returns alone; save it with ordinary line ends"
        raise Unreadable(Problem("export_line_ends", fault, file=export.name, line=number))
    cells = next(csv.reader([line], **csv_form(dialect)))
    return checked_columns(export, dialect, [cell.strip() for cell in cells], number)


def checked_columns(export: ExportFile, dialect: Dialect, columns: list[str], line: int | None) -> list[str]:
    """``columns``, if they hold all that the dialect needs, each once.

    Raises:
        Unreadable: a needed column is missing or stands twice, or a wide file holds no pump's column.
    """
    missing = [column for column in dialect.needed_columns if column not in columns]
    others = [column for column in columns if column not in dialect.needed_columns]
    if missing:
        close = [
            f"{column!r} (is it {near[0]!r}?)"
            if (near := difflib.get_close_matches(column, others, n=1))
            else repr(column)
            for column in missing
        ]
        fault = (
            f"does not fit dialect {dialect.name}: column {', '.join(close)} is missing; the header holds "
            f"{', '.join(map(repr, columns))}. Declare the file's own dialect (README, 'Declare your own export')"
        )
        raise Unreadable(Problem("export_columns", fault, file=export.name, line=line))
    twice = [column for column in dialect.needed_columns if columns.count(column) > 1]
    codes = [code for column in columns if (code := dialect.pump_of_column(column)) is not None]
    twice += sorted({code for code in codes if codes.count(code) > 1})
    if twice:
        fault = f"names a column twice: {', '.join(map(repr, twice))}"
        raise Unreadable(Problem("export_columns", fault, file=export.name, line=line))
    if dialect.wide and not codes:
        fault = f"holds no column of a pump that dialect {dialect.name} knows: {', '.join(map(repr, columns))}"
        raise Unreadable(Problem("export_columns", fault, file=export.name, line=line))
    return columns


def csv_form(dialect: Dialect) -> dict[str, object]:
    """What Python's csv reader is told about a dialect."""
    if dialect.quote is None:
        return {"delimiter": dialect.delimiter, "quoting": csv.QUOTE_NONE}
    return {"delimiter": dialect.delimiter, "quotechar": dialect.quote}


def ends_in_footer(tail: bytes, dialect: Dialect) -> bool:
    """Whether the last physical line of text that ends in ``tail`` (UTF-8) is the dialect's footer."""
    if not dialect.footer:
        return False
    lines = tail.rstrip(b"\r\n").rsplit(b"\n", 1)
    return lines[-1].startswith(dialect.footer.encode())


def _cannot_be_read(name: str, error: OSError) -> Problem:
    return Problem(
        "export_unreadable", f"cannot be read ({error.strerror or error}); copy it into the inbox again", file=name
    )
