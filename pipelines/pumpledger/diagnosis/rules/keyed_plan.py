"""Rules about the plan as it is recorded, and about what ran in its place.

Belongs here: holes, night plans, steps cut short, dropped or exchanged, a plan that was lost, and faults that the record
shows by itself. Overrides, full speed and peak hours stand in `programming.py`.
"""

from __future__ import annotations

from pumpledger.diagnosis.compared import over
from pumpledger.diagnosis.default_plan import back_to_default
from pumpledger.diagnosis.period_match import steps_in_wrong_order
from pumpledger.diagnosis.rules.cautions import PAD_CHECK
from pumpledger.diagnosis.rules.rule import Rule
from pumpledger.engine.parameter import Parameter

CLOCK = ("A1", "A2", "A3", "A4", "A5")
"""A clock that is wrong moves every step, and explains what is seen of them."""

_OF_DAYS = Parameter(7, 3, 14, "days", "less")  # the newest week of valid days
_DAYS = Parameter(5, 2, 7, "days", "more")
_NEAR = Parameter(50, 15, 100, "rpm", "less")  # as spans are given their cause: two steps of the 25 rpm grid
_OTHER = Parameter(15, 5, 50, "rpm", "less")  # jitter of a drive and its log, and less than a step of the grid
_EDGE = Parameter(16, 0, 60, "min", "more")  # a logger that looks each quarter hour, and a minute of clock
_SAME_STEPS = ("keyed_day", "keyed_period", "period_run", "period_elsewhere")

