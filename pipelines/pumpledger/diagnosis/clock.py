"""Rules A1 to A5, A7 and C13, made at once: is the pump's clock right, and is the record?

Belongs here: the order of the questions and the words of the answers. Days as arrays stand in `clock_days.py`, what
their series say in `clock_history.py`, whole sources in `clock_source.py`, other programmes in `clock_record.py`.

An offset of 12 h cannot be told from a night plan that nobody wrote down: so the record is named beside the clock. A
clock that was not moved at a clock change runs 60 min early after the 25 h day and 60 min late after the 23 h day; both
the size and the sign must agree.

A wrong weekday (A6) cannot show: the register holds one plan for all days of the week, and so do the controllers it
speaks of. There is no such rule.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np
import polars as pl

from pumpledger.diagnosis.clock_dating import HALF_DAY_MIN, SHORTEST_DAYS, apart
from pumpledger.diagnosis.clock_days import SEEN_LEAST, PumpDays, mostly_seen, moved_plan, read_days
from pumpledger.diagnosis.clock_history import Drift, History, drift, histories, hole_before, stood_before
from pumpledger.diagnosis.clock_record import Mismatch, Records, record_rows
from pumpledger.diagnosis.clock_source import SOURCE_SHIFTED, drifting_sources, is_half_day, vote
from pumpledger.diagnosis.evidence import EVIDENCE
from pumpledger.engine.database import Database
from pumpledger.profile import plan_match
from pumpledger.profile.plan_match import AMBIGUOUS, DIFFERS, FITS, QUARTER_MIN, SHIFTED, UNSEEN, MatchLimits

LOOK_BACK_DAYS = 56  # how far back a clock change is looked for: as far as the days that are kept
WINDOW_DAYS = 7
_MATCH_TABLE = {
    "pump_id": pl.String,
    "source": pl.String,
    "shift_min": pl.Int64,
    "cost_unshifted_rpm": pl.Float64,
    "cost_best_rpm": pl.Float64,
    "cost_runner_up_rpm": pl.Float64,
    "verdict": pl.String,
}
Parameters = Mapping[str, Mapping[str, float]]


@dataclass(frozen=True, slots=True)
class Clock:
    """One pump's last days under its plan and at one offset, matched: rows of the arrays, their quarters (days, 96) as far
    as most of these days show them, and what the match says."""

    rows: np.ndarray
    observed: np.ndarray
    shift_min: int
    unshifted_rpm: float
    best_rpm: float
    runner_up_rpm: float
    verdict: str


def found_by(rule_id: str) -> Callable[[Database, Mapping[str, float]], pl.DataFrame]:
    """The finder of one rule: its rows of the table ``clock_evidence``, which `read_clocks` has made by all thresholds."""
    return lambda db, _: db.table("clock_evidence").filter(pl.col("rule_id") == rule_id)


def match_limits(parameters: Mapping[str, float]) -> MatchLimits:
    """The tests of the match out of the parameters of A1."""
    return MatchLimits(**{name: parameters[name] for name in MatchLimits.__dataclass_fields__})


def read_clocks(db: Database, parameters: Parameters) -> None:
    """Make ``clock_match`` (pump_id, source, shift_min, costs [rpm], verdict), ``clock_evidence`` (EVIDENCE of A1-A5, A7,
    C13) and ``look_interval``.

    Inputs: those of `read_days`; past_day, plan, pump, pump_source, verdict (columns of verdicts). ``parameters`` are
    the rules' by identifier; the tests of the match are those of A1.
    """
    limits = match_limits(parameters["A1"])
    days = read_days(db, limits)
    db.build("look_interval", "diagnosis/look_interval")
    looks = dict(db.table("look_interval").select("pump_id", "look_min").iter_rows())
    series = histories(db.table("clock_day"), limits, looks)
    sources = dict(db.table("pump_source").select("pump_id", "source").sort("pump_id", "source").iter_rows())
    clocks = {
        pump: replace(clock, verdict=SHIFTED)
        if slightly_out(clock, days, series.get(pump), parameters["A3"])
        else clock
        for pump, clock in matched(days, series, limits, int(parameters["A1"]["days_least"])).items()
    }

    offsets = {pump: (clock.shift_min, clock.verdict) for pump, clock in clocks.items()}
    votes, shifted = vote(offsets, sources, db.table("verdict"), parameters["A1"])
    match = [
        (pump, sources.get(pump), c.shift_min, c.unshifted_rpm, c.best_rpm, c.runner_up_rpm,
         SOURCE_SHIFTED if pump in shifted else c.verdict)
        for pump, c in sorted(clocks.items())
    ]  # fmt: skip
    db.load("clock_match", pl.DataFrame(match, schema=_MATCH_TABLE, orient="row"))

    facts = db.table("pump_fact").filter(pl.col("season") == "open")
    zones = {
        row["zone"]: row
        for row in db.query("diagnosis/clock_change", {"look_back_days": LOOK_BACK_DAYS}).iter_rows(named=True)
    }
    outages: dict[str, list[tuple[date, float, float]]] = {}
    for pump, *outage in db.table("outage").select("pump_id", "day_local", "end_min", "outage_min").iter_rows():
        outages.setdefault(pump, []).append(tuple(outage))
    drifts = {pump: seen for pump in clocks if pump in series and (seen := drift(series[pump], parameters["A4"]))}
    slopes = {pump: seen.slope for pump, seen in drifts.items()}
    adrift, drift_rows = drifting_sources(slopes, clocks, sources, parameters["A1"])
    asker = _Asker(
        days,
        series,
        clocks,
        limits,
        parameters,
        records=Records(db.table("plan"), db.table("pump"), limits, parameters),
        changes={pump: zones[zone] for pump, zone in facts.select("pump_id", "zone").iter_rows() if zone in zones},
        outages=outages,
        drifts={pump: seen for pump, seen in drifts.items() if pump not in adrift},
        half_day=_checkable(days, clocks, HALF_DAY_MIN, limits),
        hour=_checkable(days, clocks, 60, limits),
    )
    rows = [
        {"site_id": site, "component": pump, **row}
        for site, pump, planned in facts.select("site_id", "pump_id", "has_plan").iter_rows()
        if pump not in shifted
        for row in asker.rows(pump, planned)
    ]
    blank = dict.fromkeys(EVIDENCE.columns)
    evidence = pl.DataFrame([{**blank, **row} for row in [*rows, *votes, *drift_rows]], schema=EVIDENCE.schema)
    db.load("clock_evidence", EVIDENCE.conform(evidence))


def matched(days: PumpDays, series: Mapping[str, History], limits: MatchLimits, least: int) -> dict[str, Clock]:
    """The last seven days of each pump under the plan in force and at its present offset, against that plan; pumps with
    fewer than ``least`` of them in the week are left out."""
    windows: dict[str, np.ndarray] = {}
    for pump, rows in days.rows_of().items():
        rows = days.last_plan(rows)
        began = series[pump].began if pump in series else None
        if began is not None:
            rows = rows[days.day_local[rows] >= np.datetime64(began)]
        rows = rows[-WINDOW_DAYS:]
        if days.in_week[rows].sum() >= least:
            windows[pump] = rows
    if not windows:
        return {}
    shown = [mostly_seen(days.observed[rows]) for rows in windows.values()]
    stacked = np.full((len(windows), WINDOW_DAYS, plan_match.QUARTERS), np.nan)
    for index, observed in enumerate(shown):
        stacked[index, : len(observed)] = observed
    plans = days.plan[[rows[-1] for rows in windows.values()]]
    found = plan_match.match(plan_match.median_profile(stacked), plans, limits, SEEN_LEAST)
    columns = (found.shift_min, found.cost_unshifted_rpm, found.cost_best_rpm, found.cost_runner_up_rpm, found.verdict)
    return {pump: Clock(rows, shown[index], *(column[index].item() for column in columns))
            for index, (pump, rows) in enumerate(windows.items())}  # fmt: skip


def slightly_out(clock: Clock, days: PumpDays, history: History | None, parameters: Mapping[str, float]) -> bool:
    """Whether a clock is out by so little that the mismatch as recorded is small, and yet all changes of speed say so.

    A quarter hour costs three changes of speed 12 rpm, under what the match must gain. Where nearly all of it goes
    when the plan is moved, and the moments themselves are as late day after day, it is the clock. ``parameters`` are
    those of A3.
    """
    if history is None or clock.verdict != FITS or abs(clock.shift_min) < QUARTER_MIN:
        return False
    alike = history.alike(days.day_local[clock.rows], clock.shift_min)
    late = history.late(alike)
    if late is None or abs(late) < parameters["late_min"] or len(alike) < parameters["days"]:
        return False
    median = plan_match.median_profile(clock.observed[None])[0]
    seen = late + history.look_min / 2
    left = np.nanmean(np.abs(median - moved_plan(days.plan[clock.rows[-1]], seen)))
    return bool(left <= (1 - parameters["slight_gain"]) * clock.unshifted_rpm)


def _checkable(days: PumpDays, clocks: Mapping[str, Clock], shift_min: int, limits: MatchLimits) -> dict[str, bool]:
    """Whether each pump's plan would show a clock that is ``shift_min`` out."""
    plans = days.plan[[clock.rows[-1] for clock in clocks.values()]]
    return dict(zip(clocks, plan_match.checkable(plans, shift_min, limits).tolist(), strict=True))


