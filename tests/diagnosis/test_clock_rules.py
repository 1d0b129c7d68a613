"""A1 and A2 on the small fleet, over the 25-hour day 2026-11-01. Signs: a clock not set back runs an hour early by the
wall clock."""

from __future__ import annotations

from datetime import date

import pytest

CHANGE = date(2026, 11, 1)
SYMMETRIC = ((1, 1500, 360, 600), (2, 1500, 1080, 1320))


def rows(frame, rule):
    return list(frame.filter(frame["rule_id"] == rule).iter_rows(named=True))


def test_healthy_site_over_the_25_hour_day_says_nothing(fleet, findings) -> None:
    fleet.tariff("evening")
    fleet.site(tariff="evening", plan=((1, 1500, 120, 240), (2, 1000, 240, 960)))  # over before the peak begins
    assert findings(fleet).is_empty()


def test_twelve_hours_out(fleet, findings) -> None:
    pump = fleet.site(moved_min=lambda day: 720)
    found = findings(fleet)
    (row,) = rows(found, "A1")
    assert (row["verdict"], row["component"], row["measured"], row["days"], row["rank"]) == ("found", pump, 720, 7, 1)
    assert (row["first_day"], row["last_day"]) == (date(2026, 11, 2), date(2026, 11, 8))
    assert "or the record" in row["sentence"]
    assert [r["explained_by"] for r in rows(found, "C10")] == ["A1"]


@pytest.mark.parametrize("moved", [0, 15, 60])
def test_a_clock_right_or_odd_is_not_twelve_hours_out(fleet, findings, moved) -> None:
    fleet.site(moved_min=lambda day: moved)
    assert all(row["verdict"] == "cannot tell" for row in rows(findings(fleet), "A1"))


def test_not_moved_at_the_clock_change(fleet, findings) -> None:
    fleet.site(moved_min=lambda day: -60 if day >= CHANGE else 0)
    (row,) = rows(findings(fleet), "A2")
    assert (row["verdict"], row["measured"], row["threshold"], row["first_day"]) == (
        "found",
        -60,
        -60,
        date(2026, 11, 2),
    )
    assert "Before the clock change" in row["sentence"]


@pytest.mark.parametrize("moved", [lambda day: 60 if day >= CHANGE else 0, lambda day: -60])
def test_an_hour_the_wrong_way_or_from_before_the_change_is_not_put_down_to_it(fleet, findings, moved) -> None:
    fleet.site(moved_min=moved)
    (row,) = rows(findings(fleet), "A2")
    assert row["verdict"] == "cannot tell"


def test_plans_that_cannot_be_checked_say_so(fleet, findings) -> None:
    fleet.site("S1", plan=SYMMETRIC, moved_min=lambda day: 720)
    fleet.site("S2", plan=((1, 1000, 0, 1440),))
    fleet.site("S3", plan=None)
    found = findings(fleet)
    sentences = {row["site_id"]: row["sentence"] for row in rows(found, "A1")}
    assert "the clock cannot be checked from this plan" in sentences["S1"]
    assert "the clock cannot be checked from this plan" in sentences["S2"]
    assert sentences["S3"] == "cannot tell: needs the plan of this pump in plans.csv"
    assert found.filter(found["rule_id"].is_in(["A1", "A2"]))["verdict"].unique().to_list() == ["cannot tell"]


def test_too_few_valid_days(fleet, findings) -> None:
    pump = fleet.site(moved_min=lambda day: 720)
    for day in fleet.days[9:]:
        fleet.set(pump, day, float("nan"), 0, 300)
    (row,) = rows(findings(fleet), "A1")
    assert row["sentence"].startswith("cannot tell: needs more valid days")


def test_another_programme_is_pump_or_record(fleet, findings) -> None:
    pump = fleet.site()
    for day in fleet.days:
        fleet.set(pump, day, 0, 0, None)
        fleet.set(pump, day, 2000, 300, 900)
    found = findings(fleet)
    (row,) = rows(found, "A1")
    assert (row["verdict"], "pump or record" in row["sentence"]) == ("cannot tell", True)
    assert [r["verdict"] for r in rows(found, "C10")] == ["cannot tell"]


def test_a_whole_source_shifted_accuses_no_site(fleet, findings) -> None:
    for n in range(5):
        fleet.site(f"S{n}", moved_min=lambda day: 720)
    found = findings(fleet)
    clock = rows(found, "A1")
    assert {row["verdict"] for row in clock} == {"cannot tell"}
    assert [(row["component"], row["measured"]) for row in clock if row["site_id"] == ""] == [("coast gateway", 720)]
    assert {row["sentence"] for row in clock if row["site_id"]} == {"cannot tell: the whole source is shifted"}
    assert {row["verdict"] for row in rows(found, "C10")} == {"cannot tell"}


def test_four_shifted_of_six_are_accused(fleet, findings) -> None:
    for n in range(6):
        fleet.site(f"S{n}", moved_min=lambda day, n=n: 720 if n < 4 else 0)
    assert [row["verdict"] for row in rows(findings(fleet), "A1")] == ["found"] * 4
