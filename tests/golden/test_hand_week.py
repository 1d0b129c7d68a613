"""One week worked out on paper: eleven invented sites, exports in, `pumpledger review`, findings and accounts out.

ISO week 2026-W44 runs from Monday 26 October to Sunday 1 November 2026. In America/Los_Angeles the clocks go back on
that Sunday at 02:00 summer time (IANA time zone database): the hour from 01:00 comes twice and the day has 25 hours, so
the week has 7 x 1440 + 60 = 10,140 minutes.

Every number below is arithmetic on the table of states, done by hand and never read off the program. All sites and pumps
are made up. Each pool holds 60 m3 and is to be turned over once a day.

    rpm     W       m3/h    (invented, as a meter would log them)
    0       0       0
    1000    100     6
    1500    240     9
    2000    520     12
    3450    2500    20.7

The log has a row on every full hour and at each change. "The plan" is 1500 rpm from 08:00 to 12:00 and 1000 rpm from
12:00 to 20:00: 4 h x 240 W + 8 h x 100 W = 1.76 kWh and 4 x 9 + 8 x 6 = 84 m3, 1.4 turnovers.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import polars as pl
import pytest

from tests.command import run
from tests.fleet_folder import FLEET, write_fleet

ZONE = ZoneInfo("America/Los_Angeles")
MON, TUE, WED, THU, FRI, SAT, SUN = (date(2026, 10, 26) + timedelta(days=n) for n in range(7))
WEEK = "2026-W44"
LOGGED = {0: (0, 0), 1000: (100, 6), 1500: (240, 9), 2000: (520, 12), 3450: (2500, 20.7)}

PLANNED = "00:00 0, 08:00 1500, 12:00 1000, 20:00 0"  # a day by the wall clock: from when on at which speed
TWELVE_HOURS_OUT = "00:00 1000, 08:00 0, 20:00 1500"
OVERRIDDEN = "00:00 0, 08:00 1500, 10:00 2000, 20:00 0"
STOOD = "00:00 0"
TOO_SHORT = "00:00 0, 10:00 1000, 18:00 0"
ALL_DAY = "00:00 1000"
FULL_SPEED = "00:00 3450"
HEATED = "00:00 0, 08:00 1500, 12:00 1000, 12:30 1000 on, 13:00 1000, 20:00 0"
STUCK_SAT = "00:00 0, 08:00 1500, 12:00 1000, 20:00 0, 21:00 0 on, 21:12 0"
STUCK_SUN = "00:00 0, 08:00 1500, 12:00 1000, 20:00 0, 21:00 0 on, 21:05 0"

RAN: dict[str, dict[date, str]] = {
    "healthy": {},
    "clock": dict.fromkeys((MON, TUE, WED, THU, FRI, SAT, SUN), TWELVE_HOURS_OUT),
    "override": {WED: OVERRIDDEN},
    "stands": dict.fromkeys((TUE, WED, THU), STOOD),
    "heater": dict.fromkeys((MON, TUE, WED), HEATED),
    "missing": {WED: "", THU: ""},
    "twice": {},
    "short": dict.fromkeys((MON, TUE, WED, THU, FRI, SAT, SUN), TOO_SHORT),
    "round": dict.fromkeys((MON, TUE, WED, THU, FRI, SAT, SUN), ALL_DAY),
    "full": dict.fromkeys((MON, TUE, WED, THU, FRI, SAT, SUN), FULL_SPEED),
    "stuck": {SAT: STUCK_SAT, SUN: STUCK_SUN},
}
SITES = dict(zip(RAN, [f"G{n:02d}" for n in range(1, 12)], strict=True))
PLANS = {"short": [(1000, "10:00", "18:00")], "round": [(1000, "00:00", "24:00")], "full": [(3450, "00:00", "24:00")]}
LOADS = {"heater": ("heater", 1400), "stuck": ("chlorinator", 1400)}

DIALECT = """about = "Made-up log: a row on every hour and at each change, wall clock with offset."
[file]
delimiter = ","
[time]
column = "at"
format = "%Y-%m-%dT%H:%M:%S%z"
zone = "offset"
label = "change_of_state"
gap_limit_s = 5400
[pump]
column = "pump"
[quantity]
speed = { column = "rpm", unit = "rpm" }
power = { column = "w", unit = "W" }
flow = { column = "m3h", unit = "m3/h" }
aux = { column = "aux", on = ["1"], off = ["0"] }
"""


def instants(day: date) -> list[datetime]:
    """The full hours of a local day, by real time: 24 of them, or 25."""
    start = datetime(day.year, day.month, day.day, tzinfo=ZONE).astimezone(UTC)
    following = day + timedelta(days=1)
    stop = datetime(following.year, following.month, following.day, tzinfo=ZONE).astimezone(UTC)
    return [start + timedelta(hours=n) for n in range(int((stop - start).total_seconds() // 3600))]


def day_rows(name: str, day: date) -> list[str]:
    """Rows of one day. None of the hand's changes lies in the hour that comes twice, so a wall clock names one instant."""
    text = RAN[name].get(day, PLANNED)
    if not text:
        return []
    changes = [part.split() for part in text.split(", ")]
    clocks = sorted({f"{hour.astimezone(ZONE):%H:%M}" for hour in instants(day)} | {clock for clock, *_ in changes})
    rows = []
    for clock in clocks:
        _, speed, *load = [change for change in changes if change[0] <= clock][-1]
        hour, minute = int(clock[:2]), int(clock[3:])
        stamps = {
            datetime(day.year, day.month, day.day, hour, minute, fold=fold, tzinfo=ZONE).isoformat() for fold in (0, 1)
        }
        watts, flow = LOGGED[int(speed)]
        aux = ("1" if load else "0") if name in LOADS else ""
        rows += [f"{stamp},P-{SITES[name]},{speed},{watts},{flow},{aux}\n" for stamp in sorted(stamps, reverse=True)]
    return sorted(rows, key=lambda row: datetime.fromisoformat(row.split(",")[0]))


