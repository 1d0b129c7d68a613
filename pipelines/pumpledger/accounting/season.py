"""What all pumps of the fleet did in common from day to day: water temperature, voltage, season.

Belongs here: the common term of many series with different levels. Which series go in is said in `loading.py`.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import polars as pl

ROUNDS = 12  # of sweeping; a fixed number, so that the same series give the same bytes


def common_term(logs: np.ndarray, pumps: np.ndarray, least_pumps: int) -> np.ndarray:
    """The common term of each day, NaN on days with fewer than ``least_pumps`` pumps.

    Median polish (Tukey 1977): levels of series and terms of days are swept out by turns as medians, so that a few
    series that fall by themselves do not move it. What most series do alike is taken for season: a loading that all
    filters of a fleet had at once could not be told from it.

    Args:
        logs: shape (series, days), logarithm of power; NaN where there is none.
        pumps: shape (series,), number of the pump that each belongs to.
        least_pumps: fewest pumps on a day.

    Returns:
        Shape (days,): logarithm, its median over the days 0.
    """
    seen = np.isfinite(logs)
    enough = np.array([np.unique(pumps[seen[:, day]]).size >= least_pumps for day in range(logs.shape[1])], bool)
    term = np.full(logs.shape[1], np.nan)
    kept = seen[:, enough].any(axis=1)
    if not enough.any():
        return term
    rest = logs[np.ix_(kept, enough)]
    swept = np.zeros(rest.shape[1])
    for _ in range(ROUNDS):
        rest = rest - np.nanmedian(rest, axis=1, keepdims=True)
        of_day = np.nanmedian(rest, axis=0)
        rest, swept = rest - of_day, swept + of_day
    term[enough] = swept - np.median(swept)
    return term


def term_of_rows(rows: pl.DataFrame, keys: Sequence[str], least_pumps: int) -> pl.Series:
    """The common term of each row's day, NaN on days with fewer than ``least_pumps`` pumps.

    Args:
        rows: at least one, with pump_id, day (a whole number from 0), log (logarithm of power) and ``keys``.
        keys: columns that name a series: one pump at one speed, between two cleanings where these are known.
    """
    series = rows.select(pl.struct(keys).rank("dense").cast(pl.Int64) - 1).to_series().to_numpy()
    days = rows["day"].to_numpy()
    logs = np.full((int(series.max()) + 1, int(days.max()) + 1), np.nan)
    logs[series, days] = rows["log"].to_numpy()
    owners = np.zeros(logs.shape[0], int)
    owners[series] = rows["pump_id"].rank("dense").to_numpy()
    return pl.Series("term", common_term(logs, owners, least_pumps)[days])
