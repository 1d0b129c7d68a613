"""A run that dies: the child that is killed, the fleets it works on, and what the lake must be like afterwards.

Belongs here: what `kill_moments.py` and `tests/pipeline/test_killed.py` share. A run is killed after a delay, or at the
n-th change of the lake: an audit hook counts every file that Python opens to write, renames, removes or makes there,
outside of lake/staging, and dies just before the n-th. Those are the moments that differ; DuckDB writes to staging
alone.
"""

from __future__ import annotations

import json
import multiprocessing
import os
import shutil
import signal
import sys
import time
import zipfile
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import polars as pl

from tests.fleet_folder import write_fleet

MODULES = ("great_expectations", "pumpledger.intake.ingest", "pumpledger.orchestration.session", __name__)
CHANGES = ("open", "os.rename", "os.remove", "os.mkdir", "os.rmdir", "os.link", "os.symlink", "os.truncate")
UNALIKE = (".ledger-copy.json",)
"""Holds the times at which records were written."""

_PATIENCE_S = 120
Action = str
"""``intake``; or ``withdraw FILE``, the export that came as FILE."""


# --- fleets ---


def rows(pump: str, first: datetime, count: int, rpm: int) -> str:
    """``count`` rows of the dialect samples_5min, with a header."""
    lines = ["time_utc,pump,speed_rpm,power_w,aux"]
    for number in range(count):
        at = (first + timedelta(minutes=5 * number)).replace(tzinfo=UTC)
        lines.append(f"{at:%Y-%m-%dT%H:%M:%SZ},{pump},{rpm + number},{210 + number},")
    return "\n".join(lines) + "\n"


def fleet(folder: Path) -> Path:
    """A made-up fleet with exports of two weeks, repeats, conflicts, bad rows, a twin, a bad file and an archive."""
    sunday = datetime(2026, 10, 25, 22)
    good = rows("P1", sunday, 60, 1500)
    files = {
        "inbox/five_1.csv": good,
        "inbox/five_2.csv": rows("P1", sunday + timedelta(hours=4), 60, 1548) + "2026-10-26T09:00:00Z,P1,fast,1,\n",
        "inbox/five_3.csv": good.replace(",1510,", ",1999,"),
        "inbox/five_4.csv": good,
        "inbox/five_5.csv": rows("P2", sunday, 20, 1000) + rows("P9", sunday, 10, 1000).split("\n", 1)[1],
        "inbox/five_6.csv": "when,what\n1,2\n",
        "inbox/other.csv": "a,b\n",
        "dialects/own.toml": OWN,
        "inbox/own_1.csv": rows("P2", sunday + timedelta(days=1), 30, 1200),
        "pumps.csv": "pump_id,site_id\nP1,H1\nP2,H1\n",
    }
    write_fleet(folder, files, {"five": ("five_*.csv", "samples_5min"), "own": ("own_*.csv", "own")})
    with zipfile.ZipFile(folder / "inbox" / "week.zip", "w") as archive:
        for name, text in (
            ("five_7.csv", rows("P2", sunday + timedelta(days=2), 30, 1300)),
            ("five_8.csv", "no header\n"),
        ):
            archive.writestr(zipfile.ZipInfo(name), text)
    return folder


OWN = """about = "Test dialect of the fleet: samples each five minutes, UTC."
[file]
delimiter = ","
[time]
column = "time_utc"
format = "%Y-%m-%dT%H:%M:%SZ"
zone = "utc"
label = "instant"
interval_s = 300
gap_limit_s = 1200
[pump]
column = "pump"
[quantity]
speed = { column = "speed_rpm", unit = "rpm" }
"""


def first_run(folder: Path) -> Path:
    """An empty lake and a full inbox."""
    return fleet(folder)


def late_export(folder: Path) -> Path:
    """A lake that holds all but two exports, which overlap and contradict what it holds."""
    fleet(folder)
    late = {name: (folder / "inbox" / name).read_text() for name in ("five_2.csv", "five_3.csv")}
    for name in late:
        (folder / "inbox" / name).unlink()
    finish(folder, "intake")
    for name, text in late.items():
        (folder / "inbox" / f"five_9{name}").write_text(text)
    return folder


def read_again(folder: Path) -> Path:
    """Everything must be read again: the site's zone and a dialect have changed."""
    fleet(folder)
    finish(folder, "intake")
    sites = folder / "sites.csv"
    sites.write_text("site_id,site_name,zone,pool_volume_gal\nH1,Made-up One,America/Denver,20000\n")
    (folder / "dialects" / "own.toml").write_text(OWN.replace('unit = "rpm"', 'unit = "%", full_speed_rpm = 3450'))
    return folder


def taken_out(folder: Path) -> Path:
    """An export on which two others lean is withdrawn."""
    fleet(folder)
    finish(folder, "intake")
    return folder


SCENARIOS: dict[str, tuple[Callable[[Path], Path], Action]] = {
    "first run": (first_run, "intake"),
    "late exports": (late_export, "intake"),
    "read again": (read_again, "intake"),
    "withdrawal": (taken_out, "withdraw five_1.csv"),
}


# --- the child ---


def act(folder: Path, action: Action) -> None:
    """What a command does to the lake, under the fleet's lock, in this process."""
    from pumpledger.orchestration.session import Session
    from pumpledger.orchestration.withdrawing import withdraw_export
    from pumpledger.problems import FleetError

    if action == "intake":
        session = Session(folder)
        with session.workspace.lock():
            session.take_inbox()
        return
    name = action.split(" ", 1)[1]
    (entry,) = [entry for entry in Session(folder).ledger.entries if entry.file == name]
    try:
        withdraw_export(folder, entry.export_id)
    except FleetError as error:
        if error.problems[0].name != "export_not_counting":  # it was taken out before the run died
            raise


