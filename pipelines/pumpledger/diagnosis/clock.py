"""Rules A1 and A2: is the pump's clock right? Reads profiles, matches them against the plan, votes by source, words the
evidence.

Belongs here: which days are compared and what an offset means. The matching itself stands in `profile/plan_match.py`.

An offset of 12 h cannot be told from a night plan that nobody wrote down: so the record is named beside the clock. A
clock that was not moved at a clock change runs 60 min early after the 25 h day and 60 min late after the 23 h day; both
the size and the sign must agree.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date

import numpy as np
import polars as pl

from pumpledger.diagnosis.evidence import EVIDENCE
from pumpledger.engine.database import Database
from pumpledger.profile import plan_match
from pumpledger.profile.plan_match import AMBIGUOUS, DIFFERS, FITS, QUARTERS, SHIFTED, UNSEEN, Match, MatchLimits

HALF_DAY_MIN = 720
SOURCE_SHIFTED = "whole source shifted"
LOOK_BACK_DAYS = 35  # how long after a clock change an hour's offset is still put down to it: an assumption
_MATCH_TABLE = {
    "pump_id": pl.String,
    "source": pl.String,
    "shift_min": pl.Int64,
    "cost_unshifted_rpm": pl.Float64,
    "cost_best_rpm": pl.Float64,
    "cost_runner_up_rpm": pl.Float64,
    "verdict": pl.String,
}


@dataclass(frozen=True, slots=True)
class PumpDays:
    """Quarter-hour rows of one fleet: ``observed`` and ``plan`` (days, 96) [rpm], and whose day each row is."""

    pump_id: np.ndarray
    day_local: np.ndarray
    in_week: np.ndarray
    observed: np.ndarray
    plan: np.ndarray


def pump_days(quarters: pl.DataFrame) -> PumpDays:
    """Rows of `match_quarter` as arrays, only days on which the plan of the pump's last day was keyed in.

    An older plan's days say nothing about today's clock against today's plan.
    """
    whole = quarters.filter(pl.len().over("pump_id", "day_local") == QUARTERS).sort("pump_id", "day_local", "quarter")
    days = whole.unique(["pump_id", "day_local"], keep="first", maintain_order=True)
    observed = whole["speed_rpm"].cast(pl.Float64).fill_null(np.nan).to_numpy().reshape(-1, QUARTERS)
    plan = whole["planned_speed_rpm"].cast(pl.Float64).to_numpy().reshape(-1, QUARTERS)
    pumps = days["pump_id"].to_numpy()
    if len(pumps):
        last = np.searchsorted(pumps, pumps, side="right") - 1
        same = (plan == plan[last]).all(axis=1)
    else:
        same = np.empty(0, dtype=bool)
    return PumpDays(
        pumps[same], days["day_local"].to_numpy()[same], days["in_week"].to_numpy()[same], observed[same], plan[same]
    )


def _stack(days: PumpDays, rows: list[np.ndarray]) -> np.ndarray:
    """Days of several pumps as (pumps, most days, 96), NaN where a pump has fewer."""
    stacked = np.full((len(rows), max((len(row) for row in rows), default=0), QUARTERS), np.nan)
    for index, row in enumerate(rows):
        stacked[index, : len(row)] = days.observed[row]
    return stacked


def _match_rows(days: PumpDays, rows: dict[str, np.ndarray], limits: MatchLimits) -> dict[str, tuple]:
    """Match of each pump's median over the given day rows: ``pump -> (shift, unshifted, best, runner-up, verdict)``."""
    pumps = list(rows)
    if not pumps:
        return {}
    observed = plan_match.median_profile(_stack(days, list(rows.values())))
    plans = np.stack([days.plan[row[-1]] for row in rows.values()])
    found: Match = plan_match.match(observed, plans, limits)
    columns = (found.shift_min, found.cost_unshifted_rpm, found.cost_best_rpm, found.cost_runner_up_rpm, found.verdict)
    return {pump: tuple(column[index].item() for column in columns) for index, pump in enumerate(pumps)}


def _windows(
    days: PumpDays, changes: Mapping[str, date], least: int
) -> tuple[dict[str, np.ndarray], dict[str, np.ndarray], set[str]]:
    """Day rows to judge the clock by, day rows before the last clock change, and the pumps whose window lies after that
    change."""
    window: dict[str, np.ndarray] = {}
    before: dict[str, np.ndarray] = {}
    after_change: set[str] = set()
    pumps, firsts, counts = np.unique(days.pump_id, return_index=True, return_counts=True)
    for pump, first, count in zip(pumps.tolist(), firsts, counts, strict=True):
        rows = np.arange(first, first + count)
        week = rows[days.in_week[rows]]
        change = changes.get(pump)
        if change is not None:
            late = days.day_local[week] > np.datetime64(change)
            earlier = rows[days.day_local[rows] < np.datetime64(change)]
            if late.sum() >= least:
                week = week[late]
                after_change.add(pump)
                if len(earlier) >= least:
                    before[pump] = earlier
            else:
                week = week[~late]
        if len(week) >= least:
            window[pump] = week
    return window, before, after_change


