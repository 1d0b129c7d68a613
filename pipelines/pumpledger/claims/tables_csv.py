"""A claim's tables as CSV files.

Belongs here: which tables, and their names. Addresses and names of people are in none of them.
"""

from __future__ import annotations

import shutil
from pathlib import Path

from pumpledger.claims.data import CLAIM_TABLES, CLAIM_VISITS, ClaimData
from pumpledger.reports.csv_tables import csv_bytes
from pumpledger.workspace import replace_folder

_FRAMES = {
    "ready": "ready",
    "claim_days": "days",
    "claim_months": "months",
    "claim_exclusions": "exclusions",
    "power_by_speed": "power_by_speed",
    "hours_by_speed_month": "hours_by_speed_month",
    "claim_balance": "balance",
    "stipulated": "stipulated",
    "uncertainty": "uncertainty",
    "claim_plans": "plans",
    "claim_visits": "visits",
    "claim_exports": "exports",
    "method": "method",
}
"""Table -> the field of `ClaimData` that holds it, and the name of its file."""


def write_claim_tables(folder: Path, claim: ClaimData) -> None:
    """Write every table into ``folder``, in the place of an older folder. Notes of visits are free text and stay out."""
    work = folder.with_name(f".{folder.name}.new")
    shutil.rmtree(work, ignore_errors=True)
    work.mkdir(parents=True)
    for table in CLAIM_TABLES:
        frame = getattr(claim, _FRAMES[table.name])
        shown = frame.drop("note") if table is CLAIM_VISITS else frame
        (work / f"{_FRAMES[table.name]}.csv").write_bytes(csv_bytes(shown))
    replace_folder(work, folder)
