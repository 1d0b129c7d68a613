"""What the rules about clocks keep of each week, so that eight weeks back cost little: names and types, as in
`tables.py`, which lists these with its own in ``ALL``."""

from __future__ import annotations

from pumpledger.engine.schema import Table

CLOCK_DAYS = Table(
    "clock_days",
    "one pump's valid local day of 24 h, moved round the clock against its plan",
    ("pump_id", "day_local"),
    {
        "pump_id": ("text", "pump"),
        "day_local": ("day", "local day"),
        "shift_min": ("int", "how late the day runs against its plan, to a quarter hour, -705 to 720 [min]"),
        "late_min": ("real", "the same by the moments at which the speed changes [min]; null no change can be timed"),
        "cost_unshifted_rpm": ("real", "mean mismatch with the plan as recorded [rev/min]"),
        "cost_best_rpm": ("real", "mean mismatch with the plan so moved [rev/min]"),
    },
)

OUTAGES = Table(
    "outages",
    "the end of a stretch in which one pump was not seen, or stood against its plan",
    ("pump_id", "day_local", "end_min"),
    {
        "pump_id": ("text", "pump"),
        "day_local": ("day", "local day of the end"),
        "end_min": ("real", "wall clock of the end, minutes since 00:00 [min]"),
        "outage_min": ("real", "length of the stretch [min]"),
    },
)

CLOCK_TABLES = (CLOCK_DAYS, OUTAGES)
