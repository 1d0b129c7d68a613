"""The fleet roll-up: one row a site from its daily accounts, savings and best plan.

Belongs here: the call. What is summed, and when it is withheld, is said in ``sql/accounting/site_weeks.sql``.
"""

from __future__ import annotations

from pumpledger.engine.database import Database
from pumpledger.engine.tables import SITE_WEEKS

LEAST_BELIEVED_DAYS = 5
"""Believed local days of a week, of seven, for the site to be believed."""


def build_site_weeks(db: Database) -> None:
    """Make table ``site_week``, which conforms to ``tables.SITE_WEEKS``, for the days of the calendar.

    Reads ``site``, ``pump``, ``daily``, ``savings``, ``best_plan``, ``doubt`` (site_id, pump_id, doubt).
    """
    rows = db.query("accounting/site_weeks", {"least_days": LEAST_BELIEVED_DAYS})
    db.load("site_week", SITE_WEEKS.conform(rows))
