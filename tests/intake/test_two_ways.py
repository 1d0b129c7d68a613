"""The three ways of reading an export, typed columns, cells as text and line by line, give the same typed rows."""

from __future__ import annotations

import tempfile
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from intake_fleet import BUILT_IN, COUNTERS, EVENTS, MEANS, SAMPLES, built_in

from pumpledger.engine.database import Database
from pumpledger.intake.carriers import members
from pumpledger.intake.dialect import Dialect
from pumpledger.intake.files import ExportFile, examine, header_columns
from pumpledger.intake.lines import Chunk, chunks, header_line
from pumpledger.intake.parse import _parse_lines, parse_text
from pumpledger.intake.progress import Progress
from pumpledger.intake.read_csv import cells_text, rows_typed, typed_from_text

HEADERS = dict(zip(BUILT_IN, (SAMPLES, SAMPLES, MEANS, EVENTS, COUNTERS), strict=True))
FORMATS = {
    "samples_1min": "%Y-%m-%dT%H:%M:%SZ",
    "samples_5min": "%Y-%m-%dT%H:%M:%SZ",
    "means_15min": "%d.%m.%Y %H:%M",
    "events": "%Y-%m-%dT%H:%M:%S-07:00",
}

MOMENTS = st.integers(0, 50_000_000).map(lambda s: datetime(2025, 6, 1) + timedelta(seconds=s))
PUMPS = st.sampled_from(["P-LA", "P-BE", "", " P-LA ", "'", "Ä", '"P,LA"', '"P;""x"""'])
NUMBERS = st.one_of(
    st.sampled_from(["", "0", "-0", "1e3", "+5", "12.", ".5", " 7", "7 ", "1E-2", "007"]),
    st.floats(-1e6, 1e6, allow_nan=False).map(lambda x: f"{x:.3f}"),
    st.integers(0, 4000).map(str),
)
WORDS = st.sampled_from(["", "1", "0", "on", " 1", '""'])


def clean_line(dialect: str, draw: st.DrawFn) -> str:
    moment, numbers = draw(MOMENTS), [draw(NUMBERS) for _ in range(3)]
    if dialect == "counters":
        return "\t".join([str(int((moment - datetime(1970, 1, 1)).total_seconds())), draw(PUMPS), *numbers])
    stamp = moment.strftime(FORMATS[dialect])
    if dialect == "means_15min":
        return ";".join([stamp, *(number.replace(".", ",") for number in numbers[:2])])
    if dialect == "events":
        return ",".join([stamp, draw(PUMPS), *numbers[:2], draw(WORDS), numbers[2]])
    return ",".join([stamp, draw(PUMPS), *numbers[:2], draw(WORDS)])


@st.composite
def clean_files(draw: st.DrawFn, dialect: str) -> bytes:
    end = draw(st.sampled_from(["\n", "\r\n"]))
    lines = [clean_line(dialect, draw) for _ in range(draw(st.integers(1, 6)))]
    text = HEADERS[dialect].replace("\n", end) + end.join(lines) + draw(st.sampled_from(["", end]))
    if dialect == "counters":
        text = text.rstrip(end) + end + "# end" + end
    bom = b"\xef\xbb\xbf" if draw(st.booleans()) and dialect != "counters" else b""
    return bom + text.encode()


def opened(path: Path, dialect: Dialect) -> tuple[ExportFile, list[str]]:
    (member,) = members(path)
    export = replace(examine(path, member), pump=dialect.pump_of(path.name))
    return export, header_columns(export, dialect, header_line(export, dialect))


def parse(db: Database, path: Path, dialect: Dialect) -> tuple[int, int]:
    export, columns = opened(path, dialect)
    parsed = parse_text(db, export, dialect, columns, path.parent, Progress())
    return parsed.data_rows, parsed.other_lines


