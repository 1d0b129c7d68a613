"""CSV that other tools write: quotes, delimiters, line breaks and JSON in cells, against Python's csv module.

The cases are written by hand in the spirit of the public csv-spectrum collection (npm package `csv-spectrum`: one small
file a peculiarity; none of its data is copied). Python's csv module, with each line by itself, is the independent
reader: an export keeps a record on one line, so a record that spans lines is refused by line, with a reason.

What a text cell was read as shows in the auxiliary state: the dialect declares the cell that the csv module reads as
the word for on, and another word never fits. The speed stands behind the cell, so a cell split wrongly moves it.
"""

from __future__ import annotations

import csv
import io
import tempfile
from datetime import datetime, timedelta
from pathlib import Path

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from intake_fleet import Fleet

HEADER = '"at","pump","cell","rpm"'
CASES = {
    "simple": ["abc", "def"],
    "comma in quotes": ['"Springfield, north"', "plain"],
    "escaped quotes": ['"a ""b"" c"', '""""""', '"ends with """'],
    "quotes inside bare cells": ['12" pipe', 'a"b"c'],
    "json": ['"{""type"": ""Point"", ""coordinates"": [102.0, 0.5]}"', '"[1, ""two"", null]"'],
    "location": ['"37,-122"', '"37°46′N, 122°25′W"'],
    "utf8": ["ʤ", "水泵", "Größe", "ё", '"naïve, café"', "🏊"],
    "marks of other formats": [
        "a;b",
        "a\tb",
        "a|b",
        "# a",
        "'a'",
        "a\\",
        "\\N",
        "NULL",
        "nan",
        "=1+1",
        "\u2028",
        "\x0c",
        "\x85",
    ],
    "blanks kept inside": ['"a  b"', "a b"],
}
EMPTY = ["", '""', "  ", '"  "']


def dialect(words: list[str], delimiter: str = ",") -> str:
    on = ", ".join(quoted(word) for word in dict.fromkeys(words))
    return f"""about = "Made-up test dialect: one hostile text cell between stamp and speed."
[file]
delimiter = {quoted(delimiter)}
[time]
column = "at"
format = "%Y-%m-%dT%H:%M:%SZ"
zone = "utc"
label = "instant"
interval_s = 60
gap_limit_s = 600
[pump]
column = "pump"
[quantity]
speed = {{ column = "rpm", unit = "rpm" }}
aux = {{ column = "cell", on = [{on}], off = ["another word"] }}
"""


def quoted(text: str) -> str:
    """A basic string of TOML."""
    marks = {'"': '\\"', "\\": "\\\\"}
    return '"' + "".join(marks.get(m, f"\\u{ord(m):04x}" if ord(m) < 32 or ord(m) == 127 else m) for m in text) + '"'


def export(cells: list[str], end: str = "\n", delimiter: str = ",") -> str:
    """One row a cell, a minute apart, speeds 1000, 1001 and so on, no two the same."""
    start = datetime(2026, 10, 26, 8)
    stamps = [f"{start + timedelta(minutes=number):%Y-%m-%dT%H:%M:%SZ}" for number in range(len(cells))]
    rows = [
        delimiter.join((at, "P-LA", cell, str(1000 + n)))
        for n, (at, cell) in enumerate(zip(stamps, cells, strict=True))
    ]
    return end.join([HEADER.replace(",", delimiter), *rows]) + end


def by_csv_module(text: str, delimiter: str = ",") -> dict[int, list[str]]:
    """Cells by physical line, each line read by itself."""
    lines = text.replace("\r\n", "\n").split("\n")
    return {
        number: next(csv.reader([line], delimiter=delimiter))
        for number, line in enumerate(lines, start=1)
        if number > 1 and line.strip()
    }


def take(fleet: Fleet, text: str, words: list[str], delimiter: str = ",") -> tuple[dict[str, object], pl.DataFrame]:
    fleet.own_dialect(dialect(words, delimiter))
    row = fleet.take("own_1.csv", text)
    assert not fleet.dialect_problems, fleet.dialect_problems
    return row, fleet.readings().sort("line")


@pytest.mark.parametrize("end", ["\n", "\r\n"], ids=["lf", "crlf"])
@pytest.mark.parametrize("spoiled", [False, True], ids=["clean", "beside a bad row"])
@pytest.mark.parametrize("name", list(CASES))
def test_cells_are_read_as_the_csv_module_reads_them(fleet: Fleet, name: str, spoiled: bool, end: str) -> None:
    """A bad row at the end makes the slow way read the same lines."""
    text = export(CASES[name], end)
    expected = by_csv_module(text)
    if spoiled:
        text += f"2026-10-27T08:00:00Z,P-LA,x{end}"
    words = [cells[2] for cells in expected.values()]
    row, readings = take(fleet, text, words)
    assert (row["data_rows"], row["readings"], row["rejects"]) == (len(words) + spoiled, len(words), int(spoiled))
    assert dict(readings.select("line", "speed_rpm").iter_rows()) == {
        line: float(cells[3]) for line, cells in expected.items()
    }
    assert readings["aux_on"].to_list() == [True] * len(words)


