"""Parquet exports, written by pyarrow: typed and textual stamps, values that are none, damage, what goes back."""

from __future__ import annotations

import gzip
import io
import json
from datetime import datetime
from decimal import Decimal

import numpy as np
import polars as pl
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from carrier_files import zipped
from intake_fleet import utc

OWN = """
about = "made up: a table of samples"
carrier = "parquet"
[time]
column = "t"
format = "{format}"
zone = "{zone}"
label = "{label}"
interval_s = 900
gap_limit_s = 3600
[pump]
{pump}
[quantity]
{quantity}
"""
SPEED = 'speed = { column = "n", unit = "rpm" }\npower = { column = "p", unit = "kW" }'
STAMPS = [datetime(2026, 10, 26, 7), datetime(2026, 10, 26, 7, 15), datetime(2026, 10, 26, 7, 30)]


def own(fleet, form="timestamp", zone="utc", label="instant", pump='column = "pump"', quantity=SPEED) -> None:
    fleet.own_dialect(OWN.format(format=form, zone=zone, label=label, pump=pump, quantity=quantity))
    fleet.add_source("own_*.parquet")


def table(stamps: object = STAMPS, kind: pa.DataType | None = None, **columns: object) -> pa.Table:
    given = {"pump": ["P-LA"] * 3, "n": [1500, 1600, 1700], "p": [0.2, 0.3, 0.4]} | columns
    return pa.table({"t": pa.array(stamps, kind), **given})


def parquet(rows: pa.Table, **options: object) -> bytes:
    sink = io.BytesIO()
    pq.write_table(rows, sink, **options)
    return sink.getvalue()


def rows(fleet) -> list[tuple[object, ...]]:
    return fleet.readings().select("time_utc", "speed_rpm", "power_w", "line").rows()


EXPECTED = [(stamp, 1500.0 + 100 * n, pytest.approx(200.0 + 100 * n), n + 1) for n, stamp in enumerate(STAMPS)]


@pytest.mark.parametrize(
    ("unit", "zone"),
    [
        ("s", None),
        ("ms", None),
        ("us", None),
        ("ns", None),
        ("ms", "UTC"),
        ("us", "America/Los_Angeles"),
        ("ns", "+05:30"),
    ],
)
def test_typed_stamps_in_utc(fleet, unit, zone) -> None:
    """A typed column with a zone holds instants (Parquet: isAdjustedToUTC), so the zone it is shown in changes nothing."""
    own(fleet)
    taken = fleet.take("own_a.parquet", parquet(table(STAMPS, pa.timestamp(unit, zone))))
    assert (taken["status"], taken["data_rows"], taken["other_lines"]) == ("read", 3, 0)
    assert rows(fleet) == EXPECTED


def test_typed_stamps_on_the_wall_of_the_site(fleet) -> None:
    own(fleet, zone="site", label="interval_ending")
    fleet.take("own_a.parquet", parquet(table(STAMPS, pa.timestamp("us"))))
    assert fleet.readings().select("time_utc", "interval_s").row(0) == (utc("2026-10-26T06:45-07:00"), 900)


@pytest.mark.parametrize("zone", ["site", "+02:00", "Europe/Berlin"])
def test_instants_are_not_read_as_a_wall_clock(fleet, zone) -> None:
    """A column that holds instants under a dialect that says wall clock: one of both is wrong, so nothing is read."""
    own(fleet, zone=zone)
    taken = fleet.take("own_a.parquet", parquet(table(STAMPS, pa.timestamp("us", "UTC"))))
    assert (taken["status"], taken["readings"]) == ("set aside", 0)
    assert 'zone = "utc"' in taken["problem"] and "'t'" in taken["problem"]


@pytest.mark.parametrize(
    ("form", "stamps", "kind"),
    [
        ("%Y-%m-%d %H:%M", [f"{stamp:%Y-%m-%d %H:%M}" for stamp in STAMPS], pa.string()),
        ("%d/%m/%Y %I:%M %p", [f"{stamp:%d/%m/%Y %I:%M %p}" for stamp in STAMPS], pa.large_string()),
        ("%Y-%m-%d %H:%M", [f"{stamp:%Y-%m-%d %H:%M}" for stamp in STAMPS], pa.dictionary(pa.int32(), pa.string())),
        ("epoch_s", [int(utc_s) for utc_s in (1792998000, 1792998900, 1792999800)], pa.int64()),
        ("epoch_ms", [1792998000000, 1792998900000, 1792999800000], pa.int64()),
    ],
)
def test_stamps_as_text_and_numbers(fleet, form, stamps, kind) -> None:
    own(fleet, form=form)
    fleet.take("own_a.parquet", parquet(table(stamps, kind)))
    assert rows(fleet) == EXPECTED


