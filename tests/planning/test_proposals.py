"""Proposals from the tables of a fleet: proof, saving, restraint, clashes, and the check through the profile's own code.

Check values 6a-6c: fact sheet, section 6; each stands beside its assertion with its source. Those of section 2 stand in
`test_place_rules.py`.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from drawn_problems import drawn_problem
from invented_pump import EVENING, SPEED, WATER, problem_of, pump
from small_fleet import Fleet

from pumpledger.planning.checker import measure
from pumpledger.planning.day_grid import day_grid
from pumpledger.planning.fleet_problems import Wishes
from pumpledger.planning.infeasible import Infeasible
from pumpledger.planning.keeping import binding, broken, cost
from pumpledger.planning.problem import (
    QUARTERS,
    AsKeyed,
    Continuous,
    FlowLimit,
    Hours,
    LoadWindow,
    LongestPause,
    Period,
    PlanProblem,
    QuietWindow,
    Restraint,
    SpeedLimit,
    Speeds,
    StartCost,
    Turnover,
)
from pumpledger.planning.proposal import Proposal, propose, savings, search
from pumpledger.planning.rules import (
    PLACES,
)

NOW = (Period(1500, 24, 8), Period(1000, 32, 48))


@pytest.fixture
def fleet() -> Fleet:
    return Fleet()


# Proof and saving


def test_a_proposal_states_its_proof(fleet) -> None:
    fleet.tariff("evening")
    fleet.site(tariff="evening")
    told = propose(problem_of(fleet))
    assert isinstance(told, Proposal) and told.proposed and told.is_best
    assert told.lower_bound == told.cost and told.binding == ("turnover",)
    assert told.turnovers[0] >= 1.0
    running = {quarter % QUARTERS for p in told.plan for quarter in range(p.start, p.start + p.length)}
    assert not running & set(range(64, 84))  # the evening peak of the small fleet's tariff
    assert told.cost == pytest.approx(told.energy_kwh[1] * 0.2)


def test_the_next_m3_costs_what_a_little_more_water_costs() -> None:
    problem = pump(Turnover("turnover", 85.0), price_per_kwh=EVENING)
    thirsty = pump(Turnover("turnover", 87.0), price_per_kwh=EVENING)
    step = (propose(thirsty).cost - propose(problem).cost) / 2
    assert propose(problem).next_m3_cost == pytest.approx(step, rel=0.1)
    assert propose(pump(Hours("skimming", 3000.0, 48), Turnover("turnover", 5.0))).next_m3_cost == pytest.approx(
        0, abs=1e-9
    )


def test_a_saving_holds_for_any_power_within_its_bounds() -> None:
    """Drawn powers and flows within the grid's bounds, summed by hand, never leave the range."""
    problem = pump(WATER, price_per_kwh=EVENING, in_force=NOW, start_cost=StartCost(0.05, 0.01), standby_w=5.0)
    told = propose(problem)
    rng, speeds = np.random.default_rng(4), problem.speeds
    for _ in range(40):
        watts, flow = rng.uniform(speeds.power_lo, speeds.power_hi), rng.uniform(speeds.flow_lo, speeds.flow_hi)
        drawn = replace(problem, speeds=replace(speeds, power_mid=watts, flow_lo=flow))
        saved = cost(drawn, NOW) - cost(drawn, told.plan)
        assert told.saving.money[0] - 1e-9 <= saved <= told.saving.money[2] + 1e-9
        water = [sum(flow[speeds.index(p.speed_rpm)] * p.length / 4 for p in plan) for plan in (NOW, told.plan)]
        assert told.saving.volume_m3[0] - 1e-9 <= water[0] - water[1] <= told.saving.volume_m3[2] + 1e-9
    assert told.saving.money[1] == pytest.approx(cost(problem, NOW) - told.cost)


def test_what_both_plans_do_alike_adds_no_uncertainty() -> None:
    problem = pump(WATER, in_force=NOW)
    assert savings(problem, NOW).energy_kwh == pytest.approx((0, 0, 0))
    wider = savings(problem, (Period(1500, 24, 8), Period(1000, 32, 44))).energy_kwh
    assert wider[0] == pytest.approx(0.97 * wider[1]) and wider[2] == pytest.approx(1.03 * wider[1])


