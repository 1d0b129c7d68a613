"""Filter loading between visits: power that falls at the same speed, freed of season, and what flow is left.

Belongs here: `build_loading` and its assumptions. The common term stands in `season.py`, the physics in
`hydraulics/throttled.py`, step or ramp in `loading_shape.py`.

A centrifugal pump draws less when its filter loads and the flow falls. Power is compared at each held speed with the
first days after the last cleaning or backwash, or with the first days that are read: then only what was added since is
seen. A visit puts the factor back to 1.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, timedelta

import numpy as np
import polars as pl

from pumpledger.accounting.loading_shape import fall_shape
from pumpledger.accounting.season import term_of_rows
from pumpledger.engine.account_tables import LOADING
from pumpledger.engine.database import Database
from pumpledger.hydraulics.curve_table import pump_curves
from pumpledger.hydraulics.pump import PumpCurve
from pumpledger.hydraulics.throttled import LEAST_FALL, MIDDLE, MOST_FALL, flow_factor

CLEANING = ("cleaning", "backwash")
WEEKS_BACK = 12


@dataclass(frozen=True, slots=True)
class LoadingParameters:
    """What is called loading. Starting values of this project; none has a source.

    Args:
        least_level_min: least time at a speed on a day [min].
        start_min: air that priming left behind is out by then; running that is over so soon after a standstill is not
            read [min].
        reference_days, reference_least: first days after a cleaning that make the reference, and the fewest that do.
        smooth_days: days of the running median.
        least_pumps: pumps on a day for a common term.
        least_fall: smallest fall of power that is called loading, share: what voltage and air move it by from day to
            day.
        sigmas: and so many times the scatter of the pump's own days.
        season_unknown: further fall that is needed, and further half-width, where there is no common term, share.
    """

    least_level_min: float = 30.0
    start_min: float = 45.0
    reference_days: int = 5
    reference_least: int = 3
    smooth_days: int = 5
    least_pumps: int = 8
    least_fall: float = 0.04
    sigmas: float = 3.0
    season_unknown: float = 0.08


@dataclass(slots=True)
class _Filter:
    """What one pump's log says of its filter on one day."""

    days: int = 0
    speed_rpm: int | None = None
    index: tuple[float, float, float] | None = None
    season_share: float | None = None
    factor: tuple[float, float, float] | None = None
    shape: str = ""
    state: str = "cannot tell"
    basis: str = "no logged power at a held speed"


@dataclass(frozen=True, slots=True)
class _Series:
    """One pump since its last cleaning, day by day: arrays of shape (n,) over its days with power at a held speed.

    The index is NaN on a day whose speeds were not held often enough for a reference.
    """

    day: np.ndarray = field(default_factory=lambda: np.empty(0, int))
    index: np.ndarray = field(default_factory=lambda: np.empty(0))
    season: np.ndarray = field(default_factory=lambda: np.empty(0))
    speed_rpm: np.ndarray = field(default_factory=lambda: np.empty(0, int))


def held_levels(db: Database) -> pl.DataFrame:
    """``account_tables.LEVELS`` of the days of ``span``."""
    chosen = LoadingParameters()
    return db.query(
        "accounting/loading_level", {"least_level_min": chosen.least_level_min, "start_min": chosen.start_min}
    )


def build_loading(
    levels: pl.DataFrame,
    visits: pl.DataFrame,
    pumps: pl.DataFrame,
    curves: pl.DataFrame,
    speed_grid: pl.DataFrame,
    days: Iterable[date],
    parameters: LoadingParameters | None = None,
) -> pl.DataFrame:
    """Rows of ``account_tables.LOADING``: every pump and each of ``days``, by the pump's own days up to that day.

    Args:
        levels: ``account_tables.LEVELS`` of the days and the weeks before; no day after the last of ``days`` is used.
        visits: site_id, pump_id (null: every pump of the site), day_local, work.
        pumps: pump_id, site_id, curve.
        curves: curve, speed_rpm, flow_m3h, head_m.
        speed_grid: ``tables.SPEED_GRID``: the flow of a clean filter.
        days: local days asked for.
    """
    chosen, wanted = parameters or LoadingParameters(), sorted(days)
    cleaned = _cleaned(visits, pumps)
    series = _series(levels.filter(pl.col("day_local") <= wanted[-1]), cleaned, chosen) if wanted else {}
    known_curves, flows = pump_curves(curves)[0], _flows(speed_grid, series)
    rows = []
    for pump in pumps.sort("pump_id").iter_rows(named=True):
        pump_id = pump["pump_id"]
        for day in wanted:
            since = max((visit for visit in cleaned.get(pump_id, ()) if visit <= day), default=None)
            seen = series.get((pump_id, since), _Series())
            told = _judge(seen, day, since, chosen)
            if told.state == "loading":
                _solve(told, known_curves.get(pump["curve"] or ""), flows.get((pump_id, told.speed_rpm)))
            rows.append(_row(pump, day, since, told))
    return LOADING.conform(pl.DataFrame(rows, schema=LOADING.schema, orient="row"))


