"""Physical lines of a text export, whatever its carrier and encoding, and the export cut into chunks that DuckDB reads.

Belongs here: decoding, counting lines, cutting at line ends. What a line holds belongs to `rows.py` and `parse.py`.
A chunk is UTF-8 without header, preamble or byte-order mark, so that each can be read by the fastest way that it
allows: one bad line costs its chunk the short way, not the whole file.
"""

from __future__ import annotations

import codecs
import io
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TextIO

from pumpledger.intake.dialect import Dialect
from pumpledger.intake.files import ExportFile
from pumpledger.intake.unreadable import Unreadable
from pumpledger.problems import Problem

LONGEST = 1 << 20
"""Longest record kept whole [characters]; a longer one is one unreadable record, so that a missing line end cannot eat
the memory."""

_BLOCK = 1 << 25
"""Characters a chunk holds, about."""


@dataclass(frozen=True, slots=True)
class Chunk:
    """Consecutive whole lines of an export as a UTF-8 file of their own; ``first_line`` is the first one's number,
    ``footers`` how many lines begin as the dialect's footer does."""

    path: Path
    first_line: int
    lines: int
    footers: int
    lone_returns: int
    tail: bytes


def open_text(export: ExportFile, dialect: Dialect) -> TextIO:
    """``export`` as text whose lines end at line feeds alone, so that every way of reading counts the same lines.

    Bytes that are not UTF-8 come as lone surrogates, for `rows.py` to tell.

    Raises:
        Unreadable: a UTF-16 file does not say in which order its bytes come.
    """
    errors = "surrogateescape" if dialect.encoding == "utf-8" else "replace"
    stream = export.open()
    head = stream.peek(2)[:2] if dialect.encoding == "utf-16" else b""  # type: ignore[attr-defined]  # buffered
    if len(head) == 2 and head not in (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE):
        stream.close()
        fault = "does not begin with the byte-order mark of UTF-16, its declared encoding; is it declared rightly?"
        raise Unreadable(Problem("export_encoding", fault, file=export.name, line=1))
    return io.TextIOWrapper(stream, encoding=dialect.encoding, errors=errors, newline="\n")


def header_line(export: ExportFile, dialect: Dialect) -> str:
    """The header's text, or the first line of a file without one."""
    wanted = max(dialect.header_lines, 1)
    return next((text for number, text in numbered_lines(export, dialect) if number == wanted), "")


def numbered_lines(export: ExportFile, dialect: Dialect) -> Iterator[tuple[int, str]]:
    """(number from 1, text without line end) of every physical line; of an endless one, a character more than
    `LONGEST`."""
    with open_text(export, dialect) as file:
        number = 0
        while text := file.readline(LONGEST + 2):
            number += 1
            part = text
            while not part.endswith("\n") and (part := file.readline(LONGEST)):
                pass
            raw = text.rstrip("\r\n")
            yield number, raw.removeprefix("\ufeff") if number == 1 else raw


def chunks(export: ExportFile, dialect: Dialect, folder: Path) -> Iterator[Chunk]:
    """The data lines of ``export``, and its footer, as files in ``folder``; each is gone when the next is asked for."""
    path = folder / "chunk.csv"
    with open_text(export, dialect) as file:
        for _ in range(dialect.header_lines):
            while (part := file.readline(LONGEST)) and not part.endswith("\n"):
                pass
        first_line, rest, started = dialect.header_lines + 1, "", dialect.header_lines > 0
        while block := file.read(_BLOCK):
            text = rest + (block if started else block.removeprefix("\ufeff"))
            started = True
            end = text.rfind("\n") + 1
            text, rest = text[:end], text[end:][: LONGEST + 2]  # what is longer is refused as it is
            if text:
                chunk = _written(path, text, first_line, dialect.footer)
                yield chunk
                first_line += chunk.lines
        if rest:
            yield _written(path, rest, first_line, dialect.footer)
    path.unlink(missing_ok=True)


def _written(path: Path, text: str, first_line: int, footer: str | None) -> Chunk:
    content = text.encode("utf-8", "surrogateescape")
    path.write_bytes(content)
    lines = text.count("\n") + (not text.endswith("\n"))
    footers = text.startswith(footer) + text.count(f"\n{footer}") if footer else 0
    return Chunk(path, first_line, lines, footers, text.count("\r") - text.count("\r\n"), content[-4096:])
