"""Green Button files (NAESB REQ.21 ESPI): interval energy of a meter as readings, each with what it means or why it
cannot be used.

Belongs here: from the links of a feed to the type of each reading, and from its value to Wh and W. XML is
`espi_feed.py`, codes are `espi_type.py`, clocks are `espi_clock.py`. Which pump a usage point is, is not decided here.

Source: NAESB REQ.21 ESPI schema espi.xsd 4.0.20231213 [READ]; links as in the published samples and as the OpenESPI
Green Button data kit tests them (FB_04) [READ]: a MeterReading names its ReadingType by a ``related`` link, and a
block's ``up`` (or its own) address is one of the MeterReading's ``related`` ones. Addresses are opaque: compared, never
taken apart. That ``start`` is the beginning of the interval is the schema's word [READ].
"""

from __future__ import annotations

import shutil
import tempfile
from collections import defaultdict
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from decimal import Decimal
from typing import BinaryIO

from pumpledger.intake import espi_feed
from pumpledger.intake.espi_clock import LocalTimeParameters, local_time_parameters
from pumpledger.intake.espi_feed import Block, Entry, EspiError, Fields, RawReading
from pumpledger.intake.espi_type import (
    INT48_MAX,
    UINT32_MAX,
    ReadingType,
    Unusable,
    check_quality,
    reading_type,
    whole,
)

__all__ = ["EspiError", "EspiReading", "espi_local_time", "espi_readings"]

_EPOCH = datetime(1970, 1, 1)
_LATEST_S = 7_258_118_400  # 2200-01-01; a start in milliseconds lies beyond
_SPOOL_BYTES = 8 << 20


@dataclass(frozen=True, slots=True)
class EspiReading:
    """One interval reading of a file.

    ``ordinal`` counts from 1 over the whole file. ``start_utc`` (naive UTC) begins the interval of ``duration_s``
    seconds; each is ``None`` only beside a ``fault``. Without fault exactly one of ``energy_wh`` (of the interval) and
    ``power_w`` is there; with a fault neither. ``fault`` ends a sentence that begins with "The row". ``raw`` is the
    element's XML as it stands in the file, at most 2000 characters. ``usage_point`` is the address of the usage point;
    where the feed has none for it, the one its meter reading stands under (``up``); empty where no meter is known.
    """

    ordinal: int
    start_utc: datetime | None
    duration_s: int | None
    energy_wh: float | None
    power_w: float | None
    raw: str
    fault: str | None
    usage_point: str

    @property
    def mean_power_w(self) -> float | None:
        """Power [W] that stands for the interval: as read, or the energy over its duration."""
        if self.energy_wh is None or self.duration_s is None:
            return self.power_w
        return self.energy_wh * 3600.0 / self.duration_s


def espi_readings(stream: BinaryIO) -> Iterator[EspiReading]:
    """Every interval reading of a Green Button file, in the file's order, usable or not.

    The stream is read twice, the links first, so nothing is given out of a file that breaks off. One that cannot seek
    is put by in a temporary file. Memory grows with the blocks (a day each, as a rule), not with the readings.

    Raises:
        EspiError: before the first reading; not whole XML, no ESPI, hostile, or no ReadingType of it is interval energy
            or power.
    """
    with _twice(stream) as whole_stream:
        begin = whole_stream.tell()
        catalogue = _catalogue(espi_feed.entries(whole_stream))
        whole_stream.seek(begin)
        for ordinal, found in enumerate(espi_feed.readings(whole_stream), start=1):
            yield _read(ordinal, found, catalogue)


def espi_local_time(stream: BinaryIO) -> tuple[LocalTimeParameters, ...]:
    """The different local time parameters of a file, in order. Readings need none: their times are UTC.

    Raises:
        EspiError: as ``espi_readings``; or parameters that no clock can follow.
    """
    found = (
        local_time_parameters(fields)
        for entry in espi_feed.entries(stream)
        for kind, fields in entry.resources
        if kind in ("LocalTimeParameters", "TimeConfiguration")
    )
    return tuple(dict.fromkeys(found))


@dataclass(slots=True)
class _Meter:
    """A MeterReading: its addresses, its type and its usage point, once the whole feed is known."""

    links: dict[str, list[str]]
    type: ReadingType = field(default_factory=ReadingType)
    usage_point: str = ""


@dataclass(frozen=True, slots=True)
class _BlockMeaning:
    """What holds for every reading of a block. ``begin_s`` (epoch) is there if its readings have no time of their own
    and fill the block to the second, so that each one's time is sure."""

    type: ReadingType
    usage_point: str = ""
    begin_s: int | None = None


