"""`pumpledger action`: what people say is kept for good, and the next review acts on it. The fleet is the made-up demo."""

from __future__ import annotations

import csv
import shutil
from datetime import date
from pathlib import Path

import polars as pl
import pytest

from pumpledger.engine.followup_tables import ACTION_STATES, ACTIONS, RULE_OUTCOMES
from pumpledger.engine.lake import Lake
from pumpledger.followup.log import FILE, read_events
from pumpledger.orchestration.following import Words, say
from pumpledger.orchestration.run import Outcome
from pumpledger.problems import FleetError
from tests.command import run

WEEK = "2026-W45"
TODAY = date(2026, 11, 9)


@pytest.fixture(scope="session")
def reviewed(reviewed_demo: tuple[Path, Outcome]) -> Path:
    folder, outcome = reviewed_demo
    assert not outcome.set_aside
    return folder


@pytest.fixture
def folder(reviewed: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(reviewed, tmp_path / "fleet"))


def actions(folder: Path) -> dict[str, dict]:
    return {row["rule_id"]: row for row in Lake(folder / "lake").read(ACTIONS, WEEK).iter_rows(named=True)}


def test_what_is_said_moves_the_list_and_only_the_newest_review_is_built_again(folder: Path) -> None:
    before = actions(folder)
    ids = {rule: row["action_id"] for rule, row in before.items()}
    list(
        say(
            folder,
            [
                Words(ids["C12"], "shelved", date(2026, 11, 30), "Made-up Manager", "the owner is away"),
                Words(ids["O2"], "rejected", None, "Made-up Technician", "features need the flow"),
                Words(ids["D14"], "fixed", date(2026, 11, 3), "Made-up Technician", ""),
                Words(ids["A1"], "acknowledged", None, "Made-up Technician", ""),
                Words(ids["D8"], "fixed", date(2026, 11, 8), "Made-up Technician", ""),
            ],
            None,
            TODAY,
        )
    )
    done = run("review", folder)
    assert done.returncode == 0 and f"built {WEEK}." in done.stdout
    after, states = actions(folder), Lake(folder / "lake").read(ACTION_STATES, WEEK)
    told = {row["action_id"]: row["state"] for row in states.iter_rows(named=True)}
    assert told[ids["C12"]] == "shelved" and told[ids["O2"]] == "rejected" and told[ids["A1"]] == "acknowledged"
    assert told[ids["D14"]] == "returned"  # its minutes below the minimum went on after the day
    assert told[ids["D8"]] == "marked fixed"  # no day after it is in the log yet
    assert after["D14"]["state"] == "returned" and after["A1"]["state"] == "acknowledged"
    for rule in ("C12", "O2", "D8"):
        assert ids[rule] not in {row["action_id"] for row in after.values()}
    outcomes = {row["rule_id"]: row for row in Lake(folder / "lake").read(RULE_OUTCOMES, WEEK).iter_rows(named=True)}
    assert outcomes["O2"]["rejected"] == 1 and outcomes["D14"]["returned"] == 1
    page = (folder / "reports" / WEEK / "index.html").read_text()
    for words in (
        "Marked fixed, and seen again",
        "the owner is away",
        "Nothing was wrong",
        "right 0 of 1; taken as 33%",
    ):
        assert words in page
    listed = run("action", folder).stdout
    assert f"{ids['C12']} shelved" in listed and "until 2026-11-30 (said by Made-up Manager" in listed


def test_a_spreadsheet_goes_round(folder: Path) -> None:
    with (folder / "reports" / WEEK / "actions.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    rows[0] |= {"event": "acknowledged", "said_by": "Made-up Manager", "reason": "=1+1, said as it is"}
    path = folder / "filled.csv"
    with path.open("w", newline="") as file:
        writer = csv.DictWriter(file, rows[0])
        writer.writeheader()
        writer.writerows(rows)
    done = run("action", folder, "--csv", path)
    assert done.returncode == 0, done.stderr
    (event,) = read_events(folder)
    assert event.action_id == rows[0]["action_id"] and event.reason == "=1+1, said as it is"
    assert "'=1+1" in (folder / FILE).read_text()  # no spreadsheet takes it for a formula


def test_lines_are_only_ever_added(folder: Path) -> None:
    first = next(iter(actions(folder).values()))["action_id"]
    assert run("action", folder, first, "--acknowledge", "--by", "Made-up Manager").returncode == 0
    before = (folder / FILE).read_bytes()
    assert run("action", folder, first, "--reopen", "--by", "Made-up Manager").returncode == 0
    assert (folder / FILE).read_bytes().startswith(before)
    assert [event.event for event in read_events(folder)] == ["acknowledged", "reopened"]


def test_all_or_nothing_with_every_fault(folder: Path) -> None:
    first = next(iter(actions(folder).values()))["action_id"]
    words = [
        Words(first, "acknowledged", None, "Made-up Manager", ""),
        Words("a-00000000", "acknowledged", None, "Made-up Manager", ""),
        Words(first, "shelved", None, "", ""),
    ]
    with pytest.raises(FleetError) as raised:
        list(say(folder, words, None, TODAY))
    told = str(raised.value)
    for part in ("'a-00000000'", "who says so", "needs a reason", "a day to come"):
        assert part in told
    assert not (folder / FILE).exists()


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["a-1", "--acknowledge", "--fixed", "2026-11-09"], "say one thing"),
        (["a-1", "--shelve", "soon"], "'soon' is not a day"),
        (["--acknowledge"], "name the actions"),
    ],
)
def test_what_cannot_be_understood_is_said(folder: Path, words: list[str], told: str) -> None:
    done = run("action", folder, *words)
    assert done.returncode == 2 and told in done.stderr


def test_before_a_review_and_outside_a_fleet(tmp_path: Path) -> None:
    assert "no fleet folder" in run("action", tmp_path).stderr
    (tmp_path / "fleet.toml").write_text("")
    assert "no review has been made" in run("action", tmp_path).stderr


def test_a_spoiled_log_stops_the_review_and_is_named(folder: Path) -> None:
    (folder / FILE).write_text("action_id,event\na-1,forgotten\n")
    done = run("review", folder)
    assert done.returncode == 2 and FILE in done.stderr


def test_nothing_said_leaves_every_action_open(reviewed: Path) -> None:
    rows = Lake(reviewed / "lake").read(ACTIONS, WEEK)
    assert set(rows["state"]) == {"open"} and rows["action_id"].n_unique() == rows.height
    assert rows.filter(pl.col("note") != "").is_empty()
