"""Order of findings and actions, budget, parameters."""

from __future__ import annotations

from datetime import date, datetime

import keyed_plan_fleet
import polars as pl
import pytest
from found_by import found_by
from outcome_rows import clock_warning, savings_days
from power_rows import add_water_faults, load_water_faults
from small_clock import midnight
from small_fleet import LAST, WEEK, Fleet

from pumpledger.diagnosis.ranking import ACTIONS_PER_HUNDRED_SITES, DRIVE_MIN, rank_actions
from pumpledger.diagnosis.rules import BY_ID, RULES, equipment, parameter_values, running
from pumpledger.diagnosis.run import diagnose
from pumpledger.engine.database import sql_text
from pumpledger.engine.followup_tables import ACTIONS
from pumpledger.engine.tables import FINDINGS
from pumpledger.reports.verdict import split_by_budget


def mixed_fleet() -> Fleet:
    fleet = Fleet()
    fleet.site("S1", plan=((1, 2600, 360, 900),))  # costs too much
    pump = fleet.site("S2")  # does not run
    for day in fleet.days[7:]:
        fleet.set(pump, day, 0)
    fleet.site("S3", weather="ridge", freeze_risk=True)  # frost, still
    start = midnight(date(2026, 11, 5))
    fleet.weather("ridge", lambda hour: -2.0 if 0 <= (hour - start).total_seconds() < 4 * 3600 else 8.0)
    fast = fleet.site("S4")  # full speed
    for day in fleet.days:
        fleet.set(fast, day, 3450)
    fleet.site("S5")  # healthy
    fleet.site("S6", required_turnovers=None)  # cannot tell
    return fleet


@pytest.fixture(scope="module")
def week() -> tuple[pl.DataFrame, pl.DataFrame]:
    with mixed_fleet().database() as db:
        diagnose(db, WEEK, LAST)
        rank_actions(db)
        return db.table("finding"), db.table("action")


def test_tables_keep_their_contracts(week) -> None:
    findings, actions = week
    assert (findings.schema, actions.schema) == (FINDINGS.schema, ACTIONS.schema)
    for (_,), rows in findings.group_by(["site_id"], maintain_order=True):
        assert rows["rank"].to_list() == list(range(1, len(rows) + 1))


def test_one_action_a_site_safety_first_none_without_a_finding(week) -> None:
    findings, actions = week
    assert sorted(actions["site_id"]) == ["S1", "S2", "S3", "S4"]
    assert actions.row(0, named=True)["rule_id"] == "D17" and actions["rank"].to_list() == [1, 2, 3, 4]
    assert actions.row(1, named=True)["site_id"] == "S2"
    heads = {site: rule for site, rule in findings.filter(pl.col("rank") == 1).select("site_id", "rule_id").iter_rows()}
    assert all(heads[site] == rule for site, rule in actions.select("site_id", "rule_id").iter_rows())


def test_explained_and_unknown_stand_below(week) -> None:
    findings, actions = week
    own = (pl.col("verdict") == "found") & (pl.col("explained_by") == "")
    for (_,), rows in findings.group_by(["site_id"], maintain_order=True):
        place = rows.select(
            pl.when(own).then(0).when(pl.col("verdict") == "found").then(1).otherwise(2).alias("place")
        )["place"]
        assert place.is_sorted()
    also = dict(actions.select("site_id", "also_seen").iter_rows())
    assert {BY_ID[rule].name for rule in ("C7", "O2", "O3")} <= set(also["S4"].split("; "))
    assert {BY_ID["O1"].name, BY_ID["O5"].name} <= set(also["S2"].split("; "))


def test_score_is_value_by_likelihood_by_minute(week) -> None:
    """Full speed all day saves 51 kWh a day: at 0.20 per kWh, with 5 of risk, times 0.95, in 25 min."""
    findings, _ = week
    (row,) = findings.filter((pl.col("site_id") == "S4") & (pl.col("rule_id") == "C6")).iter_rows(named=True)
    spent = 24 * (45 + 52 * 3.45**3) / 1000
    assert row["benefit_kwh_week"] == pytest.approx(7 * (spent - 17.75 * 0.071624), rel=1e-6)
    assert DRIVE_MIN + row["work_min"] == 25


@pytest.mark.parametrize(("chance", "last"), [(0.5, False), (0.4, True)])
def test_what_is_more_likely_wrong_than_right_waits_behind_the_rest(chance, last) -> None:
    with mixed_fleet().database() as db:
        diagnose(db, WEEK, LAST)
        here = (pl.col("site_id") == "S2") & (pl.col("verdict") == "found")
        doubtful = pl.when(here).then(chance).otherwise("probability").alias("probability")
        db.load("finding", db.table("finding").with_columns(doubtful))
        rank_actions(db)
        sites = db.table("action")["site_id"].to_list()
    assert sites[0] == "S3" and (sites[-1] == "S2") == last


