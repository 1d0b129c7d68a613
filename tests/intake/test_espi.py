"""Green Button files: goldens by hand, a round trip, links, refused codes, and hostile input.

Sources: facts 7g, 7h, 7i (arithmetic and a published sample) and, as [READ], the ESPI schema 4.0.20231213 and the
function block tests of the OpenESPI Green Button data kit. The writer of the files is `tests/espi_writer.py`.
"""

from __future__ import annotations

import gzip
import io
import tracemalloc
from datetime import datetime, timedelta
from fractions import Fraction
from random import Random

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from pumpledger.intake import espi_feed
from pumpledger.intake.espi import EspiError, EspiReading, espi_local_time, espi_readings

from tests.espi_writer import ENERGY, POWER, block, feed, local_time, meter, reading, reading_type, simple, usage_point

START = 1_793_491_200  # 2026-11-01 00:00 UTC
START_UTC = datetime(2026, 11, 1)
HEAD = b'<?xml version="1.0"?><feed xmlns="http://www.w3.org/2005/Atom">'


def read(data: bytes) -> list[EspiReading]:
    return list(espi_readings(io.BytesIO(data)))


def refusal(data: bytes) -> str:
    with pytest.raises(EspiError) as caught:
        read(data)
    message = str(caught.value)
    assert message.endswith(".") and message[0].isupper(), "a sentence for people"
    return message


# Values.


@pytest.mark.parametrize(
    ("value", "multiplier", "seconds", "energy_wh", "mean_w"),
    [
        (450, -3, 3600, 0.450, 0.450),  # facts 7g
        (1245, 0, 3600, 1245.0, 1245.0),  # facts 7h: 1.245 kWh, mean 1.245 kW
        (250, 0, 900, 250.0, 1000.0),  # facts 7i: mean 1.000 kW
        (7, 3, 900, 7000.0, 28000.0),
        (0, 0, 900, 0.0, 0.0),  # a pump that is off reads a true zero
        (1245, None, 3600, 1245.0, 1245.0),  # no multiplier: the unit itself
    ],
)
def test_value_times_ten_to_the_multiplier_is_wh(
    value: int, multiplier: int | None, seconds: int, energy_wh: float, mean_w: float
) -> None:
    [row] = read(simple([reading(START, seconds, value)], powerOfTenMultiplier=multiplier))
    assert (row.energy_wh, row.mean_power_w, row.power_w, row.fault) == (energy_wh, mean_w, None, None)
    assert (row.ordinal, row.start_utc, row.duration_s) == (1, START_UTC, seconds)


def test_power_is_read_as_watts() -> None:
    entries = (usage_point(), meter(), reading_type(1, **POWER, powerOfTenMultiplier=-1))
    [row] = read(feed(*entries, block([reading(START, 60, 14235)])))
    assert (row.power_w, row.mean_power_w, row.energy_wh, row.fault) == (1423.5, 1423.5, None, None)


def test_a_reading_is_given_with_its_own_xml_and_its_usage_point() -> None:
    text = (
        "<e:IntervalReading\n ><e:timePeriod><e:duration>900</e:duration><!-- ü --><e:start>%d</e:start></e:timePeriod>"
    )
    text = text % START + "<e:value> 12\n</e:value></e:IntervalReading\n>"
    data = simple([text]).replace(b"<feed ", b'<feed xmlns:e="http://naesb.org/espi" ')
    [row] = read(data)
    assert row.raw == text
    assert row.energy_wh == 12.0
    assert row.usage_point == "https://meters.invalid/espi/1_1/resource/UsagePoint/1"


