"""Outcomes: what a manager asks first. They name the effect; the causes are listed under them.

``explained_by`` names what can bring the effect about, the heaviest first. A cause that would change the water or the
energy the other way is not among them.
"""

from __future__ import annotations

from pumpledger.diagnosis.rules.cautions import PAD_CHECK
from pumpledger.diagnosis.rules.rule import Rule
from pumpledger.engine.parameter import Parameter

_MOST_CHURN_KWH = Parameter(1.0, 0.0, 500.0, "kWh per week", "more")  # some fifty a year: less is not worth a visit
_MOST_CHURN_MONEY = Parameter(0.2, 0.0, 100.0, "currency per week", "more")  # ten a year
# Less is within a quarter hour of a plan, and nobody would go and see.
_SHORT = Parameter(0.05, 0.0, 0.5, "share", "more")

RULES: tuple[Rule, ...] = (
    Rule(
        id="O1",
        name="Filters too little",
        severity="next visit",
        needs=("speed", "flow", "required_turnovers"),
        order=60,
        scope="site",
        explained_by=("D20", "D8", "D9", "D2", "D19", "A7", "C9", "C4", "C3", "C1", "C5", "D5", "D3", "D6", "D10"),
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
            "required, on {days} of the last 5 believed days. {extra} {causes}"
        ),
        instruction="Filter more. {advice}",
        caution=PAD_CHECK,
        parameters={
            "days": Parameter(3, 1, 5, "days", "more"),
            "short_share": _SHORT,
        },
    ),
    Rule(
        id="O2",
        name="Filters far more than needed",
        severity="next visit",
        needs=("speed", "power", "flow", "required_turnovers"),
        order=61,
        scope="site",
        explained_by=("C6", "C9", "A7", "C5", "C11", "C10", "C7", "D18", "D11"),
        season="open",
        probability=0.8,
        work_min=15,
        risk_cost_week=0,
        others=(
            "A wish of the owner that the register does not hold; a treatment; features that need flow; a required "
            "turnover that is entered too low."
        ),
        picture="turnovers",
        sentence=(
            "Filtered at least {measured:.2f} turnovers a day (estimated, low bound), more than {threshold:.2f}, on "
            "{day_count}. {extra} {causes}"
        ),
        instruction=(
            "Ask whether so much is wanted, and record it if so; else key in a plan that filters as required. {advice}"
        ),
        caution=PAD_CHECK,
        parameters={
            "ratio": Parameter(1.5, 1.1, 5.0, "times the required turnovers", "more"),
            "days": Parameter(5, 1, 7, "days", "more"),
            # A plan that saves less is not worth keying in.
            "churn_share": Parameter(0.03, 0.0, 0.5, "share of what is spent", "more"),
            "money_limit": _MOST_CHURN_MONEY,
            "kwh_limit": _MOST_CHURN_KWH,
            # Water is filtered hard for some weeks after a pool is opened (common practice, no source).
            "opening_days": Parameter(14, 0, 60, "days", "more"),
        },
    ),
    Rule(
        id="O3",
        name="Costs more than it has to",
        severity="next visit",
        needs=("power", "speed", "flow", "required_turnovers"),
        order=62,
        scope="site",
        explained_by=(
            *("A1", "A5", "A3", "A2", "A6", "A7", "C9", "C10", "C11", "C6", "C12", "C7", "C5", "C8"),
            *("D18", "D1", "D4", "D7", "D11", "C14", "C16"),
        ),
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
            "{extra}; its own simple best plan needs {threshold:.2f}. Above it by more than the limit on {day_count}. "
            "{causes}"
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
    Rule(
        id="O4",
        name="Saves less than was claimed",
        severity="next visit",
        needs=("power", "speed", "flow", "promised_kwh_year"),
        order=63,
        scope="site",
        explained_by=(
            *("B11", "A7", "C9", "C10", "C11", "C6", "C7", "C5", "C8", "D18", "D3", "D5", "D6", "D4", "D7", "D11"),
            *("C14", "C16", "B15", "B14"),
        ),
        season="open",
        probability=0.7,
        work_min=20,
        risk_cost_week=5,
        others="A short record; a season unlike the year; a baseline that was never so.",
        picture="energy",
        sentence=(
            "Saves at most {measured:.2f} kWh a day at equal service (high bound), over {day_count} that count; "
            "{threshold:.2f} a day were promised. {extra} {causes}"
        ),
        instruction=(
            "Compare what is keyed in with what the promise rests on: plan, baseline, hours. Put the plan right, or "
            "the promise. {advice}"
        ),
        caution=PAD_CHECK,
        parameters={"counted_days": Parameter(28, 14, 56, "days that count, of eight weeks", "more")},
    ),
    Rule(
        id="O5",
        name="Looks like saving but is not",
        severity="this week",
        needs=("power", "speed"),
        order=64,
        scope="site",
        explained_by=(
            *("D20", "D8", "D9", "D2", "D19", "D5", "D3", "A7", "C9", "C4", "C3", "C1", "C5", "D6", "D10", "O1"),
        ),
        season="open",
        probability=0.8,
        work_min=20,
        risk_cost_week=10,
        others="A new plan that is not recorded; a meter that was changed; a requirement entered too high.",
        picture="energy",
        sentence=(
            "Uses {measured:.1f} kWh a day where it used {threshold:.1f}, on {day_count}: {extra} These days are no "
            "saving. {causes}"
        ),
        instruction="Count none of it as saved. Put the cause right first, then look at the plan. {advice}",
        caution=PAD_CHECK,
        parameters={
            # Less than filters, weather and cleaning move by themselves is no fall (common practice, no source).
            "fall": Parameter(0.1, 0.02, 0.9, "share of the usual energy", "more"),
            "usual_days": Parameter(7, 3, 28, "believed days before the week", "more"),
            "days": Parameter(3, 1, 7, "days", "more"),
            "short_share": _SHORT,
        },
    ),
)