@pytest.mark.parametrize(
    "speed",
    [
        pa.array([1500, 1600, 1700], pa.int16()),
        pa.array([1500, 1600, 1700], pa.float32()),
        pa.array(["1500", " 1600", "1700.0"]),
        pa.array([Decimal("1500.00"), Decimal("1600.00"), Decimal("1700.00")]),
    ],
    ids=["int16", "float32", "string", "decimal"],
)
def test_values_of_every_type(fleet, speed) -> None:
    own(fleet)
    fleet.take("own_a.parquet", parquet(table(n=speed)))
    assert rows(fleet) == EXPECTED


def test_values_that_are_none(fleet) -> None:
    """NaN is a value that cannot be true; null is nothing measured, never zero; a null stamp or pump is told."""
    own(fleet)
    stamps = [*STAMPS, datetime(2026, 10, 26, 8), None, datetime(2026, 10, 26, 8, 30), datetime(2026, 10, 26, 8, 45)]
    content = {
        "pump": ["P-LA"] * 5 + [None, "P-XX"],
        "n": [1500.0, np.nan, None, None, 1.0, 1.0, 1.0],
        "p": pa.array([None, 0.3, 0.4, None, 0.1, 0.1, 0.1], pa.float64()),
    }
    taken = fleet.take("own_a.parquet", parquet(table(stamps, pa.timestamp("us"), **content)))
    assert (taken["data_rows"], taken["readings"], taken["quarantine"], taken["rejects"]) == (7, 2, 4, 1)
    assert rows(fleet) == [(STAMPS[0], 1500, None, 1), (STAMPS[2], None, pytest.approx(400), 3)]
    assert fleet.fates() == [
        (2, "quarantine", "speed_out_of_range"),
        (4, "quarantine", "nothing_measured"),
        (5, "rejects", "cannot_be_read"),
        (6, "quarantine", "pump_missing"),
        (7, "quarantine", "pump_not_in_register"),
    ]


@pytest.mark.parametrize("carried", ["own_a.parquet", "own_a.parquet.gz", "own_a.zip"])
def test_a_refused_row_goes_back_as_json(fleet, carried) -> None:
    """All of its columns, also those that no one asked for, and none of another row."""
    own(fleet)
    extra = {"note": ["", "pump house «3»", ""], "n": [1500.0, 99999.0, 1700.0]}
    plain = parquet(table(**extra), row_group_size=1)
    pack = {"gz": gzip.compress, "ip": lambda data: zipped(("own_a.parquet", data))}.get(carried[-2:], bytes)
    fleet.put(carried, pack(plain))
    exports = fleet.ingest().exports
    assert exports.select("readings", "quarantine").rows() == [(2, 1)]
    (row,) = fleet.refused().rows(named=True)
    assert (row["line"], row["rule"]) == (2, "speed_out_of_range")
    assert json.loads(row["raw"]) == {
        "t": "2026-10-26 07:15:00",
        "pump": "P-LA",
        "n": 99999.0,
        "p": 0.3,
        "note": "pump house «3»",
    }


def test_raw_of_a_refused_row_is_short_clean_json(fleet) -> None:
    """Bytes, lone marks, NaN and endless text: JSON that any reader takes (RFC 8259 has no NaN), and not without end."""
    own(fleet)
    extra = {"n": [1500.0, np.nan, 9e9], "blob": [b"", b"\xff\x00", b""], "long": ["", "", "x" * 50_000]}
    fleet.take("own_a.parquet", parquet(table(**extra)))

    def refuse(word: str) -> None:
        raise ValueError(word)

    raw = dict(fleet.refused().select("line", "raw").iter_rows())
    first = json.loads(raw[2], parse_constant=refuse)
    assert first["n"] == "nan" and first["pump"] == "P-LA"
    assert len(raw[3]) <= 2000 and raw[3].startswith('{"t": "2026-10-26 07:30:00", "pump": "P-LA", "n": 9000000000.0')


def test_words_of_the_auxiliary_load(fleet) -> None:
    """A typed truth value is the word true or false."""
    own(fleet, quantity=SPEED + '\naux = { column = "a", on = ["true"], off = ["false"] }')
    fleet.take("own_a.parquet", parquet(table(a=[True, False, None])))
    assert fleet.readings()["aux_on"].to_list() == [True, False, None]


def test_columns_with_names_that_sql_and_the_reader_use(fleet) -> None:
    quantity = 'speed = { column = "n\\"; drop table x; --", unit = "rpm" }\npower = { column = "p", unit = "kW" }'
    own(fleet, quantity=quantity)
    rows_ = table(**{'n"; drop table x; --': [1500, 1600, 1700], "file_row_number": [7, 7, 7], "filename": ["x"] * 3})
    rows_ = rows_.add_column(0, "T", pa.array([0, 0, 0])).add_column(2, "P", pa.array([9.0, 9.0, 9.0]))
    taken = fleet.take("own_a.parquet", parquet(rows_))
    assert taken["status"] == "read", taken["problem"]
    assert rows(fleet) == EXPECTED


