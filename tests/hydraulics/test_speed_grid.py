"""The speed grid: which source wins, what is null, and how the band behaves."""

from __future__ import annotations

from datetime import date
from types import SimpleNamespace

import numpy as np
import polars as pl
import pytest

from pumpledger.engine.tables import SPEED_GRID
from pumpledger.hydraulics.flow_band import flow_band
from pumpledger.hydraulics.operating_point import zero_flow_speed_rpm
from pumpledger.hydraulics.pump import PumpCurve
from pumpledger.hydraulics.speed_grid import build_speed_grid
from pumpledger.hydraulics.uncertainty import Sides

FLOWS = np.linspace(0, 28, 8)
HEADS = 18 - 15 * (FLOWS / 30) ** 2
PUMP = {
    "pump_id": "P1",
    "site_id": "S1",
    "curve": "a",
    "full_speed_rpm": 3450.0,
    "static_head_m": 0.0,
    "design_flow_m3h": 12.0,
    "design_head_m": 10.0,
}
VISIT = {
    "site_id": "S1",
    "pump_id": "P1",
    "day_local": date(2026, 5, 4),
    "work": "commissioning",
    "speed_rpm": 2400.0,
    "flow_m3h": 11.0,
    "power_w": 650.0,
}


def register(
    *pumps: dict, visits: list[dict] | None = None, heads: np.ndarray = HEADS, curve_speeds: list[float] | None = None
):
    """The part of a register the grid reads."""
    return SimpleNamespace(
        pump=pl.DataFrame(
            list(pumps),
            schema={name: pl.String if name in ("pump_id", "site_id", "curve") else pl.Float64 for name in PUMP},
        ),
        pump_curve=pl.DataFrame(
            {"curve": ["a"] * 8, "speed_rpm": curve_speeds or [3450.0] * 8, "flow_m3h": FLOWS, "head_m": heads}
        ),
        visit=pl.DataFrame(
            visits or [],
            schema={
                "site_id": pl.String,
                "pump_id": pl.String,
                "day_local": pl.Date,
                "work": pl.String,
                "speed_rpm": pl.Float64,
                "flow_m3h": pl.Float64,
                "power_w": pl.Float64,
            },
        ),
        meter_accuracy=0.02,
    )


def power_points(*rows: tuple[float, float], pump_id: str = "P1") -> pl.DataFrame:
    return pl.DataFrame(
        [{"pump_id": pump_id, "speed_rpm": speed, "power_w": power, "samples": 50} for speed, power in rows],
        schema={"pump_id": pl.String, "speed_rpm": pl.Int64, "power_w": pl.Float64, "samples": pl.Int64},
    )


def at(result, speed: int) -> dict:
    return result.grid.row(by_predicate=pl.col("speed_rpm") == speed, named=True)


def test_conforms_and_reaches_full_speed() -> None:
    result = build_speed_grid(register(PUMP), power_points())
    assert result.grid.schema == pl.Schema(SPEED_GRID.schema)
    assert result.grid["speed_rpm"].to_list() == list(range(0, 3451, 25))
    odd = build_speed_grid(register(PUMP | {"full_speed_rpm": 3440.0}), power_points())
    assert odd.grid["speed_rpm"].max() == 3450


def test_commissioned_flow_wins_over_design() -> None:
    result = build_speed_grid(register(PUMP, visits=[VISIT]), power_points())
    row = at(result, 2400)
    assert row["flow_source"] == "commissioned" and row["flow_m3h_mid"] == pytest.approx(11.0)
    # A flow meter within 4 %, and a filter that has taken 0 to 3 % since: 1.5 % on the mean, 1.35 % about it.
    spread = np.hypot(0.04, 0.0135)
    assert row["flow_m3h_lo"] == pytest.approx(11.0 * (1 - 0.015 - spread), rel=2e-3)
    assert row["flow_m3h_hi"] == pytest.approx(11.0 * (1 - 0.015 + spread), rel=2e-3)


def test_friction_is_averaged_over_commissioned_points() -> None:
    two = [VISIT, VISIT | {"flow_m3h": 9.0}]
    middle = at(build_speed_grid(register(PUMP, visits=two), power_points()), 2400)["flow_m3h_mid"]
    head = lambda flow: (2400 / 3450) ** 2 * (18 - 15 * (flow * 3450 / 2400 / 30) ** 2)  # noqa: E731
    friction = (head(11.0) / 11.0**2 + head(9.0) / 9.0**2) / 2
    assert friction * middle**2 == pytest.approx(head(middle), rel=1e-6)


def test_design_point_stands_in_at_fifteen_percent() -> None:
    row = at(build_speed_grid(register(PUMP), power_points()), 3450)
    friction = 10.0 / 12.0**2
    flow = np.sqrt(18 / (friction + 15 / 30**2))
    assert row["flow_source"] == "curve" and row["flow_m3h_mid"] == pytest.approx(flow)
    assert row["flow_m3h_hi"] / row["flow_m3h_mid"] == pytest.approx(1.15, abs=0.005)


def test_only_readings_with_speed_and_flow_count() -> None:
    visits = [VISIT | {"speed_rpm": None}, VISIT | {"flow_m3h": None}, VISIT | {"work": "check", "flow_m3h": None}]
    assert at(build_speed_grid(register(PUMP, visits=visits), power_points()), 2400)["flow_source"] == "curve"
    # After a backwash nobody says whether the flow was read before or after it.
    dirty = [VISIT | {"work": "backwash"}]
    assert at(build_speed_grid(register(PUMP, visits=dirty), power_points()), 2400)["flow_source"] == "curve"


