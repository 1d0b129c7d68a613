"""A run may die at any moment: no export is half in, and the next run makes the lake of a run that never died.

A small seeded number of the kills of `tests/fuzz/kill_moments.py`; all of them take minutes.
"""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.command import run
from tests.fuzz.killed import SCENARIOS, Bench, bench, contents, fleet, torn
from tests.pipeline.test_check import tree

COMMAND = str(Path(sys.executable).with_name("pumpledger"))
CHANGES = 2
"""Kills amid the changes of the lake, a scenario; one more comes after a delay."""


@pytest.fixture(scope="module", params=list(SCENARIOS))
def made(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> tuple[str, Bench]:
    return request.param, bench(tmp_path_factory.mktemp("killed"), request.param)


def test_the_rerun_makes_the_lake_of_a_run_never_killed(made: tuple[str, Bench]) -> None:
    name, ready = made
    rng = random.Random(name)
    assert ready.never_killed != ready.before  # else there would be nothing to compare
    moments = sorted(rng.sample(range(2, ready.changes + 1), CHANGES - 1))
    assert [ready.try_at(die_at=moment) for moment in (1, *moments)] == ["killed"] * CHANGES
    ready.try_at(die_after_s=rng.uniform(0, ready.took_s))


def test_a_lake_that_is_torn_is_told(made: tuple[str, Bench]) -> None:
    """So that the test above can fail: a file of readings less, and the record stands for what is not there."""
    name, ready = made
    folder = ready.root / "whole"
    path = max((folder / "lake" / "readings").rglob("*.parquet"), key=lambda path: path.stat().st_size)
    content = path.read_bytes()
    assert torn(folder) == []
    path.unlink()
    assert len(torn(folder)) == 1
    path.write_bytes(content)


def test_the_command_is_killed_and_the_next_one_finishes(tmp_path: Path) -> None:
    """The real command, killed while it reads; what it held is free at once, and nothing is left of its work."""
    whole, folder = fleet(tmp_path / "whole"), fleet(tmp_path / "fleet")
    run("review", whole)
    with subprocess.Popen(
        [COMMAND, "review", str(folder)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    ) as killed:
        for _ in range(3000):
            if (folder / "lake").exists() or killed.poll() is not None:
                break
            time.sleep(0.01)
        killed.send_signal(signal.SIGKILL)
    assert killed.returncode == -signal.SIGKILL
    assert torn(folder) == []
    done = run("review", folder)
    assert done.returncode == 1 and "Taken" in done.stdout, done.stderr  # 1: the fleet holds files to be set aside
    for table in ("readings", "refused", "superseded"):
        held = {name: content for name, content in contents(folder).items() if name.startswith(table)}
        assert held == {name: content for name, content in contents(whole).items() if name.startswith(table)}
    assert not [path for path in (folder / "lake" / "staging").rglob("*") if path.is_file()]


def test_the_second_of_two_runs_gets_a_message_and_does_nothing(tmp_path: Path) -> None:
    """Real processes: the first is stopped amid its work, so that it holds the fleet for sure. That its end frees it is
    shown above."""
    folder = fleet(tmp_path / "fleet")
    with subprocess.Popen(
        [COMMAND, "review", str(folder)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    ) as first:
        for _ in range(3000):
            if (folder / "lake").exists():
                break
            time.sleep(0.01)
        first.send_signal(signal.SIGSTOP)
        os.waitpid(first.pid, os.WUNTRACED)  # every thread of it stands still only then
        try:
            before = tree(folder)
            second = run("review", folder)
            after = tree(folder)
        finally:
            first.send_signal(signal.SIGKILL)  # a stopped process would be waited for without end
    assert second.returncode == 2 and "another run holds" in second.stderr and "wait for it to end" in second.stderr
    del before[".lock"], after[".lock"]  # opening it for the try is all that the second does
    assert after == before
