"""Stretches of pumps, so that a walk along all readings of a fleet takes the memory of a part of them.

Belongs here: where to cut. A pump is never cut.
"""

from __future__ import annotations

import polars as pl


def pump_ranges(readings: pl.DataFrame, at_once: int) -> list[tuple[str, str]]:
    """First and last code of stretches of pumps with about ``at_once`` readings each.

    Args:
        readings: pump_id, readings; sorted by pump_id.
    """
    stretch = (pl.col("readings").cum_sum() - pl.col("readings")) // at_once
    return (
        readings.group_by(stretch.alias("stretch"), maintain_order=True)
        .agg(pl.col("pump_id").first().alias("first"), pl.col("pump_id").last().alias("last"))
        .select("first", "last")
        .rows()
    )
