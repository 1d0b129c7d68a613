"""Rules about the pump's clock and calendar.

How what ran is matched against the plan stands in `diagnosis/clock.py`.
"""

from __future__ import annotations

from pumpledger.diagnosis.clock import clock_one_hour, clock_twelve_hours
from pumpledger.diagnosis.rules.rule import Rule
from pumpledger.engine.parameter import Parameter

_MATCH = {
    "days_least": Parameter(3, 2, 7, "days", "more"),
    "shift_min": Parameter(15, 15, 60, "min", "more"),
    "gain_rpm": Parameter(20, 5, 100, "rpm", "more"),
    "residual_rpm": Parameter(12, 5, 50, "rpm", "less"),
    "residual_share": Parameter(0.15, 0.05, 0.5, "share", "less"),
    "margin_rpm": Parameter(10, 2, 50, "rpm", "more"),
    "cap_rpm": Parameter(400, 100, 2000, "rpm", "less"),
    "differs_rpm": Parameter(30, 10, 100, "rpm", "more"),
    "vote_share": Parameter(0.8, 0.5, 1.0, "share", "less"),
    "vote_pumps": Parameter(5, 3, 50, "pumps", "less"),
}

RULES: tuple[Rule, ...] = (
    Rule(
        id="A1",
        name="Clock 12 hours out",
        severity="this week",
        needs=("speed", "plan"),
        order=20,
        find=clock_twelve_hours,
        season="open",
        probability=0.9,
        work_min=10,
        risk_cost_week=15,
        others=(
            "A night plan that was keyed in and never written down looks the same. A plan that is nearly the same "
            "twelve hours on cannot be told from it."
        ),
        sentence="What runs fits the recorded plan moved by 12 hours: the pump's clock or the record is wrong. {extra}",
        instruction=(
            "Compare the pump's clock with the time of day. If it is 12 hours out set it; if it is right, correct "
            "the recorded plan."
        ),
        parameters=_MATCH,
    ),
    Rule(
        id="A2",
        name="Clock one hour out since the clock change",
        severity="next visit",
        needs=("speed", "plan"),
        order=21,
        find=clock_one_hour,
        season="open",
        probability=0.9,
        work_min=10,
        risk_cost_week=3,
        others=(
            "An export in standard time shifts every pump of its source alike, which is looked for first. A start "
            "moved by an hour on purpose looks the same."
        ),
        sentence="Since the clock change the plan runs {extra}",
        instruction="Set the pump's clock to the time of day.",
        parameters=_MATCH,
    ),
)
