"""Rules about what is keyed in: periods, speeds, overrides, priming."""

from __future__ import annotations

from pumpledger.diagnosis.rules.cautions import PAD_CHECK
from pumpledger.diagnosis.rules.rule import Rule
from pumpledger.engine.parameter import Parameter

RULES: tuple[Rule, ...] = (
    Rule(
        id="C10",
        name="Override left on",
        severity="next visit",
        needs=("speed", "plan"),
        order=30,
        explained_by=("A2", "A1", "A5", "A4", "A3", "A7", "C5", "C9", "C3", "C4", "C13", "C6", "C11", "D10", "D18"),
        season="open",
        probability=0.8,
        work_min=10,
        risk_cost_week=3,
        others=(
            "A party, vacuuming or a refill that no one wrote down; a plan that was changed and not recorded; an "
            "auxiliary load that raises the speed."
        ),
        sentence=(
            "Ran off its plan for up to {measured:.1f} h at a stretch on {day_count}, with no visit or agreement "
            "on record. {extra}"
        ),
        instruction=(
            "Cancel the override. Ask why it was set: if it is wanted, agree it and record it, or change the plan."
        ),
        caution=PAD_CHECK,
        parameters={
            "stretch_min": Parameter(180, 60, 1440, "min", "more"),
            "same_rpm": Parameter(75, 25, 3450, "rpm", "less"),
            "days": Parameter(1, 1, 7, "days", "more"),
            "regular_min": Parameter(15, 0, 60, "min", "less"),  # one look of a log by the quarter hour
            "hole_min": Parameter(120, 0, 240, "min", "more"),  # the longest hole of a valid day
        },
    ),
    Rule(
        id="C6",
        name="Full speed all day",
        severity="this week",
        needs=("speed",),
        order=40,
        explained_by=("C9",),
        season="open",
        probability=0.95,
        work_min=15,
        risk_cost_week=5,
        others=("Clean-up after opening, treatment of algae, vacuuming; a plan that was meant so for a while."),
        sentence="Ran at or near full speed for {measured:.1f} h a day on {days} of the last 5 valid days.",
        instruction="Key in a plan in place of full speed. {advice}",
        caution=PAD_CHECK,
        parameters={
            "hours": Parameter(20, 12, 24, "h", "more"),
            "speed_rpm": Parameter(3000, 2400, 3450, "rpm", "more"),
            "days": Parameter(3, 1, 5, "days", "more"),
        },
    ),
    Rule(
        id="C12",
        name="Runs in peak hours",
        severity="next visit",
        needs=("power", "speed", "tariff"),
        order=41,
        scope="site",
        explained_by=("A2", "A1", "A5", "A4", "A3", "A7", "C9", "C11", "C10", "C6"),
        season="open",
        probability=0.9,
        work_min=10,
        risk_cost_week=0,
        others=(
            "The owner's own solar power, which makes these hours cheap; a load that has to run in them; a tariff "
            "that has changed."
        ),
        sentence=(
            "On {day_count} {measured:.0%} of the energy fell in peak hours, more than {threshold:.0%}, which "
            "even use of the day with a margin gives."
        ),
        instruction="Move running out of the peak hours without filtering less. {advice}",
        caution=PAD_CHECK,
        parameters={
            "ratio": Parameter(1.2, 1.0, 3.0, "ratio", "more"),
            "days": Parameter(4, 1, 7, "days", "more"),
            "money_limit": Parameter(0.2, 0.0, 100.0, "currency per week", "more"),  # ten a year
        },
    ),
)
