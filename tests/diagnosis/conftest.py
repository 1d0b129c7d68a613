"""The small fleet, and a short way from it to findings."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import polars as pl
import pytest
from small_fleet import LAST, WEEK, Fleet

from pumpledger.diagnosis.run import diagnose


@pytest.fixture
def fleet() -> Fleet:
    return Fleet()


@pytest.fixture
def findings() -> Callable[..., pl.DataFrame]:
    """``findings(fleet)`` -> FINDINGS of the week that ends on 2026-11-08."""

    def run(fleet: Fleet, parameters: Mapping[str, Mapping[str, float]] | None = None) -> pl.DataFrame:
        with fleet.database() as db:
            diagnose(db, WEEK, LAST, parameters)
            return db.table("finding")

    return run
