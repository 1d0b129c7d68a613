"""One invented pump and what is asked of it, for the tests of plans."""

from __future__ import annotations

import numpy as np
from small_fleet import Fleet

from pumpledger.planning.fleet_problems import Wishes, plan_problems
from pumpledger.planning.problem import PlanProblem, Speeds, Turnover

SPEED = np.arange(600.0, 3451.0, 25.0)
WATER = Turnover("turnover", 80.0)
EVENING = np.where((np.arange(96) >= 64) & (np.arange(96) < 84), 0.5, 0.2)


def pump(*requirements, spread: float = 0.06, **fields) -> PlanProblem:
    """Flow 0.006 n m3/h, by default +-6 %, power 45 + 52 (n/1000)^3 W +-3 %: invented."""
    flow, power = 0.006 * SPEED, 45 + 52 * (SPEED / 1000) ** 3
    speeds = Speeds(SPEED, flow * (1 - spread), flow, flow * (1 + spread), power * 0.97, power, power * 1.03)
    return PlanProblem("S", "P", speeds, tuple(requirements), **fields)


def problem_of(fleet: Fleet, wishes: Wishes | None = None, pump_id: str = "P-S1") -> PlanProblem:
    """What is asked of a pump of the small fleet."""
    with fleet.database() as db:
        return next(p for p in plan_problems(db, usual=wishes) if p.pump_id == pump_id)
