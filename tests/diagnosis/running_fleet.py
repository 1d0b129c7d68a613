"""The small fleet for the rules about running habits: causes by speed, an efficiency record, power by the minute."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date, datetime, timedelta

import polars as pl
from asked_alone import asked_alone
from small_fleet import LAST, WEEK, Fleet, midnight

from pumpledger.diagnosis.run import diagnose
from pumpledger.engine.account_tables import EFFICIENCY, EFFICIENCY_RECORD
from pumpledger.engine.database import Database
from pumpledger.engine.tables import EXPORTS, READINGS, SPEED_GRID

HABITS = ("C7", "C8", "C11", "C14", "C15", "C16")
FIRST_WEEK = ("2026-W44", date(2026, 11, 1))  # ends with the day of 25 hours


def database(
    fleet: Fleet,
    causes: Mapping[float, str] | None = None,
    knee: tuple[str, int | None] | None = None,
    grid: Mapping[int, tuple[float, float]] | None = None,
    power: Iterable[tuple[str, datetime, float]] = (),
    hold_s: int | None = None,
    first_week: bool = False,
) -> Database:
    """The tables of ``fleet``.

    ``causes`` names what runs at these speeds off the plan; ``knee`` is state and speed of every pump, over ``grid``
    (speed: W, m3/h) where given; ``power`` are readings; ``hold_s`` the interval of every log.
    """
    db = fleet.database()
    off_plan = pl.col("cause") == "unexplained"
    named = pl.col("speed_rpm").replace_strict(causes or {-1.0: ""}, default="unexplained", return_dtype=pl.String)
    spans = db.table("span").with_columns(cause=pl.when(off_plan).then(named).otherwise("cause"))
    db.load("span", spans)
    if knee is not None:
        pumps = [pump["pump_id"] for pump in fleet.pumps]
        record = {"knee_state": knee[0], "knee_speed_rpm_lo": knee[1], "standby_w": 10.0}
        rows = [{**dict.fromkeys(EFFICIENCY_RECORD.columns), "pump_id": pump, **record} for pump in pumps]
        db.load("efficiency_record", pl.DataFrame(rows, schema=EFFICIENCY_RECORD.schema))
        held = [
            (pump, int(rpm)) for pump, rpm in spans.filter(kind="run").select("pump_id", "speed_rpm").unique().rows()
        ]
        rows = [{**dict.fromkeys(EFFICIENCY.columns), "pump_id": pump, "speed_rpm": rpm} for pump, rpm in sorted(held)]
        db.load("efficiency", pl.DataFrame(rows, schema=EFFICIENCY.schema))
        if grid is not None:
            rows = [
                {**dict.fromkeys(SPEED_GRID.columns), "pump_id": pump, "speed_rpm": rpm, "power_w_mid": watts}
                | {f"flow_m3h_{bound}": flow * share for bound, share in (("lo", 0.9), ("mid", 1), ("hi", 1.1))}
                for pump in pumps
                for rpm, (watts, flow) in grid.items()
            ]
            db.load("speed_grid", pl.DataFrame(rows, schema=SPEED_GRID.schema))
    rows = [
        {**dict.fromkeys(READINGS.columns), "pump_id": pump, "time_utc": time, "power_w": watts, "export_id": "e"}
        for pump, time, watts in power
    ]
    db.load("reading", pl.DataFrame(rows, schema=READINGS.schema))
    if hold_s is not None:
        read = {**dict.fromkeys(EXPORTS.columns), "export_id": "e", "source": "coast gateway", "status": "read"}
        db.load("export", pl.DataFrame([{**read, "hold_s": hold_s}], schema=EXPORTS.schema))
    if first_week:
        days = [{"day_local": day, "in_week": day <= FIRST_WEEK[1]} for day in fleet.days]
        db.load("fleet_day", pl.DataFrame(days))
    return db


def told(fleet: Fleet, rule: str, parameters: Mapping[str, float] | None = None, **more: object) -> list[dict]:
    """The findings of one rule."""
    with database(fleet, **more) as db, asked_alone(rule):
        diagnose(
            db, *(FIRST_WEEK if more.get("first_week") else (WEEK, LAST)), {rule: parameters} if parameters else None
        )
        return list(db.table("finding").filter(rule_id=rule).iter_rows(named=True))


def after_priming(
    pump: str, day: date, start_min: int, low_min: float, step_s: int = 60, settled_w: float = 500
) -> list:
    """Readings of an hour from ``start_min``: 60 % of the power for ``low_min``, then all of it."""
    begin = midnight(day) + timedelta(minutes=start_min)
    return [
        (pump, begin + timedelta(seconds=at), 0.6 * settled_w if at < 60 * low_min else settled_w)
        for at in range(0, 3600, step_s)
    ]
