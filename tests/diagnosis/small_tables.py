"""Every table of the lake of the small fleet, by plain sums over minutes.

Belongs here: from the speeds of `small_fleet.Fleet` to tables; it uses nothing of the pipeline's own SQL. Power is
45 + 52 (n/1000)^3 W and flow 0.006 n m3/h, with +-6 % on flow: invented numbers.
"""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import Protocol

import numpy as np
import polars as pl
from small_clock import ZONE, midnight, planned_rpm, wall_min

from pumpledger.diagnosis.default_plan import PAST_PROGRAMME
from pumpledger.diagnosis.standing import PAST_FINDING, SAID
from pumpledger.engine.account_tables import EFFICIENCY, EFFICIENCY_RECORD, LEVELS, LOADING
from pumpledger.engine.clock_tables import CLOCK_DAYS, OUTAGES
from pumpledger.engine.database import Database
from pumpledger.engine.tables import (
    BEST_PLANS,
    DAILY,
    EXPORTS,
    PROFILE,
    READINGS,
    SAVINGS,
    SPANS,
    SPEED_GRID,
    VERDICTS,
)
from pumpledger.planning.simple_plan import build_best_plans
from pumpledger.register.fields import PLANS, PUMPS, SITES, VISITS, inside_columns

WEEK_FIRST = date(2026, 11, 2)
FLOW_PER_RPM = 0.006
CLOCK_WARNING = {"file": pl.String, "source": pl.String, "name": pl.String, "rows": pl.Int64} | {
    "first_utc": pl.Datetime("us"),
    "last_utc": pl.Datetime("us"),
}
_POLARS = {
    "text": pl.String,
    "id": pl.String,
    "zone": pl.String,
    "choice": pl.String,
    "number": pl.Float64,
    "count": pl.Int64,
    "day": pl.Date,
    "clock": pl.Int64,
    "yes_no": pl.Boolean,
}


def power_w(speed_rpm: np.ndarray) -> np.ndarray:
    return np.where(speed_rpm > 0, 45 + 52 * (speed_rpm / 1000) ** 3, 0.0)


def _frame(fields: tuple, rows: list[dict]) -> pl.DataFrame:
    schema = {column: _POLARS.get(kind, pl.String) for column, kind in inside_columns(fields).items()}
    return pl.DataFrame([{**dict.fromkeys(schema), **row} for row in rows], schema=schema)


class SmallFleet(Protocol):
    """What the tables are made of: `small_fleet.Fleet`."""

    days: list[date]
    sites: list[dict]
    pumps: list[dict]
    plans: dict[str, tuple]
    speed: dict[tuple[str, date], np.ndarray]
    aux: dict[tuple[str, date], np.ndarray]
    power_scale: dict[str, float]
    rest_w: dict[str, float]
    visits: list[dict]
    air: list[tuple[str, datetime, float]]
    bands: list[tuple]
    refused: list[tuple]
    exports: list[dict]


def _price(fleet: SmallFleet, tariff: str | None, day: date) -> tuple[np.ndarray, np.ndarray] | None:
    kind, clock = "weekday" if day.isoweekday() <= 5 else "weekend", wall_min(day)
    bands = [band for band in fleet.bands if band[0] == tariff and band[2] == kind]
    if not bands:
        return None
    price, peak = np.zeros(len(clock)), np.zeros(len(clock), dtype=bool)
    for _, _, _, start, stop, value, is_peak in bands:
        inside = (clock >= start) & (clock < stop)
        price[inside], peak[inside] = value, is_peak
    return price, peak


