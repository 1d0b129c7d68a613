"""A stream of unpacked bytes that stops before it hurts, and says so in a sentence.

Belongs here: the limits, and the guard that every member of the inbox is read through. What kind of file it is, and
which decoder unpacks it, is `carriers.py` and `zipped.py`.
"""

from __future__ import annotations

import io
import zipfile
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

from pumpledger.intake.unreadable import Unreadable
from pumpledger.problems import Problem

CHUNK = 1 << 20
"""Unpacked at a time, and held by each open stream [bytes]."""


@dataclass(frozen=True, slots=True)
class Limits:
    """How far an inbox file may unpack. Files that are not packed have no limit: they are on the disk already.

    ``member_bytes`` and ``archive_bytes`` bound the unpacked size of one export and of all exports of one archive: an
    export of 5 GB passes. ``ratio`` bounds unpacked to packed bytes, only above ``ratio_from_bytes``. Both stand high,
    because honest files come close: made-up logs of idle pumps packed to 1/14 (one pump, deflate) and 1/600 (5000
    columns), by zstandard to 1/90 and 1/6900; deflate can reach 1/1032. ``members`` counts every entry of an archive,
    folders too; ``name_characters`` is the longest name of an entry, with its folders.
    """

    member_bytes: int = 8 << 30
    archive_bytes: int = 16 << 30
    ratio: int = 1000
    ratio_from_bytes: int = 1 << 30
    members: int = 10_000
    name_characters: int = 255


LIMITS = Limits()


class _Source(Protocol):
    """What unpacks: a decoder, or the file itself."""

    def readinto(self, buffer: memoryview, /) -> int | None: ...

    def close(self) -> None: ...


class BoundedStream(io.RawIOBase):
    """Reads ``source`` forward, holds it to ``limits``, and turns every fault of it into `Unreadable`.

    A fault stays: reading on raises it again, so that a broken file never looks like a short one.

    Args:
        source: gives the unpacked bytes.
        name: the file as shown to people.
        packed_bytes: gives the packed bytes read so far; ``None`` where nothing is packed, and no limit holds.
        size: the unpacked size that the archive declares [bytes]; ``None`` where none is declared.
        closes: what is closed with the stream.
    """

    def __init__(
        self,
        source: _Source,
        name: str,
        limits: Limits,
        packed_bytes: Callable[[], int] | None = None,
        size: int | None = None,
        closes: tuple[io.IOBase, ...] = (),
    ) -> None:
        self._source, self._name, self._limits = source, name, limits
        self._packed_bytes, self._size, self._closes = packed_bytes, size, closes
        self._count = 0
        self._fault: Problem | None = None

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: memoryview, /) -> int:  # type: ignore[override]
        if self._fault:
            raise Unreadable(self._fault)
        try:
            got = self._source.readinto(buffer) or 0
        except (EOFError, zlib.error, zipfile.BadZipFile, OSError) as error:
            raise self._stop(fault_of(error, self._name, packed=self._packed_bytes is not None)) from None
        self._count += got
        if self._packed_bytes is not None:
            self._hold(self._packed_bytes())
        if not got and self._size is not None and self._count != self._size:
            raise self._stop(cut_short(self._name))
        return got

    def _hold(self, packed: int) -> None:
        most = self._limits
        if self._count > most.member_bytes:
            raise self._stop(too_large(self._name, f"more than {plain_size(most.member_bytes)}"))
        if self._count > most.ratio_from_bytes and self._count > most.ratio * max(packed, 1):
            raise self._stop(too_large(self._name, f"more than {most.ratio} times its own size"))

    def _stop(self, problem: Problem) -> Unreadable:
        self._fault = problem
        return Unreadable(problem)

    def close(self) -> None:
        if not self.closed:
            self._source.close()
            for file in self._closes:
                file.close()
        super().close()


def fault_of(error: Exception, name: str, packed: bool) -> Problem:
    """The problem behind what a decoder, or the operating system, raised while ``name`` was read."""
    if isinstance(error, OSError) and error.errno is not None:
        return Problem(
            "export_unreadable",
            f"cannot be read ({error.strerror or 'input/output error'}); copy it into the inbox again",
            file=name,
        )
    words = str(error).lower()
    if isinstance(error, EOFError) or "truncated" in words or "incomplete" in words:
        return cut_short(name)
    if "too much memory" in words:
        return Problem(
            "export_unreadable",
            "is compressed with a window too long to be read safely; compress it again without long-distance matching",
            file=name,
        )
    return damaged(name) if packed else Problem("export_unreadable", "cannot be read; copy it again", file=name)


def cut_short(name: str) -> Problem:
    return Problem(
        "export_cut_short", "ends before its compressed data does: the file was cut short; copy it again", file=name
    )


def damaged(name: str) -> Problem:
    return Problem(
        "export_damaged",
        "cannot be unpacked: its compressed data is damaged, or something else follows it; copy or export it again",
        file=name,
    )


def too_large(name: str, what: str) -> Problem:
    return Problem(
        "export_too_large",
        f"unpacks to {what}, which no export should; if it is sound, unpack it and put in the CSV itself",
        file=name,
    )


def plain_size(size: int) -> str:
    """``8.0 GB`` and the like, powers of 1000."""
    for unit, power in (("GB", 9), ("MB", 6), ("kB", 3)):
        if size >= 10**power:
            return f"{size / 10**power:.1f} {unit}"
    return f"{size} bytes"
