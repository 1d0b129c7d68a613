"""A fleet folder: where register, inbox, lake and reports are; one run at a time; writes that are whole or not there.

Belongs here: paths, the lock, atomic writes. What is written belongs to the steps.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path

from pumpledger.problems import FleetError, Problem


@dataclass(frozen=True, slots=True)
class Workspace:
    """Paths inside one fleet folder."""

    folder: Path

    @property
    def inbox(self) -> Path:
        return self.folder / "inbox"

    @property
    def lake(self) -> Path:
        return self.folder / "lake"

    @property
    def reports(self) -> Path:
        return self.folder / "reports"

    @property
    def dagster_home(self) -> Path:
        return self.folder / ".dagster"

    def inbox_files(self) -> list[Path]:
        """Files of the inbox by name; hidden files and half-copied ``*.part`` files are left alone.

        Raises:
            FleetError: the folder has no inbox.
        """
        if not self.inbox.is_dir():
            raise FleetError(
                Problem(
                    "inbox_missing",
                    f"{self.folder} has no folder inbox/; make one and put the exports in it",
                    file="inbox",
                )
            )
        return sorted(
            path
            for path in self.inbox.iterdir()
            if path.is_file() and not path.name.startswith(".") and path.suffix != ".part"
        )

    @contextmanager
    def lock(self, wait: bool = False) -> Iterator[None]:
        """Hold the fleet for one run. The operating system drops the lock with the process, so a dead run holds
        nothing.

        Args:
            wait: wait for the other run to end instead of raising.

        Raises:
            FleetError: another run is under way, and ``wait`` is false.
        """
        from filelock import FileLock, Timeout

        # One lock object a process, so that a step inside a locked run may ask again.
        lock = FileLock(self.folder / ".lock", is_singleton=True, thread_local=False)
        try:
            lock.acquire(timeout=-1 if wait else 0)
        except Timeout:
            raise self._busy() from None
        try:
            yield
        except BaseException:
            self.clear_unfinished()
            raise
        finally:
            lock.release()

    @contextmanager
    def untouched(self) -> Iterator[None]:
        """Keep runs out while the folder is only read; unlike `lock` this writes nothing, not even the lock's file.

        Where no run has ever begun there is no such file, and no lake that a run could change; the same holds for
        systems without POSIX locks, where a ledger record and its files are whole at any moment.

        Raises:
            FleetError: a run is under way.
        """
        with ExitStack() as stack:
            try:
                import fcntl

                file = stack.enter_context((self.folder / ".lock").open("rb"))
                fcntl.flock(file, fcntl.LOCK_SH | fcntl.LOCK_NB)  # the kind of lock that filelock takes
            except (ImportError, FileNotFoundError):
                pass
            except BlockingIOError:
                raise self._busy() from None
            yield

    def _busy(self) -> FleetError:
        return FleetError(Problem("fleet_busy", f"another run holds {self.folder}; wait for it to end"))

    def clear_unfinished(self) -> None:
        """Give back the space of what a run began and did not finish: none of it counts. The run holds the lock."""
        shutil.rmtree(self.lake / "staging", ignore_errors=True)
        for folder in self.reports.glob(".*.new"):
            shutil.rmtree(folder, ignore_errors=True)


def write_whole(path: Path, content: bytes) -> None:
    """Write ``content`` so that ``path`` holds all of it or what it held before, also through a power cut."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with unfinished(path) as temporary:
        with temporary.open("wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        temporary.replace(path)


@contextmanager
def unfinished(path: Path) -> Iterator[Path]:
    """The name under which ``path`` is written until it is whole; what an error leaves there is removed."""
    temporary = path.with_name(f".{path.name}.part")
    try:
        yield temporary
    except BaseException:
        temporary.unlink(missing_ok=True)
        raise


def settle(temporary: Path, path: Path) -> None:
    """Flush a finished file to disk and move it to ``path``."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with temporary.open("rb") as file:
        os.fsync(file.fileno())
    temporary.replace(path)


def replace_folder(temporary: Path, folder: Path) -> None:
    """Put a finished folder in the place of an older one; a reader sees the old one or the new one, never a mix of
    files."""
    old = folder.with_name(f".{folder.name}.old")
    shutil.rmtree(old, ignore_errors=True)
    if folder.exists():
        folder.rename(old)
    temporary.rename(folder)
    shutil.rmtree(old, ignore_errors=True)