def _pump_tables(fleet: SmallFleet, pump: dict, site: dict, out: dict[str, list[dict]]) -> None:
    pump_id, key = pump["pump_id"], {"site_id": site["site_id"], "pump_id": pump["pump_id"]}
    plan, scale = fleet.plans.get(pump_id), fleet.power_scale.get(pump_id, 1.0)
    for day in fleet.days:
        speed, start = fleet.speed[pump_id, day], midnight(day)
        planned = planned_rpm(plan, day) if plan else np.full(len(speed), np.nan)
        aux = fleet.aux.get((pump_id, day), np.full(len(speed), np.nan))
        watts = power_w(speed) * scale + np.where(speed == 0, fleet.rest_w.get(pump_id, 0.0), 0.0)
        state = np.nan_to_num(np.stack([speed, planned, aux]), nan=-1)
        edges = np.flatnonzero(np.r_[True, (state[:, 1:] != state[:, :-1]).any(axis=0), True])
        for a, b in zip(edges[:-1], edges[1:], strict=True):
            rpm, plan_rpm = state[0, a], state[1, a]
            kind = "unknown" if rpm < 0 else "off" if rpm == 0 else "run"
            cause = kind if kind != "run" else "plan period" if rpm == plan_rpm else "unexplained"
            out["span"].append(
                {
                    **key,
                    "day_local": day,
                    "start_utc": start + timedelta(minutes=int(a)),
                    "end_utc": start + timedelta(minutes=int(b)),
                    "duration_min": float(b - a),
                    "start_min": float(a),
                    "kind": kind,
                    "cause": cause,
                    "planned_speed_rpm": None if plan_rpm < 0 else plan_rpm,
                    "speed_rpm": None if rpm < 0 else rpm,
                    "power_w": None if rpm < 0 else watts[a],
                    "energy_kwh": None if rpm < 0 else watts[a] * (b - a) / 60000,
                    "aux_on": None if state[2, a] < 0 else bool(state[2, a]),
                    "readings": 1,
                }
            )
        clock, quarters = wall_min(day), speed.reshape(-1, 15)
        run_min, off_min = (quarters > 0).sum(axis=1), (quarters == 0).sum(axis=1)
        seen_min, sums = run_min + off_min, np.nansum(quarters, axis=1)
        for q in range(len(quarters)):
            out["profile"].append(
                {
                    **key,
                    "day_local": day,
                    "quarter": q,
                    "clock_local": f"{clock[q * 15] // 60:02d}:{clock[q * 15] % 60:02d}",
                    "run_min": float(run_min[q]),
                    "off_min": float(off_min[q]),
                    "speed_rpm": sums[q] / seen_min[q] if seen_min[q] else None,
                    "unknown_min": float(15 - seen_min[q]),
                    "planned_speed_rpm": None if plan is None else planned[q * 15],
                }
            )
            if plan is not None:
                out["plan_slot"].append(
                    {
                        "pump_id": pump_id,
                        "day_local": day,
                        "quarter": q,
                        "planned_speed_rpm": float(planned[q * 15]),
                    }
                )
        if plan is not None:
            cuts = np.flatnonzero(np.r_[True, planned[1:] != planned[:-1], True])
            out["plan_window"] += [
                {
                    "pump_id": pump_id,
                    "day_local": day,
                    "period": next(
                        k for k, n, x, z in plan if n == planned[a] and (clock[a] - x) % 1440 < (z - x - 1) % 1440 + 1
                    ),
                    "speed_rpm": float(planned[a]),
                    "start_utc": start + timedelta(minutes=int(a)),
                    "end_utc": start + timedelta(minutes=int(b)),
                }
                for a, b in zip(cuts[:-1], cuts[1:], strict=True)
                if planned[a] > 0
            ]
        out["daily"].append(_day(fleet, pump, site, key, day, speed, watts, aux))


def _day(
    fleet: SmallFleet,
    pump: dict,
    site: dict,
    key: dict,
    day: date,
    speed: np.ndarray,
    watts: np.ndarray,
    aux: np.ndarray,
) -> dict:
    hidden = np.isnan(speed)
    edges = np.flatnonzero(np.diff(np.r_[0, hidden.astype(int), 0]))
    gap = max((edges[1::2] - edges[::2]).tolist(), default=0)
    coverage = 1 - hidden.mean()
    volume = np.nansum(speed) * FLOW_PER_RPM / 60 if pump["curve"] else None
    energy = float(np.nansum(watts) / 60000)
    price = _price(fleet, site.get("tariff"), day)
    valid = bool(coverage >= 0.9 and gap <= 120)
    row = {
        **dict.fromkeys(DAILY.columns),
        **key,
        "day_local": day,
        "day_min": float(len(speed)),
        "observed_min": float((~hidden).sum()),
        "run_min": float((speed > 0).sum()),
        "longest_gap_min": float(gap),
        "coverage": coverage,
        "valid": valid,
        "believed": valid and key["pump_id"] not in fleet.power_scale,
        "volume_source": "curve" if volume is not None else "none",
        "energy_kwh_mid": energy,
        "aux_min": None if np.isnan(aux).all() else float(np.nansum(aux)),
    }
    if volume is not None:
        row |= {
            f"turnovers_{bound}": factor * volume / site["pool_volume_m3"]
            for bound, factor in (("lo", 0.94), ("mid", 1), ("hi", 1.06))
        }
    if price is not None:
        kwh = np.nan_to_num(watts) / 60000
        row |= {"cost": float((kwh * price[0]).sum()), "peak_kwh": float(kwh[price[1]].sum())}
    return row


def _grid(fleet: SmallFleet) -> pl.DataFrame:
    rows = []
    for pump in fleet.pumps:
        for rpm in range(0, 3451, 25):
            flow = rpm * FLOW_PER_RPM if pump["curve"] else None
            rows.append(
                {
                    **dict.fromkeys(SPEED_GRID.columns),
                    "pump_id": pump["pump_id"],
                    "speed_rpm": rpm,
                    "power_w_mid": float(power_w(np.array(rpm))) if rpm else None,
                    **(
                        {f"flow_m3h_{b}": f * flow for b, f in (("lo", 0.94), ("mid", 1), ("hi", 1.06))}
                        if flow is not None
                        else {}
                    ),
                }
            )
    return pl.DataFrame(rows, schema=SPEED_GRID.schema)


