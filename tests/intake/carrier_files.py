"""Packed files made for tests of carriers, by packers other than the readers under test where there are any."""

from __future__ import annotations

import gzip
import io
import struct
import zipfile
from pathlib import Path

import pyarrow

from pumpledger.intake.carriers import Member, contents
from pumpledger.intake.unreadable import Unreadable

BODY = b"t,pump,n\n" + b"".join(b"2026-10-26T00:%02d:00Z,P-1,%d\n" % (minute, minute * 7) for minute in range(60))


def zstd(data: bytes) -> bytes:
    sink = pyarrow.BufferOutputStream()
    with pyarrow.CompressedOutputStream(sink, "zstd") as stream:
        stream.write(data)
    return sink.getvalue().to_pybytes()


def zipped(*entries: tuple[str | zipfile.ZipInfo, bytes], method: int = zipfile.ZIP_DEFLATED) -> bytes:
    sink = io.BytesIO()
    with zipfile.ZipFile(sink, "w", method) as archive:
        for name, data in entries:
            archive.writestr(name, data)
    return sink.getvalue()


PACKERS = {"gz": gzip.compress, "zst": zstd, "zip": lambda data: zipped(("a.csv", data))}


def patched(archive: bytes, name: str, field: str, value: int, local: bool = True) -> bytes:
    """``archive`` with one field of entry ``name`` set, in the directory and, if ``local``, in the entry's own header.

    Offsets of the fields: PKWARE APPNOTE 6.3.x, sections 4.3.7 and 4.3.12 [from memory].
    """
    at = {"flags": (6, 8, "<H"), "method": (8, 10, "<H"), "size": (22, 24, "<I"), "packed": (18, 20, "<I")}
    in_local, in_directory, form = at[field]
    out = bytearray(archive)
    with zipfile.ZipFile(io.BytesIO(archive)) as opened:
        start, directory_start = opened.getinfo(name).header_offset, opened.start_dir
    record = out.index(name.encode(), directory_start) - 46
    struct.pack_into(form, out, record + in_directory, value)
    if local:
        struct.pack_into(form, out, start + in_local, value)
    return bytes(out)


def put(folder: Path, name: str, data: bytes) -> Path:
    path = folder / name
    path.write_bytes(data)
    return path


def outcome(member: Member) -> bytes | str:
    """The bytes of a member, or the name of the problem that keeps them."""
    try:
        with member.open() as stream:
            return stream.read()
    except Unreadable as error:
        return error.problem.name


def outcomes(path: Path, **limits: object) -> dict[str, bytes | str] | str:
    """The outcome of every member by its shown name, or the name of the problem with the whole file."""
    try:
        found = contents(path, **limits)  # type: ignore[arg-type]
    except Unreadable as error:
        return error.problem.name
    return {member.name: outcome(member) for member in found.members}
