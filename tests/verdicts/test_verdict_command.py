"""`pumpledger verdict`: what it lists, what it writes, and what it says of what it does not know."""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import polars as pl
import pytest

from pumpledger.cli import main
from pumpledger.engine.lake import Lake
from pumpledger.engine.tables import VERDICTS
from pumpledger.verdicts.listing import list_verdicts
from pumpledger.verdicts.run import verdict_id
from pumpledger.verdicts.store import read_decisions

KW = verdict_id("B4", "coast", "P-1", "power", "power x1000 from 2026-11-04")
STUCK = verdict_id("B12", "coast", "P-2", "power", "")
SWAP = verdict_id("B3", "coast", "P-3", "identity", "swap P-3 P-4 from 2026-11-05")


def row(mode: str, identifier: str, pump_id: str, **more: object) -> dict:
    return {
        "verdict_id": identifier,
        "source": "coast",
        "mode": mode,
        "pump_id": pump_id,
        "quantity": "power",
        "sentence": f"{mode} of {pump_id} as seen.",
        "evidence": "numbers",
        "sureness": 1.0,
        "blocks": True,
        "remedy": "",
        "state": "open",
        "pumps": 1,
        "first_day": date(2026, 11, 4),
        "last_day": date(2026, 11, 8),
    } | more


def swap(pump_id: str) -> dict:
    return row("B3", SWAP, pump_id, quantity="identity", remedy="swap P-3 P-4 from 2026-11-05")


@pytest.fixture
def fleet(tmp_path: Path) -> Path:
    (tmp_path / "fleet.toml").write_text('name = "made up"\n', encoding="utf-8")
    later = {"first_day": date(2026, 11, 9), "last_day": date(2026, 11, 15)}
    weeks = {
        "2026-W45": [row("B4", KW, "P-1", remedy="power x1000 from 2026-11-04"), swap("P-3"), swap("P-4")],
        "2026-W46": [
            row("B4", KW, "P-1", remedy="power x1000", sentence="Still in kW.", **later),
            row("B12", STUCK, "P-2", state="applied", blocks=False, **later),
        ],
    }
    for week, rows in weeks.items():
        Lake(tmp_path / "lake").write(VERDICTS, week, pl.DataFrame(rows, schema=VERDICTS.schema))
    return tmp_path


@dataclass
class Called:
    returncode: int
    stdout: str
    stderr: str


@pytest.fixture
def call(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Callable[..., Called]:
    """The command as a user calls it, but in this process."""

    def run(*words: object) -> Called:
        monkeypatch.setattr(sys, "argv", ["pumpledger", "verdict", *map(str, words)])
        with pytest.raises(SystemExit) as ended:
            main()
        out = capsys.readouterr()
        return Called(int(ended.value.code or 0), out.out, out.err)

    return run


def test_open_ones_stand_first_with_what_they_rest_on(fleet: Path, call: Callable[..., Called]) -> None:
    out = call(fleet)
    assert out.returncode == 0 and not out.stderr
    lines = out.stdout.splitlines()
    assert [line.split()[1] for line in lines if line.startswith("v-")] == ["open", "open", "open", "applied"]
    assert f"{KW} open B4 coast, P-1, its numbers are held back" in lines
    assert "    Still in kW." in lines  # the newest week's words, and the remedy of the week that saw it begin
    assert "    remedy: power x1000 from 2026-11-04" in lines
    assert "--confirm ID --by NAME" in lines[-1]


def test_confirming_is_remembered_with_all_that_the_correction_needs(fleet: Path, call: Callable[..., Called]) -> None:
    out = call(fleet, "--confirm", KW, "--by", "A Tester", "--note", "=asked")
    assert out.returncode == 0 and f"{KW} confirmed: power x1000 from 2026-11-04" in out.stdout
    (line,) = read_decisions(fleet).lines
    assert (line.mode, line.source, line.pump_id, line.quantity) == ("B4", "coast", "P-1", "power")
    assert (line.remedy, line.from_day) == ("power x1000 from 2026-11-04", date(2026, 11, 4))
    assert (line.decided_by, line.note) == ("A Tester", "=asked")
    assert "'=asked" in (fleet / "verdicts.csv").read_text(encoding="utf-8")
    listed = call(fleet).stdout
    assert f"{KW} confirmed B4" in listed and "confirmed by A Tester on" in listed


def test_one_decision_settles_both_sides_of_a_swap(fleet: Path, call: Callable[..., Called]) -> None:
    assert call(fleet, "--confirm", SWAP, "--by", "A").returncode == 0
    assert [line.pump_id for line in read_decisions(fleet).lines] == ["P-3", "P-4"]


def test_a_refusal_lets_the_numbers_go_and_can_be_taken_back(fleet: Path, call: Callable[..., Called]) -> None:
    call(fleet, "--refuse", KW, "--refuse", STUCK, "--by", "A")
    states = {item.verdict_id: (item.state, item.blocks) for item in _listed(fleet)}
    assert states[KW] == ("refused", False) and states[STUCK] == ("refused", False)
    call(fleet, "--confirm", KW, "--by", "A")
    assert {item.state for item in _listed(fleet) if item.verdict_id == KW} == {"confirmed"}
    assert len(read_decisions(fleet).lines) == 3


def test_a_decided_verdict_is_listed_when_no_week_shows_it_any_more(fleet: Path, call: Callable[..., Called]) -> None:
    call(fleet, "--confirm", KW, "--by", "A")
    for path in (fleet / "lake" / "verdicts").glob("*.parquet"):
        path.unlink()
    (item,) = _listed(fleet)
    assert (item.verdict_id, item.state, item.remedy) == (KW, "confirmed", "power x1000 from 2026-11-04")
    assert call(fleet, "--refuse", KW, "--by", "A").returncode == 0


def _listed(fleet: Path) -> list:
    return list_verdicts(Lake(fleet / "lake"), read_decisions(fleet))


def test_what_is_not_known_is_said_with_what_is(fleet: Path, call: Callable[..., Called]) -> None:
    out = call(fleet, "--confirm", "v-ffffffff", "--confirm", KW, "--by", "A")
    assert out.returncode == 2 and "v-ffffffff" in out.stderr and KW in out.stderr and SWAP in out.stderr
    assert not (fleet / "verdicts.csv").exists()  # nothing of a call that fails


@pytest.mark.parametrize("words", [("--confirm", KW), ("--confirm", KW, "--by", " "), ("--confirm", KW, "--refuse", KW,
                                   "--by", "A")])  # fmt: skip
def test_a_decision_needs_a_name_and_one_meaning(
    fleet: Path, words: tuple[str, ...], call: Callable[..., Called]
) -> None:
    out = call(fleet, *words)
    assert out.returncode == 2 and out.stderr and "Traceback" not in out.stderr
    assert not (fleet / "verdicts.csv").exists()


def test_no_fleet_and_no_doubt(tmp_path: Path, call: Callable[..., Called]) -> None:
    missing = call(tmp_path / "nowhere")
    assert missing.returncode == 2 and "no fleet folder" in missing.stderr
    (tmp_path / "fleet.toml").write_text("", encoding="utf-8")
    assert call(tmp_path).stdout == "There is no doubt about any source.\n"
