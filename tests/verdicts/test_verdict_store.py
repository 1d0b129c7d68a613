"""verdicts.csv: what is added stays, the last decision counts, and no cell harms whoever opens the file."""

from __future__ import annotations

import csv
import dataclasses
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pumpledger.problems import FleetError
from pumpledger.register.csv_log import plain
from pumpledger.verdicts.store import FIELDS, FILE, Decision, Decisions, add_decisions, read_decisions

LINE = Decision(
    verdict_id="v-6a9d726e",
    decision="confirmed",
    decided_by="A Tester",
    decided_on=date(2026, 11, 9),
    note="asked the gateway's installer",
    mode="B4",
    source="coast gateway",
    pump_id="P-1",
    quantity="power",
    remedy="power x1000 from 2026-11-04",
    from_day=date(2026, 11, 4),
)
REFUSAL = dataclasses.replace(LINE, decision="refused", note="")


def test_no_file_holds_no_decision(tmp_path: Path) -> None:
    assert read_decisions(tmp_path) == Decisions()


def test_what_is_added_is_read_and_what_stood_there_stays_byte_for_byte(tmp_path: Path) -> None:
    add_decisions(tmp_path, [LINE])
    before = (tmp_path / FILE).read_bytes()
    assert before.decode().splitlines()[0] == ",".join(item.name for item in FIELDS)
    add_decisions(tmp_path, [REFUSAL])
    assert (tmp_path / FILE).read_bytes().startswith(before)
    assert read_decisions(tmp_path) == Decisions((LINE, REFUSAL))


def test_a_file_without_a_last_line_end_is_added_to_on_a_line_of_its_own(tmp_path: Path) -> None:
    add_decisions(tmp_path, [LINE])
    (tmp_path / FILE).write_bytes((tmp_path / FILE).read_bytes().rstrip(b"\n"))
    add_decisions(tmp_path, [REFUSAL])
    assert read_decisions(tmp_path).lines == (LINE, REFUSAL)


def test_the_last_decision_counts() -> None:
    other = dataclasses.replace(LINE, verdict_id="v-00000002")
    decisions = Decisions((LINE, other, REFUSAL))
    assert decisions.states() == {"v-6a9d726e": "refused", "v-00000002": "confirmed"}
    assert decisions.standing() == [other, REFUSAL]
    assert Decisions((LINE, REFUSAL, LINE)).standing() == [LINE]


@pytest.mark.parametrize("text", ["=HYPERLINK(1)", "+1", "-1", "@x", "'=1", "''-", " =1", "a,b", 'a"b'])
def test_no_cell_is_a_formula_and_each_reads_as_it_was(tmp_path: Path, text: str) -> None:
    add_decisions(tmp_path, [dataclasses.replace(LINE, decided_by=text, note=text)])
    with (tmp_path / FILE).open(newline="", encoding="utf-8") as file:
        cells = [cell for row in csv.reader(file) for cell in row]
    assert not [cell for cell in cells if cell.startswith(("=", "+", "-", "@", "\t", "\r"))]
    assert read_decisions(tmp_path).lines[0].note == text.strip()


@settings(max_examples=60, deadline=None)
@given(st.text(max_size=40), st.text(min_size=1, max_size=40).filter(plain))
def test_any_text_reads_as_it_was(tmp_path_factory: pytest.TempPathFactory, note: str, name: str) -> None:
    folder = tmp_path_factory.mktemp("verdicts")
    add_decisions(folder, [dataclasses.replace(LINE, decided_by=name, note=note)] * 2)
    assert [(line.decided_by, line.note) for line in read_decisions(folder).lines] == [(plain(name), plain(note))] * 2


@pytest.mark.parametrize(
    ("fault", "where"),
    [
        (lambda text: text.replace("confirmed", "perhaps"), "decision"),
        (lambda text: text.replace("2026-11-09", "9 November"), "decided_on"),
        (lambda text: text.replace("A Tester", ""), "decided_by"),
        (lambda text: text.replace("verdict_id,", ""), "verdict_id"),
    ],
)
def test_a_line_that_does_not_hold_stops_the_run_and_is_named(tmp_path: Path, fault: object, where: str) -> None:
    add_decisions(tmp_path, [LINE])
    path = tmp_path / FILE
    path.write_text(fault(path.read_text(encoding="utf-8")), encoding="utf-8")
    with pytest.raises(FleetError) as caught:
        read_decisions(tmp_path)
    assert where in str(caught.value) and FILE in str(caught.value)
