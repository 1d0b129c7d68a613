"""Ways to spoil an export, seeded: what disks, transfers, spreadsheets and people do to files, and plain malice.

Belongs here: bytes in, bytes out. The same generator gives the same bytes.
"""

from __future__ import annotations

import random
from collections.abc import Callable

PIECES = (
    b'\r', b'\n', b'\r\n', b'\n\n', b'"', b'""', b"'", b',', b';', b'\t', b'|', b'\x00', bytes(64), b'\xff',
    b'\xfe\xff', b'\xff\xfe', b'\xef\xbb\xbf', b'\xc3', b'\xed\xa0\x80', b'\xf4\x90\x80\x80', b'\x1a', b'\x0c',
    b'\x85', b'\xe2\x80\xa8', b'# end', b'total', b'9', b'-', b'99999', b'nan', b'inf', b'-inf', b'1e400',
    b'1e-400', b'_0', b'0x1F', b'1,5', b'1.5.5', b' ', b'  ', b'\xc2\xa0', b'P-LA', b'P-XX',
    b'2026-10-25T07:00:00Z', b'2026-13-45', b'0000-00-00', b'9999-12-31T23:59:60Z', b'=1+1', b'@', b'\x1b[31m',
    b'\\', b'\\N', b'NULL', b'<!DOCTYPE a [<!ENTITY b "c">]>', b'&b;', b'</feed>', b'<![CDATA[', b'PK\x03\x04',
    b'\x1f\x8b', b'PAR1', b'(\xb5/\xfd', b'\xef\xbf\xbf', b'\xd9\xa1', b'\xef\xbc\x91', b'\xe2\x88\x92',
)  # fmt: skip
"""Marks of CSV, of encodings, of other kinds of file, and numbers in other scripts."""


def mutate(rng: random.Random, content: bytes, head: int) -> bytes:
    """``content`` after one to six edits; three of four leave the first ``head`` bytes alone."""
    first = head if rng.random() < 0.75 else 0
    for _ in range(rng.choice((1, 1, 1, 2, 3, 6))):
        content = content[:first] + rng.choice(_EDITS)(rng, content[first:])
    return content


def _insert(rng: random.Random, body: bytes) -> bytes:
    at = rng.randint(0, len(body))
    return body[:at] + rng.choice(PIECES) + body[at:]


def _overwrite(rng: random.Random, body: bytes) -> bytes:
    at, piece = rng.randint(0, len(body)), rng.choice(PIECES)
    return body[:at] + piece + body[at + len(piece) :]


def _noise(rng: random.Random, body: bytes) -> bytes:
    at = rng.randint(0, len(body))
    return body[:at] + rng.randbytes(rng.randint(1, 40)) + body[at:]


def _flip(rng: random.Random, body: bytes) -> bytes:
    spoiled = bytearray(body)
    for _ in range(rng.randint(1, 8) if body else 0):
        spoiled[rng.randrange(len(spoiled))] ^= 1 << rng.randrange(8)
    return bytes(spoiled)


def _cut_out(rng: random.Random, body: bytes) -> bytes:
    at = rng.randint(0, len(body))
    return body[:at] + body[at + rng.choice((1, 2, 3, 7, 40, 400)) :]


def _tear(rng: random.Random, body: bytes) -> bytes:
    return body[: rng.randint(0, len(body))]


def _zeros(rng: random.Random, body: bytes) -> bytes:
    """A block that a disk never wrote."""
    at = rng.randint(0, len(body))
    return body[:at] + bytes(rng.choice((8, 64, 512))) + body[at + 64 :]


def _lines(change: Callable[[random.Random, list[bytes]], None]) -> Callable[[random.Random, bytes], bytes]:
    def edit(rng: random.Random, body: bytes) -> bytes:
        lines = body.splitlines(keepends=True)
        if lines:
            change(rng, lines)
        return b"".join(lines)

    return edit


def _double(rng: random.Random, lines: list[bytes]) -> None:
    lines.insert(rng.randrange(len(lines) + 1), rng.choice(lines))


def _swap(rng: random.Random, lines: list[bytes]) -> None:
    one, two = rng.randrange(len(lines)), rng.randrange(len(lines))
    lines[one], lines[two] = lines[two], lines[one]


def _shuffle(rng: random.Random, lines: list[bytes]) -> None:
    rng.shuffle(lines)


def _many(rng: random.Random, lines: list[bytes]) -> None:
    lines[:] = lines * rng.choice((2, 3, 50) if len(lines) < 1000 else (2,))


def _cell(rng: random.Random, lines: list[bytes]) -> None:
    """Another value in one cell, or the cells of a line in another order."""
    at = rng.randrange(len(lines))
    mark = max((b",", b";", b"\t", b"|"), key=lines[at].count)
    cells = lines[at].split(mark)
    if rng.random() < 0.2:
        rng.shuffle(cells)
    else:
        cells[rng.randrange(len(cells))] = rng.choice(PIECES)
    lines[at] = mark.join(cells)


def _endless(rng: random.Random, body: bytes) -> bytes:
    """A cell longer than any record may be."""
    at = rng.randint(0, len(body))
    return body[:at] + rng.choice((b"9", b"x", b'"', b",")) * rng.choice((3_000, 3_000, 70_000, 1_100_000)) + body[at:]


def _line_ends(rng: random.Random, body: bytes) -> bytes:
    old, new = rng.choice(((b"\n", b"\r"), (b"\n", b"\r\n"), (b"\r\n", b"\n"), (b"\n", b"\n\r"), (b"\n", b"\x0b")))
    return body.replace(old, new)


def _delimiter(rng: random.Random, body: bytes) -> bytes:
    return body.replace(rng.choice((b",", b";", b"\t", b"|", b".")), rng.choice((b",", b";", b"\t", b"|", b".", b"")))


def _decimal(rng: random.Random, body: bytes) -> bytes:
    return body.translate(bytes.maketrans(b".,", b",."))


def _sixteen_bits(rng: random.Random, body: bytes) -> bytes:
    """A part saved by a program that writes UTF-16."""
    at = rng.randint(0, len(body))
    return body[:at] + body[at:].decode("latin-1").encode(rng.choice(("utf-16", "utf-16-le", "utf-16-be")))


_EDITS: tuple[Callable[[random.Random, bytes], bytes], ...] = (
    _insert, _insert, _insert, _overwrite, _overwrite, _noise, _flip, _flip, _cut_out, _cut_out, _tear, _zeros,
    _lines(_double), _lines(_swap), _lines(_shuffle), _lines(_many), _lines(_cell), _lines(_cell), _lines(_cell),
    _endless, _line_ends, _delimiter, _decimal, _sixteen_bits,
)  # fmt: skip
