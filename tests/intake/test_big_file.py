"""A file of many chunks reads the same as in one, whatever stands in one of them, and with little memory.

How much memory a file of gigabytes takes is measured by ``tests/benchmarks/large_file.py``.
"""

from __future__ import annotations

import gzip
from dataclasses import replace
from pathlib import Path

import polars as pl
import pytest
from intake_fleet import COUNTERS, MEANS, SAMPLES, Fleet

from pumpledger.engine.database import Database
from pumpledger.intake import ingest, judging, lines, parse, read_csv, stage
from pumpledger.verdicts.corrections import PUMP_CHANGES

_ROWS = 2000
SAMPLE_ROWS = [
    f"2026-10-{26 + n // 1440:02d}T{n // 60 % 24:02d}:{n % 60:02d}:00Z,P-LA,{900 + n % 1700},{n % 997}.5,{n % 2}\n"
    for n in range(_ROWS)
]
MEAN_ROWS = [
    f"{1 + n // 96:02d}.10.2026 {n // 4 % 24:02d}:{n % 4 * 15:02d};{900 + n % 900};0,{n % 97:02d}\r\n"
    for n in range(96 * 21)
]
COUNTER_ROWS = [f"{1792998000 + 900 * n}\tP-BE\t{n % 3000}\t{n / 100}\t{n / 4}\n" for n in range(_ROWS)]


def changed(rows: list[str], at: int, row: str) -> list[str]:
    return [*rows[:at], row, *rows[at + 1 :]]


FILES = {
    "clean": ("one_a.csv", SAMPLES, SAMPLE_ROWS),
    "bad number": ("one_a.csv", SAMPLES, changed(SAMPLE_ROWS, 1500, "2026-10-27T01:00:00Z,P-LA,fast,1,1\n")),
    "torn": ("one_a.csv", SAMPLES, changed(SAMPLE_ROWS, 1500, "2026-10-27T01:0\n")),
    "blank lines": ("one_a.csv", SAMPLES, changed(SAMPLE_ROWS, 1500, "\n\n   \n")),
    "stray quote": ("one_a.csv", SAMPLES, changed(SAMPLE_ROWS, 1500, '2026-10-27T01:00:00Z,"P-LA,1500,1,1\n')),
    "lone return": ("one_a.csv", SAMPLES, changed(SAMPLE_ROWS, 1500, "2026-10-27T01:00:00Z,P-LA,1500\r,1,1\n")),
    "no text": ("one_a.csv", SAMPLES, changed(SAMPLE_ROWS, 1500, "2026-10-27T01:00:00Z,P-\x00\udcff,1500,1,1\n")),
    "no last line end": ("one_a.csv", SAMPLES, [*SAMPLE_ROWS[:-1], SAMPLE_ROWS[-1].rstrip("\n")]),
    "said twice far apart": (
        "one_a.csv",
        SAMPLES,
        [*SAMPLE_ROWS, SAMPLE_ROWS[3], SAMPLE_ROWS[5].replace(".5,", ".25,")],
    ),
    "local time": ("means__P-BE.csv", MEANS, MEAN_ROWS),
    "local time, torn": ("means__P-BE.csv", MEANS, changed(MEAN_ROWS, 1500, "16.10.2026 1\r\n")),
    "footers": ("counters_a.csv", COUNTERS, [*COUNTER_ROWS[:1000], "# end\n", *COUNTER_ROWS[1000:], "# end\n"]),
}


PUMPS = ("P-LA", "P-BE", "P-LA2")
MANY = [
    f"2026-10-{26 + n // 1440:02d}T{n // 60 % 24:02d}:{n % 60:02d}:00Z,{pump},{900 + (n * (k + 1)) % 1700},{n % 997}.5,{n % 2}\n"
    for n in range(600)
    for k, pump in enumerate(PUMPS)
]
MANY_FILES = {
    "several pumps": MANY,
    "one row torn, one without pump": [*MANY[:900], "2026-10-27T01:0\n", "2026-10-26T00:00:30Z,,1,1,1\n", *MANY[900:]],
    "repeats and conflicts": [*MANY, *MANY[7:19], *(row.replace(".5,", ".25,") for row in MANY[30:60])],
    "out of order": [*MANY[1000:], *MANY[:1000], "torn\n"],
}


