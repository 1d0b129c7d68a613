"""An ESPI document as a stream: Atom entries with their links, and interval readings as they stand in the file.

Belongs here: XML, its dangers and its limits. What links and codes mean is `espi.py` and `espi_type.py`.

expat is driven directly and not through ElementTree, whose C parser can neither refuse a document type nor say where
in the file an element stands.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import BinaryIO
from xml.parsers import expat

ATOM = "http://www.w3.org/2005/Atom"
ESPI = "http://naesb.org/espi"

MAX_RAW_CHARS = 2000
_CHUNK_BYTES = 1 << 16
_MAX_TOKEN_BYTES = 1 << 20
_MAX_READING_BYTES = 1 << 18
_MAX_DEPTH = 64
_MAX_TEXT_CHARS = 200
_MAX_FIELDS = 100
_MAX_REPEATS = 20
_MAX_NAMES = 10_000
_MAX_HELD_CHARS = 128_000_000
"""Links and codes that a feed may ask to be remembered: about 180,000 blocks, say a year of days of 500 meters."""

_HELD_EACH = 400

_ENTRY, _LINK = f"{ATOM}}}entry", f"{ATOM}}}link"
_PREFIX = f"{ESPI}}}"
_READING, _BLOCK, _TIME_PERIOD = f"{_PREFIX}IntervalReading", f"{_PREFIX}IntervalBlock", f"{_PREFIX}timePeriod"
_RESOURCES = {
    _PREFIX + name
    for name in (
        "UsagePoint",
        "MeterReading",
        "ReadingType",
        "IntervalBlock",
        "LocalTimeParameters",
        "TimeConfiguration",
    )
}

Fields = dict[str, list[str]]
"""``name`` or ``parent/name`` below an element -> the texts found there, in order."""


class EspiError(ValueError):
    """A file that cannot be used as a whole, or a clock rule that names no moment; the message is for people."""


@dataclass(slots=True)
class Block:
    """An ``IntervalBlock``: its own fields, how many readings it holds, and how many of them have a time period."""

    fields: Fields
    readings: int = 0
    timed: int = 0


@dataclass(slots=True)
class Entry:
    """An Atom entry: ``links`` by relation, ``resources`` as (element name, fields), and its interval blocks."""

    links: dict[str, list[str]] = field(default_factory=lambda: {"self": [], "up": [], "related": []})
    resources: list[tuple[str, Fields]] = field(default_factory=list)
    blocks: list[Block] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class RawReading:
    """An ``IntervalReading``: the block it stands in (0-based over the file; ``None`` if in none), its place there
    (0-based), its fields, and its XML as it stands in the file."""

    block: int | None
    place: int
    fields: Fields
    raw: str


def entries(stream: BinaryIO) -> Iterator[Entry]:
    """The entries of a document in their order, without the readings.

    Raises:
        EspiError: not well-formed to the end, a document type, nothing of ESPI in it, or past a limit of this module.
    """
    walker = _Walker(keep_readings=False)
    for found in walker.walk(stream):
        assert isinstance(found, Entry)
        yield found
    if not walker.espi:
        raise EspiError(
            f"The file is XML but holds nothing of the ESPI namespace {ESPI}: it is no Green Button export."
        )


def readings(stream: BinaryIO) -> Iterator[RawReading]:
    """The interval readings of a document in their order. Raises as ``entries``, on reaching the place."""
    for found in _Walker(keep_readings=True).walk(stream):
        if isinstance(found, RawReading):
            yield found


class _Walker:
    """Follows expat's events. Holds one entry, one reading and one chunk of bytes at a time."""

    def __init__(self, *, keep_readings: bool) -> None:
        self.espi = False
        self._keep = keep_readings
        self._found: list[Entry | RawReading] = []
        self._names: list[str] = []
        self._text: list[str] = []
        self._text_chars = 0
        self._leaf = False
        self._entry: Entry | None = None
        self._entry_depth = self._resource_depth = self._reading_depth = 0
        self._fields: Fields = {}
        self._reading: Fields = {}
        self._block: Block | None = None
        self._stands_in: Block | None = None
        self._blocks = 0
        self._held_chars = 0
        self._window = b""
        self._window_from = self._reading_from = self._fed = 0
        self._encoding = "utf-8"
        self._known_names: dict[str, str] = {}
        self._parser = expat.ParserCreate(namespace_separator="}", intern=self._known_names)
        self._parser.buffer_text = True
        self._parser.StartDoctypeDeclHandler = self._doctype
        self._parser.XmlDeclHandler = self._declaration
        self._parser.StartElementHandler = self._start
        self._parser.EndElementHandler = self._end
        self._parser.CharacterDataHandler = self._data

    def walk(self, stream: BinaryIO) -> Iterator[Entry | RawReading]:
        while chunk := stream.read(_CHUNK_BYTES):
            yield from self._feed(chunk, last=False)
        yield from self._feed(b"", last=True)

    def _feed(self, chunk: bytes, *, last: bool) -> list[Entry | RawReading]:
        if not self._fed:
            self._encoding = _encoding_of(chunk)
        self._window += chunk
        self._fed += len(chunk)
        try:
            self._parser.Parse(chunk, last)
        except EspiError:
            raise
        except expat.ExpatError as error:
            raise EspiError(
                f"The file is not XML, or it is cut off: {expat.ErrorString(error.code)} in line {error.lineno}. "
                "Export it anew."
            ) from error
        except (LookupError, ValueError) as error:  # from the codec that the XML declaration names
            raise EspiError(f"The file names an encoding that cannot be read: {error}.") from error
        seen = max(self._parser.CurrentByteIndex, 0)
        if self._fed - seen > _MAX_TOKEN_BYTES:
            raise EspiError("The file holds a single tag or comment of more than 1 MB: it is no meter export.")
        if len(self._known_names) > _MAX_NAMES:
            raise EspiError(f"The file uses more than {_MAX_NAMES} different names: it is no meter export.")
        if self._reading_depth and self._fed - self._reading_from > _MAX_READING_BYTES + _MAX_TOKEN_BYTES:
            raise EspiError(_TOO_LONG)
        keep_from = self._fed if not self._keep else self._reading_from if self._reading_depth else seen
        self._window = self._window[keep_from - self._window_from :]
        self._window_from = keep_from
        found, self._found = self._found, []
        return found

    def _doctype(self, *_: object) -> None:
        raise EspiError(
            "The file declares a document type (DTD), with which a small file can blow up to a huge one; "
            "a Green Button export has none, so it is refused."
        )

    def _declaration(self, _version: str, encoding: str | None, _standalone: int) -> None:
        if encoding and not self._encoding.startswith("utf-16"):
            self._encoding = encoding

    def _start(self, name: str, attributes: dict[str, str]) -> None:
        self._names.append(name)
        depth = len(self._names)
        if depth > _MAX_DEPTH:
            raise EspiError(f"The file nests its elements more than {_MAX_DEPTH} deep: it is no meter export.")
        self._leaf = True
        self._text.clear()
        self._text_chars = 0
        if name == _READING:
            self._open_reading(depth)
        elif self._reading_depth:
            if name == _TIME_PERIOD and depth == self._reading_depth + 1 and self._block is not None:
                self._block.timed += 1
        elif self._resource_depth:
            pass
        elif self._entry is None:
            self.espi = self.espi or name.startswith(_PREFIX)
            if name == _ENTRY:
                self._entry, self._entry_depth = Entry(), depth
        elif name in _RESOURCES:
            self.espi = True
            self._resource_depth, self._fields = depth, {}
            if name == _BLOCK:
                self._block = Block(self._fields)
                self._entry.blocks.append(self._block)
            else:
                self._entry.resources.append((name.removeprefix(_PREFIX), self._fields))
            self._hold(_HELD_EACH)
        elif name == _LINK and depth == self._entry_depth + 1:
            relation, href = attributes.get("rel", ""), attributes.get("href", "").strip()
            if href and relation in self._entry.links:
                self._entry.links[relation].append(href)
                self._hold(len(href))
        else:
            self.espi = self.espi or name.startswith(_PREFIX)

    def _open_reading(self, depth: int) -> None:
        self.espi = True
        if self._reading_depth:
            raise EspiError("The file has an IntervalReading inside another one: which is which cannot be told.")
        self._reading_depth, self._reading = depth, {}
        self._reading_from = self._parser.CurrentByteIndex
        self._stands_in = self._block if depth == self._resource_depth + 1 else None
        if not self._keep:
            self._parser.CharacterDataHandler = None

    def _end(self, name: str) -> None:
        depth = len(self._names)
        if self._reading_depth:
            if depth == self._reading_depth:
                self._close_reading()
            elif self._keep and self._leaf:
                self._store(self._reading, name, depth - self._reading_depth)
        elif self._resource_depth:
            if depth == self._resource_depth:
                self._resource_depth = 0
                if self._block is not None:
                    self._block, self._blocks = None, self._blocks + 1
            elif self._leaf:
                self._hold(self._store(self._fields, name, depth - self._resource_depth))
        elif self._entry is not None and depth == self._entry_depth:
            if not self._keep:
                self._found.append(self._entry)
            self._entry = None
        self._leaf = False
        self._names.pop()

    def _close_reading(self) -> None:
        block = self._stands_in
        end = self._parser.CurrentByteIndex
        if end - self._reading_from > _MAX_READING_BYTES:
            raise EspiError(_TOO_LONG)
        if self._keep:
            self._found.append(
                RawReading(
                    block=None if block is None else self._blocks,
                    place=0 if block is None else block.readings,
                    fields=self._reading,
                    raw=self._raw(end),
                )
            )
        else:
            self._parser.CharacterDataHandler = self._data
        if block is not None:
            block.readings += 1
        self._reading_depth = 0

    def _store(self, fields: Fields, name: str, below: int) -> int:
        """Keep the text of an element one or two levels below its owner; the characters kept."""
        if below > 2 or not name.startswith(_PREFIX):
            return 0
        key = name.removeprefix(_PREFIX)
        if below == 2:
            key = f"{self._names[-2].removeprefix(_PREFIX)}/{key}"
        values = fields.get(key)
        if values is None:
            if len(fields) >= _MAX_FIELDS:
                raise EspiError(f"The file has an element with more than {_MAX_FIELDS} fields: it is no meter export.")
            values = fields[key] = []
        if len(values) >= _MAX_REPEATS:
            values[-1] = "..."  # no number, so the field cannot be used
            return 0
        text = "".join(self._text)
        values.append(text if self._text_chars <= _MAX_TEXT_CHARS else f"{text}...")
        return len(key) + len(text)

    def _data(self, text: str) -> None:
        # Longer than any number: what is kept of it must not read as one, so `_store` marks it.
        if self._leaf and self._text_chars <= _MAX_TEXT_CHARS:
            self._text.append(text[:_MAX_TEXT_CHARS])
            self._text_chars += len(text)

    def _hold(self, chars: int) -> None:
        self._held_chars += chars
        if self._held_chars > _MAX_HELD_CHARS:
            raise EspiError("The file holds more links and blocks than a meter export can: split it by meter.")

    def _raw(self, end: int) -> str:
        begin = self._reading_from - self._window_from
        end -= self._window_from
        body = self._window[begin:end].decode(self._encoding, errors="replace")[:MAX_RAW_CHARS]
        tag = self._window[end : end + 400].decode(self._encoding, errors="replace")
        return (body + tag[: tag.find(">") + 1])[:MAX_RAW_CHARS]


_TOO_LONG = "The file holds a single reading of more than 256 KB: it is no meter export."


def _encoding_of(head: bytes) -> str:
    """UTF-16 by its byte order mark or by the first ``<``; otherwise UTF-8 until the declaration says more."""
    if head.startswith((b"\xff\xfe", b"<\x00")):
        return "utf-16-le"
    return "utf-16-be" if head.startswith((b"\xfe\xff", b"\x00<")) else "utf-8"
