"""Taking what a pump runs as its plan: the rows that its newest days show, added to plans.csv with the day from which they
hold.

Belongs here: the frame around `diagnosis.observed_plan`: which days are read, the fleet's lock, the file, the words. What
stands in plans.csv already stays byte for byte.
"""

from __future__ import annotations

import csv
import difflib
import io
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import polars as pl

from pumpledger.diagnosis.clock_dating import last_step
from pumpledger.diagnosis.clock_days import NEAR_RPM, PumpDays, pump_days
from pumpledger.diagnosis.clock_history import OUT_OF_STEP_RPM
from pumpledger.diagnosis.observed_plan import PlanRow, Steadiness, clock, observed_plan, plan_quarters
from pumpledger.diagnosis.rules import BY_ID, parameter_values
from pumpledger.engine.database import Database
from pumpledger.engine.lake import Lake
from pumpledger.engine.tables import DAILY, FINDINGS, PROFILE, SPANS
from pumpledger.orchestration.session import Session
from pumpledger.problems import FleetError, Problem
from pumpledger.profile.calendar import iso_week, week_days
from pumpledger.register.csv_file import read_rows
from pumpledger.register.fields import PLANS
from pumpledger.workspace import write_whole

FILE = "plans.csv"
WINDOW_DAYS = 7
CLOCK_RULES = ("A1", "A2", "A3", "A4", "A5")


@dataclass(frozen=True, slots=True)
class Programme:
    """What a pump runs: the rows, the days that show it, and the first day since which it runs so."""

    rows: tuple[PlanRow, ...]
    days: list[date]
    looked_at: int
    since: date


def adopt_plan(folder: Path, pump_id: str, from_text: str | None = None) -> Iterator[str]:
    """Add the programme of ``pump_id`` to plans.csv; say what was done.

    Raises:
        FleetError: no such pump, no review, days that show no steady programme, or a day on which it cannot begin.
    """
    session = Session(folder)
    wanted = _day(from_text)
    register = session.register
    if pump_id not in register.pump["pump_id"]:
        close = difflib.get_close_matches(pump_id, register.pump["pump_id"].to_list(), n=1)
        hint = f"; did you mean {close[0]}?" if close else ""
        raise _refused(f"there is no pump {pump_id!r} in pumps.csv, or its site is set aside{hint}")
    weeks = session.lake.weeks(PROFILE)
    if not weeks:
        raise _refused("no review has been made yet; run `pumpledger review` first")
    with session.workspace.lock():
        seen = _programme(session, pump_id, weeks[-1])
        yield f"{pump_id} ran so on {len(seen.days)} of its last {seen.looked_at} days that can be used, {seen.days[0]} to "\
              f"{seen.days[-1]}:"  # fmt: skip
        yield from (f"    period {number}: {row.words()}" for number, row in enumerate(seen.rows, start=1))
        yield from _clock_notes(session.lake, pump_id, weeks[-1])
        recorded = _recorded(register.plan, pump_id)
        if recorded and recorded[max(recorded)] == set(seen.rows):
            yield f"{FILE} holds it already, from {max(recorded)}; nothing was added."
            return
        first = _first_day(seen, wanted, max(recorded, default=None))
        append_plan(folder / FILE, pump_id, first, seen.rows)
    yield f"Added to {FILE} from {first}. The next review takes it into account."


def _refused(sentence: str) -> FleetError:
    return FleetError(Problem("adopt_refused", sentence, file=FILE))


def _day(text: str | None) -> date | None:
    try:
        return date.fromisoformat(text) if text else None
    except ValueError:
        raise _refused(f"{text!r} is not a day such as 2026-11-09") from None


def _programme(session: Session, pump_id: str, week: str) -> Programme:
    days = _days(session, pump_id, week)
    window = np.arange(len(days.day_local))[-WINDOW_DAYS:]
    rules = session.thresholds.rules
    values, match = (parameter_values(BY_ID[name], rules) for name in ("C13", "A1"))
    steady = Steadiness(values["days"], values["stability"], match["differs_rpm"])
    found = observed_plan(days.observed[window], values["day_rpm"])
    reason = steady.fault(found)
    if reason is None and not days.in_week[window].any():
        reason = f"no day of {week} can be used"
    if reason:
        raise _refused(f"what {pump_id} runs is not steady enough to be put on record: {reason}")
    plan = plan_quarters((row.start_min, row.stop_min, row.speed_rpm) for row in found.rows)
    away = np.nanmean(np.abs(days.observed - plan), axis=1)
    begins = days.day_local[last_step(away, OUT_OF_STEP_RPM) or 0].item()
    alike = days.day_local[window][found.alike].tolist()
    return Programme(found.rows, alike, len(window), begins)


