"""The papers and the programme that a claim of a made-up fleet needs: every one invented, and a few forgotten.

Belongs here: claim_papers.csv and programmes/. Nothing is drawn: papers follow the site's place in the list, so that the
rest of a fleet is the same with and without them.
"""

from __future__ import annotations

import hashlib
from datetime import timedelta
from pathlib import Path

from pumpledger.simulator.horizon import Horizon
from pumpledger.simulator.register_files import write_csv, write_text
from pumpledger.simulator.sites import Site

_COLUMNS = (
    "pump_id,make,model,serial,invoice,installed_on,warranty_years,label_rating,site_address,account_address,"
    "baseline_record,meter,meter_class"
)
_PROGRAMME = """# This programme is invented, like the fleet that it stands in. No utility has it.

name = "Quillmarsh pump rebate (invented)"
made_up = true
document = "Quillmarsh rebate manual (invented)"
edition = "first"
section = "pool pumps"
retrieved = 2026-10-01
source = "invented for this made-up fleet"
option = "key parameter"
units = "metric"
notes = ["This programme is invented."]

[baseline]
rule = "the former pump's recorded power and hours; the present pump's energy is measured"
evidence = ["measured", "nameplate", "owner record"]

[completeness]
least_day_coverage = 0.9
least_share_of_days = 0.9
least_days = 10

[peak]
weekdays = [1, 2, 3, 4, 5]
start = "16:00"
stop = "21:00"

[documents]
serial = "photo of the plate"
invoice = "copy of the invoice"
baseline_record = "photo, bill or log of the former pump"

[life]
years = 8

[caps]
most_share_of_baseline = 0.8

[filing]
within_days = 120
after = "last day"

[review]
reviewer_not_preparer = true

[sampling]
confidence = 0.9
precision = 0.2
cv = 0.5
seed = 7

[[formula]]
name = "equal-volume saving"
claimed = true
source = "invented section 3"

[[formula]]
name = "measured demand saving"
source = "invented section 4"
"""


def write_claim_files(folder: Path, sites: list[Site], horizon: Horizon) -> None:
    """claim_papers.csv and programmes/made_up_rebate.toml."""
    installed = str(horizon.first_day - timedelta(days=40))
    rows = [_row(place, pump.pump_id, installed) for place, site in enumerate(sites) for pump in site.pumps]
    write_csv(folder / "claim_papers.csv", _COLUMNS, rows)
    write_text(folder / "programmes" / "made_up_rebate.toml", _PROGRAMME)


def _row(place: int, pump_id: str, installed: str) -> tuple[object, ...]:
    """Each seventh site lacks its invoices, each eleventh its serials; each ninth account has another address."""
    serial = "MU" + hashlib.sha256(pump_id.encode()).hexdigest()[:8].upper()
    address = f"{place + 1} Invented Lane"
    return (
        pump_id,
        "Invented Works",
        "Made-up 3",
        None if place % 11 == 10 else serial,
        None if place % 7 == 6 else f"MADE-UP-{1000 + place}",
        installed,
        3,
        6,
        address,
        f"{place + 500} Invented Road" if place % 9 == 8 else address,
        f"made-up photo {place + 1}",
        "the drive's own power, as logged",
        "2 %, by the drive's maker (invented)",
    )
