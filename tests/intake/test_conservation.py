"""Whatever is done to the bytes of an export, each line ends in exactly one place, with its number and reason."""

from __future__ import annotations

import re
import tempfile
from pathlib import Path

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from intake_fleet import BUILT_IN, COUNTERS, EVENTS, MEANS, SAMPLES, Fleet, built_in, stage_file, staged_readings

from pumpledger.intake.dialect_file import parse_dialect
from pumpledger.intake.unreadable import Unreadable
from pumpledger.problems import Problem

ZONES = {"P-LA": "America/Los_Angeles", "P-BE": "Europe/Berlin"}
GOOD: dict[str, bytes] = {
    "samples_1min": (
        SAMPLES + "".join(f"2026-11-01T08:{m:02d}:00Z,P-LA,{1500 + m},21{m}.5,1\n" for m in range(8))
    ).encode(),
    "samples_5min": (
        SAMPLES + "2026-10-26T07:00:00Z,P-LA,1500,210,1\n2026-10-26T07:00:00Z,P-BE,1800,300,0\n"
        "2026-10-26T07:05:00Z,P-LA,1500,210,\n2026-10-26T07:05:00Z,P-XX,1,1,\n2026-10-26T07:05:00Z,P-LA,1500,210,\n"
    ).encode(),
    "means_15min": (
        MEANS
        + "".join(f"25.10.2026 0{h}:{m:02d};{1000 + m};0,{h}{m}\r\n" for h in (1, 2, 2, 3) for m in (0, 15, 30, 45))
    ).encode(),
    "events": (
        EVENTS + "2026-11-01T01:30:00-07:00,P-LA,1500,,1,11\n2026-11-01T01:30:00-08:00,P-LA,0,0,0,\n"
        "2026-11-01T07:30:00-08:00,P-LA,0,0,0,3.5\n"
    ).encode(),
    "counters": (
        COUNTERS
        + "".join(f"{1792998000 + 900 * i}\tP-LA\t{600 + i}\t{1042.37 + i}\t{512 + i / 4}\n" for i in range(6))
        + "# end\n"
    ).encode(),
}
PIECES = st.one_of(
    st.binary(min_size=1, max_size=4),
    st.sampled_from(
        [
            b"\r",
            b"\n",
            b"\r\n",
            b"\n\n",
            b'"',
            b'""',
            b",",
            b";",
            b"\t",
            b"\x00",
            b"\xff",
            b"\xef\xbb\xbf",
            b"# end",
            b"9",
            b"-",
            b"99999",
            b"nan",
            b"inf",
            b"1e400",
            b"_0",
            b"\xe2\x80\xa8",
            b" ",
            b"2026-10-26T07:00:00Z,P-LA,1500,210,1\n",
        ]
    ),
)


@st.composite
def spoiled(draw: st.DrawFn, good: bytes, first: int) -> bytes:
    """``good`` after one to five edits behind byte ``first``: bytes put in, cut out or changed; lines doubled,
    moved, torn."""
    content = good
    for _ in range(draw(st.integers(1, 5))):
        at = draw(st.integers(min(first, len(content)), len(content)))
        match draw(st.sampled_from(["insert", "delete", "change", "double line", "swap lines", "tear"])):
            case "insert":
                content = content[:at] + draw(PIECES) + content[at:]
            case "delete":
                content = content[:at] + content[at + draw(st.integers(1, 12)) :]
            case "change":
                piece = draw(PIECES)
                content = content[:at] + piece + content[at + len(piece) :]
            case "tear":
                content = content[: max(at, first)]
            case edit:
                head, lines = content[:first], content[first:].splitlines(keepends=True)
                if lines:
                    index = draw(st.integers(0, len(lines) - 1))
                    lines.insert(
                        draw(st.integers(0, len(lines))), lines[index] if edit == "double line" else lines.pop(index)
                    )
                content = head + b"".join(lines)
    return content


def physical(content: bytes, encoding: str = "utf-8") -> dict[int, str]:
    """Lines by number, counted here by line feeds alone."""
    lines = content.split(b"\n")
    lines = lines[:-1] if lines[-1] == b"" else lines
    return {number: line.decode(encoding, "replace").rstrip("\r") for number, line in enumerate(lines, start=1)}


def check(db, name: str, content: bytes) -> None:
    dialect = built_in(name)
    with tempfile.TemporaryDirectory() as root:
        path = Path(root) / "x__P-BE.csv"
        path.write_bytes(content)
        try:
            staged = stage_file(db, path, dialect, ZONES)
        except Unreadable as error:
            assert error.problem.sentence
            return
        lines = physical(content)
        assert staged.data_rows + staged.other_lines == len(lines)
        assert sum(staged.fates.values()) == staged.data_rows
        readings, refused = staged_readings(staged), staged.refused
        assert readings.height == staged.fates["readings"] == staged.extents["rows"].sum()
        accounted = sorted([*readings["line"], *refused["line"]])
        skipped = dialect.preamble_lines + 1
        expected = [
            number
            for number, text in lines.items()
            if number > skipped and text.strip() and not (dialect.footer and text.startswith(dialect.footer))
        ]
        assert accounted == expected
        for row in refused.iter_rows(named=True):
            assert row["fate"] in ("duplicates", "quarantine", "rejects")
            assert row["rule"]
            assert row["reason"].endswith(".")
            assert row["raw"].rstrip("\r") == lines[row["line"]].rstrip("\r")
        position = list(
            pl.read_csv(
                path,
                n_rows=0,
                skip_rows=dialect.preamble_lines,
                separator=dialect.delimiter,
                encoding="utf8-lossy",
                infer_schema=False,
            ).columns
        ).index(dialect.columns["speed"])
        for line, speed in readings.select("line", "speed_rpm").iter_rows():
            cell = lines[line].split(dialect.delimiter)[position].strip().strip('"').replace(dialect.decimal, ".")
            assert (float(cell) if cell.strip() else None) == speed


