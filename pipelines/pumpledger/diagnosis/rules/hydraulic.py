"""Rules about water's way through pump and filter: priming, air, loading, valves, impeller, bearings.

How power that changed is read stands in `diagnosis/power_shift.py` and `diagnosis/constant_watts.py`, what a dry day is
in `sql/accounting/dry_day.sql`. Numbers are common practice without a source unless said otherwise.
"""

from __future__ import annotations

from collections.abc import Mapping

import polars as pl

from pumpledger.diagnosis.constant_watts import watts_added
from pumpledger.diagnosis.filter_loads import filter_loads
from pumpledger.diagnosis.power_shift import not_restored, resistance_fell, valve_moved
from pumpledger.diagnosis.rules.cautions import ELECTRICAL, PRESSURE, SUCTION
from pumpledger.diagnosis.rules.rule import Rule
from pumpledger.engine.database import Database
from pumpledger.engine.parameter import Parameter

DRY_DAY = (
    "dry_share", "deep_share", "least_dry_min", "least_dry_rpm", "start_min", "least_level_days", "powered_w",
    "load_share", "least_load_w", "alike_share", "again_share", "again_min", "again_level",
)  # fmt: skip
"""Thresholds of D2 that make a dry day, which savings leave out."""

_DRY_FOUND = ("visit_min", "deep_min", "dry_share", "deep_share", "least_dry_min", "least_level_days", "again_days")


def runs_dry(db: Database, values: Mapping[str, float]) -> pl.DataFrame:
    """D2. Part of its thresholds made ``dry_day`` already, because savings need it first."""
    return db.query("diagnosis/rule_d2", {name: values[name] for name in _DRY_FOUND})


# Of a step that two weeks of days before and its own scatter make sure; what supply and water do in a day is as large.
_SURE_SHARE = Parameter(0.025, 0.015, 0.5, "share", "more")
_SIGMAS = Parameter(3.5, 2, 10, "scatters of a day", "more")  # the usual limit of an outlier by the median