def test_what_the_grid_does_not_tell_stays_untold(fleet) -> None:
    fleet.site()
    told = propose(problem_of(fleet))
    assert told.energy_kwh[0] is None and told.energy_kwh[1] is not None  # the small fleet has no power bounds
    assert told.saving.money is None and told.saving.turnovers is not None


# Restraint and safety


def test_a_small_saving_is_not_worth_a_visit() -> None:
    best = propose(pump(WATER)).plan
    near = (replace(best[0], length=best[0].length + 1), *best[1:])
    told = propose(pump(WATER, in_force=near))
    assert not told.proposed and "within 3% of the best" in told.reason and told.plan
    assert propose(pump(WATER, in_force=near, restraint=Restraint(0.0))).proposed
    assert propose(pump(WATER, in_force=near, restraint=Restraint(cures_finding=True))).proposed


def test_little_money_is_not_worth_a_visit() -> None:
    told = propose(pump(WATER, in_force=NOW, price_per_kwh=EVENING, restraint=Restraint(0.03, 1000.0)))
    assert not told.proposed and "less than 1000 a year" in told.reason


def test_a_plan_that_filters_too_little_is_cured_even_at_a_cost() -> None:
    told = propose(pump(WATER, in_force=(Period(1000, 40, 16),)))
    assert told.proposed and told.cured == ("turnover",) and told.saving.energy_kwh[1] < 0


def test_check_value_6a_never_above_a_rating() -> None:
    """Facts 6a [READ-2 rule]: a cover rated 80 gpm is never asked to carry 84; 80 gpm = 18.17 m3/h."""
    rated = FlowLimit("suction rating", 80 * 0.2271247)
    need = Turnover("turnover", 24 * 17.0)
    told = propose(pump(need, rated))
    if isinstance(told, Proposal):
        assert max(p.speed_rpm for p in told.plan) * 0.006 * 1.06 <= rated.most_m3h
    fast = (Period(3300, 0, QUARTERS),)  # 84 m3/h-equivalent: 3300 x 0.006 x 1.06 = 20.99 m3/h
    assert "suction rating" in broken(pump(need, rated), fast)


@pytest.mark.parametrize(("turnovers", "given"), [(2.0, True), (3.0, False)])
def test_check_value_6b_no_rating_no_higher_speed(fleet, turnovers, given) -> None:
    """Facts 6b (policy). The plan tops at 1500 rpm, which moves 203 m3 in 24 h by the low bound."""
    fleet.site(filter_limit_m3h=None, required_turnovers=turnovers)
    told = propose(problem_of(fleet))
    if given:
        assert max(p.speed_rpm for p in told.plan) <= 1500
        assert told.notes == ("filter rating not recorded: no speed above the plan in force",)
    else:
        assert isinstance(told, Infeasible) and told.names == ("turnover", "filter rating not recorded")


def test_check_value_6c_a_heater_never_runs_below_its_speed() -> None:
    """Facts 6c (policy): heater on, flow below the recorded minimum: flagged."""
    asked = pump(WATER, LoadWindow("heater hours", 40, 8, 1400.0))
    assert "heater hours" in broken(asked, (Period(1000, 24, 80),))
    assert "heater hours" in measure(asked, (Period(1000, 24, 64),)).lacks
    told = propose(asked)
    assert not broken(asked, told.plan) and "heater hours" in told.binding


def test_a_load_of_unknown_minimum_keeps_its_window(fleet) -> None:
    fleet.site(aux_load="heater", filter_limit_m3h=60.0)
    told = propose(problem_of(fleet))
    assert told.plan is None and "needs the minimum speed of the heater" in told.reason
    kept = problem_of(fleet, Wishes(load_window=(24, 12)))
    assert AsKeyed("heater hours", 24, 12) in kept.requirements
    told = propose(kept)
    assert not broken(kept, told.plan)
    speed = {q % 96: p.speed_rpm for p in told.plan for q in range(p.start, p.start + p.length)}
    assert [speed[q] for q in range(24, 36)] == [1500] * 8 + [1000] * 4


