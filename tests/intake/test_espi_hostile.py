"""Green Button files that break off, grow without end, or are something else: words or marked readings, nothing more.

The writer of the files is `tests/espi_writer.py`.
"""

from __future__ import annotations

import io
import tracemalloc

import pytest
from espi_files import HEAD, START, many_blocks, read, refusal
from hypothesis import given, settings
from hypothesis import strategies as st

from pumpledger.intake import espi_feed
from pumpledger.intake.espi import EspiError, espi_readings
from tests.espi_writer import ENERGY, block, feed, meter, reading, reading_type, simple, usage_point


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "not XML, or it is cut off"),
        (b"pump,t,kW\nP-1,2026-11-01,1\n", "not XML"),
        (b"PK\x03\x04\x00\x00", "not XML"),
        (b"\xff\xfe\x00", "not XML"),
        (HEAD + b"</feed>", "nothing of the ESPI namespace"),
        (simple([reading(START, 900, 5)]).replace(b"naesb.org/espi", b"example.invalid/espi"), "nothing of the ESPI"),
        (
            simple([reading(START, 900, 5)]).replace(b"naesb.org/espi", b"naesb.org/espi/customer"),
            "nothing of the ESPI",
        ),
        (b'<IntervalBlock xmlns="http://naesb.org/espi"/>', "no ReadingType"),
        (feed(usage_point(), meter(), block([reading(START, 900, 5)])), "no ReadingType"),
        (b'<?xml version="1.0" encoding="no-such"?><feed/>', "encoding"),
        (b'<?xml version="1.0" encoding="shift_jis"?><feed/>', "encoding"),
        (b'<?xml version="1.0" encoding="rot13"?><feed/>', "encoding"),
        (simple([reading(START, 900, "\xe9")]).replace(b"\xc3\xa9", b"\xe9"), "not XML"),
        (simple([reading(START, 900, "&pump;")]), "not XML"),
        (simple([reading(START, 900, 5, extra=reading(START, 900, 6))]), "inside another one"),
    ],
)
def test_a_file_that_is_no_green_button_export_is_refused_in_words(data: bytes, said: str) -> None:
    assert said in refusal(data)


@pytest.mark.parametrize(
    "subset",
    [
        b'[<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;"><!ENTITY c "&b;&b;&b;&b;&b;&b;&b;&b;">]',
        b'[<!ENTITY a SYSTEM "file:///nowhere">]',
        b'SYSTEM "https://dtd.invalid/espi.dtd"',
        b"",
    ],
)
def test_a_document_type_is_refused_before_anything_grows(subset: bytes) -> None:
    data = simple([reading(START, 900, "&a;")]).replace(b"<feed ", b"<!DOCTYPE feed " + subset + b"><feed ", 1)
    assert "document type" in refusal(data)
    assert "document type" in refusal(data.decode().replace("utf-8", "utf-16").encode("utf-16"))


def test_a_file_cut_off_anywhere_gives_nothing() -> None:
    data = feed(usage_point(), meter(), reading_type(1, **ENERGY), *many_blocks(1))
    for end in range(0, len(data), 97):
        assert "cut off" in refusal(data[:end])