RULES: tuple[Rule, ...] = (
    Rule(
        id="C5",
        name="Steps in the wrong order",
        severity="next visit",
        needs=("speed", "plan"),
        order=27,
        explained_by=CLOCK,
        find=steps_in_wrong_order,
        season="open",
        probability=0.8,
        work_min=15,
        risk_cost_week=4,
        others="A plan that was changed at the pump and not recorded, and happens to use the same speeds.",
        sentence=(
            "Runs at the hours of its plan, but with the speeds exchanged, on {days} of the last valid days: {extra} "
            "Mean mismatch {threshold:.0f} rpm as recorded, {measured:.0f} so exchanged."
        ),
        instruction=(
            "Read the plan at the pump, row by row. Key the speeds into their rows as recorded, or correct the record "
            "if the pump is right."
        ),
        caution=PAD_CHECK,
        parameters={
            "cheaper_share": Parameter(0.8, 0.5, 0.95, "share", "more"),
            "margin_rpm": Parameter(10, 2, 50, "rpm", "more"),
            "residual_rpm": Parameter(30, 5, 100, "rpm", "less"),  # what a plan that fits may leave, as for the clock
            "cap_rpm": Parameter(400, 100, 2000, "rpm", "less"),
            "days": _DAYS,
            "of_days": _OF_DAYS,
        },
    ),
    Rule(
        id="C9",
        name="Back to a default plan",
        severity="this week",
        needs=("speed", "plan"),
        order=32,
        explained_by=CLOCK,
        find=back_to_default,
        season="open",
        probability=0.7,
        work_min=20,
        risk_cost_week=10,
        others=(
            "A new house plan that a crew keys in and nobody has written down yet for any pump; an owner who "
            "copied a neighbour's plan."
        ),
        sentence=(
            "Since {first_day} it has run a day that no plan on record holds and that {measured:.0f} sites of this "
            "fleet share. {extra} So a controller runs that has lost its plan."
        ),
        instruction=(
            "Look at what is keyed in. If it is not the recorded plan, key that in again; ask whether the power "
            "failed on that day, and look at the controller's backup battery."
        ),
        caution=PAD_CHECK,
        parameters={
            "same_rpm": Parameter(25, 10, 100, "rpm", "less"),
            "same_share": Parameter(0.9, 0.75, 1.0, "share", "more"),  # three steps have six edges of 96 quarters
            "sites": Parameter(3, 3, 50, "sites", "more"),
            "days_before": Parameter(3, 2, 7, "days", "more"),
            "days_after": Parameter(3, 2, 7, "days", "more"),
            "steady_share": Parameter(0.6, 0.5, 1.0, "share", "more"),
            "ruled_min": Parameter(30, 0, 240, "min", "less"),  # a start of the frost or a load that made no night
            "run_least_min": Parameter(120, 15, 720, "min", "more"),  # standing still is no plan
        },
    ),
    Rule(
        id="C3",
        name="Step cut short by the next",
        severity="next visit",
        needs=("speed", "plan"),
        order=43,
        explained_by=(*CLOCK, "C5", "C9"),
        find=over("rule_c3", *_SAME_STEPS),
        season="open",
        probability=0.8,
        work_min=10,
        risk_cost_week=3,
        others=(
            "A later step whose start was moved at the pump and not recorded; an override at the later step's "
            "speed each day."
        ),
        sentence="{extra} About {measured:.0f} min of it are lost, on {day_count}.",
        instruction=(
            "Read both steps at the pump: the later one starts before the earlier stops, and the controller lets the "
            "later win. Key in the times as recorded, or correct the record if the pump is right."
        ),
        caution=PAD_CHECK,
        parameters={
            "cut_least_min": Parameter(30, 20, 240, "min", "more"),
            "spread_min": Parameter(10, 1, 60, "min", "less"),
            "seen_share": Parameter(0.9, 0.5, 1.0, "share", "more"),
            "next_share": Parameter(0.9, 0.5, 1.0, "share", "more"),
            "days": _DAYS,
            "of_days": _OF_DAYS,
            "near_rpm": _NEAR,
            "other_rpm": _OTHER,
            "edge_min": _EDGE,
        },
    ),
    Rule(
        id="C4",
        name="Step dropped",
        severity="next visit",
        needs=("speed", "plan"),
        order=44,
        explained_by=(*CLOCK, "C5", "C9"),
        find=over("rule_c4", *_SAME_STEPS),
        season="open",
        probability=0.8,
        work_min=10,
        risk_cost_week=6,
        others=(
            "A step that was taken out at the pump and not recorded; an owner who switches the supply off at "
            "these hours; a step that waits for a load's call."
        ),
        sentence=(
            "{extra} is on record and did not run on any of the {days} days that tell, while the other steps did: "
            "the pump or the record is wrong."
        ),
        instruction=(
            "Read the step at the pump: start and stop the same, an overlap with its neighbour, or power switched off "
            "at these hours? Key it in again, or correct the record if the pump is right."
        ),
        caution=PAD_CHECK,
        parameters={
            "own_share": Parameter(0.05, 0.0, 0.2, "share", "less"),
            "others_share": Parameter(0.9, 0.6, 1.0, "share", "more"),
            "judged_share": Parameter(0.5, 0.2, 1.0, "share", "more"),
            "elsewhere_share": Parameter(0.25, 0.05, 1.0, "share", "less"),
            "least_min": Parameter(28, 15, 120, "min", "more"),  # an hour on record, less its edges
            "days": _DAYS,
            "of_days": _OF_DAYS,
            "near_rpm": _NEAR,
            "other_rpm": _OTHER,
            "edge_min": _EDGE,
        },
    ),
    Rule(
        id="C1",
        name="Hole in the day",
        severity="next visit",
        needs=("speed", "plan"),
        order=45,
        explained_by=("C5", "C9", "C3", "C4"),
        find=over("rule_c1", "keyed_day", "keyed_period"),
        season="open",
        probability=0.7,
        work_min=10,
        risk_cost_week=6,
        others=(
            "A pause that is wanted, for quiet or for the sun on a roof; too little filtering for another "
            "reason, such as a dirty filter."
        ),
        sentence="The plan pauses for {measured:.0f} min and the pump stands still in it. {extra}",
        instruction=(
            "Ask whether the pause is wanted. If not, let the earlier step run on until the later one starts."
        ),
        caution=PAD_CHECK,
        parameters={
            "gap_min": Parameter(15, 1, 120, "min", "more"),
            "gap_most_min": Parameter(300, 60, 720, "min", "less"),  # a morning and an evening run lie further apart
            "continuous_min": Parameter(60, 15, 240, "min", "more"),
            "open_from_min": Parameter(540, 0, 720, "min", "more"),  # nine to six: within nearly any opening hours,
            "open_to_min": Parameter(1080, 720, 1440, "min", "less"),  # common practice, no source
            # A range holds nine of ten: its upper half is 1.64 standard deviations. Where the pool is short in two chances
            # of three, 0.43 of them or 0.26 of the half, it is worth the question whether the pause is wanted.
            "sure_share": Parameter(0.26, 0.0, 1.0, "of the range above the middle", "more"),
            "off_share": Parameter(0.8, 0.5, 1.0, "share", "more"),
            "peak_share": Parameter(0.5, 0.1, 1.0, "share", "less"),
            "days": _DAYS,
            "of_days": _OF_DAYS,
        },
    ),
    Rule(
        id="C2",
        name="Runs only at night",
        severity="next visit",
        needs=("speed", "plan"),
        order=46,
        explained_by=(*CLOCK, "C5", "C9"),
        find=over("rule_c2", "keyed_day"),
        season="open",
        probability=0.6,
        work_min=15,
        risk_cost_week=5,
        others=(
            "An owner's wish that the register does not hold; a chlorinator or heater that is out of use for the "
            "season."
        ),
        sentence="{measured:.0%} of its water passed between 22:00 and 06:00 on {day_count}. {extra}",
        instruction=(
            "Ask whether night running is wished; if so record it as an agreed override. If not, look for start and "
            "stop exchanged and move the running into the day."
        ),
        caution=PAD_CHECK,
        parameters={
            "night_share": Parameter(0.7, 0.5, 1.0, "share", "more"),
            "cheaper_share": Parameter(0.95, 0.5, 1.0, "ratio", "more"),
            "near_rpm": Parameter(25, 0, 50, "rpm", "less"),  # one step of the grid
            "days": _DAYS,
            "of_days": _OF_DAYS,
        },
    ),
    Rule(
        id="C17",
        name="Two steps almost the same",
        severity="note",
        needs=("plan",),
        order=48,
        find=over("rule_c17", "keyed_period"),
        season="open",
        probability=0.9,
        work_min=5,
        risk_cost_week=0.2,
        others="Steps kept apart on purpose, to try a speed or because a load is called in one of them alone.",
        picture="none",
        sentence="Two steps that join are {measured:.0f} rpm apart. {extra}",
        instruction="Look for a wrong digit in one of them; if both are meant, make them one and keep a step free.",
        caution=PAD_CHECK,
        parameters={
            "near_rpm": Parameter(50, 0, 150, "rpm", "less"),
            "join_min": Parameter(15, 0, 60, "min", "less"),
        },
    ),
    Rule(
        id="C18",
        name="Recorded speed cannot be keyed in",
        severity="data",
        needs=("plan",),
        order=49,
        find=over("rule_c18", "keyed_period"),
        season="open",
        probability=0.9,
        work_min=5,
        risk_cost_week=0.5,
        others="A controller whose steps of speed are finer; a full speed in pumps.csv that is wrong.",
        picture="none",
        sentence="The record holds {measured:.0f} rpm. {extra}",
        instruction="Read the step at the pump and correct plans.csv.",
        parameters={
            "grid_rpm": Parameter(25, 1, 100, "rpm", "less"),
            "least_rpm": Parameter(600, 100, 1000, "rpm", "less"),
            "most_rpm": Parameter(3450, 2000, 3600, "rpm", "more"),
            "common_share": Parameter(0.2, 0.05, 1.0, "share", "less"),
            "common_pumps": Parameter(5, 2, 100, "pumps", "less"),
        },
    ),
)
