"""A fine energy counter that counts what the drive draws at rest: running is no jump, and a jump is still one.

Worked out by hand: 4 W for 20 h and 450 W for 4 h a day, read every five minutes to 0.0001 kWh.
"""

from __future__ import annotations

from datetime import datetime, timedelta

import polars as pl
import pytest

from pumpledger.engine.database import Database
from pumpledger.engine.tables import READINGS
from pumpledger.profile.counters import build_counter_rule, mend_counters

START = datetime(2026, 11, 2)


def readings(jump_kwh: float = 0.0) -> pl.DataFrame:
    rows, total = [], 100.0
    for step in range(7 * 288):
        running = 96 <= step % 288 < 144
        total += (450 if running else 4) / 12_000 + (jump_kwh if step == 1000 else 0)
        rows.append(
            dict.fromkeys(READINGS.columns)
            | {
                "pump_id": "P1",
                "time_utc": START + timedelta(minutes=5 * step),
                "day_local": (START + timedelta(minutes=5 * step)).date(),
                "speed_rpm": 1800.0 if running else 0.0,
                "energy_total_kwh": round(total, 4),
                "export_id": "e",
                "line": step + 2,
            }
        )
    return pl.DataFrame(rows, schema=READINGS.schema)


def suspects(frame: pl.DataFrame) -> tuple[list[tuple], pl.DataFrame]:
    with Database(threads=1) as db:
        db.load("reading", frame)
        build_counter_rule(db)
        grain = db.table("counter_grain")
        found = db.table("counter_rule").select("pump_id", "counter").rows()
        mend_counters(db)
        return found, grain


def test_running_after_hours_at_rest_is_no_jump() -> None:
    found, grain = suspects(readings())
    assert found == []
    assert grain["usual_per_h"].item() == pytest.approx(0.45, rel=0.02)


def test_a_jump_is_still_told() -> None:
    found, _ = suspects(readings(jump_kwh=500.0))
    assert found == [("P1", "energy_total")]


def test_a_pump_that_only_rests_keeps_its_own_rate() -> None:
    frame = readings().with_columns(energy_total_kwh=pl.Series([100 + round(n / 3000, 4) for n in range(7 * 288)]))
    found, grain = suspects(frame)
    assert found == [] and grain["usual_per_h"].item() == pytest.approx(0.004, rel=0.05)
