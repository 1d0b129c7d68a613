"""B1, B2, B4: the data before anything else; and the early verdicts that accounting consumes."""

from __future__ import annotations

from datetime import date, datetime

import polars as pl
import pytest
from small_fleet import LAST, WEEK

from pumpledger.diagnosis.early import struck_days, unit_doubts
from pumpledger.diagnosis.rules import RULES, parameter_values
from pumpledger.diagnosis.run import diagnose, prepare

NAN = float("nan")


def rows(frame, rule):
    return list(frame.filter(frame["rule_id"] == rule).iter_rows(named=True))


@pytest.mark.parametrize(
    ("holes", "found"), [((200, 200), True), ((200,), False), ((110, 110), False), ((1000,), True)]
)
def test_missing_readings(fleet, findings, holes, found) -> None:
    """110 min are 92 % of a day and under two hours; 200 min are neither; one day with under half observed is enough
    alone."""
    pump = fleet.site()
    for day, hole in zip(fleet.days[8:], holes, strict=False):
        fleet.set(pump, day, NAN, 0, hole)
    assert [row["verdict"] for row in rows(findings(fleet), "B1")] == (["found"] if found else [])


@pytest.mark.parametrize(
    ("hole", "look_min", "verdict"),
    [(60, 15.0, "cannot tell"), (121, 15.0, "found"), (60, 10.0, "found")],
)
def test_short_holes_of_a_logger_that_looks_seldom_are_the_gap_limits(fleet, hole, look_min, verdict) -> None:
    """Three hours a day are lost by a limit of 20 min: a row each quarter hour passes it with one row that is lost."""
    pump = fleet.site()
    for day in fleet.days[8:10]:
        for start in (100, 400, 700):
            fleet.set(pump, day, NAN, start, start + hole)
    with fleet.database() as db:
        values = {rule.id: parameter_values(rule) for rule in RULES}
        prepare(db, LAST, values)
        db.load("look_interval", pl.DataFrame({"pump_id": [pump], "look_min": [look_min], "gap_limit_min": [20.0]}))
        (row,) = db.query("diagnosis/rule_b1", values["B1"]).to_dicts()
    assert row["verdict"] == verdict
    assert verdict == "found" or "2 of 7 days are not complete by the limit of 20 min" in row["needs"]


def test_missing_readings_on_the_25_hour_day(fleet, findings) -> None:
    """Two hours and a half of 25 h are 10 %: in the week before, so no finding of this week either way."""
    pump = fleet.site()
    fleet.set(pump, date(2026, 11, 1), NAN, 0, 150)
    assert rows(findings(fleet), "B1") == []


def test_a_week_without_a_row_is_missing_not_zero(fleet, findings) -> None:
    pump = fleet.site()
    for day in fleet.days:
        fleet.set(pump, day, NAN)
    found = findings(fleet)
    (row,) = rows(found, "B1")
    assert (row["measured"], row["days"]) == (0, 7)
    assert found.filter(pl.col("verdict") == "found")["rule_id"].to_list() == ["B1"]


def test_closed_site_may_be_silent(fleet, findings) -> None:
    pump = fleet.site(season="closed")
    for day in fleet.days:
        fleet.set(pump, day, NAN)
    assert findings(fleet).is_empty()


@pytest.mark.parametrize(("count", "found"), [(12, 1), (11, 0)])
def test_duplicated_rows(fleet, findings, count, found) -> None:
    pump = fleet.site()
    fleet.exports.append(
        {
            "sequence": 1,
            "export_id": "e1",
            "file": "again.csv",
            "first_utc": datetime(2026, 11, 3),
            "last_utc": datetime(2026, 11, 5),
        }
    )
    fleet.refused += [
        ("e1", "again.csv", pump, "repeat", "duplicates", count),
        ("e1", "again.csv", pump, "speed_out_of_range", "quarantine", 900),
    ]
    assert [row["measured"] for row in rows(findings(fleet), "B2")] == [12.0] * found


def test_kw_in_the_watt_column(fleet, findings) -> None:
    pump = fleet.site(baseline_power_w=1800.0)
    fleet.power_scale[pump] = 0.001
    for day in fleet.days[7:]:
        fleet.set(pump, day, 3450, 0, 1440)
    found = findings(fleet)
    (row,) = rows(found, "B4")
    assert row["verdict"] == "found" and "kW" in row["sentence"]
    assert "times as great" in row["sentence"]
    assert {row["verdict"] for row in rows(found, "O3") + rows(found, "C12")} == {"cannot tell"}
    assert rows(found, "C6")[0]["verdict"] == "found"  # speeds are not in doubt


def test_percent_in_the_speed_column(fleet, findings) -> None:
    pump = fleet.site()
    for day in fleet.days:
        fleet.speed[pump, day] = fleet.speed[pump, day] / 34.5
    found = findings(fleet)
    (row,) = rows(found, "B4")
    assert "percent or Hz" in row["sentence"]
    assert found.filter((pl.col("verdict") == "found") & (pl.col("rule_id") != "B4")).is_empty()


def test_true_watts_and_idle_pumps_are_not_doubted(fleet) -> None:
    fleet.site("S1")
    still = fleet.site("S2")
    for day in fleet.days:
        fleet.set(still, day, 0)
    with fleet.database() as db:
        unit_doubts(db)
        assert db.table("pump_doubt").is_empty()
        assert db.table("pump_doubt").columns == ["pump_id", "doubt"]


def test_struck_days_are_the_days_that_did_not_run(fleet) -> None:
    pump = fleet.site()
    fleet.set(pump, date(2026, 10, 28), 0)
    fleet.set(pump, date(2026, 11, 4), 0)
    fleet.set(pump, date(2026, 11, 5), NAN)
    with fleet.database() as db:
        unit_doubts(db)
        struck_days(db)
        struck = db.table("struck_day")
    assert struck.columns == ["site_id", "day_local", "reason"]
    assert struck["day_local"].to_list() == [date(2026, 10, 28), date(2026, 11, 4)]
    assert pump in struck["reason"][0]


def test_same_rows_same_findings(fleet) -> None:
    for n in range(3):
        fleet.site(f"S{n}", moved_min=lambda day: 720)
    frames = []
    for _ in range(2):
        with fleet.database() as db:
            diagnose(db, WEEK, LAST)
            frames.append(db.table("finding"))
    assert frames[0].equals(frames[1])
