"""A fleet whose meters and records err as stated: what it says differs from the truth by the errors it lists."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import polars as pl
import pytest

from pumpledger.simulator.fleet import ZONE, make_fleet, make_sites
from pumpledger.simulator.horizon import demo_horizon
from pumpledger.simulator.misreading import misread
from pumpledger.simulator.physics import FULL_SPEED_RPM
from pumpledger.simulator.sites import Site

HORIZON = demo_horizon(ZONE, 1)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    written = tmp_path_factory.mktemp("stated") / "fleet"
    make_fleet(written, 28, 1, 5, stated_errors=True)
    return written


def _table(folder: Path, name: str) -> pl.DataFrame:
    return pl.read_csv(folder / name, try_parse_dates=True, infer_schema_length=None)


def test_a_meter_shows_the_truth_times_its_gain(folder: Path) -> None:
    """Five-minute samples on 1,900 rows and more: their noise of 0.5 % averages out to a tenth of a per mille."""
    errors = dict(_table(folder, "truth/errors.csv").select("pump_id", "meter").iter_rows())
    true = dict(_table(folder, "truth/daily.csv").group_by("pump_id").agg(pl.col("energy_kwh").sum()).iter_rows())
    seeded = _table(folder, "truth/seeded.csv")
    kw = set(seeded.filter(pl.col("mode") == "B4")["pump_id"])
    files = [path for path in sorted((folder / "inbox").glob("coast_*.csv")) if "again" not in path.name]
    rows = pl.concat([pl.read_csv(path, infer_schema=False) for path in files]).with_columns(
        pl.col("power_w").cast(pl.Float64, strict=False)
    )
    checked = 0
    for (pump,), part in rows.filter(pl.col("power_w").is_between(0, 5000)).group_by("pump", maintain_order=True):
        if pump in kw or part.height < 2000:  # a lost hour would weigh more than the gain
            continue
        shown = part["power_w"].mean() * 24 * 7 / 1000
        assert shown / true[pump] == pytest.approx(1 + errors[pump], abs=0.004)
        checked += 1
    assert checked >= 3 and np.ptp([errors[pump] for pump in true]) > 0.01


def test_the_savings_truth_is_baseline_less_measured(folder: Path) -> None:
    savings = _table(folder, "truth/savings.csv")
    daily = _table(folder, "truth/daily.csv").group_by("site_id", "day_local").agg(pl.col("energy_kwh").sum())
    joined = savings.join(daily, on=["site_id", "day_local"])
    assert joined.height == savings.height > 100
    for name in ("raw", "equal"):
        base = "baseline_kwh" if name == "raw" else "baseline_equal_kwh"
        assert (joined[base] - joined["energy_kwh"] - joined[f"{name}_kwh"]).abs().max() < 2e-5


def test_without_stated_errors_nothing_is_listed_but_zeros(tmp_path: Path) -> None:
    make_fleet(tmp_path, 2, 1, 5)
    errors = _table(tmp_path, "truth/errors.csv").drop("pump_id")
    assert errors.sum_horizontal().abs().sum() == 0


def _misread_sites(count: int) -> list[tuple[Site, Site]]:
    plain, erring = make_sites(count, HORIZON, 3), make_sites(count, HORIZON, 3)
    for index, site in enumerate(erring, start=1):
        misread(site, 3, index)
    return list(zip(plain, erring, strict=True))


def test_the_register_errs_as_drawn_and_the_machine_does_not() -> None:
    seen = {"flow": 0, "design": 0, "baseline": 0, "static": 0}
    for true, told in _misread_sites(56):
        for pump, misread_pump in zip(true.pumps, told.pumps, strict=True):
            error = misread_pump.errors
            assert misread_pump.machine == pump.machine and misread_pump.controller == pump.controller
            if pump.baseline:
                assert misread_pump.baseline[0] == pytest.approx(pump.former_w * (1 + error.baseline_power), abs=5.01)
                assert misread_pump.baseline[1] == pump.baseline[1]
                seen["baseline"] += 1
            if pump.design_flow_m3h and misread_pump.design_flow_m3h < 0.83 * pump.pump_class.open_flow_m3h:
                built = float(pump.machine.flow_m3h(FULL_SPEED_RPM))
                assert misread_pump.design_flow_m3h == pytest.approx(built * (1 + error.design_flow), abs=0.051)
                seen["design"] += 1
            if pump.machine.static_head_m:
                moved = max(pump.machine.static_head_m + error.static_head_m, 0)
                assert misread_pump.recorded_static_m == pytest.approx(moved, abs=0.051)
                seen["static"] += 1
            else:
                assert misread_pump.recorded_static_m == 0
        readings = [(a, b) for a, b in zip(true.visits, told.visits, strict=True) if a.flow_m3h is not None]
        for before, after in readings:
            error = next(pump.errors for pump in told.pumps if pump.pump_id == before.pump_id)
            assert after.flow_m3h == pytest.approx(before.flow_m3h * (1 + error.flow_reading), abs=0.011)
            seen["flow"] += 1
    assert min(seen.values()) >= 5, seen