def test_no_source_is_null_and_never_a_guess() -> None:
    for pump in (PUMP | {"curve": None}, PUMP | {"design_flow_m3h": None}):
        result = build_speed_grid(register(pump), power_points())
        assert result.grid["flow_m3h_mid"].null_count() == result.grid.height
        assert set(result.grid["flow_source"]) == {"none"} and result.problems == []
        assert result.grid["power_w_mid"].null_count() == result.grid.height


def test_standstill_is_no_flow_and_unknown_power() -> None:
    row = at(build_speed_grid(register(PUMP), power_points((900, 90), (1800, 350), (2700, 900))), 0)
    assert (row["flow_m3h_lo"], row["flow_m3h_mid"], row["flow_m3h_hi"]) == (0, 0, 0)
    assert row["power_w_mid"] is None


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"heads": HEADS[::-1]}, "does not fall"),
        ({"curve_speeds": [3450.0] * 4 + [2850.0] * 4}, "several speeds"),
    ],
)
def test_a_bad_curve_is_a_problem_and_no_flow(change: dict, says: str) -> None:
    result = build_speed_grid(register(PUMP, visits=[VISIT], **change), power_points())
    assert set(result.grid["flow_source"]) == {"none"}
    assert [problem.name for problem in result.problems] == ["flow_curve_refused"]
    assert (
        says in result.problems[0].sentence
        and result.problems[0].site_id == "S1"
        and result.problems[0].severity == "warns"
    )


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"curve": "b"}, "is not in pump_curves.csv"),
        ({"static_head_m": 18.5}, "shut-off head"),
        ({"design_head_m": 1.0, "static_head_m": 2.0}, "does not exceed the static head"),
        ({"design_flow_m3h": 200.0}, "last point"),
    ],
)
def test_a_system_that_cannot_be(change: dict, says: str) -> None:
    result = build_speed_grid(register(PUMP | change), power_points())
    assert set(result.grid["flow_source"]) == {"none"} and says in result.problems[0].sentence


def test_a_reading_off_the_curve_is_named_and_the_design_point_used() -> None:
    result = build_speed_grid(register(PUMP, visits=[VISIT | {"flow_m3h": 27.0}]), power_points())
    assert at(result, 2400)["flow_source"] == "curve"
    assert result.problems[0].name == "commissioned_flow_refused" and "2026-05-04" in result.problems[0].sentence


def test_power_sources() -> None:
    metered = build_speed_grid(register(PUMP, visits=[VISIT]), power_points((900, 90), (1800, 350), (2700, 900)))
    assert set(metered.grid["power_source"]) == {"fitted to readings"}
    assert at(metered, 1800)["power_w_mid"] == pytest.approx(350, rel=1e-3)
    assert at(metered, 850)["power_w_mid"] is None and at(metered, 2725)["power_w_mid"] is not None
    visits = build_speed_grid(
        register(PUMP, visits=[VISIT, VISIT | {"work": "check", "speed_rpm": 1200.0, "power_w": 110.0}]), power_points()
    )
    assert set(visits.grid["power_source"]) == {"fitted to visit points"}
    assert at(visits, 1200)["power_w_mid"] == pytest.approx(110)


def test_an_implausible_power_curve_is_a_problem() -> None:
    result = build_speed_grid(register(PUMP), power_points((1200, 700), (2400, 690)))
    assert set(result.grid["power_source"]) == {"none"} and [problem.name for problem in result.problems] == [
        "power_curve_refused"
    ]
    assert build_speed_grid(register(PUMP), power_points((2400, 700))).problems == []


def test_flow_above_the_speed_of_the_curve_is_null() -> None:
    result = build_speed_grid(register(PUMP, curve_speeds=[2850.0] * 8), power_points())
    assert at(result, 2850)["flow_m3h_mid"] is not None and at(result, 2900)["flow_m3h_mid"] is None


def test_the_band_brackets_and_widens_towards_the_zero_flow_speed() -> None:
    pump = PumpCurve(3450, tuple(FLOWS), tuple(HEADS))
    speeds = np.arange(0, 3451, 25.0)
    low, mid, high = flow_band(pump, 1.5, [(2400, 11.0)], Sides(0.06, 0.06), speeds)
    assert (low <= mid).all() and (mid <= high).all() and (low >= 0).all()
    assert (np.diff(mid) >= 0).all()
    stall = zero_flow_speed_rpm(pump, 1.5)
    assert (mid[speeds < stall] == 0).all() and (mid[speeds > stall + 1] > 0).all()
    running = speeds > stall + 25
    relative = ((high - low) / 2 / np.where(mid > 0, mid, 1))[running & (speeds <= 2400)]
    assert (np.diff(relative) < 0).all() and relative[-1] == pytest.approx(0.06, abs=0.003) and relative[0] > 0.2
    # Just below the zero-flow speed some flow cannot be ruled out, and none is promised just above it.
    assert high[speeds < stall][-1] > 0 and low[speeds > stall][0] == 0


def test_rows_are_sorted_and_the_same_on_every_run() -> None:
    pumps = [PUMP | {"pump_id": name} for name in ("P3", "P1", "P2")]
    first = build_speed_grid(register(*pumps), power_points()).grid
    assert first["pump_id"].unique(maintain_order=True).to_list() == ["P1", "P2", "P3"]
    assert first.equals(build_speed_grid(register(*reversed(pumps)), power_points()).grid)


def test_an_empty_register_gives_an_empty_grid() -> None:
    assert build_speed_grid(register(), power_points()).grid.height == 0
