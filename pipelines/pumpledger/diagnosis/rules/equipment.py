"""Rules about what stands at the pad: drive, ratings, auxiliary loads, freeze sensor, supply, and the season on record.

Belongs here: entries alone. What `water` holds (a pump that stands, a load below its minimum, frost) is told apart from
these by who owns the minutes: D19 explains D9, D9 explains D8, D12 explains D14, D10 and D18 explain C10, and D20 with
a closing on record explains O1.
"""

from __future__ import annotations

from collections.abc import Mapping

import polars as pl

from pumpledger.diagnosis.rules.cautions import ELECTRICAL, FREEZE, NO_FLOW, PAD_CHECK, SUCTION
from pumpledger.diagnosis.rules.rule import Rule
from pumpledger.engine.database import Database
from pumpledger.engine.parameter import Parameter

CLOCK = ("A2", "A1", "A5", "A4", "A3", "A7")


def load_stays_off(db: Database, values: Mapping[str, float]) -> pl.DataFrame:
    """D13: the windows a load was on in before its latest valid days, then those days against them."""
    db.build(
        "aux_window",
        "diagnosis/aux_window",
        {"learned_days": values["learned_days"], "recent_days": values["windows"]},
    )
    return db.query("diagnosis/rule_d13", {key: values[key] for key in ("windows", "minutes", "cool_c")})


def heating_on_slow_step(db: Database, values: Mapping[str, float]) -> pl.DataFrame:
    """D16: the heater's usual hours before the week's end, then the week against them."""
    recent = {"learned_days": values["learned_days"], "recent_days": values["days"]}
    db.build("aux_window", "diagnosis/aux_window", recent)
    return db.query(
        "diagnosis/rule_d16", {key: values[key] for key in ("share", "minutes", "days", "speed_margin_rpm")}
    )


