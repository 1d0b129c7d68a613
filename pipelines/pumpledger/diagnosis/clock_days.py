"""Each pump's days against its plan, reduced to a few numbers a day: how far the day is moved round the clock, and how
late its changes of speed come.

Belongs here: arrays out of quarter hours, and the tables ``clock_day`` and ``outage``. What an offset means stands in
`clock.py`, when it began in `clock_dating.py`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import polars as pl

from pumpledger.diagnosis.clock_dating import wrapped
from pumpledger.engine.clock_tables import CLOCK_DAYS, OUTAGES
from pumpledger.engine.database import Database
from pumpledger.profile import plan_match
from pumpledger.profile.plan_match import QUARTER_MIN, QUARTERS, MatchLimits

NEAR_RPM = 50.0  # two steps of the grid, as for the causes of spans
EDGE_RPM = 100.0  # a smaller change of speed cannot be timed above the jitter of a drive
LEVEL_RPM = 60.0  # how far the speeds before and after a change may lie from the plan's: two grid steps and jitter
OUTAGE_MIN = 10.0  # a shorter hole is a lost sample or a blink that clocks ride through: an assumption
SHOWN_LEAST = 0.5  # share of the days that must show a quarter: else one odd day speaks for all of them
SEEN_LEAST = 0.6  # share of a valid day's quarters that must be left once freeze protection and loads are out


@dataclass(frozen=True, slots=True)
class PumpDays:
    """Days of one fleet, one a row, by pump and day: ``observed`` and ``plan`` are (days, 96) [rev/min], NaN not seen."""

    pump_id: np.ndarray
    day_local: np.ndarray
    in_week: np.ndarray
    observed: np.ndarray
    plan: np.ndarray

    def rows_of(self) -> dict[str, np.ndarray]:
        """The rows of each pump, in the order of days."""
        pumps, firsts, counts = np.unique(self.pump_id, return_index=True, return_counts=True)
        spans = zip(pumps.tolist(), firsts.tolist(), counts.tolist(), strict=True)
        return {pump: np.arange(first, first + count) for pump, first, count in spans}

    def last_plan(self, rows: np.ndarray) -> np.ndarray:
        """Of one pump's rows those under the plan of the last one: an older plan's days say nothing of today's clock
        against today's plan."""
        return rows[(self.plan[rows] == self.plan[rows[-1]]).all(axis=1)]


def pump_days(quarters: pl.DataFrame) -> PumpDays:
    """Rows of `match_quarter` (or of `observed_quarter`, then without plans) as arrays; days with all 96 quarters."""
    whole = quarters.filter(pl.len().over("pump_id", "day_local") == QUARTERS).sort("pump_id", "day_local", "quarter")
    days = whole.gather_every(QUARTERS)
    planned = (
        whole["planned_speed_rpm"]
        if "planned_speed_rpm" in whole.columns
        else pl.repeat(None, whole.height, eager=True)
    )
    return PumpDays(
        days["pump_id"].to_numpy(),
        days["day_local"].to_numpy(),
        days["in_week"].to_numpy(),
        _quarters(whole["speed_rpm"]),
        _quarters(planned),
    )


def taken_whole(observed: np.ndarray, ran: np.ndarray, plan: np.ndarray, limits: MatchLimits) -> np.ndarray:
    """Days (days, 96) with what was set aside put back where the plan, moved as a whole, explains it, too.

    A load runs with a plan that is moved, and running off the plan with its load on looks as if the load had asked for
    it; a plan moved into the night looks like freeze protection. Neither keeps to a moved plan by itself.
    """
    hidden = np.isnan(observed) & ~np.isnan(ran)
    costs = plan_match.shift_costs(ran, plan, limits.cap_rpm)
    unmoved, least = costs[:, 0], costs.min(axis=1, initial=np.inf)
    fits = least <= np.maximum(limits.residual_rpm, limits.residual_share * unmoved)
    whole = hidden.any(axis=1) & fits & (unmoved - least >= limits.gain_rpm)
    return np.where(whole[:, None], ran, observed)


def _quarters(column: pl.Series) -> np.ndarray:
    return column.cast(pl.Float64).fill_null(np.nan).to_numpy().reshape(-1, QUARTERS)


def edge_lateness(observed: np.ndarray, plan: np.ndarray) -> np.ndarray:
    """How late each day's changes of speed come against the plan's, in the middle value: (days, 96) twice ->
    (days,) [min], NaN where none can be timed.

    A change that falls within two quarters leaves, of these 30 min, so many at the old speed; their means say how
    many, whatever the log's interval. Starts from standstill are left out, because priming blurs them, and so are
    changes beside midnight, whose other side is another day.
    """
    before2, before, after = np.roll(plan, 2, 1), np.roll(plan, 1, 1), np.roll(plan, -1, 1)
    old, seen_before, new = np.roll(observed, 2, 1), np.roll(observed, 1, 1), np.roll(observed, -1, 1)
    usable = (before2 == before) & (plan == after) & (np.abs(plan - before) >= EDGE_RPM) & (before > 0)
    usable &= (
        (np.abs(old - before) <= LEVEL_RPM) & (np.abs(new - plan) <= LEVEL_RPM) & (np.abs(new - old) > LEVEL_RPM / 2)
    )
    usable[:, [0, 1, QUARTERS - 1]] = False
    step = np.where(usable, new - old, 1.0)
    late = ((new - seen_before) + (new - observed)) / step * QUARTER_MIN - QUARTER_MIN
    late = np.where(usable & (np.abs(late) <= QUARTER_MIN), late, np.nan)
    return plan_match.median_profile(late[:, :, None]).reshape(-1)


