"""A full disk ends the run with a sentence, exit status 2, and a lake as it was; with room again, all is taken.

The disk is a small tmpfs: mounted by root, or in a user namespace of its own (`unshare`). Where a machine allows
neither, the limit on file size of the process (RLIMIT_FSIZE) stands in for it, and the test says so.
"""

from __future__ import annotations

import os
import resource
import shutil
import subprocess
import sys
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

import pytest

from pumpledger.engine.disk import DiskGuard, disk_fault
from pumpledger.problems import FleetError
from tests.command import Done, run
from tests.fuzz.killed import contents, finish, fleet, rows, torn

COMMAND = str(Path(sys.executable).with_name("pumpledger"))
SIZE_MB = 24
INSIDE = "TESTS_INSIDE_OWN_MOUNTS"
"""Set in the process that pytest starts again in a user namespace, where it may mount."""


def mounted(folder: Path) -> bool:
    folder.mkdir(exist_ok=True)
    command = ["mount", "-t", "tmpfs", "-o", f"size={SIZE_MB}m", "tmpfs", str(folder)]
    return (
        shutil.which("mount") is not None and subprocess.run(command, capture_output=True, check=False).returncode == 0
    )


def may_have_own_mounts() -> bool:
    command = ["unshare", "--user", "--map-root-user", "--mount", "true"]
    return (
        shutil.which("unshare") is not None
        and subprocess.run(command, capture_output=True, check=False).returncode == 0
    )


@pytest.fixture
def disk(tmp_path: Path) -> Iterator[Path]:
    """An empty small disk."""
    folder = tmp_path / "disk"
    if not mounted(folder):
        pytest.skip("no right to mount; test_all_of_it_in_a_namespace or test_where_nothing_can_be_mounted stands in")
    yield folder
    subprocess.run(["umount", "-l", str(folder)], check=True)


@pytest.fixture(scope="module")
def never_full(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    """The lake of the same fleet on a disk with room."""
    folder = with_large_export(tmp_path_factory.mktemp("never_full") / "fleet")
    finish(folder, "intake")
    return held(folder)


def test_all_of_it_in_a_namespace(tmp_path: Path) -> None:
    """For users who are not root: this file again, as the root of a user namespace. It fails where its tests fail."""
    if mounted(tmp_path / "probe"):
        subprocess.run(["umount", "-l", str(tmp_path / "probe")], check=True)
        return  # the tests below have a disk
    assert not os.environ.get(INSIDE), "a root of its own namespace may not mount a tmpfs"
    if may_have_own_mounts():
        command = [
            "unshare",
            "--user",
            "--map-root-user",
            "--mount",
            sys.executable,
            "-m",
            "pytest",
            "-q",
            "-rs",
            __file__,
        ]
        again = subprocess.run(command, env=os.environ | {INSIDE: "1"}, capture_output=True, text=True, check=False)
        assert again.returncode == 0 and "skipped" not in again.stdout, again.stdout[-3000:]


def test_where_nothing_can_be_mounted(tmp_path: Path, never_full: dict[str, bytes]) -> None:
    """Files that may not grow: an error of the system with another number, on any machine. The smaller limit stops the
    run's history, the larger one the readings."""
    folder = with_large_export(tmp_path / "fleet")
    for limit_kb in (64, 2):
        done = limited_review(folder, limit_kb * 1024)
        assert done.returncode == 2 and said(done), done.stderr[-2000:]
        assert torn(folder) == []
    finish(folder, "intake")
    assert held(folder) == never_full


def limited_review(folder: Path, limit: int) -> subprocess.CompletedProcess[str]:
    """A review in a process of its own, none of whose files may grow beyond ``limit`` bytes."""
    done = subprocess.run(
        [COMMAND, "review", str(folder)],
        capture_output=True,
        text=True,
        check=False,
        timeout=300,
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit)),
    )
    assert "Traceback" not in done.stderr, done.stderr[-3000:]
    return done


def said(done: subprocess.CompletedProcess[str] | Done) -> bool:
    """The last line is one sentence: which disk, how much room, what is safe, what to do."""
    last = done.stderr.strip().splitlines()[-1]
    parts = ("cannot run: the disk of ", " MB free) ", "no reading that was held before is lost", "run again")
    return all(part in last for part in parts)


