"""From bytes to lines: which encoding a file has, and its lines in the sample.

Belongs here: encoding and line ends. Fields are `shape.py`.
"""

from __future__ import annotations

import codecs
from dataclasses import dataclass

from pumpledger.proposal.claim import Claim, Sureness, refuse
from pumpledger.proposal.sample import Sample

LONGEST_LINE = 1 << 20
"""A longer line is no row of an export [characters]; the intake holds the same limit."""

_UNDEFINED_1252 = frozenset(b"\x81\x8d\x8f\x90\x9d")
_KEY = "file.encoding"
_ASCII = "every byte is ASCII, which all but UTF-16 read alike; other files may tell"


@dataclass(frozen=True, slots=True)
class Lines:
    """Physical lines of the sample, without line ends. ``stretch`` says for each which piece of the file it is from;
    those of stretch 0 are the file's first lines. ``ends`` says that the last line is the file's last."""

    texts: list[str]
    stretch: list[int]
    ends: bool


def read_lines(sample: Sample) -> tuple[Lines, Claim]:
    """The lines of ``sample`` and the claim on its encoding.

    Raises:
        NoProposal: the file is empty, binary, one endless line, or of an encoding that no dialect can declare.
    """
    if not sample.head.strip(b"\0\r\n\t "):
        raise refuse("is empty" if not sample.head else "holds nothing but blanks", sample.name)
    claim = encoding_of(sample)
    texts: list[str] = []
    stretch: list[int] = []
    for number, piece in enumerate(sample.stretches):
        lines = _decoded(piece.data, str(claim.value), sample.head).split("\n")
        if not piece.last or lines[-1] == "":
            lines.pop()
        if not piece.first:
            lines = lines[1:]
        texts += lines
        stretch += [number] * len(lines)
    if not texts:
        raise refuse(f"begins with a line of more than {len(sample.head):,} bytes; this is no table", sample.name)
    if len(texts) == 1 and "\r" in texts[0].strip("\r"):
        raise refuse("ends its lines with carriage returns alone; save it with ordinary line ends", sample.name)
    return Lines([text.removesuffix("\r") for text in texts], stretch, sample.stretches[-1].last), claim


def encoding_of(sample: Sample) -> Claim:
    """The claim on ``file.encoding``.

    Source: byte order marks and the form of UTF-8 by the Unicode standard; bytes 80 to 9F are control characters in
    ISO 8859-1 and mostly printable in windows-1252.
    """
    head = sample.head
    if head.startswith((codecs.BOM_UTF32_LE, codecs.BOM_UTF32_BE)):
        raise refuse("is UTF-32 text, which no dialect can declare; save it as UTF-8", sample.name)
    if head.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return Claim(_KEY, "utf-16", "sure", "the file begins with the byte order mark of UTF-16")
    if b"\0" in head:
        return _zero_bytes(head, sample.name)
    everything = b"\n".join(piece.data for piece in sample.stretches)
    controls = sum(everything.count(bytes([mark])) for mark in range(32) if mark not in b"\t\n\r\x0c\x1a")
    if b"\0" in everything or controls > len(everything) // 100:
        raise refuse("holds bytes that are no text; this is no CSV export", sample.name)
    if head.startswith(codecs.BOM_UTF8):
        return Claim(_KEY, "utf-8", "sure", "the file begins with the byte order mark of UTF-8")
    if everything.isascii():
        return Claim(_KEY, "utf-8", "likely", _ASCII)
    broken, whole = _utf8_characters(sample)
    if whole and not broken:
        return Claim(_KEY, "utf-8", "sure", f"all {whole} characters beyond ASCII are valid UTF-8")
    if whole > 10 * broken:
        return Claim(
            _KEY, "utf-8", "likely", f"{whole} characters beyond ASCII are valid UTF-8, {broken} bytes are not"
        )
    return _one_byte(everything)


def _zero_bytes(head: bytes, name: str) -> Claim:
    """UTF-16 of Latin letters has a zero in every other byte."""
    even, odd = (head[start::2].count(0) / max(len(head[start::2]), 1) for start in (0, 1))
    if odd > 0.6 and even < 0.1:
        return Claim(_KEY, "utf-16", "likely", "every other byte is zero; there is no byte order mark")
    if even > 0.6 and odd < 0.1:
        what = (
            "is UTF-16 with the high byte first and no byte order mark, which no dialect can declare; save it as UTF-8"
        )
        raise refuse(what, name)
    raise refuse("holds zero bytes; this is no text file", name)


def _utf8_characters(sample: Sample) -> tuple[int, int]:
    """(bytes that are not UTF-8, characters beyond ASCII); a character cut at the edge of a piece counts as neither."""
    broken = whole = 0
    for piece in sample.stretches:
        data = piece.data
        if not piece.first:
            data = data.lstrip(bytes(range(0x80, 0xC0)))
        if not piece.last:
            data = data[: len(data) - _cut(data)]
        text = data.decode("utf-8", "surrogateescape")
        bad = sum("\udc80" <= mark <= "\udcff" for mark in text)
        broken += bad
        whole += sum(mark > "\x7f" for mark in text) - bad
    return broken, whole


def _cut(data: bytes) -> int:
    """Length of the character that the end of ``data`` cuts."""
    for back in range(1, min(4, len(data)) + 1):
        lead = data[-back]
        if lead >= 0xC0:
            return back if back < 2 + (lead >= 0xE0) + (lead >= 0xF0) else 0
        if lead < 0x80:
            return 0
    return 0


def _one_byte(everything: bytes) -> Claim:
    high = {byte for byte in everything if 0x80 <= byte <= 0x9F}
    if not high:
        told = "bytes A0 to FF that are not UTF-8; windows-1252 reads them the same"
        return Claim(_KEY, "latin-1", "likely", told)
    sureness: Sureness = "cannot tell" if high & _UNDEFINED_1252 else "likely"
    told = "bytes 80 to 9F that are not UTF-8" + (
        "; look at the letters beyond ASCII" if high & _UNDEFINED_1252 else ""
    )
    return Claim(_KEY, "windows-1252" if sureness == "likely" else None, sureness, told)


def _decoded(data: bytes, encoding: str, head: bytes) -> str:
    if encoding == "utf-16":
        order = "utf-16-be" if head.startswith(codecs.BOM_UTF16_BE) else "utf-16-le"
        return data.decode(order, "replace").removeprefix("\ufeff")
    if encoding in ("utf-8", "None"):
        return data.decode("utf-8-sig" if encoding == "utf-8" else "latin-1", "replace")
    return data.decode(encoding, "replace")


def agreed_encoding(claims: dict[str, Claim]) -> Claim:
    """One claim for several files: what the telling ones say.

    Raises:
        NoProposal: they contradict each other.
    """
    telling = {name: claim for name, claim in claims.items() if claim.evidence != _ASCII} or claims
    values = sorted({str(claim.value) for claim in telling.values()})
    if values == ["latin-1", "windows-1252"]:
        return Claim(_KEY, "windows-1252", "likely", "bytes 80 to 9F in some of the files")
    if len(values) > 1:
        names = [next(name for name, claim in telling.items() if str(claim.value) == value) for value in values]
        shown = ", ".join(f"{name} is {value}" for name, value in zip(names, values, strict=True))
        raise refuse(f"the files have more than one encoding ({shown}); propose a dialect for each kind alone")
    first = next(iter(telling.values()))
    if first.value == "utf-16" and len(telling) < len(claims):
        raise refuse("some of the files are UTF-16 and some are not; propose a dialect for each kind alone")
    return first
