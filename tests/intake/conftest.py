"""A small fleet with an empty inbox, and a database."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from intake_fleet import Fleet

from pumpledger.engine.database import Database


@pytest.fixture
def fleet(tmp_path: Path) -> Fleet:
    return Fleet(tmp_path / "fleet")


@pytest.fixture(scope="module")
def db() -> Iterator[Database]:
    with Database(threads=1) as database:
        yield database
