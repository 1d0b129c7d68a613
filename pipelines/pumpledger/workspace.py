"""A fleet folder: where register, inbox, lake and reports are; one run at a time; writes that are whole or not there.

Belongs here: paths, the lock, atomic writes. What is written belongs to the steps.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
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
            raise FleetError(Problem("fleet_busy", f"another run holds {self.folder}; wait for it to end")) from None
        try:
            yield
        finally:
            lock.release()


def write_whole(path: Path, content: bytes) -> None:
    """Write ``content`` so that ``path`` holds all of it or what it held before, also through a power cut."""
    path.parent.mkdir(parents=True, exist_ok=True)
    temporary = path.with_name(f".{path.name}.part")
    with temporary.open("wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
    temporary.replace(path)


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