@pytest.mark.parametrize("name", BUILT_IN)
def test_spoiled_rows(db, name) -> None:
    skipped = built_in(name).preamble_lines + 1
    first = sum(len(line) for line in GOOD[name].splitlines(keepends=True)[:skipped])

    @given(spoiled(GOOD[name], first))
    @settings(max_examples=15, deadline=None, derandomize=True, database=None)
    def run(content: bytes) -> None:
        check(db, name, content)

    run()


@pytest.mark.parametrize("name", BUILT_IN)
def test_spoiled_anywhere(db, name) -> None:
    @given(spoiled(GOOD[name], 0))
    @settings(max_examples=15, deadline=None, derandomize=True, database=None)
    def run(content: bytes) -> None:
        check(db, name, content)

    run()


WIDE = """
about = "made up: one column a pump"
[file]
delimiter = ";"
decimal = ","
footer = "# end"
[time]
column = "t"
format = "%d.%m.%Y %H:%M"
zone = "site"
label = "interval_ending"
interval_s = 900
gap_limit_s = 3600
[pump]
header = "(P-.+) kW"
[quantity]
power = { unit = "kW" }
"""
WIDE_GOOD = (
    "P-LA kW;t;note;P-BE kW\n"
    + "".join(f"0,{n};25.10.2026 0{n // 4}:{n % 4 * 15:02d};;{n},5\r\n" for n in range(1, 16))
    + "# end\n"
).encode()


def check_wide(db, content: bytes) -> None:
    """As `check`, for cells: each line that holds data has one fate for each pump of the header."""
    problems: list[Problem] = []
    dialect = parse_dialect(WIDE, "wide", "wide.toml", problems)
    assert dialect is not None, problems
    with tempfile.TemporaryDirectory() as root:
        path = Path(root) / "wide.csv"
        path.write_bytes(content)
        try:
            staged = stage_file(db, path, dialect, ZONES)
        except Unreadable as error:
            assert error.problem.sentence
            return
        lines = physical(content)
        data = [n for n, text in lines.items() if n > 1 and text.strip() and not text.startswith("# end")]
        header = [cell.strip().strip('"') for cell in lines[1].removeprefix("\ufeff").split(";")]
        pumps = sum(re.fullmatch("(P-.+) kW", cell) is not None for cell in header)
        assert pumps > 0
        assert (staged.data_rows, staged.other_lines) == (pumps * len(data), len(lines) - len(data))
        assert sum(staged.fates.values()) == staged.data_rows
        readings, refused = staged_readings(staged), staged.refused
        assert readings.height == staged.fates["readings"] == staged.extents["rows"].sum()
        assert sorted([*readings["line"], *refused["line"]]) == sorted(data * pumps)
        for line, pump in readings.select("line", "pump_id").iter_rows():
            assert refused.filter(line=line, pump_id=pump).is_empty()
        for line, raw, reason in refused.select("line", "raw", "reason").iter_rows():
            assert raw.rstrip("\r") == lines[line].rstrip("\r")
            assert reason.endswith(".")
        for line, pump, power_w in readings.select("line", "pump_id", "power_w").iter_rows():
            cell = lines[line].split(";")[header.index(f"{pump} kW")].strip().strip('"')
            assert float(cell.replace(",", ".")) * 1000 == pytest.approx(power_w)


@pytest.mark.parametrize("first", [WIDE_GOOD.index(b"\n") + 1, 0], ids=["rows", "anywhere"])
def test_spoiled_wide_files(db, first) -> None:
    @given(spoiled(WIDE_GOOD, first))
    @settings(max_examples=15, deadline=None, derandomize=True, database=None)
    def run(content: bytes) -> None:
        check_wide(db, content)

    run()


@given(st.binary(max_size=300))
@settings(max_examples=15, deadline=None, derandomize=True, database=None)
def test_any_bytes_behind_a_header(content: bytes) -> None:
    from pumpledger.engine.database import Database

    with Database(threads=1) as db:
        check(db, "samples_5min", SAMPLES.encode() + content)


@given(
    st.lists(
        st.sampled_from(BUILT_IN).flatmap(lambda name: st.tuples(st.just(name), spoiled(GOOD[name], 0))), max_size=4
    )
)
@settings(max_examples=6, deadline=None, derandomize=True, database=None)
def test_a_whole_inbox_of_spoiled_files(files: list[tuple[str, bytes]]) -> None:
    """Nothing is raised; the sums hold; a second run takes nothing."""
    prefix = dict(
        zip(
            BUILT_IN,
            ("one_{}.csv", "five_{}.csv", "means{}__P-BE.csv", "events_{}.csv", "counters_{}.csv"),
            strict=True,
        )
    )
    with tempfile.TemporaryDirectory() as root:
        fleet = Fleet(Path(root) / "fleet")
        for number, (name, content) in enumerate(files):
            fleet.put(prefix[name].format(number), content)
        outcome = fleet.ingest()
        assert outcome.exports.height == len(files)
        assert fleet.readings().height == outcome.sums()["readings"]
        assert fleet.readings().select("pump_id", "time_utc").is_duplicated().sum() == 0
        before = fleet.readings()
        assert fleet.ingest().taken == []
        assert fleet.readings().equals(before)
