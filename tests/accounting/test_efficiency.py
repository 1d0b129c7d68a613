"""The efficiency record from small spans and a grid whose values are arithmetic."""

from __future__ import annotations

from datetime import timedelta

import polars as pl
import pytest
from account_rows import MONDAY, grid, span
from hypothesis import given, settings
from hypothesis import strategies as st

from pumpledger.accounting.daily import AccountingParameters, power_points
from pumpledger.accounting.efficiency import EfficiencyParameters, build_efficiency, implausible
from pumpledger.engine.account_tables import EFFICIENCY, LOADING
from pumpledger.engine.database import Database
from pumpledger.engine.tables import SPANS, SPEED_GRID
from pumpledger.hydraulics.operating_point import water_power_w
from pumpledger.hydraulics.pump import PumpCurve
from pumpledger.hydraulics.water_power import water_powers
from pumpledger.units import convert

PUMP = {"pump_id": "P1", "site_id": "S1", "curve": "c", "full_speed_rpm": 3450.0}
# Head 20 m at no flow, 0 m at 40 m3/h, falling with the square: 20 * (1 - (Q / 40)2).
CURVE = [
    {"curve": "c", "speed_rpm": 3450.0, "flow_m3h": q, "head_m": 20 * (1 - (q / 40) ** 2)}
    for q in (0.0, 20.0, 30.0, 36.0)
]


def record(
    spans: list[dict],
    *,
    pump: dict | None = None,
    curve: list[dict] | None = None,
    grids: pl.DataFrame | None = None,
    doubts: list[dict] | None = None,
    loading: list[dict] | None = None,
    limits: EfficiencyParameters | None = None,
) -> tuple[list[dict], dict]:
    """Rows of ``efficiency`` and the one row of ``efficiency_record``."""
    with Database(threads=1) as db:
        db.load("span", pl.DataFrame(spans, schema=SPANS.schema))
        db.load("speed_grid", grid() if grids is None else grids)
        db.load(
            "pump",
            pl.DataFrame(
                [pump or PUMP],
                schema={"pump_id": pl.String, "site_id": pl.String, "curve": pl.String, "full_speed_rpm": pl.Float64},
            ),
        )
        db.load(
            "pump_curve",
            pl.DataFrame(
                CURVE if curve is None else curve,
                schema={"curve": pl.String, "speed_rpm": pl.Float64, "flow_m3h": pl.Float64, "head_m": pl.Float64},
            ),
        )
        db.load("pump_doubt", pl.DataFrame(doubts or [], schema={"pump_id": pl.String, "doubt": pl.String}))
        db.load("loading", pl.DataFrame(loading or [], schema=LOADING.schema))
        parameters = AccountingParameters()
        build_efficiency(db, power_points(db, parameters), parameters, limits)
        return db.table("efficiency").to_dicts(), db.table("efficiency_record").to_dicts()[0]


def curved(
    flow_zero_rpm: float = 0.0, base_w: float = 30.0, factor_w: float = 40.0, exponent: float = 2.8, slowest: int = 600
) -> pl.DataFrame:
    """Flow a straight line from a zero-flow speed; power a base and a power of speed."""
    rows = grid().to_dicts()
    for row in rows:
        speed = row["speed_rpm"]
        flow = max(speed - flow_zero_rpm, 0) * 20 / (3450 - flow_zero_rpm)
        power = base_w + factor_w * (speed / 1000) ** exponent if speed >= slowest else None
        row |= {"flow_m3h_lo": 0.9 * flow, "flow_m3h_mid": flow, "flow_m3h_hi": 1.1 * flow}
        row |= {f"power_w_{bound}": power and power * part for bound, part in (("lo", 0.95), ("mid", 1), ("hi", 1.05))}
    return pl.DataFrame(rows, schema=SPEED_GRID.schema)


def held(*speeds: tuple[int, float | None]) -> list[dict]:
    """Two hours at each speed, at the logged power, one after the other."""
    return [span(120 * at, 120 * at + 120, "run", speed, power_w=power) for at, (speed, power) in enumerate(speeds)]


