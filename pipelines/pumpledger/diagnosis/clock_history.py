"""What eight weeks of daily offsets say of one pump's clock: since when it stands where it does, whether an outage set it
back, whether it runs away.

Belongs here: reading the series of ``clock_day`` and ``outage``. How series are cut stands in `clock_dating.py`; which
rule says what, in `clock.py`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property

import numpy as np
import polars as pl

from pumpledger.diagnosis.clock_dating import (
    DAY_MIN,
    HALF_DAY_MIN,
    SHORTEST_DAYS,
    Slope,
    apart,
    last_step,
    theil_sen,
    wrapped,
)
from pumpledger.profile.plan_match import QUARTER_MIN, MatchLimits

OUT_OF_STEP_RPM = 15.0  # a change of the mismatch that a changed programme must make to be dated


@dataclass(frozen=True)
class History:
    """One pump's days, oldest first: columns of ``clock_day`` as arrays, ``late_min`` NaN where nothing could be timed;
    ``clear`` where some shift brings the day onto its plan, so that the shift means something. ``look_min``
    is how far apart the log looks [min]; ``shift_min`` is as seen, ``late_min`` has half of that taken off."""

    day: np.ndarray
    shift_min: np.ndarray
    late_min: np.ndarray
    unshifted_rpm: np.ndarray
    clear: np.ndarray
    look_min: float = 0.0

    @cached_property
    def began(self) -> date | None:
        """First day of the present offset; ``None`` where all days seen have it."""
        days, shifts = self.day[self.clear], self.shift_min[self.clear]
        away = apart(shifts, shifts[-1]) if len(shifts) else shifts
        if not away.any():
            return None
        step = last_step(away, QUARTER_MIN)
        if step is None:
            return None
        # No stretch is shorter than three days: where fewer are seen before the step, it is dated by that too late.
        before, present = (
            shifts[-1] + np.median(wrapped(part - shifts[-1])) for part in (shifts[:step], shifts[step:])
        )
        off, off_before = apart(shifts, present), apart(shifts, before)
        while step and off[step - 1] <= QUARTER_MIN and off[step - 1] < off_before[step - 1]:
            step -= 1
        return days[step].item() if step else None

    @cached_property
    def programme_began(self) -> date | None:
        """First day of the present mismatch with the plan as recorded; ``None`` where all days seen have it."""
        step = last_step(self.unshifted_rpm, OUT_OF_STEP_RPM)
        return None if step is None else self.day[step].item()

    def shift_before(self, day: date) -> float | None:
        """Offset in the middle of the seven clear days before ``day`` [min]; ``None`` where none was seen."""
        shifts = self.shift_min[self.clear & (self.day < np.datetime64(day))][-7:]
        return float(np.median(shifts)) if len(shifts) else None

    def clear_between(self, first: date, end: date) -> int:
        """How many clear days were seen from ``first`` to the day before ``end``."""
        inside = (self.day >= np.datetime64(first)) & (self.day < np.datetime64(end))
        return int((self.clear & inside).sum())

    def day_before(self, day: date) -> date:
        """The last day seen before ``day``; that day itself where it is the first."""
        earlier = self.day[self.day < np.datetime64(day)]
        return earlier[-1].item() if len(earlier) else day

    def alike(self, days: np.ndarray, shift_min: float) -> np.ndarray:
        """Of ``days`` those that each on their own fit best at ``shift_min``, within a quarter hour."""
        near = self.day[apart(self.shift_min, shift_min) <= QUARTER_MIN]
        return days[np.isin(days, near)]

    def late(self, days: np.ndarray) -> float | None:
        """How late the changes of speed come, in the middle of ``days`` [min]; ``None`` where none could be timed."""
        late = self.late_min[np.isin(self.day, days)]
        late = late[~np.isnan(late)]
        return None if not len(late) else float(wrapped(late[-1] + np.median(wrapped(late - late[-1]))))


def histories(
    clock_day: pl.DataFrame, limits: MatchLimits, look_min: Mapping[str, float] | None = None
) -> dict[str, History]:
    """The series of each pump of ``clock_day`` (CLOCK_DAYS).

    ``look_min`` says how far apart a pump's log looks at it [min]: it sees a change up to so much late, half of it in the
    middle, and that half is taken off the lateness.
    """
    looks = look_min or {}
    unshifted, best = pl.col("cost_unshifted_rpm"), pl.col("cost_best_rpm")
    least = pl.max_horizontal(pl.lit(limits.differs_rpm), limits.residual_share * unshifted)
    marked = clock_day.sort("pump_id", "day_local").with_columns(clear=best <= least)
    return {
        str(pump): History(
            rows["day_local"].to_numpy(),
            rows["shift_min"].to_numpy(),
            rows["late_min"].fill_null(np.nan).to_numpy() - looks.get(str(pump), 0.0) / 2,
            rows["cost_unshifted_rpm"].to_numpy(),
            rows["clear"].to_numpy(),
            looks.get(str(pump), 0.0),
        )
        for (pump,), rows in marked.group_by("pump_id", maintain_order=True)
    }


def hole_before(
    history: History,
    outages: list[tuple[date, float, float]],
    shift_min: float,
    within_min: float,
    recorded: np.ndarray,
    moved: np.ndarray,
) -> str | None:
    """Words for the outage at whose end the pump's clock began anew, if there is one.

    ``outages`` are (day, wall clock of the end, length [min]). A clock that runs L min late reads 00:00 when the wall
    clock reads L, and 12:00 half a day off. The outage must end between the last day of the former offset and the first
    of this one; where no former one is known, on the day before all that were seen, which it spoilt, or on one of the
    first, for an offset of fewer days is not told. What ends where the plan as ``recorded`` (96,) stops asking is no
    end that was seen, and what ends where the plan, ``moved`` (96,) as it runs now, starts is its hour: any wrong clock
    makes both.
    """
    first = history.day[0].item()
    began = history.began or first + timedelta(days=SHORTEST_DAYS - 1)
    last = history.day_before(began) if history.began else first - timedelta(days=1)
    for day, end_min, _ in outages:
        own = _stops(recorded, end_min, 1) or _stops(moved[::-1], DAY_MIN - end_min, QUARTER_MIN)
        if last <= day <= began and not own:
            for reads in (0, HALF_DAY_MIN):
                if apart(end_min - reads, shift_min) <= within_min:
                    at = _at(end_min)
                    return f"an outage that ended on {day} at {at} left it at {reads // 60:02d}:00"
    return None


def stood_before(
    history: History, outages: list[tuple[date, float, float]], shift_min: float, moved: np.ndarray
) -> str | None:
    """Words for a stop within which the pump's clock began anew; ``outages`` as for `hole_before`.

    A log that goes on shows a pump that stops, and not when the supply came back: then the pump waits for the hour of
    its plan. So a stop within which the wall clock read L counts, too, if it lies before the first whole day of this
    offset and does not begin where the plan, ``moved`` (96,) as it runs now, ends: a clock set by hand makes that.
    """
    if history.began is None:
        return None
    anew = shift_min % DAY_MIN
    for day, end_min, long_min in outages:
        begin_min = end_min - long_min
        here = history.day_before(history.began) <= day < history.began
        if here and begin_min < anew <= end_min and not _stops(moved, begin_min, QUARTER_MIN):
            return f"it stood from {_at(begin_min)} on {day}, and its clock began at 00:00 at about {_at(anew)}"
    return None


def _at(minutes: float) -> str:
    return f"{int(minutes) % DAY_MIN // 60:02d}:{int(minutes) % 60:02d}"


def _stops(plan: np.ndarray, minutes: float, within_min: float) -> bool:
    """Whether a plan (96,) stops so near a wall clock time; read backwards, whether it starts."""
    stops = np.flatnonzero((plan == 0) & (np.roll(plan, 1) > 0)) * QUARTER_MIN
    return bool((apart(stops, minutes) <= within_min).any())


@dataclass(frozen=True, slots=True)
class Drift:
    """A slope of the lateness [min a day], and the days that show it."""

    slope: Slope
    first_day: date
    days: int


def drift(history: History, parameters: Mapping[str, float]) -> Drift | None:
    """The slope of the daily lateness up to the last day where it is one: steady, sure, and no step.

    ``parameters`` are those of rule A4. A clock may begin to run away on any day, so the longest stretch of days up to
    the last one that is a line counts. A slope that a single step explains better is none: a clock that was set. Fewer
    days than ``days`` are enough, down to ``days_fast``, where the clock ran away so far in them that neither the grain
    of the log nor chance can be it.
    """
    good = history.clear & ~np.isnan(history.late_min)
    days, late = history.day[good].astype("datetime64[D]").astype(np.int64), history.late_min[good]
    if not len(days):
        return None
    away = wrapped(late - late[-1])
    for first in range(len(days)):
        found = _line(days[first:], away[first:], history.look_min, parameters)
        if found is not None:
            return Drift(found, history.day[good][first].item(), len(days) - first)
    return None


def _line(days: np.ndarray, away: np.ndarray, look_min: float, parameters: Mapping[str, float]) -> Slope | None:
    """`drift` of one stretch of days."""
    lasted = days[-1] - days[0] + 1
    least = parameters["seconds_a_day"] / 60
    ran = np.ptp(away)
    far = max(parameters["far_min"], parameters["looks"] * look_min)
    shortest = parameters["days_fast"] if ran >= far else parameters["days"]
    if lasted < shortest or len(days) < parameters["days_share"] * lasted or ran < least * parameters["days"] / 2:
        return None
    found = theil_sen(days, away, parameters["confidence"])
    sure = abs(found.slope) >= least and (found.low > 0 or found.high < 0)
    # The slope must not go further than the clock did, as far as the log shows: days of standing still are no part of it.
    whole = abs(found.slope) * (lasted - 1) <= parameters["whole"] * (ran + look_min)
    return found if sure and whole and found.line_residual <= parameters["step_share"] * found.step_residual else None
