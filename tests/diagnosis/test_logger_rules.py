"""Doubts about sources and logs as findings; B6 the hour of a clock change; B14 ghost standby."""

from __future__ import annotations

from datetime import datetime, timedelta

import polars as pl
import pytest
from outcome_rows import clock_warning, verdict, verdicts
from small_fleet import LAST, WEEK, Fleet

from pumpledger.diagnosis.ranking import rank_actions
from pumpledger.diagnosis.rules import BY_ID
from pumpledger.diagnosis.run import diagnose
from pumpledger.verdicts.registry import MODES


def found(fleet: Fleet, **tables: pl.DataFrame) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Findings and actions, with ``tables`` in place of the small fleet's own."""
    with fleet.database() as db:
        for name, rows in tables.items():
            db.load(name, rows)
        diagnose(db, WEEK, LAST)
        rank_actions(db)
        return db.table("finding"), db.table("action")


def of(findings: pl.DataFrame, rule: str) -> list[dict]:
    return list(findings.filter(pl.col("rule_id") == rule).iter_rows(named=True))


def test_every_mode_has_its_rule_under_the_same_name() -> None:
    for mode in MODES.values():
        assert BY_ID[mode.id].name == mode.name


@pytest.mark.parametrize("mode", sorted(set(MODES) - {"B4", "B12", "B13", "B16", "B7", "B8", "B9"}))
def test_an_open_doubt_on_a_pump_is_a_finding_with_its_command(fleet, mode) -> None:
    pump = fleet.site()
    findings, actions = found(fleet, verdict=verdicts(verdict(mode, pump)))
    (row,) = of(findings, mode)
    assert (row["site_id"], row["component"], row["severity"], row["verdict"]) == ("S1", pump, "data", "found")
    assert f"What {mode} says. Evidence: 12 of 12 days." in row["sentence"]
    assert f"pumpledger verdict FLEET --confirm v-{mode.lower()} --by NAME" in row["sentence"]
    assert f"pumpledger verdict FLEET --refuse v-{mode.lower()} --by NAME" in row["sentence"]
    assert actions["rule_id"].to_list() == [mode]


def test_a_doubt_on_a_source_is_one_row_that_counts_sites(fleet) -> None:
    for number in range(3):
        fleet.site(f"S{number}")
    fleet.second_pump("S1")
    findings, actions = found(fleet, verdict=verdicts(verdict("B5", blocks=True, quantity="time")))
    (row,) = of(findings, "B5")
    assert (row["site_id"], row["component"], row["measured"]) == ("", "coast gateway", 4)
    assert "touches 4 pumps at 3 sites" in row["sentence"]
    assert actions.is_empty()


def test_what_rests_on_a_doubted_source_cannot_be_told(fleet) -> None:
    """A site that filters too little by its log, and a clock that cannot be judged by stamps of a wrong zone."""
    fleet.site(required_turnovers=1.3)  # 90 m3 are 1.125 pools, 1.19 at the most
    findings, _ = found(fleet, verdict=verdicts(verdict("B5", blocks=True, quantity="time")))
    assert [row["verdict"] for row in of(findings, "O1")] == ["cannot tell"]
    assert findings.filter((pl.col("verdict") == "found") & (pl.col("site_id") != "")).is_empty()


def test_what_is_dealt_with_by_itself_is_a_note_and_no_action(fleet) -> None:
    pump = fleet.site()
    findings, actions = found(fleet, verdict=verdicts(verdict("B12", pump, state="applied")))
    (row,) = of(findings, "B12")
    assert (row["severity"], row["instruction"]) == ("note", "")
    assert "dealt with by itself" in row["sentence"] and "--refuse" in row["sentence"]
    assert actions.is_empty()


@pytest.mark.parametrize(
    ("columns", "count"),
    [
        ({"state": "refused"}, 0),
        ({"last_day": datetime(2026, 11, 1).date()}, 0),  # last seen before the week, and holds nothing back
        ({"last_day": datetime(2026, 11, 1).date(), "blocks": True}, 1),
        ({"state": "confirmed"}, 1),
    ],
)
def test_state_and_days_of_a_doubt(fleet, columns, count) -> None:
    pump = fleet.site()
    findings, _ = found(fleet, verdict=verdicts(verdict("B11", pump, **columns)))
    assert len(of(findings, "B11")) == count
    if columns.get("state") == "confirmed":
        assert "does not cure it" in of(findings, "B11")[0]["sentence"]


def test_two_quantities_of_one_pump_are_one_row(fleet) -> None:
    pump = fleet.site()
    rows = verdicts(verdict("B9", pump, quantity="energy_total"), verdict("B9", pump, quantity="run_total"))
    findings, _ = found(fleet, verdict=rows)
    assert len(of(findings, "B9")) == 1


