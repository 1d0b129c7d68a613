"""Outcomes: what a manager asks first. They name the effect; the causes are listed under them."""

from __future__ import annotations

from pumpledger.diagnosis.rules.cautions import PAD_CHECK
from pumpledger.diagnosis.rules.rule import Rule
from pumpledger.engine.parameter import Parameter

RULES: tuple[Rule, ...] = (
    Rule(
        id="O1",
        name="Filters too little",
        severity="next visit",
        needs=("speed", "flow", "required_turnovers"),
        order=60,
        scope="site",
        explained_by=("D20",),
        season="open",
        probability=0.9,
        work_min=15,
        risk_cost_week=20,
        others=(
            "A pump curve that does not fit; a filter cleaned since; a refill; a required turnover that is entered "
            "too high."
        ),
        picture="turnovers",
        sentence=(
            "Filtered at most {measured:.2f} turnovers a day (estimated, high bound) against {threshold:.2f} "
            "required, on {days} of the last 5 believed days. {extra}"
        ),
        instruction="Filter more. {advice}",
        caution=PAD_CHECK,
        parameters={"days": Parameter(3, 1, 5, "days", "more")},
    ),
    Rule(
        id="O3",
        name="Costs more than it has to",
        severity="next visit",
        needs=("power", "speed", "flow", "required_turnovers"),
        order=61,
        scope="site",
        explained_by=("A1", "C10", "C6", "C12"),
        season="open",
        probability=0.8,
        work_min=15,
        risk_cost_week=0,
        others=(
            "A wish of the owner that the register does not hold; features that need flow; a treatment that needed "
            "long running."
        ),
        picture="energy",
        sentence=(
            "{extra}; its own simple best plan needs {threshold:.2f}. Above it by more than the limit on {day_count}."
        ),
        instruction="Key in a cheaper plan that filters as much as required. {advice}",
        caution=PAD_CHECK,
        parameters={
            "excess": Parameter(0.15, 0.03, 1.0, "share", "more"),
            "money_limit": Parameter(0.5, 0.0, 100.0, "currency per week", "more"),
            "kwh_limit": Parameter(2.5, 0.0, 500.0, "kWh per week", "more"),
            "days": Parameter(5, 1, 7, "days", "more"),
        },
    ),
)
