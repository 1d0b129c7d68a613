"""A disk that is full, read-only or failing, told in a sentence: it is no fault of the tool and no reason to lose data.

Belongs here: knowing such an error, whoever raises it, and what to say. What is safe to stop at any moment is the
business of whoever writes.
"""

from __future__ import annotations

import errno
import re
import shutil
from collections.abc import Iterator
from pathlib import Path
from types import TracebackType

from pumpledger.problems import FleetError, Problem

_FULL = {
    errno.ENOSPC: "has no space left",
    errno.EDQUOT: "has no space left within the user's quota",
    errno.EFBIG: "takes no larger file, or the user's limit on file size is reached",
}
_REFUSES = {
    errno.EROFS: "is read-only",
    errno.EACCES: "lets this user not write where the run must",
    errno.EPERM: "lets this user not write where the run must",
    errno.EIO: "reports an error, or may not be written further",
}
_WORDS = {
    # "failed to offload" is DuckDB's spill, which is held to the space that the disk has left.
    re.compile(
        r"no space left on device|disk quota exceeded|disk is full|failed to offload data block", re.I
    ): errno.ENOSPC,
    re.compile(r"file too large", re.I): errno.EFBIG,
    re.compile(r"attempt to write a readonly database|read-only file system", re.I): errno.EROFS,
    re.compile(r"disk i/o error|input/output error", re.I): errno.EIO,
}
"""What DuckDB and SQLite say in place of an error number; SQLite keeps the run history of Dagster."""


class DiskGuard:
    """Whatever is raised inside because of the disk leaves as a `FleetError`; all else leaves as it is.

    ``folder`` names the disk in the sentence; its free space is read at that moment.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def __enter__(self) -> DiskGuard:
        return self

    def __exit__(self, kind: object, error: BaseException | None, trace: TracebackType | None) -> None:
        if isinstance(error, Exception) and not isinstance(error, FleetError):
            fault = disk_fault(error)
            if fault:
                raise FleetError(_problem(fault, self._folder)) from error


def disk_fault(error: BaseException) -> str | None:
    """What the disk did, where it is behind ``error`` or behind what led to it; ``None`` for any other error."""
    for link in _chain(error):
        if isinstance(link, OSError):
            number = link.errno
        else:
            number = next((number for words, number in _WORDS.items() if words.search(str(link))), None)
        fault = (_FULL | _REFUSES).get(number)
        if fault:
            return fault
    return None


def _chain(error: BaseException | None) -> Iterator[BaseException]:
    """``error`` and what led to it, as a traceback would tell it; a chain may close upon itself."""
    seen: set[int] = set()
    while error is not None and id(error) not in seen:
        seen.add(id(error))
        yield error
        error = error.__cause__ if error.__suppress_context__ else error.__context__


def _problem(fault: str, folder: Path) -> Problem:
    free = f"{shutil.disk_usage(folder).free / 1e6:,.1f} MB free" if folder.exists() else "not there any more"
    advice = "make room there" if fault in _FULL.values() else "mend that"
    return Problem(
        "disk",
        f"the disk of {folder} ({free}) {fault}. The run stopped, and no reading that was held before is lost; "
        f"{advice}, and run again",
        evidence={"folder": str(folder)},
    )
