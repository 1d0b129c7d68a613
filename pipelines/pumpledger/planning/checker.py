"""A second look at a plan: it is run for days as if it had been logged, and everything is measured from the log.

Belongs here: the check that shares nothing with the searches. The plan's speeds become readings each five minutes, the
profile's own code cuts them into spans and tells their causes, the accounts' own queries put water, energy and money on
them, and each requirement is measured along real minutes.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl

from pumpledger.accounting.balance import find_aux_draw
from pumpledger.accounting.daily import AccountingParameters
from pumpledger.engine.account_tables import LOADING
from pumpledger.engine.database import Database
from pumpledger.engine.tables import READINGS, SPEED_GRID
from pumpledger.planning.problem import (
    QUARTERS,
    AsKeyed,
    Continuous,
    FlowLimit,
    Hours,
    LoadWindow,
    LongestPause,
    Plan,
    PlanProblem,
    QuietWindow,
    Requirement,
    SpeedLimit,
    Turnover,
)
from pumpledger.profile.build import build_spans
from pumpledger.profile.calendar import load_calendar, midnight_utc
from pumpledger.register.fields import PUMPS, SITES, Field, inside_columns
from pumpledger.verdicts.value_modes import BAD_VALUES

_EACH_S, _GAP_S = 300, 900
_NEAR = 1e-6
_DAY_MIN = 1440.0


@dataclass(frozen=True, slots=True)
class Measured:
    """What a plan did on one local day: ``lacks`` by name of the requirement, how much is missing or too much (m3, m3/h,
    rev/min or minutes); sums of the day as accounted; ``off_plan_min`` minutes whose cause is neither the plan nor a
    pause of it; money without starts, None without a tariff."""

    lacks: dict[str, float]
    volume_m3_lo: float
    volume_m3_mid: float
    energy_kwh_mid: float
    cost: float | None
    off_plan_min: float


@dataclass(frozen=True, slots=True)
class _Stretch:
    """Minutes of the local day, speed [rev/min], flows [m3/h]."""

    start: float
    stop: float
    speed: float
    flow_lo: float
    flow_hi: float

    def within(self, start: float, stop: float) -> float:
        return max(min(self.stop, stop) - max(self.start, start), 0.0)


def measure(problem: PlanProblem, plan: Plan, zone: str = "UTC", day: date = date(2026, 7, 15)) -> Measured:
    """Run a plan over the days around ``day`` and measure that day.

    Hours by the clock are measured as minutes since midnight, so that windows are told on days of 24 hours only.
    """
    days = [day + timedelta(days=step) for step in (-1, 0, 1)]
    with Database(threads=1) as db:
        _load(db, problem, plan, zone, days)
        build_spans(db, timedelta(seconds=_GAP_S))
        db.load("loading", LOADING.empty())
        find_aux_draw(db)
        db.build("tariff_window", "accounting/tariff_window")
        parameters = AccountingParameters(standby_w=problem.standby_w)
        chosen = parameters.pick("meter_accuracy", "flow_meter_accuracy", "standby_w")
        db.build("span_estimate", "accounting/span_estimate", chosen)
        db.load("unknown_estimate", db.table("span_estimate").clear())
        db.build("day_band", "accounting/day_band")
        estimates = db.table("span_estimate")
        spans, bands = db.table("span").filter(pl.col("day_local") == day), db.table("day_band")
    today = estimates.filter(pl.col("day_local") == day)
    begin = midnight_utc(zone, day)
    stretches = [_stretch(row, begin) for row in today.sort("start_utc").iter_rows(named=True)]
    off_plan = spans.filter(~pl.col("cause").is_in(["plan period", "off"]))["duration_min"].sum()
    money = bands.filter(pl.col("day_local") == day)
    return Measured(
        lacks={
            requirement.name: lack
            for requirement in problem.requirements
            if not (lack := _lack(problem, stretches, _longest_pause(estimates), requirement)) <= _NEAR
        },
        volume_m3_lo=float(today["volume_m3_lo"].sum()),
        volume_m3_mid=float(today["volume_m3_mid"].sum()),
        energy_kwh_mid=float(today["energy_kwh_mid"].sum()),
        cost=None if problem.price_per_kwh is None else float((money["energy_kwh"] * money["price_per_kwh"]).sum()),
        off_plan_min=float(off_plan),
    )


def _load(db: Database, problem: PlanProblem, plan: Plan, zone: str, days: list[date]) -> None:
    pump, site = problem.pump_id, problem.site_id
    text, real = pl.String, pl.Float64
    db.load("site", _row(SITES, site_id=site, zone=zone, weather="none", tariff="asked"))
    db.load("pump", _row(PUMPS, pump_id=pump, site_id=site, aux_load="none", full_speed_rpm=3450.0))
    keyed = [
        (pump, days[0], number, float(period.speed_rpm), period.start * 15, (period.start + period.length) * 15)
        for number, period in enumerate(plan, 1)
    ]
    keyed = [(*row[:5], row[5] if row[5] <= _DAY_MIN else row[5] - int(_DAY_MIN)) for row in keyed]
    db.load("plan", pl.DataFrame(keyed, schema=_PLAN, orient="row"))
    db.load("weather", pl.DataFrame(schema={"weather": text, "time_utc": pl.Datetime("us"), "air_temperature_c": real}))
    load_calendar(db, [zone], days)
    readings = _readings(pump, plan, zone, days)
    db.load("reading", READINGS.conform(readings))
    db.load("export_hold", pl.DataFrame({"export_id": ["plan"], "hold_s": [_EACH_S], "gap_limit_s": [_GAP_S]}))
    db.load("bad_value", BAD_VALUES.empty())
    db.load("pump_doubt", pl.DataFrame(schema={"pump_id": text, "doubt": text}))
    db.load("speed_grid", SPEED_GRID.conform(_grid(problem)))
    rates = [
        ("asked", f"band {quarter}", kind, quarter * 15, quarter * 15 + 15, float(price), False, None)
        for kind in ("weekday", "weekend")
        for quarter, price in enumerate(problem.price)
    ]
    db.load("tariff_rate", pl.DataFrame(rates, schema=_RATE, orient="row"))
    db.load("tariff_holiday", pl.DataFrame(schema={"tariff": text, "day_local": pl.Date, "day_kind": text}))


def _row(fields: tuple[Field, ...], **known: object) -> pl.DataFrame:
    """One row of a register table; what is not known is empty."""
    schema = {column: _KINDS.get(kind, pl.String) for column, kind in inside_columns(fields).items()}
    return pl.DataFrame([dict.fromkeys(schema) | known], schema=schema)


_KINDS = {"number": pl.Float64, "count": pl.Int64, "day": pl.Date, "clock": pl.Int64, "yes_no": pl.Boolean}
_PLAN = {
    "pump_id": pl.String,
    "valid_from": pl.Date,
    "period": pl.Int64,
    "speed_rpm": pl.Float64,
    "start_min": pl.Int64,
    "stop_min": pl.Int64,
}
_RATE = {
    "tariff": pl.String,
    "band": pl.String,
    "day_kind": pl.String,
    "start_min": pl.Int64,
    "stop_min": pl.Int64,
    "price_per_kwh": pl.Float64,
    "peak": pl.Boolean,
    "month": pl.Int64,
}


def _readings(pump: str, plan: Plan, zone: str, days: list[date]) -> pl.DataFrame:
    """The controller's speed by the wall clock, each five minutes of real time."""
    place = ZoneInfo(zone)
    moment, end = midnight_utc(zone, days[0]), midnight_utc(zone, days[-1] + timedelta(days=1))
    rows = []
    while moment < end:
        wall = moment.replace(tzinfo=UTC).astimezone(place)
        minute = wall.hour * 60 + wall.minute
        speed = sum(p.speed_rpm for p in plan if (minute - p.start * 15) % _DAY_MIN < p.length * 15)
        rows.append((pump, moment, wall.date(), float(speed), "plan", len(rows) + 1))
        moment += timedelta(seconds=_EACH_S)
    columns = ("pump_id", "time_utc", "day_local", "speed_rpm", "export_id", "line")
    known = pl.DataFrame(rows, schema={name: READINGS.schema[name] for name in columns}, orient="row")
    return known.with_columns(
        pl.lit(None, dtype=kind).alias(n) for n, kind in READINGS.schema.items() if n not in columns
    )