def test_a_load_that_is_not_logged_keeps_its_planned_hours(fleet) -> None:
    fleet.site(aux_load="heater", aux_min_speed_rpm=1400.0, plan=((1, 1500, 360, 1440), (2, 1000, 0, 360)))
    problem = problem_of(fleet)
    assert Hours("heater hours", 1400.0, 72) in problem.requirements
    told = propose(problem)
    assert sum(p.length for p in told.plan if p.speed_rpm >= 1400) >= 72


def test_a_public_pool_keeps_its_hours_and_runs_on(fleet) -> None:
    fleet.site(pool_class="public", plan=((1, 1500, 0, 1440),), required_turnovers=0.5)
    problem = problem_of(fleet)
    assert Continuous("continuous operation", 0.0) in problem.requirements
    told = propose(problem)
    assert sum(p.length for p in told.plan) == QUARTERS
    fleet = Fleet()
    fleet.site(pool_class="public", required_turnovers=0.5)  # 14 h are keyed in
    assert sum(p.length for p in propose(problem_of(fleet)).plan) >= 56


def test_a_public_pools_flow_stays_above_three_quarters_of_the_rate(fleet) -> None:
    """22 CCR 65525(b) [READ]: not below 75 % of the required rate, here 160 m3 / 24 h."""
    fleet.site(pool_class="public", plan=((1, 1500, 0, 1440),), required_turnovers=2.0)
    told = propose(problem_of(fleet, Wishes(PLACES["California"])))
    assert min(p.speed_rpm for p in told.plan) * 0.006 * 0.94 >= 0.75 * 160 / 24


@pytest.mark.parametrize(
    ("fields", "reason"),
    [
        ({"required_turnovers": None}, "needs the required turnovers"),
        ({"flow": False}, "needs a source of flow"),
        ({"plan": None, "suction_limit_m3h": None}, "needs the ratings"),
    ],
)
def test_withheld_with_the_reason(fleet, fields, reason) -> None:
    fleet.site(**fields)
    told = propose(problem_of(fleet))
    assert told.plan is None and not told.proposed and told.reason.startswith(reason)


def test_two_pumps_share_water_and_ratings(fleet) -> None:
    fleet.site(required_turnovers=2.0)
    fleet.second_pump("S1")
    one, two = problem_of(fleet), problem_of(fleet, pump_id="P-S1B")
    for problem in (one, two):
        assert Turnover("turnover", 80.0) in problem.requirements
        assert FlowLimit("filter rating", 20.0) in problem.requirements
    assert propose(one).cost == pytest.approx(propose(two).cost)


# Clashes


def test_quiet_hours_against_turnover_in_words_with_numbers() -> None:
    """8.46 m3/h by the low bound at 1500 rpm: 228.42 m3 take 27 h."""
    told = propose(pump(Turnover("turnover", 8.46 * 27), QuietWindow("quiet hours", 0, 96, 1500.0), WATER_HOURS))
    assert isinstance(told, Infeasible) and told.names == ("turnover", "quiet hours") and told.smallest
    assert told.most_m3 == pytest.approx(8.46 * 24)
    assert "at most 1500 rpm all day" in told.sentence and "would need 27.0 h" in told.sentence


WATER_HOURS = Hours("chlorination", 1000.0, 40)


def test_one_requirement_that_nothing_can_keep() -> None:
    told = propose(pump(WATER, FlowLimit("filter rating", 1.0)))
    assert told.names == ("filter rating",)
    told = propose(pump(WATER, Hours("skimming", 3500.0, 4)))
    assert told.names == ("skimming",) and "skimming: 1 h a day at 3500 rpm" in told.sentence


def test_three_that_clash_only_together() -> None:
    """Six hours of quiet rest, 16 h of fast chlorination and no more than 5 h of heater speed: two at a time do."""
    asked = pump(
        QuietWindow("quiet hours", 0, 48, 0.0),
        Hours("chlorination", 1000.0, 40),
        QuietWindow("midday quiet", 48, 12, 900.0),
        WATER,
    )
    told = propose(asked)
    assert set(told.names) == {"quiet hours", "chlorination", "midday quiet"} and told.smallest
    for name in told.names:
        rest = tuple(other for other in asked.names if other != name)
        assert search(day_grid(asked.only(rest))).mix


