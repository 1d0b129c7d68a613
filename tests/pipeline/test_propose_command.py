"""Proposals in a review and at the command line, on the committed made-up fleet: restraint, what if, keying on record."""

from __future__ import annotations

import csv
import shutil
from pathlib import Path

import polars as pl
import pytest
from click.testing import CliRunner, Result

from pumpledger.cli import commands, main
from pumpledger.engine.followup_tables import ACTIONS
from pumpledger.engine.proposal_tables import PLAN_EFFECTS, PROPOSALS, PROPOSED_PERIODS
from pumpledger.engine.tables import FINDINGS
from pumpledger.followup.keyed import FILE as KEYED
from pumpledger.followup.keyed import read_keyed
from pumpledger.orchestration.proposing import IN_QUESTION, make_proposals, restrained
from pumpledger.orchestration.session import Session
from pumpledger.orchestration.what_if import window
from pumpledger.planning.checker import measure
from pumpledger.planning.problem import Period
from pumpledger.problems import FleetError
from pumpledger.register.load import load_register

WEEK = "2026-W45"
MONDAY = "2026-11-02"


def propose(folder: Path, *more: str) -> Result:
    return CliRunner().invoke(commands, ["propose", str(folder), *more])


def told(folder: Path, *more: str) -> str:
    done = propose(folder, *more)
    assert done.exit_code == 0, done.exception
    return done.output


def refused(folder: Path, *more: str) -> str:
    done = propose(folder, *more)
    assert isinstance(done.exception, FleetError)
    return str(done.exception.problems[0])


def printed_rows(output: str) -> list[list[str]]:
    return [line.strip().split(",") for line in output.splitlines() if ",DAY," in line]


def minutes(clock: str) -> int:
    return int(clock[:2]) * 60 + int(clock[3:])


def running(rows: list[list[str]]) -> dict[int, int]:
    """Speed by minute of the day, of printed rows."""
    day: dict[int, int] = {}
    for _, _, _, speed, start, stop in rows:
        for minute in range(minutes(start), minutes(stop) + (1440 if minutes(stop) <= minutes(start) else 0)):
            assert minute % 1440 not in day, "periods share a minute"
            day[minute % 1440] = int(speed)
    return day


@pytest.fixture
def folder(reviewed, tmp_path: Path) -> Path:
    return Path(shutil.copytree(reviewed[0], tmp_path / "fleet"))


def test_only_plans_in_question_are_asked(reviewed) -> None:
    lake = Session(reviewed[0]).lake
    found = lake.read(FINDINGS, WEEK).filter(pl.col("verdict") == "found", pl.col("explained_by") == "")
    sites = set(found.filter(pl.col("rule_id").is_in(IN_QUESTION))["site_id"])
    proposals = lake.read(PROPOSALS, WEEK)
    assert proposals.height and set(proposals["site_id"]) == sites
    assert {"O1", "C6"} <= set(found["rule_id"])  # the made-up fleet holds too little water, and full speed all day
    assert "proposed" in set(proposals["state"])


