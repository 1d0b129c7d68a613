"""What several files of tests take, made by whichever process of a run is first."""

from __future__ import annotations

import os
import pickle
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

import pytest
from filelock import FileLock

Said = TypeVar("Said")


def made_once(factory: pytest.TempPathFactory, name: str, make: Callable[[Path], Said]) -> tuple[Path, Path, Said]:
    """A copy, for this process, of the folder that ``make`` fills; the folder itself, which it may name; and what it
    said. Only to be read."""
    shared = factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:
        shared = shared.parent  # the one folder that all processes of a run have
    made, said = shared / name, shared / f"{name}.pickle"
    with FileLock(shared / f"{name}.lock"):
        if not said.exists():
            said.write_bytes(pickle.dumps(make(made)))
    return Path(shutil.copytree(made, factory.mktemp(name) / "fleet")), made, pickle.loads(said.read_bytes())