def mostly_seen(observed: np.ndarray) -> np.ndarray:
    """Days (days, 96) without the quarters that most of them do not show, NaN: the middle of such a quarter would be that
    of other days than the rest of the profile."""
    often = (
        (~np.isnan(observed)).mean(axis=0) >= SHOWN_LEAST if len(observed) else np.zeros(observed.shape[1], dtype=bool)
    )
    return np.where(often, observed, np.nan)


def moved_plan(plan: np.ndarray, late_min: float) -> np.ndarray:
    """Means over quarter hours of a plan (96,) that runs ``late_min`` late, to the minute."""
    whole, part = divmod(late_min / QUARTER_MIN, 1)
    return (1 - part) * np.roll(plan, int(whole)) + part * np.roll(plan, int(whole) + 1)


def day_offsets(days: PumpDays, rows: np.ndarray, limits: MatchLimits) -> pl.DataFrame:
    """CLOCK_DAYS of the given rows; days too little seen are left out."""
    rows = rows[(~np.isnan(days.observed[rows])).mean(axis=1) >= SEEN_LEAST]
    observed, plan = days.observed[rows], days.plan[rows]
    costs = plan_match.shift_costs(observed, plan, limits.cap_rpm)
    best = costs.argmin(axis=1) if len(rows) else np.empty(0, dtype=np.int64)
    moved = plan[np.arange(len(rows))[:, None], (np.arange(QUARTERS)[None, :] - best[:, None]) % QUARTERS]
    shift = plan_match.signed_shift_min(best)
    late = wrapped(shift + edge_lateness(observed, moved))
    return pl.DataFrame(
        {
            "pump_id": pl.Series(days.pump_id[rows].tolist(), dtype=pl.String),
            "day_local": pl.Series(days.day_local[rows], dtype=pl.Date),
            "shift_min": pl.Series(shift, dtype=pl.Int64),
            "late_min": pl.Series(late, dtype=pl.Float64, nan_to_null=True),
            "cost_unshifted_rpm": pl.Series(costs[:, 0], dtype=pl.Float64),
            "cost_best_rpm": pl.Series(costs[np.arange(len(rows)), best], dtype=pl.Float64),
        }
    )


def read_days(db: Database, limits: MatchLimits) -> PumpDays:
    """The judged days as arrays; makes ``observed_quarter``, ``clock_day`` (CLOCK_DAYS) and ``outage`` (OUTAGES), both of
    the judged days and of what past_clock_day and past_outage hold.

    Inputs: daily, judged_day, profile, span, pump, excused_day, plan_slot, local_day, pump_fact, past_clock_day, past_outage.
    """
    db.build("observed_quarter", "diagnosis/observed_quarter", {"near_rpm": NEAR_RPM})
    quarters = db.query("diagnosis/match_quarter")
    days = pump_days(quarters)
    ran = pump_days(quarters.with_columns(speed_rpm="ran_rpm")).observed
    days = replace(days, observed=taken_whole(days.observed, ran, days.plan, limits))
    key = ["pump_id", "day_local"]
    past = db.table("past_clock_day")
    of_rows = pl.DataFrame(
        {
            "pump_id": pl.Series(days.pump_id.tolist(), dtype=pl.String),
            "day_local": pl.Series(days.day_local, dtype=pl.Date),
            "row": pl.Series(np.arange(len(days.pump_id)), dtype=pl.Int64),
            "in_week": pl.Series(days.in_week, dtype=pl.Boolean),
        }
    )
    # The week before was reduced when it was reviewed; where it was not, it is reduced now.
    known = of_rows.join(past, on=key, how="semi").filter(~pl.col("in_week"))
    fresh = of_rows.join(known, on="row", how="anti", maintain_order="left")["row"].to_numpy()
    now = day_offsets(days, fresh, limits)
    db.load("clock_day", CLOCK_DAYS.conform(pl.concat([past.join(now, on=key, how="anti"), now])))
    ends = db.query("diagnosis/outage", {"outage_min": OUTAGE_MIN})
    judged = db.table("judged_day")["day_local"]
    older = db.table("past_outage").filter(~pl.col("day_local").is_in(judged.to_list()))
    db.load("outage", pl.concat([older, OUTAGES.conform(ends)]))
    return days
