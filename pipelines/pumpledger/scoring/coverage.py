"""How often an interval holds the truth, and how far its middle lies off.

Belongs here: the counting, on frames that hold ``truth``, ``lo``, ``mid``, ``hi`` and ``unit`` (what errs as one).
Which days are compared stands in `score.py`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import polars as pl

AIM_LO, AIM_HI = 0.87, 0.95
"""Share of 90 % intervals that should hold the truth: 90 % is what they claim, and a little more does no harm."""


@dataclass(frozen=True, slots=True)
class Coverage:
    """``inside`` of ``days`` intervals hold the truth. The days of one pump share its meter, its curve and its
    baseline, so that the ``units`` (pumps or sites), not the days, say how far chance moves the share."""

    days: int
    units: int
    inside: int
    above: int  # the truth lies above the interval
    mean_off: float  # of the middle, share of the truth; the bias

    @property
    def share(self) -> float:
        """Share of intervals that hold the truth."""
        return self.inside / self.days

    @property
    def chance(self) -> float:
        """How far chance alone moves the share of a true 90 % interval, two standard deviations of a binomial over
        the units: 2 sqrt(0.9 x 0.1 / units)."""
        return 2 * math.sqrt(0.09 / self.units)


def coverage(rows: pl.DataFrame) -> Coverage | None:
    """Counts over ``rows``; ``None`` where there are none."""
    known = rows.drop_nulls(["truth", "lo", "mid", "hi"])
    if known.is_empty():
        return None
    # A rounding of the truth's files is no miss.
    slack = 1e-4
    inside = known.select(pl.col("truth").is_between(pl.col("lo") - slack, pl.col("hi") + slack)).to_series()
    moving = known.filter(pl.col("truth").abs() > 0.01)
    off = (moving["mid"] / moving["truth"] - 1).mean() if moving.height else 0.0
    return Coverage(
        days=known.height,
        units=known["unit"].n_unique(),
        inside=int(inside.sum()),
        above=int((known["truth"] > known["hi"] + slack).sum()),
        mean_off=float(off),  # type: ignore[arg-type]
    )


@dataclass(frozen=True, slots=True)
class Off:
    """Median and largest distance of a middle value from what it is held against, as shares."""

    days: int
    median: float
    largest: float
    where: str  # pump and day of the largest
    within: float  # share of the days that lie within the limit asked about


def distance(rows: pl.DataFrame, limit: float) -> Off | None:
    """Over ``rows`` with ``mid``, ``truth`` and ``where``; ``None`` where none has a truth to divide by."""
    known = rows.drop_nulls(["truth", "mid"]).filter(pl.col("truth") > 0.01)
    if known.is_empty():
        return None
    off = known.with_columns(off=(pl.col("mid") / pl.col("truth") - 1).abs()).sort(["off", "where"], descending=True)
    within = float((off["off"] <= limit).mean())  # type: ignore[arg-type]
    median, largest = float(off["off"].median()), float(off["off"][0])  # type: ignore[arg-type]
    return Off(off.height, median, largest, str(off["where"][0]), within)
