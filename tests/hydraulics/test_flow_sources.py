"""Which flow source wins, gauges and default systems by hand arithmetic, and what is said of one that cannot be."""

from __future__ import annotations

from datetime import date
from types import SimpleNamespace

import numpy as np
import pint
import polars as pl
import pytest

from pumpledger.engine.account_tables import CURVES
from pumpledger.hydraulics.flow_source import PIPE_FRICTION
from pumpledger.hydraulics.gauges import flow_at_head_m3h, head_from_gauges_m
from pumpledger.hydraulics.operating_point import GRAVITY_M_S2, WATER_DENSITY_KG_M3
from pumpledger.hydraulics.pump import PumpCurve
from pumpledger.hydraulics.speed_grid import SpeedGrid, build_speed_grid
from pumpledger.problems import CurveError
from pumpledger.units import to_inside

UNITS = pint.UnitRegistry()
FLOWS = np.linspace(0, 28, 8)
HEADS = 18 - 15 * (FLOWS / 30) ** 2
CURVE = PumpCurve(3450, tuple(FLOWS), tuple(HEADS))
PUMP: dict[str, object] = {
    "pump_id": "P1",
    "site_id": "S1",
    "curve": "a",
    "full_speed_rpm": 3450.0,
    "static_head_m": None,
    "design_flow_m3h": None,
    "design_head_m": None,
    "pipe_size": None,
    "nameplate_power_w": None,
    "nameplate_low_speed_rpm": None,
    "nameplate_low_power_w": None,
    "wire_to_water": None,
}
VISIT: dict[str, object] = {
    "site_id": "S1",
    "pump_id": "P1",
    "day_local": date(2026, 5, 4),
    "work": "commissioning",
    "speed_rpm": 2400.0,
    "flow_m3h": None,
    "power_w": None,
    "return_pressure_kpa": None,
    "suction_vacuum_kpa": None,
}
GAUGES = {"work": "check", "return_pressure_kpa": 45.0, "suction_vacuum_kpa": 15.0}
_TEXT = {"pump_id", "site_id", "curve", "pipe_size", "work"}


def build(
    pump: dict | None = None, *visits: dict, heads: np.ndarray = HEADS, power: tuple = (), metered=()
) -> SpeedGrid:
    """The grid of one pump that differs from ``PUMP``, with visits that differ from ``VISIT``."""
    kinds = {
        name: pl.String if name in _TEXT else pl.Date if name == "day_local" else pl.Float64 for name in PUMP | VISIT
    }
    register = SimpleNamespace(
        pump=pl.DataFrame([PUMP | (pump or {})], schema={name: kinds[name] for name in PUMP}),
        pump_curve=pl.DataFrame(
            {"curve": ["a"] * 8, "speed_rpm": [3450.0] * 8, "flow_m3h": FLOWS, "head_m": heads},
        ),
        visit=pl.DataFrame([VISIT | visit for visit in visits], schema={name: kinds[name] for name in VISIT}),
        meter_accuracy=0.02,
    )
    points = pl.DataFrame(
        [("P1", speed, watts, 50) for speed, watts in power],
        schema={"pump_id": pl.String, "speed_rpm": pl.Int64, "power_w": pl.Float64, "samples": pl.Int64},
        orient="row",
    )
    return build_speed_grid(register, points, metered)


def fact(found: SpeedGrid, name: str) -> object:
    return found.curves[name][0]


def flow(found: SpeedGrid, speed: int, bound: str = "mid") -> float | None:
    return found.grid.filter(pl.col("speed_rpm") == speed)[f"flow_m3h_{bound}"][0]


def test_best_source_first() -> None:
    """Each source is taken away in turn; the next one stands in, and the table says which."""
    everything = {"design_flow_m3h": 12.0, "design_head_m": 10.0, "pipe_size": "2 in"}
    commissioned, check = {"flow_m3h": 11.0}, {"work": "check", "flow_m3h": 10.0}
    cases = [
        (everything, [commissioned, check, GAUGES], "commissioned"),
        (everything, [check, GAUGES], "visit reading"),
        (everything, [GAUGES], "gauges"),
        (everything, [], "curve"),
        ({"pipe_size": "2 in"}, [], "pipe default"),
        ({}, [], "none"),
    ]
    for pump, visits, expected in cases:
        found = build(pump, *visits)
        assert set(found.grid["flow_source"]) == {expected} == set(found.curves["flow_source"])
        assert found.curves.schema == pl.Schema(CURVES.schema) and found.problems == []
        assert fact(found, "flow_basis")