def _child(folder: Path, action: Action, die_at: int | None, told: object) -> None:
    moments = _count_changes(folder / "lake", die_at)
    told.send("begun")
    act(folder, action)
    told.send(len(moments))


def _count_changes(lake: Path, die_at: int | None) -> list[str]:
    """Die just before change ``die_at`` of ``lake``, counted from 1; the list grows with the changes."""
    root, staging, moments = str(lake), str(lake / "staging"), []

    def watch(event: str, arguments: tuple) -> None:
        if event not in CHANGES or not arguments or not isinstance(arguments[0], str | bytes | os.PathLike):
            return
        path = os.fsdecode(arguments[0])
        writes = event != "open" or (
            isinstance(arguments[2], int) and arguments[2] & (os.O_WRONLY | os.O_RDWR | os.O_CREAT)
        )
        if writes and path.startswith(root) and not (path.startswith(staging) and event != "os.rename"):
            moments.append(path)
            if len(moments) == die_at:
                os.kill(os.getpid(), signal.SIGKILL)

    sys.addaudithook(watch)
    return moments


# --- the parent ---


def _server() -> multiprocessing.context.ForkServerContext:
    """Children are forked from a process that has imported everything and begun nothing."""
    server = multiprocessing.get_context("forkserver")
    server.set_forkserver_preload(list(MODULES))
    return server


def run(
    folder: Path, action: Action, die_at: int | None = None, die_after_s: float | None = None
) -> tuple[int, float] | None:
    """Run ``action`` in a child: the number of changes it made and its time [s], or ``None`` where it was killed.

    Raises:
        AssertionError: the child died of something else, or never ended.
    """
    server = _server()
    ours, theirs = server.Pipe()
    child = server.Process(target=_child, args=(folder, action, die_at, theirs))
    child.start()
    theirs.close()
    assert ours.poll(_PATIENCE_S), "the child never began"
    ours.recv()
    began = time.perf_counter()
    if die_after_s is not None:
        time.sleep(die_after_s)
        child.kill()
    child.join(_PATIENCE_S)
    assert child.exitcode in (0, -signal.SIGKILL), f"the child ended with {child.exitcode}"
    if child.exitcode:
        return None
    return int(ours.recv()), time.perf_counter() - began


def finish(folder: Path, *actions: Action) -> None:
    """Run ``actions`` to their end."""
    for action in actions:
        assert run(folder, action) is not None


def contents(folder: Path) -> dict[str, bytes]:
    """Every file of the lake that is the same for the same input."""
    root = folder / "lake"
    files = (path for path in sorted(root.rglob("*")) if path.is_file() and path.name not in UNALIKE)
    return {str(path.relative_to(root)): path.read_bytes() for path in files}


def torn(folder: Path) -> list[str]:
    """Exports that are neither in nor out: a record whose rows are not all there, or not these. A reader of the lake
    would see them."""
    lake, found = folder / "lake", []
    for record in sorted((lake / "ledger").glob("*.json")):
        export = json.loads(record.read_bytes())["export"]
        if export["status"] == "repeated":
            continue
        held = sorted(lake.glob(f"readings/week=*/{export['export_id']}.parquet"))
        readings = sum(pl.read_parquet(path, glob=False).height for path in held)
        path = lake / "refused" / f"{export['export_id']}.parquet"
        refused = pl.read_parquet(path, glob=False).height if path.exists() else 0
        wanted = sum(export[fate] for fate in ("duplicates", "quarantine", "rejects"))
        if export["status"] == "read" and (readings, refused) != (export["readings"], wanted):
            found.append(
                f"{export['file']}: {readings} readings and {refused} refused of {export['readings']}, {wanted}"
            )
    return found


@dataclass(slots=True)
class Bench:
    """A scenario ready to be killed in: a fleet that is copied for each try, and what comes out of a run never
    killed."""

    root: Path
    action: Action
    never_killed: dict[str, bytes]
    before: dict[str, bytes]
    changes: int
    took_s: float

    def try_at(self, die_at: int | None = None, die_after_s: float | None = None) -> str:
        """Kill one run and run again; ``ended`` where it ended before it was to die, else ``killed``.

        Raises:
            AssertionError: the lake is torn after the kill, or not the same after the rerun.
        """
        folder = self.root / "try"
        shutil.rmtree(folder, ignore_errors=True)
        shutil.copytree(self.root / "fleet", folder)
        ended = run(folder, self.action, die_at, die_after_s)
        assert torn(folder) == [], f"torn after a kill at {die_at or die_after_s}: {torn(folder)}"
        finish(folder, self.action, "intake")
        _same(contents(folder), self.never_killed, f"after a kill at {die_at or die_after_s}")
        return "killed" if ended is None else "ended"


def bench(root: Path, name: str) -> Bench:
    """Make the fleet of a scenario and run it once to its end."""
    prepare, action = SCENARIOS[name]
    prepare(root / "fleet")
    shutil.copytree(root / "fleet", root / "whole")
    ended = run(root / "whole", action)
    assert ended is not None and ended[0], "a run that changes nothing cannot be killed amid a change"
    changes, took_s = ended
    finish(root / "whole", "intake")
    return Bench(root, action, contents(root / "whole"), contents(root / "fleet"), changes, took_s)


def _same(found: dict[str, bytes], wanted: dict[str, bytes], when: str) -> None:
    missing, more = sorted(wanted.keys() - found.keys()), sorted(found.keys() - wanted.keys())
    differ = sorted(name for name in found.keys() & wanted.keys() if found[name] != wanted[name])
    assert not (missing or more or differ), f"{when}: missing {missing}, more {more}, differ {differ}"
