"""What eight weeks of daily offsets say of one pump's clock: since when it stands where it does, whether an outage set it
back, whether it runs away.

Belongs here: reading the series of ``clock_day`` and ``outage``. How series are cut stands in `clock_dating.py`; which
rule says what, in `clock.py`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from functools import cached_property

import numpy as np
import polars as pl

from pumpledger.diagnosis.clock_dating import HALF_DAY_MIN, Slope, apart, last_step, theil_sen, wrapped
from pumpledger.profile.plan_match import QUARTER_MIN, MatchLimits

OUT_OF_STEP_RPM = 15.0  # a change of the mismatch that a changed programme must make to be dated


@dataclass(frozen=True)
class History:
    """One pump's days, oldest first: columns of ``clock_day`` as arrays, ``late_min`` NaN where nothing could be timed;
    ``clear`` where some shift brings the day onto its plan, so that the shift means something."""

    day: np.ndarray
    shift_min: np.ndarray
    late_min: np.ndarray
    unshifted_rpm: np.ndarray
    clear: np.ndarray

    @cached_property
    def began(self) -> date | None:
        """First day of the present offset; ``None`` where all days seen have it."""
        days, shifts = self.day[self.clear], self.shift_min[self.clear]
        away = apart(shifts, shifts[-1]) if len(shifts) else shifts
        if not away.any():
            return None
        step = last_step(away, QUARTER_MIN)
        return None if step is None else days[step].item()

    @cached_property
    def programme_began(self) -> date | None:
        """First day of the present mismatch with the plan as recorded; ``None`` where all days seen have it."""
        step = last_step(self.unshifted_rpm, OUT_OF_STEP_RPM)
        return None if step is None else self.day[step].item()

    def shift_before(self, day: date) -> float | None:
        """Offset in the middle of the seven clear days before ``day`` [min]; ``None`` where none was seen."""
        shifts = self.shift_min[self.clear & (self.day < np.datetime64(day))][-7:]
        return float(np.median(shifts)) if len(shifts) else None

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


def histories(clock_day: pl.DataFrame, limits: MatchLimits) -> dict[str, History]:
    """The series of each pump of ``clock_day`` (CLOCK_DAYS)."""
    unshifted, best = pl.col("cost_unshifted_rpm"), pl.col("cost_best_rpm")
    least = pl.max_horizontal(pl.lit(limits.differs_rpm), limits.residual_share * unshifted)
    marked = clock_day.sort("pump_id", "day_local").with_columns(clear=best <= least)
    return {
        str(pump): History(
            rows["day_local"].to_numpy(),
            rows["shift_min"].to_numpy(),
            rows["late_min"].fill_null(np.nan).to_numpy(),
            rows["cost_unshifted_rpm"].to_numpy(),
            rows["clear"].to_numpy(),
        )
        for (pump,), rows in marked.group_by("pump_id", maintain_order=True)
    }


def reset_at(history: History, outages: list[tuple[date, float]], shift_min: float, within_min: float) -> str | None:
    """Words for the outage at whose end the pump's clock began anew, if there is one.

    ``outages`` are (day, wall clock of the end [min]). A clock that runs L min late reads 00:00 when the wall clock reads
    L, and 12:00 half a day off. The outage must end between the last day of the former offset and the first of this one.
    """
    if history.began is None:
        return None
    last = history.day_before(history.began)
    for day, end_min in outages:
        if last <= day <= history.began:
            for reads in (0, HALF_DAY_MIN):
                if apart(end_min - reads, shift_min) <= within_min:
                    at = f"{int(end_min) // 60:02d}:{int(end_min) % 60:02d}"
                    return f"an outage that ended on {day} at {at} left it at {reads // 60:02d}:00"
    return None


def drift(history: History, parameters: Mapping[str, float]) -> Slope | None:
    """The slope of the daily lateness [min a day] where it is one: steady, sure, and no step.

    ``parameters`` are those of rule A4. A slope that a single step explains better is none: a clock that was set.
    """
    good = history.clear & ~np.isnan(history.late_min)
    days, late = history.day[good].astype("datetime64[D]").astype(np.int64), history.late_min[good]
    if len(days) < parameters["days_share"] * parameters["days"] or days[-1] - days[0] < parameters["days"] - 1:
        return None
    away = wrapped(late - late[-1])
    least = parameters["seconds_a_day"] / 60
    if np.ptp(away) < least * parameters["days"] / 2:
        return None
    found = theil_sen(days, away, parameters["confidence"])
    sure = abs(found.slope) >= least and (found.low > 0 or found.high < 0)
    return found if sure and found.line_residual <= parameters["step_share"] * found.step_residual else None
