"""What the review says of doubts, corrections and withdrawn exports: given rows, expected text."""

from __future__ import annotations

import csv
import dataclasses
import statistics
from datetime import date, datetime, timedelta
from pathlib import Path

import polars as pl
import pytest
from page import Element, read_page, rows_of
from review_pumps import HOSTILE

from pumpledger.engine import tables
from pumpledger.reports.data import DECISIONS, PUMP_SOURCES, SUPERSEDED, ReviewData
from pumpledger.reports.data_section import MOST_ROWS, in_order
from pumpledger.reports.replaced import corrections
from pumpledger.reports.review import summary_lines, write_review

COAST = {"P-1": "QM-001", "P-2": "QM-002", "P-3": "QM-003"}
FORMULA = '=HYPERLINK("x")'


def verdict(identifier: str, mode: str, pump_id: str, state: str, blocks: bool, **other: object) -> dict[str, object]:
    """A row of VERDICTS on the made-up coast gateway."""
    return {
        "verdict_id": identifier,
        "source": "coast gateway",
        "mode": mode,
        "pump_id": pump_id,
        "quantity": "power",
        "sentence": f"Sentence of {identifier}.",
        "evidence": f"numbers of {identifier}",
        "sureness": 0.979,
        "blocks": blocks,
        "remedy": "power x1000",
        "state": state,
        "pumps": 1 if pump_id else len(COAST),
        "first_day": date(2026, 11, 2),
        "last_day": date(2026, 11, 8),
    } | other


ROWS = [
    verdict("v-applied2", "B13", "P-2", "applied", False, remedy=""),
    verdict("v-applied1", "B12", "P-1", "applied", False, remedy=""),
    verdict("v-refused1", "B11", "P-4", "refused", False),
    verdict("v-openpump", "B11", "P-4", "open", False, quantity="flow"),
    verdict("v-heldpump", "B4", "P-2", "open", True, quantity="speed"),
    verdict("v-stillseen", "B10", "P-3", "confirmed", True, remedy="power x-1"),
    verdict("v-source01", "B4", "", "open", True, sentence="The power column of coast gateway looks like kW."),
    verdict("v-swap0001", "B3", "P-5a", "open", True, quantity="identity", remedy="swap P-5a P-5b from 2026-11-03"),
    verdict("v-swap0001", "B3", "P-5b", "open", True, quantity="identity", remedy="swap P-5a P-5b from 2026-11-03"),
    verdict("v-noremedy", "B5", "", "open", False, source=HOSTILE, quantity="time", remedy="", evidence=FORMULA),
]
ORDER = [
    "v-source01", "v-swap0001", "v-heldpump", "v-stillseen", "v-noremedy", "v-openpump", "v-refused1",
    "v-applied1", "v-applied2",
]  # fmt: skip


def replaced(pump_id: str, minute: int, was: tuple, now: tuple, new: str = "b", **other: object) -> dict[str, object]:
    """A row of `SUPERSEDED`: (speed, power) before and after; minutes from 2026-11-01T08:20Z."""
    return {
        "pump_id": pump_id,
        "time_utc": datetime(2026, 11, 1, 8, 20) + timedelta(minutes=minute),
        "old_export_id": "a",
        "old_line": minute + 2,
        "counted": True,
        "new_export_id": new,
        "new_line": minute + 2,
        "speed_was_rpm": was[0],
        "speed_rpm": now[0],
        "power_was_w": was[1],
        "power_w": now[1],
        "old_file": "coast_1.csv",
        "new_file": f"coast_{new}.csv",
    } | other


REPLACED = [
    replaced("P-1", 0, (1200.0, 110.0), (1300.0, 110.0)),
    replaced("P-1", 60, (1200.0, None), (1400.0, 140.0)),
    replaced("P-1", 70, (None, None), (1500.0, 151.0)),
    replaced("P-2", 0, (1200.0, 110.0), (1200.0, 110.0), new="c", new_file=FORMULA),
    replaced("P-3", 0, (0.0, 3.0), (None, None), new="d", old_file=None, new_file=HOSTILE),
]


def frame(table: dict, rows: list[dict[str, object]]) -> pl.DataFrame:
    return pl.DataFrame(rows, schema=table).select(list(table))


