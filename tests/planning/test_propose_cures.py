"""A plan that saves too little for a visit is proposed all the same where it takes a finding about the plan away."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pumpledger.planning.cures import with_cures
from pumpledger.planning.offers import simplest
from pumpledger.planning.problem import Period, PlanProblem, Speeds, Turnover

SPEED = np.arange(600.0, 3451.0, 25.0)
FLOW, POWER = 0.006 * SPEED, 45 + 52 * (SPEED / 1000) ** 3
SPEEDS = Speeds(SPEED, FLOW, FLOW, FLOW, POWER, POWER, POWER)
BEST = PlanProblem("S", "P", SPEEDS, (Turnover("turnover", 80.0),), price_per_kwh=np.full(96, 0.2), pool_volume_m3=80.0)


def now(*periods: Period) -> PlanProblem:
    return replace(BEST, in_force=periods)


def split(problem: PlanProblem, pieces: int, pause: int) -> PlanProblem:
    """The cheapest plan cut into pieces with a pause between them: as much water, and as dear."""
    (run,) = simplest(problem).plan
    length, periods, start = -(-run.length // pieces), [], 4
    for _ in range(pieces):
        periods.append(Period(run.speed_rpm, start, length))
        start += length + pause
    return replace(problem, in_force=tuple(periods))


@pytest.mark.parametrize(
    ("rules", "proposed"), [((), False), (("C16",), True), (("C17",), True), (("C12", "O3", "C6"), False)]
)
def test_more_starts_and_steps_than_needed_are_cured(rules: tuple[str, ...], proposed: bool) -> None:
    problem = split(BEST, 3, 4)
    answer = simplest(problem)
    assert not answer.proposed and "within 3%" in answer.reason
    told = with_cures(problem, answer, rules)
    assert told.proposed == proposed and (told.reason == "") == proposed and told.plan == answer.plan


def test_a_finding_that_the_new_plan_does_not_take_away_sends_no_one() -> None:
    (run,) = simplest(BEST).plan
    problem = now(replace(run, length=run.length + 1))
    answer = simplest(problem)
    assert with_cures(problem, answer, ("C16", "C17")) == answer  # one start and one step before and after
    assert not with_cures(problem, answer, ("C1",)).proposed  # the pause becomes longer, not shorter


def test_nothing_is_proposed_where_nothing_may_be() -> None:
    withheld = replace(split(BEST, 3, 4), withheld="its data are not believed")
    assert not with_cures(withheld, simplest(withheld), ("C16",)).proposed
