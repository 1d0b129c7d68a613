"""What every room may ask for: the committed demo fleet, reviewed once a test run."""

from __future__ import annotations

import gc
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import settings

from pumpledger.orchestration.run import Outcome, run_review
from tests.demo_fleet import copy_of_demo
from tests.made_once import made_once

gc.set_threshold(200_000)  # as the command does: imports and pages make millions of objects that stay
settings.register_profile("unhurried", deadline=None)  # how long an example takes says how busy the machine is
settings.load_profile("unhurried")


@pytest.fixture(scope="session")
def reviewed_demo(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Outcome]:
    """The reviewed demo and what its run said: reviewed by whichever process is first, and a copy for each. Only to be
    read."""
    folder, made, outcome = made_once(tmp_path_factory, "reviewed_demo", lambda at: run_review(copy_of_demo(at)))
    assert outcome.page is not None
    return folder, replace(outcome, page=folder / outcome.page.relative_to(made))