def test_long_xml_is_cut_at_2000_characters() -> None:
    [row] = read(simple([reading(START, 900, 5, extra=f"<!-- {'x' * 5000} -->")]))
    assert len(row.raw) == 2000 and row.raw.startswith("<IntervalReading><timePeriod>")
    assert row.energy_wh == 5.0


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "latin-1", "windows-1252"])
def test_encodings(encoding: str) -> None:
    declared = {"utf-8-sig": "utf-8", "utf-16-le": "utf-16"}.get(encoding, encoding)
    rows = read(feed(usage_point(), meter(), reading_type(1, **ENERGY), *many_blocks(3, extra="<!-- é -->"),
                     encoding=encoding, declaration=declared))  # fmt: skip
    assert len(rows) == 288 and all(row.fault is None for row in rows)
    assert all(row.raw.endswith("<!-- é --></IntervalReading>") for row in rows)


def test_gzip_and_a_stream_that_cannot_seek_read_the_same() -> None:
    class Pipe(io.BytesIO):
        def seekable(self) -> bool:
            return False

        def seek(self, *_: int) -> int:
            raise OSError("not seekable")

    data = feed(usage_point(), meter(), reading_type(1, **ENERGY), *many_blocks(2))
    assert list(espi_readings(gzip.GzipFile(fileobj=io.BytesIO(gzip.compress(data))))) == read(data)
    assert list(espi_readings(Pipe(data))) == read(data)


def many_blocks(days: int, *, extra: str = "", **place: int) -> list[str]:
    return [
        block(
            [reading(START + 86400 * day + 900 * n, 900, 100 + n, extra=extra) for n in range(96)], number=day, **place
        )
        for day in range(days)
    ]


@settings(max_examples=50, deadline=None)
@given(
    rows=st.lists(
        st.tuples(st.integers(0, 7_258_118_400), st.integers(1, 2**32 - 1), st.integers(0, 2**47)),
        min_size=1,
        max_size=20,
    ),
    exponent=st.integers(-12, 12),
)
@example(rows=[(0, 1, 0)], exponent=0)
def test_what_is_written_is_read(rows: list[tuple[int, int, int]], exponent: int) -> None:
    got = read(simple([reading(*row) for row in rows], powerOfTenMultiplier=exponent))
    assert [row.ordinal for row in got] == list(range(1, len(rows) + 1))
    for (start, duration, value), row in zip(rows, got, strict=True):
        assert row.fault is None
        assert row.start_utc == datetime(1970, 1, 1) + timedelta(seconds=start)
        assert row.duration_s == duration
        assert row.energy_wh == float(Fraction(value) * Fraction(10) ** exponent), "rounded once"


@settings(max_examples=30, deadline=None)
@given(size=st.integers(1, 400), seed=st.integers(0, 2**32))
def test_the_size_of_the_pieces_read_makes_no_difference(size: int, seed: int) -> None:
    chance = Random(seed)
    whole = feed(usage_point(), meter(), reading_type(1, **ENERGY), *many_blocks(1, extra="<!-- é -->"))

    class Dribble(io.BytesIO):
        def read(self, _: int | None = -1) -> bytes:
            return super().read(chance.randint(1, size))

    assert list(espi_readings(Dribble(whole))) == read(whole)


# Links.


def test_each_meter_reading_uses_its_own_type() -> None:
    entries = [usage_point(1), usage_point(2), meter(1, 1, [1]), meter(2, 1, [2])]
    entries += [block([reading(START, 900, 5)], point=1), block([reading(START, 900, 5)], point=2)]
    entries += [reading_type(1, **ENERGY, powerOfTenMultiplier=0), reading_type(2, **ENERGY, powerOfTenMultiplier=3)]
    for order in (entries, entries[::-1]):  # a type may stand before or after what uses it
        rows = {row.usage_point[-1]: row.energy_wh for row in read(feed(*order))}
        assert rows == {"1": 5.0, "2": 5000.0}


def test_several_blocks_count_on_and_links_may_follow_the_content() -> None:
    data = feed(usage_point(), meter(), reading_type(1, **ENERGY), *many_blocks(2))
    head, *tail = data.decode().split("<entry>")
    turned = []
    for text in tail:
        links, content = text.split("<title>made up</title>")
        turned.append("<title>made up</title>" + content.replace("</entry>", links + "</entry>"))
    rows = read("<entry>".join([head, *turned]).encode())
    assert [row.ordinal for row in rows] == list(range(1, 193))
    assert [row.energy_wh for row in rows] == [row.energy_wh for row in read(data)]


