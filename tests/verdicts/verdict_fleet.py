"""A small made-up fleet of readings for the tests of verdicts: what pumps log in, the tables that `weigh` reads out.

Power is 45 + 52 (n/1000)^3 W and flow 0.006 n m3/h with a little seeded noise: invented numbers.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

import numpy as np
import polars as pl

from pumpledger.engine.database import Database
from pumpledger.engine.tables import READINGS
from pumpledger.profile.calendar import load_calendar, midnight_utc
from pumpledger.register.fields import PLANS, PUMPS, SITES, VISITS, inside_columns
from pumpledger.verdicts.run import weigh
from pumpledger.verdicts.store import Decisions

ZONE = "America/Los_Angeles"
FIRST = date(2026, 10, 26)  # the clocks go back on Sunday 2026-11-01, so one of the days has 25 hours
DAYS = [FIRST + timedelta(days=n) for n in range(14)]
START = midnight_utc(ZONE, FIRST)
PLAN = ((1, 2600, 360, 480), (2, 1500, 480, 720), (3, 1100, 720, 1200))
_POLARS = {"number": pl.Float64, "count": pl.Int64, "day": pl.Date, "clock": pl.Int64, "yes_no": pl.Boolean}


def power_w(speed_rpm: np.ndarray) -> np.ndarray:
    return np.where(speed_rpm > 0, 45 + 52 * (speed_rpm / 1000) ** 3, 3.4)


def planned(clock_min: np.ndarray) -> np.ndarray:
    speed = np.zeros(len(clock_min))
    for _, rpm, start, stop in PLAN:
        speed[(clock_min >= start) & (clock_min < stop)] = rpm
    return speed


@dataclass
class Log:
    """Readings of one pump as columns of equal length; change them before `Fleet.add`."""

    time_utc: list[datetime]
    speed_rpm: np.ndarray
    power_w: np.ndarray
    flow_m3h: np.ndarray | None = None
    energy_total_kwh: np.ndarray | None = None
    run_total_h: np.ndarray | None = None
    hold_s: int = 300
    gap_limit_s: int = 1200

    def days(self) -> np.ndarray:
        """Number of the UTC day of each reading since START."""
        return np.array([(moment - START).days for moment in self.time_utc])


def healthy(step_s: int = 300, days: int = 14, seed: int = 1, speed: Callable | None = None) -> Log:
    """A pump that keeps PLAN (by the clock of the first day), sampled every ``step_s``, with its counters right."""
    count = days * 86400 // step_s
    seconds = np.arange(count) * step_s
    noise = np.random.default_rng(seed)
    base = (speed or planned)(seconds // 60 % 1440)
    shaft = np.where(base > 0, base + np.round(noise.uniform(-4, 4, count)), 0)
    watts = np.round(power_w(shaft) * (1 + noise.uniform(-0.01, 0.01, count)), 1)
    energy = 1000 + np.concatenate([[0], np.cumsum(watts * step_s)[:-1]]) / 3.6e6
    hours = 500 + np.concatenate([[0], np.cumsum((shaft > 0) * step_s)[:-1]]) / 3600
    times = [START + timedelta(seconds=int(second)) for second in seconds]
    return Log(times, shaft, watts, 0.006 * shaft, energy, hours, hold_s=step_s, gap_limit_s=4 * step_s)


@dataclass
class Fleet:
    """Pumps added one by one, each at its own site; `weigh` gives the verdicts."""

    sites: list[dict] = field(default_factory=list)
    pumps: list[dict] = field(default_factory=list)
    plans: list[dict] = field(default_factory=list)
    visits: list[dict] = field(default_factory=list)
    sources: list[dict] = field(default_factory=list)
    exports: list[dict] = field(default_factory=list)
    readings: list[pl.DataFrame] = field(default_factory=list)

    def add(
        self,
        log: Log | None,
        pump_id: str = "P-1",
        source: str = "gateway",
        visits: tuple[tuple[float, float | None, float | None], ...] = (),
        plan: bool = True,
        **pump: object,
    ) -> Fleet:
        """Add a pump with its log; ``visits`` are (speed_rpm, power_w, flow_m3h); quantities not logged are null."""
        site_id = f"S{pump_id}"
        self.sites.append({"site_id": site_id, "site_name": site_id, "zone": ZONE, "pool_volume_m3": 80.0})
        self.pumps.append({"pump_id": pump_id, "site_id": site_id, "full_speed_rpm": 3450.0} | pump)
        if plan:
            names = ("period", "speed_rpm", "start_min", "stop_min")
            start = {"pump_id": pump_id, "valid_from": date(2026, 1, 1)}
            self.plans += [start | dict(zip(names, row, strict=True)) for row in PLAN]
        self.visits += [
            {"site_id": site_id, "pump_id": pump_id, "day_local": date(2026, 6, 1), "work": "commissioning"}
            | {"speed_rpm": rpm, "power_w": watts, "flow_m3h": flow}
            for rpm, watts, flow in visits
        ]
        self.sources.append({"pump_id": pump_id, "source": source})
        if log is not None:
            export = f"export-{pump_id}"
            self.exports.append({"export_id": export, "hold_s": log.hold_s, "gap_limit_s": log.gap_limit_s})
            columns = {name: getattr(log, name) for name in ("speed_rpm", "power_w", "flow_m3h", "energy_total_kwh")}
            columns |= {"time_utc": log.time_utc, "run_total_h": log.run_total_h}
            frame = pl.DataFrame({name: values for name, values in columns.items() if values is not None})
            self.readings.append(_completed(frame.fill_nan(None), pump_id, export))
        return self

    def database(self, decisions: Decisions | None = None) -> Database:
        db = Database(threads=1)
        db.load("site", _frame(SITES, self.sites))
        db.load("pump", _frame(PUMPS, self.pumps))
        db.load("plan", _frame(PLANS, self.plans))
        db.load("visit", _frame(VISITS, self.visits))
        db.load("pump_curve", pl.DataFrame(schema={"curve": pl.String, "speed_rpm": pl.Float64}))
        load_calendar(db, [ZONE], DAYS)
        db.load("reading", READINGS.conform(pl.concat(self.readings)))
        db.load("export_hold", pl.DataFrame(self.exports))
        db.load("pump_source", pl.DataFrame(self.sources))
        return db

    def weigh(self, *modes: str, decisions: Decisions | None = None, **overrides: dict) -> list[dict]:
        """The verdicts of ``modes``, as rows."""
        with self.database() as db:
            rows = weigh(db, decisions or Decisions(), overrides)
            self.bad = db.table("bad_value")
        return rows.filter(pl.col("mode").is_in(modes)).to_dicts()


def _completed(frame: pl.DataFrame, pump_id: str, export: str) -> pl.DataFrame:
    bounds = [midnight_utc(ZONE, day) for day in [*DAYS, DAYS[-1] + timedelta(days=1)]]
    days = [DAYS[min(max(np.searchsorted(bounds, moment, "right") - 1, 0), 13)] for moment in frame["time_utc"]]
    given = frame.with_columns(
        pump_id=pl.lit(pump_id), day_local=pl.Series(days), export_id=pl.lit(export), line=pl.int_range(2, pl.len() + 2)
    )
    lacking = {name: kind for name, kind in READINGS.schema.items() if name not in given.columns}
    absent = [pl.lit(None, dtype=kind).alias(name) for name, kind in lacking.items()]
    return READINGS.conform(given.with_columns(absent))


def _frame(fields: tuple, rows: list[dict]) -> pl.DataFrame:
    schema = {column: _POLARS.get(kind, pl.String) for column, kind in inside_columns(fields).items()}
    return pl.DataFrame([{**dict.fromkeys(schema), **row} for row in rows], schema=schema)