def with_large_export(folder: Path) -> Path:
    """The fleet of the kills, with an export that is larger than what the disk has left."""
    fleet(folder)
    text = rows("P2", datetime(2026, 9, 28), 9000, 600)
    (folder / "inbox" / "five_0.csv").write_text(text)
    return folder


def fill(disk: Path, left: int) -> Path:
    """Leave ``left`` bytes of room."""
    ballast = disk / "ballast"
    stat = os.statvfs(disk)
    ballast.write_bytes(b"\1" * max(0, stat.f_bavail * stat.f_frsize - left))
    return ballast


@pytest.mark.parametrize("left_kb", [0, 4, 64, 160, 400])
def test_a_first_run(disk: Path, never_full: dict[str, bytes], left_kb: int) -> None:
    """Room for nothing, for a few records, for a part of the exports; with room again the lake is as on any disk."""
    folder = with_large_export(disk / "fleet")
    ballast = fill(disk, left_kb * 1024)
    done = run("review", folder)
    assert done.returncode == 2 and said(done), done.stderr[-2000:]
    assert torn(folder) == []
    assert not (folder / "lake" / "staging").exists()
    assert not list((folder / "lake").rglob("*.part")), "what could not be finished takes room"
    ballast.unlink()
    finish(folder, "intake")
    assert held(folder) == never_full


def test_a_later_run_leaves_the_lake_as_it_was(disk: Path) -> None:
    folder = fleet(disk / "fleet")
    finish(folder, "intake")
    before = contents(folder)
    with_large = with_large_export(disk / "other")
    shutil.copy2(with_large / "inbox" / "five_0.csv", folder / "inbox" / "five_0.csv")
    shutil.rmtree(with_large)
    ballast = fill(disk, 8 * 1024)
    done = run("review", folder)
    assert done.returncode == 2 and said(done), done.stderr[-2000:]
    assert contents(folder) == before
    ballast.unlink()
    finish(folder, "intake")
    assert len(contents(folder)) > len(before)


def test_a_read_only_disk_is_told_as_such(disk: Path) -> None:
    folder = fleet(disk / "fleet")
    subprocess.run(["mount", "-o", "remount,ro", str(disk)], check=True)
    done = run("review", folder)
    assert done.returncode == 2 and "is read-only" in done.stderr, done.stderr[-2000:]


def held(folder: Path) -> dict[str, bytes]:
    """Readings, refused rows and what supersedes what; the records hold times of no run."""
    tables = ("readings", "refused", "superseded", "ledger")
    return {name: content for name, content in contents(folder).items() if name.startswith(tables)}


# --- what is told from what ---


def raised(action: object) -> BaseException:
    with pytest.raises(BaseException) as caught:  # noqa: B017, PT011
        action()  # type: ignore[operator]
    return caught.value


def test_other_errors_leave_as_they_are(tmp_path: Path) -> None:
    for error in (ValueError("no space"), OSError(2, "No such file"), FileNotFoundError("x"), KeyboardInterrupt()):

        def fail(error: BaseException = error) -> None:
            with DiskGuard(tmp_path):
                raise error

        assert raised(fail) is error
    assert disk_fault(ValueError("the pump has no room")) is None


def test_what_led_to_an_error_counts_and_a_circle_ends(tmp_path: Path) -> None:
    full = OSError(28, "No space left on device")
    wrapped = RuntimeError("the run's history could not be written")
    wrapped.__cause__ = full
    assert disk_fault(wrapped) == "has no space left"
    one, two = RuntimeError("one"), RuntimeError("two")
    one.__context__, two.__context__ = two, one
    assert disk_fault(one) is None

    def fail() -> None:
        with DiskGuard(tmp_path):
            raise wrapped

    error = raised(fail)
    assert isinstance(error, FleetError) and error.problems[0].name == "disk" and error.__cause__ is wrapped


def test_an_error_that_was_dealt_with_does_not_count() -> None:
    def fail() -> None:
        try:
            raise OSError(28, "No space left on device")
        except OSError:
            raise ValueError("something else") from None

    assert disk_fault(raised(fail)) is None