def _grid(problem: PlanProblem) -> pl.DataFrame:
    speeds = problem.speeds
    values = {
        "speed_rpm": speeds.speed_rpm,
        **{f"flow_m3h_{end}": getattr(speeds, f"flow_{end}") for end in ("lo", "mid", "hi")},
        **{f"power_w_{end}": getattr(speeds, f"power_{end}") for end in ("lo", "mid", "hi")},
    }
    frame = pl.DataFrame(values).with_columns(pl.all().fill_nan(None))
    return frame.with_columns(
        pl.lit(problem.pump_id).alias("pump_id"),
        pl.lit("curve").alias("flow_source"),
        pl.lit("none").alias("power_source"),
    )


def _stretch(row: dict[str, object], begin: datetime) -> _Stretch:
    start = (row["start_utc"] - begin).total_seconds() / 60
    hours = row["duration_min"] / 60
    flows = [np.nan if row[name] is None else row[name] / hours for name in ("volume_m3_lo", "volume_m3_hi")]
    flows = [0.0, 0.0] if row["kind"] == "off" else flows
    return _Stretch(start, start + row["duration_min"], 0.0 if row["kind"] == "off" else row["speed_rpm"], *flows)


def _longest_pause(estimates: pl.DataFrame) -> float:
    """Minutes of the longest rest, joined across midnight; a rest that reaches the ends of the log is at least so long."""
    longest, begun = 0.0, None
    for kind, start, end in estimates.sort("start_utc").select("kind", "start_utc", "end_utc").iter_rows():
        begun = None if kind == "run" else begun or start
        longest = max(longest, 0.0 if begun is None else (end - begun).total_seconds() / 60)
    return longest