def test_energy_factor_and_wire_to_water_by_hand() -> None:
    """1725 rpm: the grid gives 10 m3/h, 10 % either way; 200 W metered, 2 % either way. Head at half speed: a quarter
    of 20 * (1 - (20/40)2) = 3.75 m. Hydraulic power 998.2 * 9.80665 * 10 / 3600 * 3.75 = 101.97 W."""
    rows, best = record(held((1725, 200.0)))
    row = rows[0]
    assert (row["speed_rpm"], row["run_min"], row["longest_min"]) == (1725, 120, 120)
    assert row["head_m"] == pytest.approx(3.75)
    assert row["energy_factor_m3kwh_mid"] == pytest.approx(10 / 0.2)
    assert row["energy_factor_m3kwh_lo"] == pytest.approx(50 * (1 - (0.1**2 + (1 - 1 / 1.02) ** 2) ** 0.5))
    assert row["energy_factor_m3kwh_hi"] == pytest.approx(50 * (1 + (0.1**2 + (1 / 0.98 - 1) ** 2) ** 0.5))
    assert row["wire_to_water_mid"] == pytest.approx(998.2 * 9.80665 * 10 / 3600 * 3.75 / 200)
    assert row["wire_to_water_lo"] < row["wire_to_water_mid"] < row["wire_to_water_hi"]
    assert (row["gate"], row["sentence"], row["flow_source"], row["power_source"]) == (
        "plausible",
        "",
        "curve",
        "metered",
    )
    assert (best["best_state"], best["best_speed_rpm"]) == ("given", 1725)
    assert best["best_factor_m3kwh_mid"] == pytest.approx(50)


def test_hydraulic_power_by_the_handbook() -> None:
    """Facts 4h and 4i: 60 gpm x 50 ft is 564.72 W with water of 998.2 kg/m3, within 0.05; 565.50 W by the constant 3956
    [MEM-H], within 0.2 %."""
    power = water_power_w(convert(60.0, "gpm", "m3h"), convert(50.0, "ft", "m"))
    assert power == pytest.approx(564.72, abs=0.05)
    assert power == pytest.approx(565.50, rel=0.002)


def test_energy_factor_depends_on_head_and_efficiency_alone() -> None:
    """Facts 4.4 [CALC identity]: EF = 60 K eta / (745.7 H); at 10 ft, 0.30 and K = 3956 it is 9.55 gal/Wh."""
    assert 60 * 3956 * 0.30 / (745.7 * 10) == pytest.approx(9.55, abs=0.005)
    for row in record(held((1200, 90.0), (1725, 200.0), (2400, 480.0)))[0]:
        expected = 60 * 3956 * row["wire_to_water_mid"] / (745.7 * convert(row["head_m"], "m", "ft"))
        assert convert(row["energy_factor_m3kwh_mid"], "m3kwh", "galwh") == pytest.approx(expected, rel=0.002)


@pytest.mark.parametrize(
    ("power_w", "gate"),
    [(150.0, "plausible"), (145.0, "suspect"), (103.0, "suspect"), (101.0, "refused"), (0.2, "refused")],
)
def test_plausibility_gate(power_w: float, gate: str) -> None:
    """101.97 W reach the water: 0.68 of 150 W is plausible, 0.70 of 145 W and more is suspect (facts 4.4), above 1 the
    wire would bring less than the water gets. 0.2 W is a power logged in kW."""
    rows, best = record(held((1725, power_w)))
    assert rows[0]["gate"] == gate
    if gate == "refused":
        assert [rows[0][name] for name in rows[0] if name.startswith(("energy_factor", "wire_to_water"))] == [None] * 6
        assert "check scale and unit of the power channel" in rows[0]["sentence"]
        assert best["best_state"] == "not possible by physics"
        assert best["knee_state"] == "not possible by physics"
        assert best["best_factor_m3kwh_mid"] is None
    else:
        assert rows[0]["energy_factor_m3kwh_mid"] == pytest.approx(10 / power_w * 1000)
        assert bool(rows[0]["sentence"]) == (gate == "suspect")


def test_what_the_gate_holds_is_a_problem_of_the_review() -> None:
    rows, _ = record(held((1200, 25.0), (1725, 101.0), (2400, 480.0)))
    assert [row["gate"] for row in rows] == ["refused", "refused", "plausible"]
    frame = pl.DataFrame(rows, schema=EFFICIENCY.schema)
    (problem,) = implausible(frame)
    assert (problem.name, problem.severity, problem.site_id) == ("efficiency_refused", "warns", "S1")
    assert problem.sentence.startswith("pump P1: At 1200 rpm")
    assert implausible(frame.filter(pl.col("gate") == "plausible")) == []


def test_no_flow_source_is_no_energy_factor() -> None:
    rows, best = record(held((1725, 200.0)), grids=grid(flow_m3h_at_full=None))
    assert [rows[0][name] for name in rows[0] if name.startswith(("energy_factor", "wire_to_water"))] == [None] * 6
    assert (rows[0]["gate"], rows[0]["sentence"]) == ("cannot tell", "no flow source")
    assert best["best_state"] == "no flow source"
    assert best["knee_state"] == "flow or power curve missing"
    assert best["weighted_state"] == "no flow source"


def test_no_pump_curve_still_has_an_energy_factor() -> None:
    rows, best = record(held((1725, 200.0)), pump=PUMP | {"curve": None})
    assert rows[0]["energy_factor_m3kwh_mid"] == pytest.approx(50)
    assert (rows[0]["head_m"], rows[0]["wire_to_water_mid"], rows[0]["gate"]) == (None, None, "cannot tell")
    assert "no head" in rows[0]["sentence"]
    assert best["weighted_state"] == "no pump curve"