def _source_votes(matches: dict[str, tuple], sources: Mapping[str, str], share: float, pumps: float) -> dict[str, int]:
    """Sources that shift as one: ``source -> shift [min]`` where enough of its matched pumps show the same offset."""
    shifts: dict[str, list[int]] = {}
    for pump, (shift, _, _, _, verdict) in matches.items():
        if verdict in (FITS, SHIFTED) and pump in sources:
            shifts.setdefault(sources[pump], []).append(shift if verdict == SHIFTED else 0)
    votes = {}
    for source, seen in sorted(shifts.items()):
        common = max(sorted(set(seen)), key=seen.count)
        if len(seen) >= pumps and common != 0 and seen.count(common) >= share * len(seen):
            votes[source] = common
    return votes


def _same_day_rows(days: PumpDays, rows: np.ndarray, shift: int, limits: MatchLimits) -> np.ndarray:
    """Of one pump's day rows, those that each on their own fit best at ``shift`` [min], within a quarter hour."""
    costs = plan_match.shift_costs(days.observed[rows], days.plan[rows], limits.cap_rpm)
    own = plan_match.signed_shift_min(np.nan_to_num(costs, nan=np.inf).argmin(axis=1))
    apart = np.abs(own - shift) % 1440
    return rows[np.minimum(apart, 1440 - apart) <= plan_match.QUARTER_MIN]


def _checkable(days: PumpDays, window: dict[str, np.ndarray], shift_min: int, limits: MatchLimits) -> dict[str, bool]:
    """Whether each pump's plan would show a clock that is ``shift_min`` out."""
    plans = days.plan[[rows[-1] for rows in window.values()]]
    return dict(zip(window, plan_match.checkable(plans, shift_min, limits).tolist(), strict=True))


def is_half_day(shift_min: int) -> bool:
    """Whether an offset is 12 h, within a quarter hour."""
    return abs(abs(shift_min) - HALF_DAY_MIN) <= plan_match.QUARTER_MIN


def clock_twelve_hours(db: Database, parameters: Mapping[str, float]) -> pl.DataFrame:
    """Rows of A1 out of `clock_evidence`."""
    return clock_evidence(db, parameters).filter(pl.col("rule_id") == "A1")


def clock_one_hour(db: Database, parameters: Mapping[str, float]) -> pl.DataFrame:
    """Rows of A2 out of `clock_evidence`."""
    return clock_evidence(db, parameters).filter(pl.col("rule_id") == "A2")


def clock_evidence(db: Database, parameters: Mapping[str, float]) -> pl.DataFrame:
    """EVIDENCE rows of A1 and A2; makes the table ``clock_match`` (pump_id, source, shift_min, costs [rpm], verdict).

    Inputs: daily, judged_day, profile, plan_slot, past_day, pump_fact, pump_source. ``parameters`` are those of rules
    A1 and A2.
    """
    limits = MatchLimits(**{name: parameters[name] for name in MatchLimits.__dataclass_fields__})
    least = int(parameters["days_least"])
    days = pump_days(db.query("diagnosis/match_quarter"))
    facts = db.table("pump_fact").filter(pl.col("season") == "open")
    zones = {
        row["zone"]: row
        for row in db.query("diagnosis/clock_change", {"look_back_days": LOOK_BACK_DAYS}).iter_rows(named=True)
    }
    changed = {pump: zones[zone] for pump, zone in facts.select("pump_id", "zone").iter_rows() if zone in zones}
    sources = dict(db.table("pump_source").select("pump_id", "source").sort("pump_id", "source").iter_rows())

    window, before, after_change = _windows(days, {pump: row["change_day"] for pump, row in changed.items()}, least)
    now, earlier = _match_rows(days, window, limits), _match_rows(days, before, limits)
    votes = _source_votes(now, sources, parameters["vote_share"], parameters["vote_pumps"])
    for pump, (shift, *costs, verdict) in now.items():
        if verdict == SHIFTED and votes.get(sources.get(pump, "")) == shift:
            now[pump] = (shift, *costs, SOURCE_SHIFTED)
    db.load(
        "clock_match",
        pl.DataFrame(
            [(pump, sources.get(pump), *row) for pump, row in sorted(now.items())], schema=_MATCH_TABLE, orient="row"
        ),
    )

    asker = _Asker(
        days,
        window,
        now,
        earlier,
        after_change,
        changed,
        limits,
        half_day=_checkable(days, window, HALF_DAY_MIN, limits),
        hour=_checkable(days, window, 60, limits),
    )
    rows = [
        row
        for site, pump, planned in facts.select("site_id", "pump_id", "has_plan").iter_rows()
        for row in asker.rows(site, pump, planned)
    ]
    for source, shift in votes.items():
        rule = "A1" if is_half_day(shift) else "A2"
        rows.append(
            {
                "site_id": "",
                "rule_id": rule,
                "component": source,
                "verdict": "cannot tell",
                "measured": float(shift),
                "unit": "min",
                "extra": f"the whole source is shifted by {shift:+d} min: look at the time base of its export first",
            }
        )
    return EVIDENCE.conform(
        pl.DataFrame([{**dict.fromkeys(EVIDENCE.columns), **row} for row in rows], schema=EVIDENCE.schema)
    )


