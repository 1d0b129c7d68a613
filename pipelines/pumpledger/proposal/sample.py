"""A bounded sample of the bytes of an export: its head, pieces of its middle, its tail.

Belongs here: how much is read, and from where, so that a file of any size answers in seconds. What the bytes mean is
`text.py`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

from pumpledger.intake.carriers import Member, members
from pumpledger.proposal.claim import refuse

TOTAL_BYTES = 2 << 20
"""Sampled of all files together [bytes]: some forty thousand rows, a second or two."""

LEAST_BYTES = 1 << 16
"""Sampled of each file, however many there are [bytes]."""

FILES_MOST = 200
"""Files that are looked at; a source has one shape, so more would tell nothing new."""

PACKED_BYTES = 96 << 20
"""Unpacked of a compressed file in search of its end [bytes]; what lies beyond is not looked at."""

_CHUNK = 1 << 18


@dataclass(frozen=True, slots=True)
class Stretch:
    """Bytes that stand together in the file. ``first`` holds the file's first byte, ``last`` its last one."""

    data: bytes
    first: bool
    last: bool


@dataclass(frozen=True, slots=True)
class Sample:
    """What was read of one export. ``name`` is shown to people, ``inner`` is what patterns look at; ``size`` is
    unpacked [bytes], ``None`` where the end was not reached."""

    name: str
    inner: str
    path: Path
    packed: bool
    size: int | None
    stretches: tuple[Stretch, ...]

    @property
    def whole(self) -> bool:
        """Whether every byte was looked at."""
        return len(self.stretches) == 1 and self.stretches[0].last

    @property
    def head(self) -> bytes:
        return self.stretches[0].data


def take(paths: list[Path], total_bytes: int = TOTAL_BYTES) -> list[Sample]:
    """A sample of each export in ``paths``, archives opened; at most `FILES_MOST` of them.

    Raises:
        Unreadable: a file is vanished, forbidden, damaged or of a kind that is not read.
        NoProposal: there is no export in an archive.
    """
    found = [member for path in paths for member in _members(path)][:FILES_MOST]
    budget = max(total_bytes // len(found), LEAST_BYTES) & ~1  # even everywhere: a UTF-16 character is two bytes
    return [_packed(member, budget) if member.packed else _plain(member, budget) for member in found]


def _members(path: Path) -> list[Member]:
    usable = [member for member in members(path) if member.fault is None]
    if not usable:
        raise refuse("is an archive that holds no export", path.name)
    return usable


def _plain(member: Member, budget: int) -> Sample:
    """All of it, up to twice the budget; else half of the budget from the head, a quarter from the tail, a quarter from
    two places between."""
    with member.open() as stream:  # raises for a file that cannot be opened
        head = stream.read(2 * budget)
        if len(head) < 2 * budget or not stream.read(1):
            return Sample(member.name, member.inner, member.path, False, len(head), (Stretch(head, True, True),))
    try:
        return _pieces(member, budget)
    except OSError as error:
        raise refuse(f"cannot be read ({error.strerror})", member.name) from None


def _pieces(member: Member, budget: int) -> Sample:
    size = member.path.stat().st_size
    piece = (budget // 8) & ~1
    places = [
        (0, (budget // 2) & ~1, True, False),
        *((math.floor(size * share) & ~1, piece, False, False) for share in (0.45, 0.7)),
        (max(size - budget // 4, 0) & ~1, budget, False, True),
    ]
    stretches = []
    with member.path.open("rb") as file:
        for start, length, first, last in places:
            file.seek(start)
            stretches.append(Stretch(file.read(length), first, last))
    return Sample(member.name, member.inner, member.path, False, size, tuple(stretches))


def _packed(member: Member, budget: int) -> Sample:
    """Forward only: the head, and the tail if the end comes within `PACKED_BYTES`; else the last piece read."""
    with member.open() as stream:
        head = stream.read(budget)
        tail, read = b"", len(head)
        while read < PACKED_BYTES and (chunk := stream.read(_CHUNK)):
            read += len(chunk)
            tail = (tail + chunk)[-((budget // 4) & ~1) - (read & 1) :]
        ended = read < PACKED_BYTES
    if not tail:
        return Sample(member.name, member.inner, member.path, True, read, (Stretch(head, True, ended),))
    return Sample(
        member.name,
        member.inner,
        member.path,
        True,
        read if ended else None,
        (Stretch(head, True, False), Stretch(tail, False, ended)),
    )