def test_a_flow_meter_wins_and_may_lie_beyond_the_curve() -> None:
    """At 1725 rpm the curve ends at 18 m3/h."""
    spans = [row | {"flow_m3h": flow} for row, flow in zip(held((1725, 200.0), (1200, 90.0)), (19.0, 6.0), strict=True)]
    rows, _ = record(spans)
    by_speed = {row["speed_rpm"]: row for row in rows}
    assert (by_speed[1200]["flow_m3h_mid"], by_speed[1200]["flow_source"]) == (6.0, "metered")
    assert by_speed[1200]["flow_m3h_lo"] == pytest.approx(6 * 0.95)
    assert by_speed[1725]["gate"] == "cannot tell"
    assert "beyond the last point" in by_speed[1725]["sentence"]
    assert by_speed[1725]["wire_to_water_mid"] is None


def test_a_loaded_filter_takes_flow_off_the_grid() -> None:
    """Loading of 0.8, between 0.7 and 0.9, of the one day seen: 10 m3/h of the grid become 8, 9 x 0.7 to 11 x 0.9."""
    day = dict.fromkeys(LOADING.columns) | {"pump_id": "P1", "day_local": MONDAY}
    factors = {"flow_factor_lo": 0.7, "flow_factor_mid": 0.8, "flow_factor_hi": 0.9}
    row = record(held((1725, 200.0)), loading=[day | factors])[0][0]
    flows = [row[f"flow_m3h_{bound}"] for bound in ("lo", "mid", "hi")]
    assert flows == pytest.approx([9 * 0.7, 10 * 0.8, 11 * 0.9])
    assert row["energy_factor_m3kwh_mid"] == pytest.approx(8 / 0.2)


def test_short_stretches_priming_and_doubted_pumps_are_left_out() -> None:
    spans = [
        *held((1725, 200.0)),
        span(300, 325, "run", 700, power_w=45.0),
        span(330, 370, "run", 3000, power_w=900.0, cause="priming"),
    ]
    assert [row["speed_rpm"] for row in record(spans)[0]] == [1725]
    rows, best = record(spans, doubts=[{"pump_id": "P1", "doubt": "power in kW"}])
    assert rows == []
    assert best["best_state"] == best["knee_state"] == best["weighted_state"] == "its data are in doubt"
    assert best["weighted_factor_m3kwh_mid"] is None


def test_sustained_means_an_hour_at_one_go() -> None:
    """Twelve stretches of 50 minutes are not sustained, and one of 60 is."""
    short = [span(60 * at, 60 * at + 50, "run", 1000, power_w=50.0) for at in range(12)]
    rows, best = record(short)
    assert rows[0]["run_min"] == 600
    assert best["best_state"] == "no speed held long enough"
    _, best = record(short, limits=EfficiencyParameters(sustained_min=50))
    assert (best["best_state"], best["best_speed_rpm"]) == ("given", 1000)
    _, best = record(
        [
            *short,
            *(
                row
                | {"start_utc": row["start_utc"] + timedelta(hours=13), "end_utc": row["end_utc"] + timedelta(hours=13)}
                for row in held((1725, 200.0))
            ),
        ]
    )
    assert (best["best_speed_rpm"], best["best_longest_min"]) == (1725, 120)


def test_knee_where_static_head_makes_slow_dear() -> None:
    """Flow from 1000 rpm up, f = 20 / 2450 * (n - 1000); power 30 + 40 (n/1000)^2.8. Least (P - rest) / flow by brute
    force over the grid."""
    rest = span(800, 900, "off", power_w=5.0)
    spans = [*held((1100, 80.0), (1600, 180.0), (2400, 500.0)), rest]
    _, best = record(spans, grids=curved(flow_zero_rpm=1000))
    speeds = range(1100, 2401, 25)
    expected = min(speeds, key=lambda n: (30 + 40 * (n / 1000) ** 2.8 - 5) / (n - 1000))
    assert best["standby_w"] == 5.0
    assert (best["knee_state"], best["knee_speed_rpm_mid"]) == ("given", expected)
    assert 1100 < expected < 2400
    assert best["knee_speed_rpm_lo"] <= expected <= best["knee_speed_rpm_hi"]


def test_power_at_rest_puts_the_knee_lower() -> None:
    """The pump draws its standby whether it runs or waits, so only what running adds is counted."""
    spans = held((650, 45.0), (1000, 70.0), (2400, 500.0))
    _, without = record(spans, grids=curved(base_w=60.0))
    _, with_rest = record([*spans, span(800, 900, "off", power_w=25.0)], grids=curved(base_w=60.0))
    assert without["knee_state"] == with_rest["knee_state"] == "given"
    assert with_rest["knee_speed_rpm_mid"] < without["knee_speed_rpm_mid"]


