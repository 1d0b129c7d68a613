"""The verdicts on identity, clocks and counters in the simulator's made-up fleet, through the real intake: as it stands
none of them speaks, whatever is seeded in it; with logs swapped, shifted or counted anew by hand in the CSV files,
exactly that one does."""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from pumpledger.intake.ledger_tables import pump_sources
from pumpledger.orchestration.session import Session
from pumpledger.profile.calendar import week_days
from pumpledger.simulator.fleet import make_fleet
from pumpledger.verdicts.inputs import export_extents, source_dialects
from pumpledger.verdicts.registry import MODES, mode_parameters

WEEKS = ("2026-W44", "2026-W45")
MINE = ("B3", "B5", "B7", "B8", "B9", "B17")
LA = ZoneInfo("America/Los_Angeles")


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """28 sites, two weeks, seed 7."""
    folder = tmp_path_factory.mktemp("made") / "fleet"
    make_fleet(folder, 28, 2, 7)
    return folder


@pytest.fixture
def fleet(made: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(made, tmp_path / "fleet"))


def edit(folder: Path, glob: str, change: Callable[[str], str]) -> None:
    """Change every row of some exports; at least one must change."""
    changed = 0
    for path in sorted((folder / "inbox").glob(glob)):
        old = path.read_text(encoding="utf-8").split("\n")
        new = [change(line) for line in old]
        changed += old != new
        path.write_text("\n".join(new), encoding="utf-8")
    assert changed


def weighed(folder: Path) -> dict[str, list[dict]]:
    """The rows of each mode over both weeks."""
    session = Session(folder)
    session.take_inbox()
    files = [path for week in WEEKS for path in session.lake.readings_files(week)]
    with session.database([day for week in WEEKS for day in week_days(week)]) as db:
        db.view_parquet("reading", files)
        db.build("export_hold", "profile/export_hold")
        db.load("pump_source", pump_sources(session.ledger, set(WEEKS)))
        sources = session.register.fleet.sources
        db.load("source_dialect", source_dialects({one.name: session.dialects[one.dialect] for one in sources}))
        db.load("extent", export_extents(session.ledger.entries))
        found = {mode: MODES[mode].find(db, mode_parameters(MODES[mode])).to_dicts() for mode in MINE}
    session.close()
    return {mode: rows for mode, rows in found.items() if rows}


def test_the_fleet_as_it_stands_says_nothing(fleet: Path) -> None:
    """Among its seeded faults are clocks 12 h and 1 h out, missing days, kW as W and rows sent twice."""
    assert weighed(fleet) == {}


@pytest.mark.parametrize("pumps", [("P-QM-006", "P-QM-010"), ("P-QM-004", "P-QM-025")])
def test_two_swapped_logs_are_told_and_nothing_else(fleet: Path, pumps: tuple[str, str]) -> None:
    other = dict(zip(pumps, reversed(pumps), strict=True))

    def swap(line: str) -> str:
        cells = line.split(",")
        if len(cells) > 1 and cells[0] >= "2026-11-04T08:00" and cells[1] in other:
            cells[1] = other[cells[1]]
        return ",".join(cells)

    edit(fleet, "coast_2026-W45_*.csv", swap)
    found = weighed(fleet)
    assert list(found) == ["B3"]
    assert [(row["pump_id"], row["remedy"]) for row in found["B3"]] == [
        (pump, f"swap {pumps[0]} {pumps[1]} from 2026-11-04") for pump in pumps
    ]


def test_a_source_that_writes_the_wall_clock_as_utc_is_told_and_nothing_else(fleet: Path) -> None:
    def local(line: str) -> str:
        found = re.match(r"(\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d)Z", line)
        if not found:
            return line
        wall = datetime.fromisoformat(found[1]).replace(tzinfo=UTC).astimezone(LA)
        return f"{wall:%Y-%m-%dT%H:%M:%SZ}{line[found.end() :]}"

    edit(fleet, "coast_*.csv", local)
    found = weighed(fleet)
    assert list(found) == ["B5"]
    (row,) = found["B5"]
    assert (row["source"], row["remedy"], row["blocks"]) == ("coast gateway", "zone site", True)


def test_counters_that_start_again_and_a_clock_set_back_are_told_each_once(fleet: Path) -> None:
    """P-QM-003 and P-QM-005: registers of two bytes (655.36 kWh) and a clock set back by an hour."""

    def change(line: str) -> str:
        cells = line.split("\t")
        if len(cells) == 5 and cells[1] == "P-QM-005":
            cells[3] = f"{(float(cells[3]) - 580) % 655.36:.2f}"  # from 640.81 on
        if len(cells) == 5 and cells[1] == "P-QM-003" and int(cells[0]) >= 1793728800:  # 2026-11-03, running
            cells[0] = str(int(cells[0]) - 3600)
        return "\t".join(cells)

    edit(fleet, "counter_*.csv", change)
    found = weighed(fleet)
    told = {(mode, row["pump_id"]) for mode, rows in found.items() for row in rows}
    assert told == {("B7", "P-QM-003"), ("B8", "P-QM-005")}
    assert "set back once" in found["B7"][0]["sentence"] and "655.36 kWh" in found["B8"][0]["sentence"]
