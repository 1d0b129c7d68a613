"""Made-up pumps: their plans, what they did minute by minute, and the tables that say so."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import polars as pl

from pumpledger.engine import tables
from pumpledger.reports.data import PLAN_SLOT

ZONE = "America/Los_Angeles"
FIRST, LAST = date(2026, 11, 2), date(2026, 11, 8)
DAYS = [LAST - timedelta(days=back) for back in range(13, -1, -1)]
LONG_DAY = date(2026, 11, 1)  # 25 hours: tz database, facts check 7a
HOSTILE = '<script>alert(1)</script> & "Sons"'
HOSTILE_ROUTE = "=HYPERLINK(1)"

Stretch = tuple[float, float, str, str, float | None]  # from, to [elapsed min], kind, cause, speed_rpm

PLANS = {
    "P-1": [(1, 2400, 360, 480), (2, 1200, 480, 1080), (3, 1750, 1080, 1200)],
    "P-2": [(1, 1500, 480, 1200)],
    "P-3": [(1, 1400, 420, 1140)],
    "P-4": [(1, 2000, 0, 1440)],
    "P-5a": [(1, 1300, 540, 1260)],
    "P-5b": [(1, 2800, 600, 720)],
}
SITE_OF = {
    "P-1": "QM-001",
    "P-2": "QM-002",
    "P-3": "QM-003",
    "P-4": "QM-004",
    "P-5a": "QM-005",
    "P-5b": "QM-005",
    "P-6": "QM-006",
}
VOLUMES = {"QM-001": 68.0, "QM-002": 52.0, "QM-003": 75.0, "QM-004": 240.0, "QM-005": 90.0, "QM-006": 40.0}


def day_minutes(day: date) -> float:
    """Length of the local day."""
    begin, end = midnight(day), midnight(day + timedelta(days=1))
    return (end - begin).total_seconds() / 60


def midnight(day: date) -> datetime:
    return (
        datetime(day.year, day.month, day.day, tzinfo=ZoneInfo(ZONE)).astimezone(ZoneInfo("UTC")).replace(tzinfo=None)
    )


def _at(day: date, clock_min: int) -> float:
    """Elapsed minutes of a wall clock; on the long day all after 02:00 lies an hour later."""
    return clock_min + (60.0 if day == LONG_DAY and clock_min >= 120 else 0.0)


def stretches(pump: str, day: date) -> list[Stretch]:
    """What the pump really did, minute by minute, as told by the logs."""
    length = day_minutes(day)
    if pump == "P-6":
        return [(0, length, "unknown", "unknown", None)]
    runs = [
        (_at(day, start), _at(day, stop), "run", "plan period", float(speed)) for _, speed, start, stop in PLANS[pump]
    ]
    if pump == "P-3":
        runs = [(0, length, "run", "unexplained", 3450.0)]
    if pump == "P-4" and day in (date(2026, 11, 5), date(2026, 11, 6), date(2026, 11, 7)):
        runs = []
    if pump == "P-5a" and day == date(2026, 11, 4):
        runs = [
            (540, 780, "run", "plan period", 1300.0),
            (780, 1207, "run", "override", 3450.0),
            (1207, 1260, "run", "plan period", 1300.0),
        ]
    if pump == "P-5a" and day == date(2026, 11, 6):
        runs = [(0, 95, "run", "freeze protection", 1700.0), *runs]
    if pump == "P-2" and day in (date(2026, 11, 3), date(2026, 11, 4)):
        return [(0, length, "unknown", "unknown", None)]
    if pump == "P-2" and day == date(2026, 11, 5):
        return _filled([(125, 305, "unknown", "unknown", None), *runs], length)
    if pump == "P-2" and day == date(2026, 11, 7):
        return _filled(
            [
                (480, 720, "run", "plan period", 1500.0),
                (720, 907, "unknown", "unknown", None),
                (907, 1200, "run", "plan period", 1500.0),
            ],
            length,
        )
    return _filled(runs, length)


def _filled(known: list[Stretch], length: float) -> list[Stretch]:
    told: list[Stretch] = []
    at = 0.0
    for stretch in sorted(known):
        if stretch[0] > at:
            told.append((at, stretch[0], "off", "off", 0.0))
        told.append(stretch)
        at = stretch[1]
    return [*told, (at, length, "off", "off", 0.0)] if at < length else told


def watts(speed: float) -> float:
    return 45 + 52 * (speed / 1000) ** 3  # the catalogue's invented curve


def flow(speed: float) -> float:
    return 0.0 if speed == 0 else 5.2 * (speed / 1000 - 0.18)


def spans() -> pl.DataFrame:
    rows = []
    for pump, site in SITE_OF.items():
        for day in DAYS:
            begin = midnight(day)
            for start, stop, kind, cause, speed in stretches(pump, day):
                rows.append(
                    {
                        "site_id": site,
                        "pump_id": pump,
                        "day_local": day,
                        "start_utc": begin + timedelta(minutes=start),
                        "end_utc": begin + timedelta(minutes=stop),
                        "duration_min": stop - start,
                        "start_min": start,
                        "kind": kind,
                        "cause": cause,
                        "period": None,
                        "planned_speed_rpm": None,
                        "speed_rpm": speed,
                        "power_w": watts(speed) if speed else None,
                        "energy_kwh": None,
                        "flow_m3h": None,
                        "aux_on": None,
                        "air_temperature_c": None,
                        "readings": int(stop - start) if kind != "unknown" else 0,
                    }
                )
    return tables.SPANS.conform(pl.DataFrame(rows, infer_schema_length=None))


def profile() -> pl.DataFrame:
    rows = []
    for pump, site in SITE_OF.items():
        for day in DAYS:
            told = stretches(pump, day)
            for quarter in range(int(day_minutes(day) // 15)):
                begin, end = quarter * 15, quarter * 15 + 15
                minutes = {"run": 0.0, "off": 0.0, "unknown": 0.0}
                turned = 0.0
                for start, stop, kind, _, speed in told:
                    part = max(0.0, min(end, stop) - max(begin, start))
                    minutes[kind] += part
                    turned += part * (speed or 0.0)
                observed = minutes["run"] + minutes["off"]
                wall = (
                    (midnight(day) + timedelta(minutes=begin))
                    .replace(tzinfo=ZoneInfo("UTC"))
                    .astimezone(ZoneInfo(ZONE))
                )
                rows.append(
                    {
                        "site_id": site,
                        "pump_id": pump,
                        "day_local": day,
                        "quarter": quarter,
                        "clock_local": wall.strftime("%H:%M"),
                        "run_min": minutes["run"],
                        "off_min": minutes["off"],
                        "unknown_min": minutes["unknown"],
                        "aux_min": (15.0 if pump == "P-1" and 600 <= begin < 900 else 0.0)
                        if pump in ("P-1", "P-5a")
                        else None,
                        "speed_rpm": turned / observed if observed else None,
                        "planned_speed_rpm": None,
                        "energy_kwh": None,
                    }
                )
    return tables.PROFILE.conform(pl.DataFrame(rows, infer_schema_length=None))


def plan_slot() -> pl.DataFrame:
    rows = []
    for pump, plan in PLANS.items():
        for day in DAYS:
            for quarter in range(int(day_minutes(day) // 15)):
                moment = (
                    (midnight(day) + timedelta(minutes=15 * quarter))
                    .replace(tzinfo=ZoneInfo("UTC"))
                    .astimezone(ZoneInfo(ZONE))
                )
                minute = moment.hour * 60 + moment.minute
                speed = next((float(speed) for _, speed, start, stop in plan if start <= minute < stop), 0.0)
                rows.append({"pump_id": pump, "day_local": day, "quarter": quarter, "planned_speed_rpm": speed})
    return pl.DataFrame(rows, schema=PLAN_SLOT)
