"""Green Button files of our own making, for tests: an Atom feed with the links of the published ESPI samples.

All content is made up. Nothing here is shared with the reader under test.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterable

ENERGY = {"accumulationBehaviour": 4, "commodity": 1, "flowDirection": 1, "kind": 12, "uom": 72}
"""The codes of "Wh integrated over an interval" (OpenESPI data kit, FB_05)."""
POWER = {"accumulationBehaviour": 12, "commodity": 1, "flowDirection": 1, "kind": 37, "uom": 38}
"""The codes of "W demand readings" (FB_06)."""
BASE = "https://meters.invalid/espi/1_1/resource"


def entry(links: Iterable[tuple[str, str]], content: str, title: str = "made up") -> str:
    hrefs = "".join(f'<link rel="{relation}" href="{BASE}/{path}"/>' for relation, path in links)
    stamp = "2026-11-01T00:00:00Z"
    return (
        f"<entry><id>urn:uuid:{zlib.crc32(content.encode())}</id>{hrefs}<title>{title}</title>"
        f"<content>{content}</content><published>{stamp}</published><updated>{stamp}</updated></entry>"
    )


def usage_point(point: int = 1) -> str:
    links = [("self", f"UsagePoint/{point}"), ("up", "UsagePoint"), ("related", f"UsagePoint/{point}/MeterReading")]
    links.append(("related", "LocalTimeParameters/1"))
    return entry(links, '<UsagePoint xmlns="http://naesb.org/espi"><ServiceCategory><kind>0</kind></ServiceCategory>'
                 "</UsagePoint>")  # fmt: skip


def meter(point: int = 1, reading: int = 1, types: Iterable[int] = (1,)) -> str:
    up = f"UsagePoint/{point}/MeterReading"
    links = [("self", f"{up}/{reading}"), ("up", up), ("related", f"{up}/{reading}/IntervalBlock")]
    links += [("related", f"ReadingType/{number}") for number in types]
    return entry(links, '<MeterReading xmlns="http://naesb.org/espi"/>')


def reading_type(number: int = 1, **codes: object) -> str:
    fields = "".join(f"<{name}>{value}</{name}>" for name, value in sorted(codes.items()) if value is not None)
    links = [("self", f"ReadingType/{number}"), ("up", "ReadingType")]
    return entry(links, f'<ReadingType xmlns="http://naesb.org/espi">{fields}</ReadingType>')


def reading(
    start: object = None, duration: object = None, value: object = None, *qualities: int, extra: str = ""
) -> str:
    """An IntervalReading; what is ``None`` is left out. The order of its fields is the schema's."""
    quality = "".join(f"<ReadingQuality><quality>{code}</quality></ReadingQuality>" for code in qualities)
    period = "" if duration is None else f"<duration>{duration}</duration>"
    period += "" if start is None else f"<start>{start}</start>"
    period = f"<timePeriod>{period}</timePeriod>" if period else ""
    amount = "" if value is None else f"<value>{value}</value>"
    return f"<IntervalReading>{quality}{period}{amount}{extra}</IntervalReading>"


def block(
    readings: Iterable[str],
    *,
    point: int = 1,
    meter_reading: int = 1,
    number: int = 1,
    interval: tuple[object, object] | None = None,
) -> str:
    """An IntervalBlock entry; ``interval`` is its start and duration."""
    up = f"UsagePoint/{point}/MeterReading/{meter_reading}/IntervalBlock"
    span = f"<interval><duration>{interval[1]}</duration><start>{interval[0]}</start></interval>" if interval else ""
    content = f'<IntervalBlock xmlns="http://naesb.org/espi">{span}{"".join(readings)}</IntervalBlock>'
    return entry([("self", f"{up}/{number}"), ("up", up)], content)


def local_time(tz_offset: int, dst_offset: int, start: str, end: str) -> str:
    fields = f"<dstEndRule>{end}</dstEndRule><dstOffset>{dst_offset}</dstOffset>"
    fields += f"<dstStartRule>{start}</dstStartRule><tzOffset>{tz_offset}</tzOffset>"
    links = [("self", "LocalTimeParameters/1"), ("up", "LocalTimeParameters")]
    return entry(links, f'<LocalTimeParameters xmlns="http://naesb.org/espi">{fields}</LocalTimeParameters>')


def feed(*entries: str, encoding: str = "utf-8", declaration: str | None = None) -> bytes:
    head = f'<?xml version="1.0" encoding="{declaration or encoding}"?>\n'
    body = '<feed xmlns="http://www.w3.org/2005/Atom"><id>urn:uuid:0</id><title>made up</title>'
    return (head + body + "\n".join(entries) + "</feed>").encode(encoding)


def simple(readings: Iterable[str], **codes: object) -> bytes:
    """One usage point, one meter reading, one type (``ENERGY`` with ``codes`` over it), one block."""
    return feed(usage_point(), meter(), reading_type(1, **{**ENERGY, **codes}), block(readings))