RULES: tuple[Rule, ...] = (
    Rule(
        id="D2",
        name="Runs dry or has lost its prime",
        severity="this week",
        needs=("speed", "power"),
        order=53,
        explained_by=("B11",),
        find=runs_dry,
        season="open",
        probability=0.8,
        work_min=40,
        risk_cost_week=200,
        sentence=(
            "Turned for up to {measured:.0f} min a day with far too little power, on {day_count}: air or no water in "
            "the pump. {extra} These days count as no saving."
        ),
        instruction=(
            "Stop the pump. Look at the water level, skimmer, strainer lid and its seal, suction valves and unions; fill "
            "and prime as its maker says. If it primes well, look at valves behind the pump and at the coupling."
        ),
        caution=f"{SUCTION} {PRESSURE} {ELECTRICAL}",
        parameters={
            "dry_share": Parameter(0.55, 0.3, 0.65, "share", "less"),  # below what a closed pipe leaves, mostly
            "deep_share": Parameter(0.40, 0.2, 0.5, "share", "less"),  # below what any closed pipe leaves
            "least_dry_min": Parameter(5, 2, 60, "min", "more"),  # a seal without water suffers within minutes
            "least_dry_rpm": Parameter(1500, 600, 3000, "rpm", "more"),  # slower, losses hide what the water takes
            "start_min": Parameter(5, 0, 15, "min", "more"),  # a start without priming on record
            "least_level_days": Parameter(5, 3, 28, "days", "more"),
            "powered_w": Parameter(30, 5, 60, "W", "more"),  # as D8's standby: below it nothing turns
            # A closed pipe leaves a radial impeller 0.42 to 0.7 of its load, air about a third (from memory).
            "load_share": Parameter(0.42, 0.2, 0.5, "share", "less"),
            "least_load_w": Parameter(15, 5, 100, "W", "more"),  # a smaller one lies within the error of two fits
            # Water's watts at two speeds a fit can part are two thirds of each other, by the cube.
            "alike_share": Parameter(0.8, 0.7, 0.95, "share", "less"),
            # Far more than supply, oil and a filter move within a run; half dry, a slow pump's losses stay.
            "again_share": Parameter(0.75, 0.5, 0.85, "share", "less"),
            "again_min": Parameter(
                15, 10, 60, "min", "more"
            ),  # as C15's settling: by then air of a good priming is out
            "again_level": Parameter(0.9, 0.8, 1.0, "share", "more"),  # what it came back to is its usual power
            "again_days": Parameter(2, 1, 7, "days", "more"),  # a meter goes wrong, or is mended, once
            "visit_min": Parameter(60, 5, 600, "min", "more"),
            "deep_min": Parameter(5, 2, 60, "min", "more"),
        },
    ),
    Rule(
        id="D1",
        name="Keeps priming again",
        severity="this week",
        needs=("speed", "priming"),
        order=53.5,
        explained_by=("D2", "C16"),
        season="open",
        probability=0.75,
        work_min=40,
        risk_cost_week=60,
        sentence=(
            "Went back to its priming speed up to {measured:.0f} times a day outside planned starts, on {day_count} of "
            "the week: air comes in on the suction side, or the water is low. {extra}"
        ),
        instruction=(
            "Look at the water level, skimmer weir, strainer lid and its seal, the pump's drain plugs and suction unions. "
            "Air in the sight glass or the return while it runs says that it draws some."
        ),
        caution=f"{SUCTION} {PRESSURE} {ELECTRICAL}",
        parameters={
            "bursts": Parameter(3, 2, 20, "a day", "more"),
            "days": Parameter(2, 1, 7, "days", "more"),
            "of_days": Parameter(3, 2, 7, "days", "less"),
            "near_rpm": Parameter(50, 10, 100, "rpm", "less"),  # two grid steps
            "burst_most_min": Parameter(15, 5, 30, "min", "less"),  # the longest priming and a slow log's step
            "stop_most_min": Parameter(30, 1, 120, "min", "less"),  # after a longer stop it is a start
            "start_edge_min": Parameter(16, 5, 60, "min", "more"),  # a quarter hour and a minute of clock
        },
    ),
    Rule(
        id="D5",
        name="Valve shut or moved",
        severity="next visit",
        needs=("speed", "power"),
        order=54,
        explained_by=("B11", "D2"),
        find=valve_moved,
        season="open",
        probability=0.65,
        work_min=25,
        risk_cost_week=30,
        sentence=(
            "Power at the same speed fell by {measured:.0%} in one step on {first_day} and has stayed there for "
            "{day_count}: something stands in the water's way since. {extra} It looks like a saving and is none."
        ),
        instruction=(
            "Ask what was done that day. Look at the basket first: a storm fills one in a night. Then set every valve as "
            "it was when the site was commissioned; if all are right, look for debris in the impeller. Read flow and "
            "power again and write them down."
        ),
        caution=f"{PRESSURE} {SUCTION} {ELECTRICAL}",
        parameters={
            "fall_share": Parameter(0.08, 0.04, 0.5, "share", "more"),
            "sure_share": _SURE_SHARE,
            "sigmas": _SIGMAS,
            "blocked_share": Parameter(0.7, 0.4, 0.8, "share", "less"),  # severity alone
        },
    ),
    Rule(
        id="D4",
        name="Filter broken through or bypass open",
        severity="next visit",
        needs=("speed", "power"),
        order=54.2,
        explained_by=("B11",),
        find=resistance_fell,
        season="open",
        probability=0.6,
        work_min=40,
        risk_cost_week=30,
        sentence=(
            "Power at the same speed rose by {measured:.0%} in one step on {first_day} and has stayed there for "
            "{day_count}, above what a clean filter gave: the water meets less resistance. {extra}"
        ),
        instruction=(
            "Look for filter medium in the pool and for water that passes the filter: bypass or backwash valve, torn "
            "cartridge or grid, broken laterals. Ask whether a valve was opened that day."
        ),
        caution=f"{PRESSURE} {SUCTION} {ELECTRICAL}",
        parameters={
            "rise_share": Parameter(0.08, 0.04, 0.5, "share", "more"),
            "sure_share": _SURE_SHARE,
            # From its best flow to run-out a radial pump's power grows by less: more is a meter.
            "most_share": Parameter(0.6, 0.3, 1.0, "share", "less"),
            "sigmas": _SIGMAS,
        },
    ),
    Rule(
        id="D6",
        name="Impeller worn or clogged",
        severity="next visit",
        needs=("speed", "power", "visits"),
        order=54.4,
        explained_by=("D2", "D5"),
        find=not_restored,
        season="open",
        probability=0.55,
        work_min=60,
        risk_cost_week=20,
        sentence=(
            "Power at the same speed stands {measured:.0%} below the highest level of the weeks that are read. {extra} "
            "It looks like a saving and is none."
        ),
        instruction=(
            "Make sure that the cleaning reached the filter and not the basket alone, and that the power meter is the "
            "same. Then look at the impeller and its clearance: debris in its eye, worn vanes or wear ring."
        ),
        caution=f"{SUCTION} {PRESSURE} {ELECTRICAL}",
        parameters={
            "fall_share": Parameter(0.08, 0.04, 0.5, "share", "more"),
            "season_unknown": Parameter(0.08, 0, 0.2, "share", "more"),  # as of accounting/loading.py
            "sigmas": _SIGMAS,
        },
    ),
    Rule(
        id="D3",
        name="Basket or filter loads",
        severity="next visit",
        needs=("speed", "power"),
        order=55,
        explained_by=("D2", "D5", "D6"),
        find=filter_loads,
        season="open",
        probability=0.7,
        work_min=30,
        risk_cost_week=15,
        sentence=(
            "Power at the same speed is {measured:.0%} below that of the clean filter, {threshold:.0%} is the limit. "
            "{extra} It looks like a saving and is none: less water flows."
        ),
        instruction=(
            "Empty the skimmer and pump baskets, then clean or backwash the filter, and write the day into visits.csv. If "
            "power does not come back, look at valves and impeller."
        ),
        caution=f"{PRESSURE} {SUCTION} {ELECTRICAL}",
        parameters={
            "fall_share": Parameter(0.08, 0.04, 0.5, "share", "more"),
            "season_unknown": Parameter(0.08, 0, 0.2, "share", "more"),  # as of accounting/loading.py
            "bend_share": Parameter(0.04, 0.03, 0.5, "share", "more"),  # as least_fall of accounting/loading.py
            "days": Parameter(3, 1, 7, "days", "more"),
            "sigmas": _SIGMAS,
        },
    ),
    Rule(
        id="D7",
        name="Bearings or shaft bind",
        severity="next visit",
        needs=("speed", "power"),
        order=56,
        find=watts_added,
        season="open",
        probability=0.5,
        work_min=60,
        risk_cost_week=15,
        sentence=(
            "Draws {measured:.0f} W more at every speed alike than in the first of the {days} days that are read, added "
            "slowly: friction that does not depend on the water. {extra}"
        ),
        instruction=(
            "Listen to the motor and turn the shaft by hand with the supply locked out: bearings, shaft seal, impeller "
            "that rubs. Make sure that no other device hangs on the pump's meter."
        ),
        caution=ELECTRICAL,
        parameters={
            # A small device on the same meter draws more, and is switched on in one day.
            "least_w": Parameter(10, 5, 200, "W", "more"),
            "least_share": Parameter(0.2, 0.05, 1.0, "share", "more"),
            "steady_share": Parameter(0.05, 0.01, 0.15, "share", "less"),
            # From its best flow to run-out a radial pump's power grows by less: all that a freer way could add.
            "freest_share": Parameter(0.4, 0.2, 1.0, "share", "more"),
        },
    ),
)
