"""Days of quarter hours as arrays: what ran, what a plan asks for, and the energy of either.

Belongs here: arithmetic that several rules share. What a difference means stands with the rule.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import polars as pl

from pumpledger.profile.plan_match import QUARTER_MIN, QUARTERS

Array = npt.NDArray[np.floating]


@dataclass(frozen=True, slots=True)
class QuarterDays:
    """One row a pump and local day of 24 h, by pump and day: ``speed_rpm`` (rows, 96), NaN where not observed."""

    pump_id: np.ndarray
    day_local: np.ndarray
    speed_rpm: Array

    def by_pump(self) -> dict[str, slice]:
        """The rows of each pump."""
        pumps, firsts, counts = np.unique(self.pump_id, return_index=True, return_counts=True)
        return {
            pump: slice(first, first + count)
            for pump, first, count in zip(pumps.tolist(), firsts.tolist(), counts.tolist(), strict=True)
        }


def quarter_days(quarters: pl.DataFrame) -> QuarterDays:
    """Rows of pump_id, day_local, quarter (0..95), speed_rpm as `QuarterDays`; a quarter without a row is NaN."""
    ordered = quarters.sort("pump_id", "day_local", "quarter")
    days = ordered.select("pump_id", "day_local").unique(maintain_order=True).with_row_index("row")
    placed = ordered.join(days, on=["pump_id", "day_local"], how="left", maintain_order="left")
    speed = np.full((days.height, QUARTERS), np.nan)
    speed[placed["row"].to_numpy(), placed["quarter"].to_numpy()] = (
        placed["speed_rpm"].cast(pl.Float64).fill_null(np.nan).to_numpy()
    )
    return QuarterDays(days["pump_id"].to_numpy(), days["day_local"].to_numpy(), speed)


def plan_quarters(speed_rpm: Array, start_min: Array, stop_min: Array) -> Array:
    """What plans ask for at the middle of each quarter of a plain day: three times (plans, periods) -> (plans, 96).

    Minutes since 00:00; a stop at or before the start runs across midnight; a period of NaN is none. 0 is off.
    """
    middle = np.arange(QUARTERS) * QUARTER_MIN + QUARTER_MIN / 2
    start, stop = start_min[..., None], stop_min[..., None]
    after, before = middle >= start, middle < stop
    inside = np.where(start < stop, after & before, after | before) & ~np.isnan(start) & ~np.isnan(stop)
    return np.where(inside, np.nan_to_num(speed_rpm)[..., None], 0.0).max(axis=-2, initial=0.0)


def period_arrays(periods: pl.DataFrame, keys: Sequence[str]) -> tuple[pl.DataFrame, Array, Array, Array]:
    """Plans as arrays: their ``keys``, one row a plan, and speed [rev/min], start and stop [min] as (plans, most periods)
    in the order of the period numbers, NaN where a plan has fewer.
    """
    ordered = periods.sort(*keys, "period")
    plans = ordered.select(keys).unique(maintain_order=True).with_row_index("row")
    placed = ordered.join(plans, on=keys, how="left", maintain_order="left").with_columns(
        place=pl.int_range(pl.len()).over(*keys)
    )
    shape = (plans.height, int(placed["place"].max() or 0) + 1 if placed.height else 0)
    where = placed["row"].to_numpy(), placed["place"].to_numpy()
    arrays = []
    for column in ("speed_rpm", "start_min", "stop_min"):
        array = np.full(shape, np.nan)
        array[where] = placed[column].cast(pl.Float64).to_numpy()
        arrays.append(array)
    speed, start, stop = arrays
    return plans.drop("row"), speed, start % 1440, stop


def day_kwh(speed_grid: pl.DataFrame, pump_ids: Sequence[str], profiles: Array) -> Array:
    """Energy of a day at the speeds of each profile (pumps, 96) -> (pumps,) [kWh], standing still counted as nothing;
    NaN where the grid has no power for a speed of the profile.
    """
    known = speed_grid.filter(pl.col("power_w_mid").is_not_null() & (pl.col("speed_rpm") > 0)).sort("speed_rpm")
    curves = {
        pump: (rows["speed_rpm"].to_numpy(), rows["power_w_mid"].to_numpy())
        for (pump,), rows in known.filter(pl.col("pump_id").is_in(list(pump_ids))).group_by("pump_id")
    }
    energy = np.full(len(profiles), np.nan)
    for row, pump in enumerate(pump_ids):
        if pump in curves:
            running = profiles[row] > 0
            watts = np.interp(profiles[row], *curves[pump], left=np.nan, right=np.nan)
            energy[row] = np.where(running, watts, 0.0).sum() * QUARTER_MIN / 60_000
    return energy
