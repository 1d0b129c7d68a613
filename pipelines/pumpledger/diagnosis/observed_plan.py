"""The programme that a pump shows: steady or not, and the rows that would have to be keyed in to run it.

Belongs here: pure arithmetic on days of 96 quarter hours. Who asks for it, and what is done with the rows, stands in
`clock_record.py` and in `orchestration/adopting.py`.

What a controller can hold bounds what may be read off it: at most three periods a day, speeds from 600 to 3450 on the 25
rev/min grid (common practice, no source), times here on the quarter hour.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from pumpledger.profile.plan_match import QUARTER_MIN, QUARTERS, median_profile

GRID_RPM, LOWEST_RPM, HIGHEST_RPM = 25, 600, 3450
PERIODS_MOST = 3
CAP_RPM = 400.0  # as for the match: what a quarter can cost
CHANGE_RPM = 300.0  # what one more change of speed must save: less than a blended quarter costs, twice half an hour's
STANDSTILL_RPM = LOWEST_RPM / 2
NEAR_QUARTERS, CHANGE_LEAST_RPM = 4, 100.0
"""Of a change of speed that is timed: how much beside it is looked at, and how large it is at least."""

Array = npt.NDArray[np.floating]


@dataclass(frozen=True, slots=True, order=True)
class PlanRow:
    """One period: wall clock in minutes since 00:00; a stop of 1440 is midnight, one before the start runs across it."""

    start_min: int
    stop_min: int
    speed_rpm: int

    def words(self) -> str:
        """``1500 rpm from 06:00 to 08:00``."""
        return f"{self.speed_rpm} rpm from {clock(self.start_min)} to {clock(self.stop_min)}"


@dataclass(frozen=True, slots=True)
class ObservedPlan:
    """What some days of one pump show.

    ``rows`` is empty where nothing runs, or where no three periods describe it. ``residual_rpm`` is the mean mismatch of
    the median day with the rows; ``alike`` (days,) whether a day lies near the median day; ``stability`` the interdaily
    stability of those that do, 0-1.
    """

    rows: tuple[PlanRow, ...]
    residual_rpm: float
    alike: npt.NDArray[np.bool_]
    stability: float


@dataclass(frozen=True, slots=True)
class Steadiness:
    """How steady days must be to be called a programme: how many of them must be alike, their interdaily stability, and
    how near the rows must describe them [rev/min]."""

    days: float
    stability: float
    residual_rpm: float

    def fault(self, found: ObservedPlan) -> str | None:
        """Why ``found`` is no programme; ``None`` where it is one."""
        if len(found.alike) < self.days:
            return f"only {len(found.alike)} days can be used, and {self.days:g} are needed"
        if found.alike.sum() < self.days:
            said = f"only {found.alike.sum()} of the last {len(found.alike)} days that can be used ran alike"
            return f"{said}, and {self.days:g} must"
        if found.stability < self.stability:
            return f"its days are too unlike each other (stability {found.stability:.2f}, at least {self.stability:g})"
        if not found.rows:
            return f"what runs is no plan of one to {PERIODS_MOST} periods"
        if found.residual_rpm > self.residual_rpm:
            return f"no plan of {PERIODS_MOST} periods describes it: {found.residual_rpm:.0f} rpm are left in the mean"
        return None


def clock(minutes: int) -> str:
    """``06:15`` of 375; 1440 is ``24:00``."""
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


def plan_quarters(rows: Iterable[tuple[int, int, float]]) -> Array:
    """Speed of a plan in the middle of each quarter of a day of 24 h: rows of (start, stop [min], speed) -> (96,)."""
    middle = np.arange(QUARTERS) * QUARTER_MIN + QUARTER_MIN / 2
    speeds = np.zeros(QUARTERS)
    for start, stop, speed in rows:
        begin = start % 1440
        inside = (middle >= begin) & (middle < stop) if begin < stop else (middle >= begin) | (middle < stop)
        speeds[inside] = speed
    return speeds


def interdaily_stability(days: Array) -> float:
    """How much of the variance is the same each day: (days, 96) -> 0-1; 1 where the speed never changes.

    ``N sum_h (mean_h - mean)^2 / (p sum_i (x_i - mean)^2)`` over N values in p = 96 quarters; not observed is left out.
    Source: the usual definition of IS in studies of activity rhythms (van Someren).
    """
    seen = ~np.isnan(days)
    overall = days[seen].mean() if seen.any() else 0.0
    spread = ((days[seen] - overall) ** 2).sum()
    if spread <= 1e-9 * max(1.0, overall**2):
        return 1.0
    counts = seen.sum(axis=0)
    hours = np.divide(np.where(seen, days, 0.0).sum(axis=0), counts, out=np.zeros(days.shape[1]), where=counts > 0)
    among = ((hours - overall)[counts > 0] ** 2).sum()
    return float(min(seen.sum() * among / ((counts > 0).sum() * spread), 1.0))


def observed_plan(days: Array, day_rpm: float) -> ObservedPlan:
    """What the days (days, 96) [rev/min, NaN not observed] have in common; ``day_rpm`` is how far a day may lie from the
    median day in the mean to be like it."""
    median = median_profile(days[None])[0]
    seen = ~np.isnan(days)
    gaps = np.where(seen, np.abs(days - median), 0.0).sum(axis=1)
    alike = gaps <= day_rpm * seen.sum(axis=1)
    rows = fitted_rows(median)
    left = np.minimum(np.abs(median - plan_quarters((r.start_min, r.stop_min, r.speed_rpm) for r in rows)), CAP_RPM)
    residual = float(np.nanmean(left)) if seen.any() else np.inf
    return ObservedPlan(rows, residual, alike, interdaily_stability(days[alike]))


def change_scatter_min(days: Array, rows: Sequence[PlanRow]) -> float:
    """How far apart the days (days, 96) make the change of speed that they keep worst [min], as a standard deviation by the
    middle distance from the middle; 0 where ``rows`` know no change. A controller keeps all of its changes to the minute.
    """
    plan = plan_quarters((row.start_min, row.stop_min, row.speed_rpm) for row in rows)
    edges = np.flatnonzero(plan != np.roll(plan, 1))
    worst = 0.0
    for edge, before, after in zip(edges, np.roll(edges, 1), np.roll(edges, -1), strict=True):
        back, on = ((edge - before - 1) % QUARTERS + 1, (after - edge - 1) % QUARTERS + 1)
        near = np.arange(edge - min(NEAR_QUARTERS, back), edge + min(NEAR_QUARTERS, on)) % QUARTERS
        old, new = plan[edge - 1], plan[edge]
        if len(edges) == 1 or abs(new - old) < CHANGE_LEAST_RPM:
            continue
        # Minutes of the old speed; NaN unseen.
        kept = np.clip((days[:, near] - new) / (old - new), 0, 1).sum(axis=1) * QUARTER_MIN
        kept = kept[~np.isnan(kept)]
        if len(kept):
            worst = max(worst, 1.4826 * float(np.median(np.abs(kept - np.median(kept)))))
    return worst


def fitted_rows(profile: Array) -> tuple[PlanRow, ...]:
    """The rows that describe a day (96,) [rev/min] best, in the order of their starts; none where it stands all day or
    asks for more than three periods.

    The day is a ring of stretches of one speed each; a further change of speed must save more than it costs, so a
    quarter in which the speed changes, or a pump primes, is no stretch of its own.
    """
    if np.isnan(profile).all():
        return ()
    levels = _levels(profile)
    pieces = _pieces(_cheapest(profile, levels), profile)
    running = [(begin, end, speed) for begin, end, speed in pieces if speed > 0]
    if len(running) > PERIODS_MOST:
        return ()
    return tuple(sorted(_row(*piece) for piece in running))


def _row(begin: int, end: int, speed: float) -> PlanRow:
    start, stop = begin % QUARTERS * QUARTER_MIN, (end - 1) % QUARTERS * QUARTER_MIN + QUARTER_MIN
    return PlanRow(0, 1440, int(speed)) if end - begin == QUARTERS else PlanRow(start, stop, int(speed))


def _levels(profile: Array) -> Array:
    near = np.round(profile[~np.isnan(profile)] / GRID_RPM) * GRID_RPM
    return np.unique(np.where(near < STANDSTILL_RPM, 0.0, np.clip(near, LOWEST_RPM, HIGHEST_RPM)))


def _cheapest(profile: Array, levels: Array) -> Array:
    """The level of each quarter (96,), by dynamic programming; three days in a row stand for the ring."""
    gaps = np.minimum(np.abs(profile[:, None] - levels[None, :]), CAP_RPM)
    costs = np.tile(np.nan_to_num(gaps, nan=0.0), (3, 1))
    total = costs[0].copy()
    came_from = np.empty(costs.shape, dtype=np.int64)
    stay = np.arange(len(levels))
    for step, cost in enumerate(costs[1:], start=1):
        jump = int(total.argmin())
        moves = total[jump] + CHANGE_RPM < total
        came_from[step] = np.where(moves, jump, stay)
        total = np.where(moves, total[jump] + CHANGE_RPM, total) + cost
    path = np.empty(len(costs), dtype=np.int64)
    path[-1] = int(total.argmin())
    for step in range(len(costs) - 1, 0, -1):
        path[step - 1] = came_from[step, path[step]]
    return levels[path[QUARTERS : 2 * QUARTERS]]


def _pieces(speeds: Array, profile: Array) -> list[tuple[int, int, float]]:
    """Stretches (first quarter, end, speed) round the clock, none shorter than half an hour."""
    speeds = speeds.copy()
    for quarter in range(QUARTERS):
        before, after = speeds[quarter - 1], speeds[(quarter + 1) % QUARTERS]
        if speeds[quarter] not in (before, after):
            nearer = abs(profile[quarter] - before) <= abs(profile[quarter] - after)
            speeds[quarter] = before if nearer else after
    begins = np.flatnonzero(speeds != np.roll(speeds, 1)).tolist()
    if not begins:
        return [(0, QUARTERS, float(speeds[0]))]
    return [(begin, end, float(speeds[begin])) for begin, end in pairwise([*begins, begins[0] + QUARTERS])]


def words(rows: Sequence[PlanRow]) -> str:
    """The rows in one line."""
    return "; ".join(row.words() for row in rows)
