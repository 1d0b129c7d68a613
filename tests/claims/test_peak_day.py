"""Mean power over a programme's peak window: days of 23 and 25 hours, unknown minutes, a former pump across midnight."""

from __future__ import annotations

from datetime import date
from typing import Any

import polars as pl
import pytest

from pumpledger.engine.account_tables import BALANCE
from pumpledger.engine.database import Database
from pumpledger.engine.tables import PROFILE
from pumpledger.profile.calendar import local_days, quarters

ZONE = "America/Los_Angeles"
PLAIN, LONG, SHORT = date(2026, 10, 28), date(2026, 11, 1), date(2026, 3, 8)
WINDOW = {"months": [*range(1, 13)], "weekdays": [*range(1, 8)], "start_min": 960, "stop_min": 1260}


def pump(name: str = "P", **fields: Any) -> dict[str, Any]:
    base = {"pump_id": name, "site_id": "S", "baseline_power_w": 1500.0, "baseline_start_min": 540,
            "baseline_hours_per_day": 8.0, "baseline_evidence": "measured"}  # fmt: skip
    return base | fields


def peak(day: date, pumps: list[dict[str, Any]], energy: Any = 0.05, window: dict[str, Any] | None = None,
         unknown: int | None = None, aux: float | None = None) -> dict[str, Any] | None:  # fmt: skip
    """The window of ``day``; ``energy`` kWh a quarter, or by clock; ``unknown``: a quarter of the window that is not known."""
    grid = quarters(local_days([ZONE], [day]))
    rows = [
        dict.fromkeys(PROFILE.columns)
        | {"site_id": "S", "pump_id": p["pump_id"], "day_local": day, "quarter": row["quarter"], "clock_local": row["clock_local"]}
        | {"run_min": 15.0, "off_min": 0.0, "unknown_min": 5.0 if row["quarter"] == unknown else 0.0}
        | {"energy_kwh": energy(row["clock_local"]) if callable(energy) else energy}
        for p in pumps
        for row in grid.iter_rows(named=True)
    ]  # fmt: skip
    balance = dict.fromkeys(BALANCE.columns) | {"site_id": "S", "pump_id": "P", "day_local": day, "aux_kwh_hi": aux}
    with Database() as db:
        db.load("profile", PROFILE.conform(pl.DataFrame(rows, schema=PROFILE.schema)))
        db.load("pump", pl.DataFrame(pumps))
        db.load("balance", pl.DataFrame([balance], schema=BALANCE.schema))
        db.load("period_day", pl.DataFrame({"site_id": ["S"], "day_local": [day]}))
        found = db.query("claims/peak_day", window or WINDOW)
    return found.row(0, named=True) if found.height else None


@pytest.mark.parametrize("day", [PLAIN, LONG, SHORT])
def test_the_window_is_by_the_clock_on_days_of_any_length(day: date) -> None:
    # 16:00 to 21:00, 0.05 kWh a quarter: 0.2 kW. The former pump ran 09:00 to 17:00: one of five hours at 1.5 kW.
    found = peak(day, [pump()], lambda clock: 0.05 if "16:00" <= clock < "21:00" else 9.0)
    assert found is not None
    assert (found["measured_peak_kw"], found["baseline_peak_kw"]) == pytest.approx((0.2, 0.3))


@pytest.mark.parametrize(
    ("start", "hours", "kw"),
    [(960, 5, 1.5), (0, 24, 1.5), (1200, 8, 0.3), (1320, 20, 1.5), (1320, 16, 0.0), (970, 1, 0.3), (540, 7, 0.0)],
)
def test_the_former_pump_may_run_across_midnight(start: int, hours: float, kw: float) -> None:
    # (1320, 20): 22:00 to 18:00, so 16:00 to 18:00 of the window is two of five hours.
    expected = 1.5 * 2 / 5 if (start, hours) == (1320, 20) else kw
    found = peak(PLAIN, [pump(baseline_start_min=start, baseline_hours_per_day=float(hours))])
    assert found is not None
    assert found["baseline_peak_kw"] == pytest.approx(expected)


def test_what_is_not_known_is_not_zero() -> None:
    for found in (
        peak(PLAIN, [pump()], unknown=70),
        peak(PLAIN, [pump()], energy=None),
        peak(PLAIN, [pump()], aux=0.3),
    ):
        assert found is not None
        assert found["measured_peak_kw"] is None
        assert found["baseline_peak_kw"] == pytest.approx(0.3)
    outside = peak(PLAIN, [pump()], unknown=10)
    assert outside is not None
    assert outside["measured_peak_kw"] == pytest.approx(0.2)
    for lacking in ("baseline_start_min", "baseline_power_w", "baseline_evidence", "baseline_hours_per_day"):
        found = peak(PLAIN, [pump(), pump("Q", **{lacking: None})])
        assert found is not None
        assert found["baseline_peak_kw"] is None
        assert found["measured_peak_kw"] == pytest.approx(0.4)


def test_only_the_programmes_days_have_the_window() -> None:
    assert peak(PLAIN, [pump()], window=WINDOW | {"weekdays": [3]}) is not None  # a Wednesday
    assert peak(PLAIN, [pump()], window=WINDOW | {"weekdays": [1, 2, 4, 5, 6, 7]}) is None
    assert peak(PLAIN, [pump()], window=WINDOW | {"months": [6, 7, 8]}) is None