def test_a_unit_that_spans_and_log_show_is_said_once(fleet) -> None:
    """B4 by the spans of one pump, by the log of another; the source's own doubt takes both under it."""
    first, second = fleet.site("S1"), fleet.site("S2")
    fleet.power_scale[first] = 0.001
    findings, _ = found(fleet, verdict=verdicts(verdict("B4", first), verdict("B4", second)))
    by_site = {row["site_id"]: row for row in of(findings, "B4")}
    assert "looks like kW" in by_site["S1"]["sentence"] and "--confirm v-b4" in by_site["S1"]["sentence"]
    assert {row["explained_by"] for row in by_site.values()} == {""} and len(by_site) == 2
    findings, _ = found(fleet, verdict=verdicts(verdict("B4", blocks=True)))
    by_site = {row["site_id"]: row for row in of(findings, "B4")}
    assert (by_site[""]["explained_by"], by_site["S1"]["explained_by"]) == ("", "B4") and len(by_site) == 2


# B6


def test_an_hour_that_happens_twice_and_is_not_told(fleet) -> None:
    """The small fleet's clocks go back on Sunday 1 November; the review of the week of the 26th."""
    fleet.site()
    with fleet.database() as db:
        db.load("fleet_day", db.table("fleet_day").with_columns(in_week=pl.col("day_local") <= datetime(2026, 11, 1)))
        db.load("clock_warning", clock_warning(rows=12))
        diagnose(db, "2026-W44", datetime(2026, 11, 1).date())
        (row,) = of(db.table("finding"), "B6")
    assert (row["site_id"], row["component"], row["measured"], row["severity"]) == ("", "coast gateway", 12, "data")
    assert "clock change of 2026-11-01 12 rows of 1 file lie in the hour that the clock repeats" in row["sentence"]


@pytest.mark.parametrize(
    ("warning", "severity"),
    [
        (clock_warning(), None),  # the week after: the change was last week's, and so was its export
        (
            clock_warning("clock_set_late", first=datetime(2026, 11, 2, 7)),
            "note",
        ),  # still on the old clock, placed by it
        (clock_warning().clear(), None),
    ],
)
def test_the_week_after_a_clock_change(fleet, warning, severity) -> None:
    fleet.site()
    findings, _ = found(fleet, clock_warning=warning)
    assert [row["severity"] for row in of(findings, "B6")] == ([severity] if severity else [])


# B14


@pytest.mark.parametrize(
    ("rest_w", "severity"), [(4.0, None), (15.0, None), (15.5, "note"), (60.0, "note"), (61.0, "next visit")]
)
def test_watts_at_rest(fleet, rest_w, severity) -> None:
    """The plan leaves ten hours a day at rest. 15.5 W all year are 15.5 x 8760 h = 136 kWh."""
    fleet.rest_w[fleet.site()] = rest_w
    findings, _ = found(fleet)
    assert [row["severity"] for row in of(findings, "B14")] == ([severity] if severity else [])
    if rest_w == 15.5:
        assert "136 kWh a year" in of(findings, "B14")[0]["sentence"]


@pytest.mark.parametrize(("days", "found"), [(3, True), (2, False)])
def test_a_floor_that_came_in_mid_week(fleet, days, found) -> None:
    """The days before it came take nothing from it."""
    fleet.rest_w[fleet.site()] = 4.0
    with fleet.database() as db:
        late = (pl.col("kind") == "off") & (pl.col("day_local") > LAST - timedelta(days=days))
        db.load("span", db.table("span").with_columns(power_w=pl.when(late).then(31.8).otherwise("power_w")))
        diagnose(db, WEEK, LAST)
        rows = of(db.table("finding"), "B14")
    assert [(row["measured"], row["days"]) for row in rows] == [(31.8, 3)] * found


def test_a_load_that_comes_and_goes_is_no_floor(fleet) -> None:
    """Half an hour of plain rest in ten hours are 5 %, the share that may draw less."""
    pump = fleet.site()
    fleet.rest_w[pump] = 80.0
    with fleet.database() as db:
        spans = db.table("span")
        low = pl.col("start_min") == 0  # the stretch from midnight to 06:00
        db.load("span", spans.with_columns(power_w=pl.when(low).then(5.0).otherwise("power_w")))
        diagnose(db, WEEK, LAST)
        assert of(db.table("finding"), "B14") == []


def test_no_power_or_no_rest_asks_no_question(fleet) -> None:
    pump = fleet.site("S1")
    for day in fleet.days:
        fleet.set(pump, day, 1000)
    fleet.rest_w[fleet.site("S2")] = 80.0
    with fleet.database() as db:
        spans = db.table("span")
        hidden = pl.when(pl.col("site_id") == "S2").then(None).otherwise("power_w")
        db.load("span", spans.with_columns(power_w=hidden))
        diagnose(db, WEEK, LAST)
        assert of(db.table("finding"), "B14") == []


def test_the_healthy_small_fleet_has_no_finding_of_its_log(fleet) -> None:
    fleet.site("S1")
    fleet.site("S2", plan=((1, 1200, 0, 1440),))
    findings, _ = found(fleet)
    assert findings.filter((pl.col("verdict") == "found") & pl.col("rule_id").str.starts_with("B")).is_empty()
