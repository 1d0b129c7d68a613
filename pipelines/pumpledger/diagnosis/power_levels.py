"""Power at held speeds over the past weeks, freed of season: what slow and sudden changes of a pump are read from.

Belongs here: the table ``freed_level``, one pump's series of it, and the plain robust statistics. What a change means
stands in `power_shift.py` and `constant_watts.py`; filter loading since the last cleaning in `accounting/loading.py`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

import numpy as np
import polars as pl

from pumpledger.accounting.loading import LoadingParameters
from pumpledger.accounting.season import term_of_rows
from pumpledger.engine.database import Database

LASTING_SHARE, NEWEST_DAYS = 0.6, 7
"""A speed counts for a pump's series if it was held on so many of the pump's newest days, and of the days on which it held
any of these: a speed that comes and goes with the plan would move the series by itself."""
SAME_SHARE, SIDE_DAYS, LEAST_SIDE_DAYS = 0.03, 3, 3
"""A repair after which power at the same speed is the same left the pump as it was: less than this is what season and chance
do in a few days, and a new pump hardly draws to a thirtieth what the old one did. The middle of so many days on either
side; fewer cannot tell."""


@dataclass(frozen=True, slots=True)
class PowerSeries:
    """One pump's days since it was last put in or repaired.

    ``days`` (n,) ordinals of local days, rising; ``speeds`` (s,) [rev/min], rising; ``logs`` (s, n) logarithm of power
    freed of season, NaN where a speed was not held; ``since`` (n,) ordinal of the last cleaning on record before each
    day, 0 none; ``seasonal`` whether the fleet's common term was taken out.
    """

    site_id: str
    pump_id: str
    days: np.ndarray
    speeds: np.ndarray
    logs: np.ndarray
    since: np.ndarray
    seasonal: bool

    @property
    def index(self) -> np.ndarray:
        """Shape (n,): power of each day as a share of the pump's middle day, mean over its speeds."""
        away = self.logs - np.nanmedian(self.logs, axis=1, keepdims=True)
        seen = np.isfinite(away)
        return np.exp(np.where(seen, away, 0).sum(axis=0) / seen.sum(axis=0))


def find_renewals(db: Database) -> None:
    """Make ``renewed_pump``: the day from which each pump's power may be compared.

    Inputs: past_level, pump, visit, judged_day.
    """
    parameters = {"same_share": SAME_SHARE, "side_days": SIDE_DAYS, "least_days": LEAST_SIDE_DAYS}
    db.build("renewed_pump", "diagnosis/renewed_pump", parameters)


def freed_levels(db: Database) -> pl.DataFrame:
    """Rows of ``sql/diagnosis/freed_row.sql`` with ``freed``, logarithm of power less the fleet's common term, and
    ``seasonal``, whether it is freed.

    A pump keeps either the days on which the term is known, or, where these are too few, all its days as they are: the
    two must not stand in one series.

    Inputs: past_level, pump, visit, judged_day, renewed_pump.
    """
    rows = db.query("diagnosis/freed_row").with_columns(log=pl.col("power_w").log())
    if rows.is_empty():
        return rows.with_columns(freed=pl.col("log"), seasonal=pl.lit(False))
    term = term_of_rows(rows, ["pump_id", "since_day", "speed_rpm"], LoadingParameters().least_pumps)
    known = rows.with_columns(term=term).with_columns(known=pl.col("term").is_not_nan())
    return (
        known.with_columns(seasonal=pl.col("known").mean().over("pump_id") >= LASTING_SHARE)
        .filter(pl.col("known") | ~pl.col("seasonal"))
        .with_columns(freed=pl.when("seasonal").then(pl.col("log") - pl.col("term")).otherwise("log"))
        .drop("term", "known")
    )


def power_series(db: Database) -> Iterator[PowerSeries]:
    """The pumps of ``freed_level``, in order, each with the speeds that last."""
    rows = db.table("freed_level")
    lasting = (
        rows.with_columns(newest=pl.col("day").rank("dense", descending=True).over("pump_id") <= NEWEST_DAYS)
        .with_columns(of_newest=pl.col("day").filter("newest").n_unique().over("pump_id"))
        .filter(pl.col("newest").sum().over("pump_id", "speed_rpm") >= LASTING_SHARE * pl.col("of_newest"))
        .with_columns(of_pump=pl.col("day").n_unique().over("pump_id"))
        .filter(pl.len().over("pump_id", "speed_rpm") >= LASTING_SHARE * pl.col("of_pump"))
        .sort("pump_id", "day", "speed_rpm")
    )
    for part in lasting.partition_by("pump_id", maintain_order=True):
        days = part["day_local"].to_physical().to_numpy() + date(1970, 1, 1).toordinal()
        own, at = np.unique(days, return_inverse=True)
        speeds, of_speed = np.unique(part["speed_rpm"].to_numpy(), return_inverse=True)
        logs = np.full((speeds.size, own.size), np.nan)
        logs[of_speed, at] = part["freed"].to_numpy()
        since = np.zeros(own.size, int)
        cleaned = part["since_day"].to_physical().fill_null(-date(1970, 1, 1).toordinal()).to_numpy()
        since[at] = cleaned + date(1970, 1, 1).toordinal()
        site_id, pump_id = part.select("site_id", "pump_id").row(0)
        yield PowerSeries(site_id, pump_id, own, speeds, logs, since, bool(part["seasonal"][0]))


def scatter(index: np.ndarray) -> float:
    """Standard deviation of one day of a series, by the median of its steps, so that a slow change is no scatter."""
    if index.size < 4:
        return 0.02  # unknown: that of a poor meter, an assumption
    steps = np.diff(index)
    return max(1.4826 * float(np.median(np.abs(steps - np.median(steps)))) / np.sqrt(2), 0.002)


def slope(days: np.ndarray, values: np.ndarray) -> float:
    """Theil-Sen: the median of the slopes of all pairs, per day; 0 for fewer than two days.

    Args:
        days: shape (n,), rising.
        values: shape (n,).
    """
    first, second = np.triu_indices(days.size, 1)
    if first.size == 0:
        return 0.0
    return float(np.median((values[second] - values[first]) / (days[second] - days[first])))
