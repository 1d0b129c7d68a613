"""Energy by each way that tells it, reconciled per day, and other devices on a pump's meter.

Belongs here: the order of the queries and their limits. What they compute is said in ``sql/accounting``.
"""

from __future__ import annotations

from pumpledger.engine.account_tables import BALANCE
from pumpledger.engine.database import Database

AUX_DRAW = {
    "least_level_min": 30.0,
    "least_days": 3,  # fewer do not show whether a draw is constant
    "least_aux_w": 50.0,  # smallest step that is told from a pump's own changes (common practice, no source)
    "least_aux_share": 0.10,  # a heater's valve moves the pump's own power by less (common practice, no source)
    "same_aux_w": 20.0,
    "same_aux_share": 0.10,
}
LIMITS = {
    "pass_share": 0.03,  # two meters of class 2 agree within this more often than not
    "most_share": 0.05,
    "covered_share": 0.99,
    "least_day_share": 0.5,
    "idle_w": 30.0,  # above the standby of controllers (a few watts to 15 W), below any running pump
}


def find_aux_draw(db: Database) -> None:
    """Make ``aux_draw``: pumps on whose meter something else draws while their auxiliary load is on. Reads ``span``."""
    db.build("aux_draw", "accounting/aux_draw", AUX_DRAW)


def build_balance(db: Database) -> None:
    """Make ``balance``, which conforms to ``account_tables.BALANCE``: every pump and local day of the calendar.

    Reads ``span``, ``span_estimate``, ``counter_run``, ``aux_draw``, ``pump``, ``site`` and ``local_day``.
    """
    db.load("balance", BALANCE.conform(db.query("accounting/balance", LIMITS)))


def strike_unbalanced(db: Database) -> None:
    """Add to ``struck_day`` the days whose two meters disagree. Reads ``balance`` and ``struck_day``."""
    db.load("struck_day", db.query("accounting/balance_struck"))