@dataclass(frozen=True, slots=True)
class _Asker:
    """Turns one pump's match and history into evidence rows, in the order of explanation."""

    days: PumpDays
    series: Mapping[str, History]
    clocks: Mapping[str, Clock]
    limits: MatchLimits
    parameters: Parameters
    records: Records
    changes: Mapping[str, dict]
    outages: Mapping[str, list[tuple[date, float, float]]]
    drifts: Mapping[str, Drift]
    half_day: Mapping[str, bool]
    hour: Mapping[str, bool]

    def rows(self, pump: str, planned: bool) -> Iterator[dict[str, object]]:
        """Evidence of one pump."""
        if not planned:
            yield _silent("A1", needs="the plan of this pump in plans.csv")
            return
        clock = self.clocks.get(pump)
        if clock is None or clock.verdict == UNSEEN or pump not in self.series:
            yield _silent("A1", needs="more valid days of 24 h under the plan in force")
        elif clock.verdict in (SHIFTED, DIFFERS):
            yield from self._mismatch(pump, clock)
        elif clock.verdict == AMBIGUOUS:
            text = (
                f"what runs fits the plan moved by {clock.shift_min:+d} min, and moved by {self._rival(clock):+d} min "
            )
            yield _silent("A1", measured=float(clock.shift_min), extra=f"{text}nearly as well")
        elif pump in self.drifts:
            yield self._drift(pump, clock)
        else:
            text = "the clock cannot be checked from this plan: it is too constant or too symmetric"
            if not self.half_day[pump]:
                yield _silent("A1", extra=text)
            change = self.changes.get(pump)
            after = change is not None and self.days.day_local[clock.rows[0]] > np.datetime64(change["change_day"])
            if after and not self.hour[pump]:
                yield _silent("A2", extra=text)

    def _rival(self, clock: Clock) -> int:
        """The best shift more than 30 min from the best [min late]."""
        median = plan_match.median_profile(clock.observed[None])
        costs = plan_match.shift_costs(median, self.days.plan[clock.rows[-1:]], self.limits.cap_rpm)[0]
        late = plan_match.signed_shift_min(np.arange(plan_match.QUARTERS))
        far = apart(late, clock.shift_min) > plan_match.RUNNER_UP_BINS * QUARTER_MIN
        return int(late[far][costs[far].argmin()])

    def _mismatch(self, pump: str, clock: Clock) -> Iterator[dict[str, object]]:
        seen = Mismatch(pump, clock.shift_min, clock.unshifted_rpm, clock.best_rpm, self.days.day_local[clock.rows],
                        clock.observed, self.days.plan[clock.rows], self.series[pump].look_min)  # fmt: skip
        other = list(record_rows(self.records, seen, clock.verdict == SHIFTED))
        for row in other:
            began = self.series[pump].programme_began or self.series[pump].day[0].item()
            yield {"first_day": began, **row}
        if not other and clock.verdict == SHIFTED:
            yield from self._shifted(pump, clock)
        elif not other:
            text = "what runs differs from the recorded plan at every shift: pump or record"
            yield _silent("A1", extra=text)

    def _shifted(self, pump: str, clock: Clock) -> Iterator[dict[str, object]]:
        history, shift = self.series[pump], clock.shift_min
        window = self.days.day_local[clock.rows]
        alike = history.alike(window, shift)
        late = history.late(alike)
        about = shift - history.look_min / 2 if late is None else late
        since = history.began or history.day[0].item()
        base = {
            "verdict": "found",
            "measured": float(shift),
            "unit": "min",
            "first_day": since,
            "last_day": (alike if len(alike) else window)[-1].item(),
            "days": len(alike),
        }
        so = f"Mean mismatch {clock.unshifted_rpm:.0f} rpm as recorded, {clock.best_rpm:.0f} so moved."
        way = f"{abs(shift)} min {'early' if shift < 0 else 'late'} by the recorded wall clock"
        change = self._unmoved(pump, history, shift)
        moved = np.roll(self.days.plan[clock.rows[-1]], shift // QUARTER_MIN)
        outages, within = self.outages.get(pump, []), self.parameters["A5"]["within_min"]
        hole = hole_before(history, outages, about, within, self.days.plan[clock.rows[-1]], moved)
        reset = hole or stood_before(history, outages, about, moved)
        if change is not None:
            yield {**base, "rule_id": "A2", "threshold": float(change[0]), "extra": f"{way}. {so} {change[1]}"}
        elif is_half_day(shift) and not hole:  # a stop alone may be the hand's that put the clock half a day off
            after = f" It began on {since}: {reset}." if reset else ""
            yield {**base, "rule_id": "A1", "threshold": float(HALF_DAY_MIN), "extra": f"{so}{after}"}
        elif reset:
            yield {**base, "rule_id": "A5", "threshold": within, "extra": f"{way}: {reset}. {so}"}
        elif pump in self.drifts:
            yield self._drift(pump, clock)
        elif abs(about) < self.parameters["A3"]["late_min"]:
            return
        elif len(alike) >= self.parameters["A3"]["days"]:
            least = self.parameters["A3"]["late_min"]
            yield {**base, "rule_id": "A3", "threshold": least, "extra": f"{way}. {so}"}
        else:
            most = int(self.parameters["A3"]["days"])
            text = f"it runs {way}, so far on {len(alike)} days of {most} that are asked for"
            yield _silent("A3", measured=float(shift), extra=text)

    def _unmoved(self, pump: str, history: History, shift: int) -> tuple[int, str] | None:
        """The shift of a clock that was not moved at the last clock change, and words, if that is what it shows."""
        change = self.changes.get(pump)
        if change is None or apart(shift, change["unmoved_shift_min"]) > QUARTER_MIN:
            return None
        day, unmoved = change["change_day"], change["unmoved_shift_min"]
        if history.began is None:
            if history.day[0].item() < day:
                return None
            return unmoved, f"Days before the clock change of {day} were not compared."
        before = history.shift_before(history.began)
        # A clock that was out before the change is out for another reason; a day is what dating may err.
        near = timedelta(days=-1) <= history.began - day <= timedelta(days=self.parameters["A2"]["change_days"])
        if not near or before is None or apart(before, 0) > QUARTER_MIN:
            return None
        if history.clear_between(day, history.began) >= SHORTEST_DAYS:
            return None  # it kept its plan after the change, so it was moved at it
        return unmoved, f"Before the clock change of {day} it kept its plan."

    def _drift(self, pump: str, clock: Clock) -> dict[str, object]:
        history, drift = self.series[pump], self.drifts[pump]
        slope = drift.slope
        late = history.late(self.days.day_local[clock.rows])
        loses = "loses" if slope.slope > 0 else "gains"
        now = "" if late is None else f" It is now {abs(late):.0f} min {'early' if late < 0 else 'late'}."
        far = late is not None and abs(late) >= self.parameters["A3"]["late_min"]
        return {
            "rule_id": "A4",
            "verdict": "found",
            "severity": "next visit" if far else None,
            "measured": slope.slope * 60,
            "threshold": self.parameters["A4"]["seconds_a_day"],
            "unit": "s a day",
            "first_day": drift.first_day,
            "last_day": history.day[-1].item(),
            "days": drift.days,
            "extra": f"{loses} {abs(slope.slope) * 60:.0f} s a day "
            f"({abs(slope.low) * 60:.0f} to {abs(slope.high) * 60:.0f}).{now}",
        }


def _silent(rule_id: str, **said: object) -> dict[str, object]:
    return {"rule_id": rule_id, "verdict": "cannot tell", "unit": "min", **said}
