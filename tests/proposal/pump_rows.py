"""Made-up pumps by time: a daily plan, power by the affinity law, counters that follow.

Belongs here: the rows that `export_writer.py` writes in many shapes.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass
from datetime import datetime, timedelta


@dataclass
class Row:
    at: datetime
    pump: str
    rpm: float
    watts: float
    interval_wh: float
    total_wh: float
    run_s: float
    m3h: float
    air_c: float
    aux: bool


def simulate(
    rng: random.Random, pumps: list[str], start: datetime, interval_s: int, days: float, events: bool
) -> list[Row]:
    """Rows of each pump by time; times are interval beginnings. ``events`` keeps only changes and a sign of life."""
    rows = []
    for pump in pumps:
        speeds = [rng.choice([0, 0, 1050, 1500, 2400, 3450]) for _ in range(4)]
        if rng.random() < 0.15:
            speeds = [0, 0, 0, 0]
        total_wh, run_s = rng.uniform(1e5, 3e6), rng.uniform(1e5, 2e7)
        shift = rng.randint(0, 5)
        at, last_rpm, beat = start, None, start
        while at < start + timedelta(days=days):
            planned = speeds[((at.hour + shift) // 6) % 4]
            rpm = planned + rng.choice([-1, 0, 0, 1]) if planned else 0
            watts = 4 + rng.uniform(0, 0.3) + (1500 * (rpm / 3450) ** 3 + 20) * rng.uniform(0.98, 1.02) * (rpm > 0)
            row = Row(
                at,
                pump,
                rpm,
                watts,
                watts * interval_s / 3600,
                total_wh,
                run_s,
                0.0055 * rpm * rng.uniform(0.98, 1.02),
                12 + 8 * math.sin(at.hour / 24 * 6.28 - 2) + rng.uniform(0, 1),
                rpm > 2000,
            )
            if not events or last_rpm is None or abs(rpm - last_rpm) > 20 or at - beat >= timedelta(hours=6):
                rows.append(row)
                beat = at
                if events:
                    row.at = at + timedelta(seconds=rng.randint(0, interval_s - 1))
            last_rpm = rpm
            total_wh += watts * interval_s / 3600
            run_s += interval_s * (rpm > 0)
            at += timedelta(seconds=interval_s)
    return rows