def test_no_speed_that_is_known() -> None:
    unknown = np.full(SPEED.size, np.nan)
    told = propose(PlanProblem("S", "P", Speeds(SPEED, *(unknown,) * 6), (WATER,)))
    assert isinstance(told, Infeasible) and told.names == () and "no speed has a known flow" in told.sentence


def test_a_pause_and_too_few_periods() -> None:
    asked = pump(Hours("any", 0.0, 1), LongestPause("longest pause", 8), QuietWindow("quiet hours", 0, 40, 0.0))
    told = propose(asked)
    assert isinstance(told, Infeasible) and told.names == ("longest pause", "quiet hours")


# The check through the profile's own code


@pytest.mark.parametrize("seed", [3, 6, 7, 9])
def test_the_log_of_a_proposal_keeps_every_requirement(seed: int) -> None:
    problem = drawn_problem(seed, every=2)
    told = propose(problem)
    seen = measure(problem, told.plan)
    assert seen.lacks == {} and seen.off_plan_min == 0
    assert seen.volume_m3_lo == pytest.approx(told.volume_m3[0], rel=1e-9)
    rest_kwh = (QUARTERS - sum(p.length for p in told.plan)) * problem.standby_w / 4000
    starts = told.energy_kwh[1] - seen.energy_kwh_mid - rest_kwh  # the accounts know no draw at rest and no priming
    assert starts == pytest.approx(
        problem.start_cost.priming_kwh * round(starts / (problem.start_cost.priming_kwh or 1)), abs=1e-9
    )
    assert seen.cost <= told.cost + 1e-9


@pytest.mark.parametrize(
    ("requirement", "plan"),
    [
        (Turnover("it", 90.0), (Period(1000, 32, 60),)),
        (FlowLimit("it", 9.0), (Period(1500, 32, 60),)),
        (SpeedLimit("it", 1400.0), (Period(1500, 32, 60),)),
        (LoadWindow("it", 90, 12, 1200.0), (Period(1000, 80, 40),)),
        (LoadWindow("it", 40, 12, 1200.0), (Period(1200, 40, 11),)),
        (QuietWindow("it", 88, 32, 900.0), (Period(1000, 80, 9),)),
        (AsKeyed("it", 24, 8), (Period(1475, 24, 8),)),
        (Hours("it", 1500.0, 8), (Period(1500, 32, 7), Period(1475, 39, 40))),
        (LongestPause("it", 35), (Period(1000, 32, 60),)),
        (Continuous("it"), (Period(1000, 0, 95),)),
        (Continuous("it", 6.0), (Period(1050, 0, 96),)),
    ],
)
def test_both_counts_see_the_same_breach(requirement, plan) -> None:
    asked = pump(requirement, in_force=NOW)
    assert set(broken(asked, plan)) == {"it"}
    assert set(measure(asked, plan).lacks) == {"it"}


@pytest.mark.parametrize(("day", "hours"), [(date(2026, 3, 8), 23), (date(2026, 11, 1), 25)])
def test_days_of_23_and_25_hours_filter_an_hour_less_and_more(day: date, hours: int) -> None:
    """Pacific time: 02:00 to 03:00 does not exist, 01:00 to 02:00 happens twice; the wall clock rules."""
    seen = measure(pump(WATER), (Period(1000, 0, 16),), zone="America/Los_Angeles", day=day)
    assert seen.volume_m3_mid == pytest.approx(6.0 * (4 + hours - 24))


def test_what_binds_is_told_by_the_cheaper_neighbour() -> None:
    asked = pump(WATER, Hours("skimming", 2000.0, 8), FlowLimit("filter rating", 40.0))
    told = propose(asked)
    assert set(told.binding) == {"turnover", "skimming"}
    assert binding(pump(), told.plan) == ()  # nothing is asked, so nothing binds: "periods" is no requirement
