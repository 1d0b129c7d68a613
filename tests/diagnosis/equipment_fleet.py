"""What the tests of rules about equipment add to the small fleet: power, plan and air of single spans and quarters.

Belongs here: helpers. Each puts numbers into the small fleet's own tables before the rules look.
"""

from __future__ import annotations

from datetime import date, timedelta

import polars as pl
from asked_alone import asked_alone
from outcome_rows import verdicts as doubted
from small_fleet import FIRST, LAST, WEEK, Fleet, power_w

from pumpledger.diagnosis.run import diagnose
from pumpledger.engine.database import Database

NAN = float("nan")
MONDAY = date(2026, 11, 2)
WEEK_DAYS = [MONDAY + timedelta(days=n) for n in range(7)]


class EquipmentFleet(Fleet):
    """The small fleet with a spoilt meter, quarter hours of the load, air along the spans, and causes."""

    def __init__(self) -> None:
        super().__init__()
        self.dead: list[tuple[str, date, int, int, float]] = []
        self.holds: dict[str, int] = {}
        self.prime: set[str] = set()

    def drew(self, pump_id: str, day: date, start_min: int, stop_min: int, watts: float) -> None:
        """Logged power over elapsed minutes; a speed 1 rpm off cuts the span there."""
        self.speed[pump_id, day][start_min:stop_min] += 1
        self.dead.append((pump_id, day, start_min, stop_min, watts))

    def primes(self, pump_id: str) -> None:
        """A run after a stretch without one begins as priming."""
        self.prime.add(pump_id)

    def database(self) -> Database:
        db = super().database()
        span = db.table("span")
        for pump_id, day, start, stop, watts in self.dead:
            here = (
                (pl.col("pump_id") == pump_id)
                & (pl.col("day_local") == day)
                & pl.col("start_min").is_between(start, stop - 1)
            )
            span = span.with_columns(pl.when(here).then(watts).otherwise("power_w").alias("power_w"))
        after_pause = pl.col("kind").shift(1).over("pump_id").is_in(["off", "unknown"])
        first = pl.col("pump_id").is_in(list(self.prime)) & (pl.col("kind") == "run") & after_pause
        span = span.with_columns(pl.when(first).then(pl.lit("priming")).otherwise("cause").alias("cause"))
        db.load("span", self._with_air(db, span))
        db.load("profile", self._with_load(db.table("profile")))
        return db

    def _with_air(self, db: Database, span: pl.DataFrame) -> pl.DataFrame:
        """Air of the hour in which the span begins: the tests' air changes slowly."""
        station = db.table("site").select("site_id", "weather")
        air = db.table("weather").rename({"time_utc": "hour", "air_temperature_c": "air"})
        return (
            span.with_columns(hour=pl.col("start_utc").dt.truncate("1h"))
            .join(station, on="site_id", maintain_order="left", how="left")
            .join(air, on=["weather", "hour"], how="left", maintain_order="left")
            .with_columns(air_temperature_c="air")
            .drop("hour", "weather", "air")
        )

    def _with_load(self, profile: pl.DataFrame) -> pl.DataFrame:
        """Minutes of the load by quarter hour, summed from the minutes."""
        rows = [
            (pump, day, quarter, float(minutes[quarter * 15 : quarter * 15 + 15].sum()))
            for (pump, day), minutes in self.aux.items()
            for quarter in range(len(minutes) // 15)
        ]
        schema = {"pump_id": pl.String, "day_local": pl.Date, "quarter": pl.Int64, "seen": pl.Float64}
        seen = pl.DataFrame(rows, schema=schema, orient="row")
        return (
            profile.join(seen, on=["pump_id", "day_local", "quarter"], how="left", maintain_order="left")
            .with_columns(aux_min="seen")
            .drop("seen")
        )


EQUIPMENT = ("C10", "D8", "D9", "D10", "D11", "D12", "D13", "D14", "D15", "D16", "D18", "D19", "D20")


def judged(
    fleet: EquipmentFleet,
    parameters: dict[str, dict[str, float]] | None = None,
    asked: tuple[str, ...] = EQUIPMENT,
    doubts: tuple[dict[str, object], ...] = (),
) -> pl.DataFrame:
    """FINDINGS of the small fleet's week, of the rules of equipment and what may explain them; ``doubts`` are verdicts."""
    with fleet.database() as db, asked_alone(*asked):
        if doubts:
            db.load("verdict", doubted(*doubts))
        diagnose(db, WEEK, LAST, parameters)
        return db.table("finding")


def rows(frame: pl.DataFrame, rule: str) -> list[dict[str, object]]:
    return list(frame.filter(pl.col("rule_id") == rule).iter_rows(named=True))


def verdicts(frame: pl.DataFrame, rule: str) -> list[object]:
    return [row["verdict"] for row in rows(frame, rule)]


__all__ = ["FIRST", "LAST", "MONDAY", "NAN", "WEEK_DAYS", "EquipmentFleet", "judged", "power_w", "rows", "verdicts"]