@pytest.mark.parametrize("name", list(CASES))
def test_other_words_do_not_fit(fleet: Fleet, name: str) -> None:
    """So that the test above can fail: with one letter more in the declared word, each row is refused by that rule."""
    text = export(CASES[name])
    words = [cells[2] + "x" for cells in by_csv_module(text).values()]
    row, _ = take(fleet, text, words)
    assert row["readings"] == 0 and {rule for _, _, rule in fleet.fates()} <= {"aux_word_unknown", "file_set_aside"}


def test_empty_cells_are_missing_and_not_words(fleet: Fleet) -> None:
    row, readings = take(fleet, export(EMPTY), ["x"])
    assert row["readings"] == len(EMPTY)
    assert readings["aux_on"].to_list() == [None] * len(EMPTY)
    assert readings["speed_rpm"].to_list() == [1000.0, 1001.0, 1002.0, 1003.0]


@pytest.mark.parametrize("end", ["\n", "\r\n"], ids=["lf", "crlf"])
def test_a_record_over_several_lines_is_refused_line_by_line(fleet: Fleet, end: str) -> None:
    """The csv module joins the lines; here each of them goes back with its number, and the rows around it stand."""
    good = ["three", "four", "five", "six"]
    cells = ["one", f'"Once upon{end}a time{end}there was"', "two", f'"a ""quoted""{end}end"', *good]
    text = export(cells, end)
    joined = list(csv.reader(io.StringIO(text, newline="")))
    assert [len(record) for record in joined] == [4] * 9  # whole for a reader that joins
    row, readings = take(fleet, text, ["one", "two", *good])
    assert (row["data_rows"], row["readings"], row["rejects"]) == (11, 6, 5)
    assert readings["line"].to_list() == [2, 6, 9, 10, 11, 12]
    refused = fleet.refused()
    assert refused["line"].to_list() == [3, 4, 5, 7, 8]
    assert set(refused["rule"]) == {"cannot_be_read"}
    lines = text.split("\n")
    for line, raw, reason in refused.select("line", "raw", "reason").iter_rows():
        assert raw == lines[line - 1].rstrip("\r") and reason.startswith("The row ") and len(reason) > 20


def test_a_quote_left_open_spoils_its_own_line_alone(fleet: Fleet) -> None:
    row, readings = take(fleet, export(["one", '"open', "two", "three"]), ["one", "two", "three"])
    assert (row["data_rows"], row["readings"], row["rejects"]) == (4, 3, 1)
    assert readings["speed_rpm"].to_list() == [1000.0, 1002.0, 1003.0]


@pytest.mark.parametrize("content", [HEADER, HEADER + "\n", HEADER + "\r\n", HEADER + "\n\n \n"])
def test_a_header_alone_holds_no_row(fleet: Fleet, content: str) -> None:
    row, readings = take(fleet, content, ["x"])
    assert (row["data_rows"], readings.height) == (0, 0)


def test_no_line_end_at_the_end_and_a_byte_order_mark(fleet: Fleet) -> None:
    text = "\ufeff" + export(['"a,b"', '"c ""d"""']).rstrip("\n")
    row, readings = take(fleet, text, ["a,b", 'c "d"'])
    assert row["readings"] == 2 and readings["aux_on"].to_list() == [True, True]


TEXTS = st.text(st.characters(exclude_categories=("Cs",), exclude_characters="\r\n"), min_size=1, max_size=12).filter(
    lambda text: text == text.strip(" ") and text != "another word"
)


@given(
    texts=st.lists(TEXTS, min_size=1, max_size=8),
    delimiter=st.sampled_from(",;\t|"),
    quoting=st.sampled_from([csv.QUOTE_MINIMAL, csv.QUOTE_ALL, csv.QUOTE_NONNUMERIC]),
    spoiled=st.booleans(),
)
@settings(max_examples=15, deadline=None, derandomize=True, database=None)
def test_whatever_the_csv_module_writes_is_read(texts: list[str], delimiter: str, quoting: int, spoiled: bool) -> None:
    written = io.StringIO()
    writer = csv.writer(written, delimiter=delimiter, quoting=quoting, lineterminator="\n")
    writer.writerow(["at", "pump", "cell", "rpm"])
    for number, text in enumerate(texts):
        writer.writerow([f"2026-10-26T08:{number:02d}:00Z", "P-LA", text, 1000 + number])
    if spoiled:
        written.write("torn\n")
    with tempfile.TemporaryDirectory() as root:
        row, readings = take(Fleet(Path(root) / "fleet"), written.getvalue(), texts, delimiter)
    assert (row["readings"], row["rejects"]) == (len(texts), int(spoiled)), row
    assert readings["aux_on"].to_list() == [True] * len(texts)
    assert readings["speed_rpm"].to_list() == [1000.0 + number for number in range(len(texts))]
