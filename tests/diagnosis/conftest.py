"""The small fleet, and a short way from it to findings."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from contextlib import nullcontext

import polars as pl
import pytest
from asked_alone import asked_alone
from small_fleet import LAST, WEEK, Fleet

from pumpledger.diagnosis.run import diagnose


@pytest.fixture
def fleet() -> Fleet:
    return Fleet()


@pytest.fixture
def findings(request: pytest.FixtureRequest) -> Callable[..., pl.DataFrame]:
    """``findings(fleet)`` -> FINDINGS of the week that ends on 2026-11-08: of the rules that the module names as ASKED,
    with what may explain them, or of all; ``asked=()`` asks all in any case."""
    named: tuple[str, ...] = getattr(request.module, "ASKED", ())

    def run(
        fleet: Fleet,
        parameters: Mapping[str, Mapping[str, float]] | None = None,
        asked: tuple[str, ...] = named,
    ) -> pl.DataFrame:
        with fleet.database() as db, asked_alone(*asked) if asked else nullcontext():
            diagnose(db, WEEK, LAST, parameters)
            return db.table("finding")

    return run