def test_nothing_is_no_number_and_names_what_is_missing() -> None:
    found = build()
    assert found.grid["flow_m3h_mid"].null_count() == found.grid.height
    assert "no pipe size" in fact(found, "flow_basis") and fact(found, "flow_method") == "none"
    assert "no power was metered" in fact(found, "power_basis")


def test_total_head_by_gauges() -> None:
    """Facts 4j: 15 psi and 6 inHg are 41.43 ft by the trade's 2.31 and 1.13 [from memory, high confidence]; by density
    and gravity 0.1 % more, for both factors are rounded down. pint holds the units."""
    head = head_from_gauges_m(to_inside(15.0, "psi"), to_inside(6.0, "inhg"))
    assert head / 0.3048 == pytest.approx(41.43, rel=2e-3)
    weight = 998.2 * UNITS("kg/m**3") * UNITS.standard_gravity
    by_pint = ((15 * UNITS("psi") + 6 * UNITS("inHg")) / weight).to("foot").magnitude
    assert head / 0.3048 == pytest.approx(by_pint, rel=1e-9)
    assert (WATER_DENSITY_KG_M3, GRAVITY_M_S2) == (998.2, 9.80665)


@pytest.mark.parametrize(("unit", "by_pint"), [("psi", "psi"), ("bar", "bar"), ("inhg", "inHg")])
def test_gauge_units_at_the_border(unit: str, by_pint: str) -> None:
    assert to_inside(7.5, unit) == pytest.approx((7.5 * UNITS(by_pint)).to("kilopascal").magnitude, rel=1e-12)


def test_gauges_solve_the_flow_on_the_curve() -> None:
    """60 kPa are 6.13 m of water; at 2400 rpm the curve is 18 r2 - 15 / 900 Q2, r = 2400 / 3450."""
    head = 60_000 / (998.2 * 9.80665)
    by_hand = np.sqrt((18 * (2400 / 3450) ** 2 - head) * 900 / 15)
    found = build({}, GAUGES)
    assert flow(found, 2400) == pytest.approx(by_hand, rel=1e-9)
    assert flow(found, 1200) == pytest.approx(by_hand / 2, rel=1e-9)  # no static head: flow with speed
    assert flow(found, 2400, "lo") < by_hand < flow(found, 2400, "hi")
    # A metre of gauge error either way is most of a 90 % interval.
    ends = [flow_at_head_m3h(CURVE, 2400, head + step) for step in (1.0, -1.0)]
    assert [flow(found, 2400, bound) for bound in ("lo", "hi")] == pytest.approx(ends, rel=0.03)
    assert fact(found, "flow_method") == "Monte Carlo"


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"suction_vacuum_kpa": None}, "the suction vacuum is missing"),
        ({"return_pressure_kpa": None}, "the return pressure is missing"),
        ({"speed_rpm": None}, "the speed is missing"),
        ({"return_pressure_kpa": 90.0}, "above the curve's shut-off head"),
        ({"return_pressure_kpa": 1.0, "suction_vacuum_kpa": 1.0}, "below the last point"),
        ({"return_pressure_kpa": -5.0}, "below 0"),
    ],
)
def test_a_gauge_reading_that_cannot_be_is_named_and_withheld(change: dict, says: str) -> None:
    found = build({}, GAUGES | change)
    assert fact(found, "flow_source") == "none" and flow(found, 2400) is None
    assert [problem.name for problem in found.problems] == ["gauge_reading_refused"]
    assert says in found.problems[0].sentence and found.problems[0].site_id == "S1"


def test_gauges_not_above_the_static_head() -> None:
    found = build({"static_head_m": 7.0}, GAUGES)
    assert "not above the static head" in found.problems[0].sentence and fact(found, "flow_source") == "none"


def test_a_shut_off_gauge_has_no_flow() -> None:
    with pytest.raises(CurveError, match="shut-off"):
        flow_at_head_m3h(CURVE, 3450, 18.0)


