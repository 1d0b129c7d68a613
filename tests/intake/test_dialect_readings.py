"""Given rows of each dialect, and the readings they become: instant, local day, units, auxiliary load."""

from __future__ import annotations

from datetime import date, datetime

import pytest
from intake_fleet import COUNTERS, EVENTS, MEANS, SAMPLES, Fleet, utc

COLUMNS = (
    "pump_id",
    "time_utc",
    "day_local",
    "interval_s",
    "speed_rpm",
    "power_w",
    "energy_total_kwh",
    "run_total_h",
    "aux_on",
)


def rows(fleet) -> list[tuple[object, ...]]:
    return fleet.readings().select(COLUMNS).rows()


@pytest.mark.parametrize("prefix", ["five", "one"])
def test_samples(fleet, prefix) -> None:
    """Los Angeles is at -07:00 until 1 November 2026; Berlin at +01:00 from 25 October."""
    taken = fleet.take(
        f"{prefix}_a.csv",
        SAMPLES + "2026-10-26T06:59:00Z,P-LA,1500,210.5,1\n2026-10-26T07:00:00Z,P-LA,0,-3,0\n"
        "2026-10-26T22:59:00Z,P-BE,2400,,\n2026-10-26T23:00:00Z,P-BE,,640,1\n",
    )
    assert rows(fleet) == [
        ("P-BE", datetime(2026, 10, 26, 22, 59), date(2026, 10, 26), None, 2400, None, None, None, None),
        ("P-BE", datetime(2026, 10, 26, 23, 0), date(2026, 10, 27), None, None, 640, None, None, True),
        ("P-LA", datetime(2026, 10, 26, 6, 59), date(2026, 10, 25), None, 1500, 210.5, None, None, True),
        ("P-LA", datetime(2026, 10, 26, 7, 0), date(2026, 10, 26), None, 0, -3, None, None, False),
    ]
    assert (taken["data_rows"], taken["readings"], taken["other_lines"], taken["pumps"]) == (4, 4, 1, 2)
    assert (taken["first_utc"], taken["last_utc"]) == (datetime(2026, 10, 26, 6, 59), datetime(2026, 10, 26, 23, 0))


def test_means(fleet) -> None:
    """The stamp is the end of the quarter hour in the site's wall clock; kW and a decimal comma."""
    fleet.take(
        "means__P-BE.csv", MEANS + "26.10.2026 00:15;1800;0,4125\n26.10.2026 00:00;0;0,002\n26.10.2026 00:30;;1\n"
    )
    assert rows(fleet) == [
        ("P-BE", utc("2026-10-25T23:45+01:00"), date(2026, 10, 25), 900, 0, 2, None, None, None),
        ("P-BE", utc("2026-10-26T00:00+01:00"), date(2026, 10, 26), 900, 1800, 412.5, None, None, None),
        ("P-BE", utc("2026-10-26T00:15+01:00"), date(2026, 10, 26), 900, None, 1000, None, None, None),
    ]


def test_events(fleet) -> None:
    """The stamp carries its offset, which need not be the site's; air temperature is a column that no one asked for."""
    fleet.take(
        "events_a.csv",
        EVENTS + "2026-10-26T06:00:00-07:00,P-LA,1500,,1,11\n2026-10-26T06:00:00+00:00,P-LA,0,0,0,\n"
        "2026-10-26T06:00:00+0530,P-LA2,900,80,,\n",
    )
    assert rows(fleet) == [
        ("P-LA", utc("2026-10-26T06:00+00:00"), date(2026, 10, 25), None, 0, 0, None, None, False),
        ("P-LA", utc("2026-10-26T06:00-07:00"), date(2026, 10, 26), None, 1500, None, None, None, True),
        ("P-LA2", utc("2026-10-26T06:00+05:30"), date(2026, 10, 25), None, 900, 80, None, None, None),
    ]


