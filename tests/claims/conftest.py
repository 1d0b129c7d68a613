"""The reviewed fleet of `claim_fleet.py`, made once; each test has a copy of its own."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from pumpledger.orchestration.run import run_review
from tests.claims.claim_fleet import make_fleet


@pytest.fixture(scope="session")
def reviewed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = make_fleet(tmp_path_factory.mktemp("claims") / "fleet")
    run_review(folder)
    return folder


@pytest.fixture
def fleet(reviewed: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(reviewed, tmp_path / "fleet", ignore=shutil.ignore_patterns(".dagster", ".lock")))