@pytest.mark.parametrize(
    ("entries", "said"),
    [
        ([usage_point(), meter(1, 1, [9])], "names no ReadingType that is in the file"),
        ([usage_point(), meter(1, 1, [1, 2])], "names several ReadingTypes"),
        ([usage_point(), meter(1, 2)], "no MeterReading of the file leads"),
        ([usage_point()], "no MeterReading of the file leads"),
    ],
)
def test_a_reading_whose_type_is_not_sure_is_not_used(entries: list[str], said: str) -> None:
    types = [reading_type(1, **ENERGY), reading_type(2, **ENERGY, powerOfTenMultiplier=3)]
    [row] = read(feed(*entries, *types, block([reading(START, 900, 5)])))
    assert said in row.fault and row.energy_wh is None and row.power_w is None
    assert row.start_utc == START_UTC, "what is known of it is kept"


def test_a_type_defined_twice_with_different_codes_is_not_used() -> None:
    twice = [reading_type(1, **ENERGY), reading_type(1, **ENERGY, powerOfTenMultiplier=3)]
    other = reading_type(2, **ENERGY)
    [row] = read(feed(usage_point(), meter(), *twice, other, block([reading(START, 900, 5)])))
    assert "twice" in row.fault
    [row] = read(feed(usage_point(), meter(), meter(), twice[0], twice[0], block([reading(START, 900, 5)])))
    assert row.fault is None, "the same again is no contradiction"


def test_of_several_series_of_a_usage_point_the_shortest_energy_is_used() -> None:
    entries = [usage_point(), meter(1, 1, [1]), meter(1, 2, [2]), meter(1, 3, [3])]
    entries += [reading_type(1, **ENERGY, intervalLength=86400), reading_type(2, **ENERGY, intervalLength=900)]
    entries += [reading_type(3, **POWER, intervalLength=60)]
    entries += [block([reading(START, None, 96)], meter_reading=number) for number in (1, 2, 3)]
    for given, point in ((entries, "UsagePoint/1"), (entries[1:], "UsagePoint/1/MeterReading")):
        daily, quarter, power = read(feed(*given))
        assert quarter.usage_point == f"https://meters.invalid/espi/1_1/resource/{point}"
        assert quarter.fault is None and (quarter.duration_s, quarter.energy_wh) == (900, 96.0)
        assert "count twice" in daily.fault and daily.energy_wh is None
        assert "is used instead" in power.fault and power.power_w is None


def test_phases_that_the_file_does_not_add_up_are_not_used() -> None:
    entries = [usage_point(), meter(1, 1, [1]), meter(1, 2, [2])]
    entries += [reading_type(number, **ENERGY, phase=phase) for number, phase in ((1, 128), (2, 64))]
    rows = read(feed(*entries, *(block([reading(START, 900, 5)], meter_reading=number) for number in (1, 2))))
    assert all("one phase only" in row.fault for row in rows)


def test_a_reading_outside_any_block_is_counted_and_refused() -> None:
    stray = '<IntervalReading xmlns="http://naesb.org/espi"><value>5</value></IntervalReading>'
    data = simple([reading(START, 900, 5)]).replace(b"</feed>", stray.encode() + b"</feed>")
    good, bad = read(data)
    assert good.fault is None and "no IntervalBlock" in bad.fault and bad.raw == stray


# Codes.


