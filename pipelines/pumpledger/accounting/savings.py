"""Savings against the single-speed baseline: ``daily`` in, ``savings`` out.

Belongs here: the parameters. The rules, and when a day does not count, are said in ``sql/accounting/savings.sql``.
"""

from __future__ import annotations

from pumpledger.accounting.daily import AccountingParameters
from pumpledger.engine.database import Database
from pumpledger.engine.tables import SAVINGS
from pumpledger.hydraulics.uncertainty import BASELINE_FLOW, BASELINE_POWER, BASELINE_POWER_UNKNOWN


def build_savings(db: Database, parameters: AccountingParameters) -> None:
    """Make table ``savings``, which conforms to ``tables.SAVINGS``: every site and local day that ``daily`` holds.

    Reads ``daily``, ``pump``, ``site``, ``speed_grid`` and ``struck_day`` (site_id, day_local, reason), which may hold
    no rows.
    """
    half_widths = {evidence.replace(" ", "_"): share for evidence, share in BASELINE_POWER.items()}
    rows = db.query(
        "accounting/savings",
        half_widths
        | {"no_evidence": BASELINE_POWER_UNKNOWN, "baseline_flow": BASELINE_FLOW}
        | parameters.pick("least_coverage"),
    )
    db.load("savings", SAVINGS.conform(rows))
