"""Green Button files: goldens by hand, a round trip, links, refused codes, and hostile input.

Sources: facts 7g, 7h, 7i (arithmetic and a published sample) and, as [READ], the ESPI schema 4.0.20231213 and the
function block tests of the OpenESPI Green Button data kit. The writer of the files is `tests/espi_writer.py`.
"""

from __future__ import annotations

import gzip
import io
from datetime import datetime, timedelta
from fractions import Fraction
from random import Random

import pytest
from espi_files import START, START_UTC, many_blocks, read, refusal
from hypothesis import example, given, settings
from hypothesis import strategies as st

from pumpledger.intake.espi import EspiError, espi_local_time, espi_readings
from tests.espi_writer import ENERGY, POWER, block, feed, local_time, meter, reading, reading_type, simple, usage_point

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


@settings(max_examples=20, deadline=None)
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


@settings(max_examples=20, deadline=None)
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
    for rows, point in ((entries, "UsagePoint/1"), (entries[1:], "UsagePoint/1/MeterReading")):
        daily, quarter, power = read(feed(*rows))
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
