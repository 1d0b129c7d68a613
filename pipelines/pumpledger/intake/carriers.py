"""What a file of the inbox carries: itself, what is compressed in it, or the entries of an archive.

Belongs here: the kind of a file, found by its first bytes and not by its name, and its members as streams of unpacked
bytes. Zip archives are `zipped.py`, limits and faults `bounded.py`; nothing here knows what an export holds.
"""

from __future__ import annotations

import io
import stat
from dataclasses import dataclass, field
from pathlib import Path
from typing import BinaryIO, Literal

import pyarrow

from pumpledger.intake.bounded import CHUNK, LIMITS, BoundedStream, Limits, fault_of
from pumpledger.intake.shown_names import clean_name, without_packing
from pumpledger.intake.unreadable import Unreadable
from pumpledger.intake.zipped import Entry, directory, open_entry
from pumpledger.problems import Problem

Kind = Literal["plain", "gzip", "zstd", "zip"]

_HEAD_BYTES = 512
_OTHER_KINDS = (
    (b"7z\xbc\xaf\x27\x1c", "a 7z archive"),
    (b"Rar!\x1a\x07", "a rar archive"),
    (b"BZh", "compressed by bzip2"),
    (b"\xfd7zXZ\x00", "compressed by xz"),
    (b"\x04\x22\x4d\x18", "compressed by lz4"),
    (b"\x1f\x9d", "compressed by compress"),
    (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "an office document"),
    (b"%PDF-", "a PDF"),
)
_BZIP2_BLOCKS = (b"\x31\x41\x59\x26\x53\x59", b"\x17\x72\x45\x38\x50\x90")


@dataclass(frozen=True, slots=True)
class Member:
    """One export as it lies in the inbox.

    ``name`` is shown to people: the file's own name, or ``week.zip/north/a.csv``. ``inner`` is what globs and dialects
    look at: without .gz or .zst, and the last part of the name in an archive. ``packed`` says that ``path`` does
    not hold the bytes as they are. ``fault`` is why `open` refuses, where that is known beforehand.
    """

    path: Path
    name: str
    inner: str
    kind: Kind
    limits: Limits = LIMITS
    entry: Entry | None = field(default=None, compare=False, repr=False)

    @property
    def packed(self) -> bool:
        return self.kind != "plain"

    @property
    def fault(self) -> Problem | None:
        return self.entry.fault if self.entry else None

    def open(self) -> BinaryIO:
        """The unpacked bytes, forward only; reading raises `Unreadable` too, and goes on raising it.

        Raises:
            Unreadable: vanished, forbidden, cut short, damaged, too large unpacked, or of a kind that is not read.
        """
        stream = open_entry(self.path, self.entry, self.limits) if self.entry else self._open_file()
        buffered = io.BufferedReader(stream, CHUNK)
        if self.packed:
            try:
                _refuse_other_kinds(buffered.peek(_HEAD_BYTES), self.name, inside=True)
            except Unreadable:
                buffered.close()
                raise
        return buffered

    def _open_file(self) -> BoundedStream:
        try:
            file = self.path.open("rb", buffering=0)
        except OSError as error:
            raise Unreadable(fault_of(error, self.name, packed=False)) from None
        if self.kind == "plain":
            return BoundedStream(file, self.name, self.limits)
        unpacked = pyarrow.CompressedInputStream(pyarrow.PythonFile(file, mode="r"), self.kind)
        return BoundedStream(unpacked, self.name, self.limits, file.tell, closes=(file,))


@dataclass(frozen=True, slots=True)
class Contents:
    """The members of a file of the inbox, and the names of the entries that are no exports: folders, hidden files."""

    members: tuple[Member, ...]
    skipped: tuple[str, ...] = ()


def members(path: Path, limits: Limits = LIMITS) -> list[Member]:
    """The exports that ``path`` carries, in the archive's order. See `contents`."""
    return list(contents(path, limits).members)


def contents(path: Path, limits: Limits = LIMITS) -> Contents:
    """What ``path`` carries. Only the first bytes, and the directory of an archive, are read.

    A refused entry of an archive is a member whose `Member.open` raises; the other members can be read.

    Raises:
        Unreadable: the file as a whole cannot be read: vanished, forbidden, no file, of a kind that is not read, an
            archive without a sound directory or past the limits.
    """
    name = clean_name(path.name)
    head = _head(path, name)
    kind = _kind(head)
    if kind == "zip":
        found = directory(path, name, limits)
        return Contents(
            tuple(Member(path, entry.name, entry.base, kind, limits, entry) for entry in found.entries), found.skipped
        )
    _refuse_other_kinds(head, name, inside=False)
    return Contents((Member(path, name, without_packing(name), kind, limits),))


def _head(path: Path, name: str) -> bytes:
    try:
        if not stat.S_ISREG(path.stat().st_mode):
            # Opening a pipe would wait for ever.
            raise Unreadable(Problem("export_unreadable", "is not a file; put files into the inbox", file=name))
        with path.open("rb") as file:
            return file.read(_HEAD_BYTES)
    except OSError as error:
        raise Unreadable(fault_of(error, name, packed=False)) from None


def _kind(head: bytes) -> Kind:
    """By the magic numbers of RFC 1952, RFC 8878 (a frame, or one that is to be skipped) and of zip's first record."""
    if head.startswith(b"\x1f\x8b"):
        return "gzip"
    if head.startswith(b"\x28\xb5\x2f\xfd") or (head[1:4] == b"\x2a\x4d\x18" and 0x50 <= head[0] <= 0x5F):
        return "zstd"
    if head.startswith((b"PK\x03\x04", b"PK\x05\x06", b"PK\x07\x08")):
        return "zip"
    return "plain"


def _refuse_other_kinds(head: bytes, name: str, inside: bool) -> None:
    """Raises Unreadable for what is no export as it stands; ``inside`` a packed file, any packing is one too many."""
    if inside and _kind(head) != "plain":
        what = "holds what is packed once more; unpack it once and put that in"
        raise Unreadable(Problem("archive_entry", what, file=name))
    for magic, what in _OTHER_KINDS:
        if head.startswith(magic) and (magic != b"BZh" or head[4:10] in _BZIP2_BLOCKS):
            raise Unreadable(Problem("export_kind", f"is {what}, which is not read; put in the CSV itself", file=name))
    if head[257:262] == b"ustar":
        raise Unreadable(Problem("export_kind", "is a tar archive; unpack it, or make it a zip archive", file=name))
