"""Watts that are added at every speed alike, as by bearings that bind: D7.

Belongs here: the split of power into a constant and a part that goes with the cube of speed, and how it moved. Words and
thresholds stand in `rules/hydraulic.py`.

A loading filter or a moved valve takes power in proportion, most at high speed. Friction of bearings and seal adds about
the same at all speeds, and so shows most at low speed (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

import numpy as np
import polars as pl

from pumpledger.diagnosis.evidence import EVIDENCE
from pumpledger.diagnosis.power_levels import PowerSeries, power_series, scatter
from pumpledger.engine.database import Database

EARLY_DAYS, LATE_DAYS, LEAST_DAYS = 10, 7, 21  # a bearing wears over weeks: less than three tell nothing
LEAST_SPEED_RATIO = 1.15  # its cube is 1.5: speeds nearer to each other cannot part the constant from the rest
LOW_SHARE, HIGH_SHARE = 0.2, 0.8  # of the rise: what lies between is under way
SLOW_DAYS, LEAST_BETWEEN = (
    4,
    2,
)  # from the low to the high share, and days seen meanwhile: a device is switched on in one
CUBIC_PART = 0.25  # of the rise, at the lowest speed: a part that goes with the cube and moved by less hardly moved
LEAST_CONSTANT_SHARE = 0.2  # of the power at the lowest speed, as a constant part where the fit gives less
SURE = 3.0  # times the scatter of the days' constants


@dataclass(frozen=True, slots=True)
class ConstantRise:
    """``rise_w`` of the constant part [W], ``from_w`` what it was [W], ``cubic_share`` change of the other part, share,
    ``cubic_w`` the same at the lowest speed [W], ``slowly`` whether it took days."""

    rise_w: float
    from_w: float
    cubic_share: float
    cubic_w: float
    slowly: bool


def constant_and_cubic(speeds_rpm: np.ndarray, powers_w: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """c0 [W] and c1 [W at 1000 rpm] of W = c0 + c1 (n / 1000)^3, by least squares on relative residuals.

    Args:
        speeds_rpm: shape (s,), at least two different.
        powers_w: shape (s, n), NaN where a speed was not held; days with fewer than two speeds that lie far enough apart
            give NaN.

    Returns:
        Two arrays of shape (n,).
    """
    cube = (speeds_rpm[:, None] / 1000) ** 3
    seen = np.isfinite(powers_w)
    with np.errstate(invalid="ignore", divide="ignore"):
        weight = np.where(seen, 1 / np.square(powers_w), 0.0)
        power = np.where(seen, powers_w, 0.0)
        total, of_cube = weight.sum(axis=0), (weight * cube).sum(axis=0)
        bend = (weight * cube**2).sum(axis=0) * total - of_cube**2
        cubic = ((weight * cube * power).sum(axis=0) * total - of_cube * (weight * power).sum(axis=0)) / bend
        constant = ((weight * power).sum(axis=0) - cubic * of_cube) / total
    lowest = np.where(seen, speeds_rpm[:, None], np.inf).min(axis=0)
    highest = np.where(seen, speeds_rpm[:, None], 0).max(axis=0)
    apart = highest >= LEAST_SPEED_RATIO * lowest
    return np.where(apart, constant, np.nan), np.where(apart, cubic, np.nan)


def constant_rise(series: PowerSeries) -> ConstantRise | None:
    """How the constant part moved over the pump's days, ``None`` where its speeds or days do not tell."""
    constant, cubic = constant_and_cubic(series.speeds, np.exp(series.logs))
    told = np.flatnonzero(np.isfinite(constant))
    if told.size < LEAST_DAYS:
        return None
    days, constant, cubic = series.days[told], constant[told], cubic[told]
    before, after = float(np.median(constant[:EARLY_DAYS])), float(np.median(constant[-LATE_DAYS:]))
    rise = after - before
    if rise < SURE * scatter_of(constant):
        return None
    lowest_w = float(np.exp(np.median(series.logs[0][np.isfinite(series.logs[0])][:EARLY_DAYS])))
    cubic_before, cubic_after = float(np.median(cubic[:EARLY_DAYS])), float(np.median(cubic[-LATE_DAYS:]))
    return ConstantRise(
        rise,
        max(before, LEAST_CONSTANT_SHARE * lowest_w),
        cubic_after / cubic_before - 1,
        (cubic_after - cubic_before) * float(series.speeds[0] / 1000) ** 3,
        came_slowly(days, constant, before, after),
    )


