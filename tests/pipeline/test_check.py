"""`pumpledger check`: says what a review would find, and leaves the fleet folder as it is, to the byte and the time."""

from __future__ import annotations

import csv
import os
import subprocess
import sys
from pathlib import Path

import pytest

from pumpledger.intake.rules import REFUSALS
from pumpledger.orchestration.check import Checked, check_lines, run_check
from pumpledger.orchestration.run import run_review
from pumpledger.workspace import Workspace
from tests.command import run
from tests.fleet_folder import write_fleet
from tests.pipeline.test_command_line import two_days

BAD = "".join(f"2026-10-30T15:{minute:02d}:00-0700,P1,99999,0,0\n" for minute in range(5))
TORN = "2026-10-30T16:00:00-0700,P1,fast,0,0\n\x1b[31m=cmd,,\n"


def tree(folder: Path) -> dict[str, tuple[int, int, int, bytes]]:
    """Every entry beneath with kind and rights, size, time of change, and content."""
    found = {}
    for path in sorted([folder, *folder.rglob("*")]):
        stat = path.lstat()
        content = path.read_bytes() if path.is_file() else b""
        found[str(path.relative_to(folder))] = (stat.st_mode, stat.st_size, stat.st_mtime_ns, content)
    return found


def rows_by_fate(lines: list[str]) -> str:
    return next(line for line in lines if line.startswith("Rows: "))


def checked(folder: Path, csv_file: Path | None = None) -> tuple[Checked, list[str]]:
    """A check in this process, and its lines; the folder must stay as it is."""
    before = tree(folder)
    outcome = run_check(folder, csv_file)
    assert tree(folder) == before
    return outcome, list(check_lines(outcome, folder))


def test_a_new_fleet_stays_as_it_is(tmp_path: Path) -> None:
    folder = write_fleet(
        tmp_path / "fleet", {"inbox/meter_1.csv": two_days() + BAD + TORN, "inbox/other.csv": "a,b\n1,2\n"}
    )
    before = tree(folder)
    done = run("check", folder)
    assert tree(folder) == before
    assert done.returncode == 1, done.stderr  # other.csv is set aside whole
    lines = done.stdout.splitlines()
    assert rows_by_fate(lines) == "Rows: 18 = 11 readings + 0 duplicates + 5 quarantine + 2 rejects"
    speed = REFUSALS["speed_out_of_range"]
    assert f"meter_1.csv: 5 quarantine by speed_out_of_range. {speed.wrong} To do: {speed.remedy}" in lines
    assert "    line 13: 2026-10-30T15:00:00-0700,P1,99999,0,0" in lines
    assert any("line 18: The row has the speed 'fast', which is not a number." in line for line in lines)
    assert any(line.startswith("other.csv: set aside: no [[source]] in fleet.toml") for line in lines)
    assert "\x1b" not in done.stdout and "\\x1b[31m=cmd,," in done.stdout
    assert "set aside: other.csv" in done.stderr


def test_a_reviewed_fleet_stays_as_it_is_and_new_rows_are_told_from_old(tmp_path: Path) -> None:
    folder = write_fleet(tmp_path / "fleet", {"inbox/meter_1.csv": two_days()})
    run_review(folder)
    outcome, lines = checked(folder)
    assert not outcome.set_aside and lines[0].startswith("Nothing new:")
    again = two_days() + "2026-10-31T06:00:00-0700,P1,0,0,0\n"
    (folder / "inbox" / "meter_2.csv").write_text(again)
    outcome, lines = checked(folder, tmp_path / "back.csv")
    assert not outcome.set_aside and outcome.written == 11
    assert rows_by_fate(lines) == "Rows: 12 = 1 readings + 11 duplicates + 0 quarantine + 0 rejects"
    assert not any("meter_1.csv" in line for line in lines)
    with (tmp_path / "back.csv").open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [(row["file"], int(row["line"]), row["rule"]) for row in rows] == [
        ("meter_2.csv", line, "same_row_again") for line in range(2, 13)
    ]
    sums = run_review(folder).sums  # what was foretold is what comes
    assert (sums["data_rows"], sums["readings"], sums["duplicates"]) == (23, 12, 11)


def test_only_the_first_rows_of_a_rule_are_shown_and_all_are_written(tmp_path: Path) -> None:
    unread = "".join(f"2026-10-30T15:{minute:02d}:00-0700,P9,0,0,0\n" for minute in range(33))
    folder = write_fleet(tmp_path / "fleet", {"inbox/meter_1.csv": two_days() + unread})
    outcome, lines = checked(folder, tmp_path / "back.csv")
    assert outcome.set_aside  # the pump is not in the register
    assert sum(line.startswith("    line ") for line in lines) == 20
    assert "    and 13 more" in lines
    assert len((tmp_path / "back.csv").read_text(encoding="utf-8").splitlines()) == 34


def test_faults_of_the_register_are_all_told_and_status_says_how_bad(tmp_path: Path) -> None:
    two = "site_id,site_name,pool_volume_m3\nH1,Made-up One,80\nH2,Made-up Two,much\n"
    pumps = "pump_id,site_id\nP1,H1\nP2,H2\n"
    folder = write_fleet(tmp_path / "a", {"sites.csv": two, "pumps.csv": pumps, "inbox/meter_1.csv": two_days()})
    outcome, _ = checked(folder)
    assert outcome.set_aside
    assert any("sites.csv line 3, column pool_volume_m3" in str(problem) for problem in outcome.problems)
    none = write_fleet(tmp_path / "b", {"sites.csv": two.replace("80", "much"), "inbox/meter_1.csv": two_days()})
    before = tree(none)
    done = run("check", none)
    assert done.returncode == 2 and "cannot run" in done.stderr and "line 2" in done.stderr and "line 3" in done.stderr
    assert tree(none) == before


@pytest.mark.parametrize(("place", "word"), [("fleet/inbox/back.csv", "elsewhere"), ("nowhere/back.csv", "no folder")])
def test_the_csv_goes_elsewhere(tmp_path: Path, place: str, word: str) -> None:
    folder = write_fleet(tmp_path / "fleet", {"inbox/meter_1.csv": two_days()})
    before = tree(folder)
    done = run("check", folder, "--csv", tmp_path / place)
    assert done.returncode == 2 and word in done.stderr
    assert tree(folder) == before


def test_temporary_files_never_lie_inside_the_fleet(tmp_path: Path) -> None:
    folder = write_fleet(tmp_path / "fleet", {"inbox/meter_1.csv": two_days()})
    before = tree(folder)
    done = subprocess.run(
        [str(Path(sys.executable).with_name("pumpledger")), "check", str(folder)],
        env=os.environ | {"TMPDIR": str(folder / "inbox")},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 2 and "TMPDIR" in done.stderr
    assert tree(folder) == before


def test_a_check_and_a_run_keep_out_of_each_others_way(tmp_path: Path) -> None:
    folder = write_fleet(tmp_path / "fleet", {"inbox/meter_1.csv": two_days()})
    workspace = Workspace(folder)
    with workspace.lock():
        done = run("check", folder)
        assert done.returncode == 2 and "another run holds" in done.stderr
    with workspace.untouched():
        done = run("review", folder)
        assert done.returncode == 2 and "another run holds" in done.stderr
        checked(folder)  # two checks do not disturb each other
    with workspace.lock():
        pass
