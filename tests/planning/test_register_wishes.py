"""What the register asks of a plan, field by field: the requirement it becomes, and that unknown asks nothing."""

from __future__ import annotations

import numpy as np
import pytest
from small_fleet import Fleet

from pumpledger.planning.checker import measure
from pumpledger.planning.fleet_problems import plan_problems
from pumpledger.planning.keeping import broken
from pumpledger.planning.problem import (
    QUARTERS,
    AsKeyed,
    Continuous,
    FlowLimit,
    Hours,
    LoadWindow,
    LongestPause,
    PlanProblem,
    QuietWindow,
    Restraint,
    SpeedLimit,
    Turnover,
)
from pumpledger.planning.proposal import propose
from pumpledger.planning.rules import PLACES
from pumpledger.planning.simple_plan import simple_plan
from pumpledger.planning.wishes import Wishes, usual_wishes


@pytest.fixture
def fleet() -> Fleet:
    return Fleet()


def problem_of(fleet: Fleet, wishes: Wishes | None = None) -> PlanProblem:
    with fleet.database() as db:
        return plan_problems(db, usual=wishes)[0]


@pytest.mark.parametrize(
    ("fields", "requirement"),
    [
        ({"skimming_hours_per_day": 1.9, "skimming_speed_rpm": 2400.0}, Hours("skimming", 2400.0, 8)),
        (
            {"solar_start_min": 540, "solar_stop_min": 900, "solar_speed_rpm": 1800.0},
            LoadWindow("solar hours", 36, 24, 1800.0),
        ),
        ({"quiet_start_min": 1320, "quiet_stop_min": 420}, QuietWindow("quiet hours", 88, 36, 0.0)),
        (
            {"quiet_start_min": 1325, "quiet_stop_min": 425, "quiet_speed_rpm": 1200.0},
            QuietWindow("quiet hours", 88, 37, 1200.0),  # 22:05 to 07:05: 22:00 to 07:15
        ),
        (
            {"quiet_start_min": 0, "quiet_stop_min": 1440, "quiet_speed_rpm": 1500.0},
            QuietWindow("quiet hours", 0, 96, 1500.0),
        ),
        ({"longest_pause_hours": 10.1}, LongestPause("longest pause", 40)),
        ({"runs_all_day": True}, Continuous("continuous operation")),
        (
            {"aux_load": "chlorinator", "aux_min_speed_rpm": 1200.0, "aux_hours_per_day": 9.0},
            Hours("chlorinator hours", 1200.0, 36),
        ),
        (
            {"aux_load": "heater", "aux_min_speed_rpm": 1600.0, "aux_start_min": 600, "aux_stop_min": 720},
            LoadWindow("heater hours", 40, 8, 1600.0),
        ),
        ({"aux_load": "heater", "aux_start_min": 600, "aux_stop_min": 720}, AsKeyed("heater hours", 40, 8)),
    ],
)
def test_a_field_becomes_a_requirement_that_the_plan_keeps(fleet, fields: dict, requirement) -> None:
    fleet.site(**fields)
    problem = problem_of(fleet)
    assert requirement in problem.requirements
    told = propose(problem)
    assert not broken(problem, told.plan) and measure(problem, told.plan).lacks == {}


@pytest.mark.parametrize(
    "fields",
    [
        {},
        {"skimming_hours_per_day": 2.0},
        {"skimming_speed_rpm": 2400.0},
        {"quiet_start_min": 1320},
        {"quiet_start_min": 600, "quiet_stop_min": 600},
        {"solar_start_min": 540, "solar_stop_min": 900},
        {"aux_start_min": 600, "aux_stop_min": 720},
        {"runs_all_day": False},
    ],
)
def test_what_is_not_known_or_half_given_asks_nothing(fleet, fields: dict) -> None:
    fleet.site(**fields)
    assert problem_of(fleet).names == ("turnover", "filter rating", "suction rating", "full speed")


def test_hours_of_the_register_go_before_what_was_logged(fleet) -> None:
    """The load ran 3 h a day at most; the register says 5."""
    pump = fleet.site(aux_load="chlorinator", aux_min_speed_rpm=1400.0)
    fleet.log_aux(pump)
    for day in fleet.days:
        fleet.load_on(pump, day, 480, 660)
    assert Hours("chlorinator hours", 1400.0, 12) in problem_of(fleet).requirements
    fleet.pumps[0]["aux_hours_per_day"] = 5.0
    assert Hours("chlorinator hours", 1400.0, 20) in problem_of(fleet).requirements


def test_a_controller_of_one_period_that_ends_at_midnight(fleet) -> None:
    fleet.site(controller_periods=1, over_midnight=False, quiet_start_min=360, quiet_stop_min=1200)
    problem = problem_of(fleet)
    assert (problem.most_periods, problem.crosses_midnight) == (1, False)
    told = propose(problem)
    assert told.plan is None or all(p.start + p.length <= QUARTERS for p in told.plan)