HEADER = "at,pump,rpm,w,m3h,aux\n"


def export(name: str) -> str:
    """A site's week. Before a hole and at the week's end stands one row more, so that the last hour is seen."""
    days = [MON, TUE, WED, THU, FRI, SAT, SUN]
    rows = [row for day in days for row in day_rows(name, day)]
    if name == "missing":
        rows.append(f"2026-10-28T00:00:00-07:00,P-{SITES[name]},0,0,0,\n")
    last = rows[-1] if name != "missing" else rows[-2]
    rows.append("2026-11-02T00:00:00-08:00," + last.split(",", 1)[1])
    return HEADER + "".join(rows)


def register() -> dict[str, str]:
    sites = ["site_id,site_name,pool_volume_m3,required_turnovers,filter_limit_m3h,suction_limit_m3h\n"]
    pumps = ["pump_id,site_id,aux_load,aux_min_speed_rpm\n"]
    plans = ["pump_id,valid_from,period,speed_rpm,start,stop\n"]
    for name, site in SITES.items():
        load, least = LOADS.get(name, ("none", ""))
        sites.append(f"{site},Made-up {name},60,1.0,25,25\n")
        pumps.append(f"P-{site},{site},{load},{least}\n")
        for period, (speed, start, stop) in enumerate(
            PLANS.get(name, [(1500, "08:00", "12:00"), (1000, "12:00", "20:00")]), start=1
        ):
            plans.append(f"P-{site},2026-09-01,{period},{speed},{start},{stop}\n")
    return {"sites.csv": "".join(sites), "pumps.csv": "".join(pumps), "plans.csv": "".join(plans)}


