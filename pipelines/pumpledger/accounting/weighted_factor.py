"""The weighted energy factor of the federal pool-pump method, on a pump's own system: its test flows and its sum.

Belongs here: system curve C, the flows of the two test points, the ratio of sums. On which speeds these flows lie is
said in ``sql/accounting/test_points.sql``. The result describes a pump where it stands, filter, pipes and all: it is
no certified rating, which is measured on a test stand on system curve C.

Source: 10 CFR 431 Subpart Y, Appendices B and C, as noted in the project's facts: weights, flows and the constant of
hydraulic horsepower are from memory [MEM-H] and are to be checked against the edition in force.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import polars as pl

from pumpledger.hydraulics.operating_point import flows
from pumpledger.hydraulics.system import SystemCurve
from pumpledger.units import convert

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pumpledger.hydraulics.pump import PumpCurve

CURVE_C = 0.0082  # head [ft] = CURVE_C * flow [gpm] ** 2 [MEM-H]
WATER_HP = 3956.0  # flow [gpm] x head [ft] / hydraulic horsepower [MEM-H]
LOW_WEIGHT, HIGH_WEIGHT = 0.80, 0.20  # of a multi-speed or variable-speed pump [MEM-H]
SMALL_HP = 0.75  # up to this hydraulic horsepower the low test point needs the lesser flow [MEM-H]
LOW_FLOW_SMALL_GPM, LOW_FLOW_GPM = 24.7, 31.1  # [MEM-H]
HIGH_SHARE = 0.80  # of the flow at full speed on curve C: least flow of the high test point [MEM-H]
REACH_RPM = 25.0  # full speed may lie this far above the speed the pump curve was drawn at

_BOUNDS = ("lo", "mid", "hi")


def curve_c_head_ft(flow_gpm: float) -> float:
    """Head of system curve C [ft] at a flow [gpm]."""
    return CURVE_C * flow_gpm**2


def hydraulic_hp(flow_gpm: float, head_ft: float) -> float:
    """Hydraulic horsepower of a flow [gpm] and a head [ft]."""
    return flow_gpm * head_ft / WATER_HP


def low_flow_gpm(rated_hp: float) -> float:
    """Least flow of the low test point [gpm] by rated hydraulic horsepower."""
    return LOW_FLOW_SMALL_GPM if rated_hp <= SMALL_HP else LOW_FLOW_GPM


def weighted_energy_factor(
    flow_low: np.ndarray, power_low_w: np.ndarray, flow_high: np.ndarray, power_high_w: np.ndarray
) -> np.ndarray:
    """Weighted flow per weighted power: a ratio of sums, never a mean of ratios.

    Args:
        flow_low, flow_high: flows at the test points, shape (n,), in a unit of volume per hour.
        power_low_w, power_high_w: wire power there, shape (n,) [W].

    Returns:
        Shape (n,), volume in that unit per kWh.
    """
    flow = LOW_WEIGHT * np.asarray(flow_low, float) + HIGH_WEIGHT * np.asarray(flow_high, float)
    power_w = LOW_WEIGHT * np.asarray(power_low_w, float) + HIGH_WEIGHT * np.asarray(power_high_w, float)
    return 1000 * flow / power_w


def flow_on_curve_c(curve: PumpCurve, full_speed_rpm: float) -> float | None:
    """Flow of the pump at full speed on system curve C [m3/h].

    ``None`` where its curve does not reach: full speed lies above the speed it was drawn at, or curve C passes its last
    point.
    """
    if full_speed_rpm > curve.rated_speed_rpm + REACH_RPM:
        return None
    friction = convert(CURVE_C, "ft", "m") * convert(1.0, "m3h", "gpm") ** 2
    flow = float(flows(curve, SystemCurve(0.0, friction), np.array([full_speed_rpm]))[0])
    return flow if np.isfinite(flow) and flow > 0 else None


TEST_FLOW = {
    "pump_id": pl.String(),
    "missing": pl.String(),
    "curve_c_flow_m3h": pl.Float64(),
    "curve_c_hp": pl.Float64(),
    "low_flow_m3h": pl.Float64(),
    "high_flow_m3h": pl.Float64(),
}


def method_flows(pump: pl.DataFrame, curves: Mapping[str, PumpCurve]) -> pl.DataFrame:
    """The flows that the method asks of each pump: columns of ``TEST_FLOW``; ``missing`` says why there are none."""
    rows = []
    for pump_id, name, full_speed in pump.sort("pump_id").select("pump_id", "curve", "full_speed_rpm").iter_rows():
        curve = curves.get(name) if name else None
        flow = flow_on_curve_c(curve, full_speed) if curve is not None and full_speed is not None else None
        if flow is None:
            missing = "no pump curve" if curve is None else "pump curve does not reach curve C at full speed"
            rows.append((pump_id, missing, None, None, None, None))
            continue
        flow_gpm = convert(flow, "m3h", "gpm")
        rated_hp = hydraulic_hp(flow_gpm, curve_c_head_ft(flow_gpm))
        low = convert(low_flow_gpm(rated_hp), "gpm", "m3h")
        rows.append((pump_id, "", flow, rated_hp, low, HIGH_SHARE * flow))
    return pl.DataFrame(rows, schema=TEST_FLOW, orient="row")


def weighted_factors(flow: pl.DataFrame, test_points: pl.DataFrame) -> pl.DataFrame:
    """The weighted part of ``tables.EFFICIENCY_RECORD`` by pump, from `method_flows` and ``test_points.sql``.

    Both flows come off one system curve and both powers off one meter: each pair errs together, so its ends are taken
    together; flow and power err apart, and their shares add in quadrature (first order).
    """
    rows = flow.join(test_points, on="pump_id", how="left", maintain_order="left")
    value = {
        name: rows[name].cast(pl.Float64).to_numpy()
        for name in test_points.columns
        if "flow" in name or "power" in name
    }

    def factor(flow_bound: str, power_bound: str) -> np.ndarray:
        return weighted_energy_factor(
            value[f"low_flow_{flow_bound}"],
            value[f"low_power_{power_bound}"],
            value[f"high_flow_{flow_bound}"],
            value[f"high_power_{power_bound}"],
        )

    mid = factor("mid", "mid")
    below = np.hypot(1 - factor("lo", "mid") / mid, 1 - factor("mid", "hi") / mid)
    above = np.hypot(factor("hi", "mid") / mid - 1, factor("mid", "lo") / mid - 1)
    numbers = {"lo": np.maximum(mid * (1 - below), 0), "mid": mid, "hi": mid * (1 + above)}
    return rows.with_columns(
        pl.when(pl.col("missing") != "").then("missing").otherwise("weighted_state").alias("weighted_state"),
        *(pl.Series(f"weighted_factor_m3kwh_{bound}", numbers[bound]).fill_nan(None) for bound in _BOUNDS),
    ).select(
        "pump_id",
        "weighted_state",
        "curve_c_flow_m3h",
        "curve_c_hp",
        "low_flow_m3h",
        "low_speed_rpm",
        "high_flow_m3h",
        "high_speed_rpm",
        *(f"weighted_factor_m3kwh_{bound}" for bound in _BOUNDS),
    )
