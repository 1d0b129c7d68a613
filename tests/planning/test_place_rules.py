"""The rules of places as requirements of a plan: check values 2a-2l of the fact sheet, each with its source beside it."""

from __future__ import annotations

import pytest
from invented_pump import problem_of, pump
from small_fleet import Fleet

from pumpledger.planning.checker import measure
from pumpledger.planning.fleet_problems import Wishes
from pumpledger.planning.keeping import broken
from pumpledger.planning.problem import FlowLimit, LoadWindow, Period, QuietWindow, SpeedLimit, Turnover
from pumpledger.planning.proposal import propose
from pumpledger.planning.rules import (
    PLACES,
    SCHEDULE_40_IN,
    daily_hours,
    flow_rules,
    most_filtration_gpm,
    most_flow_gpm,
    velocity_ft_s,
)


@pytest.fixture
def fleet() -> Fleet:
    return Fleet()


@pytest.mark.parametrize(
    ("gallons", "gpm"),
    [(10_000, 36.0), (12_960, 36.0), (15_000, 41.667), (20_000, 55.556), (25_000, 69.444), (30_000, 83.333)],
)
def test_check_values_2a_to_2c(gallons: float, gpm: float) -> None:
    """Facts 2a, 2b, 2c: Title 24 Part 6 s150.0(p) [READ-2]; 2b the crossover [CALC]."""
    assert most_filtration_gpm(gallons) == pytest.approx(gpm, abs=1e-3)


def test_check_value_2d() -> None:
    """Facts 2d [CALC]: 10,000 gal at its highest flow turn over in 4.6296 h."""
    assert 10_000 / 60 / most_filtration_gpm(10_000) == pytest.approx(4.6296, abs=1e-4)


def test_check_values_2e_to_2h() -> None:
    """Facts 2e-2h [CALC] from v = 0.4085 Q / d2; diameters of Schedule 40 from memory [MEM-H]."""
    inches = list(SCHEDULE_40_IN.values())
    assert [velocity_ft_s(60, d) for d in inches] == pytest.approx([9.4556, 5.7367, 4.0207, 2.6039], abs=1e-3)
    assert [most_flow_gpm(6, d) for d in inches] == pytest.approx([38.07, 62.75, 89.54, 138.25], abs=0.02)
    assert [most_flow_gpm(8, d) for d in inches] == pytest.approx([50.76, 83.67, 119.38, 184.34], abs=0.02)
    assert [most_flow_gpm(10, d) for d in inches] == pytest.approx([63.45, 104.59, 149.23, 230.42], abs=0.02)


@pytest.mark.parametrize(("area_ft2", "gpm_ft2"), [(160.0, 0.375), (4.0, 15.0), (30.0, 2.0)])
def test_check_value_2i_a_filter_of_just_enough_area(area_ft2: float, gpm_ft2: float) -> None:
    """Facts 2i [CALC]: 60 gpm = 13.63 m3/h each; rates by Title 24 sizing from memory [MEM-H]. 2j stands in tests/hydraulics."""
    rated = FlowLimit("filter rating", area_ft2 * gpm_ft2 * 0.2271247)
    assert rated.most_m3h == pytest.approx(60 * 0.2271247, abs=1e-9)
    told = propose(pump(Turnover("turnover", 24 * 11.0), rated))
    assert max(p.speed_rpm for p in told.plan) * 0.006 * 1.06 <= rated.most_m3h
    assert "filter rating" in broken(pump(rated), (Period(2150, 0, 8),))  # 13.67 m3/h by the high bound


def test_check_value_2l() -> None:
    """Facts 2l [READ]: 20 CCR 1624, summer 4 h, one extension 4.5 h."""
    assert (daily_hours("summer"), daily_hours("summer", 1), daily_hours("winter")) == (4.0, 4.5, 2.0)


def test_californias_rules_as_requirements(fleet) -> None:
    """36 gpm or volume / 6 h, half of full speed, off in the peak; 80 m3 / 6 h = 13.33 m3/h."""
    fleet.tariff("evening")
    fleet.site(tariff="evening", pipe_size="2 in")
    problem = problem_of(fleet, Wishes(PLACES["California"]))
    limits = {r.name: r for r in problem.requirements}
    assert limits["filtration flow rule"].most_m3h == pytest.approx(80 / 6)
    assert limits["default speed rule"] == SpeedLimit("default speed rule", 1725.0, spares_loads=True)
    assert limits["pipe velocity"].most_m3h == pytest.approx(62.75 * 0.2271247, rel=1e-3)
    assert limits["off-peak rule from 16:00"] == QuietWindow("off-peak rule from 16:00", 64, 20, 0.0)
    told = propose(problem)
    assert told.cured == ("off-peak rule from 16:00",) and not broken(problem, told.plan)


def test_the_filtration_rule_spares_a_loads_hours() -> None:
    rules = flow_rules(PLACES["California"], 30.0, 3450.0, None)
    asked = pump(Turnover("turnover", 30.0), LoadWindow("heater hours", 40, 8, 2000.0), *rules)
    told = propose(asked)
    fast = [p for p in told.plan if p.speed_rpm > 1725]
    assert fast and all(40 <= p.start and p.start + p.length <= 48 for p in fast)
    assert measure(asked, told.plan).lacks == {}