@pytest.mark.parametrize(
    ("codes", "said"),
    [
        ({"uom": 169}, "uom 169 (therm)"),
        ({"uom": 61}, "uom 61 (VA)"),
        ({"uom": 9999}, "uom 9999,"),
        ({"uom": None}, "no uom"),
        ({"commodity": 7}, "commodity 7 (natural gas)"),
        ({"commodity": 2}, "primary metered"),
        ({"commodity": None}, "no commodity"),
        ({"flowDirection": 19}, "flowDirection 19 (reverse"),
        ({"flowDirection": 4}, "flowDirection 4 (net"),
        ({"flowDirection": None}, "no flowDirection"),
        ({"accumulationBehaviour": 1}, "dial reading"),
        ({"accumulationBehaviour": 3}, "earlier billing periods"),
        ({"accumulationBehaviour": 12}, "instantaneous"),
        ({"accumulationBehaviour": 0}, "accumulationBehaviour 0"),
        ({"accumulationBehaviour": None}, "no accumulationBehaviour"),
        ({"kind": 31}, "line losses"),
        ({"dataQualifier": 8}, "maxima"),
        ({"tou": 1}, "tou 1: only a part"),
        ({"consumptionTier": 2}, "consumptionTier 2: only a part"),
        ({"powerOfTenMultiplier": 40}, "powerOfTenMultiplier 40"),
        ({"powerOfTenMultiplier": "kilo"}, "'kilo'"),
        ({"intervalLength": 0}, "intervalLength 0"),
        ({"uom": "<a/>72"}, "no uom"),
        ({"uom": 38}, "accumulationBehaviour 4"),
        ({**POWER, "accumulationBehaviour": 4}, "a difference over an interval"),
        ({**POWER, "kind": 8}, "demand"),
        ({**POWER, "dataQualifier": 8}, "maxima"),
    ],
)
def test_a_file_of_other_things_than_drawn_energy_is_refused_by_name(codes: dict[str, object], said: str) -> None:
    assert said in refusal(simple([reading(START, 900, 5)], **codes))


def test_beside_a_usable_type_the_other_one_marks_its_readings() -> None:
    entries = [usage_point(1), usage_point(2), meter(1, 1, [1]), meter(2, 1, [2])]
    entries += [reading_type(1, **ENERGY), reading_type(2, **{**ENERGY, "flowDirection": 19})]
    drawn, given_back = read(feed(*entries, *(block([reading(START, 900, 5)], point=point) for point in (1, 2))))
    assert drawn.fault is None
    assert "reverse: energy given back" in given_back.fault and given_back.energy_wh is None


@pytest.mark.parametrize(("code", "used"), [(code, code in (0, 11, 14, 17, 18, 19)) for code in (0, *range(7, 21))])
def test_only_measured_values_are_used(code: int, used: bool) -> None:
    """QualityOfReading of the schema [READ]: 8 and 9 estimates, 12 a forecast, 15 adjusted, 10 doubtful, 7 edited."""
    for rows in (
        read(simple([reading(START, 900, 5, code)])),
        read(simple([reading(START, 900, 5)], defaultQuality=code)),
        read(simple([reading(START, 900, 5, 17, code)])),
    ):
        assert (rows[0].fault is None, rows[0].energy_wh) == (used, 5.0 if used else None)


def test_a_readings_own_quality_stands_before_the_default() -> None:
    assert read(simple([reading(START, 900, 5, 17)], defaultQuality=8))[0].fault is None


# Times.


def test_the_length_of_the_type_serves_where_a_reading_has_none() -> None:
    assert read(simple([reading(START, None, 5)], intervalLength=900))[0].duration_s == 900
    assert read(simple([reading(START, 300, 5)], intervalLength=900))[0].duration_s == 300
    assert "no duration" in read(simple([reading(START, None, 5)]))[0].fault