def _row(pump: dict[str, object], day: date, since: date | None, told: _Filter) -> tuple[object, ...]:
    nothing = (None, None, None)
    return (
        pump["site_id"],
        pump["pump_id"],
        day,
        told.state,
        since,
        told.days,
        told.speed_rpm,
        *(told.index or nothing),
        told.season_share,
        *(told.factor or nothing),
        told.shape,
        told.basis,
    )


def _cleaned(visits: pl.DataFrame, pumps: pl.DataFrame) -> dict[str, list[date]]:
    """Days of cleaning and backwash by pump. A visit that names no pump is to all of the site."""
    found: dict[str, set[date]] = {}
    of_site: dict[str, list[str]] = {}
    for pump_id, site_id in pumps.select("pump_id", "site_id").iter_rows():
        of_site.setdefault(site_id, []).append(pump_id)
    work = visits.filter(pl.col("work").is_in(CLEANING)).select("site_id", "pump_id", "day_local")
    for site_id, pump_id, day in work.iter_rows():
        for name in [pump_id] if pump_id else of_site.get(site_id, []):
            found.setdefault(name, set()).add(day)
    return {name: sorted(days) for name, days in found.items()}


def _series(
    levels: pl.DataFrame, cleaned: dict[str, list[date]], chosen: LoadingParameters
) -> dict[tuple[str, date | None], _Series]:
    """Power of each pump since each cleaning as a share of its reference, the common term taken out."""
    visited = pl.DataFrame(
        [(pump_id, day) for pump_id, days in sorted(cleaned.items()) for day in days],
        schema={"pump_id": pl.String, "since_day": pl.Date},
        orient="row",
    ).sort("since_day", "pump_id")
    rows = (
        levels.filter(pl.col("power_w") > 0)
        .sort("day_local", "pump_id", "speed_rpm")
        .join_asof(visited, left_on="day_local", right_on="since_day", by="pump_id", check_sortedness=False)
        .filter(pl.col("since_day").is_null() | (pl.col("since_day") != pl.col("day_local")))  # half of it was before
    )
    if rows.is_empty():
        return {}
    keys = ["pump_id", "since_day", "speed_rpm"]
    first = rows["day_local"].min()
    rows = rows.with_columns(
        log=pl.col("power_w").log(),
        day=(pl.col("day_local") - pl.lit(first)).dt.total_days().cast(pl.Int64),
    )
    freed = (
        rows.with_columns(term=term_of_rows(rows, keys, chosen.least_pumps))
        .with_columns(freed=pl.col("log") - pl.col("term").fill_nan(0))
        .sort(*keys, "day")
        .with_columns(
            reference=pl.col("freed").head(chosen.reference_days).median().over(keys),
            term_then=pl.col("term").head(chosen.reference_days).median().over(keys),
            count=pl.len().over(keys),
        )
        .with_columns(compared_min=pl.when(pl.col("count") >= chosen.reference_least).then("run_min"))
        .with_columns(share=(pl.col("freed") - pl.col("reference")).exp(), season=pl.col("term") - pl.col("term_then"))
    )
    by_day = (
        freed.sort("compared_min", "speed_rpm", descending=[True, False], nulls_last=True)
        .group_by("pump_id", "since_day", "day", maintain_order=True)
        .agg(
            ((pl.col("share") * pl.col("compared_min")).sum() / pl.col("compared_min").sum()).alias("index"),
            ((pl.col("season") * pl.col("compared_min")).sum() / pl.col("compared_min").sum()).alias("season"),
            pl.col("speed_rpm").first(),
        )
        .sort("pump_id", "since_day", "day")
    )
    origin = first.toordinal()  # type: ignore[union-attr]
    return {
        (key[0], key[1]): _Series(
            part["day"].to_numpy() + origin,
            part["index"].to_numpy(),
            part["season"].to_numpy(),
            part["speed_rpm"].to_numpy(),
        )
        for key, part in by_day.partition_by("pump_id", "since_day", as_dict=True, maintain_order=True).items()
    }


