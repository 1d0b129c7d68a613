"""Both searches against every plan there is, against HiGHS, and against what must hold for any problem.

Sources: full enumeration by plain sums; scipy's HiGHS (`milp_plan.py`), a general solver; weak duality.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations_with_replacement, product

import numpy as np
import pytest
from drawn_problems import drawn_problem
from hypothesis import given, settings
from hypothesis import strategies as st
from milp_plan import milp_cost

from pumpledger.planning import branching, flat_search, tou_search
from pumpledger.planning.bound import cases, lay_out, priced, relax
from pumpledger.planning.day_grid import day_grid
from pumpledger.planning.keeping import broken, cost
from pumpledger.planning.mixes import Found
from pumpledger.planning.placing import mix_cost, place
from pumpledger.planning.problem import (
    QUARTERS,
    Continuous,
    FlowLimit,
    Hours,
    LongestPause,
    Period,
    PlanProblem,
    QuietWindow,
    Speeds,
    StartCost,
    Turnover,
)
from pumpledger.planning.proposal import search

FREE = 9


def small_problem(seed: int) -> PlanProblem:
    """Three speeds, and all but nine quarters around midnight or noon quiet: few enough plans to try each."""
    rng = np.random.default_rng([seed, 3])
    speed = np.sort(rng.choice(np.arange(600.0, 3451.0, 25.0), 3, replace=False))
    flow, power = 0.006 * (speed - rng.uniform(0, 400)), 45 + 52 * (speed / 1000) ** rng.uniform(2.2, 3.0)
    crosses = bool(rng.random() < 0.6)
    first = 92 if crosses else int(rng.integers(0, QUARTERS - FREE + 1))
    asked = [
        QuietWindow("quiet hours", (first + FREE) % QUARTERS, QUARTERS - FREE, 0.0),
        Turnover("turnover", float(flow.mean() / 4 * rng.uniform(2, 8))),
    ]
    if rng.random() < 0.5:
        asked.append(Hours("skimming", float(speed[1]), int(rng.integers(1, 4))))
    if rng.random() < 0.3:
        asked.append(Hours("chlorination", float(speed[0]), int(rng.integers(3, 7))))
    return PlanProblem(
        "S",
        "P",
        Speeds(speed, flow, flow, flow, power, power, power),
        tuple(asked),
        price_per_kwh=rng.choice([0.1, 0.2, 0.6] if seed % 5 else [-0.1, 0.2, 0.6], QUARTERS),
        start_cost=StartCost(0.0, float(rng.choice([0.0, 0.003]))),
        most_periods=int(rng.integers(1, 4)),
        crosses_midnight=crosses or bool(rng.random() < 0.5),
    )


def every_plan(problem: PlanProblem, first: int):
    """All plans of non-overlapping periods within the free quarters, touching ones among them."""
    speeds = [int(speed) for speed in problem.speeds.speed_rpm]
    for number in range(1, problem.most_periods + 1):
        for edges in combinations_with_replacement(range(FREE + 1), 2 * number):
            stretches = list(zip(edges[::2], edges[1::2], strict=True))
            if all(start < stop for start, stop in stretches):
                for chosen in product(speeds, repeat=number):
                    yield tuple(
                        Period(rpm, (first + start) % QUARTERS, stop - start)
                        for rpm, (start, stop) in zip(chosen, stretches, strict=True)
                    )


def plain_cost(problem: PlanProblem, plan: tuple[Period, ...]) -> float | None:
    """Cost of a plan by plain sums; None where water or hours are missing, or a period may not cross midnight."""
    watts = dict(zip(problem.speeds.speed_rpm, problem.speeds.power_mid, strict=True))
    flow = dict(zip(problem.speeds.speed_rpm, problem.speeds.flow_lo, strict=True))
    total, running = 0.0, {}
    for period in plan:
        if not problem.crosses_midnight and period.start + period.length > QUARTERS:
            return None
        for step in range(period.length):
            quarter = (period.start + step) % QUARTERS
            running[quarter] = period.speed_rpm
            total += watts[period.speed_rpm] / 4000 * problem.price_per_kwh[quarter]
    total += problem.start_cost.wear * sum((quarter - 1) % QUARTERS not in running for quarter in running)
    for requirement in problem.requirements:
        if isinstance(requirement, Turnover):
            if sum(flow[rpm] for rpm in running.values()) / 4 < requirement.required_m3 - 1e-9:
                return None
        elif isinstance(requirement, Hours):
            if sum(rpm >= requirement.least_rpm for rpm in running.values()) < requirement.quarters:
                return None
    return total


@pytest.mark.parametrize("seed", range(24))
def test_no_plan_of_all_is_cheaper(seed: int) -> None:
    problem = small_problem(seed)
    window = next(r for r in problem.requirements if isinstance(r, QuietWindow))
    first = (window.start + window.length) % QUARTERS
    costs = [found for plan in every_plan(problem, first) if (found := plain_cost(problem, plan)) is not None]
    found = tou_search.search(day_grid(problem))
    if not costs:
        assert found.mix is None and found.bound == np.inf
        return
    assert found.cost == pytest.approx(min(costs), rel=1e-9)
    assert found.bound == found.cost
    plan = place(lay_out(day_grid(problem)), found.mix)
    assert plain_cost(problem, plan) == pytest.approx(min(costs), rel=1e-9)


@pytest.mark.parametrize("seed", range(16))
def test_a_day_split_by_its_pauses_is_searched_whole(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """No effort for the day as a whole, little for a part: each part is split until it is small; against every plan."""
    monkeypatch.setattr(tou_search, "_TRIPLES_AT_FIRST", 0)
    monkeypatch.setattr(branching, "_TRIPLES_A_PART", 3)
    problem = replace(small_problem(seed), most_periods=3)
    window = next(r for r in problem.requirements if isinstance(r, QuietWindow))
    first = (window.start + window.length) % QUARTERS
    costs = [found for plan in every_plan(problem, first) if (found := plain_cost(problem, plan)) is not None]
    found = tou_search.search(day_grid(problem))
    assert found.cost == (pytest.approx(min(costs), rel=1e-9) if costs else np.inf)
    assert found.bound == found.cost


def test_a_gap_that_starts_open_is_closed() -> None:
    """Made-up site 259 on each third speed: the bound of the whole day lies some per cent below the best plan, which stands a
    long time; split by the length of its pause it is proven."""
    problem = drawn_problem(259)
    third = np.arange(problem.speeds.speed_rpm.size) % 3 == 0
    grid = day_grid(replace(problem, speeds=problem.speeds.where(third)))
    found = tou_search.search(grid)
    day = lay_out(grid)
    whole = min(relaxed[1].bound for case in cases(grid) if (relaxed := relax(day, case)))
    assert found.bound == found.cost and whole < found.cost * 0.99


def all_flat_mixes(problem: PlanProblem, pause: int) -> float:
    """Least cost over all speeds and lengths of three periods, by arrays; infinite where there is none."""
    watts, flow, speed = problem.speeds.power_mid, problem.speeds.flow_lo, problem.speeds.speed_rpm
    one, two, three = np.ogrid[0:97, 0:97, 0:97]
    rest = QUARTERS - one - two - three
    pauses = -(-rest // pause)
    fits = (rest >= 0) & (pauses <= (one > 0).astype(int) + (two > 0) + (three > 0)) & (rest < QUARTERS)
    least = np.inf
    for a, b, c in combinations_with_replacement(range(len(speed)), 3):
        good = fits & (
            flow[a] * one + flow[b] * two + flow[c] * three >= 4 * problem.requirements[0].required_m3 - 1e-9
        )
        for hours in problem.requirements[1:]:
            if isinstance(hours, Hours):
                fast = speed >= hours.least_rpm
                good &= fast[a] * one + fast[b] * two + fast[c] * three >= hours.quarters
        total = (watts[a] * one + watts[b] * two + watts[c] * three) / 4000 + problem.start_cost.priming_kwh * pauses
        least = min(least, float(np.where(good, total, np.inf).min()))
    return least


@pytest.mark.parametrize("seed", range(6))
def test_no_flat_mix_of_all_is_cheaper(seed: int) -> None:
    rng = np.random.default_rng([seed, 5])
    speed = np.sort(rng.choice(np.arange(600.0, 3451.0, 25.0), 4, replace=False))
    flow, power = 0.006 * (speed - rng.uniform(0, 400)), 45 + 52 * (speed / 1000) ** rng.uniform(2.2, 3.0)
    asked = [Turnover("turnover", float(flow[1] * rng.uniform(6, 23)))]
    if seed % 2:
        asked.append(Hours("skimming", float(speed[2]), int(rng.integers(2, 12))))
    pause = int(rng.integers(20, 40)) if seed % 3 == 0 else QUARTERS
    if pause < QUARTERS:
        asked.append(LongestPause("longest pause", pause))
    speeds = Speeds(speed, flow, flow, flow, power, power, power)
    problem = PlanProblem("S", "P", speeds, tuple(asked), start_cost=StartCost(float(rng.choice([0.0, 0.05]))))
    found = flat_search.search(day_grid(problem))
    assert found.cost == pytest.approx(all_flat_mixes(problem, pause), rel=1e-9)
    assert found.bound == found.cost
    plan = place(lay_out(day_grid(problem)), found.mix)
    assert not broken(problem, plan) and cost(problem, plan) == pytest.approx(found.cost, rel=1e-9)


@pytest.mark.parametrize("seed", [5])
def test_the_two_searches_agree_on_a_flat_price(seed: int) -> None:
    grid = day_grid(drawn_problem(seed, flat=True, every=3))
    flat, other = flat_search.search(grid), tou_search.search(grid)
    assert flat.cost == pytest.approx(other.cost, rel=1e-9)
    assert flat.bound == flat.cost and other.bound <= flat.cost * (1 + 1e-9)


@pytest.mark.parametrize("seed", [4, 5, 6, 7])
def test_highs_finds_nothing_cheaper(seed: int) -> None:
    """A small number of the problems that ``tests/benchmarks/schedules.py --milp 60`` tries; 300 rpm steps."""
    problem = drawn_problem(seed, every=12)
    found, (best, low) = tou_search.search(day_grid(problem)), milp_cost(problem, seconds=60.0)
    assert found.cost <= best * (1 + 1e-7)
    assert found.bound <= best * (1 + 1e-9) and found.cost >= low * (1 - 1e-6)


@pytest.mark.parametrize("seed", [2, 3, 11, 17])
def test_the_bound_is_never_above_the_best_plan(seed: int) -> None:
    """Weak duality: at any multipliers of at least 0, the least over the cases is a bound."""
    grid = day_grid(drawn_problem(seed, every=6))
    day, best = lay_out(grid), search(grid).cost
    rng = np.random.default_rng(seed)
    for _ in range(3):
        spread = 10 ** rng.uniform(-2, 1)
        lows = []
        for case in cases(grid):
            found = relax(day, case)
            if found is not None:
                lows.append(priced(day, case, found[0] * spread * rng.random(len(found[0]))).bound)
        assert min(lows) <= best * (1 + 1e-9)


@settings(max_examples=5, deadline=None)
@given(st.integers(0, 500), st.floats(1.001, 1.3))
def test_more_water_is_never_cheaper(seed: int, more: float) -> None:
    problem = drawn_problem(seed, every=6)
    water, *others = problem.requirements
    thirsty = replace(problem, requirements=(replace(water, required_m3=water.required_m3 * more), *others))
    assert search(day_grid(thirsty)).cost >= search(day_grid(problem)).cost * (1 - 1e-9)


@settings(max_examples=5, deadline=None)
@given(st.integers(0, 500), st.floats(1.0, 1.5))
def test_a_looser_limit_is_never_dearer(seed: int, looser: float) -> None:
    problem = drawn_problem(seed, every=6)
    loosened = []
    for requirement in problem.requirements:
        match requirement:
            case FlowLimit(_, most, _):
                requirement = replace(requirement, most_m3h=most * looser)
            case QuietWindow(_, _, _, most):
                requirement = replace(requirement, most_rpm=most * looser)
            case LongestPause(_, quarters):
                requirement = replace(requirement, quarters=min(int(quarters * looser), QUARTERS))
        loosened.append(requirement)
    easier = replace(problem, requirements=tuple(loosened))
    assert search(day_grid(easier)).cost <= search(day_grid(problem)).cost * (1 + 1e-9)


@settings(max_examples=5, deadline=None)
@given(st.integers(0, 500), st.integers(1, 95))
def test_a_flat_tariff_is_blind_to_turning_the_clock(seed: int, turn: int) -> None:
    """The same windows later by ``turn`` quarters, at one price, cost the same."""
    problem = replace(drawn_problem(seed, every=6), price_per_kwh=np.full(QUARTERS, 0.2), crosses_midnight=True)
    turned = tuple(
        replace(r, start=(r.start + turn) % QUARTERS) if hasattr(r, "start") else r for r in problem.requirements
    )
    here, there = (search(day_grid(each)).cost for each in (problem, replace(problem, requirements=turned)))
    assert here == pytest.approx(there, rel=1e-9)


def test_turning_price_and_windows_together_costs_the_same() -> None:
    problem = replace(drawn_problem(6, every=4), crosses_midnight=True)
    turned = tuple(
        replace(r, start=(r.start + 30) % QUARTERS) if hasattr(r, "start") else r for r in problem.requirements
    )
    other = replace(problem, requirements=turned, price_per_kwh=np.roll(problem.price, 30))
    assert search(day_grid(problem)).cost == pytest.approx(search(day_grid(other)).cost, rel=1e-9)


def test_fewer_periods_are_never_cheaper() -> None:
    costs = [search(day_grid(replace(drawn_problem(3, every=3), most_periods=n))).cost for n in (1, 2, 3)]
    assert costs[0] >= costs[1] * (1 - 1e-12) >= costs[2] * (1 - 1e-12)


def test_the_knee_of_a_flat_price() -> None:
    """P = 45 + 52 n^3, Q = 10 (n - 0.18): root of 104 n^3 - 28.08 n^2 - 45 = 0 lies near 0.85 (krpm) [CALC]."""
    speed = np.arange(600.0, 3451.0, 25.0)
    flow, power = 10 * (speed / 1000 - 0.18), 45 + 52 * (speed / 1000) ** 3
    knee = 1000 * next(root.real for root in np.roots([104, -28.08, 0, -45]) if abs(root.imag) < 1e-12)
    problem = PlanProblem("S", "P", Speeds(speed, flow, flow, flow, power, power, power), (Turnover("turnover", 80.0),))
    found = search(day_grid(problem))
    running = sum(length for length, _ in found.mix)
    assert running < QUARTERS
    mean = sum(length * speed[place] for length, place in found.mix) / running
    assert abs(mean - knee) < 25
    assert found.cost >= 80 * float((power / flow).min()) / 1000  # no litre is cheaper than at the knee


def test_a_whole_day_at_one_flow() -> None:
    """Above the knee the envelope is running all day at constant flow: here exactly one grid speed's flow."""
    speed = np.arange(600.0, 3451.0, 25.0)
    flow, power = 0.01 * speed, 45 + 52 * (speed / 1000) ** 3
    problem = PlanProblem(
        "S",
        "P",
        Speeds(speed, flow, flow, flow, power, power, power),
        (Turnover("turnover", 24 * 12.0), Continuous("continuous operation")),
    )
    found = search(day_grid(problem))
    assert place(lay_out(day_grid(problem)), found.mix) == (Period(1200, 0, QUARTERS),)
    assert found.cost == pytest.approx((45 + 52 * 1.2**3) * 24 / 1000)


