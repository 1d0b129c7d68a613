"""Head and hydraulic power of many running points at once, each on the curve of its own pump.

Belongs here: what a pump gives to the water at a known speed and flow. Where pump and system meet stands in
`operating_point.py`.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import polars as pl

from pumpledger.hydraulics.operating_point import water_power_w
from pumpledger.hydraulics.pump import PumpCurve
from pumpledger.hydraulics.uncertainty import CURVE_HEAD

WATER_POWER = {
    "pump_id": pl.String(),
    "speed_rpm": pl.Int64(),
    "head_m": pl.Float64(),
    "water_w_lo": pl.Float64(),
    "water_w_mid": pl.Float64(),
    "water_w_hi": pl.Float64(),
    "off_curve": pl.Boolean(),
}


def water_powers(run: pl.DataFrame, pump: pl.DataFrame, curves: Mapping[str, PumpCurve]) -> pl.DataFrame:
    """Head and hydraulic power, low, mid and high, of each row of ``run``: columns of ``WATER_POWER``.

    A row without a flow, or of a pump without a usable curve, is left out. The ends are taken at the low and the high
    flow on the curve, with the head's own half-width in quadrature: more flow gives less head, so that the ends of the
    power may lie on either side. ``off_curve`` where the flow passes the last point of the curve at that speed: nothing
    is known there.

    Args:
        run: pump_id, speed_rpm [rev/min], flow_m3h_lo, _mid, _hi [m3/h].
        pump: pump_id, curve.
        curves: usable curves by name.
    """
    known = run.filter(pl.col("flow_m3h_mid").is_not_null()).join(pump.select("pump_id", "curve"), on="pump_id")
    parts = [
        _on_curve(part, curves[str(name)])
        for (name,), part in known.sort("curve", "pump_id", "speed_rpm").group_by("curve", maintain_order=True)
        if name in curves
    ]
    return pl.concat(parts).sort("pump_id", "speed_rpm") if parts else pl.DataFrame(schema=WATER_POWER)


def _on_curve(rows: pl.DataFrame, curve: PumpCurve) -> pl.DataFrame:
    ratio = rows["speed_rpm"].cast(pl.Float64).to_numpy() / curve.rated_speed_rpm
    squares, heads = curve.extended  # for the ends; the middle is held to the curve itself below
    flow = np.stack([rows[f"flow_m3h_{bound}"].cast(pl.Float64).to_numpy() for bound in ("lo", "mid", "hi")])
    head = np.maximum(ratio**2 * np.interp((flow / ratio) ** 2, squares, heads), 0.0)
    power = np.stack([water_power_w(*pair) for pair in zip(flow, head, strict=True)])
    off = flow[1] > curve.largest_flow_m3h * ratio * (1 + 1e-9)
    mid = power[1]
    low = np.maximum(mid - np.hypot(mid - power.min(axis=0), CURVE_HEAD * mid), 0.0)
    high = mid + np.hypot(power.max(axis=0) - mid, CURVE_HEAD * mid)
    columns = {"head_m": head[1], "water_w_lo": low, "water_w_mid": mid, "water_w_hi": high}
    return rows.select(
        "pump_id",
        "speed_rpm",
        *(pl.Series(name, np.where(off, np.nan, values)).fill_nan(None) for name, values in columns.items()),
        pl.Series("off_curve", off),
    ).cast(WATER_POWER)
