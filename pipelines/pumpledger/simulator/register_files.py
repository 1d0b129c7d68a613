"""The register and the truth as files.

Belongs here: columns and text. The register's columns follow `pumpledger.register.fields`, which this must not import.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterable
from pathlib import Path

import numpy as np

from pumpledger.simulator.controller import KeyedPlan
from pumpledger.simulator.horizon import Horizon
from pumpledger.simulator.noise import Export
from pumpledger.simulator.physics import PUMP_CLASSES
from pumpledger.simulator.sites import Pump, Site
from pumpledger.simulator.trace import Trace
from pumpledger.simulator.weather import Station

_SITE_COLUMNS = (
    "site_id,site_name,route,stop,zone,pool_volume_m3,pool_class,required_turnovers,tariff,weather,freeze_risk,season,"
    "filter_limit_m3h,suction_limit_m3h"
)
_PUMP_COLUMNS = (
    "pump_id,site_id,curve,full_speed_rpm,static_head_m,design_flow_m3h,design_head_m,priming_speed_rpm,priming_min,"
    "freeze_setpoint_c,freeze_speed_rpm,aux_load,aux_min_speed_rpm,baseline_power_w,baseline_hours_per_day,"
    "baseline_flow_m3h,baseline_evidence,baseline_source,baseline_start"
)
_BASELINE_RECORDS = {
    "measured": ("made-up clamp reading before the change", "09:00"),
    "owner record": ("made-up note of the owner", "14:00"),
    "nameplate": ("made-up plate of the former motor", None),
    "stipulated": ("made-up programme sheet, first edition, table 1", None),
}
"""By evidence: what stands behind a baseline, and when the single-speed pump began to run, where somebody knew."""
_FLAT = """name = "flat"

[[band]]
name = "all hours"
days = "all"
start = "00:00"
stop = "24:00"
price_per_kwh = 0.31
peak = false
"""
_EVENING_PEAK = """name = "evening peak"

[[band]]
name = "peak"
days = "weekday"
start = "16:00"
stop = "21:00"
price_per_kwh = 0.42
peak = true

[[band]]
name = "off-peak"
days = "weekday"
start = "21:00"
stop = "16:00"
price_per_kwh = 0.27
peak = false

[[band]]
name = "weekend"
days = "weekend"
start = "00:00"
stop = "24:00"
price_per_kwh = 0.27
peak = false
"""


def write_text(path: Path, text: str) -> None:
    """Write UTF-8 with plain line ends on every system."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(text.encode("utf-8"))


