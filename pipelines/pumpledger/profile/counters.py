"""What each counter can do, found before its rises are believed: resolution, fastest rise, and where it starts again.

Belongs here: the parameters and the order of the queries. What a step of a counter is stands in
``sql/profile/counter_step.sql``. All readings are reduced to hours once; only counters that fall, or rise faster than
they can, are walked along reading by reading.
"""

from __future__ import annotations

import polars as pl

from pumpledger.engine.database import Database

# Priming at full speed draws some 40 times what a slow period does: (3450/600)^2.1, as wire power goes with speed
# (affinity laws for the shaft; the exponent of wire power is common practice, no source).
CATCH_UP = {"catch_up": 50.0}
# Above what drives draw at rest (a few watts to 15 W, common practice, no source). A fine counter of a pump that rests
# most of the day rises at this rate in most hours, and running would look like a jump.
AT_REST = {"standby_kw": 0.03}
COUNTER_RULE = CATCH_UP | {
    "rate_share": 1.2,
    "run_rate": 1.0,  # an hour an hour
    "turn_least": 1000.0,  # a register of three digits is the smallest (assumption)
    "turn_hours": 24.0,  # over a longer hole a new meter is as likely
}


def build_counter_rule(db: Database) -> None:
    """Make ``counter_hour``, ``counter_grain`` (every counter) and ``counter_rule`` (only the suspect ones: fastest
    rise, and where it starts again).

    Input: reading.
    """
    db.build("counter_hour", "profile/counter_hour")
    db.build("counter_grain", "profile/counter_grain", AT_REST)
    db.build("counter_pump", "profile/counter_suspect", CATCH_UP)
    db.build("counter_rule", "profile/counter_rule", COUNTER_RULE)


def counter_steps(db: Database, counters: pl.DataFrame) -> None:
    """Make ``counter_step`` of the counters named (pump_id, counter); needs `build_counter_rule`."""
    db.load("counter_pump", counters.select("pump_id", "counter"))
    db.build("counter_step", "profile/counter_step")


def mend_counters(db: Database) -> None:
    """Make ``counter_mended`` (pump_id, time_utc, energy_total_kwh): what stands in place of the readings of energy
    counters that fell; no rows in most weeks.

    Input: reading.
    """
    build_counter_rule(db)
    counter_steps(db, db.table("counter_rule").filter(pl.col("counter") == "energy_total"))
    db.build("counter_mended", "profile/counter_mended")