def came_slowly(days: np.ndarray, watts: np.ndarray, before: float, after: float) -> bool:
    """Whether a rise from ``before`` to ``after`` [W] took days, by the running middle of three.

    Args:
        days: shape (n,), whole days, rising.
        watts: shape (n,).
    """
    reached = (watts - before) / (after - before)
    beside = np.stack([np.append(reached[:1], reached[:-1]), reached, np.append(reached[1:], reached[-1:])])
    middle = np.median(beside, axis=0)
    high = int(np.argmax(middle >= HIGH_SHARE))
    low = np.flatnonzero(middle[:high] <= LOW_SHARE)
    begun = int(low[-1]) if low.size else 0
    return bool(days[high] - days[begun] >= SLOW_DAYS and high - begun - 1 >= LEAST_BETWEEN)


def scatter_of(watts: np.ndarray) -> float:
    """Standard deviation of one day's constant part [W]."""
    middle = float(np.median(np.abs(watts)))
    return scatter(watts / middle) * middle if middle > 0 else 0.0


def one_speed_rise(series: PowerSeries) -> ConstantRise | None:
    """Rise of all power of a pump whose speeds do not lie apart, as if it were constant; ``None`` where none or they do."""
    if series.speeds[-1] >= LEAST_SPEED_RATIO * series.speeds[0]:
        return None
    watts = np.exp(series.logs[0])
    kept = np.flatnonzero(np.isfinite(watts))
    if kept.size < LEAST_DAYS:
        return None
    days, watts = series.days[kept], watts[kept]
    before, after = float(np.median(watts[:EARLY_DAYS])), float(np.median(watts[-LATE_DAYS:]))
    if after - before < SURE * scatter_of(watts):
        return None
    return ConstantRise(after - before, before, 0.0, 0.0, came_slowly(days, watts, before, after))


def watts_added(db: Database, values: Mapping[str, float]) -> pl.DataFrame:
    """D7: constant watts added, slowly."""
    judged = db.table("judged_day").filter("in_week")["day_local"]
    first = min(judged.to_list())
    week_min = dict(
        db.table("freed_level")
        .filter(pl.col("day_local") >= first)
        .group_by("pump_id")
        .agg(pl.col("run_min").sum())
        .iter_rows()
    )
    rows = []
    for series in power_series(db):
        if series.days[-1] < first.toordinal():
            continue
        rise, needs = constant_rise(series), None
        single = one_speed_rise(series) if rise is None else None
        if single is not None:
            rise = single
            least_w = values["least_share"] * LEAST_CONSTANT_SHARE * single.from_w
            if not series.seasonal or not single.slowly or single.rise_w < max(values["least_w"], least_w):
                continue
            if single.rise_w < values["freest_share"] * single.from_w:
                needs = (
                    f"power at a second held speed far from {series.speeds[0]:.0f} rpm: power rose by "
                    f"{single.rise_w:.0f} W there, and one speed cannot say whether bearings bind or the water's way is "
                    "freer"
                )
        elif rise is not None:
            if rise.rise_w < values["least_w"] or rise.rise_w < values["least_share"] * rise.from_w:
                continue
            if abs(rise.cubic_share) > values["steady_share"] and abs(rise.cubic_w) > CUBIC_PART * rise.rise_w:
                continue
            if not rise.slowly:
                needs = (
                    f"whether another device was put on the pump's meter: {rise.rise_w:.0f} W were added at all speeds "
                    "alike, and not slowly"
                )
        else:
            continue
        rows.append(
            {
                "site_id": series.site_id,
                "component": series.pump_id,
                "verdict": "cannot tell" if needs else "found",
                "needs": needs,
                "first_day": date.fromordinal(int(series.days[0])),
                "last_day": date.fromordinal(int(series.days[-1])),
                "days": series.days.size,
                "measured": rise.rise_w,
                "threshold": values["least_w"],
                "unit": "W",
                "extra": _told(rise, single is not None),
                "benefit_kwh_week": None if needs else rise.rise_w * week_min.get(series.pump_id, 0.0) / 60000,
            }
        )
    return pl.DataFrame(rows, schema=EVIDENCE.schema)


def _told(rise: ConstantRise, single: bool) -> str:
    if single:
        return f"All of its power was {rise.from_w:.0f} W: more was added than a freer way for the water could."
    return f"It was {rise.from_w:.0f} W."