def all_ways(db: Database, name: str, content: bytes) -> list[tuple[int, pl.DataFrame]]:
    dialect = built_in(name)
    with tempfile.TemporaryDirectory() as root:
        path = Path(root) / "x__P-BE.csv"
        path.write_bytes(content)
        export, columns = opened(path, dialect)
        chunk = next(chunks(export, dialect, Path(root)))
        found = []
        for way in (rows_typed, as_text, by_line):
            rows = way(db, chunk, export, dialect, columns)
            found.append((rows, db.table("typed_part") if rows >= 0 else pl.DataFrame()))
        return found


def as_text(db: Database, chunk: Chunk, export: ExportFile, dialect: Dialect, columns: list[str]) -> int:
    rows = cells_text(db, chunk, export, dialect, columns)
    if rows >= 0:
        typed_from_text(db, dialect)
    return rows


def by_line(db: Database, chunk: Chunk, export: ExportFile, dialect: Dialect, columns: list[str]) -> int:
    return _parse_lines(db, chunk, export, dialect, columns)[0]


@pytest.mark.parametrize("name", BUILT_IN)
def test_same_rows_for_clean_files(db, name) -> None:
    @given(clean_files(name))
    @settings(max_examples=20, deadline=None, derandomize=True, database=None)
    def check(content: bytes) -> None:
        *others, (careful_rows, careful) = all_ways(db, name, content)
        assert careful["fault"].null_count() == careful.height, careful
        for rows, typed in others:
            footer = name == "counters" and rows == careful_rows + 1
            assert rows - footer == careful_rows
            typed = typed.head(careful_rows)
            assert typed.drop("raw").equals(careful.drop("raw")), (content, typed, careful)
            assert typed.drop("raw").schema == careful.drop("raw").schema

    check()


@pytest.mark.parametrize(
    "line",
    [
        "2026-10-26T07:00:00Z,P-LA,1500,200",  # torn
        "2026-10-26T07:00:00Z,P-LA,1500,200,1,1",  # a field more
        ",P-LA,1500,200,1",  # no stamp: DuckDB reads it as a row
        "2026-10-26 07:00:00,P-LA,1500,200,1",
        "2026-10-26T07:00:00Z,P-LA,fast,200,1",
        '2026-10-26T07:00:00Z,"P-LA,1500,200,1',
        '2026-10-26T07:00:00Z,"P\r\nLA",1500,200,1',
        "2026-10-26T07:00:00Z,P-LA,1500,200,1\r2026-10-26T07:05:00Z,P-LA,1500,200,1",
        "2026-10-26T07:00:00Z,P-LA,1,5,200,1",
        "# end",
        "",
        "   ",
    ],
)
def test_the_fast_way_is_not_kept_where_a_line_is_no_row(db, tmp_path, line) -> None:
    """Then each line has its own record: the good one behind it keeps its number."""
    dialect, path = built_in("samples_5min"), tmp_path / "a.csv"
    good = "2026-10-26T08:00:00Z,P-LA,1500,200,1\n"
    path.write_bytes((SAMPLES + good + line + "\n" + good).encode())
    data_rows, other = parse(db, path, dialect)
    export, _ = opened(path, dialect)
    typed = db.table("typed_row")
    assert data_rows + other == path.read_bytes().count(b"\n") == export.lines
    if typed["raw"].null_count():  # every line was a row of cells, so that only the cells had to be judged
        assert line.count(",") == 4 and '"' not in line
    assert typed.filter(pl.col("fault").is_null())["line"].to_list() == [2, export.lines]


def test_a_split_line_and_a_lost_line_do_not_make_up_for_each_other(db, tmp_path) -> None:
    """A lone carriage return may be taken for a line end: one line gives two rows where another gives none."""
    dialect, path = built_in("samples_5min"), tmp_path / "a.csv"
    row = "2026-10-26T0{}:00:00Z,P-LA,1500,200,1"
    for end in ("\n", "\r\n"):
        lines = [row.format(1) + "\r" + row.format(2), "nonsense", row.format(3)]
        path.write_bytes((SAMPLES.replace("\n", end) + end.join(lines) + end).encode())
        assert opened(path, dialect)[0].lone_returns == 1
        assert parse(db, path, dialect) == (3, 1)
        typed = db.table("typed_row")
        assert typed.filter(pl.col("fault").is_null())["line"].to_list() == [4]