def pieces(*parts: tuple[bytes, int]) -> io.RawIOBase:
    """A stream of parts, each repeated, that never is in memory as a whole."""

    class Pieces(io.RawIOBase):
        def __init__(self) -> None:
            self.at = 0

        def seekable(self) -> bool:
            return True

        def tell(self) -> int:
            return self.at

        def seek(self, place: int, whence: int = 0) -> int:
            assert whence == 0
            self.at = place
            return place

        def read(self, size: int = -1) -> bytes:
            out, left, at = [], size, self.at
            for part, times in parts:
                total = len(part) * times
                if at >= total:
                    at -= total
                    continue
                take = min(left, total - at)
                begin = at % len(part)
                copies = part * ((begin + take) // len(part) + 1)
                out.append(copies[begin : begin + take])
                left, at = left - take, 0
                if not left:
                    break
            data = b"".join(out)
            self.at += len(data)
            return data

    return Pieces()


GOOD_HEAD, GOOD_TAIL = simple([reading(START, 900, 5)]).split(b"<IntervalReading>", 1)
MILLION = 1_000_000


@pytest.mark.parametrize(
    ("stream", "said"),
    [
        (pieces((GOOD_HEAD, 1), (b"<a>", 40 * MILLION)), "deep"),
        (pieces((GOOD_HEAD, 1), (b"<!-- ", 1), (b"x", 100 * MILLION)), "more than 1 MB"),
        (pieces((GOOD_HEAD, 1), (b'<a b="', 1), (b"x", 100 * MILLION)), "more than 1 MB"),
        (pieces((GOOD_HEAD, 1), (b"<IntervalReading>", 1), (b"<a/>", 25 * MILLION)), "more than 256 KB"),
        (pieces((GOOD_HEAD, 1), (b"<IntervalReading><value>", 1), (b"5", 100 * MILLION)), "more than 256 KB"),
    ],
    ids=["deep", "comment", "attribute", "fields", "text"],
)
def test_a_file_that_would_fill_the_memory_is_refused(stream: io.RawIOBase, said: str) -> None:
    assert peak_of_refusal(stream, said) < 30e6


@pytest.mark.parametrize(
    ("part", "times"),
    [
        (b'<link rel="up" href="' + b"x" * 90_000 + b'"/>', 1000),
        (b'<c><IntervalBlock xmlns="http://naesb.org/espi"/></c>', MILLION),
    ],
    ids=["links", "blocks"],
)
def test_what_is_remembered_of_a_file_has_an_end(part: bytes, times: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """At a hundredth of the limit, for time; memory goes with it."""
    monkeypatch.setattr(espi_feed, "_MAX_HELD_CHARS", espi_feed._MAX_HELD_CHARS // 100)
    assert peak_of_refusal(pieces((HEAD + b"<entry>", 1), (part, times)), "more links") < 5e6


def peak_of_refusal(stream: io.RawIOBase, said: str) -> int:
    """Bytes held at most until the file was refused."""
    tracemalloc.start()
    try:
        with pytest.raises(EspiError, match=said):
            list(espi_readings(stream))
        return tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()


def test_different_names_without_end_are_refused() -> None:
    names = b"".join(b"<a%d/>" % number for number in range(20_000))
    assert "different names" in refusal(HEAD + names + b"</feed>")
    fields = "".join(f"<a{number}/>" for number in range(200))
    assert "fields" in refusal(simple([reading(START, 900, 5, extra=fields)]))


def test_memory_does_not_grow_with_the_readings() -> None:
    row, count = reading(START, 900, 5).encode(), 20_000
    tracemalloc.start()
    stream = pieces((GOOD_HEAD, 1), (row, count), (b"<IntervalReading>" + GOOD_TAIL, 1))
    assert sum(reading.energy_wh == 5.0 for reading in espi_readings(stream)) == count + 1
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 2e6 < count * len(row)


@settings(max_examples=300, deadline=None)
@given(st.data())
def test_mangled_bytes_give_readings_or_words(data: st.DataObject) -> None:
    """Never another exception; and what is read still has all or nothing."""
    text = bytearray(feed(usage_point(), meter(), reading_type(1, **ENERGY), block([reading(START, 900, 5)] * 3)))
    for _ in range(data.draw(st.integers(1, 4))):
        place = data.draw(st.integers(0, len(text) - 1))
        text[place : place + data.draw(st.integers(0, 3))] = data.draw(st.binary(max_size=4))
    try:
        rows = read(bytes(text))
    except EspiError:
        return
    assert [row.ordinal for row in rows] == list(range(1, len(rows) + 1))
    for row in rows:
        held = (row.energy_wh is not None) + (row.power_w is not None)
        assert held == (row.fault is None)
        assert row.fault or (row.start_utc is not None and row.duration_s)


def test_limits_leave_room_for_a_year_of_days_of_five_hundred_meters() -> None:
    """By arithmetic on what a block of a published sample asks to be held: two addresses of about 130 characters."""
    assert 365 * 500 * (espi_feed._HELD_EACH + 2 * 130 + 2 * 20) <= espi_feed._MAX_HELD_CHARS
