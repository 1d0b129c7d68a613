"""Quarter hours of every pump, observed and planned, as arrays: what the verdicts on identity and on clocks compare.

Belongs here: the reduction of readings, made once for all modes, and its shape. What is compared with what stands in
the modules of the modes.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
import numpy.typing as npt
import polars as pl

from pumpledger.engine.database import Database
from pumpledger.profile.build import STANDING

SLOTS = 100
"""Quarter hours of the longest local day, 25 h; a day of 24 h uses 96 of them."""

CELLS = {"quarter_cell": "verdicts/quarter_cell"}
"""The numbering that `filled` reads, for queries of cells."""

Array = npt.NDArray[np.floating]


@dataclass(frozen=True, slots=True)
class QuarterHours:
    """Pumps with readings, sorted by identifier, on the days of the calendar.

    ``observed`` and ``planned`` are (pumps, days, 100) [rev/min], off 0, NaN not observed or no plan on record.
    ``day_min`` is (pumps, days): how long the pump's local day is [min].
    """

    pump_id: list[str]
    source: npt.NDArray[np.str_]
    zone: npt.NDArray[np.str_]
    days: list[date]
    observed: Array
    planned: Array
    day_min: Array

    def coverage(self) -> Array:
        """Share of each day's quarters that were observed, (pumps, days)."""
        return (~np.isnan(self.observed)).sum(axis=2) / (self.day_min / 15)


def has_table(db: Database, name: str) -> bool:
    """Whether ``db`` holds the table or view ``name``."""
    found = db.connection.execute(
        "select count(*) from (select table_name as name from duckdb_tables() union all "
        "select view_name from duckdb_views()) where name = $name",
        {"name": name},
    )
    return found.fetchall()[0][0] > 0


def build_pump_quarter(db: Database) -> None:
    """Make ``pump_quarter`` from reading, export_hold, pump_source, pump, site and quarter."""
    db.build("pump_quarter", "verdicts/pump_quarter", {"off_below_rpm": STANDING["off_below_rpm"]})


def need_pump_quarter(db: Database) -> None:
    """Make ``pump_quarter`` where the run has not made it for all modes."""
    if not has_table(db, "pump_quarter"):
        build_pump_quarter(db)


def quarter_hours(db: Database) -> QuarterHours:
    """The arrays of all pumps.

    Inputs: reading, export_hold, pump_source, pump, site, quarter, local_day, plan_slot.
    """
    need_pump_quarter(db)
    pumps = db.query("verdicts/quarter_pump")
    days = db.query("verdicts/quarter_day")
    names, dates = pumps["pump_id"].to_list(), sorted(set(days["day_local"].to_list()))
    zones = pumps["zone"].to_numpy() if names else np.empty(0, dtype=str)
    length = dict(zip(zip(days["zone"], days["day_local"], strict=True), days["day_min"], strict=True))
    return QuarterHours(
        pump_id=names,
        source=pumps["source"].to_numpy() if names else np.empty(0, dtype=str),
        zone=zones,
        days=dates,
        observed=filled(db.query("verdicts/quarter_seen", over=CELLS), len(names), len(dates)),
        planned=filled(db.query("verdicts/quarter_planned", over=CELLS), len(names), len(dates)),
        day_min=np.array([[length.get((zone, day), np.nan) for day in dates] for zone in zones]).reshape(
            len(names), len(dates)
        ),
    )


def filled(cells: pl.DataFrame, pumps: int, days: int) -> Array:
    """Cells (cell number, value) as (pumps, days, 100), NaN where there is none."""
    filled = np.full(pumps * days * SLOTS, np.nan, dtype=np.float32)
    filled[cells["cell"].to_numpy()] = cells["value"].to_numpy()
    return filled.reshape(pumps, days, SLOTS)
