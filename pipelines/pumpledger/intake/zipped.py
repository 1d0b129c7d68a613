"""A zip archive as a list of entries: which are exports, which are left out, which are refused and why.

Belongs here: the archive's directory, and the opening of one entry. Nothing is ever written under a name from an
archive. Names are `shown_names.py`; limits and faults of the stream are `bounded.py`.
"""

from __future__ import annotations

import io
import itertools
import stat
import struct
import zipfile
from dataclasses import dataclass
from pathlib import Path

from pumpledger.intake.bounded import BoundedStream, Limits, damaged, fault_of, plain_size, too_large
from pumpledger.intake.shown_names import clean_parts, clip, unique
from pumpledger.intake.unreadable import Unreadable
from pumpledger.problems import Problem

_UTF8_NAME = 0x800
_ENCRYPTED = 0x1 | 0x40 | 0x2000
_UNIX = 3
_LOCAL_HEADER = struct.Struct("<4s5H3L2H")
_SYSTEM_NAMES = frozenset({"__macosx", "thumbs.db", "desktop.ini"})
_DIRECTORY_BYTES = 1 << 17
"""The directory of any archive may be this long, however few entries are allowed: twice the end record with the longest
comment, which is read by one call too [bytes]."""
_RECORD_BYTES = 400
"""Room for one entry in the directory: 46 bytes, its name and what the packer adds [bytes]."""
_METHODS = {9: "deflate64", 12: "bzip2", 14: "lzma", 93: "zstandard", 95: "xz", 98: "ppmd"}
_ADVICE = "unpack the archive yourself and put in what it held"


@dataclass(frozen=True, slots=True)
class Entry:
    """An entry of an archive.

    ``name`` is shown to people, unique in the archive, without ways out of a folder; ``base`` is its last part.
    ``fault`` is why it is not read. ``end`` is where the next entry begins [bytes from the start of the file].
    """

    name: str
    base: str
    info: zipfile.ZipInfo
    end: int
    fault: Problem | None


@dataclass(frozen=True, slots=True)
class Directory:
    """What a zip archive holds; ``skipped`` are names of folders and of what operating systems add."""

    entries: tuple[Entry, ...]
    skipped: tuple[str, ...]


class _TooManyBytes(Exception):
    """The directory of an archive is longer than its greatest number of entries can be."""


class _Careful(io.BufferedReader):
    """Refuses to read more than ``most`` at once: `zipfile` reads the whole directory of an archive by one call."""

    most: int

    def read(self, size: int | None = -1, /) -> bytes:
        if size is not None and size > self.most:
            raise _TooManyBytes
        return super().read(size)


def directory(path: Path, shown: str, limits: Limits) -> Directory:
    """The entries of the zip archive ``path``, in the order of its directory.

    Args:
        shown: the archive's name as shown to people.

    Raises:
        Unreadable: no directory, too many entries, entries that overlap, nothing to read, too large unpacked, an
            office document.
    """
    infos, size = _infos(path, shown, limits)
    names = {info.orig_filename for info in infos}
    if "[Content_Types].xml" in names or {"mimetype", "META-INF/manifest.xml"} <= names:
        fault = "is an office document; save its sheet as CSV and put that in"
        raise Unreadable(Problem("export_kind", fault, file=shown))
    total = sum(info.file_size for info in infos)
    if total > limits.archive_bytes:
        raise Unreadable(too_large(shown, f"more than {plain_size(limits.archive_bytes)}"))
    if total > limits.ratio_from_bytes and total > limits.ratio * size:
        raise Unreadable(too_large(shown, f"more than {limits.ratio} times its own size"))
    entries: list[Entry] = []
    skipped: list[str] = []
    taken: dict[str, int] = {}
    for number, (info, end) in enumerate(zip(infos, _ends(infos, size, shown), strict=True), 1):
        parts = clean_parts(_name(info))
        name = f"{shown}/{clip('/'.join(parts)) or f'entry {number}'}"
        if _is_no_export(info, parts):
            skipped.append(name)
            continue
        name = unique(name, taken)
        entries.append(Entry(name, parts[-1] if parts else "", info, end, _fault(info, name, parts, limits)))
    if not entries:
        fault = "holds no export: nothing, or nothing but folders and hidden files"
        raise Unreadable(Problem("archive_entries", fault, file=shown))
    return Directory(tuple(entries), tuple(skipped))


def open_entry(path: Path, entry: Entry, limits: Limits) -> BoundedStream:
    """The unpacked bytes of ``entry``, forward.

    Raises:
        Unreadable: the entry is refused, or its own header does not bear out the directory.
    """
    if entry.fault:
        raise Unreadable(entry.fault)
    info = entry.info
    try:
        file = path.open("rb")
    except OSError as error:
        raise Unreadable(fault_of(error, entry.name, packed=False)) from None
    try:
        start = _data_start(file, entry)
    except (OSError, EOFError, UnicodeDecodeError) as error:
        file.close()
        raise Unreadable(fault_of(error, entry.name, packed=True)) from None
    if start is None:
        file.close()
        raise Unreadable(damaged(entry.name))
    unpacked = zipfile.ZipExtFile(file, "r", info)
    return BoundedStream(unpacked, entry.name, limits, lambda: file.tell() - start, size=info.file_size, closes=(file,))


