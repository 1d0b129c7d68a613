"""Power that changed at all speeds at one instant, or that a cleaning did not bring back: D4, D5, D6.

Belongs here: how a change is told from loading, season and chance. Words and thresholds stand in `rules/hydraulic.py`;
loading that a cleaning cures is D3, from `accounting/loading.py`.

A step is two levels with a flat stretch on either side: a loading filter falls before it is cleaned, and what a season
does is slow. A level is a median of five days, so that one odd day makes none. Where weeks of days stand before it, a
smaller step is told from their scatter and drift (`small_steps.py`).

What changes in the water's way goes with the cube of speed, as all its power does (the affinity laws of a centrifugal
pump). Watts that come or go at every speed alike are friction of bearings, another device or the meter's zero.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Literal

import numpy as np
import polars as pl

from pumpledger.accounting.loading_shape import LEAST_SIDE_DAYS, fall_shape, two_levels
from pumpledger.diagnosis.constant_watts import LEAST_SPEED_RATIO
from pumpledger.diagnosis.evidence import EVIDENCE
from pumpledger.diagnosis.power_levels import PowerSeries, power_series, scatter, slope
from pumpledger.diagnosis.small_steps import came_slowly, small_step
from pumpledger.engine.database import Database

LEVEL_DAYS = 5  # days of a level's median, as those that make the reference of `accounting/loading.py`
LAST_DAYS = 3  # that say whether the change still stands
STANDS_SHARE = 0.7  # of the change; below it the pump is on its way back
MENDED_DAYS = 2  # after a cleaning, which shows at once: two days agree
FLAT_SHARE = 0.5  # of the change: a side that drifts by more is no level
AGREE_SHARE = 0.4  # of the change that each speed must show: watts that one speed alone shows are not the water's
CLEAN_DAYS, LOADS_IN_DAYS = 14, 56
"""A cleaning that nobody wrote down gives back what was lost before: where so many days fell so slowly, if at all, that the
rise is more than they would have lost in eight weeks, it is none. A filter loads ever faster and is cleaned more often."""

Verdict = Literal["found", "cannot tell"]


@dataclass(frozen=True, slots=True)
class Change:
    """A change of one pump's power that still stands on its last day.

    ``share`` new over old level less 1; ``first_day`` first full day on the new level; ``days`` on it; ``speeds`` how
    many show it; ``at_cleaning`` whether a cleaning parts the levels; ``clean`` whether the old level is a clean filter's
    as far as the log shows.
    """

    share: float
    first_day: date
    last_day: date
    days: int
    speeds: int
    at_cleaning: bool
    clean: bool


def _level(values: np.ndarray, first: bool = True) -> float:
    """Median of the first, or last, days of a stretch."""
    return float(np.median(values[:LEVEL_DAYS] if first else values[-LEVEL_DAYS:]))


def _highest(values: np.ndarray) -> float:
    """The highest level that five days in a row had."""
    if values.size <= LEVEL_DAYS:
        return float(np.median(values))
    return float(np.median(np.lib.stride_tricks.sliding_window_view(values, LEVEL_DAYS), axis=1).max())


def _speeds_agree(logs: np.ndarray, at: int, share: float) -> int:
    """How many speeds show the change, 0 where one that could does not.

    Args:
        logs: shape (s, n).
        at: days before the change.
        share: the change.
    """
    count = 0
    for speed in logs:
        before, after = speed[:at][np.isfinite(speed[:at])], speed[at:][np.isfinite(speed[at:])]
        if min(before.size, after.size) < LAST_DAYS:
            continue
        own = float(np.exp(_level(after) - _level(before, first=False)) - 1)
        if own * share <= 0 or abs(own) < AGREE_SHARE * abs(share):
            return 0
        count += 1
    return count


def alike_in_watts(speeds_rpm: np.ndarray, before_w: np.ndarray, after_w: np.ndarray) -> bool:
    """Whether the watts that came or went fit one number for all speeds better than the cube of speed, or one share of
    the power. Speeds that do not lie apart cannot say so.

    Args:
        speeds_rpm: shape (s,), rising.
        before_w: shape (s,), NaN where a speed was not held.
        after_w: the same.
    """
    seen = np.isfinite(before_w) & np.isfinite(after_w)
    speeds, old, change = speeds_rpm[seen], before_w[seen], (after_w - before_w)[seen]
    if speeds.size < 2 or speeds[-1] < LEAST_SPEED_RATIO * speeds[0]:
        return False

    def left(shape: np.ndarray) -> float:
        """Sum of squares that the best multiple of ``shape`` leaves, of changes relative to the power."""
        part, share = shape / old, change / old
        return float(np.sum(np.square(share - part * (part @ share) / (part @ part))))

    return left(np.ones(old.size)) < min(left(speeds**3), left(old))


def _constant(series: PowerSeries, at: int, of: slice) -> bool:
    """`alike_in_watts` of the days ``of`` a series, parted after ``at`` of them."""
    before, after = np.full(series.speeds.size, np.nan), np.full(series.speeds.size, np.nan)
    for place, logs in enumerate(series.logs[:, of]):
        old, new = logs[:at][np.isfinite(logs[:at])], logs[at:][np.isfinite(logs[at:])]
        if min(old.size, new.size) >= LAST_DAYS:
            before[place], after[place] = np.exp(_level(old, first=False)), np.exp(_level(new))
    return alike_in_watts(series.speeds, before, after)


def _stretches(series: PowerSeries) -> list[slice]:
    """Days from one cleaning on record to the next."""
    cuts = np.flatnonzero(np.diff(series.since)) + 1
    edges = [0, *cuts.tolist(), series.days.size]
    return [slice(a, b) for a, b in zip(edges[:-1], edges[1:], strict=True)]


def step_since_cleaning(series: PowerSeries, least_share: float, sigmas: float, sure_share: float) -> Change | None:
    """The step among the days since the last cleaning on record, or ``None``.

    One of ``least_share`` shows by its two levels; one of ``sure_share`` wants the days before that `small_steps` asks for.
    """
    last = _stretches(series)[-1]
    days, index = series.days[last], series.index[last]
    if days.size < 2 * LEAST_SIDE_DAYS:
        return None
    at = _plain_step(days, index, least_share, sigmas)
    least = least_share
    if at is None and series.seasonal:
        small = small_step(days, np.log(index))
        at, least = (small.at, sure_share) if small is not None else (None, sure_share)
    if at is None:
        return None
    old, new = float(np.median(index[:at])), float(np.median(index[at:]))
    share = new / old - 1
    if abs(share) < least or (np.median(index[-LAST_DAYS:]) / old - 1) / share < STANDS_SHARE:
        return None
    if share > 0 and new / _highest(series.index[: last.start + at]) - 1 < least:
        return None  # back on a level that it had before
    if share < 0 and 1 / _highest(1 / index[:at]) < old * (1 + FLAT_SHARE * share):
        return None  # it had been half way down before: what ended is a rise
    speeds = 0 if _constant(series, at, last) else _speeds_agree(series.logs[:, last], at, share)
    lost = -slope(days[:at], index[:at]) / old * LOADS_IN_DAYS
    clean = bool(series.since[last.start]) or (days[at] - days[0] >= CLEAN_DAYS and lost < share)
    return Change(share, _day(days[at]), _day(days[-1]), days.size - at, speeds, False, clean) if speeds else None


def _plain_step(days: np.ndarray, index: np.ndarray, least_share: float, sigmas: float) -> int | None:
    """How many days lie before a step between two flat levels, ``None`` where there is none."""
    at, _ = two_levels(index)
    if min(at, days.size - at) < LEAST_SIDE_DAYS:
        return None
    old, new = float(np.median(index[:at])), float(np.median(index[at:]))
    share = new / old - 1
    if abs(share) < max(least_share, sigmas * scatter(index)):
        return None
    if fall_shape(days, index if share < 0 else -index) != "step" or came_slowly(days, np.log(index), at):
        return None
    drifts = [abs(slope(days[side], index[side])) * np.ptp(days[side]) for side in (slice(0, at), slice(at, None))]
    return at if max(drifts) <= FLAT_SHARE * abs(share) * old else None


def change_over_cleanings(
    series: PowerSeries, least_share: float, sigmas: float, ways: Literal["step", "rise", "unmended"]
) -> Change | None:
    """What the last cleaning on record left behind, against what stood before it.

    ``step``: it fell at the cleaning, which can only raise it. ``rise``: it stands above what an earlier cleaning gave.
    ``unmended``: it had fallen before, and the cleaning did not bring it back to the highest level of before.
    """
    stretches = _stretches(series)
    if len(stretches) < 2:
        return None
    index, last = series.index, stretches[-1]
    after, before = index[last], index[: last.start]
    prior = index[stretches[-2]]
    if after.size < (MENDED_DAYS if ways == "unmended" else LEAST_SIDE_DAYS) or prior.size < LEAST_SIDE_DAYS:
        return None
    new, just_before = _level(after), _level(prior, first=False)
    cleaned = [index[part] for part in stretches[:-1] if series.since[part.start] and index[part].size >= LAST_DAYS]
    if ways == "step":
        old = just_before
    elif ways == "rise":
        if not cleaned:
            return None
        old = max(*(_level(part) for part in cleaned), _highest(before))
    else:
        old = _highest(before)
        if just_before / old - 1 > -STANDS_SHARE * least_share or new / just_before - 1 <= -least_share:
            return None
    share = new / old - 1
    wanted = 1 if ways == "rise" else -1
    if share * wanted < max(least_share, sigmas * scatter(index)):
        return None
    if (np.median(after[-LAST_DAYS:]) / old - 1) / share < STANDS_SHARE:
        return None
    if ways == "unmended":
        speeds = _unmended_speeds(series, last.start, share)
    elif _constant(series, last.start, slice(None)):
        return None
    else:
        speeds = _speeds_agree(series.logs, last.start, share)
    if not speeds:
        return None
    return Change(share, _day(series.days[last.start]), _day(series.days[-1]), after.size, speeds, True, bool(cleaned))


def _unmended_speeds(series: PowerSeries, at: int, share: float) -> int:
    """How many speeds stand below their own highest level after the cleaning, 0 where one that could does not."""
    count = 0
    for speed in series.logs:
        before, after = speed[:at][np.isfinite(speed[:at])], speed[at:][np.isfinite(speed[at:])]
        if before.size < LEVEL_DAYS or after.size < MENDED_DAYS:
            continue
        if np.exp(_level(after) - _highest(before)) - 1 > AGREE_SHARE * share:
            return 0
        count += 1
    return count


def _day(ordinal: int) -> date:
    return date.fromordinal(int(ordinal))


def _judged(db: Database) -> Iterator[PowerSeries]:
    """Pumps with power at a held speed in the week itself."""
    first = min(db.table("judged_day").filter("in_week")["day_local"].to_list())
    return (series for series in power_series(db) if series.days[-1] >= first.toordinal())


def _row(
    series: PowerSeries, change: Change, limit: float, extra: str, verdict: Verdict = "found", **more: object
) -> dict[str, object]:
    return {
        "site_id": series.site_id,
        "component": series.pump_id,
        "verdict": verdict,
        "needs": more.get("needs"),
        "severity": more.get("severity"),
        # One speed cannot tell water from a meter's zero: what rest shows too much goes first.
        "explained_by": "B14" if change.speeds == 1 and change.share > 0 else None,
        "first_day": change.first_day,
        "last_day": change.last_day,
        "days": change.days,
        "measured": abs(change.share),
        "threshold": limit,
        "unit": "share of power at the same speed",
        "extra": extra,
    }


def _seen_at(change: Change) -> str:
    speeds = "at the one speed that it holds" if change.speeds == 1 else f"at all {change.speeds} speeds that it holds"
    return f"It is seen {speeds}."


def resistance_fell(db: Database, values: Mapping[str, float]) -> pl.DataFrame:
    """D4: power stepped up above what a clean filter gave."""
    rows, limit = [], values["rise_share"]
    for series in _judged(db):
        change = change_over_cleanings(series, limit, values["sigmas"], "rise")
        if change is not None and change.share < values["most_share"]:
            told = f"That is after the cleaning of {_day(series.since[-1])}, against earlier cleanings."
            rows.append(_row(series, change, limit, f"{told} {_seen_at(change)}"))
            continue
        change = step_since_cleaning(series, limit, values["sigmas"], values["sure_share"])
        if change is None or not 0 < change.share < values["most_share"]:
            continue
        if change.clean:
            told = "A cleaning that nobody wrote down would look much the same."
            rows.append(_row(series, change, limit, f"{told} {_seen_at(change)}"))
        else:
            needs = (
                f"the cleanings of its filter in visits.csv: power rose by {change.share:.0%} on {change.first_day}, "
                "as after a cleaning, or as when a filter breaks through or a bypass opens"
            )
            rows.append(_row(series, change, limit, "", "cannot tell", needs=needs))
    return pl.DataFrame(rows, schema=EVIDENCE.schema)


def valve_moved(db: Database, values: Mapping[str, float]) -> pl.DataFrame:
    """D5: power stepped down at all speeds at one instant."""
    rows, limit = [], values["fall_share"]
    for series in _judged(db):
        change = change_over_cleanings(series, limit, values["sigmas"], "step")
        change = change or step_since_cleaning(series, limit, values["sigmas"], values["sure_share"])
        if change is None or change.share > 0:
            continue
        told = "It came with the cleaning, which should raise it." if change.at_cleaning else ""
        blocked = 1 + change.share <= values["blocked_share"]
        if blocked:
            told = f"{told} So little is what a pump draws against a closed pipe, or with air in it.".strip()
        severity = "this week" if blocked else None
        rows.append(_row(series, change, limit, f"{told} {_seen_at(change)}".strip(), severity=severity))
    return pl.DataFrame(rows, schema=EVIDENCE.schema)


def not_restored(db: Database, values: Mapping[str, float]) -> pl.DataFrame:
    """D6: power below its first level at all speeds, and a cleaning did not bring it back."""
    rows = []
    for series in _judged(db):
        limit = values["fall_share"] + (0 if series.seasonal else values["season_unknown"])
        change = change_over_cleanings(series, limit, values["sigmas"], "unmended")
        if change is not None:
            told = f"The cleaning of {_day(series.since[-1])} did not bring it back."
            rows.append(_row(series, change, limit, f"{told} {_seen_at(change)}"))
            continue
        loose = None
        if not series.seasonal:
            loose = change_over_cleanings(series, values["fall_share"], values["sigmas"], "unmended")
        if loose is not None:
            needs = (
                "power of at least eight pumps on the same days: a cleaning left power "
                f"{-loose.share:.0%} below its highest, which the season may do as well"
            )
            rows.append(_row(series, loose, limit, "", "cannot tell", needs=needs))
    return pl.DataFrame(rows, schema=EVIDENCE.schema)