def test_readings_without_time_follow_each_other_only_where_they_fill_their_block() -> None:
    """Schema: without timePeriod "readings for each intervalLength in ReadingType are present"."""
    entries = [usage_point(), meter(), reading_type(1, **ENERGY, intervalLength=900)]
    untimed = [reading(None, None, value) for value in (5, 6, 7, 8)]
    rows = read(feed(*entries, block(untimed, interval=(START, 3600))))
    assert [row.start_utc for row in rows] == [START_UTC + timedelta(minutes=15 * n) for n in range(4)]
    assert [row.energy_wh for row in rows] == [5.0, 6.0, 7.0, 8.0]
    timed = [reading(START, 900, 5), *untimed[1:]]
    for unsure in (
        block(untimed[:3], interval=(START, 3600)),  # one is left out, and nobody knows which
        block(untimed),
        block(untimed, interval=("noon", 3600)),
        block(timed, interval=(START, 3600)),
    ):
        rows = read(feed(*entries, unsure))
        assert all("no start" in row.fault and row.start_utc is None for row in rows if "start" not in row.raw)


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ((START, -900, 5), "duration -900"),
        ((START, 0, 5), "duration 0"),
        ((START, 2**32, 5), f"duration {2**32}"),
        ((START, "15 min", 5), "'15 min'"),
        ((None, 900, 5), "no start"),
        ((START * 1000, 900, 5), "outside"),  # milliseconds
        ((-1, 900, 5), "outside"),
        (("2026-11-01T00:00:00Z", 900, 5), "no whole number"),
        ((START, 900, None), "no value"),
        ((START, 900, ""), "no whole number"),
        ((START, 900, "1.5"), "'1.5'"),
        ((START, 900, "1e3"), "'1e3'"),
        ((START, 900, "NaN"), "'NaN'"),
        ((START, 900, "٥"), "no whole number"),
        ((START, 900, -5), "not negative"),
        ((START, 900, 2**47 + 1), "outside"),
        ((START, 900, "9" * 100_000), "no whole number"),
        ((START, 900, " " * 198 + "12345"), "no whole number"),  # cut text must not read as 12
        ((START, 900, "4<x/>5"), "no value"),
        ((START, 900, "5</value><value>6"), "2 times value"),
        ((START, 900, '5</value><x:value xmlns:x="urn:other">6</x:value><value>7'), "2 times value"),
        ((START, 900, 5, "estimated"), "no whole number"),
    ],
)
def test_one_bad_reading_is_marked_and_the_next_is_used(fields: tuple, said: str) -> None:
    bad, good = read(simple([reading(*fields), reading(START + 900, 900, 6)]))
    assert said in bad.fault and bad.energy_wh is None and bad.power_w is None and bad.mean_power_w is None
    assert bad.fault[0].islower() and not bad.fault.endswith("."), 'ends a sentence that begins with "The row"'
    assert (good.ordinal, good.fault, good.energy_wh) == (2, None, 6.0)


def test_fields_of_other_namespaces_and_of_extensions_do_not_count() -> None:
    extra = '<x:value xmlns:x="urn:other">9</x:value><extension><value>8</value><a><value>7</value></a></extension>'
    assert read(simple([reading(START, 900, 5, extra=extra)]))[0].energy_wh == 5.0


# Hostile files.


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


def test_local_time_parameters_are_read_once_each() -> None:
    pacific = local_time(-28800, 3600, "360E2000", "B40E2000")
    data = feed(pacific, usage_point(), meter(), reading_type(1, **ENERGY), pacific, block([reading(START, 900, 5)]))
    [found] = espi_local_time(io.BytesIO(data))
    assert (found.tz_offset_s, found.dst_offset_s, found.start.month, found.end.month) == (-28800, 3600, 3, 11)
    assert espi_local_time(io.BytesIO(simple([reading(START, 900, 5)]))) == ()
    for wrong in (
        ("-8 h", 3600, "360E2000", "B40E2000"),
        (10**9, 3600, "360E2000", "B40E2000"),
        (-28800, 3600, "nonsense", "B40E2000"),
        (-28800, 3600, "", "B40E2000"),
        (-28800, 3600, "060E2000", "B40E2000"),
    ):
        broken = feed(local_time(*wrong), usage_point(), meter(), reading_type(1, **ENERGY))
        with pytest.raises(EspiError):
            espi_local_time(io.BytesIO(broken))
        assert read(broken) == [], "readings need no local time"


def test_limits_leave_room_for_a_year_of_days_of_five_hundred_meters() -> None:
    """By arithmetic on what a block of a published sample asks to be held: two addresses of about 130 characters."""
    assert 365 * 500 * (espi_feed._HELD_EACH + 2 * 130 + 2 * 20) <= espi_feed._MAX_HELD_CHARS