def tables_of(fleet: SmallFleet) -> Database:
    """A database with every table that `diagnose` reads."""
    db, out = Database(threads=1), {name: [] for name in ("span", "profile", "plan_slot", "plan_window", "daily")}
    for pump in fleet.pumps:
        _pump_tables(fleet, pump, next(site for site in fleet.sites if site["site_id"] == pump["site_id"]), out)
    for name, table in (("span", SPANS), ("profile", PROFILE), ("daily", DAILY)):
        db.load(name, pl.DataFrame([{**dict.fromkeys(table.columns), **row} for row in out[name]], schema=table.schema))
    db.load(
        "plan_slot",
        pl.DataFrame(
            out["plan_slot"],
            schema={
                "pump_id": pl.String,
                "day_local": pl.Date,
                "quarter": pl.Int64,
                "planned_speed_rpm": pl.Float64,
            },
        ),
    )
    db.load(
        "plan_window",
        pl.DataFrame(
            out["plan_window"],
            schema={
                "pump_id": pl.String,
                "day_local": pl.Date,
                "period": pl.Int64,
                "speed_rpm": pl.Float64,
                "start_utc": pl.Datetime("us"),
                "end_utc": pl.Datetime("us"),
            },
        ),
    )
    db.load("verdict", VERDICTS.empty())
    db.load("site", _frame(SITES, fleet.sites))
    db.load("pump", _frame(PUMPS, fleet.pumps))
    db.load(
        "plan",
        _frame(
            PLANS,
            [
                {
                    "pump_id": pump,
                    "valid_from": date(2026, 1, 1),
                    "period": k,
                    "speed_rpm": float(n),
                    "start_min": a,
                    "stop_min": b,
                }
                for pump, plan in fleet.plans.items()
                for k, n, a, b in plan
            ],
        ),
    )
    db.load("visit", _frame(VISITS, fleet.visits))
    db.load(
        "weather",
        pl.DataFrame(
            fleet.air,
            schema={"weather": pl.String, "time_utc": pl.Datetime("us"), "air_temperature_c": pl.Float64},
            orient="row",
        ),
    )
    db.load(
        "tariff_band",
        pl.DataFrame(
            fleet.bands,
            schema={
                "tariff": pl.String,
                "band": pl.String,
                "day_kind": pl.String,
                "start_min": pl.Int64,
                "stop_min": pl.Int64,
                "price_per_kwh": pl.Float64,
                "peak": pl.Boolean,
            },
            orient="row",
        ),
    )
    db.load(
        "local_day",
        pl.DataFrame(
            [
                {
                    "zone": str(ZONE),
                    "day_local": day,
                    "start_utc": midnight(day),
                    "end_utc": midnight(day + timedelta(days=1)),
                    "day_min": float(len(wall_min(day))),
                    "iso_week": f"{day:%G-W%V}",
                }
                for day in fleet.days
            ]
        ),
    )
    db.load("past_day", db.table("local_day"))
    db.load("fleet_day", pl.DataFrame([{"day_local": day, "in_week": day >= WEEK_FIRST} for day in fleet.days]))
    db.load(
        "pump_source",
        pl.DataFrame([{"pump_id": pump["pump_id"], "source": "coast gateway"} for pump in fleet.pumps]),
    )
    db.load(
        "export",
        pl.DataFrame([{**dict.fromkeys(EXPORTS.columns), **row} for row in fleet.exports], schema=EXPORTS.schema),
    )
    db.load(
        "refused_count",
        pl.DataFrame(
            fleet.refused,
            schema={
                "export_id": pl.String,
                "file": pl.String,
                "pump_id": pl.String,
                "rule": pl.String,
                "fate": pl.String,
                "rows": pl.Int64,
            },
            orient="row",
        ),
    )
    db.load("past_daily", db.table("daily"))
    db.load("past_level", LEVELS.empty())
    db.load("past_clock_day", CLOCK_DAYS.empty())
    db.load("past_outage", OUTAGES.empty())
    db.load("past_savings", SAVINGS.empty())
    db.load("clock_warning", pl.DataFrame(schema=CLOCK_WARNING))
    db.load("loading", LOADING.empty())
    db.load("efficiency", EFFICIENCY.empty())
    db.load("efficiency_record", EFFICIENCY_RECORD.empty())
    db.load("reading", READINGS.empty())
    db.load("past_finding", pl.DataFrame(schema=PAST_FINDING))
    db.load("past_programme", pl.DataFrame(schema=PAST_PROGRAMME))
    db.load("said_done", pl.DataFrame(schema=SAID))
    db.load("speed_grid", _grid(fleet))
    build_best_plans(db)
    assert db.table("best_plan").schema == BEST_PLANS.schema
    return db
