"""Points of the power curve from spans: medians by 25 rpm, steady, not priming, not in doubt."""

from __future__ import annotations

import polars as pl
from account_rows import span

from pumpledger.accounting.daily import AccountingParameters, power_points
from pumpledger.engine.database import Database
from pumpledger.engine.tables import SPANS


def points(spans: list[dict], doubts: list[str] | None = None) -> list[tuple]:
    with Database(threads=1) as db:
        db.load("span", pl.DataFrame(spans, schema=SPANS.schema))
        db.load(
            "pump_doubt",
            pl.DataFrame(
                {"pump_id": doubts or [], "doubt": [""] * len(doubts or [])},
                schema={"pump_id": pl.String, "doubt": pl.String},
            ),
        )
        return power_points(db, AccountingParameters()).rows()


def test_medians_by_grid_speed() -> None:
    spans = [
        span(0, 60, "run", 1195, power_w=130),
        span(60, 120, "run", 1203, power_w=134),
        span(120, 180, "run", 1200, power_w=190),
        span(180, 240, "run", 2400, power_w=760),
    ]
    assert points(spans) == [("P1", 1200, 134.0, 30), ("P1", 2400, 760.0, 10)]


def test_priming_short_spans_standstill_and_nulls_give_none() -> None:
    spans = [
        span(0, 60, "run", 3450, power_w=900, cause="priming"),
        span(60, 65, "run", 1200, power_w=500),
        span(65, 300, "off", power_w=3),
        span(300, 400, "run", 1725),
        span(400, 500, "unknown"),
    ]
    assert points(spans) == []


def test_counters_give_points_where_the_step_is_large_enough() -> None:
    spans = [span(0, 600, "run", 1725, energy_kwh=3.0), span(600, 660, "run", 1200, energy_kwh=0.13)]
    assert points(spans) == [("P1", 1725, 300.0, 10)]


def test_a_doubted_pump_gives_none() -> None:
    assert points([span(0, 600, "run", 1725, power_w=0.3)], doubts=["P1"]) == []


def test_a_mean_over_an_interval_with_a_start_in_it_is_no_speed() -> None:
    spans = [
        span(0, 15, "run", 75, power_w=20),
        span(15, 600, "run", 600, power_w=56),
        span(600, 615, "run", 560, power_w=50),
    ]
    assert [speed for _, speed, *_ in points(spans)] == [600]