@pytest.mark.parametrize("footer", ["# end\n", "# end", "# end of 2 rows\r\n", ""])
def test_counters(fleet, footer) -> None:
    """1792998000 is 2026-10-26T07:00:00Z: 20,752 days and 7 hours after 1970."""
    assert 20752 * 86400 + 7 * 3600 == 1792998000
    taken = fleet.take(
        "counters_a.csv",
        COUNTERS + f"1792998000\tP-LA\t1500\t1042.37\t5120.25\n1792998900\tP-LA\t\t1042.42\t\n{footer}",
    )
    assert rows(fleet) == [
        ("P-LA", datetime(2026, 10, 26, 7), date(2026, 10, 26), None, 1500, None, 1042.37, 5120.25, None),
        ("P-LA", datetime(2026, 10, 26, 7, 15), date(2026, 10, 26), None, None, None, 1042.42, None, None),
    ]
    assert (taken["data_rows"], taken["other_lines"]) == (2, 3 + bool(footer))


OWN = """
about = "made up: litres a minute, watt-hours, seconds"
[file]
delimiter = "|"
encoding = "{encoding}"
[time]
column = "t"
format = "{format}"
zone = "{zone}"
label = "{label}"
interval_s = {interval_s}
gap_limit_s = 86400
[pump]
column = "p"
[quantity]
flow = {{ column = "f", unit = "{flow}" }}
energy_total = {{ column = "e", unit = "{energy}" }}
run_total = {{ column = "h", unit = "{run}" }}
aux = {{ column = "a", on = ["läuft", "on"], off = ["-"] }}
"""


def own(**changes: object) -> str:
    values: dict[str, object] = {
        "encoding": "utf-8",
        "format": "%d/%m/%Y %I:%M %p",
        "zone": "Asia/Kolkata",
        "label": "instant",
        "interval_s": 900,
        "flow": "L/min",
        "energy": "Wh",
        "run": "s",
    }
    return OWN.format(**(values | changes))


def test_own_dialect_with_a_zone_of_its_own(fleet) -> None:
    """Stamps in Kolkata, +05:30; the local day is still that of the site in Los Angeles."""
    fleet.own_dialect(own())
    fleet.take("own_a.csv", "t|p|f|e|h|a\n26/10/2026 12:15 PM|P-LA|100|1500|5400|on\n26/10/2026 12:30 AM|P-LA|50|||-\n")
    assert fleet.readings().select(
        "time_utc", "day_local", "flow_m3h", "energy_total_kwh", "run_total_h", "aux_on"
    ).rows() == [
        (utc("2026-10-26T00:30+05:30"), date(2026, 10, 25), 3.0, None, None, False),
        (utc("2026-10-26T12:15+05:30"), date(2026, 10, 25), 6.0, 1.5, 1.5, True),
    ]


@pytest.mark.parametrize(
    ("unit", "value", "expected"),
    [("m3/h", 12.5, 12.5), ("gpm", 60, 60 * 0.2271247), ("L/min", 200, 12), ("L/s", 5, 18)],
)
def test_flow_units(fleet, unit, value, expected) -> None:
    """1 gpm = 0.2271247 m3/h (facts 4.2); litres and seconds by arithmetic."""
    fleet.own_dialect(own(flow=unit))
    fleet.take("own_a.csv", f"t|p|f|e|h|a\n26/10/2026 12:15 PM|P-LA|{value}|||\n")
    assert fleet.readings()["flow_m3h"].to_list() == [pytest.approx(expected, rel=1e-6)]