@pytest.mark.parametrize("more", ["", ",", "Pump,PUMP", "note,note", '"a,b",\'', "c0,c1", "select"])
def test_columns_that_no_one_asked_for(db, tmp_path, more) -> None:
    """Spreadsheets add empty columns; names may stand twice, differ in case alone, or be words of SQL."""
    dialect, path = built_in("samples_5min"), tmp_path / "a.csv"
    width = 2 if "," in more else 1
    row = "2026-10-26T07:00:00Z,P-LA,1500,200,1" + ",x" * width
    path.write_text(f"{SAMPLES.strip()},{more}\n{row}\n")
    assert parse(db, path, dialect) == (1, 1)
    assert db.table("typed_row").select("pump_id", "speed_rpm", "aux_text").row(0) == ("P-LA", 1500, "1")


@pytest.mark.parametrize("chunk", [1, 2, 3, 7])
def test_lines_are_counted_across_chunks(tmp_path, monkeypatch, chunk) -> None:
    monkeypatch.setattr("pumpledger.intake.files._CHUNK", chunk)
    path = tmp_path / "a.csv"
    path.write_bytes(b"a\r\nb\rc\r\n\r\n\rd\r")
    (member,) = members(path)
    export = examine(path, member)
    assert (export.lines, export.lone_returns, export.size) == (4, 3, 13)


def test_an_endless_line_is_one_reject(db, tmp_path) -> None:
    dialect, path = built_in("samples_5min"), tmp_path / "a.csv"
    good = b"2026-10-26T08:00:00Z,P-LA,1500,200,1\n"
    path.write_bytes(SAMPLES.encode() + good + b"2026-10-26T08:05:00Z,P-LA,1500,2" + b"0" * 3_000_000 + b",1\n" + good)
    assert parse(db, path, dialect) == (3, 1)
    assert db.table("typed_row")["fault"].to_list() == [None, "is longer than a million characters", None]


def test_bad_bytes_far_into_a_line_are_a_reject(db, tmp_path) -> None:
    dialect, path = built_in("samples_5min"), tmp_path / "a.csv"
    path.write_bytes(SAMPLES.encode() + b"2026-10-26T08:00:00Z," + b"P" * 2500 + b"\xff,1500,200,1\n")
    assert parse(db, path, dialect) == (1, 1)
    (row,) = db.table("typed_row").rows(named=True)
    assert "not UTF-8" in row["fault"]
    assert len(row["raw"]) == 2000


@pytest.mark.parametrize(("cell", "power_w"), [("1,5", 1500), ("1.500", None), ("1.500,0", None), ("1,500.0", None)])
def test_a_point_under_a_decimal_comma_is_no_number(db, tmp_path, cell, power_w) -> None:
    """1.500 kW may be one and a half or fifteen hundred: a reject, not a guess."""
    dialect, path = built_in("means_15min"), tmp_path / "x__P-BE.csv"
    path.write_text(MEANS + f"26.10.2026 00:15;1800;{cell}\n")
    parse(db, path, dialect)
    (row,) = db.table("typed_row").rows(named=True)
    assert row["power_w"] == power_w
    assert (row["fault"] is None) == (power_w is not None)


@pytest.mark.parametrize("stamp", ["99999999999999", "-5", "1e3", "9223372036854775807", "179299800O", "infinity"])
def test_epoch_seconds_that_are_none(db, tmp_path, stamp) -> None:
    dialect, path = built_in("counters"), tmp_path / "a.csv"
    path.write_text(COUNTERS + f"{stamp}\tP-LA\t1500\t1\t1\n1792998000\tP-LA\t1500\t1\t1\n# end\n")
    assert parse(db, path, dialect) == (2, 4)
    typed = db.table("typed_row")
    if stamp == "1e3":  # a number, in 1970: the range rule will refuse it
        assert typed["stamp"].to_list()[0] == datetime(1970, 1, 1, 0, 16, 40)
    else:
        assert [fault is None for fault in typed["fault"]] == [False, True]