RULES: tuple[Rule, ...] = (
    Rule(
        id="D20",
        name="Season on record and pump disagree",
        severity="note",
        needs=("speed",),
        order=15,
        season="any",
        probability=0.7,
        work_min=5,
        risk_cost_week=1,
        others=(
            "A pump that has failed stands as a closed pool does; a closed pool may be run for a day to circulate "
            "chemicals."
        ),
        sentence="{extra}",
        instruction=(
            "Ask the owner whether the pool is closed for the season. Record the closing or opening in visits.csv and "
            "the season in sites.csv; if it is not closed, go and see why the pump stands."
        ),
        parameters={
            "still_days": Parameter(10, 5, 30, "days", "more"),
            # As many days as O1 needs: from then on it would accuse a closed pool.
            "noticed_days": Parameter(3, 1, 10, "days", "more"),
            "running_min": Parameter(15, 0, 120, "min", "less"),
            "running_days": Parameter(3, 1, 7, "days", "more"),
        },
    ),
    Rule(
        id="D19",
        name="Switched off at night",
        severity="next visit",
        needs=("speed", "plan"),
        order=49.2,
        explained_by=CLOCK,
        season="open",
        probability=0.6,
        work_min=15,
        risk_cost_week=8,
        others=(
            "A breaker, a timer or a cut of the supply each night; a programme with a pause that is not on record."
        ),
        sentence="Did not run for about {measured:.1f} h of planned running on {days} nights. {extra}",
        instruction=(
            "Ask the owner, who may switch it off for the noise. Offer a slower step at night, and look for a vibrating "
            "base or pipe."
        ),
        caution=FREEZE,
        parameters={
            "dead_w": Parameter(5, 0, 20, "W", "less"),
            "minutes": Parameter(60, 30, 480, "min", "more"),
            "nights": Parameter(4, 2, 7, "days", "more"),
            "spread_min": Parameter(75, 15, 180, "min", "less"),
            "exact_min": Parameter(5, 0, 30, "min", "more"),
            # The first night of a new plan may be cut by midnight.
            "exact_share": Parameter(0.75, 0.5, 1.0, "share", "less"),
            "edge_min": Parameter(20, 5, 60, "min", "more"),
            "hand_min": Parameter(10, 5, 60, "min", "more"),  # above one sample of five minutes
        },
    ),
    Rule(
        id="D9",
        name="Speed reported, no power drawn",
        severity="this week",
        needs=("speed", "power"),
        order=49.5,
        # A channel that is known to stick, or a clamp the wrong way round, shows no current that there is.
        explained_by=("B10", "B12", "D19"),
        season="open",
        probability=0.8,
        work_min=40,
        risk_cost_week=250,
        others=(
            "A meter or clamp that has come off, which then shows nothing for other loads either; a controller that "
            "reports the speed it asks for."
        ),
        sentence="{extra} Up to {measured:.0f} min at a stretch on {day_count}.",
        instruction=(
            "Go and see whether the shaft turns. If not: read the fault of the drive, find its cause, reset it as its "
            "maker says. If it turns: check the meter and its clamp."
        ),
        caution=ELECTRICAL,
        parameters={
            # 600 is the lowest speed that is keyed in; above it a pump draws tens of watts (common practice, no source).
            "speed_rpm": Parameter(600, 300, 1500, "rpm", "more"),
            "margin_w": Parameter(10, 1, 30, "W", "less"),
            "rest_w": Parameter(5, 0, 30, "W", "less"),
            "least_w": Parameter(1, 0, 3, "W", "more"),  # electronics that are on draw some watts, dead ones none
            "minutes": Parameter(10, 2, 120, "min", "more"),
            "days": Parameter(1, 1, 7, "days", "more"),
        },
    ),
    Rule(
        id="D10",
        name="Speed falls short in the heat",
        severity="this week",
        needs=("speed", "plan", "weather"),
        order=53,
        explained_by=CLOCK,
        season="open",
        probability=0.6,
        work_min=30,
        risk_cost_week=15,
        others="An owner who lowers the speed on hot afternoons; a plan that was changed and not recorded.",
        picture="air",
        sentence="Ran {measured:.0f} rpm below its plan in the hot hours of {day_count}. {extra}",
        instruction=(
            "Check at the pad in a hot hour: shade, free air around the drive, its cooling fins and fan, and whether "
            "it shows a limit of heat or current."
        ),
        caution=ELECTRICAL,
        parameters={
            "short_rpm": Parameter(30, 25, 300, "rpm", "more"),  # twice the jitter that C18 allows a drive
            "most_share": Parameter(0.25, 0.1, 0.5, "share", "less"),
            "at_plan_rpm": Parameter(25, 5, 50, "rpm", "less"),
            "minutes": Parameter(30, 15, 240, "min", "more"),
            "days": Parameter(3, 1, 7, "days", "more"),
            # A drive in the sun is hotter than the station's air; below this no drive has reason to sag.
            "hot_c": Parameter(18, 10, 45, "deg C", "more"),
            # Hot hours against those at the plan, so that chance in the air of one day is no reason.
            "warmer_c": Parameter(2, 0.5, 10, "deg C", "more"),
            "correlation": Parameter(0.5, 0.2, 0.95, "1", "more"),
            "follows": Parameter(0.8, 0.5, 0.99, "1", "more"),  # the air explains two thirds of what it varies by
            # A step that was keyed in falls short by one amount, a drive gives way by and by.
            "between_min": Parameter(60, 15, 480, "min", "more"),
            "hint_rpm": Parameter(10, 5, 25, "rpm", "more"),  # above the jitter of a drive
        },
    ),
    Rule(
        id="D11",
        name="Flow above a rating",
        severity="safety",
        needs=("flow", "ratings"),
        order=53.1,
        season="open",
        probability=0.6,
        work_min=20,
        risk_cost_week=80,
        others=(
            "A flow that is estimated too high: the curve or the design point may not fit; a filter that is dirtier "
            "than was counted on. A gauge or meter reading at that speed settles it."
        ),
        sentence="{extra} Estimated, high bound: the pump must not run so fast until the ratings are checked on site.",
        instruction=(
            "Read the ratings on the filter's plate and on every suction fitting, with its date, and key in no speed "
            "above what they allow. {advice}"
        ),
        caution=SUCTION + " " + PAD_CHECK,
        parameters={
            "minutes": Parameter(15, 1, 240, "min", "more"),
            # 8 ft/s in a return line (from memory); a read code of one county allows 10 ft/s, and 6 in suction lines.
            "velocity_ms": Parameter(2.4384, 1.5, 3.5, "m/s", "more"),
            "near_rpm": Parameter(50, 10, 100, "rpm", "less"),  # as D1 knows a burst of priming
            "burst_most_min": Parameter(15, 5, 30, "min", "less"),
        },
    ),
    Rule(
        id="D12",
        name="Auxiliary load on without water moving",
        severity="safety",
        needs=("speed", "aux"),
        order=50.5,
        season="any",
        probability=0.8,
        work_min=30,
        risk_cost_week=200,
        others=(
            "Speed and load that are written some seconds apart; a state that says called for, not on; a flow "
            "interlock that keeps the load off all the same."
        ),
        sentence="{extra} The longest was {measured:.0f} min. Seen on {day_count}.",
        instruction=(
            "Isolate the load today. Test that its relay opens and its flow interlock drops out when the pump stops; "
            "replace what sticks."
        ),
        caution=NO_FLOW,
        parameters={
            "far_share": Parameter(0.5, 0.1, 0.9, "share", "less"),
            "minutes": Parameter(2, 1, 30, "min", "more"),
            "events": Parameter(2, 1, 10, "events", "more"),
            "still_min": Parameter(10, 2, 60, "min", "more"),
        },
    ),
    Rule(
        id="D13",
        name="Auxiliary load no longer comes on",
        severity="next visit",
        needs=("speed", "aux"),
        order=54,
        explained_by=("D8", "D9"),
        season="open",
        probability=0.6,
        work_min=25,
        risk_cost_week=15,
        others=(
            "A load that was switched off on purpose, or that its own control keeps off because the water needs "
            "nothing."
        ),
        sentence=(
            "The {extra} stayed off on the last {day_count}, through {measured:.1f} h at a speed that is enough for it, "
            "in hours it used to be on in."
        ),
        instruction="Check whether it was switched off on purpose. If not, test its relay, coil, wiring and interlock.",
        caution=NO_FLOW,
        parameters={
            "learned_days": Parameter(5, 3, 11, "days", "more"),
            "windows": Parameter(3, 2, 7, "days", "more"),
            "minutes": Parameter(30, 10, 240, "min", "more"),
            "cool_c": Parameter(12, 0, 20, "deg C", "more"),
        },
        find=load_stays_off,
    ),
    Rule(
        id="D15",
        name="Chlorinator hours short",
        severity="next visit",
        needs=("speed", "aux_hours_per_day"),
        order=55,
        explained_by=("D8", "D9", "C10"),
        season="open",
        probability=0.8,
        work_min=15,
        risk_cost_week=15,
        others="A cell larger than was counted on, or chlorine that is added by hand.",
        sentence=(
            "Ran {measured:.1f} h a day fast enough for the chlorinator, on {days} of the last 7 valid days; it needs "
            "{threshold:.1f} h."
        ),
        instruction="Measure the water first. Then lengthen the step that is fast enough for the chlorinator. {advice}",
        caution=PAD_CHECK,
        parameters={
            "days": Parameter(5, 1, 7, "days", "more"),
            "short_share": Parameter(0.05, 0.0, 0.5, "share", "more"),
            "speed_margin_rpm": Parameter(15, 0, 100, "rpm", "more"),  # jitter of a drive about its speed
            "cool_c": Parameter(12, 0, 25, "deg C", "more"),
        },
    ),
    Rule(
        id="D16",
        name="Heating on a slow step",
        severity="next visit",
        needs=("speed", "aux"),
        order=56,
        explained_by=("D8", "D9", "D12", "D14", *CLOCK),
        season="open",
        probability=0.7,
        work_min=15,
        risk_cost_week=8,
        others="A state that says called for, not on; a heater whose true need is lower than the register says.",
        sentence=(
            "Only {measured:.0%} of the heater's time fell on a speed that is enough for it, on {day_count}. {extra}"
        ),
        instruction="Put the heater's hours and the fast step at the same time. {advice}",
        caution=NO_FLOW,
        parameters={
            "share": Parameter(0.8, 0.3, 1.0, "share", "less"),
            "minutes": Parameter(30, 10, 240, "min", "more"),
            "days": Parameter(3, 1, 7, "days", "more"),
            "speed_margin_rpm": Parameter(25, 0, 200, "rpm", "more"),
            "learned_days": Parameter(5, 3, 11, "days", "more"),
        },
        find=heating_on_slow_step,
    ),
    Rule(
        id="D18",
        name="Freeze protection runs in the warm",
        severity="next visit",
        needs=("speed", "plan", "weather"),
        order=57,
        explained_by=CLOCK,
        season="open",
        probability=0.7,
        work_min=25,
        risk_cost_week=2,
        others=(
            "A pad that is colder than the weather station; an override by hand at the same speed; a clock that is out."
        ),
        picture="air",
        sentence=(
            "Ran off its plan on {days} nights as freeze protection does, at {measured:.1f} deg C in the middle. {extra}"
        ),
        instruction=(
            "Compare the sensor of freeze protection with a thermometer, check its place and the set point, and "
            "replace it if it reads cold. Do not switch freeze protection off."
        ),
        caution=FREEZE + " " + ELECTRICAL,
        parameters={
            "air_c": Parameter(7, 3, 20, "deg C", "more"),
            "margin_c": Parameter(3, 0, 10, "deg C", "more"),
            "nights": Parameter(3, 1, 7, "days", "more"),
            "minutes": Parameter(20, 5, 240, "min", "more"),
            "near_rpm": Parameter(30, 5, 100, "rpm", "less"),
            "low_share": Parameter(0.5, 0.2, 0.8, "share", "less"),
        },
    ),
)