@pytest.mark.parametrize(("energy", "run"), [("Wh", "s"), ("kWh", "min"), ("MWh", "h")])
def test_counter_units(fleet, energy, run) -> None:
    """2,500 kWh and 90 hours, however they are written."""
    fleet.own_dialect(own(energy=energy, run=run))
    written = {"Wh": 2_500_000, "kWh": 2500, "MWh": 2.5}[energy], {"s": 324_000, "min": 5400, "h": 90}[run]
    fleet.take("own_a.csv", f"t|p|f|e|h|a\n26/10/2026 12:15 PM|P-LA||{written[0]}|{written[1]}|\n")
    got = fleet.readings().select("energy_total_kwh", "run_total_h").row(0)
    assert got == (pytest.approx(2500), pytest.approx(90))


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16", "latin-1"])
def test_encodings(fleet, encoding) -> None:
    """A refused row comes back as it was written, with its line, in each encoding."""
    fleet.own_dialect(own(encoding=encoding))
    text = "t|p|f|e|h|a\r\n26/10/2026 12:15 PM|P-LA|1|||läuft\r\n26/10/2026 12:30 PM|P-LA|1|||gefällt\r\n"
    taken = fleet.take("own_a.csv", text.encode(encoding))
    assert fleet.readings()["aux_on"].to_list() == [True]
    assert fleet.refused().select("line", "rule", "raw").rows() == [
        (3, "aux_word_unknown", "26/10/2026 12:30 PM|P-LA|1|||gefällt")
    ]
    fleet.put("own_b.csv", text.replace("|1|||läuft", "|1|1||läuft").encode(encoding))
    fleet.ingest()
    assert fleet.refused().filter(file="own_b.csv").select("line", "rule", "raw").rows() == [
        (3, "aux_word_unknown", "26/10/2026 12:30 PM|P-LA|1|||gefällt"),
    ]
    assert taken["data_rows"] == 2


def test_beginning_and_ending_differ_by_the_interval(fleet) -> None:
    """The same log read as beginning and as ending: every start differs by exactly 15 min (facts 7j)."""
    stamps = [f"26/10/2026 {hour:02d}:{minute:02d} AM" for hour in (1, 2, 3) for minute in (0, 15, 30, 45)]
    log = "t|p|f|e|h|a\n" + "".join(f"{stamp}|P-LA|{number}|||\n" for number, stamp in enumerate(stamps, start=1))
    starts = {}
    for label in ("interval_beginning", "interval_ending"):
        fleet.own_dialect(own(label=label))
        fleet.take("own_a.csv", log)
        assert fleet.readings()["interval_s"].unique().to_list() == [900]
        starts[label] = fleet.readings().sort("flow_m3h")["time_utc"]
    difference = (starts["interval_beginning"] - starts["interval_ending"]).dt.total_seconds()
    assert difference.to_list() == [900] * 12


def test_day_long_intervals_far_from_utc(fleet) -> None:
    """An interval of a day in a zone at +14:00 begins up to 38 hours before its stamp, and is still a reading."""
    fleet.zone_of_west("Pacific/Kiritimati")
    fleet.own_dialect(own(label="interval_ending", interval_s=86400, zone="site"))
    taken = fleet.take("own_a.csv", "t|p|f|e|h|a\n26/10/2026 12:00 AM|P-LA|1|||\n")
    assert taken["readings"] == 1
    assert fleet.readings().select("time_utc", "day_local").row(0) == (datetime(2026, 10, 24, 10), date(2026, 10, 25))


def test_names_with_marks_of_globs_and_sql(tmp_path) -> None:
    """A fleet folder and an export may be called anything; only the file itself is read, not those it would match."""
    fleet = Fleet(tmp_path / "pools [we*s?t] it's {1,2}")
    for number, name in enumerate(["five_[1].csv", "five_1.csv", "five_*.csv", "five_it's; --.csv", "five_ä.csv"]):
        fleet.put(name, SAMPLES + f"2026-10-26T07:0{number}:00Z,P-LA,{1500 + number},200,1\n")
    exports = fleet.ingest().exports
    assert exports["readings"].to_list() == [1] * 5
    assert fleet.readings()["speed_rpm"].to_list() == [1500, 1501, 1502, 1503, 1504]
