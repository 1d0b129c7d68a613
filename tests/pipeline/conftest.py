"""One review of the committed demo fleet, shared by the tests of this folder."""

from __future__ import annotations

from pathlib import Path

import pytest

from pumpledger.orchestration.run import Outcome


@pytest.fixture(scope="session")
def reviewed(reviewed_demo: tuple[Path, Outcome]) -> tuple[Path, Outcome]:
    return reviewed_demo