def _infos(path: Path, shown: str, limits: Limits) -> tuple[list[zipfile.ZipInfo], int]:
    """The directory of the archive and the size of the file [bytes]."""
    many = Problem(
        "archive_entries",
        f"holds more than {limits.members} entries, or endless names; put in several smaller archives",
        file=shown,
    )
    try:
        with _Careful(io.FileIO(path)) as file:
            file.most = max(_DIRECTORY_BYTES, limits.members * _RECORD_BYTES)
            size = file.seek(0, io.SEEK_END)
            with zipfile.ZipFile(file) as archive:
                infos = archive.infolist()
    except OSError as error:
        raise Unreadable(fault_of(error, shown, packed=True)) from None
    except _TooManyBytes:
        raise Unreadable(many) from None
    except (zipfile.BadZipFile, NotImplementedError, ValueError, struct.error, EOFError) as error:
        # zipfile lets these through for a damaged directory: a name that is not the text it claims (ValueError),
        # a version it does not know, offsets before the file's start.
        cut = "not a zip file" in str(error)
        fault = (
            "has no directory of its entries: the file was cut short; copy it again"
            if cut
            else "has a damaged directory of its entries; make the archive again"
        )
        raise Unreadable(Problem("export_cut_short" if cut else "archive_damaged", fault, file=shown)) from None
    if len(infos) > limits.members:
        raise Unreadable(many)
    return infos, size


def _ends(infos: list[zipfile.ZipInfo], size: int, shown: str) -> list[int]:
    """Where the next entry begins after each; entries that lie over one another are how a small file unpacks to
    a huge one."""
    order = sorted(range(len(infos)), key=lambda number: infos[number].header_offset)
    ends = [size] * len(infos)
    for number, after in itertools.pairwise(order):
        ends[number] = infos[after].header_offset
    for info, end in zip(infos, ends, strict=True):
        if info.header_offset < 0 or info.header_offset + _LOCAL_HEADER.size + info.compress_size > end:
            fault = "is damaged: its entries lie over one another, or beyond its end; make the archive again"
            raise Unreadable(Problem("archive_damaged", fault, file=shown))
    return ends


def _name(info: zipfile.ZipInfo) -> str:
    """The entry's name. Some packers write UTF-8 and do not say so; `zipfile` then reads code page 437."""
    if info.flag_bits & _UTF8_NAME:
        return info.orig_filename
    try:
        return info.orig_filename.encode("cp437").decode("utf-8")
    except UnicodeError:
        return info.orig_filename


def _is_no_export(info: zipfile.ZipInfo, parts: list[str]) -> bool:
    """Folders, hidden files and what operating systems add. A folder that holds bytes is no folder."""
    if info.orig_filename.endswith(("/", "\\")) and not info.file_size:
        return True
    return any(part.startswith(".") or part.lower() in _SYSTEM_NAMES for part in parts)


def _fault(info: zipfile.ZipInfo, name: str, parts: list[str], limits: Limits) -> Problem | None:
    """Why the entry is not read, or ``None``."""
    if info.file_size > limits.member_bytes:
        return too_large(name, f"more than {plain_size(limits.member_bytes)}")
    if not parts:
        what = "has no name"
    elif len(info.orig_filename) > limits.name_characters:
        what = f"has a name of more than {limits.name_characters} characters"
    elif info.flag_bits & _ENCRYPTED:
        what = "is locked with a password"
    elif info.create_system == _UNIX and stat.S_ISLNK(info.external_attr >> 16):
        what = "is a link to another file, not a file"
    elif info.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
        method = _METHODS.get(info.compress_type, f"method {info.compress_type}")
        what = f"is compressed by {method}, which is not read"
    else:
        return None
    return Problem("archive_entry", f"{what}; {_ADVICE}", file=name)


def _data_start(file: io.BufferedReader, entry: Entry) -> int | None:
    """Where the packed bytes begin; ``file`` stands there. ``None`` where directory and entry disagree."""
    file.seek(entry.info.header_offset)
    head = file.read(_LOCAL_HEADER.size)
    if len(head) < _LOCAL_HEADER.size:
        raise EOFError
    mark, _, flags, method, *_, name_length, extra_length = _LOCAL_HEADER.unpack(head)
    name = file.read(name_length).decode("utf-8" if flags & _UTF8_NAME else "cp437")
    start = file.seek(extra_length, io.SEEK_CUR)
    agrees = mark == b"PK\x03\x04" and method == entry.info.compress_type and name == entry.info.orig_filename
    return start if agrees and start + entry.info.compress_size <= entry.end else None
