"""C10 and C4 beside programmes that changed, C9 by what other sites ran before, and B2 of a file that came twice; each with a near
miss."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import polars as pl
import pytest
from asked_alone import asked_alone
from keyed_plan_fleet import DEFAULT, DROPPED, THREE, run
from small_clock import midnight, planned_rpm
from small_fleet import FIRST, LAST, WEEK, Fleet

from pumpledger.diagnosis.default_plan import PAST_PROGRAMME
from pumpledger.diagnosis.run import diagnose
from pumpledger.engine.clock_tables import CLOCK_DAYS
from pumpledger.engine.tables import EXPORTS, READINGS

MONDAY = date(2026, 11, 2)


def told(fleet: Fleet, rule: str, **tables: pl.DataFrame) -> list[dict]:
    """The findings of one rule, with some tables put in place of the fleet's own."""
    with fleet.database() as db:
        for name, frame in tables.items():
            db.load(name, frame)
        diagnose(db, WEEK, LAST)
        return list(db.table("finding").filter(rule_id=rule).iter_rows(named=True))


# C10: four hours at 2000 rpm, PLAN asks for 1000


@pytest.mark.parametrize(
    ("starts", "verdict"),
    [
        ((600, 600), "cannot tell"),  # to the minute on two days in a row: a programme
        ((600, 615), "cannot tell"),
        ((600, 640), "found"),  # 40 min apart: a hand
        ((600, None, 600), "found"),  # a day between
    ],
)
def test_what_keeps_its_hours_from_day_to_day_is_no_hand(starts, verdict) -> None:
    fleet = Fleet()
    pump = fleet.site()
    for after, start in enumerate(starts):
        if start is not None:
            fleet.set(pump, MONDAY + timedelta(days=after), 2000, start, start + 240)
    assert [row["verdict"] for row in told(fleet, "C10")] == [verdict]


def test_a_hand_among_the_days_of_a_programme_is_told() -> None:
    """Monday and Tuesday alike, and six hours on Friday."""
    fleet = Fleet()
    pump = fleet.site()
    for after in (0, 1):
        fleet.set(pump, MONDAY + timedelta(days=after), 2000, 600, 840)
    fleet.set(pump, MONDAY + timedelta(days=4), 2600, 700, 1060)
    (row,) = told(fleet, "C10")
    assert (row["verdict"], row["days"], row["measured"]) == ("found", 1, 6.0)


@pytest.mark.parametrize(("start", "stop", "verdict"), [(480, 1200, "cannot tell"), (500, 1000, "found")])
def test_a_periods_hours_at_another_speed_are_the_period(start, stop, verdict) -> None:
    """PLAN runs 1000 rpm from 08:00 to 20:00; one day of that at 2000 rpm."""
    fleet = Fleet()
    fleet.set(fleet.site(), MONDAY, 2000, start, stop)
    assert [row["verdict"] for row in told(fleet, "C10")] == [verdict]


@pytest.mark.parametrize(("hole_min", "verdict"), [(45, "cannot tell"), (121, "found")])
def test_a_hole_in_the_log_begins_no_other_stretch(hole_min, verdict) -> None:
    """Six hours at 2000 rpm from 10:00 on two days; on the second a hole at 10:40: what comes after it is no start by a hand,
    but where the hole is longer than a valid day may have one, who knows what ran in it."""
    fleet = Fleet()
    pump = fleet.site()
    for after in (0, 1):
        fleet.set(pump, MONDAY + timedelta(days=after), 2000, 600, 960)
    fleet.set(pump, MONDAY + timedelta(days=1), float("nan"), 640, 640 + hole_min)
    assert [row["verdict"] for row in told(fleet, "C10")] == [verdict]


@pytest.mark.parametrize(
    ("days_before_the_end", "verdicts"),
    [(0, ["cannot tell"]), (1, ["found"]), (7, ["found"]), (8, [])],
)
def test_what_begins_on_the_last_day_is_judged_a_week_later(days_before_the_end, verdicts) -> None:
    """Whether it comes back the next day, as a programme does, is not known yet."""
    fleet = Fleet()
    fleet.set(fleet.site(), LAST - timedelta(days=days_before_the_end), 2000, 610, 850)
    assert [row["verdict"] for row in told(fleet, "C10")] == verdicts


# C9: one site runs DEFAULT now, others did in the weeks before


