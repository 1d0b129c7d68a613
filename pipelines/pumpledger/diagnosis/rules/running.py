"""Rules about running habits: fast and slow hours, overrides that come back, priming, starts.

Starts are seen once for all of them, in `sql/diagnosis/pump_start.sql`.
"""

from __future__ import annotations

from pumpledger.diagnosis.rules.cautions import ELECTRICAL, PAD_CHECK
from pumpledger.diagnosis.rules.rule import Rule
from pumpledger.engine.parameter import Parameter

_STRAINER = (
    "Before opening a strainer stop the pump, lock it out and let the pressure off. Never run a pump dry, and leave "
    "covers of suction fittings in place. "
)

RULES: tuple[Rule, ...] = (
    Rule(
        id="C11",
        name="Override every day",
        severity="next visit",
        needs=("speed", "plan"),
        order=33,
        explained_by=("B3", "A1", "A2", "A5", "A4", "A3", "A7", "C13", "C5", "C9", "C6", "D10", "D18"),
        season="open",
        probability=0.8,
        work_min=20,
        risk_cost_week=3,
        sentence=(
            "The same override on {day_count} of the week: {extra} Half of the starts lie within {measured:.0f} min. "
            "A habit is a requirement that nobody wrote down."
        ),
        instruction=(
            "Ask who sets it and what for. Then put what is wanted into the plan and record it, or agree to stop."
        ),
        caution=PAD_CHECK,
        others="A period that was keyed in and not recorded; an auxiliary load that raises the speed and is not on record.",
        parameters={
            "same_rpm": Parameter(75, 25, 300, "rpm", "less"),  # three grid steps: a hand picks a speed, not a number
            "spread_min": Parameter(90, 15, 240, "min", "less"),
            "days": Parameter(4, 2, 7, "days", "more"),
            "regular_min": Parameter(10, 0, 30, "min", "more"),  # two samples of five minutes
            "freeze_rpm": Parameter(30, 0, 100, "rpm", "less"),  # as D18 knows that speed
        },
    ),
    Rule(
        id="C7",
        name="Fast for too long",
        severity="next visit",
        needs=("speed",),
        order=42,
        explained_by=("C6",),
        season="open",
        probability=0.8,
        work_min=15,
        risk_cost_week=1,
        sentence=(
            "Planned running {extra} took {measured:.1f} h a day on {day_count}; skimming and the loads on record ask "
            "for {threshold:.1f} h."
        ),
        instruction="Shorten the fast period and filter as much at a lower speed. {advice}",
        caution=PAD_CHECK,
        others=(
            "A water feature, solar panels or a cleaner that needs the speed and is not on record; water to be cleared "
            "after a storm or treatment."
        ),
        parameters={
            "speed_rpm": Parameter(2600, 2000, 3450, "rpm", "more"),
            "skim_h": Parameter(1.5, 0, 8, "h", "more"),  # an hour or two of skimming: common practice, no source
            "beyond_h": Parameter(2, 0.5, 12, "h a day", "more"),
            "days": Parameter(5, 2, 7, "days", "more"),
        },
    ),
    Rule(
        id="C8",
        name="Too slow to be efficient",
        severity="note",
        needs=("speed", "power", "flow"),
        order=43,
        season="open",
        probability=0.7,
        work_min=15,
        risk_cost_week=0,
        sentence=(
            "Ran at about {measured:.0f} rpm on {day_count}, well below {threshold:.0f} rpm, under which a litre costs "
            "more: {extra}."
        ),
        instruction=(
            "Raise the slow period towards {threshold:.0f} rpm and shorten it to the same water, unless quiet is "
            "wished for or a load needs the hours. {advice}"
        ),
        caution=PAD_CHECK,
        others="A wish for quiet nights; a chlorinator that needs the hours; a flow estimate that is wrong at low speed.",
        parameters={
            "below_rpm": Parameter(150, 50, 600, "rpm", "more"),
            "dearer": Parameter(0.10, 0.03, 1.0, "share", "more"),
            "hours": Parameter(4, 1, 24, "h a day", "more"),
            "days": Parameter(5, 2, 7, "days", "more"),
            "near_rpm": Parameter(50, 0, 200, "rpm", "more"),
            "ask_rpm": Parameter(750, 600, 1200, "rpm", "less"),
        },
    ),
    Rule(
        id="C16",
        name="Too many starts",
        severity="note",
        needs=("speed",),
        order=44,
        season="open",
        probability=0.8,
        work_min=20,
        risk_cost_week=2,
        sentence="Started {measured:.0f} times a day on {day_count}; more than {threshold:.0f} wear it.",
        instruction="Join the periods, and look for a relay or a contact that drops out.",
        caution=ELECTRICAL,
        others=(
            "A supply that blips; a logger that reads zero now and then; a cover or level switch that stops the pump on "
            "purpose."
        ),
        parameters={
            "starts": Parameter(6, 2, 50, "starts a day", "more"),  # twice what three periods ask for
            "days": Parameter(3, 1, 7, "days", "more"),
            "still_min": Parameter(2, 0, 60, "min", "more"),  # one lost sample of a log by the minute
        },
    ),
    Rule(
        id="C14",
        name="Priming too long or too fast",
        severity="note",
        needs=("speed", "plan"),
        order=45,
        explained_by=("C16",),
        season="open",
        probability=0.7,
        work_min=10,
        risk_cost_week=0,
        sentence="Primed for {measured:.0f} min a day {extra}, on {day_count}.",
        instruction=(
            "Look how soon it holds water after a start, and shorten or slow the priming as far as it still does; fewer "
            "starts need less of it."
        ),
        caution=_STRAINER + PAD_CHECK,
        others="A pump that stands high above the water and needs it.",
        parameters={
            "minutes": Parameter(15, 5, 60, "min a day", "more"),
            "fast_minutes": Parameter(10, 2, 60, "min a day", "more"),  # the longest single priming, common practice
            "fast_rpm": Parameter(3000, 2000, 3450, "rpm", "more"),
            "lead_most_min": Parameter(20, 10, 60, "min", "less"),  # the shortest override
            "fine_s": Parameter(300, 60, 900, "s", "less"),
            "days": Parameter(5, 2, 7, "days", "more"),
        },
    ),
    Rule(
        id="C15",
        name="Priming too slow",
        severity="next visit",
        needs=("power", "speed"),
        order=46,
        season="open",
        probability=0.6,
        work_min=20,
        risk_cost_week=5,
        sentence=(
            "At {extra} the power stayed low for about {measured:.0f} min after priming had ended, then rose: the pump "
            "was still full of air."
        ),
        instruction=(
            "Look for air first: strainer lid and its ring, water level, suction side. If it is tight, prime for longer, "
            "then faster, within the ratings of filter and suction fittings."
        ),
        caution=_STRAINER + PAD_CHECK + " " + ELECTRICAL,
        others="Air drawn in at the suction side; another device on the same meter that starts a little later.",
        parameters={
            "late_min": Parameter(2, 1, 20, "min", "more"),
            "low_share": Parameter(0.9, 0.5, 0.97, "share", "less"),
            "settle_min": Parameter(15, 10, 40, "min", "more"),
            "watch_min": Parameter(45, 20, 120, "min", "less"),
            "starts": Parameter(3, 2, 5, "starts", "more"),
            "fine_s": Parameter(300, 60, 600, "s", "less"),  # three looks before all should be well
            "ask_below_rpm": Parameter(1500, 600, 2600, "rpm", "less"),  # the slowest priming of common practice
        },
    ),
)