@pytest.mark.parametrize("place", ["California", "Montana", "Pima County", "Utah", "Wisconsin"])
def test_the_rules_of_a_place_hold_where_the_site_lies_there(fleet, place: str) -> None:
    """Section 2.2 of the fact sheet; what each place asks stands in `planning/rules.py` with its source."""
    fleet.site(
        jurisdiction=place, pool_class="public", plan=((1, 1500, 0, 1440),), required_turnovers=1.0, pipe_size="2 in"
    )
    problem = problem_of(fleet)
    rules, asked = PLACES[place], {r.name: r for r in problem.requirements}
    assert ("filtration flow rule" in asked) == rules.caps_filtration
    assert ("default speed rule" in asked) == (rules.default_share is not None)
    flow = (rules.public_flow_share or 0.0) * problem.requirements[0].required_m3 / 24
    assert asked["continuous operation"] == Continuous("continuous operation", pytest.approx(flow))
    # 6 ft/s of suction in 2 in. pipe is 62.75 gpm (facts 2f), the lowest of the velocities of each place.
    assert asked["pipe velocity"] == FlowLimit("pipe velocity", pytest.approx(62.75 * 0.2271247, rel=1e-3))


def test_california_holds_by_the_register_and_not_without_it(fleet) -> None:
    """Facts 2c for 80 m3 (21,134 gal): 80 / 6 h = 13.33 m3/h; half of 3450 rpm [MEM-H]."""
    fleet.site(jurisdiction="California")
    asked = {r.name: r for r in problem_of(fleet).requirements}
    assert asked["filtration flow rule"].most_m3h == pytest.approx(80 / 6)
    assert asked["default speed rule"] == SpeedLimit("default speed rule", 1725.0, spares_loads=True)
    fleet.sites[0]["jurisdiction"] = None
    assert not {"filtration flow rule", "default speed rule"} & set(problem_of(fleet).names)


@pytest.mark.parametrize(
    ("place", "turnovers"), [("Pima County", 3.0), ("Wisconsin", 4.0), ("Montana", 3.0), ("Utah", 1.0)]
)
def test_a_public_pool_turns_over_as_its_place_asks(fleet, place: str, turnovers: float) -> None:
    """Pima County 8.32.160 8 h, Wisconsin SPS 390.14 6 h, Montana 8 h [READ]; Utah's table was not seen. 80 m3 pool."""
    fleet.site(jurisdiction=place, pool_class="public", plan=((1, 2500, 0, 1440),), required_turnovers=1.0)
    problem = problem_of(fleet)
    assert problem.requirements[0] == Turnover("turnover", pytest.approx(80.0 * turnovers))
    assert any("ask a public pool for a turnover" in note for note in problem.notes) == (turnovers > 1)
    fleet.sites[0] |= {"required_turnovers": 6.0}
    assert problem_of(fleet).requirements[0].required_m3 == pytest.approx(480.0)
    fleet.sites[0] |= {"required_turnovers": 1.0, "pool_class": "residential"}
    assert problem_of(fleet).requirements[0].required_m3 == pytest.approx(80.0)  # none of these binds a private pool


def test_what_is_asked_goes_before_the_register(fleet) -> None:
    fleet.site(quiet_start_min=1320, quiet_stop_min=420, longest_pause_hours=10.0)
    told = problem_of(fleet, Wishes(quiet=((0, 4, 900.0),))).requirements
    assert QuietWindow("quiet hours", 0, 4, 900.0) in told and LongestPause("longest pause", 40) in told
    assert sum(isinstance(r, QuietWindow) for r in told) == 1


def test_the_fleets_restraint_reaches_the_problem(fleet) -> None:
    fleet.site()
    asked = usual_wishes({"least_saving_share": 0.1, "least_saving_year": 50.0, "wear_per_start": 0.02})
    problem = problem_of(fleet, asked)
    assert problem.restraint == Restraint(0.1, 50.0) and problem.start_cost.wear == 0.02


def test_the_simple_plan_keeps_to_the_same(fleet) -> None:
    """Both plans of a pump rest on one problem: two pumps share ratings and water in both, and quiet hours bind both."""
    fleet.site(required_turnovers=2.0, filter_limit_m3h=16.0, quiet_start_min=1320, quiet_stop_min=480)
    fleet.second_pump("S1")
    with fleet.database() as db:
        problems, rows = plan_problems(db), db.table("best_plan")
    for problem, row in zip(problems, rows.iter_rows(named=True), strict=True):
        assert FlowLimit("filter rating", 8.0) in problem.requirements
        plan = simple_plan(problem)
        flow = float(problem.speeds.flow_hi[problem.speeds.index(plan.speed_rpm)])
        assert flow <= 8.0 + 1e-9 and plan.start >= 32 and plan.start + plan.length <= 88
        assert row["speed_rpm"] == plan.speed_rpm and row["hours"] == plan.length / 4
        assert np.isclose(row["turnovers_lo"] * 80.0, plan.volume_m3) and plan.volume_m3 >= 80.0 - 1e-6
