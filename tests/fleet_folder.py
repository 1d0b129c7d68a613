"""Small made-up fleet folders for tests: written from text, run step by step without Dagster.

Belongs here: what many tests share. Each test says what is special about its fleet.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import polars as pl

from pumpledger.engine.tables import DAILY, SAVINGS, SPANS
from pumpledger.intake.ingest import Intake
from pumpledger.orchestration import steps
from pumpledger.orchestration.session import Session

FLEET = """# This data is made up.
name = "Test fleet (made-up data)"
made_up = true
zone = "America/Los_Angeles"
"""
METER = """about = "Test dialect: changes of state with speed, power in kW and flow in gpm; ISO time with offset."
[file]
delimiter = ","
[time]
column = "at"
format = "%Y-%m-%dT%H:%M:%S%z"
zone = "offset"
label = "change_of_state"
gap_limit_s = 25200
[pump]
column = "pump"
[quantity]
speed = { column = "speed_rpm", unit = "rpm" }
power = { column = "power_kw", unit = "kW" }
flow = { column = "flow_gpm", unit = "gpm" }
"""
SITES = "site_id,site_name,pool_volume_gal,required_turnovers\nH1,Made-up One,20000,0.5\n"
PUMPS = "pump_id,site_id\nP1,H1\n"


def write_fleet(folder: Path, files: dict[str, str], sources: dict[str, tuple[str, str]] | None = None) -> Path:
    """A fleet folder of ``files`` (path -> text) over a minimal register; ``sources`` maps a name to (glob,
    dialect)."""
    declared = sources or {"meter": ("meter_*.csv", "meter")}
    lines = [
        f'[[source]]\nname = "{name}"\nfiles = "{glob}"\ndialect = "{dialect}"\n'
        for name, (glob, dialect) in declared.items()
    ]
    content = {
        "fleet.toml": FLEET + "\n".join(lines),
        "sites.csv": SITES,
        "pumps.csv": PUMPS,
        "dialects/meter.toml": METER,
    } | files
    (folder / "inbox").mkdir(parents=True, exist_ok=True)
    for name, text in content.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    return folder


def meter_rows(pump: str, rows: list[tuple[str, float, float, float]], offset: str) -> str:
    """Rows of the test dialect: (wall clock, rpm, kW, gpm), all at one offset from UTC."""
    return "".join(f"{at}{offset},{pump},{rpm:g},{kw:g},{gpm:g}\n" for at, rpm, kw, gpm in rows)


METER_HEADER = "at,pump,speed_rpm,power_kw,flow_gpm\n"


def run_steps(folder: Path, *weeks: str) -> tuple[Session, Intake]:
    """Intake, spans, daily accounts and savings of ``weeks``."""
    session = Session(folder)
    intake = session.take_inbox()
    for week in weeks:
        steps.make_spans(session, week)
        steps.make_daily(session, week)
        steps.make_savings(session, week)
    return session, intake


def spans_of(session: Session, week: str, pump_id: str, day: date) -> pl.DataFrame:
    return session.lake.read(SPANS, week).filter((pl.col("pump_id") == pump_id) & (pl.col("day_local") == day))


def day_of(session: Session, week: str, pump_id: str, day: date) -> dict[str, object]:
    """The daily account of one pump and day."""
    return (
        session.lake.read(DAILY, week)
        .filter((pl.col("pump_id") == pump_id) & (pl.col("day_local") == day))
        .row(0, named=True)
    )


def saving_of(session: Session, week: str, site_id: str, day: date) -> dict[str, object]:
    return (
        session.lake.read(SAVINGS, week)
        .filter((pl.col("site_id") == site_id) & (pl.col("day_local") == day))
        .row(0, named=True)
    )


def samples_5min(pump: str, start_utc: datetime, states: list[tuple[float, float]]) -> str:
    """Rows of the package's dialect samples_5min, one each five minutes: (rpm, W)."""
    rows = ["time_utc,pump,speed_rpm,power_w,aux"]
    for number, (rpm, watts) in enumerate(states):
        at = (start_utc + timedelta(minutes=5 * number)).replace(tzinfo=UTC)
        rows.append(f"{at:%Y-%m-%dT%H:%M:%SZ},{pump},{rpm:g},{watts:g},")
    return "\n".join(rows) + "\n"
