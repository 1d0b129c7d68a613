"""Thresholds that fleet.toml puts in place of the defaults: named, bounded, listed, and used by the next review."""

from __future__ import annotations

import re
from datetime import datetime
from pathlib import Path

import pytest
from click.testing import CliRunner

from pumpledger.cli import commands
from pumpledger.diagnosis.rules import RULES
from pumpledger.engine.tables import FINDINGS, VERDICTS
from pumpledger.orchestration import steps
from pumpledger.orchestration.session import Session
from pumpledger.orchestration.thresholds import thresholds
from pumpledger.problems import FleetError
from pumpledger.verdicts.registry import MODES
from tests.fleet_folder import FLEET, samples_5min, write_fleet

WEEK = "2026-W44"
SOURCE = '[[source]]\nname = "log"\nfiles = "log_*.csv"\ndialect = "samples_5min"\n'


def fleet(folder: Path, rules: str) -> Path:
    """One pump that runs at 3,450 rpm for 21 hours of each day of the week, and rests from 00:00 to 03:00."""
    states = [(0.0, 4.0) if step % 288 < 36 else (3450.0, 1500.0 + step % 5) for step in range(7 * 288)]
    start = datetime(2026, 10, 26, 7)  # midnight in Los Angeles, before the clocks go back
    write_fleet(folder, {"fleet.toml": FLEET + SOURCE + rules})
    (folder / "inbox" / "log_1.csv").write_text(samples_5min("P1", start, states))
    return folder


def found(folder: Path) -> set[str]:
    session = Session(folder)
    session.take_inbox()
    for step in (
        steps.make_verdicts,
        steps.make_spans,
        steps.make_daily,
        steps.make_savings,
        steps.make_schedule,
        steps.make_findings,
    ):
        step(session, WEEK)
    rows = session.lake.read(FINDINGS, WEEK)
    return {row["rule_id"] for row in rows.iter_rows(named=True) if row["verdict"] == "found"}


def test_a_threshold_of_fleet_toml_is_used_and_makes_the_review_stale(tmp_path: Path) -> None:
    folder = fleet(tmp_path, "")
    assert "C6" in found(folder)
    before = Session(folder).fingerprint(WEEK)
    (folder / "fleet.toml").write_text(FLEET + SOURCE + "[rules.C6]\nhours = 22\n")
    assert "C6" not in found(folder)
    assert Session(folder).fingerprint(WEEK) != before


def test_a_threshold_of_a_mode_is_used(tmp_path: Path) -> None:
    folder = fleet(tmp_path, "")
    states = [(0.0, 0.004) if step % 288 < 36 else (3450.0, 1.5) for step in range(7 * 288)]  # kW under W
    (folder / "inbox" / "log_1.csv").write_text(samples_5min("P1", datetime(2026, 10, 26, 7), states))
    found(folder)
    assert Session(folder).lake.read(VERDICTS, WEEK)["mode"].to_list() == ["B4"]
    text = "[rules.B4]\n" + "".join(f"{name} = {MODES['B4'].parameters[name].most}\n" for name in ("readings",))
    (folder / "fleet.toml").write_text(FLEET + SOURCE + text)
    found(folder)  # more readings a day are asked for than the log has
    assert Session(folder).lake.read(VERDICTS, WEEK).is_empty()


def test_all_faults_are_said_at_once_and_nothing_is_written(tmp_path: Path) -> None:
    folder = fleet(
        tmp_path, "[rules.C99]\nx = 1\n[rules.C6]\nhour = 22\nspeed_rpm = 100\n[rules.B13]\ndifferences = 1e9\n"
    )
    done = CliRunner().invoke(commands, ["review", str(folder)])
    assert isinstance(done.exception, FleetError)
    told = str(done.exception)
    for part in ("no rule 'C99'", "did you mean hours", "100 is outside 2400 to 3450 rpm", "rules.B13.differences"):
        assert part in told
    assert not (folder / "lake").exists() and not (folder / "reports").exists()


@pytest.mark.parametrize(
    "text", ["rules = 3\n", "[rules]\nC6 = 22\n", "[rules.C6]\nhours = true\n", '[rules.C6]\nhours = "22"\n']
)
def test_what_is_no_table_of_numbers_is_named(tmp_path: Path, text: str) -> None:
    before, after = (text, "") if text.startswith("rules =") else ("", text)
    write_fleet(tmp_path, {"fleet.toml": before + FLEET + SOURCE + after})
    with pytest.raises(FleetError, match="table such as"):
        Session(tmp_path).register  # noqa: B018


def test_the_list_names_every_rule_mode_and_threshold(tmp_path: Path) -> None:
    text = CliRunner().invoke(commands, ["rules"]).output
    for item in [*RULES, *MODES.values()]:
        assert re.search(rf"^{item.id}  {re.escape(item.name)}", text, re.MULTILINE)
        for name, parameter in item.parameters.items():
            assert f"    {name} = {parameter.default:g} {parameter.unit} (" in text
    assert "the default is" not in text
    changed = CliRunner().invoke(commands, ["rules", str(fleet(tmp_path, "[rules.C6]\nhours = 22\n"))]).output
    assert "    hours = 22 h (12 to 24; greater speaks less often; the default is 20)" in changed


def test_no_name_stands_for_two_thresholds_of_one_identifier() -> None:
    for rule in RULES:
        if rule.id in MODES:
            assert not set(rule.parameters) & set(MODES[rule.id].parameters)
    assert thresholds({}).rules == {}
