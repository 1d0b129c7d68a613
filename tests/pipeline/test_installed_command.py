"""The installed program in a process of its own: it starts, says what it found, and its exit status reaches the shell.

Belongs here: what a process of its own shows. What a command says is tested in this process, by `tests/command.py`.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from tests.command import run as run_here
from tests.fleet_folder import write_fleet
from tests.pipeline.test_command_line import two_days

COMMAND = str(Path(sys.executable).with_name("pumpledger"))


def run(*arguments: object) -> subprocess.CompletedProcess[str]:
    done = subprocess.run([COMMAND, *map(str, arguments)], capture_output=True, text=True, check=False)
    assert "Traceback" not in done.stderr + done.stdout, done.stderr
    return done


def test_help_names_the_commands() -> None:
    shown = run("--help").stdout
    assert all(name in shown for name in ("review", "ui", "demo", "fields"))


def test_a_review_ends_as_it_does_in_this_process(tmp_path: Path) -> None:
    """Status 1, a file set aside on stderr, the page and its lines on stdout: the same as of `tests/command.py`."""
    files = {"inbox/meter_1.csv": two_days(), "inbox/other_1.csv": "a,b\n1,2\n"}
    one, two = write_fleet(tmp_path / "one", files), write_fleet(tmp_path / "two", files)
    done, here = run("review", one), run_here("review", two)
    assert done.returncode == here.returncode == 1
    assert "other_1.csv" in done.stderr and "Review of 2026-W44" in done.stdout
    assert done.stderr == here.stderr
    assert done.stdout.replace(str(one), str(two)) == here.stdout


def test_what_cannot_run_is_said_and_has_status_2(tmp_path: Path) -> None:
    done = run("review", tmp_path / "nowhere")
    assert done.returncode == 2 and "no fleet folder" in done.stderr
