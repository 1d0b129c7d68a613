"""What every room may ask for: the committed demo fleet, reviewed once a test run."""

from __future__ import annotations

import gc
import os
import pickle
import shutil
from dataclasses import replace
from pathlib import Path

import pytest
from filelock import FileLock
from hypothesis import settings

from pumpledger.orchestration.run import Outcome, run_review
from tests.demo_fleet import copy_of_demo

gc.set_threshold(200_000)  # as the command does: imports and pages make millions of objects that stay
settings.register_profile("unhurried", deadline=None)  # how long an example takes says how busy the machine is
settings.load_profile("unhurried")


@pytest.fixture(scope="session")
def reviewed_demo(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Outcome]:
    """The reviewed demo and what its run said: reviewed by whichever process is first, and a copy for each. Only to be
    read."""
    shared = tmp_path_factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:
        shared = shared.parent  # the one folder that all processes of a run have
    made, said = shared / "reviewed_demo", shared / "reviewed_demo.pickle"
    with FileLock(shared / "reviewed_demo.lock"):
        if not said.exists():
            said.write_bytes(pickle.dumps(run_review(copy_of_demo(made))))
    folder = Path(shutil.copytree(made, tmp_path_factory.mktemp("demo") / "fleet"))
    outcome: Outcome = pickle.loads(said.read_bytes())
    assert outcome.page is not None
    return folder, replace(outcome, page=folder / outcome.page.relative_to(made))