def test_equal_costs_run_around_midday() -> None:
    speed = np.array([600.0, 1200.0])
    flow, power = speed / 200, speed / 6
    problem = PlanProblem("S", "P", Speeds(speed, flow, flow, flow, power, power, power), (Turnover("turnover", 24.0),))
    grid = day_grid(problem)
    plan = place(lay_out(grid), ((32, 0),))
    assert plan == (Period(600, 36, 32),)  # 09:00 to 17:00, middle 13:00
    assert mix_cost(lay_out(grid), plan) == pytest.approx(0.8)


def test_the_effort_that_runs_out_says_so() -> None:
    """Nothing searched, nothing claimed: the bound stands below the cost."""
    grid = day_grid(drawn_problem(8))
    whole, cut = tou_search.search(grid), tou_search.search(grid, triples=50)
    assert cut.bound < whole.cost and (cut.mix is None or cut.cost >= whole.cost * (1 - 1e-12))
    assert np.isfinite(cut.bound)


@pytest.mark.parametrize(("seed", "flat"), [(3, True), (4, True), (3, False), (5, False), (8, False)])
def test_a_search_that_knows_a_plan_finds_the_same_or_says_that_none_is_cheaper(seed: int, flat: bool) -> None:
    grid = day_grid(drawn_problem(seed, flat=flat, every=3))
    whole = search(grid)
    dearer = search(grid, known=Found(None, whole.cost * 1.02, -np.inf))
    assert (dearer.cost, dearer.bound) == pytest.approx((whole.cost, whole.bound), rel=1e-9) and dearer.mix
    same = search(grid, known=whole)
    assert same.mix == whole.mix and same.bound == same.cost == whole.cost
    none = search(grid, known=Found(None, whole.cost * 0.98, -np.inf))
    assert none.mix is None and none.bound == none.cost == whole.cost * 0.98


