"""A real logger whose clock is not what its stamps say, read both ways, against the zone and a general-purpose finder.

Source: pvanalytics 0.2.2 (MIT), data/system_50_ac_power_2_full_DST.parquet: 15-minute power of a solar system in
Colorado, April 2011 to December 2013, stamped -07:00 all year while the logger kept the wall clock of America/Denver;
and the same package's hourly clear-sky light in true -07:00 beside it. No pool pump: it stands for any logger on a
clock. The true dates come from `zoneinfo`; the outside finder is pvanalytics' `shifts_ruptures` over ruptures 1.1.10.
Both packages' files are loaded by path: pvanalytics' own start-up imports much that is not needed here.
"""

from __future__ import annotations

import sys
from datetime import UTC, date, datetime, timedelta
from functools import cache
from importlib.metadata import distribution
from importlib.util import find_spec, module_from_spec, spec_from_file_location
from itertools import pairwise
from pathlib import Path
from types import ModuleType
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest

from pumpledger.engine.database import Database
from pumpledger.profile.plan_match import shift_costs, signed_shift_min
from tests.intake.clock_rows import clock_dialect, placed

ZONE = "America/Denver"
AROUND_DAYS = 10
SHIFT_LEAST_MIN = 45
TRUE_SHIFTS = {date(2011, 11, 6): -60, date(2012, 3, 11): 60, date(2012, 11, 4): -60, date(2013, 3, 10): 60}
TRUE_SHIFTS |= {date(2013, 11, 3): -60}


@cache
def package() -> Path:
    """pvanalytics' folder; asked for once, before the package is stood in for."""
    spec = find_spec("pvanalytics")
    assert spec is not None and spec.origin is not None, "the test extra brings pvanalytics"
    return Path(spec.origin).parent


def inside(*parts: str) -> Path:
    return package().joinpath(*parts)


@pytest.fixture(scope="module")
def series() -> pd.DataFrame:
    """``stamp`` as written, without its offset, and ``power``; a grid of quarters without hole."""
    frame = pd.read_parquet(inside("data", "system_50_ac_power_2_full_DST.parquet"))
    stamp = frame["measured_on"].dt.tz_localize(None)
    assert stamp.diff().dropna().eq(pd.Timedelta(minutes=15)).all()
    return pd.DataFrame({"stamp": stamp, "power": frame["ac_power_2"].astype(float)})


@pytest.fixture(scope="module")
def shifts_ruptures():
    """pvanalytics' function, without the package's start-up."""
    names = ("pvanalytics", "pvanalytics.quality", "pvanalytics.quality.outliers", "pvanalytics.quality.time")
    before = {name: sys.modules.get(name) for name in names}
    files = {name: inside("quality", f"{name.rpartition('.')[2]}.py") for name in names[2:]}
    for name in names[:2]:
        sys.modules[name] = ModuleType(name)
    for name, path in files.items():
        spec = spec_from_file_location(name, path)
        assert spec is not None and spec.loader is not None
        sys.modules[name] = module_from_spec(spec)
        spec.loader.exec_module(sys.modules[name])
    yield sys.modules[names[-1]].shifts_ruptures
    for name, module in before.items():
        if module is None:
            del sys.modules[name]
        else:
            sys.modules[name] = module


def read_as(series: pd.DataFrame, zone: str) -> pd.DataFrame:
    """The series through the pipeline's placing in time, its stamps taken as the clock of ``zone``."""
    rows = [
        ("P-1", stamp.to_pydatetime(), None if np.isnan(power) else power)
        for stamp, power in zip(series["stamp"], series["power"], strict=True)
    ]
    with Database(threads=1) as db:
        found = placed(db, rows, {"P-1": ZONE}, clock_dialect(zone, interval_s=900))
    return found.select("time_utc", "speed_rpm", "clock_state").to_pandas()


