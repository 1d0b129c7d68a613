"""What a pump runs becomes its plan: from exports to rows of plans.csv, and the next review says nothing of it."""

from __future__ import annotations

import shutil
import subprocess
import sys
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from click.testing import CliRunner

from pumpledger.cli import commands
from pumpledger.engine.clock_tables import CLOCK_DAYS, OUTAGES
from pumpledger.engine.tables import FINDINGS
from pumpledger.orchestration import steps
from pumpledger.orchestration.adopting import adopt_plan
from pumpledger.orchestration.session import Session
from pumpledger.problems import FleetError
from pumpledger.register.load import load_register
from tests.diagnosis.asked_alone import asked_alone
from tests.fleet_folder import FLEET, samples_5min, write_fleet

WEEK = "2026-W45"  # its Sunday before is the day of 25 h
START = datetime(2026, 10, 26, 7)  # midnight in Los Angeles, in UTC
SOURCE = '[[source]]\nname = "log"\nfiles = "log_*.csv"\ndialect = "samples_5min"\n'
PLANS = "pump_id,valid_from,period,speed_rpm,start,stop\nP1,2026-05-01,1,1500,06:00,08:00\nP1,2026-05-01,2,1000,08:00,20:00\n"
CLOCK = ("A1", "A2", "A3", "A4", "A5", "A7", "C13")
Speed = Callable[[int, int], float]


def usual(day: int, minute: int) -> float:
    """2,000 rpm from 22:00 to 02:00 across midnight, 900 rpm from 10:00 to 15:30."""
    return 2000.0 if minute >= 1320 or minute < 120 else 900.0 if 600 <= minute < 930 else 0.0


def states(speed: Speed) -> list[tuple[float, float]]:
    """(rpm, W) each five minutes over two weeks, by the wall clock of Los Angeles."""
    rows = []
    for step in range(14 * 288 + 12):  # and an hour more, for the clock change
        wall = (START + timedelta(minutes=5 * step)).replace(tzinfo=UTC).astimezone(ZoneInfo("America/Los_Angeles"))
        rpm = speed((wall.date() - START.date()).days, wall.hour * 60 + wall.minute)
        rows.append((rpm, 45 + 52 * (rpm / 1000) ** 3 + step % 3 if rpm else 4.0))
    return rows


def fleet(folder: Path, speed: Speed, plans: str | None = PLANS) -> Path:
    files = {"fleet.toml": FLEET + SOURCE}
    write_fleet(folder, files | ({} if plans is None else {"plans.csv": plans}))
    (folder / "inbox" / "log_1.csv").write_text(samples_5min("P1", START, states(speed)))
    return folder


def review(folder: Path, weeks: tuple[str, ...] = ("2026-W44", WEEK)) -> set[str]:
    """What the clock rules find in the second week."""
    session = Session(folder)
    session.take_inbox()
    for week in weeks:
        for step in (steps.make_verdicts, steps.make_spans, steps.make_daily, steps.make_savings, steps.make_schedule,
                     steps.make_findings):  # fmt: skip
            with asked_alone(*CLOCK):
                step(session, week)
    found = session.lake.read(FINDINGS, WEEK).filter(verdict="found")
    return set(found["rule_id"]) & set(CLOCK)


