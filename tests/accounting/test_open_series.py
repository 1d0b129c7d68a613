"""The accounts over real open series, neither of them a pool pump.

Sources: an hourly and a daily file of one electricity meter (opendsm, eemeter samples), and the hourly flow of a
pipeline branch (river, datasets/water-flow.csv). Both travel inside the packages of the test extra; only the files are
read.
"""

from __future__ import annotations

from datetime import UTC, date, timedelta
from importlib.util import find_spec
from pathlib import Path
from zoneinfo import ZoneInfo

import pandas as pd
import pytest
from account_rows import PUMP, SITE, accounts, grid, span


def inside(package: str, *parts: str) -> Path:
    """A file of an installed package, without importing the package."""
    return Path(find_spec(package).origin).parent.joinpath(*parts)


def hourly_spans(frame: pd.DataFrame, zone: str, **values: str) -> list[dict]:
    """One running span an hour for the rows of ``frame``: ``start`` (aware) and value columns by span column."""
    rows = []
    for record in frame.to_dict("records"):
        start = record["start"].tz_convert("UTC").to_pydatetime()
        row = span(0, 60, "run", 1725.0, day=start.astimezone(ZoneInfo(zone)).date())
        begin = start.astimezone(UTC).replace(tzinfo=None)
        row |= {"start_utc": begin, "end_utc": begin + timedelta(hours=1)}
        rows.append(row | {column: record[name] for column, name in values.items()})
    return rows


def read(path: Path, time: str) -> pd.DataFrame:
    frame = pd.read_csv(path)
    return frame.assign(start=pd.to_datetime(frame[time], utc=True)).drop(columns=[] if time == "start" else [time])


def test_hourly_meter_sums_to_the_meters_own_local_days() -> None:
    """Days of 23, 24 and 25 hours alike, within the rounding of 24 hourly values to 0.01 kWh."""
    zone = "America/Chicago"
    folder = inside("opendsm", "eemeter", "samples")
    hourly = read(folder / "il-electricity-cdd-hdd-hourly.csv.gz", "start").dropna()
    daily = read(folder / "il-electricity-cdd-hdd-daily.csv.gz", "start").dropna()
    theirs = {start.tz_convert(zone).date(): value for start, value in zip(daily["start"], daily["value"], strict=True)}
    spans = hourly_spans(hourly, zone, energy_kwh="value")
    rows, _ = accounts(spans, days=sorted(theirs), zone=zone, sites=[SITE | {"zone": zone}], pumps=[PUMP])

    whole = [row for row in rows if row["coverage"] == 1]
    lengths = [row["day_min"] for row in whole]
    assert lengths.count(1440) >= 800 and lengths.count(1380) >= 2 and lengths.count(1500) >= 2
    assert all(row["energy_source"] == "counter" and row["valid"] for row in whole)
    for row in whole:
        assert row["energy_kwh_mid"] == pytest.approx(theirs[row["day_local"]], abs=0.04 + 1e-9)


def test_gaps_of_a_real_flow_series_hold_no_water() -> None:
    """1,257 one-hour steps. Held over gaps of 2 to 32 h the series gives 497,240 m3; the accounts leave them out."""
    zone = "Europe/Paris"  # the file's offsets, +01:00 then +02:00
    series = read(inside("river", "datasets", "water-flow.csv"), "Time").rename(columns={"Water flow [l/s]": "litres"})
    series = series.sort_values("start").reset_index(drop=True)
    step_h = (series["start"].shift(-1) - series["start"]).dt.total_seconds() / 3600
    held_m3 = float((series["litres"] * 3.6 * step_h)[:-1].sum())
    assert held_m3 == pytest.approx(497_240, abs=1)

    hours = series.assign(flow_m3h=series["litres"] * 3.6)[step_h == 1]
    assert len(hours) == 1257
    days = [date(2022, 3, 20) + timedelta(days=index) for index in range(58)]
    rows, _ = accounts(
        hourly_spans(hours, zone, flow_m3h="flow_m3h"),
        days=days,
        zone=zone,
        sites=[SITE | {"zone": zone}],
        grids=grid(flow_m3h_at_full=None),
    )
    total_m3 = sum(row["volume_m3_mid"] for row in rows if row["volume_m3_mid"] is not None)
    assert total_m3 == pytest.approx(float(hours["flow_m3h"].sum()), rel=1e-9)
    assert total_m3 < held_m3 - 40_000
    assert sum(row["observed_min"] for row in rows) == pytest.approx(1257 * 60)
    assert not all(row["valid"] for row in rows) and any(row["day_min"] == 1380 for row in rows)
    assert {row["volume_source"] for row in rows} == {"metered"}
