"""A small made-up fleet for the rules' tests: speeds by the minute in, every table of the lake out, by `small_tables`."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime, timedelta

import numpy as np
from small_clock import EVENING_PEAK, ZONE, Bands, midnight, planned_rpm
from small_tables import CLOCK_WARNING, WEEK_FIRST, power_w, tables_of

from pumpledger.engine.database import Database
from pumpledger.register.fields import PUMPS, inside_columns

__all__ = ["CLOCK_WARNING", "FIRST", "LAST", "PLAN", "WEEK", "WEEK_FIRST", "Fleet", "midnight", "power_w"]

FIRST, LAST = date(2026, 10, 26), date(2026, 11, 8)  # the clocks go back on Sunday 2026-11-01
WEEK = "2026-W45"
PLAN = ((1, 1500, 360, 480), (2, 1000, 480, 1200))  # 90 m3 a day


class Fleet:
    """Sites added one by one; `database` makes the tables."""

    def __init__(self) -> None:
        self.days = [FIRST + timedelta(days=n) for n in range(14)]
        self.sites: list[dict] = []
        self.pumps: list[dict] = []
        self.plans: dict[str, tuple] = {}
        self.speed: dict[tuple[str, date], np.ndarray] = {}
        self.aux: dict[tuple[str, date], np.ndarray] = {}
        self.power_scale: dict[str, float] = {}
        self.rest_w: dict[str, float] = {}
        self.visits: list[dict] = []
        self.air: list[tuple[str, datetime, float]] = []
        self.bands: list[tuple] = []
        self.refused: list[tuple] = []
        self.exports: list[dict] = []

    def site(
        self,
        site_id: str = "S1",
        plan: tuple | None = PLAN,
        moved_min: Callable[[date], int] = lambda day: 0,
        flow: bool = True,
        **fields: object,
    ) -> str:
        """Add a site with one pump that runs its plan; returns the pump's id."""
        pump_id = f"P-{site_id}"
        site = {
            "site_id": site_id,
            "site_name": f"Site {site_id}",
            "route": "R1",
            "zone": str(ZONE),
            "pool_volume_m3": 80.0,
            "pool_class": "residential",
            "required_turnovers": 1.0,
            "season": "open",
            "freeze_risk": False,
            "filter_limit_m3h": 40.0,
            "suction_limit_m3h": 40.0,
        }
        pump = {"site_id": site_id, "full_speed_rpm": 3450.0, "aux_load": "none", "curve": "C" if flow else None}
        for name, value in fields.items():
            (pump if name in inside_columns(PUMPS) and name != "site_id" else site)[name] = value
        self.sites.append(site)
        self._pump(pump_id, pump, plan, moved_min)
        return pump_id

    def second_pump(self, site_id: str, plan: tuple = PLAN) -> str:
        pump_id = f"P-{site_id}B"
        self._pump(
            pump_id,
            {"site_id": site_id, "full_speed_rpm": 3450.0, "aux_load": "none", "curve": "C"},
            plan,
            lambda day: 0,
        )
        return pump_id

    def _pump(self, pump_id: str, pump: dict, plan: tuple | None, moved_min: Callable[[date], int]) -> None:
        self.pumps.append({"pump_id": pump_id, **pump})
        if plan is not None:
            self.plans[pump_id] = plan
        for day in self.days:
            self.speed[pump_id, day] = planned_rpm(plan or PLAN, day, moved_min(day))

    def set(self, pump_id: str, day: date, speed_rpm: float, start_min: int = 0, stop_min: int | None = None) -> None:
        """Speed over elapsed minutes of a day; NaN is not observed."""
        self.speed[pump_id, day][start_min:stop_min] = speed_rpm

    def load_on(self, pump_id: str, day: date, start_min: int, stop_min: int) -> None:
        self.aux.setdefault((pump_id, day), np.zeros(len(self.speed[pump_id, day])))[start_min:stop_min] = 1

    def log_aux(self, pump_id: str) -> None:
        for day in self.days:
            self.aux.setdefault((pump_id, day), np.zeros(len(self.speed[pump_id, day])))

    def visit(self, site_id: str, day: date, work: str, **fields: object) -> None:
        self.visits.append({"site_id": site_id, "day_local": day, "work": work, **fields})

    def weather(self, station: str, air_c: Callable[[datetime], float]) -> None:
        hour, stop = midnight(FIRST), midnight(LAST + timedelta(days=1))
        while hour < stop:
            self.air.append((station, hour, air_c(hour)))
            hour += timedelta(hours=1)

    def tariff(self, name: str, bands: Bands = EVENING_PEAK) -> None:
        self.bands += [(name, *band) for band in bands]

    def database(self) -> Database:
        return tables_of(self)