def _days(session: Session, pump_id: str, week: str) -> PumpDays:
    """The believed days of the week and of the one before that speak of the programme, as for rule C13."""
    weeks = [iso_week(week_days(week)[0] - timedelta(days=7)), week]
    with Database() as db:
        for name, table in (("profile", PROFILE), ("daily", DAILY), ("span", SPANS)):
            rows = session.read_weeks(table, weeks).filter(pl.col("pump_id") == pump_id)
            db.load(name, rows.with_columns(valid=pl.col("believed")) if table is DAILY else rows)
        judged = [(day, name == week) for name in weeks for day in week_days(name)]
        db.load("judged_day", pl.DataFrame(judged, schema={"day_local": pl.Date, "in_week": pl.Boolean}, orient="row"))
        db.load("visit", session.register.visit)
        db.load("pump", session.register.pump)
        db.build("excused_day", "diagnosis/excused_day")
        days = pump_days(db.query("diagnosis/observed_quarter", {"near_rpm": NEAR_RPM}))
    if not len(days.day_local):
        raise _refused(f"no day of {weeks[0]} and {weeks[1]} shows what {pump_id} runs")
    return days


def _clock_notes(lake: Lake, pump_id: str, week: str) -> Iterator[str]:
    found = lake.read(FINDINGS, week).filter(
        (pl.col("component") == pump_id) & (pl.col("verdict") == "found") & pl.col("rule_id").is_in(CLOCK_RULES)
    )
    for sentence in found["sentence"]:
        yield f"Be sure that the pump's clock is right before this stands. The review of {week} says: {sentence}"


def _recorded(plan: pl.DataFrame, pump_id: str) -> dict[date, set[PlanRow]]:
    recorded: dict[date, set[PlanRow]] = {}
    columns = ("valid_from", "start_min", "stop_min", "speed_rpm")
    for since, start, stop, speed in plan.filter(pl.col("pump_id") == pump_id).select(columns).iter_rows():
        recorded.setdefault(since, set()).add(PlanRow(start % 1440, stop, int(speed)))
    return recorded


def _first_day(seen: Programme, wanted: date | None, newest: date | None) -> date:
    """From when the plan holds: as wanted, or since it runs so; after the newest plan on record, and while it ran."""
    if wanted is None:
        first = seen.since if newest is None else max(seen.since, newest + timedelta(days=1))
        wanted = min(first, seen.days[-1]) if newest is None or newest < seen.days[-1] else first
    if newest is not None and wanted <= newest:
        raise _refused(f"a plan of {newest} is on record already; a new one must begin later than that")
    if wanted > seen.days[-1]:
        raise _refused(f"a plan from {wanted} is not what ran until {seen.days[-1]}; a later day has not been seen yet")
    return wanted


def append_plan(path: Path, pump_id: str, first: date, rows: tuple[PlanRow, ...]) -> None:
    """Add the rows to ``path`` in the order of its own columns; columns that are not the plan's stay empty."""
    before = path.read_bytes() if path.exists() else b""
    names = [field.column for field in PLANS]
    if before.strip():
        problems: list[Problem] = []
        if not read_rows(path, FILE, PLANS, problems).header_ok:
            raise FleetError([problem for problem in problems if problem.severity == "disqualifies"])
        names = [cell.strip() for cell in next(csv.reader(io.StringIO(before.decode("utf-8-sig"))))]
    ending = "\r\n" if b"\r\n" in before else "\n"
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator=ending)
    if not before.strip():
        writer.writerow(names)
    for number, row in enumerate(rows, start=1):
        values = {
            "pump_id": pump_id,
            "valid_from": first.isoformat(),
            "period": number,
            "speed_rpm": row.speed_rpm,
            "start": clock(row.start_min),
            "stop": clock(row.stop_min),
        }
        writer.writerow([values.get(name, "") for name in names])
    stood = before if before.strip() else b""
    gap = b"" if not stood or stood.endswith(b"\n") else ending.encode()
    write_whole(path, stood + gap + out.getvalue().encode("utf-8"))