@dataclass(frozen=True, slots=True)
class _Span:
    """The interval of a block, from ``begin_s`` (epoch) on, and how many readings share it."""

    begin_s: int
    duration_s: int
    readings: int


_NO_BLOCK = _BlockMeaning(ReadingType(fault="stands in no IntervalBlock of an entry, so its unit is not known"))


def _catalogue(found: Iterator[Entry]) -> list[_BlockMeaning]:
    """The meaning of every block of a feed, in the feed's order."""
    types: dict[str, Fields] = {}
    unclear: set[str] = set()
    meters: dict[str, _Meter] = {}
    points: dict[str, list[str]] = defaultdict(list)
    blocks: list[tuple[tuple[str, ...], _Span | None]] = []
    once: dict[str, str] = {}  # blocks of a meter share their `up` address
    for number, entry in enumerate(found):
        own = entry.links["self"]
        address = own[0] if own else f"entry {number + 1} without address"
        for kind, fields in entry.resources:
            if kind == "ReadingType":
                if types.setdefault(address, fields) != fields:
                    unclear.add(address)
            elif kind == "MeterReading":
                meter = meters.setdefault(address, _Meter({"self": [], "up": [], "related": []}))
                for relation, addresses in entry.links.items():
                    meter.links[relation] += addresses
            elif kind == "UsagePoint":
                points[address] += entry.links["related"]
        hrefs = tuple(once.setdefault(href, href) for href in own + entry.links["up"]) if entry.blocks else ()
        blocks += [(hrefs, _untimed_span(block)) for block in entry.blocks]
    known = {address: reading_type(fields) for address, fields in types.items()}
    for address in unclear:
        known[address] = ReadingType(fault="stands twice in the file, with different codes")
    if all(kind.fault for kind in known.values()):
        raise EspiError(_nothing_usable(known))
    _give_types(meters, known)
    _give_usage_points(meters, points)
    _keep_one_series(list(meters.values()))
    leading = defaultdict(set)
    for address, meter in meters.items():
        for href in (*meter.links["related"], *meter.links["self"]):
            leading[href].add(address)
    meanings = (_block_meaning(hrefs, span, leading, meters) for hrefs, span in blocks)
    same: dict[_BlockMeaning, _BlockMeaning] = {}
    return [same.setdefault(meaning, meaning) for meaning in meanings]


def _nothing_usable(known: dict[str, ReadingType]) -> str:
    if not known:
        return (
            "The file holds no ReadingType, so it does not say what its values are. Export it with its reading types."
        )
    reasons = "; ".join(f"{address} {kind.fault}" for address, kind in list(known.items())[:3])
    more = f"; and {len(known) - 3} more" if len(known) > 3 else ""
    return f"No ReadingType of the file is the energy (Wh) or power (W) that a load drew: {reasons}{more}."


def _give_types(meters: dict[str, _Meter], known: dict[str, ReadingType]) -> None:
    for address, meter in meters.items():
        named = [href for href in dict.fromkeys(meter.links["related"]) if href in known]
        if len(named) == 1:
            meter.type = known[named[0]]
            if meter.type.fault:
                meter.type = replace(meter.type, fault=f"is of a ReadingType that {meter.type.fault}")
        else:
            says = "names several ReadingTypes" if named else "names no ReadingType that is in the file"
            meter.type = ReadingType(fault=f"is of the MeterReading {address}, which {says}")


def _give_usage_points(meters: dict[str, _Meter], points: dict[str, list[str]]) -> None:
    owners = defaultdict(set)
    for address, related in points.items():
        for href in (*related, address):
            owners[href].add(address)
    for address, meter in meters.items():
        found = sorted(set().union(*(owners.get(href, set()) for href in meter.links["self"] + meter.links["up"])))
        meter.usage_point = found[0] if found else (*meter.links["up"], address)[0]
        if len(found) > 1:
            meter.usage_point = ""
            meter.type = replace(
                meter.type, fault=f"is of the MeterReading {address}, which belongs to several usage points"
            )