def test_budget_keeps_safety_and_drops_no_row(week) -> None:
    _, actions = week
    rows = actions.to_dicts()
    assert split_by_budget(rows, 6, ACTIONS_PER_HUNDRED_SITES) == (rows[:2], rows[2:])
    assert split_by_budget(rows, 6, 50) == (rows, [])
    urgent = [row | {"severity": "safety"} for row in rows]
    assert split_by_budget(urgent, 6, ACTIONS_PER_HUNDRED_SITES) == (urgent, [])


def test_two_weeks_back_to_back_are_equal() -> None:
    frames = []
    for _ in range(2):
        with mixed_fleet().database() as db:
            diagnose(db, WEEK, LAST)
            rank_actions(db)
            frames.append(db.table("action"))
    assert frames[0].equals(frames[1])


NEEDS_MORE = ("A3", "A4", "A5", "A7", "C13")
"""Rules that no site of the wide fleet shows; test_clock_thresholds.py does the same for them."""


@pytest.fixture(scope="module")
def wide():
    """The mixed fleet with two more sites and a finding of every rule with thresholds but those of `equipment`, which
    has a fleet of its own (test_equipment_thresholds.py)."""
    fleet = mixed_fleet()
    fleet.site("S7", moved_min=lambda day: 720, filter_limit_m3h=None)
    fleet.site("S8", moved_min=lambda day: -60 if day >= date(2026, 11, 1) else 0, required_turnovers=1.3)
    fleet.tariff("evening")
    fleet.site(
        "S9",
        tariff="evening",
        plan=((1, 1000, 420, 960), (2, 2400, 960, 1140)),
        aux_load="heater",
        aux_min_speed_rpm=1400.0,
    )
    for day in fleet.days[7:]:
        fleet.load_on("P-S9", day, 600, 620)
    hole = fleet.site("S10")
    for day in fleet.days[8:10]:
        fleet.set(hole, day, float("nan"), 0, 500)
    fleet.set(hole, fleet.days[11], 3000, 600, 900)
    fleet.refused.append(("e1", "again.csv", hole, "repeat", "duplicates", 40))
    fleet.rest_w[fleet.site("S11", promised_kwh_year=3650.0)] = 70.0
    keyed_plan_fleet.one_of_each(fleet)
    add_water_faults(fleet)
    with fleet.database() as db:
        load_water_faults(db)
        db.load("past_savings", savings_days("S11", 40, equal_kwh_hi=9.0))
        db.load("clock_warning", clock_warning("clock_set_late", first=datetime(2026, 11, 2, 7)))
        diagnose(db, WEEK, LAST)
        yield db


@pytest.mark.parametrize(
    "rule",
    [r for r in RULES if r.parameters and r.id not in NEEDS_MORE and r not in (*running.RULES, *equipment.RULES)],
    ids=lambda rule: rule.id,
)
def test_stricter_parameters_never_find_more(rule, wide) -> None:
    """Each threshold to its strict end, then to its slack end: never more findings, then never fewer."""

    def found(values: dict[str, float]) -> int:
        return found_by(wide, rule.id, values)

    usual = found({})
    assert usual >= 1
    for name, limits in rule.parameters.items():
        strict, slack = (limits.most, limits.least) if limits.stricter == "more" else (limits.least, limits.most)
        assert found({name: strict}) <= usual <= found({name: slack}), name
    assert found({}) == usual, "and the tables are as they were"


def test_parameters_are_checked() -> None:
    assert parameter_values(BY_ID["O3"], {"O3": {"excess": 0.2}})["excess"] == 0.2
    for wrong in ({"O9": {}}, {"O3": {"exces": 0.2}}, {"O3": {"excess": 9.0}}):
        with pytest.raises(ValueError):
            parameter_values(BY_ID["O3"], wrong)


def test_registry_is_sound() -> None:
    assert len(BY_ID) == len(RULES)
    for rule in RULES:
        assert 0 < rule.probability <= 1 and rule.work_min > 0
        assert all(p.least <= p.default <= p.most for p in rule.parameters.values())
        if rule.find is None:
            text = sql_text(f"diagnosis/rule_{rule.id.lower()}")
            assert all(f"${name}" in text for name in rule.parameters)
    order = {rule.id: rule.order for rule in RULES}
    assert (
        max(order[r] for r in ("B1", "B2", "B4")) < order["A1"] < order["C10"] < order["C6"] < order["D8"] < order["O1"]
    )
    # What can hurt is never an "also seen", but under what can hurt more.
    assert not BY_ID["D17"].explained_by and BY_ID["D14"].explained_by == ("D12",)


SECTIONS = {"A": 7, "B": 17, "C": 18, "D": 20, "O": 5}
KNOWN = {f"{section}{number}" for section, most in SECTIONS.items() for number in range(1, most + 1)}


def test_rules_name_causes_that_there_can_be_and_no_ring() -> None:
    """A rule may name a cause whose own rule is not there. No rule is, through others, its own cause."""
    causes = {rule.id: set(rule.explained_by) for rule in RULES}
    assert causes.keys() <= KNOWN and set().union(*causes.values()) <= KNOWN
    for rule in causes:
        above, reached = causes[rule], set()
        while above - reached:
            reached |= above
            above = set().union(*(causes.get(one, set()) for one in above))
        assert rule not in reached, rule
