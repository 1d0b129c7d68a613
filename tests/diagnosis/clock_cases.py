"""What the tests of the clock rules share: a fleet's findings with older plans or earlier days in its tables, and the
rows of one rule."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import date, timedelta

import polars as pl
from asked_alone import asked_alone
from small_clock import planned_rpm
from small_fleet import FIRST, LAST, WEEK, Fleet

from pumpledger.diagnosis.run import diagnose
from pumpledger.engine.clock_tables import CLOCK_DAYS
from pumpledger.engine.database import Database

CHANGE = date(2026, 11, 1)
CLOCK = ("A1", "A2", "A3", "A4", "A5", "A7", "C13")


def rows(frame: pl.DataFrame, rule: str) -> list[dict]:
    return list(frame.filter(frame["rule_id"] == rule).iter_rows(named=True))


def found_of(frame: pl.DataFrame) -> set[tuple[str, str]]:
    """(site, rule) of what the clock rules found."""
    kept = frame.filter((pl.col("verdict") == "found") & pl.col("rule_id").is_in(CLOCK))
    return set(kept.select("site_id", "rule_id").iter_rows())


def run_programme(fleet: Fleet, pump: str, programme: tuple, days: list[date] | None = None) -> None:
    """Let the pump run something else than its plan."""
    for day in days or fleet.days:
        fleet.speed[pump, day] = planned_rpm(programme, day)


@contextmanager
def tables(
    fleet: Fleet,
    older: Mapping[tuple[str, date], tuple] | None = None,
    past: list[tuple[str, date, int, float | None, float]] | None = None,
    verdict: list[dict] | None = None,
) -> Iterator[Database]:
    """The tables of the fleet.

    ``older`` are plans of before, ``past`` rows of past_clock_day (pump, day, shift, late, unshifted; best is 3 rpm).
    """
    with fleet.database() as db:
        plan = db.table("plan")
        more = [
            {"pump_id": pump, "valid_from": since, "period": k, "speed_rpm": float(n), "start_min": a, "stop_min": b}
            for (pump, since), periods in (older or {}).items()
            for k, n, a, b in periods
        ]
        db.load("plan", pl.concat([plan, pl.DataFrame(more, schema=plan.schema)]))
        kept = [
            dict(zip(CLOCK_DAYS.columns, (pump, day, shift, late, unshifted, 3.0), strict=True))
            for pump, day, shift, late, unshifted in past or []
        ]
        db.load("past_clock_day", pl.DataFrame(kept, schema=CLOCK_DAYS.schema))
        if verdict:
            blank = dict.fromkeys(db.table("verdict").columns)
            schema = db.table("verdict").schema
            db.load("verdict", pl.DataFrame([{**blank, **row} for row in verdict], schema=schema))
        yield db


def reviewed(
    fleet: Fleet,
    parameters: Mapping[str, Mapping[str, float]] | None = None,
    asked: tuple[str, ...] = (*CLOCK, "C10"),
    **beside: object,
) -> pl.DataFrame:
    """FINDINGS of the fleet, of the clock rules and what may explain them; ``beside`` as `tables` takes it."""
    with tables(fleet, **beside) as db, asked_alone(*asked):
        diagnose(db, WEEK, LAST, parameters)
        return db.table("finding")


def weeks_before(count: int) -> list[date]:
    """The days of as many weeks before the fleet's own."""
    return [FIRST - timedelta(days=n) for n in range(7 * count, 0, -1)]
