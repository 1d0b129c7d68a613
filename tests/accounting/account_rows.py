"""Small tables for the accounts: one invented site and pump, a calendar by zoneinfo, spans given as wall-clock
lines."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import polars as pl

from pumpledger.accounting.daily import AccountingParameters, build_daily
from pumpledger.accounting.savings import build_savings
from pumpledger.engine.account_tables import LEVELS, LOADING
from pumpledger.engine.database import Database
from pumpledger.engine.tables import PROFILE, SPANS, SPEED_GRID

ZONE = "America/Los_Angeles"
MONDAY = date(2026, 10, 26)

SITE = {
    "site_id": "S1",
    "zone": ZONE,
    "pool_volume_m3": 80.0,
    "required_turnovers": 1.0,
    "tariff": "evening peak",
    "season": "open",
}
PUMP = {
    "pump_id": "P1",
    "site_id": "S1",
    "full_speed_rpm": 3450.0,
    "baseline_power_w": 1800.0,
    "baseline_hours_per_day": 8.0,
    "baseline_flow_m3h": None,
    "baseline_evidence": "nameplate",
}
BANDS = (  # (band, day_kind, start_min, stop_min, price_per_kwh, peak)
    ("base", "weekday", 0, 960, 0.20, False),
    ("peak", "weekday", 960, 1260, 0.50, True),
    ("base", "weekday", 1260, 1440, 0.20, False),
    ("base", "weekend", 0, 1440, 0.20, False),
)
_TYPES = {
    "site": {
        "site_id": pl.String,
        "zone": pl.String,
        "pool_volume_m3": pl.Float64,
        "required_turnovers": pl.Float64,
        "tariff": pl.String,
        "season": pl.String,
    },
    "pump": {
        "pump_id": pl.String,
        "site_id": pl.String,
        "full_speed_rpm": pl.Float64,
        "baseline_power_w": pl.Float64,
        "baseline_hours_per_day": pl.Float64,
        "baseline_flow_m3h": pl.Float64,
        "baseline_evidence": pl.String,
        "baseline_start_min": pl.Int64,
        "priming_speed_rpm": pl.Float64,
        "priming_min": pl.Float64,
    },
    "local_day": {
        "zone": pl.String,
        "day_local": pl.Date,
        "start_utc": pl.Datetime("us"),
        "end_utc": pl.Datetime("us"),
        "day_min": pl.Float64,
    },
    "quarter": {
        "zone": pl.String,
        "day_local": pl.Date,
        "quarter": pl.Int64,
        "start_utc": pl.Datetime("us"),
        "end_utc": pl.Datetime("us"),
        "clock_min": pl.Int64,
    },
    "tariff_rate": {
        "tariff": pl.String,
        "band": pl.String,
        "day_kind": pl.String,
        "start_min": pl.Int64,
        "stop_min": pl.Int64,
        "price_per_kwh": pl.Float64,
        "peak": pl.Boolean,
        "month": pl.Int64,
    },
    "tariff_holiday": {"tariff": pl.String, "day_local": pl.Date, "day_kind": pl.String},
    "plan_window": {
        "pump_id": pl.String,
        "day_local": pl.Date,
        "period": pl.Int64,
        "speed_rpm": pl.Float64,
        "start_utc": pl.Datetime("us"),
        "end_utc": pl.Datetime("us"),
    },
    "pump_doubt": {"pump_id": pl.String, "doubt": pl.String},
    "struck_day": {"site_id": pl.String, "day_local": pl.Date, "reason": pl.String},
    "idle_day": {"site_id": pl.String, "day_local": pl.Date, "observed_min": pl.Float64},
    "visit": {"site_id": pl.String, "pump_id": pl.String, "day_local": pl.Date, "work": pl.String},
}

DRY = {
    "dry_share": 0.55,
    "deep_share": 0.4,
    "least_dry_min": 5,
    "least_dry_rpm": 1500,
    "start_min": 5,
    "least_level_days": 5,
    "again_share": 0.75,
    "again_min": 15,
    "again_level": 0.9,
    "load_share": 0.42,
    "alike_share": 0.8,
    "least_load_w": 15,
    "powered_w": 30,
}


def midnight(day: date, zone: str = ZONE) -> datetime:
    """Naive UTC of local midnight."""
    return datetime(day.year, day.month, day.day, tzinfo=ZoneInfo(zone)).astimezone(UTC).replace(tzinfo=None)


def calendar(days: list[date], zone: str = ZONE) -> tuple[list[dict], list[dict]]:
    """Rows of ``local_day`` and ``quarter``."""
    day_rows, quarters = [], []
    for day in days:
        start, end = midnight(day, zone), midnight(day + timedelta(days=1), zone)
        minutes = (end - start).total_seconds() / 60
        day_rows.append({"zone": zone, "day_local": day, "start_utc": start, "end_utc": end, "day_min": minutes})
        for quarter in range(int(minutes // 15)):
            begin = start + timedelta(minutes=15 * quarter)
            clock = begin.replace(tzinfo=UTC).astimezone(ZoneInfo(zone))
            quarters.append(
                {
                    "zone": zone,
                    "day_local": day,
                    "quarter": quarter,
                    "start_utc": begin,
                    "end_utc": begin + timedelta(minutes=15),
                    "clock_min": clock.hour * 60 + clock.minute,
                }
            )
    return day_rows, quarters


def span(
    start_min: float,
    end_min: float,
    kind: str,
    speed_rpm: float | None = None,
    *,
    day: date = MONDAY,
    pump_id: str = "P1",
    power_w: float | None = None,
    energy_kwh: float | None = None,
    **more: object,
) -> dict:
    """One span by minutes elapsed since local midnight. Energy follows from power unless given."""
    start = midnight(day) + timedelta(minutes=start_min)
    if energy_kwh is None and power_w is not None:
        energy_kwh = power_w * (end_min - start_min) / 60000
    row = dict.fromkeys(SPANS.columns) | {
        "site_id": "S1",
        "pump_id": pump_id,
        "day_local": day,
        "start_utc": start,
        "end_utc": midnight(day) + timedelta(minutes=end_min),
        "duration_min": end_min - start_min,
        "start_min": start_min,
        "kind": kind,
        "cause": {"run": "plan period"}.get(kind, kind),
        "speed_rpm": 0.0 if kind == "off" else speed_rpm,
        "power_w": power_w,
        "energy_kwh": energy_kwh,
        "readings": 10,
    }
    return row | more


def window(start_min: float, end_min: float, speed_rpm: float, *, day: date = MONDAY, pump_id: str = "P1") -> dict:
    """One row of ``plan_window`` by minutes since local midnight."""
    return {
        "pump_id": pump_id,
        "day_local": day,
        "period": 1,
        "speed_rpm": speed_rpm,
        "start_utc": midnight(day) + timedelta(minutes=start_min),
        "end_utc": midnight(day) + timedelta(minutes=end_min),
    }


def grid(
    pump_id: str = "P1",
    flow_m3h_at_full: float | None = 20.0,
    power_w_at_full: float | None = 1800.0,
    flow_half_width: float = 0.1,
    power_half_width: float = 0.05,
    power_from_rpm: float = 600,
    source: str = "curve",
    full_rpm: int = 3450,
) -> pl.DataFrame:
    """A plain grid: flow with speed, power with its square, so that expected values are arithmetic."""
    rows = []
    for speed in range(0, full_rpm + 1, 25):
        flow = None if flow_m3h_at_full is None else flow_m3h_at_full * speed / full_rpm
        power = None if power_w_at_full is None or speed < power_from_rpm else power_w_at_full * (speed / full_rpm) ** 2
        rows.append(
            {
                "pump_id": pump_id,
                "speed_rpm": speed,
                "flow_m3h_lo": None if flow is None else flow * (1 - flow_half_width),
                "flow_m3h_mid": flow,
                "flow_m3h_hi": None if flow is None else flow * (1 + flow_half_width),
                "flow_source": source if flow_m3h_at_full else "none",
                "power_w_lo": None if power is None else power * (1 - power_half_width),
                "power_w_mid": power,
                "power_w_hi": None if power is None else power * (1 + power_half_width),
                "power_source": "fitted to readings" if power_w_at_full else "none",
            }
        )
    return pl.DataFrame(rows, schema=SPEED_GRID.schema)


def accounts(
    spans: list[dict],
    *,
    days: list[date] | None = None,
    sites: list[dict] | None = None,
    pumps: list[dict] | None = None,
    grids: pl.DataFrame | None = None,
    windows: list[dict] | None = None,
    doubts: list[dict] | None = None,
    struck: list[dict] | None = None,
    parameters: AccountingParameters | None = None,
    zone: str = ZONE,
    **more: object,
) -> tuple[list[dict], list[dict]]:
    """Rows of ``daily`` and ``savings`` for these inputs."""
    tables = all_accounts(
        spans,
        days=days,
        sites=sites,
        pumps=pumps,
        grids=grids,
        windows=windows,
        doubts=doubts,
        struck=struck,
        parameters=parameters,
        zone=zone,
        **more,
    )
    return tables["daily"], tables["savings"]


def rate_rows(bands: tuple[tuple, ...], month: int | None = None) -> list[dict]:
    """Rows of ``tariff_rate`` of the tariff evening peak."""
    columns = list(_TYPES["tariff_rate"])
    return [dict(zip(columns, ("evening peak", *band, month), strict=True)) for band in bands]


def all_accounts(
    spans: list[dict],
    *,
    days: list[date] | None = None,
    sites: list[dict] | None = None,
    pumps: list[dict] | None = None,
    grids: pl.DataFrame | None = None,
    windows: list[dict] | None = None,
    doubts: list[dict] | None = None,
    struck: list[dict] | None = None,
    idle: list[dict] | None = None,
    parameters: AccountingParameters | None = None,
    zone: str = ZONE,
    rates: list[dict] | None = None,
    profile: list[dict] | None = None,
    holidays: list[date] | None = None,
    holiday_kind: str = "weekend",
    co2_kg_per_kwh: float | None = None,
) -> dict[str, list[dict]]:
    """Rows of the tables that the accounts make: daily, day_band, savings, savings_band, exclusions."""
    day_rows, quarters = calendar(days or [MONDAY], zone)
    tables = {
        "site": sites or [SITE],
        "pump": pumps or [PUMP],
        "local_day": day_rows,
        "quarter": quarters,
        "tariff_rate": rates or rate_rows(BANDS),
        "tariff_holiday": [
            {"tariff": "evening peak", "day_local": day, "day_kind": holiday_kind} for day in holidays or []
        ],
        "plan_window": windows or [],
        "pump_doubt": doubts or [],
        "struck_day": struck or [],
        "idle_day": idle or [],
        "visit": [],
    }
    chosen = parameters or AccountingParameters()
    with Database(threads=1) as db:
        for name, rows in tables.items():
            db.load(name, pl.DataFrame(rows, schema=_TYPES[name]))
        db.load("span", pl.DataFrame(spans, schema=SPANS.schema))
        db.load("profile", pl.DataFrame(profile or [], schema=PROFILE.schema))
        db.load("loading", LOADING.empty())
        db.load("speed_grid", grid() if grids is None else grids)
        build_daily(db, chosen)
        db.load("past_level", LEVELS.empty())
        db.build("dry_day", "accounting/dry_day", DRY)
        build_savings(db, chosen, co2_kg_per_kwh)
        names = ("daily", "day_band", "savings", "savings_band", "exclusions", "tariff_window")
        return {name: db.table(name).to_dicts() for name in names}
