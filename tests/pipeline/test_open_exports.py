"""Real series that no one here wrote, read through the same intake, spans and accounts as any export.

Sources: an hourly and a daily file of one electricity meter (package opendsm, eemeter samples), and the hourly flow of
a
pipeline branch (package river, datasets/water-flow.csv). Neither is a pool pump; only the files of the packages are
read.
"""

from __future__ import annotations

import csv
import gzip
from datetime import date, datetime, timedelta
from importlib.util import find_spec
from pathlib import Path

import pytest

from pumpledger.engine.tables import DAILY
from pumpledger.profile.calendar import iso_week
from tests.fleet_folder import run_steps, write_fleet

HOURLY = """about = "Energy of each hour, stamped at its beginning with the offset."
[file]
delimiter = ","
[time]
column = "start"
format = "%Y-%m-%dT%H:%M:%S%z"
zone = "offset"
label = "interval_beginning"
interval_s = 3600
gap_limit_s = 7200
[pump]
file_name = "__([^_]+)\\\\.csv$"
[quantity]
energy = { column = "value", unit = "kWh" }
"""
FLOW = """about = "Flow at each hour, held for the hour; time with offset."
[file]
delimiter = ","
[time]
column = "Time"
format = "%Y-%m-%dT%H:%M:%S%z"
zone = "offset"
label = "instant"
interval_s = 3600
gap_limit_s = 3600
[pump]
file_name = "__([^_]+)\\\\.csv$"
[quantity]
flow = { column = "Water flow [l/s]", unit = "L/s" }
"""


def inside(package: str, *parts: str) -> Path:
    """A file of an installed package, without importing the package."""
    return Path(find_spec(package).origin).parent.joinpath(*parts)


def daily_of(session, weeks: list[str]) -> dict[date, dict[str, object]]:
    return {row["day_local"]: row for row in session.read_weeks(DAILY, weeks).iter_rows(named=True)}


def weeks_between(first: date, last: date) -> list[str]:
    return sorted({iso_week(first + timedelta(days=step)) for step in range((last - first).days + 1)})


def test_the_hourly_meter_sums_to_its_own_daily_file(tmp_path: Path) -> None:
    """Twelve weeks around each of the four clock changes of its two years; rounding of 24 values to 0.01 kWh is 0.04
    kWh at most."""
    samples = inside("opendsm", "eemeter", "samples")
    hourly = gzip.decompress((samples / "il-electricity-cdd-hdd-hourly.csv.gz").read_bytes()).decode()
    theirs = {
        datetime.fromisoformat(row["start"]).date(): float(row["value"])
        for row in csv.DictReader(
            gzip.decompress((samples / "il-electricity-cdd-hdd-daily.csv.gz").read_bytes()).decode().splitlines()
        )
        if row["value"]
    }
    folder = write_fleet(
        tmp_path,
        {
            "dialects/hourly.toml": HOURLY,
            "inbox/meter__P1.csv": hourly,
            "sites.csv": "site_id,site_name,zone,pool_volume_m3\nH1,Made-up One,America/Chicago,80\n",
        },
        {"meter": ("meter__*.csv", "hourly")},
    )
    changes = [date(2016, 3, 13), date(2016, 11, 6), date(2017, 3, 12), date(2017, 11, 5)]  # IANA zone America/Chicago
    weeks = sorted({iso_week(day + timedelta(weeks=step)) for day in changes for step in range(-1, 2)})
    session, intake = run_steps(folder, *weeks)
    rows = sum(1 for line in hourly.splitlines()[1:] if line.split(",")[1])
    assert intake.sums()["readings"] == rows
    ours = daily_of(session, weeks)
    lengths = {day: ours[day]["day_min"] for day in changes}
    assert lengths == {changes[0]: 1380, changes[1]: 1500, changes[2]: 1380, changes[3]: 1500}
    compared = [day for day in ours if day in theirs and ours[day]["energy_coverage"] == pytest.approx(1)]
    assert len(compared) >= 80 and set(changes) <= set(compared)
    for day in compared:
        assert ours[day]["energy_kwh_mid"] == pytest.approx(theirs[day], abs=0.04 + 1e-9)


def test_the_pipelines_flow_gives_the_volume_of_its_observed_hours_and_leaves_its_gaps_out(tmp_path: Path) -> None:
    """Held over its gaps of 2 to 32 h the series would give 497,240 m3; its 1,257 one-hour steps give less."""
    text = inside("river", "datasets", "water-flow.csv").read_text(encoding="utf-8")
    rows = sorted(
        (datetime.fromisoformat(row["Time"]), float(row["Water flow [l/s]"]) * 3.6)
        for row in csv.DictReader(text.splitlines())
    )
    steps = [
        (flow, (after - at).total_seconds() / 3600) for (at, flow), (after, _) in zip(rows, rows[1:], strict=False)
    ]
    assert sum(flow * hours for flow, hours in steps) == pytest.approx(497_240, abs=1)
    hourly = [flow for flow, hours in steps if hours == 1]
    assert len(hourly) == 1257
    folder = write_fleet(
        tmp_path,
        {
            "dialects/flow.toml": FLOW,
            "inbox/branch__P1.csv": text,
            "sites.csv": "site_id,site_name,zone,pool_volume_m3\nH1,Made-up One,Europe/Paris,20000\n",
        },
        {"branch": ("branch__*.csv", "flow")},
    )
    weeks = weeks_between(rows[0][0].date(), rows[-1][0].date())
    session, intake = run_steps(folder, *weeks)
    assert intake.sums()["readings"] == len(rows)
    ours = daily_of(session, weeks)
    # each reading before a gap stands for one sample interval, then the time is unknown
    observed = sum(flow for flow, _ in steps) + rows[-1][1]
    volume = sum(
        row["observed_min"] and row["volume_m3_lo"] / 0.95 for row in ours.values()
    )  # lo is 5 % below the meter
    assert volume == pytest.approx(observed, rel=1e-6)
    assert observed == pytest.approx(
        sum(hourly) + sum(flow for flow, hours in steps if hours > 1) + rows[-1][1], rel=1e-12
    )
    assert sum(row["observed_min"] for row in ours.values()) / 60 == pytest.approx(len(rows))
    held_over_gaps = sum(flow * hours for flow, hours in steps) + rows[-1][1]
    assert held_over_gaps - volume == pytest.approx(
        sum(flow * (hours - 1) for flow, hours in steps if hours > 1), rel=1e-4
    )
