"""Verdicts that accounting needs before the findings are written: doubts about units, and days that are no saving.

Belongs here: the tables ``unit_doubt``, ``pump_doubt``, ``idle_day``, ``struck_day``, ``dry_day``. What a reader is told of them
comes from the rules.
"""

from __future__ import annotations

from collections.abc import Mapping

from pumpledger.diagnosis.rules import BY_ID, parameter_values
from pumpledger.diagnosis.rules.hydraulic import DRY_DAY
from pumpledger.engine.database import Database

# A pump above 600 rev/min draws tens of watts at the very least, and 600 is the lowest speed that is keyed in (common
# practice, no source): a median below 5 can only be kW, a top speed of at most 100 only percent or Hz.
RUNNING_RPM = 600
LEAST_RUNNING_W = 5
MOST_PERCENT_RPM = 100


def unit_doubts(db: Database) -> None:
    """Make ``unit_doubt`` (evidence, a row a pump and quantity), ``doubted_pump`` (site_id, pump_id, quantity, doubt:
    that and the verdicts which hold numbers back) and ``pump_doubt`` (pump_id, doubt; a row a pump).

    Inputs: span, pump, visit, verdict (columns of verdicts), pump_source.
    """
    db.build(
        "unit_doubt",
        "diagnosis/unit_doubt",
        {"running_rpm": RUNNING_RPM, "least_running_w": LEAST_RUNNING_W, "most_percent_rpm": MOST_PERCENT_RPM},
    )
    db.build("blocked_pump", "verdicts/blocked_pump")
    db.build("doubted_pump", "diagnosis/doubted_pump")
    db.build("pump_doubt", "diagnosis/pump_doubt")


def struck_days(db: Database, parameters: Mapping[str, Mapping[str, float]] | None = None) -> None:
    """Make ``idle_day``, ``struck_day`` (site_id, day_local, reason) and ``dry_day``: site days that are no saving.

    Inputs: span, plan_window, fleet_day, pump, site, visit, speed_grid, past_level, and ``unit_doubt`` from
    `unit_doubts`. ``parameters`` as for `diagnose`.
    """
    dry = parameter_values(BY_ID["D2"], parameters)
    db.build("dry_day", "accounting/dry_day", {name: dry[name] for name in DRY_DAY})
    db.build("idle_day", "diagnosis/idle_day", parameter_values(BY_ID["D8"], parameters))
    db.build("struck_day", "diagnosis/struck_day")