def test_default_systems_by_pipe_are_the_trades_curves() -> None:
    """Facts 2.1 and 2j: 60.12 and 180.00 ft at 60 gpm by curves A and B; 29.52 ft by C. Coefficients from memory, high
    confidence."""
    for size, head_ft in (("2 in", 60.12), ("1.5 in", 180.0), ("2.5 in", 29.52)):
        gpm = (60 * UNITS("gallon/minute")).to("m**3/hour").magnitude
        assert PIPE_FRICTION[size] * gpm**2 / 0.3048 == pytest.approx(head_ft, rel=1e-5)
    found = build({"pipe_size": "2 in"})
    mid = np.sqrt(18 / (PIPE_FRICTION["2 in"] + 15 / 900))
    assert flow(found, 3450) == pytest.approx(mid)
    # Friction 2.5 times as large or small, alone: the ends of the interval are at least as far out.
    ends = [np.sqrt(18 / (PIPE_FRICTION["2 in"] * factor + 15 / 900)) for factor in (2.5, 1 / 2.5)]
    assert flow(found, 3450, "lo") == pytest.approx(ends[0], rel=0.03)
    assert flow(found, 3450, "hi") == pytest.approx(ends[1], rel=0.03)
    assert "assumed" in fact(found, "flow_basis") and "memory" in fact(found, "flow_basis")


def test_zero_flow_speed_is_stored_and_enforced() -> None:
    """sqrt(2 / 18) of 3450 rpm is exactly 1150: no water at or below it, by the middle or the low bound."""
    for visit in ({"flow_m3h": 9.0}, GAUGES):
        found = build({"static_head_m": 2.0}, visit)
        assert fact(found, "zero_flow_speed_rpm") == pytest.approx(1150)
        below = found.grid.filter(pl.col("speed_rpm") <= 1150)
        assert set(below["flow_m3h_mid"]) == {0.0} == set(below["flow_m3h_lo"])
        assert flow(found, 1175) > 0 and fact(found, "flow_method") == "Monte Carlo"
    # The speed follows from curve and height; it is known where the flow above it is not.
    assert fact(build({"static_head_m": 2.0}), "zero_flow_speed_rpm") == pytest.approx(1150)
    assert fact(build({}, {"flow_m3h": 11.0}), "zero_flow_speed_rpm") is None


def test_a_rising_curve_and_a_point_above_the_curve_are_refused_with_a_sentence() -> None:
    rising = build({}, {"flow_m3h": 11.0}, heads=HEADS[::-1])
    assert fact(rising, "flow_source") == "none" and "does not fall" in rising.problems[0].sentence
    assert "does not fall" in fact(rising, "flow_basis")
    above = build({}, {"flow_m3h": 25.0})
    assert above.problems[0].name == "commissioned_flow_refused" and flow(above, 2400) is None


def test_commissioned_points_without_a_curve_reach_between_the_speeds_read_only() -> None:
    points = [{"speed_rpm": speed, "flow_m3h": read} for speed, read in ((1200.0, 5.0), (2400.0, 11.0))]
    found = build({"curve": None}, *points)
    assert flow(found, 1200) == pytest.approx(5) and flow(found, 1800) == pytest.approx(8)
    assert flow(found, 1175) is None and flow(found, 2425) is None and flow(found, 0) == 0
    below = lambda speed: 1 - flow(found, speed, "lo") / flow(found, speed)  # noqa: E731
    read = 0.015 + np.hypot(0.04, 0.0135)
    assert below(1200) == pytest.approx(read) and below(1800) == pytest.approx(np.hypot(read, 0.05))
    falling = build({"curve": None}, points[0], points[1] | {"flow_m3h": 4.0})
    assert "do not rise" in falling.problems[0].sentence and fact(falling, "flow_source") == "none"
    assert fact(build({"curve": None}, points[0]), "flow_source") == "none"


def test_a_flow_meter_in_the_log_is_said_to_go_first() -> None:
    found = build({}, {"flow_m3h": 11.0}, metered={"P1"})
    assert fact(found, "flow_metered") and fact(found, "flow_basis").startswith("the flow meter in the log")
    assert not fact(build({}, {"flow_m3h": 11.0}), "flow_metered")
