"""The CSV that goes back to whoever exported the log: which rows, in what words, safe to open in a spreadsheet."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import polars as pl
import pytest
from page import read_page

from pumpledger.engine.tables import REFUSED
from pumpledger.intake.rules import REASONS, REFUSALS
from pumpledger.reports.send_back import COLUMNS, write_send_back


def refused(*rows: tuple[int, str, str, str, str]) -> pl.DataFrame:
    """Rows of (line, fate, rule, reason, raw) of one made-up export."""
    full = [("0" * 16, "coast_1.csv", line, "P-1", fate, rule, reason, raw) for line, fate, rule, reason, raw in rows]
    names = ("export_id", "file", "line", "pump_id", "fate", "rule", "reason", "raw")
    return REFUSED.conform(pl.DataFrame(full, schema=names, orient="row"))


def read_back(path: Path) -> list[dict[str, str]]:
    """As Python's csv module reads the file, an independent reader of RFC 4180."""
    return list(csv.DictReader(io.StringIO(path.read_bytes().decode("utf-8-sig"), newline="")))


def test_each_row_says_where_it_stands_what_is_wrong_and_what_to_do(tmp_path: Path) -> None:
    rule = "speed_out_of_range"
    detail = "The row has the speed 'fast', which is not a number."
    frame = refused(
        (7, "quarantine", rule, REASONS[rule], "2026-10-30T15:00:00Z,P-1,99999,0"),
        (9, "rejects", "cannot_be_read", detail, "2026-10-30T15:05:00Z,P-1,fast,0"),
    )
    assert write_send_back(tmp_path / "back.csv", [frame]) == 2
    first, second = read_back(tmp_path / "back.csv")
    assert tuple(first) == COLUMNS
    assert first == {
        "file": "coast_1.csv",
        "line": "7",
        "what_is_wrong": "No pool pump runs at this speed.",
        "what_to_do": "Check the unit of the column.",
        "rule": rule,
        "fate": "quarantine",
        "pump_id": "P-1",
        "raw": "2026-10-30T15:00:00Z,P-1,99999,0",
    }
    assert second["what_is_wrong"] == detail and second["what_to_do"] == REFUSALS["cannot_be_read"].remedy


def test_exact_repeats_do_not_go_back_unless_asked_for(tmp_path: Path) -> None:
    frame = refused((3, "duplicates", "same_row_again", REASONS["same_row_again"], "x"))
    assert write_send_back(tmp_path / "back.csv", [frame]) == 0
    assert read_back(tmp_path / "back.csv") == []
    assert write_send_back(tmp_path / "all.csv", [frame], ("duplicates", "quarantine", "rejects")) == 1


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r"])
def test_no_cell_is_a_formula(tmp_path: Path, start: str) -> None:
    """The marks that OWASP's page on CSV injection names ([MEM]: =, +, -, @, tab, carriage return)."""
    raw = f'{start}HYPERLINK("x","y"),P-1'
    frame = refused((2, "rejects", "cannot_be_read", "The row is torn.", raw)).with_columns(
        file=pl.lit(f"{start}a.csv")
    )
    write_send_back(tmp_path / "back.csv", [frame])
    (row,) = read_back(tmp_path / "back.csv")
    assert row["raw"] == "'" + raw and row["file"] == f"'{start}a.csv"


def test_raw_text_comes_back_as_it_stands(tmp_path: Path) -> None:
    texts = ['a,"b ""c""",d', "Größe;1,5", "a\rb", "\u202ecod", " x ", "", "a\x00b", "\ufffd\ufffd"]
    torn = ("rejects", "cannot_be_read", "The row is torn.")
    frame = refused(*((line, *torn, raw) for line, raw in enumerate(texts, start=2)))
    write_send_back(tmp_path / "back.csv", [frame])
    assert [row["raw"] for row in read_back(tmp_path / "back.csv")] == texts


def test_bytes_are_marked_as_utf_8_and_frames_follow_each_other(tmp_path: Path) -> None:
    one, two = (refused((n, "rejects", "cannot_be_read", "The row is torn.", "ü")) for n in (2, 3))
    write_send_back(tmp_path / "back.csv", [one, two])
    content = (tmp_path / "back.csv").read_bytes()
    assert content.startswith(b"\xef\xbb\xbffile,line,") and content.count(b"\xef\xbb\xbf") == 1
    assert [row["line"] for row in read_back(tmp_path / "back.csv")] == ["2", "3"]


def test_every_rule_says_both() -> None:
    for rule, text in REFUSALS.items():
        assert text.wrong.endswith(".") and text.remedy.endswith("."), rule
        assert REASONS[rule] == f"{text.wrong} {text.remedy}"


def test_the_page_links_it_where_rows_go_back(written: Path, review) -> None:  # noqa: ANN001
    link = next(a for a in read_page(written / "index.html").all("a") if a.attributes["href"] == "quarantine.csv")
    assert link.text == "quarantine.csv"
    wanted = int(review.exports["quarantine"].sum() + review.exports["rejects"].sum())
    said = read_page(written / "index.html").one("section", id="doubt").text
    assert f"holds the {wanted} rows in quarantine and rejects" in said
