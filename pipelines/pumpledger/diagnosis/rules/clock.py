"""Rules about the pump's clock and calendar, and about a record that is not what runs.

How what ran is matched against the plan stands in `diagnosis/clock.py`; why there is no rule about weekdays (A6), too.
"""

from __future__ import annotations

from pumpledger.diagnosis.clock import found_by
from pumpledger.diagnosis.rules.rule import Rule
from pumpledger.engine.parameter import Parameter

_MATCH = {
    # Of the match itself, for all rules of this section. Gain, residual and margin are what kept edited records from
    # passing for clock faults on synthetic sites (tests/profile/test_plan_match.py).
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
_SET_CLOCK = "Set the pump's clock to the time of day."

RULES: tuple[Rule, ...] = (
    Rule(
        id="A2",
        name="Clock one hour out since the clock change",
        severity="next visit",
        needs=("speed", "plan"),
        order=20,
        find=found_by("A2"),
        season="open",
        probability=0.9,
        work_min=10,
        risk_cost_week=3,
        others=(
            "An export in standard time shifts every pump of its source alike, which is looked for first. A start "
            "moved by an hour on purpose looks the same."
        ),
        sentence="Since the clock change the plan runs {extra}",
        instruction=_SET_CLOCK,
        # A pump that is seen again only days after the change, or moved by hand a few days off it.
        parameters={"change_days": Parameter(7, 1, 14, "days", "less")},
    ),
    Rule(
        id="A1",
        name="Clock 12 hours out",
        severity="this week",
        needs=("speed", "plan"),
        order=21,
        find=found_by("A1"),
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
        id="A5",
        name="Clock began anew after a power cut",
        severity="this week",
        needs=("speed", "plan"),
        order=22,
        find=found_by("A5"),
        season="open",
        probability=0.85,
        work_min=15,
        risk_cost_week=10,
        others=(
            "A clock that was set wrong by hand on the day of an outage; of many holes in a log, one can end at the "
            "fitting minute by chance."
        ),
        sentence="The plan runs {extra}",
        instruction=_SET_CLOCK
        + " It lost the time with the power: look at its battery, or the next cut brings this back.",
        # A quarter hour: the grain of the match, and of the coarsest log that times the end of an outage.
        parameters={"within_min": Parameter(15, 5, 30, "min", "less")},
    ),
    Rule(
        id="A4",
        name="Clock drifts",
        severity="note",
        needs=("speed", "plan"),
        order=23,
        find=found_by("A4"),
        season="open",
        probability=0.8,
        work_min=15,
        risk_cost_week=1,
        others=(
            "The logger's clock may drift in place of the pump's; all pumps of its source would show it, which is looked "
            "for first. A clock that was set in small steps looks alike."
        ),
        sentence="The pump's clock {extra}",
        instruction=_SET_CLOCK + " If it drifts on, replace the clock or the controller.",
        parameters={
            # 20 ppm, what a crystal may be off, is 1.7 s a day (common practice, no source): three times that is a fault.
            "seconds_a_day": Parameter(5, 2, 60, "s a day", "more"),
            "days": Parameter(21, 14, 56, "days", "more"),
            # Ten minutes in eight days, a week and its eve, is forty times what a crystal does; three looks of a log are no
            # rounding.
            "days_fast": Parameter(8, 7, 21, "days", "more"),
            "far_min": Parameter(10, 5, 60, "min", "more"),
            "looks": Parameter(3, 2, 10, "times the log's interval", "more"),
            # How much further than the lateness went the slope may go over the same days: what chance adds.
            "whole": Parameter(1.1, 1.0, 2.0, "ratio", "less"),
            "days_share": Parameter(0.6, 0.3, 1.0, "share", "more"),
            "confidence": Parameter(0.95, 0.8, 0.999, "share", "more"),
            "step_share": Parameter(0.8, 0.3, 1.2, "share", "less"),
        },
    ),
    Rule(
        id="A3",
        name="Clock out by an odd amount",
        severity="next visit",
        needs=("speed", "plan"),
        order=24,
        find=found_by("A3"),
        season="open",
        probability=0.85,
        work_min=10,
        risk_cost_week=4,
        others=("A plan that was moved on purpose and never written down looks the same."),
        sentence="The plan runs {extra}",
        instruction="Compare the pump's clock with the time of day and set it; if it is right, correct the recorded plan.",
        parameters={
            "days": Parameter(5, 3, 7, "days", "more"),
            # A quarter hour, less what a log that looks each five minutes sees late in the middle.
            "late_min": Parameter(12.5, 7.5, 60, "min", "more"),
            # What of a small mismatch must go; an edited start or stop takes half of it along at most.
            "slight_gain": Parameter(0.75, 0.6, 0.95, "share", "more"),
        },
    ),
    Rule(
        id="A7",
        name="Runs an older plan",
        severity="next visit",
        needs=("speed", "plan"),
        order=25,
        find=found_by("A7"),
        season="open",
        probability=0.85,
        work_min=15,
        risk_cost_week=3,
        others=("The change may be put off on purpose; a new plan may have been written down before it was keyed in."),
        sentence="On {day_count} what ran fits {extra} The newer plan was not keyed in, is put off, or the record is ahead.",
        instruction=(
            "Ask whether the change is put off. If not, key in the plan in force; if the older one is to stay, take the "
            "newer one out of the record."
        ),
        parameters={"days": Parameter(5, 3, 7, "days", "more")},
    ),
    Rule(
        id="C13",
        name="Record is not what runs",
        severity="data",
        needs=("speed", "plan"),
        order=26,
        # A plug pulled each night leaves the same programme day after day, and nobody keyed it in.
        explained_by=("C9", "D19"),
        find=found_by("C13"),
        season="open",
        probability=0.85,
        work_min=10,
        risk_cost_week=3,
        others=(
            "A habit that someone keeps to the minute, such as a timer on the supply; a period that a fault leaves out "
            "each day."
        ),
        sentence=(
            "The same programme ran on {day_count}, and it is not the recorded one: {measured:.0f} rpm apart in the mean, "
            "whichever way the clock is moved. What runs: {extra}."
        ),
        instruction=(
            "Look at the plan that is keyed in. What runs is {extra}. If it is wanted, put it on record (README, 'What "
            "runs becomes the plan'); if not, key in the recorded plan."
        ),
        parameters={
            "days": Parameter(5, 3, 7, "days", "more"),
            "stability": Parameter(0.9, 0.5, 1.0, "share", "more"),
            "rotation_gain": Parameter(0.8, 0.3, 0.95, "share", "less"),
            # A day's distance from the middle one: a habit of the owner's hand moves by half an hour, which at 1500 rpm
            # is 30; a programme repeats to the minute.
            "day_rpm": Parameter(25, 5, 100, "rpm", "less"),
            # A slow pump is moved by a quarter hour for a few rpm: a hand is known by its minutes as well.
            "change_min": Parameter(5, 1, 30, "min", "less"),
        },
    ),
)