@pytest.fixture(scope="module")
def lake(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("week")
    files = {f"inbox/log_{site}.csv": export(name) for name, site in SITES.items()}
    files["inbox/log_again.csv"] = HEADER + "".join(day_rows("twice", MON))
    source = '[[source]]\nname = "hand"\nfiles = "log_*.csv"\ndialect = "hand"\n'
    write_fleet(folder, {"dialects/hand.toml": DIALECT, "fleet.toml": FLEET + source, **register(), **files})
    done = run("review", folder)
    assert done.returncode == 0, done.stdout + done.stderr
    assert (folder / "reports" / WEEK / "index.html").is_file()
    return folder / "lake"


def read(lake: Path, table: str) -> pl.DataFrame:
    return pl.read_parquet(lake / table / f"week={WEEK}.parquet")


def found(lake: Path) -> pl.DataFrame:
    return read(lake, "findings").filter(verdict="found")


def one(lake: Path, name: str, rule: str) -> dict[str, object]:
    return found(lake).filter(site_id=SITES[name], rule_id=rule).row(0, named=True)


EXPECTED = {
    ("clock", "A1", ""),
    # from 20:00 to 08:00 it runs where nothing is planned: 12 h at a stretch, which the clock explains
    ("clock", "C10", "A1"),
    ("override", "C10", ""),
    # too little water on Wednesday and Thursday alone of the last five days, and O1 wants three
    ("stands", "D8", ""),
    ("heater", "D14", ""),
    # all of the heater's half hour lies on the slow step, below its minimum
    ("heater", "D16", "D14"),
    ("missing", "B1", ""),
    ("twice", "B2", ""),
    ("short", "O1", ""),
    ("full", "C6", ""),
    # 24 h above 2600 rpm where no load needs any: the same minutes, which C6 explains
    ("full", "C7", "C6"),
    ("stuck", "D12", ""),
}


def test_these_findings_and_no_others(lake: Path) -> None:
    names = {site: name for name, site in SITES.items()}
    seen = found(lake).select("site_id", "rule_id", "explained_by").iter_rows()
    assert {(names[site], rule, cause) for site, rule, cause in seen} == EXPECTED


@pytest.mark.parametrize(
    ("name", "rule", "first", "last", "days", "measured"),
    [
        ("clock", "A1", MON, SAT, 6, 720),  # the 25-hour day is no profile of 24 h to match
        ("override", "C10", WED, WED, 1, 10.0),  # 10:00 to 20:00
        ("stands", "D8", TUE, THU, 3, 0),  # minutes running
        ("heater", "D14", MON, WED, 3, 30),  # 12:30 to 13:00 at 1000 rpm
        ("heater", "D16", MON, WED, 3, 0.0),  # no minute of them at 1400 rpm
        ("missing", "B1", WED, THU, 2, (10_140 - 2 * 1440) / 10_140),
        ("short", "O1", WED, SUN, 5, None),
        ("full", "C6", WED, SUN, 5, 24.0),  # 24, 24, 24, 24 and 25 h; the middle one
        ("stuck", "D12", SAT, SUN, 2, 12.0),  # 12 and 5 min
    ],
)
def test_first_and_last_day_and_the_number(lake: Path, name, rule, first, last, days, measured) -> None:
    row = one(lake, name, rule)
    assert (row["first_day"], row["last_day"], row["days"]) == (first, last, days)
    if measured is not None:
        assert row["measured"] == pytest.approx(measured, abs=1e-6)


def test_rows_sent_again_are_counted_once(lake: Path) -> None:
    """Monday's rows are the 24 full hours, on which the plan's changes fall too."""
    assert one(lake, "twice", "B2")["measured"] == 24
    assert day(lake, "twice", MON)["energy_kwh_mid"] == pytest.approx(1.76)


def test_too_little_water_stands_between_what_was_metered_and_what_was_required(lake: Path) -> None:
    """8 h x 6 m3/h = 48 m3 are 0.8 turnovers; the high bound adds the flow meter's allowance and stays below 1."""
    row = one(lake, "short", "O1")
    assert 0.8 <= row["measured"] < 1.0 and row["threshold"] == 1.0
    assert "45 %" in row["sentence"]  # exp(-0.8) = 0.4493 of the water passed no filter


# Daily accounts


def day(lake: Path, name: str, at: date) -> dict[str, object]:
    return read(lake, "daily").filter(site_id=SITES[name], day_local=at).row(0, named=True)


@pytest.mark.parametrize(
    ("name", "at", "hours", "kwh", "m3"),
    [
        ("healthy", MON, 12, 1.76, 84),
        ("healthy", SUN, 12, 1.76, 84),  # the hour that comes twice lies at night
        ("clock", MON, 12, 1.76, 84),
        ("clock", SUN, 13, 9 * 0.1 + 4 * 0.24, 9 * 6 + 4 * 9),  # 00:00 to 08:00 lasts nine hours
        ("override", WED, 12, 2 * 0.24 + 10 * 0.52, 2 * 9 + 10 * 12),
        ("stands", WED, 0, 0, 0),
        ("heater", MON, 12, 1.76, 84),
        ("short", THU, 8, 0.8, 48),
        ("round", SAT, 24, 2.4, 144),
        ("round", SUN, 25, 2.5, 150),
        ("full", SAT, 24, 60, 496.8),
        ("full", SUN, 25, 62.5, 517.5),
    ],
)
def test_hours_energy_and_volume_of_a_day(lake: Path, name, at, hours, kwh, m3) -> None:
    row = day(lake, name, at)
    assert row["run_min"] == pytest.approx(60 * hours)
    assert row["energy_kwh_mid"] == pytest.approx(kwh, abs=1e-9)
    assert row["volume_m3_mid"] == pytest.approx(m3, abs=1e-6)
    assert (row["day_min"], row["coverage"], row["valid"]) == (1500 if at == SUN else 1440, pytest.approx(1), True)


def test_a_week_of_energy(lake: Path) -> None:
    sums = dict(read(lake, "daily").group_by("site_id").agg(pl.col("energy_kwh_mid").sum()).iter_rows())
    expected = {
        "healthy": 7 * 1.76,  # 12.32
        "clock": 6 * 1.76 + 1.86,  # 12.42
        "override": 6 * 1.76 + 5.68,  # 16.24
        "stands": 4 * 1.76,  # 7.04
        "short": 7 * 0.8,  # 5.6
        "round": 6 * 2.4 + 2.5,  # 16.9
        "full": 6 * 60 + 62.5,  # 422.5
        "twice": 7 * 1.76,
    }
    assert {name: sums[SITES[name]] for name in expected} == pytest.approx(expected, abs=1e-9)


def test_missing_days_are_unknown(lake: Path) -> None:
    for at in (WED, THU):
        row = day(lake, "missing", at)
        assert (row["observed_min"], row["valid"], row["longest_gap_min"]) == (0, False, 1440)
    assert day(lake, "missing", TUE)["coverage"] == 1


# Spans


def spans(lake: Path, name: str, at: date) -> list[tuple[object, ...]]:
    here = read(lake, "spans").filter(site_id=SITES[name], day_local=at).sort("start_utc")
    return list(here.select("start_min", "duration_min", "kind", "speed_rpm").iter_rows())


def test_the_healthy_days_of_24_and_25_hours(lake: Path) -> None:
    assert spans(lake, "healthy", SAT) == [
        (0, 480, "off", 0),
        (480, 240, "run", 1500),
        (720, 480, "run", 1000),
        (1200, 240, "off", 0),
    ]
    # On Sunday 08:00 by the wall is nine hours after midnight.
    assert spans(lake, "healthy", SUN) == [
        (0, 540, "off", 0),
        (540, 240, "run", 1500),
        (780, 480, "run", 1000),
        (1260, 240, "off", 0),
    ]


# A stretch is cut where the plan in force changes, at 08:00, 12:00 and 20:00.
@pytest.mark.parametrize(
    ("name", "at", "expected"),
    [
        ("clock", SUN, [(0, 540, "run", 1000), (540, 240, "off", 0), (780, 480, "off", 0), (1260, 240, "run", 1500)]),
        (
            "override",
            WED,
            [
                (0, 480, "off", 0),
                (480, 120, "run", 1500),
                (600, 120, "run", 2000),
                (720, 480, "run", 2000),
                (1200, 240, "off", 0),
            ],
        ),
        ("stands", TUE, [(0, 480, "off", 0), (480, 240, "off", 0), (720, 480, "off", 0), (1200, 240, "off", 0)]),
        (
            "heater",  # half an hour with it in between
            TUE,
            [
                (0, 480, "off", 0),
                (480, 240, "run", 1500),
                (720, 30, "run", 1000),
                (750, 30, "run", 1000),
                (780, 420, "run", 1000),
                (1200, 240, "off", 0),
            ],
        ),
        (
            "missing",
            WED,
            [
                (0, 480, "unknown", None),
                (480, 240, "unknown", None),
                (720, 480, "unknown", None),
                (1200, 240, "unknown", None),
            ],
        ),
        ("round", SUN, [(0, 1500, "run", 1000)]),
        (
            "stuck",
            SAT,
            [
                (0, 480, "off", 0),
                (480, 240, "run", 1500),
                (720, 480, "run", 1000),
                (1200, 60, "off", 0),
                (1260, 12, "off", 0),
                (1272, 168, "off", 0),
            ],
        ),
    ],
)
def test_spans_of_a_day(lake: Path, name, at, expected) -> None:
    assert spans(lake, name, at) == expected
