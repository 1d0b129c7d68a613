"""The register of a fleet folder, checked whole: all faults at once, bad sites set aside, the rest ready to run.

Belongs here: the order of reading and what a fault costs. Fields stand in `fields.py`, cross checks in `checks.py`.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path

import polars as pl

from pumpledger.problems import FleetError, Problem
from pumpledger.register import checks
from pumpledger.register.csv_file import RegisterRows, read_rows
from pumpledger.register.fields import FILES, PLANS, PUMP_CURVES, PUMPS, SITES, VISITS, WEATHER, Field, inside_columns
from pumpledger.register.fleet_file import FleetFile, read_fleet_file
from pumpledger.register.tariff import read_tariffs
from pumpledger.register.tariff_block import settle_blocks

_POLARS = {"number": pl.Float64, "count": pl.Int64, "day": pl.Date, "clock": pl.Int64, "yes_no": pl.Boolean}
_WEATHER_SCHEMA = {"weather": pl.String, "time_utc": pl.Datetime("us"), "air_temperature_c": pl.Float64}


@dataclass(frozen=True, slots=True)
class Register:
    """What the company knows of its sites, in SI units. ``set_aside`` maps a site left out to the first reason."""

    fleet: FleetFile
    site: pl.DataFrame
    pump: pl.DataFrame
    plan: pl.DataFrame
    pump_curve: pl.DataFrame
    visit: pl.DataFrame
    weather: pl.DataFrame
    tariff_band: pl.DataFrame
    tariff_holiday: pl.DataFrame
    problems: list[Problem] = field(default_factory=list)
    set_aside: dict[str, str] = field(default_factory=dict)

    @property
    def name(self) -> str:
        return self.fleet.name

    @property
    def zone(self) -> str:
        return self.fleet.zone

    @property
    def units(self) -> str:
        return self.fleet.units

    @property
    def currency(self) -> str:
        return self.fleet.currency

    @property
    def made_up(self) -> bool:
        return self.fleet.made_up

    @property
    def meter_accuracy(self) -> float:
        return self.fleet.meter_accuracy

    def site_in(self, month: int) -> pl.DataFrame:
        """``site`` with the turnovers required in a month, 1 to 12."""
        own = pl.col("required_turnovers_by_month").str.split(" ").list.get(month - 1, null_on_oob=True)
        return self.site.with_columns(required_turnovers=pl.coalesce(own.cast(pl.Float64), "required_turnovers"))

    def tables(self, month: int | None = None) -> dict[str, pl.DataFrame]:
        """The frames by the name they carry in SQL, the sites as of a month where one is given."""
        return {
            "site": self.site if month is None else self.site_in(month),
            "pump": self.pump,
            "plan": self.plan,
            "pump_curve": self.pump_curve,
            "visit": self.visit,
            "weather": self.weather,
            "tariff_rate": self.tariff_band,
            "tariff_holiday": self.tariff_holiday,
        }


def load_register(folder: Path) -> Register:
    """Read and check the register of ``folder``.

    Raises:
        FleetError: nothing can run: no fleet.toml, sites.csv or pumps.csv that can be used, or no good site.
    """
    problems: list[Problem] = []
    fleet = read_fleet_file(folder, problems)
    sites = read_rows(folder / "sites.csv", "sites.csv", SITES, problems)
    pumps = read_rows(folder / "pumps.csv", "pumps.csv", PUMPS, problems)
    plan = _optional(folder, "plans.csv", PLANS, problems)
    curves = _optional(folder, "pump_curves.csv", PUMP_CURVES, problems)
    visits = _visits(folder, problems)
    tariffs = read_tariffs(folder / "tariffs", problems)
    weather = _read_weather(folder / "weather", problems)
    if fleet is None or not (sites.header_ok and pumps.header_ok):
        raise FleetError(problems)

    site_of = {
        str(row["pump_id"]): str(row["site_id"]) for row in pumps.rows + pumps.bad if row["pump_id"] and row["site_id"]
    }
    good_curves, curve_problems = checks.curves(curves.rows, curves.bad)
    problems += _with_site(plan, site_of)
    problems += checks.unique(sites.rows + sites.bad, "site_id", "sites.csv")
    problems += checks.unique(pumps.rows + pumps.bad, "pump_id", "pumps.csv")
    problems += checks.references(
        pumps.rows, "site_id", {row["site_id"] for row in sites.rows + sites.bad}, "pumps.csv", "sites.csv"
    )
    problems += checks.references(plan.rows, "pump_id", set(site_of), "plans.csv", "pumps.csv", "warns")
    problems += checks.references(
        visits.rows, "site_id", {row["site_id"] for row in sites.rows + sites.bad}, "visits.csv", "sites.csv", "warns"
    )
    problems += checks.references(visits.rows, "pump_id", set(site_of), "visits.csv", "pumps.csv", "warns")
    problems += checks.references(sites.rows, "tariff", set(tariffs.files), "sites.csv", "tariffs/", "warns")
    problems += checks.references(sites.rows, "weather", set(weather["weather"]), "sites.csv", "weather/", "warns")
    problems += curve_problems + checks.references(
        pumps.rows, "curve", good_curves, "pumps.csv", "the usable curves of pump_curves.csv", "warns"
    )
    problems += checks.plans(plan.rows, site_of)
    problems += checks.pairs(
        pumps.rows,
        "pumps.csv",
        (
            ("design_flow_m3h", "design_head_m"),
            ("priming_speed_rpm", "priming_min"),
            ("freeze_setpoint_c", "freeze_speed_rpm"),
            ("baseline_power_w", "baseline_hours_per_day", "baseline_evidence"),
            ("aux_start_min", "aux_stop_min"),
        ),
    )
    problems += checks.pairs(
        sites.rows,
        "sites.csv",
        (
            ("skimming_hours_per_day", "skimming_speed_rpm"),
            ("solar_start_min", "solar_stop_min", "solar_speed_rpm"),
            ("quiet_start_min", "quiet_stop_min"),
        ),
    )
    problems += checks.windows(sites.rows, "sites.csv", ("solar", "quiet"))
    problems += checks.windows(pumps.rows, "pumps.csv", ("aux",))

    set_aside = _sites_set_aside(problems, sites, pumps)
    keep_sites = [row for row in sites.rows if row["site_id"] not in set_aside]
    kept = {row["site_id"] for row in keep_sites}
    keep_pumps = [row for row in pumps.rows if row["site_id"] in kept]
    with_pumps = {row["site_id"] for row in keep_pumps}
    for row in keep_sites:
        if row["site_id"] not in with_pumps:
            reason = "has no pump in pumps.csv"
            problems.append(
                Problem(
                    "site_without_pump",
                    f"site {row['site_id']} {reason}; add one",
                    file="sites.csv",
                    line=row["line"],
                    site_id=row["site_id"],
                )
            )
            set_aside[row["site_id"]] = reason
    keep_sites = [row for row in keep_sites if row["site_id"] in with_pumps]
    if not keep_sites:
        raise FleetError([*problems, Problem("no_sites", "no site is left that can run", file="sites.csv")])
    pump_ids = {row["pump_id"] for row in keep_pumps}
    for row in keep_sites:
        row["zone"] = row["zone"] or fleet.zone
    priced, unpriced = settle_blocks(keep_sites, tariffs.blocks)
    problems += unpriced
    return Register(
        fleet=fleet,
        site=_frame(keep_sites, SITES).sort("site_id"),
        pump=_frame(
            [{**row, "curve": row["curve"] if row["curve"] in good_curves else None} for row in keep_pumps], PUMPS
        ).sort("pump_id"),
        plan=_frame([row for row in plan.rows if row["pump_id"] in pump_ids], PLANS).sort(
            "pump_id", "valid_from", "period"
        ),
        pump_curve=_frame([row for row in curves.rows if row["curve"] in good_curves], PUMP_CURVES).sort(
            "curve", "flow_m3h"
        ),
        visit=_frame([row for row in visits.rows if row["site_id"] in with_pumps], VISITS).sort(
            "site_id", "day_local", "pump_id", "work", "speed_rpm"
        ),
        weather=weather,
        tariff_band=tariffs.bands(priced),
        tariff_holiday=tariffs.holidays(priced),
        problems=problems,
        set_aside=dict(sorted(set_aside.items())),
    )


def _optional(folder: Path, name: str, fields: tuple[Field, ...], problems: list[Problem]) -> RegisterRows:
    """A file that a fleet can run without; what rests on it then says that it cannot tell."""
    if not (folder / name).exists():
        problems.append(Problem("file_absent", "is not there; what rests on it cannot be told", "warns", name))
        return RegisterRows(name)
    return read_rows(folder / name, name, fields, problems)


def _visits(folder: Path, problems: list[Problem]) -> RegisterRows:
    """A visit row that cannot be read is left out and noted: it costs what it would have explained, not the site."""
    found: list[Problem] = []
    visits = _optional(folder, "visits.csv", VISITS, found)
    rows = ("bad_value", "row_width")
    problems += [replace(p, severity="warns", site_id=None) if p.name in rows else p for p in found]
    return visits


def _with_site(plan: RegisterRows, site_of: dict[str, str]) -> list[Problem]:
    """A plan row that cannot be read sets its site aside: judging the pump by half a plan would accuse it wrongly."""
    return [
        Problem(
            "plan_unread",
            f"the plan of pump {row['pump_id']} cannot be used until this is mended",
            file="plans.csv",
            line=row["line"],
            site_id=site_of[row["pump_id"]],
        )
        for row in plan.bad
        if row["pump_id"] in site_of
    ]


def _sites_set_aside(problems: list[Problem], sites: RegisterRows, pumps: RegisterRows) -> dict[str, str]:
    set_aside: dict[str, str] = {}
    for problem in problems:
        if problem.site_id and problem.severity == "disqualifies":
            set_aside.setdefault(problem.site_id, str(problem))
    for row in [*sites.bad, *pumps.bad]:
        if row["site_id"]:
            set_aside.setdefault(str(row["site_id"]), "a row of the register does not fit")
    known = {row["site_id"] for row in sites.rows + sites.bad}
    return {site_id: reason for site_id, reason in set_aside.items() if site_id in known}


def _frame(rows: list[dict[str, object]], fields: tuple[Field, ...]) -> pl.DataFrame:
    schema = {column: _POLARS.get(kind, pl.String) for column, kind in inside_columns(fields).items()}
    return pl.DataFrame([{column: row.get(column) for column in schema} for row in rows], schema=schema)


def _read_weather(folder: Path, problems: list[Problem]) -> pl.DataFrame:
    frames = [pl.DataFrame(schema=_WEATHER_SCHEMA)]
    for path in sorted(folder.glob("*.csv")):
        name = f"weather/{path.name}"
        times, temperatures = [], []
        for row in read_rows(path, name, WEATHER, problems).rows:
            try:
                moment = datetime.fromisoformat(str(row["time_utc"]))
                instant = moment.astimezone(UTC).replace(tzinfo=None) if moment.tzinfo else None
            except (ValueError, OverflowError):  # OverflowError: year 1 or 9999, pushed out by the offset
                instant = None
            if instant is None:
                problems.append(
                    Problem(
                        "bad_value",
                        f"{row['time_utc']!r} does not fit; expected ISO 8601 with Z, such as 2026-11-01T07:00:00Z",
                        "warns",
                        name,
                        row["line"],
                        "time_utc",
                    )
                )
                continue
            times.append(instant)
            temperatures.append(row["air_temperature_c"])
        frames.append(
            pl.DataFrame(
                {"weather": [path.stem] * len(times), "time_utc": times, "air_temperature_c": temperatures},
                schema=_WEATHER_SCHEMA,
            )
        )
    return (
        pl.concat(frames).unique(["weather", "time_utc"], keep="first", maintain_order=True).sort("weather", "time_utc")
    )


__all__ = ["FILES", "Register", "load_register"]