def standard_days(found: pd.DataFrame) -> tuple[list[date], np.ndarray]:
    """Days of true -07:00 and their 96 quarters; what was not placed or not measured is NaN."""
    seen = found.dropna(subset=["time_utc", "speed_rpm"]).drop_duplicates("time_utc")
    local = seen["time_utc"] - pd.Timedelta(hours=7)
    grid = seen.assign(day=local.dt.date, quarter=local.dt.hour * 4 + local.dt.minute // 15)
    table = grid.pivot(index="day", columns="quarter", values="speed_rpm")
    days = [table.index[0] + timedelta(days=k) for k in range((table.index[-1] - table.index[0]).days + 1)]
    return days, table.reindex(index=days, columns=range(96)).to_numpy()


def found_shifts(days: list[date], power: np.ndarray) -> dict[date, int]:
    """Days on which the profile moves round the clock, and by how many minutes.

    The bright end (90th percentile) of the ten days before, each against that of the ten days after, by the pipeline's
    own circular matching; of neighbouring days that move by 45 min or more, the one that gains most.
    """
    moved: list[tuple[int, int, float]] = []
    for k in range(AROUND_DAYS, len(days) - AROUND_DAYS + 1):
        sides = power[k - AROUND_DAYS : k], power[k : k + AROUND_DAYS]
        if any(np.isnan(side).all(axis=1).sum() > AROUND_DAYS // 2 for side in sides):
            continue
        seen = [side[~np.isnan(side).all(axis=1)] for side in sides]
        before, after = (np.percentile(np.nan_to_num(side), 90, axis=0) for side in seen)
        costs = shift_costs(after[None] / after.max() * 1000, before[None] / before.max() * 1000, 1e9)[0]
        shift = int(signed_shift_min(costs.argmin(keepdims=True))[0])
        if abs(shift) >= SHIFT_LEAST_MIN:
            moved.append((k, shift, costs[0] - costs.min()))
    groups: list[list[tuple[int, int, float]]] = []
    for entry in moved:
        if groups and entry[0] - groups[-1][-1][0] <= AROUND_DAYS:
            groups[-1].append(entry)
        else:
            groups.append([entry])
    best = [max(group, key=lambda entry: entry[2]) for group in groups]
    return {days[k]: shift for k, shift, _ in best}


def midpoints(day: pd.Series, values: pd.Series, least: float) -> pd.Series:
    """Minute half-way between the first and the last light of each day."""
    lit = pd.DataFrame({"day": day.dt.normalize(), "minute": day.dt.hour * 60 + day.dt.minute})[values > least]
    edges = lit.groupby("day")["minute"].agg(["min", "max", "count"])
    return ((edges["min"] + edges["max"]) / 2)[edges["count"] >= 16]


def test_the_zones_own_dates() -> None:
    """Days of 23 and 25 hours of America/Denver within the series, by zoneinfo (as facts 7a for other zones)."""
    day, found = date(2011, 4, 15), {}
    while day < date(2013, 12, 31):
        ends = [
            datetime(d.year, d.month, d.day, tzinfo=ZoneInfo(ZONE)).astimezone(UTC) for d in (day, day + timedelta(1))
        ]
        if ends[1] - ends[0] != timedelta(hours=24):
            found[day] = 1440 - (ends[1] - ends[0]) // timedelta(minutes=1)
        day += timedelta(days=1)
    assert found == TRUE_SHIFTS


def test_as_labelled_the_light_jumps_at_each_change(series, capsys) -> None:
    """Read on the fixed offset of its stamps, the whole day moves an hour at all five changes, and at no other time."""
    found = found_shifts(*standard_days(read_as(series, "-07:00")))
    pairs = list(zip(TRUE_SHIFTS.items(), found.items(), strict=True))
    with capsys.disabled():
        print(f"\npvanalytics {distribution('pvanalytics').version}, system 50: shifts found (true)")
        for (true_day, true_min), (day, minutes) in pairs:
            print(f"  {day} {minutes:+d} min ({true_day} {true_min:+d} min)")
    for (true_day, true_min), (day, minutes) in pairs:
        assert minutes == true_min
        assert abs(day - true_day) <= timedelta(days=1)


def test_on_the_wall_clock_the_light_stays(series) -> None:
    """Read on the wall clock of its place, no day moves; what the stamps cannot tell is marked.

    The grid holds empty rows for the two skipped hours: they are no evidence that the logger ran through them. The hour
    that happens twice is there once, in each of three autumns.
    """
    found = read_as(series, ZONE)
    assert found_shifts(*standard_days(found)) == {}
    count = found["clock_state"].value_counts().to_dict()
    assert count == {"once": len(found) - 8 - 12, "never": 8, "twice, first taken": 12}
    assert found.loc[found["clock_state"] == "never", "speed_rpm"].isna().all()


def test_agreement_with_an_outside_finder(series, shifts_ruptures, capsys) -> None:
    """`shifts_ruptures` over the middle of each day, against clear-sky light in true -07:00: the same summers."""
    sky = pd.read_parquet(inside("data", "system_50_ac_power_2_full_DST_psm3.parquet"))
    reference = midpoints(sky["index"].dt.tz_localize(None), sky["ghi_clear"], 50.0)
    events = midpoints(series["stamp"], series["power"], 5.0)
    shared = events.index.intersection(reference.index)
    _, theirs = shifts_ruptures(events[shared].round(), reference[shared].round(), period_min=30, shift_min=60)
    ours = found_shifts(*standard_days(read_as(series, "-07:00")))
    level = pd.Series(60, index=shared)  # the series begins in April, an hour ahead
    for day, minutes in ours.items():
        level[shared >= pd.Timestamp(day)] += minutes
    truth = pd.Series([60 if ZoneInfo(ZONE).dst(day + timedelta(hours=12)) else 0 for day in shared], index=shared)
    same, right, theirs_right = (float((a == b).mean()) for a, b in ((level, theirs), (level, truth), (theirs, truth)))
    breaks = [later.date() for earlier, later in pairwise(shared) if theirs[earlier] != theirs[later]]
    with capsys.disabled():
        print(
            f"\nshifts_ruptures (ruptures {distribution('ruptures').version}) breaks on {', '.join(map(str, breaks))}"
        )
        print(
            f"  days alike {same:.1%} of {len(shared)}; right by the zone: ours {right:.1%}, theirs {theirs_right:.1%}"
        )
    assert same >= 0.97
    assert right >= 0.99
