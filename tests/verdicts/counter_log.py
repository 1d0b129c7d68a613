"""Logs of counters for tests: what a pump drew, counted by a register of so many digits or bits.

Belongs here: what the tests of steps, falls and clock jumps share. The register counts in whole steps and starts again
from nothing, as a 32-bit counter of RFC 2578 (7.1.6, from memory) does after 2^32 - 1.
"""

from __future__ import annotations

from datetime import datetime, timedelta

import polars as pl

from pumpledger.engine.database import Database
from pumpledger.engine.tables import READINGS
from pumpledger.profile.counters import build_counter_rule, counter_steps

START = datetime(2026, 11, 2, 8)  # midnight in Los Angeles


def counted(steps: list[int], resolution: float, first: int = 0, turns_at: int | None = None) -> list[float]:
    """What the register shows after each rise of ``steps`` whole steps, the value before the first one included."""
    total, shown = first, []
    for step in [0, *steps]:
        total += step
        shown.append(round((total % turns_at if turns_at else total) * resolution, 6))
    return shown


def readings(
    values: list[float], column: str = "energy_total_kwh", step_min: float = 15, **fields: object
) -> pl.DataFrame:
    """One pump's log of a counter, a reading each ``step_min``."""
    rows = [
        dict.fromkeys(READINGS.columns)
        | {
            "pump_id": "P1",
            "time_utc": START + timedelta(minutes=step_min * n),
            "export_id": "e",
            "line": n + 2,
            column: value,
        }
        | fields
        for n, value in enumerate(values)
    ]
    return READINGS.conform(pl.DataFrame(rows, schema=READINGS.schema))


def stepped(log: pl.DataFrame) -> tuple[pl.DataFrame, pl.DataFrame]:
    """``counter_step`` of every counter, and ``counter_rule``."""
    with Database(threads=1) as db:
        db.load("reading", log)
        build_counter_rule(db)
        counter_steps(db, db.table("counter_grain"))
        return db.table("counter_step"), db.table("counter_rule")