def _judge(seen: _Series, day: date, since: date | None, chosen: LoadingParameters) -> _Filter:
    """State of the filter on ``day`` by the days up to it."""
    until = int(np.searchsorted(seen.day, day.toordinal(), side="right"))
    kept = np.flatnonzero(np.isfinite(seen.index[:until]))
    upto = kept.size
    restored = since is not None and day - since <= timedelta(days=chosen.reference_days)
    start = f"the cleaning of {since}" if since else "the first days read (how loaded it was then is not known)"
    if upto < chosen.reference_least:
        if restored:
            return _Filter(until, factor=(1.0, 1.0, 1.0), state="clean", basis=f"cleaned on {since}")
        if not until:
            return _Filter()
        few = f"fewer than {chosen.reference_least} days with power at one held speed since {start}"
        return _Filter(until, basis=few)
    index, season = seen.index[kept], seen.season[kept]
    sigma = _scatter(index)
    last = index[-chosen.smooth_days :]
    mid = _median(last)
    common = bool(np.isfinite(season[-last.size :]).all())
    unknown = 0.0 if common else chosen.season_unknown
    half = max(0.01, 2 * 1.25 * sigma / np.sqrt(last.size)) + unknown
    told = _Filter(
        days=upto,
        speed_rpm=int(seen.speed_rpm[kept[-1]]),
        index=(mid - half, mid, mid + half),
        season_share=float(np.exp(_median(season[-last.size :])) - 1) if common else None,
    )
    freed = "freed of what the fleet did in common" if common else "not freed of season: too few pumps in the fleet"
    against = (
        f"power at the same speed is {mid:.1%} of that of {'' if not since else 'the days after '}{start}, {freed}"
    )
    if mid >= 1 - max(chosen.least_fall, chosen.sigmas * sigma) - unknown:
        told.state, told.factor = "clean", (1.0, 1.0, 1.0)
        told.basis = f"no loading seen: {against}"
        return told
    told.state, told.basis = "loading", against
    told.shape = fall_shape(seen.day[kept], index)
    return told


def _median(values: np.ndarray) -> float:
    """Median of a short series; `numpy.median` takes ten times as long for it."""
    ranked, half = np.sort(values), values.size // 2
    return float(ranked[half] if values.size % 2 else (ranked[half - 1] + ranked[half]) / 2)


def _scatter(index: np.ndarray) -> float:
    """Standard deviation of one day, by the first differences, so that a slow fall is no scatter."""
    if index.size < 4:
        return 0.02
    steps = np.diff(index)
    return max(1.4826 * _median(np.abs(steps - _median(steps))) / np.sqrt(2), 0.002)


def _solve(told: _Filter, curve: PumpCurve | None, flow_m3h: float | None) -> None:
    """Give the flow factor of a fallen power where the pump's curve and flow are known, else say what is missing."""
    words = {
        "step": "; it fell in a step, as when a valve is moved",
        "ramp": "; it fell slowly, as a filter loads",
        "cannot tell": "; whether slowly or in a step, the days cannot tell",
    }
    told.basis += words[told.shape]
    if curve is None or flow_m3h is None or not flow_m3h > 0:
        missing = "no pump curve" if curve is None else "no flow of the clean filter at that speed"
        told.state = "cannot tell"
        told.basis += f"; {missing}, so how far the flow fell is unknown and the flow may be less than shown"
        return
    low, mid, high = told.index  # type: ignore[misc]
    speed = float(told.speed_rpm)  # type: ignore[arg-type]
    middle = flow_factor(curve, speed, flow_m3h, mid, MIDDLE)
    best = flow_factor(curve, speed, flow_m3h, min(high, 1.0), LEAST_FALL)
    worst = flow_factor(curve, speed, flow_m3h, low, MOST_FALL)
    if middle is None or best is None:
        told.state = "cannot tell"
        told.basis += (
            "; more than a blocked filter explains: check strainer, air and motor; the flow may be less than shown"
        )
        return
    told.factor = (min(worst or 0.0, middle), middle, max(best, middle))
    told.basis += (
        f"; along the pump curve that leaves {middle:.0%} of the clean flow, {told.factor[0]:.0%} to "
        f"{told.factor[2]:.0%} as the share of power that follows flow is assumed"
    )


def _flows(
    speed_grid: pl.DataFrame, series: dict[tuple[str, date | None], _Series]
) -> dict[tuple[str, int | None], float]:
    """Clean flow of each pump at the speeds it held [m3/h]."""
    speeds = {(pump_id, int(speed)) for (pump_id, _), seen in series.items() for speed in np.unique(seen.speed_rpm)}
    held = pl.DataFrame(sorted(speeds), schema={"pump_id": pl.String, "speed_rpm": pl.Int64}, orient="row")
    found = speed_grid.join(held, on=["pump_id", "speed_rpm"], how="semi").select(
        "pump_id", "speed_rpm", "flow_m3h_mid"
    )
    return {(pump_id, speed): flow for pump_id, speed, flow in found.iter_rows() if flow is not None}