def spoiled(review: ReviewData) -> ReviewData:
    out = [
        ("withdrawn.csv", "withdrawn", "withdrawn by hand; its readings do not count", 700),
        (f"{HOSTILE}.csv", "to read again", "repeated rows of withdrawn.csv, which was withdrawn", None),
    ]
    last = review.exports.row(-1, named=True)
    # A withdrawn export's rows count as quarantine in the ledger; the other one's are not known until it is read again.
    more = [
        last
        | {"data_rows": quarantine, "quarantine": quarantine}
        | {"sequence": number, "export_id": f"{number:016x}"}
        | {"file": file, "status": status, "problem": problem}
        for number, (file, status, problem, quarantine) in enumerate(out, start=5)
    ]
    decided = ("v-earlier1", "confirmed", HOSTILE, date(2026, 10, 28), FORMULA, "coast gateway", "", "power x1000")
    return dataclasses.replace(
        review,
        verdicts=tables.VERDICTS.conform(frame(tables.VERDICTS.schema, ROWS)),
        pump_sources=pl.DataFrame([(pump, "coast gateway") for pump in COAST], schema=PUMP_SOURCES, orient="row"),
        doubts=pl.DataFrame(
            [("QM-002", "P-2", "Sentence of v-heldpump. And more."), ("QM-006", "P-6", "not true that days add up")],
            schema=tables.DOUBTS.schema,
            orient="row",
        ),
        decisions=pl.DataFrame([decided], schema=DECISIONS, orient="row"),
        superseded=frame(SUPERSEDED, REPLACED),
        exports=pl.concat([review.exports, tables.EXPORTS.conform(pl.DataFrame(more, infer_schema_length=None))]),
    )


@pytest.fixture(scope="module")
def data(review: ReviewData) -> ReviewData:
    return spoiled(review)