def write_csv(path: Path, header: str, rows: Iterable[Iterable[object]]) -> None:
    """Write rows under a header; what is unknown is an empty cell."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(header.split(","))
    writer.writerows(["" if cell is None else cell for cell in row] for row in rows)
    write_text(path, text.getvalue())


def _clock(minutes: int) -> str:
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


def _yes_no(value: bool) -> str:
    return "yes" if value else "no"


def write_register(
    folder: Path, sites: list[Site], horizon: Horizon, seed: int, curve_head: Callable[[int], float] = lambda _: 1.0
) -> None:
    """sites.csv, pumps.csv, plans.csv, pump_curves.csv, visits.csv and tariffs/.

    ``curve_head`` gives the factor on the published heads of the make of that number.
    """
    pumps = [(site, pump) for site in sites for pump in site.pumps]
    write_csv(
        folder / "sites.csv",
        _SITE_COLUMNS,
        (
            (
                s.site_id,
                s.site_name,
                s.route,
                s.stop,
                horizon.zone_name,
                s.pool_volume_m3,
                s.pool_class,
                s.required_turnovers,
                s.tariff,
                s.weather,
                _yes_no(s.freeze_risk),
                s.season,
                s.filter_limit_m3h,
                s.suction_limit_m3h,
            )
            for s in sites
        ),
    )
    timed = any(pump.aux_hours is not None for _, pump in pumps)
    write_csv(
        folder / "pumps.csv",
        _PUMP_COLUMNS + (",aux_hours_per_day" if timed else ""),
        ((*_pump_row(site, pump), *([pump.aux_hours] if timed else [])) for site, pump in pumps),
    )
    write_csv(
        folder / "plans.csv",
        "pump_id,valid_from,period,speed_rpm,start,stop",
        (row for _, pump in pumps for plan in pump.recorded_plans for row in _plan_rows(pump.pump_id, plan)),
    )
    write_csv(folder / "pump_curves.csv", "curve,speed_rpm,flow_m3h,head_m", _curve_rows(seed, curve_head))
    visits = sorted(
        ((site, visit) for site in sites for visit in site.visits),
        key=lambda pair: (pair[1].day_local, pair[1].pump_id, pair[1].speed_rpm or 0.0),
    )
    write_csv(
        folder / "visits.csv",
        "site_id,pump_id,day_local,work,speed_rpm,flow_m3h,power_w,note",
        (
            (site.site_id, v.pump_id, v.day_local, v.work, v.speed_rpm, v.flow_m3h, v.power_w, v.note)
            for site, v in visits
        ),
    )
    write_text(folder / "tariffs" / "flat.toml", _FLAT)
    write_text(folder / "tariffs" / "evening_peak.toml", _EVENING_PEAK)


def _pump_row(site: Site, pump: Pump) -> tuple[object, ...]:
    controller = pump.controller
    baseline = pump.baseline or (None, None, None, None)
    record = _BASELINE_RECORDS.get(baseline[3] or "", (None, None))
    return (
        pump.pump_id,
        site.site_id,
        pump.pump_class.curve,
        3450,
        pump.recorded_static_m,
        pump.design_flow_m3h,
        pump.design_head_m,
        controller.priming_rpm,
        controller.priming_s // 60,
        controller.freeze_setpoint_c,
        controller.freeze_rpm or None,
        pump.aux_load,
        pump.aux_min_rpm,
        *baseline,
        *record,
    )


def _plan_rows(pump_id: str, plan: KeyedPlan) -> list[tuple[object, ...]]:
    return [
        (pump_id, plan.valid_from, number, row.speed_rpm, _clock(row.start_min), _clock(row.stop_min))
        for number, row in enumerate(plan.periods, start=1)
    ]


def _curve_rows(seed: int, curve_head: Callable[[int], float]) -> list[tuple[object, ...]]:
    """Curves as a data sheet would print them: six to eight points, head and flow each up to 3 % off the class."""
    rng = np.random.default_rng([seed, 700_000])
    rows: list[tuple[object, ...]] = []
    for number, pump_class in enumerate(PUMP_CLASSES):
        head_error, flow_error = rng.uniform(0.985, 1.015, 2)
        head_error *= curve_head(number)
        for flow in np.linspace(0.0, 0.88 * pump_class.open_flow_m3h, int(rng.integers(6, 9))):
            rows.append(
                (
                    pump_class.curve,
                    3450,
                    round(float(flow * flow_error), 1),
                    round(float(pump_class.head_m(flow) * head_error), 2),
                )
            )
    return rows


def write_weather(folder: Path, stations: Iterable[Station]) -> None:
    """weather/<station>.csv, hourly."""
    for station in stations:
        stamps = np.datetime_as_string(station.time_s.astype("datetime64[s]"))
        write_csv(
            folder / "weather" / f"{station.name}.csv",
            "time_utc,air_temperature_c",
            (
                (f"{stamp}Z", f"{air:.1f}")
                for stamp, air in zip(stamps, station.air_temperature_c.tolist(), strict=True)
            ),
        )


def write_truth(
    folder: Path, sites: list[Site], traces: dict[str, Trace], exports: list[Export], horizon: Horizon
) -> None:
    """truth/daily.csv, truth/seeded.csv and truth/exports.csv; the pipeline reads none of them."""
    bounds = np.array([horizon.midnight_s(day) for day in horizon.days] + [horizon.end_s], dtype=float)
    daily: list[tuple[object, ...]] = []
    for site in sites:
        for pump in site.pumps:
            trace = traces[pump.pump_id]
            sums = zip(
                horizon.days,
                np.diff(trace.energy_kwh_at(bounds)).tolist(),
                np.diff(trace.volume_m3_at(bounds)).tolist(),
                np.diff(trace.run_s_at(bounds)).tolist(),
                strict=True,
            )
            daily.extend(
                (site.site_id, pump.pump_id, day, f"{kwh:.5f}", f"{m3:.4f}", f"{s / 60.0:.3f}")
                for day, kwh, m3, s in sums
            )
    write_csv(folder / "truth" / "daily.csv", "site_id,pump_id,day_local,energy_kwh,volume_m3,run_min", daily)
    sized = any(s.size is not None for site in sites for s in site.seeded)
    write_csv(
        folder / "truth" / "seeded.csv",
        "site_id,pump_id,kind,mode,from_day,to_day,note" + (",size,seen_from" if sized else ""),
        (
            (
                site.site_id,
                s.pump_id,
                s.kind,
                s.mode,
                s.from_day,
                s.to_day,
                s.note,
                *([s.size, s.seen_from] if sized else []),
            )
            for site in sites
            for s in site.seeded
        ),
    )
    write_csv(
        folder / "truth" / "exports.csv",
        "file,dialect,data_rows,impossible,unreadable,repeated,blank_lines,notes",
        (
            (e.file, e.dialect, e.data_rows, e.impossible, e.unreadable, e.repeated, e.blank, "; ".join(e.notes))
            for e in exports
        ),
    )