def taken(root: Path, name: str, content: bytes) -> tuple[pl.DataFrame, pl.DataFrame, list[object]]:
    fleet = Fleet(root)
    fleet.put(name, content)
    (row,) = fleet.ingest().exports.rows(named=True)
    counts = [
        row[name] for name in ("data_rows", "other_lines", "readings", "duplicates", "quarantine", "rejects", "status")
    ]
    return fleet.readings(), fleet.refused(), counts


@pytest.mark.parametrize("case", FILES)
def test_chunks_make_no_difference(tmp_path, monkeypatch, case) -> None:
    """In one chunk, and in many cut wherever they fall; plain and packed (which never goes the short way)."""
    name, head, rows = FILES[case]
    content = (head + "".join(rows)).encode("utf-8", "surrogateescape")
    readings, refused, counts = taken(tmp_path / "whole", name, content)
    assert readings.height > 0.9 * len(rows), counts
    monkeypatch.setattr(ingest, "_MEMORY", "64MB")
    for block, other, data in ((4099, name, content), (7919, f"{name}.gz", gzip.compress(content))):
        monkeypatch.setattr(lines, "_BLOCK", block)
        again = taken(tmp_path / f"{block}", other, data)
        assert again[0].equals(readings)
        assert again[1].drop("file").equals(refused.drop("file"))
        assert again[2] == counts


@pytest.mark.parametrize("changes", ["", "swapped"])
@pytest.mark.parametrize("case", MANY_FILES)
def test_some_pumps_at_a_time_make_no_difference(tmp_path, monkeypatch, case, changes) -> None:
    """All rows judged at once, and in many parts; also where a person has confirmed that two logs changed places."""
    if changes:
        change = pl.DataFrame(
            {**dict.fromkeys(PUMP_CHANGES), "pump_id": ["P-LA", "P-BE"], "becomes_pump_id": ["P-BE", "P-LA"]},
            schema=PUMP_CHANGES,
        )
        monkeypatch.setattr(
            stage, "judge", lambda *args: judging.judge(*args[:2], replace(args[2], change=change), *args[3:])
        )
        monkeypatch.setattr(stage, "read_clean", lambda *_: None)
    content = (SAMPLES + "".join(MANY_FILES[case])).encode()
    whole = taken(tmp_path / "whole", "one_a.csv", content)
    monkeypatch.setattr(judging, "MOST_ROWS", 200)
    parted = []
    written = Database.write_parts
    monkeypatch.setattr(Database, "write_parts", lambda *args: parted.append(args[1]) or written(*args))
    again = taken(tmp_path / "parted", "one_a.csv", content)
    assert again[0].equals(whole[0]) and again[1].equals(whole[1]) and again[2] == whole[2]
    assert parted or (case == "several pumps" and not changes), "a clean file is not parted"


def test_counters_of_a_large_clean_file_are_looked_through_in_parts(tmp_path, monkeypatch) -> None:
    """The clock is set back by 40 minutes while both counters go on: the same note either way."""
    rows = list(COUNTER_ROWS)
    rows[1000:] = [f"{1792998000 + 900 * n - 2400}\tP-LA\t{n % 3000}\t{n / 100}\t{n / 4}\n" for n in range(1000, _ROWS)]
    said = []
    for name, most in (("whole", 5_000_000), ("parted", 300)):
        monkeypatch.setattr(judging, "MOST_ROWS", most)
        fleet = Fleet(tmp_path / name)
        fleet.put("counters_a.csv", (COUNTERS + "".join(rows)).encode())
        intake = fleet.ingest()
        said.append(([problem.sentence for problem in intake.problems], fleet.readings().rows()))
    assert said[0] == said[1]