@pytest.fixture(scope="module")
def folder(data: ReviewData, tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_review(tmp_path_factory.mktemp("spoiled"), data)


@pytest.fixture(scope="module")
def section(folder: Path) -> Element:
    return read_page(folder / "index.html").one("section", id="doubt")


def table_of(section: Element, caption: str) -> list[list[str]]:
    return rows_of(next(table for table in section.all("table") if table.one("caption").text.startswith(caption)))


def cells_of(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_order_whatever_the_order_of_the_rows() -> None:
    rows = tables.VERDICTS.conform(frame(tables.VERDICTS.schema, ROWS))
    for given in (rows, rows.reverse(), rows.sample(fraction=1, shuffle=True, seed=7)):
        assert list(dict.fromkeys(in_order(given)["verdict_id"])) == ORDER


def test_doubts_to_decide(section: Element) -> None:
    rows = table_of(section, "Doubts about sources and pumps' logs")
    assert [row[0].rsplit(" ", 1)[1] for row in rows] == ORDER[:-2]
    source, swap, held, still, asks, open_, refused = rows
    assert source == [
        "coast gateway, whole source v-source01",
        "The power column of coast gateway looks like kW. numbers of v-source01",
        "open, numbers held back",
        "power x1000 It is so: pumpledger verdict FLEET --confirm v-source01 --by NAME "
        "The readings are right: pumpledger verdict FLEET --refuse v-source01 --by NAME",
        "97 %",
        "Mon 2 Nov to Sun 8 Nov",
        "3 P-1 , P-2 , P-3",
    ]
    assert swap[0] == "P-5a , P-5b v-swap0001" and swap[6] == "2"  # one decision, so one line
    assert swap[3].startswith("swap P-5a P-5b from 2026-11-03 It is so:")
    assert held[2] == "open, numbers held back"
    assert still[2] == "confirmed and still seen, numbers held back" and "--confirm" not in still[3]
    assert asks[3].startswith("none that the intake can apply") and asks[2] == "open, nothing held back"
    assert open_[2] == "open, nothing held back"
    assert refused[2] == "refused, the readings count as they are" and "--refuse" not in refused[3]
    assert "7 doubts: 5 open, 4 holding numbers back" in section.text


def test_applied_and_decided_come_after(section: Element) -> None:
    assert "2 dealt with by themselves" in section.text
    assert [row[0] for row in table_of(section, "Doubts dealt with")] == ["P-1 v-applied1", "P-2 v-applied2"]
    (decided,) = table_of(section, "Decisions on record")
    assert decided == [
        "v-earlier1", "coast gateway, whole source", "confirmed", "power x1000", HOSTILE, "Wed 28 Oct 2026", FORMULA,
    ]  # fmt: skip


def test_a_whole_source_stands_before_any_site(folder: Path, data: ReviewData) -> None:
    page = read_page(folder / "index.html")
    line = page.one("p", "first-of-all")
    assert line.text == (
        "Decide first: coast gateway. The power column of coast gateway looks like kW. The numbers of its 3 pumps at "
        "3 sites are held back; evidence and remedy of v-source01 ."
    )
    html = (folder / "index.html").read_text(encoding="utf-8")
    assert html.index("Decide first") < html.index('class="lead"') < html.index('id="actions-now"')
    lines = summary_lines(data)
    assert lines[1] == (
        "Decide first: The power column of coast gateway looks like kW. coast gateway, 3 pumps at 3 sites, "
        "numbers held back: pumpledger verdict FLEET --confirm v-source01 --by NAME"
    )
    assert len(lines) == 10


@pytest.mark.parametrize(
    ("change", "amount"), [({"state": "confirmed"}, 1), ({"state": "refused", "blocks": False}, 0)]
)
def test_decided_source(data: ReviewData, tmp_path: Path, change: dict[str, object], amount: int) -> None:
    """Confirmed and still seen goes on holding back, so it is said; refused is no more a doubt."""
    rows = [row | change if row["verdict_id"] == "v-source01" else row for row in ROWS]
    now = dataclasses.replace(data, verdicts=tables.VERDICTS.conform(frame(tables.VERDICTS.schema, rows)))
    assert len(read_page(write_review(tmp_path, now) / "index.html").all("p", "first-of-all")) == amount
    assert sum("Decide first" in line for line in summary_lines(now)) == amount
    assert not amount or "--refuse v-source01" in summary_lines(now)[1]


def test_corrections_by_pump_and_pair_of_exports(section: Element, data: ReviewData) -> None:
    """08:20Z and 09:20Z are both 01:20 in Los Angeles on 2026-11-01, when the clocks go back (tz database)."""
    rows = {row["pump_id"]: row for row in corrections(data).iter_rows(named=True)}
    first = rows["P-1"]
    assert first["readings"] == 3 and first["changed"] == "speed and power" and first["site_id"] == "QM-001"
    assert first["first_local"] == "2026-11-01T01:20:00-07:00" and first["last_local"] == "2026-11-01T01:30:00-08:00"
    assert first["speed_was_rpm"] == 1200 and first["power_was_w"] == 110  # null readings enter no mean
    assert first["speed_rpm"] == statistics.mean([1300, 1400, 1500])
    assert first["power_w"] == pytest.approx(statistics.mean([110, 140, 151]), rel=1e-15)
    assert rows["P-2"]["changed"] == "another column"
    assert rows["P-3"]["old_file"] == "a" and rows["P-3"]["speed_rpm"] is None  # a file that no record names

    shown = {row[0]: row for row in table_of(section, "By pump and pair of exports")}
    assert shown["P-1"] == [
        "P-1", "coast_1.csv", "coast_b.csv", "3", "speed and power",
        "Sun 1 Nov 01:20 \N{MINUS SIGN}07:00 Sun 1 Nov 01:30 \N{MINUS SIGN}08:00", "1,200 to 1,400", "110.0 to 133.7",
    ]  # fmt: skip
    assert shown["P-3"][6:] == ["0 to none", "3.0 to none"]  # missing is not zero
    assert "5 readings of 3 pumps no longer count" in section.text


def test_exports_taken_out(section: Element) -> None:
    title = "Exports taken out of the readings"
    said = section.text[section.text.index(title) : section.text.index("Conservation of rows")]
    assert "withdrawn.csv 0000000000000005 : withdrawn by hand; its readings do not count." in said
    assert "pumpledger withdraw FLEET 0000000000000005 --restore" in said
    assert f"{HOSTILE}.csv 0000000000000006 : repeated rows of withdrawn.csv" in said
    assert said.count("--restore") == 1
    # coast_2026-11-09.csv has 5 and 1; nobody is to mend the rows of a withdrawn export.
    assert "quarantine.csv holds the 6 rows in quarantine and rejects" in section.text


def test_site_pages_name_what_holds_their_numbers_back(folder: Path) -> None:
    def said(site_id: str) -> str:
        text = read_page(folder / "sites" / f"{site_id}.html").text
        return text[text.index("What holds its numbers back") : text.index("What is keyed in")]

    first = said("QM-001")
    assert (
        "P-1 : held back by the verdict below. Verdict v-source01 on P-1, as on the whole source coast gateway: open, "
        "numbers held back. The power column of coast gateway looks like kW. numbers of v-source01; seen Mon 2 Nov"
    ) in first
    assert "pumpledger verdict FLEET --confirm v-source01 --by NAME" in first and "v-applied1" not in first
    second = said("QM-002")
    assert second.index("Verdict v-source01") < second.index("Verdict v-heldpump")
    assert second.count("Sentence of v-heldpump.") == 1  # the phrase holds it already
    assert said("QM-005").count("Verdict v-swap0001 on P-5a, P-5b: open") == 1
    assert "P-6 : not true that days add up" in said("QM-006")
    assert "holds its numbers back" not in read_page(folder / "sites" / "QM-004.html").text  # open, holds nothing back


def test_tables_beside_the_review(folder: Path, data: ReviewData) -> None:
    verdicts, changed, exports = (cells_of(folder / f"{name}.csv") for name in ("verdicts", "corrections", "exports"))
    assert list(verdicts[0]) == list(tables.VERDICTS.columns) and list(exports[0]) == list(tables.EXPORTS.columns)
    assert list(dict.fromkeys(row["verdict_id"] for row in verdicts)) == ORDER and len(verdicts) == len(ROWS)
    assert next(row["evidence"] for row in verdicts if row["verdict_id"] == "v-noremedy") == f"'{FORMULA}"
    assert [row["sha256"] for row in exports] == data.exports.sort("sequence")["sha256"].to_list()
    assert exports[0]["first_utc"] == "2026-10-26T07:00:00Z"
    assert [row["file"] for row in exports][3] == "'@odd.csv"
    assert [row["new_file"] for row in changed] == ["coast_b.csv", f"'{FORMULA}", HOSTILE]
    assert changed[2]["speed_rpm"] == "" and changed[2]["speed_was_rpm"] == "0.0"


def test_hostile_texts_are_text(folder: Path, section: Element) -> None:
    for path in folder.rglob("*.html"):
        assert "<script>alert" not in path.read_text(encoding="utf-8"), path.name
    assert section.text.count(HOSTILE) >= 4  # source, decided by, new file, file taken out


def test_same_rows_same_bytes(folder: Path, data: ReviewData, tmp_path: Path) -> None:
    turned = {
        name: getattr(data, name).reverse()
        for name in ("verdicts", "pump_sources", "doubts", "decisions", "superseded", "exports")
    }
    again = write_review(tmp_path, dataclasses.replace(data, **turned))
    for path in folder.rglob("*"):
        if path.is_file():
            assert (again / path.relative_to(folder)).read_bytes() == path.read_bytes(), path.name


def test_many_are_cut_short_on_the_page_only(data: ReviewData, tmp_path: Path) -> None:
    many = [verdict(f"v-{n:08x}", "B4", f"P-{n}", "open", True) for n in range(MOST_ROWS + 5)]
    held = dataclasses.replace(data, verdicts=tables.VERDICTS.conform(frame(tables.VERDICTS.schema, many)))
    target = write_review(tmp_path, held)
    section = read_page(target / "index.html").one("section", id="doubt")
    assert len(table_of(section, "Doubts about sources")) == MOST_ROWS
    assert "The first 200 are shown; all are in verdicts.csv" in section.text
    assert len(cells_of(target / "verdicts.csv")) == MOST_ROWS + 5


def test_nothing_in_doubt(written: Path) -> None:
    page = read_page(written / "index.html")
    section = page.one("section", id="doubt")
    assert "No source and no pump's log is in doubt." in section.text
    assert not page.all("p", "first-of-all")
    assert "Readings replaced" not in section.text and "Exports taken out" not in section.text
    assert cells_of(written / "verdicts.csv") == cells_of(written / "corrections.csv") == []
