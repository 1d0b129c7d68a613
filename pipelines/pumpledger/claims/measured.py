"""What a pump's log shows of its power at each speed, with an interval that assumes no shape of the scatter.

Belongs here: medians over days and their order-statistics interval.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import polars as pl

from pumpledger.claims.data import POWER_BY_SPEED


def median_interval(values: Sequence[float], confidence: float = 0.9) -> tuple[float, float] | None:
    """The interval between two order statistics that holds the median at least as often as ``confidence`` says; ``None``
    where there are too few values for one.

    Each value lies above the median with probability one half, so that the count below it is binomial.
    """
    ordered, n = sorted(values), len(values)
    tail = (1 - confidence) / 2
    below, k = 0.5**n, 0
    while below <= tail:  # P(fewer than k + 1 values lie below the median) is still within the tail
        k += 1
        below += math.comb(n, k) * 0.5**n
    if k == 0:
        return None
    return ordered[k - 1], ordered[n - k]


def power_by_speed(levels: pl.DataFrame) -> pl.DataFrame:
    """``data.POWER_BY_SPEED`` of ``account_tables.LEVELS``: the median over days of each day's mean power at a speed."""
    rows = []
    for (pump, speed), group in levels.sort("pump_id", "speed_rpm", "day_local").group_by(
        "pump_id", "speed_rpm", maintain_order=True
    ):
        watts = group["power_w"].to_list()
        interval = median_interval(watts) or (None, None)
        rows.append((pump, speed, group.height, math.fsum(group["run_min"]), group["power_w"].median(), *interval))
    return POWER_BY_SPEED.conform(pl.DataFrame(rows, schema=POWER_BY_SPEED.schema, orient="row"))
