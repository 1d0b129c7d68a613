"""Spans with causes from stretches written down by the minute: what `steady.sql` would make of a log, by hand."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import polars as pl

from pumpledger.engine.database import Database
from pumpledger.profile.build import CAUSES
from pumpledger.profile.calendar import load_calendar

ZONE = "America/Los_Angeles"
ORDINARY, SPRING, AUTUMN = date(2026, 10, 30), date(2026, 3, 8), date(2026, 11, 1)  # 24, 23 and 25 hours
PLAN = ((1, 2600.0, 480, 540), (2, 1200.0, 540, 1080))  # 08:00-09:00 fast, 09:00-18:00 slow
PUMP = {
    "priming_speed_rpm": 1800.0,
    "priming_min": 5.0,
    "freeze_setpoint_c": None,
    "freeze_speed_rpm": None,
    "aux_min_speed_rpm": None,
}
Stretch = tuple[float, float | None]
"""From this minute on, a speed [rev/min]; None is a hole in the log. A third item says whether the load is on."""


def midnight(day: date) -> datetime:
    return (
        datetime(day.year, day.month, day.day, tzinfo=ZoneInfo(ZONE)).astimezone(ZoneInfo("UTC")).replace(tzinfo=None)
    )


def steady_rows(stretches: Sequence[tuple], day: date, stop_min: float, sample_min: float | None) -> list[dict]:
    """Rows of ``steady`` from minutes elapsed since local midnight of ``day``; ``sample_min`` None is a log of changes.
    A sampled log begins a row at each midnight."""
    rows = []
    state = {start: rest for start, *rest in stretches}
    at_midnight = [(midnight(day + timedelta(days=n)) - midnight(day)).total_seconds() / 60 for n in range(1, 4)]
    for cut in at_midnight if sample_min else ():
        state.setdefault(
            cut, state[max(start for start in state if start <= cut)] if min(state, default=cut) < cut else [None]
        )
    cut_up = [(start, *rest) for start, rest in sorted(state.items()) if start < stop_min]
    for at, (start, rpm, *aux) in enumerate(cut_up):
        end = cut_up[at + 1][0] if at + 1 < len(cut_up) else stop_min
        if rpm is None or end <= start:
            continue
        rows.append(
            {
                "pump_id": "P1",
                "start_utc": midnight(day) + timedelta(minutes=start),
                "end_utc": midnight(day) + timedelta(minutes=end),
                "is_on": rpm > 0,
                "speed_rpm": float(rpm),
                "energy_kwh": rpm / 1000 * (end - start) / 60,
                "from_power": True,
                "flow_m3h": None,
                "aux_on": aux[0] if aux else None,
                "readings": 1 if sample_min is None else max(round((end - start) / sample_min), 1),
            }
        )
    return rows


STEADY = {
    "pump_id": pl.String,
    "start_utc": pl.Datetime("us"),
    "end_utc": pl.Datetime("us"),
    "is_on": pl.Boolean,
    "speed_rpm": pl.Float64,
    "energy_kwh": pl.Float64,
    "from_power": pl.Boolean,
    "flow_m3h": pl.Float64,
    "aux_on": pl.Boolean,
    "readings": pl.Int64,
}


def spans_of(
    rows: Sequence[dict],
    day: date = ORDINARY,
    days: int = 1,
    plan: Sequence[tuple] = PLAN,
    air_c: Sequence[float] | None = None,
    **pump: object,
) -> pl.DataFrame:
    """The table ``span``; ``air_c`` gives the station's hours from local midnight of ``day`` on."""
    with Database(threads=1) as db:
        db.load("site", pl.DataFrame({"site_id": ["S1"], "zone": [ZONE], "weather": ["w"]}))
        fields = PUMP | pump
        db.load("pump", pl.DataFrame([{"pump_id": "P1", "site_id": "S1", **fields}], schema_overrides=dict.fromkeys(fields, pl.Float64)))  # fmt: skip
        periods = [("P1", date(2026, 1, 1), *period) for period in plan]
        names = {"pump_id": pl.String, "valid_from": pl.Date, "period": pl.Int64, "speed_rpm": pl.Float64}
        db.load("plan", pl.DataFrame(periods, schema=names | {"start_min": pl.Int64, "stop_min": pl.Int64}, orient="row"))  # fmt: skip
        hours = [("w", midnight(day) + timedelta(hours=at), air) for at, air in enumerate(air_c or [])]
        station = {"weather": pl.String, "time_utc": pl.Datetime("us"), "air_temperature_c": pl.Float64}
        db.load("weather", pl.DataFrame(hours, schema=station, orient="row"))
        load_calendar(db, [ZONE], [day + timedelta(days=at) for at in range(days)])
        db.load("steady", pl.DataFrame(rows, schema=STEADY))
        db.build("observed", "profile/observed")
        db.build("piece", "profile/piece")
        db.build("span", "profile/causes", CAUSES)
        return db.table("span").sort("start_utc")


def minutes(spans: pl.DataFrame) -> dict[str, float]:
    """Minutes by cause."""
    summed = spans.group_by("cause").agg(pl.col("duration_min").sum())
    return {cause: round(value, 6) for cause, value in sorted(summed.iter_rows())}