def test_no_knee_is_said() -> None:
    """A pure power law on a system without static head: slower is always cheaper."""
    spans = held((700, 20.0), (1600, 150.0), (2400, 460.0))
    _, best = record(spans, grids=curved(base_w=0.0))
    assert (best["knee_state"], best["knee_speed_rpm_mid"]) == ("none within the speeds seen", None)
    # Where every slower speed is dearer, the knee is beyond what was seen.
    _, best = record(held((1050, 80.0), (1200, 95.0)), grids=curved(flow_zero_rpm=1000))
    assert best["knee_state"] == "above the speeds seen"
    # Below the zero-flow speed no water moves, which costs without end.
    _, best = record(held((700, 45.0), (900, 60.0)), grids=curved(flow_zero_rpm=1000))
    assert best["knee_state"] == "no water moved at any speed held"


def test_weighted_factor_only_within_the_speeds_metered() -> None:
    """On curve C this pump gives 25.1 m3/h at full speed (20 (1 - (Q/40)2) m = 0.0485 Q2 m), which is 1.4 hp: the low
    point needs 31.1 gpm = 7.064 m3/h, first met at 1225 rpm where flow is 20 n / 3450; the high one 80 %."""
    friction = 0.0082 * 0.3048 / 0.2271247**2  # m/(m3/h)2, facts 4.2
    flow_c = (20 / (20 / 40**2 + friction)) ** 0.5
    _, best = record(held((1200, 90.0), (2400, 480.0)))
    assert best["curve_c_flow_m3h"] == pytest.approx(flow_c, rel=2e-3)
    assert best["low_flow_m3h"] == pytest.approx(31.1 * 0.2271247, rel=1e-6)
    assert best["low_speed_rpm"] == 1225
    high = 0.8 * best["curve_c_flow_m3h"]
    expected = next(n for n in range(0, 3451, 25) if 20 * n / 3450 >= high)
    assert best["high_speed_rpm"] == expected
    low_w, high_w = (1800 * (n / 3450) ** 2 for n in (1225, expected))
    sums = 1000 * (0.8 * 20 * 1225 / 3450 + 0.2 * 20 * expected / 3450) / (0.8 * low_w + 0.2 * high_w)
    assert best["weighted_state"] == "given"
    assert best["weighted_factor_m3kwh_mid"] == pytest.approx(sums)
    _, best = record(held((1200, 90.0), (2400, 480.0)), grids=grid(power_from_rpm=1500))
    assert best["weighted_state"] == "low speed not within the speeds metered"
    assert best["weighted_factor_m3kwh_mid"] is None
    _, best = record(held((1200, 90.0)), grids=grid(flow_m3h_at_full=8.0))
    assert best["weighted_state"] == "high flow not reached on this system"


@settings(max_examples=10, deadline=None)
@given(scale=st.floats(0.2, 5), power_w=st.floats(150, 900))
def test_scaling_flow_and_power_alike_leaves_the_factor(scale: float, power_w: float) -> None:
    plain, _ = record(held((1725, power_w)), pump=PUMP | {"curve": None})
    scaled, _ = record(
        held((1725, power_w * scale)), grids=grid(flow_m3h_at_full=20.0 * scale), pump=PUMP | {"curve": None}
    )
    for bound in ("lo", "mid", "hi"):
        name = f"energy_factor_m3kwh_{bound}"
        assert scaled[0][name] == pytest.approx(plain[0][name], rel=1e-9)


def test_water_power_band_holds_the_head_tolerance() -> None:
    """With no doubt in the flow, hydraulic power is 5 % either way: the head of a published curve (ISO 9906 grade 2
    [MEM, medium confidence])."""
    curve = PumpCurve(3450.0, (0.0, 20.0, 30.0), (20.0, 15.0, 8.0))
    run = pl.DataFrame(
        {"pump_id": ["P"], "speed_rpm": [3450], "flow_m3h_lo": [20.0], "flow_m3h_mid": [20.0], "flow_m3h_hi": [20.0]}
    )
    row = water_powers(run, pl.DataFrame({"pump_id": ["P"], "curve": ["c"]}), {"c": curve}).to_dicts()[0]
    assert row["water_w_mid"] == pytest.approx(998.2 * 9.80665 * 20 / 3600 * 15)
    assert row["water_w_lo"] == pytest.approx(0.95 * row["water_w_mid"])
    assert row["water_w_hi"] == pytest.approx(1.05 * row["water_w_mid"])


def test_same_rows_whatever_their_order() -> None:
    spans = held((1200, 90.0), (1725, 200.0), (2400, 480.0))
    assert record(spans) == record(spans[::-1])
    assert spans[0]["day_local"] == MONDAY