@dataclass(frozen=True, slots=True)
class _Asker:
    """Turns one pump's match into evidence rows."""

    days: PumpDays
    window: dict[str, np.ndarray]
    now: dict[str, tuple]
    earlier: dict[str, tuple]
    after_change: set[str]
    changed: dict[str, dict]
    limits: MatchLimits
    half_day: dict[str, bool]
    hour: dict[str, bool]

    def rows(self, site: str, pump: str, planned: bool) -> Iterator[dict]:
        """Evidence of one pump: at most one row for A1 and one for A2."""
        silent = {"site_id": site, "component": pump, "verdict": "cannot tell", "unit": "min"}
        if not planned:
            yield {**silent, "rule_id": "A1", "needs": "the plan of this pump in plans.csv"}
            return
        shift, unshifted, best, _, verdict = self.now.get(pump, (0, 0.0, 0.0, 0.0, UNSEEN))
        if verdict == UNSEEN:
            yield {**silent, "rule_id": "A1", "needs": "more valid days of 24 h under the plan in force"}
        elif verdict == SHIFTED:
            yield self._shifted(site, pump, shift, unshifted, best)
        elif verdict == SOURCE_SHIFTED:
            yield {
                **silent,
                "rule_id": "A1" if is_half_day(shift) else "A2",
                "measured": float(shift),
                "extra": "the whole source is shifted",
            }
        elif verdict == AMBIGUOUS:
            yield {
                **silent,
                "rule_id": "A1",
                "measured": float(shift),
                "extra": f"what runs fits the plan moved by {shift:+d} min, and another shift does nearly as well",
            }
        elif verdict == DIFFERS:
            yield {
                **silent,
                "rule_id": "A1",
                "extra": "what runs differs from the recorded plan at every shift: pump or record",
            }
        else:
            text = "the clock cannot be checked from this plan: it is too constant or too symmetric"
            if not self.half_day[pump]:
                yield {**silent, "rule_id": "A1", "extra": text}
            if pump in self.after_change and not self.hour[pump]:
                yield {**silent, "rule_id": "A2", "extra": text}

    def _shifted(self, site: str, pump: str, shift: int, unshifted: float, best: float) -> dict:
        seen = _same_day_rows(self.days, self.window[pump], shift, self.limits)
        dates = self.days.day_local[seen if len(seen) else self.window[pump]]
        base = {
            "site_id": site,
            "component": pump,
            "measured": float(shift),
            "unit": "min",
            "first_day": dates.min().item(),
            "last_day": dates.max().item(),
            "days": len(dates),
            "extra": f"Mean mismatch {unshifted:.0f} rpm as recorded, {best:.0f} so moved.",
        }
        if is_half_day(shift):
            return {**base, "rule_id": "A1", "verdict": "found", "threshold": float(HALF_DAY_MIN)}
        change = self.changed.get(pump) if pump in self.after_change else None
        if change is None or shift != change["unmoved_shift_min"]:
            return {
                **base,
                "rule_id": "A2",
                "verdict": "cannot tell",
                "extra": f"what runs fits the plan moved by {shift:+d} min, which no clock change explains: "
                "compare the pump's clock on site",
            }
        old_shift, _, _, _, old = self.earlier.get(pump, (0, 0.0, 0.0, 0.0, UNSEEN))
        if old == UNSEEN:
            note = f" Days before the clock change of {change['change_day']} were not compared."
        elif old == FITS:
            note = f" Before the clock change of {change['change_day']} it kept its plan."
        else:
            return {
                **base,
                "rule_id": "A2",
                "verdict": "cannot tell",
                "extra": f"what runs fits the plan moved by {shift:+d} min, but it did not keep its plan before the "
                "clock change either "
                f"({old}, {old_shift:+d} min)",
            }
        way = "early" if shift < 0 else "late"
        return {
            **base,
            "rule_id": "A2",
            "verdict": "found",
            "threshold": float(change["unmoved_shift_min"]),
            "extra": f"{abs(shift)} min {way} by the recorded wall clock. {base['extra']}{note}",
        }
