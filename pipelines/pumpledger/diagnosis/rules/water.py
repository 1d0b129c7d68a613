"""Rules about water, equipment and protection."""

from __future__ import annotations

from collections.abc import Mapping

import polars as pl

from pumpledger.diagnosis.rules.cautions import ELECTRICAL, FREEZE, NO_FLOW
from pumpledger.diagnosis.rules.rule import Rule
from pumpledger.engine.database import Database
from pumpledger.engine.parameter import Parameter


def pump_does_not_run(db: Database, values: Mapping[str, float]) -> pl.DataFrame:
    """D8. Its thresholds made ``idle_day`` already, because savings need it first."""
    return db.query("diagnosis/rule_d8")


RULES: tuple[Rule, ...] = (
    Rule(
        id="D8",
        name="Pump does not run",
        severity="this week",
        needs=("speed", "plan"),
        order=50,
        explained_by=("D9",),
        find=pump_does_not_run,
        season="open",
        probability=0.9,
        work_min=45,
        risk_cost_week=250,
        others=(
            "A site that closed without a word in the register; a supply that is switched off by a timer or by "
            "hand; a logger that shows a stopped clock."
        ),
        sentence=(
            "Stood still through all planned hours of {day_count} while its export went on. These days count as "
            "no saving."
        ),
        instruction=(
            "Go and see: supply, breaker, drive, timer. Look at the water before restarting, and prime as its "
            "maker says."
        ),
        caution=ELECTRICAL,
        parameters={
            "running_most_min": Parameter(15, 0, 120, "min", "less"),
            "observed_share": Parameter(0.9, 0.5, 1.0, "share", "more"),
            "standby_w": Parameter(30, 5, 60, "W", "less"),
            "margin_w": Parameter(10, 2, 30, "W", "less"),  # as for a speed without power
            "rest_w": Parameter(5, 0, 30, "W", "less"),
            "drawn_share": Parameter(0.5, 0.2, 1.0, "share", "less"),
            # By the cube of the speed a small pump of 60 W at 1000 rpm draws 30 W, the limit, at 800.
            "slow_rpm": Parameter(800, 0, 1200, "rpm", "less"),
            "least_w": Parameter(1, 0, 3, "W", "more"),  # electronics that are on draw some watts, dead ones none
        },
    ),
    Rule(
        id="D14",
        name="Auxiliary load on below its minimum speed",
        severity="this week",
        needs=("speed", "aux"),
        order=51,
        explained_by=("D12",),
        season="any",
        probability=0.8,
        work_min=20,
        risk_cost_week=60,
        others=(
            "Samples of speed and load taken some seconds apart; a minimum speed in the register that is too high."
        ),
        sentence="{extra} Up to {measured:.0f} min a day on {day_count}.",
        instruction=(
            "Raise the speed at which the controller lets the load on to the recorded minimum, and test that it "
            "drops out with the pump."
        ),
        caution=NO_FLOW,
        parameters={
            "minutes": Parameter(5, 1, 120, "min", "more"),
            "days": Parameter(3, 1, 7, "days", "more"),
            "speed_margin_rpm": Parameter(25, 0, 200, "rpm", "more"),
        },
    ),
    Rule(
        id="D17",
        name="No freeze protection seen on a freezing night",
        severity="safety",
        needs=("speed", "weather"),
        order=52,
        season="open",
        probability=0.7,
        work_min=45,
        risk_cost_week=300,
        others=(
            "A weather station that stands colder than the pad; pipes that are drained or heated; protection by "
            "other means than the pump."
        ),
        picture="air",
        sentence=(
            "Stood still for {measured:.0f} min at a stretch while the weather station read freezing ({extra}). "
            "The pad may be colder than the station."
        ),
        instruction=(
            "Check on site today that freeze protection is enabled, its sensor reads true and every exposed line "
            "holds moving water or is drained."
        ),
        caution=FREEZE + " " + ELECTRICAL,
        parameters={
            "air_c": Parameter(0.0, -5.0, 2.0, "deg C", "less"),
            "margin_c": Parameter(2.0, 0.0, 5.0, "deg C", "less"),
            "still_min": Parameter(20, 5, 120, "min", "more"),
        },
    ),
)