def test_wide_tables(fleet) -> None:
    """One column a pump; cells keep their row; an empty one is told as such."""
    own(fleet, pump='header = "(P-.+) kW"', quantity='power = { unit = "kW" }')
    wide = pa.table({"t": STAMPS, "P-LA kW": [0.2, None, 99.0], "P-BE kW": [1.0, 1.1, 1.2], "P-LA": ["x"] * 3})
    taken = fleet.take("own_a.parquet", parquet(wide))
    assert (taken["data_rows"], taken["readings"], taken["quarantine"]) == (6, 4, 2)
    assert fleet.readings().select("pump_id", "line", "power_w").rows() == [
        ("P-BE", 1, 1000),
        ("P-BE", 2, pytest.approx(1100)),
        ("P-BE", 3, 1200),
        ("P-LA", 1, 200),
    ]
    refused = fleet.refused().select("line", "pump_id", "rule").sort("line").rows()
    assert refused == [(2, "P-LA", "nothing_measured"), (3, "P-LA", "power_out_of_range")]


def test_an_empty_table(fleet) -> None:
    own(fleet)
    taken = fleet.take("own_a.parquet", parquet(table().slice(0, 0)))
    assert (taken["status"], taken["data_rows"]) == ("read", 0)


WHOLE = parquet(table(), compression="none")


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (WHOLE[:-9], "is not a whole Parquet file"),
        (WHOLE[: len(WHOLE) // 2], "is not a whole Parquet file"),
        (b"", "is not a whole Parquet file"),
        (b"t,pump,n,p\n1,2,3,4\n", "is not a whole Parquet file"),
        (WHOLE[:4] + b"\xff" * 60 + WHOLE[64:], "is not a whole Parquet file"),
        (parquet(table().drop_columns(["p"])), "column 'p' is missing; the header holds 't', 'pump', 'n'"),
        (parquet(table().rename_columns(["t", "pump", "n", "P"])), "is missing"),
        (parquet(table().append_column("n", pa.array([1, 2, 3]))), "names a column twice: 'n'"),
    ],
    ids=["no footer", "half", "empty", "text", "damaged page", "no power", "other case", "twice"],
)
def test_files_set_aside_whole(fleet, content, said) -> None:
    """Each costs only itself, and is said again until it is mended."""
    own(fleet)
    fleet.put("own_z.parquet", WHOLE)
    row = fleet.take("own_a.parquet", content)
    assert (row["status"], row["data_rows"]) == ("set aside", 0)
    assert said in row["problem"], row["problem"]
    assert rows(fleet) == EXPECTED
    assert [problem.file for problem in fleet.ingest().problems] == ["own_a.parquet"]


def test_every_byte_that_can_be_cut_or_spoilt(fleet) -> None:
    """A file cut anywhere is set aside; one spoilt at a seeded place is set aside or gives rows that add up."""
    import random

    own(fleet)
    chance = random.Random(7)
    for number in range(12):
        fleet.put(f"own_cut{number}.parquet", WHOLE[: chance.randrange(len(WHOLE))])
        spoilt = bytearray(WHOLE)
        spoilt[chance.randrange(len(WHOLE))] ^= 1 << chance.randrange(8)
        fleet.put(f"own_spoilt{number}.parquet", bytes(spoilt))
    exports = fleet.ingest().exports
    assert exports.height == 24
    assert exports.filter(pl.col("file").str.starts_with("own_cut"))["status"].unique().to_list() == ["set aside"]


def test_a_column_whose_name_is_no_text(fleet) -> None:
    """Byte 0x85 at the head of a name in the footer: found by mutated files, where pyarrow raises UnicodeDecodeError."""
    own(fleet)
    spoiled = parquet(table(STAMPS, pa.timestamp("us", "UTC"))).replace(b"pump", b"\x85ump")
    taken = fleet.take("own_a.parquet", spoiled)
    assert taken["status"] == "set aside" and "is not a whole Parquet file" in taken["problem"]


@pytest.mark.parametrize("unit", ["s", "us"])
def test_a_stamp_of_a_year_that_no_calendar_of_python_has(fleet, unit) -> None:
    """Found by fuzzing: Parquet counts to the year 294,000 and beyond. The row is refused, with what is stored in it."""
    own(fleet)
    far = 9_000_000_000_000 * (1 if unit == "s" else 1_000_000)  # seconds since 1970: the year 287,000 or so
    kind = pa.timestamp(unit)
    column = pa.concat_arrays([pa.array(STAMPS[:2], kind), pa.array([far], pa.int64()).cast(kind)])
    taken = fleet.take("own_a.parquet", parquet(table(column)))
    assert (taken["status"], taken["readings"], taken["data_rows"]) == ("read", 2, 3)
    (row,) = fleet.refused().rows(named=True)
    assert row["line"] == 3 and str(far)[:13] in row["raw"]