@pytest.fixture(scope="module")
def reviewed_usual(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = fleet(tmp_path_factory.mktemp("usual") / "fleet", usual)
    assert review(folder) == {"C13"}
    return folder


@pytest.fixture
def of_usual(reviewed_usual: Path, tmp_path: Path) -> Path:
    """A reviewed fleet of one's own whose pump does what is usual, and not what its plan says."""
    return Path(shutil.copytree(reviewed_usual, tmp_path / "fleet"))


def adopt(folder: Path, *more: str) -> str:
    done = CliRunner().invoke(commands, ["adopt", str(folder), "--pump", "P1", *more], catch_exceptions=False)
    assert done.exit_code == 0
    return done.output


def refusal(folder: Path, pump: str = "P1", day: str | None = None) -> str:
    before = (folder / "plans.csv").read_bytes() if (folder / "plans.csv").exists() else b""
    with pytest.raises(FleetError) as told:
        list(adopt_plan(folder, pump, day))
    after = (folder / "plans.csv").read_bytes() if (folder / "plans.csv").exists() else b""
    assert after == before
    return str(told.value)


def test_what_runs_becomes_the_plan_and_is_found_no_more(of_usual: Path) -> None:
    folder = of_usual
    text = adopt(folder)
    assert "period 1: 900 rpm from 10:00 to 15:30" in text and "period 2: 2000 rpm from 22:00 to 02:00" in text
    assert (folder / "plans.csv").read_text() == PLANS + (
        "P1,2026-10-26,1,900,10:00,15:30\nP1,2026-10-26,2,2000,22:00,02:00\n"
    )
    assert not [p for p in load_register(folder).problems if p.file == "plans.csv"]
    assert review(folder) == set()
    assert "holds it already, from 2026-10-26; nothing was added" in adopt(folder)
    assert (folder / "plans.csv").read_text().count("2026-10-26") == 2


def test_days_and_outages_are_kept_week_by_week(reviewed_usual: Path) -> None:
    lake = Session(reviewed_usual).lake
    assert [lake.read(CLOCK_DAYS, week).height for week in ("2026-W44", WEEK)] == [6, 7]  # not the day of 25 h
    # The pump stands from 06:00 to 10:00 while its plan runs; the end of it is kept each day, on that of 25 h too.
    assert set(lake.read(OUTAGES, "2026-W44").filter(end_min=600)["day_local"].dt.day()) == {26, 27, 28, 29, 30, 31, 1}


def test_a_plan_begins_on_the_day_since_which_it_ran(tmp_path: Path) -> None:
    def speed(day: int, minute: int) -> float:
        recorded = 1500.0 if 360 <= minute < 480 else 1000.0 if 480 <= minute < 1200 else 0.0
        return recorded if day < 4 else usual(day, minute)

    folder = fleet(tmp_path, speed)
    assert review(folder) == {"C13"}
    adopt(folder)
    assert "P1,2026-10-30,1,900,10:00,15:30" in (folder / "plans.csv").read_text()
    assert review(folder) == set()


def test_the_day_may_be_given(of_usual: Path) -> None:
    folder = of_usual
    assert "begin later than that" in refusal(folder, day="2026-05-01")
    assert "has not been seen yet" in refusal(folder, day="2026-11-20")
    assert "is not a day such as" in refusal(folder, day="monday")
    adopt(folder, "--from", "2026-11-02")
    assert "P1,2026-11-02,1,900" in (folder / "plans.csv").read_text()


def test_columns_comments_line_ends_and_a_first_mark_stay(tmp_path: Path) -> None:
    text = (
        '\ufeffnote,stop,start,speed_rpm,period,valid_from,pump_id\r\n"by hand, once",20:00,06:00,1500,1,2026-05-01,P1'
    )
    folder = fleet(tmp_path, usual)
    (folder / "plans.csv").write_bytes(text.encode())
    review(folder, (WEEK,))
    adopt(folder)
    added = "\r\n,15:30,10:00,900,1,2026-11-02,P1\r\n,02:00,22:00,2000,2,2026-11-02,P1\r\n"
    assert (folder / "plans.csv").read_bytes() == (text + added).encode()
    assert load_register(folder).plan.height == 3


def test_a_pump_without_any_plan(tmp_path: Path) -> None:
    folder = fleet(tmp_path, usual, plans=None)
    review(folder, (WEEK,))
    adopt(folder)
    assert (
        (folder / "plans.csv")
        .read_text()
        .startswith("pump_id,valid_from,period,speed_rpm,start,stop\nP1,2026-11-02,1,")
    )
    assert review(folder, (WEEK,)) == set()


@pytest.mark.parametrize(
    ("speed", "reason"),
    [
        (lambda day, minute: 1500.0 if 300 + 60 * (day % 5) <= minute < 900 else 0.0, "ran alike"),
        (lambda day, minute: 700.0 + 400 * (minute // 240 % 2) + 300 * (minute // 480 % 2), "one to 3 periods"),
        (lambda day, minute: 0.0, "one to 3 periods"),
    ],
)
def test_what_is_not_steady_is_refused_with_the_reason(tmp_path: Path, speed: Speed, reason: str) -> None:
    folder = fleet(tmp_path, speed)
    review(folder, (WEEK,))
    assert reason in refusal(folder)


def test_unknown_pumps_and_fleets_without_a_review(tmp_path: Path, reviewed_usual: Path) -> None:
    assert "no review has been made yet" in refusal(fleet(tmp_path, usual))
    assert "did you mean P1?" in refusal(reviewed_usual, pump="P11")


def test_another_run_keeps_it_out(of_usual: Path) -> None:
    folder = of_usual
    hold = "import sys, time; from filelock import FileLock; lock = FileLock(sys.argv[1]); lock.acquire(); print('held', flush=True); time.sleep(60)"
    with subprocess.Popen([sys.executable, "-c", hold, str(folder / ".lock")], stdout=subprocess.PIPE) as other:
        assert other.stdout and other.stdout.readline()
        assert "another run holds" in refusal(folder)
        other.kill()


def test_a_clock_in_doubt_is_said_first(tmp_path: Path) -> None:
    """The recorded plan 12 h later: the rows can be taken, and the review's doubt stands above them."""

    def speed(day: int, minute: int) -> float:
        at = (minute + 720) % 1440
        return 1500.0 if 360 <= at < 480 else 1000.0 if 480 <= at < 1200 else 0.0

    folder = fleet(tmp_path, speed)
    assert review(folder) == {"A1"}
    text = adopt(folder)
    assert "Be sure that the pump's clock is right" in text and "moved by 12 hours" in text
