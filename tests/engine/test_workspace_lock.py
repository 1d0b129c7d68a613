"""One run at a time in a fleet folder: a second process is refused with words, a dead one holds nothing."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from pumpledger.problems import FleetError
from pumpledger.workspace import Workspace

HOLD = """
import sys
from pathlib import Path
from pumpledger.workspace import Workspace
with Workspace(Path(sys.argv[1])).lock():
    print("held", flush=True)
    sys.stdin.read()
"""
TRY = """
import sys
from pathlib import Path
from pumpledger.problems import FleetError
from pumpledger.workspace import Workspace
try:
    with Workspace(Path(sys.argv[1])).lock():
        print("held")
except FleetError as error:
    print(error)
"""


@pytest.fixture
def holder(tmp_path: Path) -> Iterator[subprocess.Popen[str]]:
    """Another process that holds the folder until its input closes or it is killed."""
    with subprocess.Popen(
        [sys.executable, "-c", HOLD, str(tmp_path)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as process:
        assert process.stdout.readline() == "held\n"
        yield process
        process.kill()


def held_here(folder: Path) -> bool:
    with Workspace(folder).lock():
        return True


def test_second_process_is_refused(tmp_path, holder) -> None:
    with pytest.raises(FleetError, match="another run holds .*; wait for it to end") as caught:
        held_here(tmp_path)
    assert caught.value.problems[0].name == "fleet_busy"


def test_process_that_ends_lets_go(tmp_path, holder) -> None:
    holder.stdin.close()
    assert holder.wait() == 0
    assert held_here(tmp_path)


def test_killed_process_holds_nothing(tmp_path, holder) -> None:
    holder.kill()
    holder.wait()
    assert (tmp_path / ".lock").exists()  # the file is left, the lock is not
    assert held_here(tmp_path)


def test_a_step_inside_a_run_may_ask_again_and_the_run_still_holds(tmp_path) -> None:
    def elsewhere() -> str:
        return subprocess.run(
            [sys.executable, "-c", TRY, str(tmp_path)], capture_output=True, text=True, check=True
        ).stdout

    with Workspace(tmp_path).lock():
        assert held_here(tmp_path)
        assert "another run holds" in elsewhere()
    assert elsewhere() == "held\n"


def test_error_inside_lets_go(tmp_path) -> None:
    with pytest.raises(ZeroDivisionError), Workspace(tmp_path).lock():
        raise ZeroDivisionError
    assert held_here(tmp_path)


def test_inbox_leaves_half_copied_and_hidden_files_alone(tmp_path) -> None:
    workspace = Workspace(tmp_path)
    with pytest.raises(FleetError, match="no folder inbox/"):
        workspace.inbox_files()
    (workspace.inbox / "folder.csv").mkdir(parents=True)
    for name in ("b.csv", "a.csv", ".hidden.csv", "c.csv.part"):
        (workspace.inbox / name).touch()
    assert [path.name for path in workspace.inbox_files()] == ["a.csv", "b.csv"]


def test_waiting_for_a_run_that_ends(tmp_path, holder) -> None:
    holder.stdin.close()
    with Workspace(tmp_path).lock(wait=True):
        assert holder.wait() == 0