def test_proposed_plans_hold_when_they_are_run_as_a_log(reviewed) -> None:
    """Through the profile's own code, apart from the search; and never faster than now where a rating is missing."""
    session = Session(reviewed[0])
    found = session.lake.read(FINDINGS, WEEK).filter(pl.col("verdict") == "found", pl.col("explained_by") == "")
    problems = {problem.pump_id: problem for problem in restrained(session, WEEK, found)}
    site = {row["site_id"]: row for row in session.register.site.iter_rows(named=True)}
    periods = session.lake.read(PROPOSED_PERIODS, WEEK)
    assert periods.height
    for (pump_id,), rows in periods.group_by(["pump_id"], maintain_order=True):
        problem = problems[pump_id]
        plan = tuple(
            Period(p["speed_rpm"], p["start_min"] // 15, ((p["stop_min"] - p["start_min"]) % 1440 or 1440) // 15)
            for p in rows.iter_rows(named=True)
        )
        assert measure(problem, plan).lacks == {}
        if site[problem.site_id]["filter_limit_m3h"] is None or site[problem.site_id]["suction_limit_m3h"] is None:
            assert max(p.speed_rpm for p in plan) <= max(p.speed_rpm for p in problem.in_force)


def test_no_page_tells_two_plans(reviewed) -> None:
    lake = Session(reviewed[0]).lake
    proposed = lake.read(PROPOSALS, WEEK).filter(state="proposed")
    for site_id, pump_id in proposed.select("site_id", "pump_id").iter_rows():
        texts = [
            *lake.read(FINDINGS, WEEK).filter(site_id=site_id)["instruction"],
            *lake.read(ACTIONS, WEEK).filter(site_id=site_id)["action"],
        ]
        assert any(f"Proposed plan for {pump_id}: " in text for text in texts)
        assert not any("Simple best plan" in text for text in texts)
    folder = reviewed[0] / "reports" / WEEK
    assert {path.name for path in (folder / "cards").iterdir()} == {f"{pump}.html" for pump in proposed["pump_id"]}


def test_a_site_without_a_proposal_says_why(reviewed) -> None:
    output = told(reviewed[0])
    assert "QM-018 P-QM-018: No plan is proposed: its data are not believed" in output
    assert "QM-013 P-QM-013: No plan is proposed: put right first what was found here: Clock 12 hours out" in output
    assert "needs a source of flow" in output and "leave the plan as it is" in output
    assert "local codes and licensed practice decide" in output and "\\x" not in output


def test_printed_rows_are_those_of_the_review(reviewed) -> None:
    periods = Session(reviewed[0]).lake.read(PROPOSED_PERIODS, WEEK).filter(pump_id="P-QM-026")
    kept = [(r["speed_rpm"], r["start_min"], r["stop_min"]) for r in periods.iter_rows(named=True)]
    rows = printed_rows(told(reviewed[0], "--site", "QM-026"))
    assert kept and [(int(row[3]), minutes(row[4]), minutes(row[5])) for row in rows] == kept


def test_quiet_hours_are_quiet(reviewed) -> None:
    off = running(printed_rows(told(reviewed[0], "--site", "QM-026", "--quiet", "22:00-07:00")))
    assert off and not any(minute >= 1320 or minute < 420 for minute in off)
    output = told(reviewed[0], "--site", "QM-026", "--quiet", "08:00-20:00@900")
    slow = running(printed_rows(output))
    assert slow and all(speed <= 900 for minute, speed in slow.items() if 480 <= minute < 1200)


def test_more_turnovers_are_more_water(reviewed) -> None:
    output = told(reviewed[0], "--site", "QM-026", "--turnovers", "1.5")
    assert float(output.split("at least ")[1].split(" turnovers")[0]) >= 1.5
    assert len(printed_rows(told(reviewed[0], "--site", "QM-026", "--turnovers", "1.5", "--periods", "1"))) == 1


def test_what_cannot_be_kept_is_named(reviewed) -> None:
    output = told(reviewed[0], "--site", "QM-026", "--turnovers", "19")
    assert "turnover" in output and "would need" in output and not printed_rows(output)


def test_a_public_pool_is_never_asked_for_less(reviewed, folder: Path) -> None:
    site = Session(folder).register.site
    public = site.filter(pl.col("pool_class") == "public", pl.col("required_turnovers").is_not_null())
    site_id, required = public.row(0, named=True)["site_id"], public["required_turnovers"][0]
    words = refused(folder, "--site", site_id, "--turnovers", str(required - 0.1))
    assert site_id in words and "below its required turnovers" in words
    assert told(folder, "--site", site_id, "--turnovers", str(required))


@pytest.mark.parametrize(
    ("more", "words"),
    [
        (("--site", "nowhere"), "there is no site"),
        (("--tariff", "none_such"), "there is no tariff"),
        (("--place", "Atlantis"), "no rules are on file"),
        (("--quiet", "22:05-07:00"), "no window in quarter hours"),
        (("--quiet", "07:00-07:00"), "no window in quarter hours"),
        (("--quiet", "10:00-24:15"), "no window in quarter hours"),
        (("--quiet", "22:00-07:00\x00;drop"), "no window in quarter hours"),
        (("--load-hours", "at noon"), "no window in quarter hours"),
    ],
)
def test_what_may_not_be_asked_is_said(reviewed, more: tuple[str, ...], words: str) -> None:
    assert words in refused(reviewed[0], *more)


@pytest.mark.parametrize(
    ("text", "read"),
    [("22:00-07:00", (88, 36, 0.0)), ("00:00-24:00@900", (0, 96, 900.0)), ("09:15-09:30", (37, 1, 0.0))],
)
def test_windows(text: str, read: tuple[int, int, float]) -> None:
    assert window(text) == read


def test_no_review_no_plan(tmp_path: Path, reviewed) -> None:
    bare = shutil.copytree(reviewed[0], tmp_path / "bare", ignore=shutil.ignore_patterns("lake", "reports"))
    assert "no review has been made yet" in refused(Path(bare))


def test_the_command_ends_with_two_where_it_is_refused(
    reviewed, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("sys.argv", ["pumpledger", "propose", str(reviewed[0]), "--site", "nowhere"])
    with pytest.raises(SystemExit) as stop:
        main()
    assert stop.value.code == 2 and "there is no site" in capsys.readouterr().err


def test_a_page_of_what_if(reviewed, tmp_path: Path) -> None:
    path = tmp_path / "what_if.html"
    told(reviewed[0], "--site", "QM-026", "--turnovers", "1.5", "--page", str(path))
    text = path.read_text(encoding="utf-8")
    assert "Made-up data" in text and "1.5 turnovers a day" in text and "Cheapest cost of a day" in text
    again = tmp_path / "again.html"
    told(reviewed[0], "--site", "QM-026", "--turnovers", "1.5", "--page", str(again))
    assert again.read_bytes() == path.read_bytes()


def test_a_keyed_plan_is_put_on_record_and_held_against_what_runs(folder: Path) -> None:
    """QM-009 runs at full speed all day and goes on doing so: what was expected of the new plan does not come true."""
    before = (folder / "plans.csv").read_bytes()
    rows = printed_rows(told(folder, "--site", "QM-009"))
    assert "added to plans.csv from 2026-11-02" in told(
        folder, "--site", "QM-009", "--adopt", MONDAY, "--by", "A. Tester"
    )
    after = (folder / "plans.csv").read_bytes()
    assert after.startswith(before)
    added = list(csv.reader(after[len(before) :].decode().splitlines()))
    header = before.decode().splitlines()[0].split(",")
    kept = [dict(zip(header, row, strict=True)) for row in added]
    assert [[r["pump_id"], "DAY", r["period"], r["speed_rpm"], r["start"], r["stop"]] for r in kept] == rows
    register = load_register(folder)
    assert not [problem for problem in register.problems if problem.file == "plans.csv" and "P-QM-009" in str(problem)]
    (line,) = read_keyed(folder)
    assert (line.pump_id, line.keyed_by, line.week) == ("P-QM-009", "A. Tester", WEEK)
    assert line.expected_kwh_lo < line.expected_kwh_mid < line.expected_kwh_hi

    session = Session(folder)
    make_proposals(session, WEEK)
    effect = session.lake.read(PLAN_EFFECTS, WEEK).row(0, named=True)
    assert effect["days"] == 6 and "uses more" in effect["outcome"]
    assert effect["realised_kwh_mid"] > 5 * effect["expected_kwh_mid"]


def test_a_day_on_which_it_cannot_have_been_keyed_is_refused(folder: Path) -> None:
    before = (folder / "plans.csv").read_bytes()
    assert "is not a day" in refused(folder, "--site", "QM-009", "--adopt", "yesterday")
    assert "on record already" in refused(folder, "--site", "QM-009", "--adopt", "2020-01-01")
    assert "name the site" in refused(folder, "--adopt", MONDAY)
    assert "change sites.csv first" in refused(folder, "--site", "QM-009", "--turnovers", "2", "--adopt", MONDAY)
    assert "nothing is proposed" in refused(folder, "--site", "QM-018", "--adopt", MONDAY)
    assert (folder / "plans.csv").read_bytes() == before and not (folder / KEYED).exists()
    told(folder, "--site", "QM-009", "--adopt", MONDAY)
    assert propose(folder, "--site", "QM-009", "--adopt", MONDAY).exit_code != 0
    assert len(read_keyed(folder)) == 1