def earlier(sites: list[str], plan: tuple = DEFAULT) -> pl.DataFrame:
    day = FIRST - timedelta(days=9)
    speed = planned_rpm(plan, day).reshape(96, 15).mean(axis=1)
    return pl.DataFrame(
        [
            {"site_id": site, "pump_id": f"P-{site}", "week": f"{day:%G-W%V}", "day_local": day, "quarter": quarter,
             "speed_rpm": rpm}
            for site in sites
            for quarter, rpm in enumerate(np.asarray(speed).tolist())
        ],
        schema=PAST_PROGRAMME,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("past", "found"),
    [
        (earlier(["S8", "S9"]), True),
        (earlier(["S8"]), False),
        (earlier(["S8", "S8"]), False),  # one site twice
        (earlier(["S8", "S9"], ((1, 2500, 480, 600),)), False),  # something else
    ],
)
def test_what_other_sites_ran_before_says_what_a_default_is(past, found) -> None:
    fleet = Fleet()
    run(fleet, fleet.site(), DEFAULT, [day for day in fleet.days if day >= date(2026, 11, 3)])
    rows = told(fleet, "C9", past_programme=past)
    assert [(row["verdict"], row["measured"]) for row in rows] == [("found", 3.0)] * found


def kept_until(pump: str, last: date, cost_rpm: float = 2.0) -> pl.DataFrame:
    """Three days of the weeks before, the last of them ``last``, on which ``pump`` was ``cost_rpm`` off its record, and
    two on which it ran something else."""
    rows = [(last - timedelta(days=2 - n), cost_rpm if n < 3 else 300.0) for n in range(5)]
    return pl.DataFrame(
        [(pump, day, 0, None, cost, min(cost, 200.0)) for day, cost in rows], schema=CLOCK_DAYS.schema, orient="row"
    )


@pytest.mark.parametrize(
    ("cost", "off_days", "found"),
    [
        (2.0, 5, True),
        (2.0, 6, True),
        (40.0, 5, False),  # it was off its record before, too
    ],
)
def test_the_first_of_three_lost_its_plan_before_the_days_that_are_judged(cost, off_days, found) -> None:
    """All fourteen days run DEFAULT; what is kept of the days before says since when."""
    fleet = Fleet()
    run(fleet, fleet.site(), DEFAULT, fleet.days)
    last = FIRST - timedelta(days=off_days)
    rows = told(fleet, "C9", past_programme=earlier(["S8", "S9"]), past_clock_day=kept_until("P-S1", last, cost))
    assert [(row["verdict"], row["first_day"]) for row in rows] == [("found", last + timedelta(days=1))] * found


def test_a_default_that_somebody_has_written_down_since_is_none() -> None:
    fleet = Fleet()
    run(fleet, fleet.site(), DEFAULT, [day for day in fleet.days if day >= date(2026, 11, 3)])
    fleet.site("S7", plan=DEFAULT)
    assert told(fleet, "C9", past_programme=earlier(["S8", "S9"])) == []


# B2


@pytest.mark.parametrize(("status", "readings", "found"), [("repeated", 12, 1), ("repeated", 11, 0), ("read", 12, 0)])
def test_a_file_that_came_a_second_time(status, readings, found) -> None:
    fleet = Fleet()
    pump = fleet.site()
    files = [("first.csv", "read"), ("again.csv", status)]
    exports = pl.DataFrame(
        [{**dict.fromkeys(EXPORTS.columns), "export_id": "e1", "file": file, "status": said} for file, said in files],
        schema=EXPORTS.schema,
    )
    rows = [
        {**dict.fromkeys(READINGS.columns), "pump_id": pump, "export_id": "e1", "day_local": LAST,
         "time_utc": midnight(LAST) + timedelta(hours=hour)}
        for hour in range(readings)
    ]  # fmt: skip
    said = told(fleet, "B2", export=exports, reading=pl.DataFrame(rows, schema=READINGS.schema))
    assert [(row["component"], row["measured"]) for row in said] == [("again.csv", 12.0)] * found


# C4


@pytest.mark.parametrize(("ran", "cause"), [(((1, 2400, 360, 900), (3, 1800, 900, 1080)), "C13"), (DROPPED, "")])
def test_hours_that_run_at_another_speed_are_told_by_what_runs(fleet, ran, cause) -> None:
    """The step before holds on, or the step was keyed in with its speed: nothing tells, and what runs is one programme."""
    run(fleet, fleet.site(plan=THREE), ran)
    with fleet.database() as db, asked_alone("C4", "C13"):
        diagnose(db, WEEK, LAST)
        row = db.table("finding").filter(rule_id="C4").row(0, named=True)
    assert (row["verdict"], row["explained_by"]) == ("found", cause)