def _keep_one_series(meters: list[_Meter]) -> None:
    """Leave one series of a usage point: feeds often tell the same energy by the quarter hour, by the day and as power.

    Energy goes before power, the shorter interval before the longer; series of different phases are parts of a whole
    that the file does not add up.
    """
    usable: dict[str, list[_Meter]] = defaultdict(list)
    for meter in meters:
        if not meter.type.fault:
            usable[meter.usage_point].append(meter)
    for point, rivals in usable.items():
        unit = "Wh" if any(meter.type.unit == "Wh" for meter in rivals) else "W"
        same = [meter for meter in rivals if meter.type.unit == unit]
        shortest = min((meter.type.interval_s for meter in same if meter.type.interval_s), default=None)
        phases = {meter.type.phase for meter in same if meter.type.interval_s == shortest}
        for meter in rivals:
            fault = None
            if meter.type.unit != unit:
                fault = f"is power; the usage point {point} also has its energy (Wh), which is used instead"
            elif meter.type.interval_s != shortest:
                fault = (
                    f"is not of the shortest interval; the usage point {point} also has readings of {shortest} s, "
                    "which are used, and with this one the same energy would count twice"
                )
            elif len(phases) > 1:
                fault = f"is of one phase only; the usage point {point} has others, which the file does not add up"
            meter.type = replace(meter.type, fault=fault)


def _block_meaning(
    hrefs: tuple[str, ...], span: _Span | None, leading: dict[str, set[str]], meters: dict[str, _Meter]
) -> _BlockMeaning:
    owners = set().union(*(leading.get(href, set()) for href in hrefs))
    if len(owners) != 1:
        count = "more than one MeterReading" if owners else "no MeterReading"
        fault = f"is in a block to which {count} of the file leads, so its unit is not known"
        return _BlockMeaning(ReadingType(fault=fault))
    meter = meters[owners.pop()]
    sure = span is not None and span.duration_s == span.readings * (meter.type.interval_s or 0)
    return _BlockMeaning(meter.type, meter.usage_point, span.begin_s if span and sure else None)


def _untimed_span(block: Block) -> _Span | None:
    """The interval of a block whose readings have no time of their own; ``None`` if they have, or it is not told."""
    if block.timed or not block.readings:
        return None
    try:
        begin = whole(block.fields, "interval/start", "start", 0, _LATEST_S)
        duration = whole(block.fields, "interval/duration", "duration", 1, UINT32_MAX)
    except Unusable:
        return None
    return None if begin is None or duration is None else _Span(begin, duration, block.readings)


def _read(ordinal: int, found: RawReading, catalogue: list[_BlockMeaning]) -> EspiReading:
    meaning = _NO_BLOCK if found.block is None else catalogue[found.block]
    kind = meaning.type
    start = duration = energy = power = fault = None
    try:
        start = _start(found, meaning)
        duration = _duration(found.fields, kind)
        if not kind.fault:
            check_quality(found.fields, kind.quality)
            value = whole(found.fields, "value", "value", -INT48_MAX, INT48_MAX)
            if value is None:
                raise Unusable("has no value")
            if value < 0:
                raise Unusable(f"has the value {value}: what a load draws is not negative")
            amount = float(Decimal(value).scaleb(kind.exponent))
            energy, power = (amount, None) if kind.unit == "Wh" else (None, amount)
    except Unusable as reason:
        fault = str(reason)
    return EspiReading(
        ordinal=ordinal,
        start_utc=None if start is None else _EPOCH + timedelta(seconds=start),
        duration_s=duration,
        energy_wh=energy,
        power_w=power,
        raw=found.raw,
        fault=kind.fault or fault,
        usage_point=meaning.usage_point,
    )


def _start(found: RawReading, meaning: _BlockMeaning) -> int:
    start = whole(found.fields, "timePeriod/start", "start", 0, _LATEST_S)
    if start is None and meaning.begin_s is not None and meaning.type.interval_s:
        start = meaning.begin_s + found.place * meaning.type.interval_s
    if start is None:
        raise Unusable("has no start, and its block does not tell it for sure")
    return start


def _duration(fields: Fields, kind: ReadingType) -> int:
    duration = whole(fields, "timePeriod/duration", "duration", 1, UINT32_MAX)
    if duration is None:
        duration = kind.interval_s
    if duration is None:
        raise Unusable("has no duration, and its ReadingType has no intervalLength")
    return duration


@contextmanager
def _twice(stream: BinaryIO) -> Iterator[BinaryIO]:
    """The stream, if it can be read twice, or a copy of it on disk that can."""
    if stream.seekable():
        yield stream
        return
    with tempfile.SpooledTemporaryFile(max_size=_SPOOL_BYTES) as copy:
        shutil.copyfileobj(stream, copy)
        copy.seek(0)
        yield copy