def _lack(problem: PlanProblem, stretches: list[_Stretch], pause: float, requirement: Requirement) -> float:
    """How much is missing, or too much; 0 or less: kept."""
    if getattr(requirement, "spares_loads", False):
        for other in problem.requirements:
            if isinstance(other, LoadWindow):
                stretches = [part for whole in stretches for part in _outside(whole, other.start, other.length)]
    match requirement:
        case Turnover(_, required):
            return required - sum(s.flow_lo * (s.stop - s.start) / 60 for s in stretches)
        case FlowLimit(_, most, _):
            return max((s.flow_hi for s in stretches), default=0.0) - most
        case SpeedLimit(_, most, _):
            return max((s.speed for s in stretches), default=0.0) - most
        case LoadWindow(_, start, length, least):
            return length * 15 - _held(stretches, start, length, lambda speed: speed >= least - _NEAR)
        case QuietWindow(_, start, length, most):
            return length * 15 - _held(stretches, start, length, lambda speed: speed <= most + _NEAR)
        case AsKeyed(_, start, length):
            kept = 0.0
            for quarter in range(start, start + length):
                asked = next(
                    (p.speed_rpm for p in problem.in_force or () if (quarter - p.start) % QUARTERS < p.length), 0.0
                )
                kept += _held(stretches, quarter % QUARTERS, 1, lambda speed, asked=asked: abs(speed - asked) < 0.5)
            return length * 15 - kept
        case Hours(_, least, quarters):
            fast = sum(s.stop - s.start for s in stretches if s.speed >= max(least - _NEAR, 1.0))
            return quarters * 15 - fast
        case LongestPause(_, quarters):
            return pause - quarters * 15
        case Continuous(_, least):
            idle = sum(s.stop - s.start for s in stretches if s.speed == 0)
            return max(idle, least - min(s.flow_lo for s in stretches))
    raise TypeError(requirement)


def _pieces(start: int, length: int) -> list[tuple[float, float]]:
    """A window by the clock as minutes of the day, in one or two pieces."""
    begin, end = start * 15.0, (start + length) * 15.0
    return [(begin, end)] if end <= _DAY_MIN else [(begin, _DAY_MIN), (0.0, end - _DAY_MIN)]


def _held(stretches: list[_Stretch], start: int, length: int, holds: object) -> float:
    """Minutes of a window in which the speed holds to something."""
    pieces = _pieces(start, length)
    return sum(s.within(*piece) for s in stretches if holds(s.speed) for piece in pieces)


def _outside(whole: _Stretch, start: int, length: int) -> list[_Stretch]:
    """What of a stretch lies outside a window."""
    edges = sorted({whole.start, whole.stop, *(e for piece in _pieces(start, length) for e in piece)})
    parts = [(a, b) for a, b in zip(edges, edges[1:], strict=False) if whole.start <= a and b <= whole.stop]
    return [
        _Stretch(a, b, whole.speed, whole.flow_lo, whole.flow_hi)
        for a, b in parts
        if not any(begin <= a and b <= end for begin, end in _pieces(start, length))
    ]
