"""Savings against the single-speed baseline: ``daily`` and ``day_band`` in, ``savings``, the same by tariff band, and
what is left out of them.

Belongs here: the parameters and the order. The rules are said in ``sql/accounting``: the baseline in
``baseline_day.sql``, service and why a day does not count in ``exclusions.sql``, money in ``savings_band.sql``.
"""

from __future__ import annotations

from pumpledger.accounting.daily import AccountingParameters
from pumpledger.engine.database import Database
from pumpledger.engine.tables import EXCLUSIONS, SAVINGS, SAVINGS_BANDS
from pumpledger.hydraulics.uncertainty import BASELINE_FLOW, BASELINE_POWER


def build_savings(db: Database, parameters: AccountingParameters, co2_kg_per_kwh: float | None = None) -> None:
    """Make ``savings`` (tables.SAVINGS), ``savings_band`` (tables.SAVINGS_BANDS) and ``exclusions``
    (tables.EXCLUSIONS): every site and local day that ``daily`` holds.

    Reads ``daily``, ``day_band``, ``tariff_window``, ``span``, ``pump``, ``site``, ``speed_grid``, ``struck_day``
    (site_id, day_local, reason), ``idle_day`` and ``dry_day`` (accounting/dry_day.sql), which may hold no rows. Leaves
    ``baseline_day`` and ``savings_day`` behind.

    Args:
        co2_kg_per_kwh: the fleet's factor [kg/kWh]; None where none stands with its source, and then no CO2 is given.
    """
    build_baseline_day(db)
    db.build("savings_day", "accounting/savings_day")
    left_out = db.query("accounting/exclusions", parameters.pick("least_coverage"))
    db.load("exclusions", EXCLUSIONS.conform(left_out))
    db.load("savings_band", SAVINGS_BANDS.conform(db.query("accounting/savings_band")))
    rows = db.query("accounting/savings", {"co2_kg_per_kwh": co2_kg_per_kwh})
    db.load("savings", SAVINGS.conform(rows))


def build_baseline_day(db: Database) -> None:
    """Make ``baseline_day``: the single-speed pump on each pump's day of ``daily``; reads ``pump`` and ``speed_grid``."""
    half_widths = {evidence.replace(" ", "_"): share for evidence, share in BASELINE_POWER.items()}
    db.build("baseline_day", "accounting/baseline_day", half_widths | {"baseline_flow": BASELINE_FLOW})
