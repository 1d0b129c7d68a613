"""Prints the processor time of the flow and power curves of 1,000 made-up sites, in ms a site, by kind of source.

Run by hand: ``python tests/benchmarks/curves.py``. It prints and asserts nothing.
"""

from __future__ import annotations

from datetime import date
from time import process_time
from types import SimpleNamespace

import numpy as np
import polars as pl

from pumpledger.hydraulics.speed_grid import build_speed_grid

SITES = 1000
KINDS = ("commissioned", "commissioned, water lifted", "gauges", "pipe default")


def made_up_register(kind: str) -> SimpleNamespace:
    """A register of ``SITES`` pumps that all have one kind of source."""
    flows = np.linspace(0, 28, 8)
    pumps = pl.DataFrame(
        {
            "pump_id": [f"P{index:04d}" for index in range(SITES)],
            "site_id": [f"S{index:04d}" for index in range(SITES)],
            "curve": ["a"] * SITES,
            "full_speed_rpm": [3450.0] * SITES,
            "static_head_m": [2.0 if "lifted" in kind else None] * SITES,
            "design_flow_m3h": pl.Series([None] * SITES, dtype=pl.Float64),
            "design_head_m": pl.Series([None] * SITES, dtype=pl.Float64),
            "pipe_size": ["2 in" if kind == "pipe default" else None] * SITES,
        }
    )
    commissioned = kind.startswith("commissioned")
    gauges = kind == "gauges"
    visit = pumps.select(
        "site_id",
        "pump_id",
        pl.lit(date(2026, 5, 4)).alias("day_local"),
        pl.lit("commissioning").alias("work"),
        pl.lit(2400.0).alias("speed_rpm"),
        pl.lit(11.0 if commissioned else None, dtype=pl.Float64).alias("flow_m3h"),
        pl.lit(None, dtype=pl.Float64).alias("power_w"),
        pl.lit(50.0 if gauges else None, dtype=pl.Float64).alias("return_pressure_kpa"),
        pl.lit(15.0 if gauges else None, dtype=pl.Float64).alias("suction_vacuum_kpa"),
    )
    curve = pl.DataFrame(
        {"curve": ["a"] * 8, "speed_rpm": [3450.0] * 8, "flow_m3h": flows, "head_m": 18 - 15 * (flows / 30) ** 2}
    )
    return SimpleNamespace(pump=pumps, pump_curve=curve, visit=visit, meter_accuracy=0.02)


def main() -> None:
    """Print one line a kind."""
    generator = np.random.default_rng(3)
    speeds = np.array([900, 1200, 1725, 2200, 2850, 3450])
    power = pl.DataFrame(
        {
            "pump_id": np.repeat([f"P{index:04d}" for index in range(SITES)], speeds.size),
            "speed_rpm": np.tile(speeds, SITES),
            "power_w": np.tile(40 + 55 * (speeds / 1000) ** 2.8, SITES)
            * generator.normal(1, 0.01, SITES * speeds.size),
            "samples": np.full(SITES * speeds.size, 50),
        }
    )
    for kind in KINDS:
        register = made_up_register(kind)
        start = process_time()
        found = build_speed_grid(register, power)
        took = (process_time() - start) * 1000 / SITES
        method, source = found.curves["flow_method"][0], found.curves["flow_source"][0]
        print(
            f"{kind}: {took:.2f} ms a site "
            f"({source}, {method}; {found.grid.height} rows, {len(found.problems)} problems)"
        )


if __name__ == "__main__":
    main()
