"""A claim's day from the accounts: parts by origin, two pumps, a programme that asks for more of a day."""

from __future__ import annotations

from datetime import date
from typing import Any

import polars as pl
import pytest

from pumpledger.engine.database import Database
from pumpledger.engine.tables import DAILY, SAVINGS

DAY = date(2026, 10, 28)


def daily(pump: str, **fields: Any) -> dict[str, Any]:
    base = {"site_id": "S", "pump_id": pump, "day_local": DAY, "observed_min": 1400.0, "run_min": 600.0,
            "energy_kwh_lo": 1.9, "energy_kwh_mid": 2.0, "energy_kwh_hi": 2.1, "energy_source": "metered power",
            "volume_m3_lo": 9.0, "volume_m3_mid": 10.0, "volume_m3_hi": 11.0, "volume_source": "metered"}  # fmt: skip
    return dict.fromkeys(DAILY.columns) | base | fields


def saving(**fields: Any) -> dict[str, Any]:
    base = {"site_id": "S", "day_local": DAY, "counted": True, "reason": "", "coverage": 1400 / 1440, "measured_kwh": 4.0,
            "baseline_kwh": 20.0, "raw_kwh_mid": 16.0, "measured_peak_kw": 0.5, "baseline_peak_kw": 1.5}  # fmt: skip
    return dict.fromkeys(SAVINGS.columns) | base | fields


def claim_day(
    pumps: list[dict[str, Any]],
    savings: list[dict[str, Any]],
    baselines: list[tuple[str, float, str]] = (("A", 12.0, "measured"), ("B", 8.0, "nameplate")),  # type: ignore[assignment]
    least_coverage: float = 0.0,
    own_window: bool = False,
    reviewed: bool = True,
) -> dict[str, Any]:
    with Database() as db:
        day = {"site_id": ["S"], "day_local": [DAY], "day_min": [1440.0], "week": ["2026-W44"]}
        db.load("period_day", pl.DataFrame(day))
        db.load("reviewed_week", pl.DataFrame({"week": ["2026-W44"] if reviewed else []}, schema={"week": pl.String}))
        db.load("daily", pl.DataFrame(pumps, schema=DAILY.schema))
        db.load("savings", pl.DataFrame(savings, schema=SAVINGS.schema))
        rows = [
            {"site_id": "S", "day_local": DAY, "pump_id": p, "baseline_kwh": k, "evidence": e} for p, k, e in baselines
        ]
        db.load("baseline_day", pl.DataFrame(rows))
        empty = {
            "site_id": pl.String,
            "day_local": pl.Date,
            "measured_peak_kw": pl.Float64,
            "baseline_peak_kw": pl.Float64,
        }
        db.load("peak_day", pl.DataFrame(schema=empty))
        parameters = {"least_coverage": least_coverage, "own_window": own_window}
        return db.query("claims/claim_day", parameters).row(0, named=True)


def test_parts_by_origin_add_up_to_the_whole() -> None:
    row = claim_day([daily("A"), daily("B", energy_source="fitted curve", volume_source="curve")], [saving()])
    assert (row["measured_kwh"], row["computed_kwh"], row["energy_kwh_mid"]) == (2.0, 2.0, 4.0)
    assert (row["measured_baseline_kwh"], row["stipulated_baseline_kwh"], row["baseline_kwh"]) == (12.0, 8.0, 20.0)
    assert (row["measured_volume_m3"], row["computed_volume_m3"]) == (10.0, 10.0)
    assert (row["run_min"], row["observed_min"], row["state"]) == (1200.0, 1400.0, "counted")
    assert row["energy_source"] == "fitted curve, metered power"


@pytest.mark.parametrize("source", ["mixed", "fitted curve"])
def test_energy_that_a_curve_tells_in_part_is_computed(source: str) -> None:
    row = claim_day([daily("A", energy_source=source)], [saving(measured_kwh=2.0)])
    assert (row["measured_kwh"], row["computed_kwh"]) == (None, 2.0)


def test_a_day_that_is_not_believed_has_no_energy() -> None:
    row = claim_day(
        [daily("A")], [saving(counted=False, reason="a gap of 300 minutes", measured_kwh=None, raw_kwh_mid=None)]
    )
    assert (row["state"], row["reason"]) == ("left out", "a gap of 300 minutes")
    assert [row[f"{name}_kwh"] for name in ("measured", "computed")] == [None, None]
    assert row["energy_kwh_lo"] is None


def test_one_unknown_pump_makes_the_bounds_unknown() -> None:
    row = claim_day([daily("A"), daily("B", energy_kwh_lo=None, volume_m3_hi=None)], [saving()])
    assert (row["energy_kwh_lo"], row["energy_kwh_hi"], row["volume_m3_hi"]) == (None, 4.2, None)


@pytest.mark.parametrize(("least", "state"), [(0.97, "counted"), (1400 / 1440, "counted"), (0.98, "left out")])
def test_a_programme_may_ask_for_more_of_a_day(least: float, state: str) -> None:
    row = claim_day([daily("A")], [saving()], least_coverage=least)
    assert row["state"] == state
    assert ("the programme asks for 98 %" in row["reason"]) is (state == "left out")


def test_no_row_and_no_review_is_not_reviewed() -> None:
    for row in (claim_day([], []), claim_day([daily("A")], [saving()], reviewed=False)):
        assert (row["state"], row["reason"]) == ("not reviewed", "its week has no review")


def test_the_tariffs_peak_stands_where_the_programme_has_no_window() -> None:
    row = claim_day([daily("A")], [saving()])
    assert (row["peak"], row["measured_peak_kw"], row["baseline_peak_kw"]) == ("in the peak window", 0.5, 1.5)
    assert claim_day([daily("A")], [saving(measured_peak_kw=None)])["peak"] == "not in it"
    assert claim_day([daily("A")], [saving(baseline_peak_kw=None)])["peak"] == "cannot tell"
    own = claim_day([daily("A")], [saving()], own_window=True)
    assert (own["peak"], own["measured_peak_kw"]) == ("not in it", None)
