"""A made-up fleet of one site over three weeks with a day of 25 hours, whose claim is known to the watt-hour.

The pump runs 08:00 to 16:00 at 1500 rpm, 0.2 kW and 20 gpm: 1.6 kWh and 9,600 gal a day. The former pump took 1.5 kW for
8 hours from 09:00, 12 kWh, at 60 gpm, so that it needed 1.5 kW x 9,600 / 3,600 h = 4 kWh for the same water. On 28 October
the log is silent from 04:00 to 20:00.
"""

from __future__ import annotations

from datetime import date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from tests.fleet_folder import METER_HEADER, meter_rows, write_fleet

FIRST, LAST = date(2026, 10, 19), date(2026, 11, 8)
SILENT = date(2026, 10, 28)
DAYS, COUNTED = 21, 20

SITES = "site_id,site_name,pool_volume_gal,required_turnovers\nH1,Made-up One,20000,0.4\n"
PUMPS = (
    "pump_id,site_id,full_speed_rpm,baseline_power_w,baseline_hours_per_day,baseline_flow_gpm,baseline_evidence,"
    "baseline_source,baseline_start\n"
    "P1,H1,3450,1500,8,60,measured,made-up clamp reading,09:00\n"
)
PAPERS = {
    "pump_id": "P1",
    "make": "Invented Works",
    "model": "Made-up 3",
    "serial": "MU-0001",
    "invoice": "INV-77",
    "installed_on": "2026-09-01",
    "site_address": "1 Invented Lane",
    "account_address": "1 invented lane.",
    "baseline_record": "made-up photo 12",
}
PROGRAMME = """name = "Invented rebate"
made_up = true
document = "Invented manual"
edition = "first"
section = "pumps"
retrieved = 2026-11-01
source = "invented for a test"
option = "metered"
units = "metric"

[baseline]
rule = "the former pump at its recorded hours"
evidence = ["measured"]

[peak]
weekdays = [1, 2, 3, 4, 5]
start = "14:00"
stop = "18:00"

[documents]
serial = "photo of the plate"
invoice = "copy of the invoice"

[install]
from = 2026-01-01
until = 2026-12-31

[[formula]]
name = "raw saving"
claimed = true
source = "section 2"

[[formula]]
name = "measured demand saving"
source = "section 3"
"""


def papers_text(**changed: str) -> str:
    """claim_papers.csv with some cells changed."""
    row = PAPERS | changed
    return ",".join(row) + "\n" + ",".join(f'"{value}"' if "," in value else value for value in row.values()) + "\n"


def log_text() -> str:
    """The meter's export: a row each four hours of wall clock, with the offset of that moment."""
    zone, text = ZoneInfo("America/Los_Angeles"), METER_HEADER
    day = FIRST
    while day <= LAST + timedelta(days=1):
        for hour in range(0, 24, 4):
            at = datetime(day.year, day.month, day.day, hour, tzinfo=zone)
            if (day == SILENT and 4 <= hour < 20) or (day > LAST and hour > 0):
                continue
            running = 8 <= hour < 16
            state = (1500.0, 0.2, 20.0) if running else (0.0, 0.0, 0.0)
            offset = at.strftime("%z")
            stamp = at.strftime("%Y-%m-%dT%H:%M:%S")
            text += meter_rows("P1", [(stamp, *state)], offset)
        day += timedelta(days=1)
    return text


def make_fleet(folder: Path) -> Path:
    """The fleet, with its programme and papers, not yet reviewed."""
    return write_fleet(
        folder,
        {
            "sites.csv": SITES,
            "pumps.csv": PUMPS,
            "claim_papers.csv": papers_text(),
            "programmes/rebate.toml": PROGRAMME,
            "inbox/meter_1.csv": log_text(),
        },
    )
