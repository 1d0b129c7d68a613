"""The reviewed fleet of `claim_fleet.py` and the packet of `made_up_claim.py`, made once; each test has a copy of its own."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from pumpledger.claims.packet import write_packet
from pumpledger.orchestration.run import run_review
from tests.claims.claim_fleet import make_fleet
from tests.claims.made_up_claim import made_up_claim
from tests.claims.made_up_packet import made_up_evidence
from tests.made_once import made_once


@pytest.fixture(scope="session")
def reviewed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    def review(folder: Path) -> None:
        run_review(make_fleet(folder))

    return made_once(tmp_path_factory, "reviewed_claims", review)[0]


@pytest.fixture
def fleet(reviewed: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(reviewed, tmp_path / "fleet", ignore=shutil.ignore_patterns(".dagster", ".lock")))


@pytest.fixture(scope="session")
def packet(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The packet of the made-up claim; only to be read."""
    folder = tmp_path_factory.mktemp("claims")
    write_packet(folder / "packet", made_up_claim(), made_up_evidence(folder / "fleet"))
    return folder / "packet"


@pytest.fixture
def own_packet(packet: Path, tmp_path: Path) -> Path:
    """A copy of it, to be spoilt."""
    return Path(shutil.copytree(packet, tmp_path / "own"))
