"""The simplest plan worth keying, its rows, and what more water costs; problems drawn from seeds, and the small fleet."""

from __future__ import annotations

from dataclasses import replace

import invented_pump
import numpy as np
import pytest
from drawn_problems import drawn_problem
from invented_pump import EVENING, WATER

from pumpledger.planning.checker import measure
from pumpledger.planning.frontier import frontier, in_force_point
from pumpledger.planning.infeasible import Infeasible
from pumpledger.planning.keeping import broken
from pumpledger.planning.offers import NEAR_BEST, simplest, state_of, tables
from pumpledger.planning.problem import Hours, Period, PlanProblem, QuietWindow, Turnover
from pumpledger.planning.proposal import Proposal, propose


def pump(*requirements, **fields) -> PlanProblem:
    return invented_pump.pump(*requirements, pool_volume_m3=80.0, **fields)


@pytest.mark.parametrize("seed", range(0, 36, 5))
def test_the_simplest_plan_keeps_everything_and_its_proof(seed: int) -> None:
    problem = drawn_problem(seed)
    best, plain = propose(problem), simplest(problem)
    if isinstance(best, Infeasible) or best.plan is None:
        assert plain == best
        return
    assert len(plain.plan) <= len(best.plan)
    assert best.lower_bound <= plain.cost <= best.cost + NEAR_BEST * abs(best.cost) + 1e-12
    assert plain.lower_bound == best.lower_bound
    assert plain.gap == pytest.approx(max(plain.cost - plain.lower_bound, 0) / abs(plain.cost))
    assert not broken(problem, plain.plan) and measure(problem, plain.plan).lacks == {}


def test_a_step_that_saves_next_to_nothing_is_not_keyed() -> None:
    """For water alone at one price the best is two neighbouring speeds; one speed costs a fraction of a per cent more."""
    problem = pump(WATER, price_per_kwh=np.full(96, 0.2))
    best, told = propose(problem), simplest(problem)
    assert len(best.plan) > 1 and len(told.plan) == 1 and best.cheaper == ""
    saved = (told.cost - best.cost) / told.cost
    assert told.cheaper == f"{best.plan[0]}, then {best.plan[1]}, {saved:.2%} cheaper" and told.gap == pytest.approx(
        saved
    )
    assert simplest(problem, near=0.0).cost == pytest.approx(propose(problem).cost)


def test_a_step_that_is_needed_stays() -> None:
    """Two hours of skimming at 2400 rpm: one period at that speed would cost far more."""
    asked = pump(WATER, Hours("skimming", 2400.0, 8), price_per_kwh=EVENING)
    assert len(simplest(asked).plan) == 2


def test_only_a_wide_low_estimate_sends_no_one() -> None:
    """The cheapest plan for 75.3 m3 by the low estimate (-6 %) moves 80.1 m3 by the middle one; for 74 m3, 78.7 m3."""
    enough, short = (propose(pump(Turnover("turnover", water))).plan for water in (75.3, 74.0))
    told = simplest(pump(WATER, in_force=enough))
    assert told.cured == ("turnover",) and state_of(told) == "kept" and "middle flow estimate" in told.reason
    assert state_of(simplest(pump(WATER, in_force=short))) == "proposed"
    dear = (Period(2000, 60, 27),)  # enough by the middle estimate as well, and dear: worth a visit by its money
    assert state_of(simplest(pump(WATER, price_per_kwh=EVENING, in_force=dear))) == "proposed"


def test_rows_of_a_proposal() -> None:
    problem = pump(WATER, QuietWindow("quiet hours", 32, 48, 0.0), in_force=(Period(2500, 20, 40),), notes=("a", "b"))
    answer = simplest(problem)
    rows, periods = tables([(problem, answer, "Filters too little")])
    row = rows.row(0, named=True)
    assert (row["state"], row["reason"], row["found"], row["notes"]) == ("proposed", "", "Filters too little", "a; b")
    assert not row["priced"] and row["saving_money_mid"] is None
    assert row["saving_kwh_lo"] < row["saving_kwh_mid"] < row["saving_kwh_hi"]
    assert row["turnovers_lo"] >= 1.0 - 1e-9 and "quiet hours" in row["cured"] and row["bound_day"] <= row["cost_day"]
    for period, keyed in zip(periods.iter_rows(named=True), answer.plan, strict=True):
        run = (period["stop_min"] - period["start_min"]) % 1440 or 1440
        assert run == keyed.length * 15 and period["speed_rpm"] == keyed.speed_rpm
    assert any(p["stop_min"] < p["start_min"] for p in periods.iter_rows(named=True))  # runs across midnight


def test_rows_where_nothing_is_proposed() -> None:
    clash = pump(Turnover("turnover", 400.0), QuietWindow("quiet hours", 0, 80, 0.0))
    withheld = replace(pump(WATER), pump_id="Q", withheld="its data are not believed")
    rows, periods = tables([(p, simplest(p), "") for p in (clash, withheld)])
    assert rows["state"].to_list() == ["clash", "withheld"] and periods.is_empty()
    assert "turnover" in rows["reason"][0] and rows["reason"][1] == "its data are not believed"
    assert rows["cost_day"].null_count() == 2


def test_more_water_never_costs_less_and_the_bound_stays_below() -> None:
    points = frontier(pump(WATER, price_per_kwh=EVENING))
    assert [p.turnovers for p in points] == pytest.approx([0.5, 0.75, 1.0, 1.25, 1.5, 1.75, 2.0])
    costs = [p.cost for p in points]
    assert costs == sorted(costs) and all(p.bound <= p.cost + 1e-12 for p in points)
    assert points[2].cost == pytest.approx(propose(pump(WATER, price_per_kwh=EVENING)).cost)


def test_the_curve_ends_where_plans_end() -> None:
    """Off from 00:00 to 20:00, four hours at full speed move at most 4 x 19.5 = 77.8 m3 by the low estimate."""
    points = frontier(pump(WATER, QuietWindow("quiet hours", 0, 80, 0.0)))
    assert [p.turnovers for p in points] == pytest.approx([0.5, 0.75])
    assert frontier(replace(pump(WATER), withheld="not believed")) == [] and frontier(pump()) == []


def test_the_plan_in_force_lies_on_or_above_the_curve() -> None:
    """1000 rpm from 05:00 for 14 h: 5.64 m3/h x 14 / 80 = 0.987 turnovers; 97 W x 14 h, 3 h of them at 0.5."""
    problem = pump(WATER, price_per_kwh=EVENING, in_force=(Period(1000, 20, 56),))
    now = in_force_point(problem)
    assert now.turnovers == pytest.approx(0.987) and now.cost == pytest.approx(0.097 * (11 * 0.2 + 3 * 0.5))
    same = replace(problem, requirements=(Turnover("turnover", 0.987 * 80),))
    answer = propose(same)
    assert isinstance(answer, Proposal) and answer.lower_bound <= now.cost
    assert in_force_point(replace(problem, in_force=(Period(1010, 20, 56),))) is None
    assert in_force_point(replace(problem, in_force=None)) is None