def test_a_bad_line_costs_its_chunk_the_short_way_and_no_other(tmp_path, monkeypatch) -> None:
    """Of some twenty chunks one is read line by line; all others by DuckDB."""
    whole, by_line = [], []
    typed, slow = read_csv.rows_typed, parse._parse_lines
    monkeypatch.setattr(lines, "_BLOCK", 4099)
    monkeypatch.setattr(parse, "rows_typed", lambda *args: whole.append(args[1].first_line) or typed(*args))
    monkeypatch.setattr(parse, "_parse_lines", lambda *args: by_line.append(args[1].first_line) or slow(*args))
    name, head, rows = FILES["torn"]
    counts = taken(tmp_path / "fleet", name, (head + "".join(rows)).encode())[2]
    assert counts == [_ROWS, 1, _ROWS - 1, 0, 0, 1, "read"]
    assert len(whole) > 15 and len(by_line) == 1
    assert by_line[0] <= 1502 < next(line for line in whole if line > by_line[0])


def test_a_line_longer_than_many_chunks(tmp_path, monkeypatch) -> None:
    """One record without end is one reject; the lines after it keep their numbers."""
    monkeypatch.setattr(lines, "_BLOCK", 1009)
    rows = changed(SAMPLE_ROWS[:60], 20, "2026-10-26T00:20:00Z,P-LA," + "9" * (lines.LONGEST + 5000) + ",1,1\n")
    readings, refused, counts = taken(tmp_path / "fleet", "one_a.csv", (SAMPLES + "".join(rows)).encode())
    assert counts == [60, 1, 59, 0, 0, 1, "read"]
    assert refused.select("line", "rule").rows() == [(22, "cannot_be_read")]
    assert len(refused["raw"][0]) <= 2000
    assert readings["line"].to_list() == [line for line in range(2, 62) if line != 22]


@pytest.mark.parametrize("spoil", ["", "torn\n"], ids=["else clean", "else torn"])
def test_a_line_too_long_is_too_long_whatever_else_the_file_holds(tmp_path, spoil) -> None:
    """A million blanks behind a code could be read, and are not by one way and refused by another."""
    long = "2026-10-26T00:20:00Z,P-LA" + " " * (lines.LONGEST + 100) + ",1500,1,1\n"
    rows = "".join(changed(SAMPLE_ROWS[:60], 20, long))
    readings, refused, counts = taken(tmp_path / "fleet", "one_a.csv", (SAMPLES + rows + spoil).encode())
    assert counts == [60 + bool(spoil), 1, 59, 0, 0, 1 + bool(spoil), "read"]
    assert refused.sort("line").select("line", "rule").row(0) == (22, "cannot_be_read")


def test_marks_of_several_bytes_at_the_cut(tmp_path, monkeypatch) -> None:
    """A chunk ends at a line, never inside a character, in UTF-8 and in UTF-16."""
    dialect = (
        'about = "made up"\n[file]\ndelimiter = ","\nencoding = "{encoding}"\n[time]\ncolumn = "t"\nformat = "%Y-%m-%d %H:%M"\n'
        'zone = "utc"\nlabel = "instant"\ninterval_s = 60\ngap_limit_s = 600\n[pump]\ncolumn = "pump"\n'
        '[quantity]\nspeed = {{ column = "n", unit = "rpm" }}\naux = {{ column = "a", on = ["läuft – 運転 😀"], off = ["-"] }}\n'
    )
    rows = [f"2026-10-26 {n // 60:02d}:{n % 60:02d},P-LA,{1000 + n},läuft – 運転 😀\n" for n in range(600)]
    text = "t,pump,n,a\n" + "".join(changed(rows, 300, "torn 運\n"))
    seen = []
    for number, (block, encoding) in enumerate(
        [(1 << 25, "utf-8"), (211, "utf-8"), (211, "utf-16"), (1 << 25, "utf-16")]
    ):
        monkeypatch.setattr(lines, "_BLOCK", block)
        fleet = Fleet(tmp_path / str(number))
        fleet.own_dialect(dialect.format(encoding=encoding))
        fleet.take("own_a.csv", text.encode(encoding))
        seen.append((fleet.readings().drop("export_id").rows(), fleet.refused().select("line", "raw").rows()))
    assert len(seen[0][0]) == 599 and seen[0][1] == [(302, "torn 運")]
    assert all(other == seen[0] for other in seen[1:])
