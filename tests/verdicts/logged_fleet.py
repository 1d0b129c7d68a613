"""A made-up fleet for the verdicts on identity, clocks and counters: pumps that keep their plans by the wall clock, and
loggers that stamp what they see in a zone of their own.

Readings are made minute by minute from ``zoneinfo``, without the pipeline's own calendar. Power is 45 + 52 (n/1000)^3 W
times a factor of the pump: invented.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta, timezone
from functools import cache
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl

from pumpledger.engine.database import Database
from pumpledger.engine.tables import EXPORTS, READINGS
from pumpledger.profile.calendar import load_calendar
from pumpledger.register.fields import PLANS, PUMPS, SITES, VISITS, inside_columns

LA = "America/Los_Angeles"
AUTUMN = [date(2026, 10, 26) + timedelta(days=n) for n in range(14)]  # the clocks go back on Sunday 2026-11-01
SUMMER = [date(2026, 7, 6) + timedelta(days=n) for n in range(14)]
SPRING = [date(2026, 3, 2) + timedelta(days=n) for n in range(14)]  # the clocks go forward on Sunday 2026-03-08
KINDS = {
    "text": pl.String,
    "id": pl.String,
    "zone": pl.String,
    "choice": pl.String,
    "number": pl.Float64,
    "count": pl.Int64,
    "months": pl.String,
    "day": pl.Date,
    "clock": pl.Int64,
    "yes_no": pl.Boolean,
}
Plan = tuple[tuple[int, float, int, int], ...]
"""(period, rev/min, start, stop) by the wall clock [min]."""


@cache
def zone_of(name: str) -> timezone | ZoneInfo:
    """``utc``, a fixed offset such as ``-08:00``, or an IANA zone."""
    if name == "utc":
        return UTC
    if name[0] in "+-":
        sign = 1 if name[0] == "+" else -1
        return timezone(sign * timedelta(hours=int(name[1:3]), minutes=int(name[4:6])))
    return ZoneInfo(name)


@cache
def misread(true_utc: datetime, logger_zone: str, read_zone: str) -> datetime:
    """The instant that comes out when a stamp of ``logger_zone`` is read as one of ``read_zone``, naive UTC."""
    wall = true_utc.replace(tzinfo=UTC).astimezone(zone_of(logger_zone)).replace(tzinfo=None)
    return wall.replace(tzinfo=zone_of(read_zone)).astimezone(UTC).replace(tzinfo=None)


@cache
def instants(zone: str, first: date, last: date, step_min: int) -> list[tuple[datetime, date, int]]:
    """Every sample from the first local midnight to the end of the last day: naive UTC, local day, wall clock [min]."""
    place = ZoneInfo(zone)
    at = datetime(first.year, first.month, first.day, tzinfo=place).astimezone(UTC)
    after = last + timedelta(days=1)
    end = datetime(after.year, after.month, after.day, tzinfo=place).astimezone(UTC)
    found = []
    while at < end:
        wall = at.astimezone(place)
        found.append((at.replace(tzinfo=None), wall.date(), wall.hour * 60 + wall.minute))
        at += timedelta(minutes=step_min)
    return found


def varied_plan(number: int) -> Plan:
    """A plan of two periods that no other pump has, and that no shift round the clock fits again."""
    start = 360 + 15 * (number % 9)
    return ((1, 2200 + 50 * number, start, start + 90), (2, 1100 + 75 * number, start + 90, start + 480 + 15 * number))


def power_w(speed_rpm: float, factor: float = 1.0) -> float:
    return factor * (45 + 52 * (speed_rpm / 1000) ** 3) if speed_rpm else 4.0


def frame(fields: tuple, rows: list[dict]) -> pl.DataFrame:
    schema = {column: KINDS[kind] for column, kind in inside_columns(fields).items()}
    return pl.DataFrame([{**dict.fromkeys(schema), **row} for row in rows], schema=schema)


class LoggedFleet:
    """Pumps added one by one; `database` gives what the verdicts read."""

    def __init__(self, days: list[date] = AUTUMN, step_min: int = 15) -> None:
        self.days, self.step_min = days, step_min
        self.rng = np.random.default_rng(7)
        self.sites: list[dict] = []
        self.pumps: list[dict] = []
        self.plans: list[dict] = []
        self.visits: list[dict] = []
        self.readings: dict[str, list[dict]] = {}
        self.sources: dict[str, str] = {}
        self.dialects: dict[str, tuple[str, str]] = {}
        self.exports: list[dict] = []
        self.extents: list[dict] = []

    def source(self, name: str, zone: str, time_format: str = "%Y-%m-%d %H:%M") -> None:
        """Declare by which zone and format the exports of a source are read."""
        self.dialects[name] = (zone, time_format)

    def pump(
        self,
        pump_id: str,
        plan: Plan | None,
        source: str = "gateway",
        zone: str = LA,
        late_min: Callable[[date], int] = lambda day: 0,
        runs: Plan | None = None,
        factor: float = 1.0,
        stamp: Callable[[datetime], datetime] = lambda at: at,
    ) -> None:
        """A pump that keeps ``runs`` (its recorded ``plan`` where not given) ``late_min`` late by the wall clock;
        ``stamp`` turns the true instant into the one that is read."""
        self.sites.append({"site_id": f"S-{pump_id}", "site_name": f"Made-up {pump_id}", "zone": zone})
        self.pumps.append({"pump_id": pump_id, "site_id": f"S-{pump_id}", "full_speed_rpm": 3450.0})
        self.sources[pump_id] = source
        for period, rpm, start, stop in plan or ():
            self.plans.append({"pump_id": pump_id, "valid_from": date(2026, 1, 1), "period": period,
                               "speed_rpm": float(rpm), "start_min": start, "stop_min": stop})  # fmt: skip
        rows = []
        for at, day, wall_min in instants(zone, self.days[0], self.days[-1], self.step_min):
            clock = (wall_min - late_min(day)) % 1440
            rpm = next((n for _, n, start, stop in runs or plan or () if start <= clock < stop), 0)
            shown = rpm + int(self.rng.integers(-5, 6)) if rpm else 0
            watts = round(power_w(rpm, factor) * (1 + 0.005 * float(self.rng.standard_normal())), 1)
            rows.append({"pump_id": pump_id, "time_utc": stamp(at), "speed_rpm": float(shown), "power_w": watts,
                         "export_id": "e", "line": len(rows) + 2})  # fmt: skip
        self.readings[pump_id] = rows

    def swap_logs(self, one: str, other: str, from_day: date) -> None:
        """From the local midnight of ``from_day`` (in Los Angeles) on, each log stands under the other's name."""
        start = datetime(from_day.year, from_day.month, from_day.day, tzinfo=ZoneInfo(LA)).astimezone(UTC)
        parts = {}
        for pump in (one, other):
            rows = self.readings[pump]
            parts[pump] = [
                [row for row in rows if (row["time_utc"] >= start.replace(tzinfo=None)) is late]
                for late in (False, True)
            ]
        self.readings[one] = [*parts[one][0], *({**row, "pump_id": one} for row in parts[other][1])]
        self.readings[other] = [*parts[other][0], *({**row, "pump_id": other} for row in parts[one][1])]

    def export(self, file: str, pump_id: str, days: list[date]) -> None:
        """A file in the ledger that holds these local days of a pump, each whole."""
        self.exports.append({"export_id": file, "file": file, "source": self.sources[pump_id], "status": "read"})
        for day in days:
            noon = datetime(day.year, day.month, day.day, 20)  # about noon in Los Angeles, as UTC
            self.extents.append({"export_id": file, "pump_id": pump_id, "first_utc": noon - timedelta(hours=9),
                                 "last_utc": noon + timedelta(hours=9)})  # fmt: skip

    def count(self, pump_id: str, first_kwh: float = 100.0, first_h: float = 50.0, power: bool = False) -> None:
        """Give a pump counters of what it truly draws and runs, in steps of 0.01, instead of its ``power``."""
        kwh, hours = first_kwh, first_h
        for row in self.readings[pump_id]:
            row |= {"energy_total_kwh": int(kwh * 100 + 1e-6) / 100, "run_total_h": int(hours * 100 + 1e-6) / 100}
            kwh += row["power_w"] * self.step_min / 60000
            hours += self.step_min / 60 if row["speed_rpm"] else 0
            if not power:
                row["power_w"] = None

    def lose(self, pump_id: str, lost: Callable[[dict], bool]) -> None:
        self.readings[pump_id] = [row for row in self.readings[pump_id] if not lost(row)]

    def edit(self, pump_id: str, change: Callable[[dict], dict]) -> None:
        self.readings[pump_id] = [row | change(row) for row in self.readings[pump_id]]

    def database(self) -> Database:
        db = Database(threads=2)
        rows = [{**dict.fromkeys(READINGS.columns), **row} for pump in self.readings.values() for row in pump]
        readings = pl.DataFrame(rows, schema=READINGS.schema).unique(
            ["pump_id", "time_utc"], keep="first", maintain_order=True
        )
        db.load("reading", READINGS.conform(readings))
        for name, fields, given in (
            ("site", SITES, self.sites),
            ("pump", PUMPS, self.pumps),
            ("plan", PLANS, self.plans),
            ("visit", VISITS, self.visits),
        ):
            db.load(name, frame(fields, given))
        load_calendar(db, sorted({site["zone"] for site in self.sites}), self.days)
        hold = {"export_id": ["e", "f"], "hold_s": [self.step_min * 60] * 2, "gap_limit_s": [self.step_min * 180] * 2}
        db.load("export_hold", pl.DataFrame(hold))
        db.load(
            "export",
            pl.DataFrame([{**dict.fromkeys(EXPORTS.columns), **row} for row in self.exports], schema=EXPORTS.schema),
        )
        sources = {"pump_id": list(self.sources), "source": list(self.sources.values())}
        db.load("pump_source", pl.DataFrame(sources, schema={"pump_id": pl.String, "source": pl.String}))
        dialects = [(name, *facts) for name, facts in self.dialects.items()]
        schema = {"source": pl.String, "zone": pl.String, "time_format": pl.String}
        db.load("source_dialect", pl.DataFrame(dialects, schema=schema, orient="row"))
        extents = {
            "export_id": pl.String,
            "pump_id": pl.String,
            "first_utc": pl.Datetime("us"),
            "last_utc": pl.Datetime("us"),
        }
        db.load("extent", pl.DataFrame(self.extents, schema=extents))
        return db