@pytest.mark.parametrize(
    ("fields", "why"),
    [
        ({"price_per_kwh": np.ones(95)}, "96 finite"),
        ({"price_per_kwh": np.full(QUARTERS, np.nan)}, "96 finite"),
        ({"most_periods": 4}, "1 to 3 periods"),
        ({"most_periods": 0}, "1 to 3 periods"),
        ({"requirements": (Turnover("it", 1.0), Hours("it", 0.0, 1))}, "one name"),
    ],
)
def test_a_problem_that_makes_no_sense_is_refused(fields: dict, why: str) -> None:
    with pytest.raises(ValueError, match=why):
        replace(small_problem(1), **fields)


def test_speeds_of_unknown_power_or_flow_are_not_used() -> None:
    problem = drawn_problem(3, every=6)
    best = search(day_grid(problem))
    speeds = problem.speeds
    used = {speeds.index(p.speed_rpm) for p in place(lay_out(day_grid(problem)), best.mix)}
    hole = np.isin(np.arange(speeds.speed_rpm.size), list(used))
    for column in ("flow_lo", "flow_hi", "power_mid"):
        holed = replace(speeds, **{column: np.where(hole, np.nan, getattr(speeds, column))})
        other = day_grid(replace(problem, speeds=holed))
        assert other.cost.size < day_grid(problem).cost.size
        assert search(other).cost >= best.cost
