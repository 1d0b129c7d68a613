"""Text exports of every declared shape: wide, without header, stamps in two columns, marks, units, codes of sites."""

from __future__ import annotations

from datetime import datetime, timedelta

import polars as pl
import pytest
from intake_fleet import utc

SHAPE = """
about = "made up: one shape"
[file]
{file}
[time]
{time}
label = "instant"
interval_s = 900
gap_limit_s = 3600
[pump]
{pump}
[quantity]
{quantity}
"""
TIME = 'column = "t"\nformat = "%Y-%m-%d %H:%M"\nzone = "utc"'
SPEED = 'speed = { column = "n", unit = "rpm" }'
FATES = ("data_rows", "readings", "duplicates", "quarantine", "rejects")


def own(
    fleet, file: str = 'delimiter = ","', time: str = TIME, pump: str = 'column = "pump"', quantity: str = SPEED
) -> None:
    fleet.own_dialect(SHAPE.format(file=file, time=time, pump=pump, quantity=quantity))


def counts(row: dict[str, object]) -> list[object]:
    return [row[name] for name in FATES]


def held(fleet, *columns: str) -> list[tuple[object, ...]]:
    return fleet.readings().sort("line", "pump_id").select(columns).rows()


def refused(fleet, *columns: str) -> list[tuple[object, ...]]:
    return fleet.refused().sort("line", "pump_id").select(columns).rows()


# --- wide ---

WIDE = "t;P-LA kW;note;P-BE kW\n"
WIDE_WAYS = {
    "header": ('header = "(P-.+) kW"', WIDE),
    "columns": ('columns = { "Pump house 1" = "P-LA", "Pump house 2" = "P-BE" }', "t;Pump house 1;note;Pump house 2\n"),
}


@pytest.mark.parametrize("spoil", ["", "torn\n"], ids=["by DuckDB", "line by line"])
@pytest.mark.parametrize("way", WIDE_WAYS)
def test_wide(fleet, way, spoil) -> None:
    """Each cell is a row of its own: it keeps its line and pump, and has one fate. A torn line is one row a pump."""
    pump, header = WIDE_WAYS[way]
    own(fleet, 'delimiter = ";"\ndecimal = ","', pump=pump, quantity='power = { unit = "kW" }')
    lines = [
        "2026-10-26 07:00;0,4;;1,2",
        "2026-10-26 07:15;0,5;door open;",
        "2026-10-26 07:30;99;;1,3",
        "2026-10-26 07:45;fast;;1,4",
        "2026-10-26 08:00;0,6;;1,5",
        "2026-10-26 08:00;0,6;;1,6",
        "2026-10-26 08:15;0;;0,0",
    ]
    taken = fleet.take("own_a.csv", header + "".join(f"{line}\n" for line in lines) + spoil)
    assert counts(taken) == [14 + 2 * bool(spoil), 9, 1, 3, 1 + 2 * bool(spoil)]
    assert held(fleet, "line", "pump_id", "power_w") == [
        (2, "P-BE", pytest.approx(1200)),
        (2, "P-LA", pytest.approx(400)),
        (3, "P-LA", pytest.approx(500)),
        (4, "P-BE", pytest.approx(1300)),
        (5, "P-BE", pytest.approx(1400)),
        (6, "P-BE", pytest.approx(1500)),
        (6, "P-LA", pytest.approx(600)),
        (8, "P-BE", 0),
        (8, "P-LA", 0),
    ]
    told = [
        (3, "P-BE", "quarantine", "nothing_measured"),
        (4, "P-LA", "quarantine", "power_out_of_range"),
        (5, "P-LA", "rejects", "cannot_be_read"),
        (7, "P-BE", "quarantine", "conflicting_repeat"),
        (7, "P-LA", "duplicates", "same_row_again"),
    ]
    torn = [(9, "P-BE", "rejects", "cannot_be_read"), (9, "P-LA", "rejects", "cannot_be_read")] if spoil else []
    assert refused(fleet, "line", "pump_id", "fate", "rule") == told + torn
    for line, raw in refused(fleet, "line", "raw"):
        assert raw == (lines[line - 2] if line < 9 else "torn")


def test_wide_columns_come_and_go(fleet) -> None:
    """A pump of the pattern that the register does not know waits; a spelt-out column that is missing sets the file
    aside."""
    own(fleet, pump='header = "(P-.+) kW"', quantity='power = { unit = "kW" }')
    fleet.take("own_a.csv", "P-NEW kW,t,P-LA kW\n1,2026-10-26 07:00,0.4\n2,2026-10-26 07:15,0.5\n")
    assert held(fleet, "line", "pump_id") == [(2, "P-LA"), (3, "P-LA")]
    assert set(refused(fleet, "pump_id", "rule")) == {("P-NEW", "pump_not_in_register")}
    fleet.add_pump("P-NEW")
    assert fleet.ingest().taken == ["own_a.csv"]
    assert held(fleet, "line", "pump_id") == [(2, "P-LA"), (2, "P-NEW"), (3, "P-LA"), (3, "P-NEW")]
    own(fleet, pump=WIDE_WAYS["columns"][0], quantity='power = { unit = "kW" }')
    row = fleet.take("own_b.csv", "t,Pump house 1\n2026-10-26 07:00,0.4\n")
    assert row["status"] == "set aside" and "column 'Pump house 2' is missing" in row["problem"]


def test_wide_re_export_repeats_cells_not_lines(fleet) -> None:
    """One cell of a line corrected: that pump's reading is superseded, the other pump's a duplicate."""
    own(fleet, pump='header = "(P-.+) kW"', quantity='power = { unit = "kW" }')
    fleet.take("own_a.csv", "t,P-LA kW,P-BE kW\n2026-10-26 07:00,0.4,1.2\n2026-10-26 07:15,0.5,1.3\n")
    taken = fleet.take("own_b.csv", "t,P-LA kW,P-BE kW\n2026-10-26 07:00,0.4,1.25\n2026-10-26 07:15,0.5,1.3\n")
    assert counts(taken) == [4, 1, 3, 0, 0]
    assert sorted(held(fleet, "pump_id", "time_utc", "power_w")) == [
        ("P-BE", datetime(2026, 10, 26, 7), 1250),
        ("P-BE", datetime(2026, 10, 26, 7, 15), 1300),
        ("P-LA", datetime(2026, 10, 26, 7), 400),
        ("P-LA", datetime(2026, 10, 26, 7, 15), 500),
    ]


def test_wide_with_hardly_any_cell_filled(fleet) -> None:
    """Each line is about one pump: the empty cells are told, and set nothing aside."""
    own(fleet, pump='header = "(P-.+) kW"', quantity='power = { unit = "kW" }')
    lines = "".join(f"2026-10-26 07:{minute:02d},{'1.0,,' if minute % 2 else ',1.1,'}\n" for minute in range(20))
    taken = fleet.take("own_a.csv", "t,P-LA kW,P-BE kW,P-LA2 kW\n" + lines)
    assert (taken["status"], counts(taken)) == ("read", [60, 20, 0, 40, 0])
    assert set(refused(fleet, "rule")) == {("nothing_measured",)}


# --- without header; stamps ---


@pytest.mark.parametrize("top", ["", "# made up\n# two lines\n"])
@pytest.mark.parametrize("mark", ["", "\ufeff"], ids=["", "BOM"])
def test_without_header(fleet, top, mark) -> None:
    """The first line is data, and keeps its number behind a preamble; a line with another number of fields is told."""
    own(fleet, f'delimiter = ","\nnames = ["t", "x", "n", "pump"]\npreamble_lines = {top.count(chr(10))}')
    body = "2026-10-26 07:00,,1500,P-LA\n2026-10-26 07:15,,1600,P-BE\n2026-10-26 07:30,1700,P-BE\n2026-10-26 07:45,,1800,P-LA\n"
    taken = fleet.take("own_a.csv", mark + top + body)
    first = top.count("\n") + 1
    assert (counts(taken), taken["other_lines"]) == ([4, 3, 0, 0, 1], first - 1)
    assert held(fleet, "line", "pump_id", "speed_rpm") == [
        (first, "P-LA", 1500),
        (first + 1, "P-BE", 1600),
        (first + 3, "P-LA", 1800),
    ]
    assert refused(fleet, "line", "raw") == [(first + 2, "2026-10-26 07:30,1700,P-BE")]


def test_a_clean_file_without_header_keeps_its_first_row(fleet) -> None:
    own(fleet, 'delimiter = ","\nnames = ["t", "n", "pump"]')
    taken = fleet.take("own_a.csv", "\ufeff2026-10-26 07:00,1500,P-LA\n2026-10-26 07:15,1600,P-LA")
    assert counts(taken) == [2, 2, 0, 0, 0]
    assert held(fleet, "line", "speed_rpm") == [(1, 1500), (2, 1600)]


@pytest.mark.parametrize("spoil", ["", "torn\n"], ids=["by DuckDB", "line by line"])
def test_date_and_clock_in_two_columns(fleet, spoil) -> None:
    """Read as one stamp, in the site's wall clock; half a stamp is no stamp."""
    time = 'date_column = "day"\nclock_column = "clock"\nformat = "%d.%m.%Y %H:%M:%S"\nzone = "site"'
    own(fleet, time=time)
    rows = [
        "07:00:00,P-LA,1500,26.10.2026",
        ",P-LA,1600,26.10.2026",
        "07:30:00,P-LA,1700,",
        "07:45:00,P-BE,1800,26.10.2026",
    ]
    good = [f"0{hour}:00:00,P-LA2,1500,26.10.2026" for hour in range(4)]
    fleet.take("own_a.csv", "clock,pump,n,day\n" + "".join(f"{row}\n" for row in rows + good) + spoil)
    assert held(fleet, "line", "pump_id", "time_utc")[:2] == [
        (2, "P-LA", utc("2026-10-26T07:00-07:00")),
        (5, "P-BE", utc("2026-10-26T07:45+01:00")),
    ]
    assert [line for line, fate in refused(fleet, "line", "fate") if fate == "rejects"] == [3, 4] + [10] * bool(spoil)


def test_epoch_milliseconds(fleet) -> None:
    """1792998000 s is 2026-10-26T07:00Z: 20,752 days and 7 hours after 1970; parts of a second are kept."""
    own(fleet, time='column = "t"\nformat = "epoch_ms"\nzone = "utc"')
    stamps = ["1792998000000", "1792998900250", "1792999800", "17929998OOOOO", "179300070000000000"]
    fleet.take("own_a.csv", "t,pump,n\n" + "".join(f"{stamp},P-LA,{1500 + n}\n" for n, stamp in enumerate(stamps)))
    assert held(fleet, "line", "time_utc") == [
        (2, datetime(2026, 10, 26, 7)),
        (3, datetime(2026, 10, 26, 7, 15, 0, 250_000)),
    ]
    assert refused(fleet, "line", "rule") == [
        (4, "time_out_of_range"),  # seconds where milliseconds are declared: January 1970
        (5, "cannot_be_read"),
        (6, "cannot_be_read"),
    ]


@pytest.mark.parametrize(
    ("zone", "hours", "label"),
    [
        ("+02:00", -2, "instant"),
        ("-07:30", 7.5, "interval_ending"),
        ("+00:00", 0, "interval_ending"),
        ("+14:00", -14, "instant"),
    ],
)
def test_fixed_offsets_know_no_clock_change(fleet, zone, hours, label) -> None:
    """Local = UTC + offset, on both sides of a change of clocks; the local day is still the site's."""
    time = f'column = "t"\nformat = "%Y-%m-%d %H:%M"\nzone = "{zone}"'
    fleet.own_dialect(
        SHAPE.format(file='delimiter = ","', time=time, pump='column = "pump"', quantity=SPEED).replace(
            '"instant"', f'"{label}"'
        )
    )
    stamps = [
        datetime(2026, 10, 24, 23, 30),
        datetime(2026, 10, 25, 1, 30),
        datetime(2026, 10, 25, 2, 30),
        datetime(2026, 11, 1, 8, 30),
    ]
    fleet.take("own_a.csv", "t,pump,n\n" + "".join(f"{stamp:%Y-%m-%d %H:%M},P-BE,1500\n" for stamp in stamps))
    back = timedelta(minutes=15) if label == "interval_ending" else timedelta()
    assert fleet.readings()["time_utc"].to_list() == [stamp + timedelta(hours=hours) - back for stamp in stamps]
    berlin = fleet.readings()["time_utc"].dt.replace_time_zone("UTC").dt.convert_time_zone("Europe/Berlin").dt.date()
    assert fleet.readings()["day_local"].to_list() == berlin.to_list()


# --- marks ---


@pytest.mark.parametrize(
    ("thousands", "decimal", "cells"),
    [
        (",", ".", {"1,234.5": 1234.5, "1234.5": 1234.5, "12,34": None, "1,2345": None, ",123": None, "0.5": 0.5, "1,23.4": None}),
        (".", ",", {"1.234,5": 1234.5, "1234,5": 1234.5, "1.234": 1234, "1.23": None, "1,234": 1.234, "1.234.5": None}),
        (" ", ",", {"1 234,5": 1234.5, "1\u00a0234,5": 1234.5, "1\u202f234,5": 1234.5, "1  234": None, "1 23": None, "17": 17}),
        ("'", ".", {"1'234.5": 1234.5, "1'000": 1000, "1''000": None, "'123": None, "2'34.5": None}),
    ],
)  # fmt: skip
def test_thousands_marks(fleet, thousands, decimal, cells) -> None:
    """A mark stands before every third digit, or the cell is no number: 12,34 may be anything."""
    own(
        fleet,
        f'delimiter = ";"\ndecimal = "{decimal}"\nthousands = "{thousands}"',
        quantity='power = { column = "p", unit = "W" }',
    )
    rows = [f"2026-10-26 07:{n:02d};P-LA;{cell}" for n, cell in enumerate(cells)]
    good = [f"2026-10-26 09:{n:02d};P-LA;7" for n in range(len(cells))]
    fleet.take("own_a.csv", "\n".join(["t;pump;p", *rows, *good]) + "\n")
    read = dict(held(fleet, "line", "power_w"))
    assert {cell: read.get(n) for n, cell in enumerate(cells, start=2)} == cells
    wrong = {n: cell for n, cell in enumerate(cells, start=2) if cells[cell] is None}
    assert refused(fleet, "line", "reason") == [
        (n, f"The row has the power '{cell}', which is not a number.") for n, cell in wrong.items()
    ]


def test_thousands_marks_leave_stamps_and_codes_alone(fleet) -> None:
    fleet.register_files(["site_id,site_name,zone,pool_volume_m3", "S-1,One,UTC,80"], ["pump_id,site_id", "P.100,S-1"])
    time = 'column = "t"\nformat = "%d.%m.%Y %H:%M"\nzone = "utc"'
    own(fleet, 'delimiter = ";"\ndecimal = ","\nthousands = "."', time=time)
    fleet.take("own_a.csv", "t;pump;n\n26.10.2026 07:00;P.100;1.500\n")
    assert held(fleet, "pump_id", "time_utc", "speed_rpm") == [("P.100", datetime(2026, 10, 26, 7), 1500)]


@pytest.mark.parametrize("spoil", ["", "torn\n"], ids=["by DuckDB", "line by line"])
@pytest.mark.parametrize(
    ("quote", "header", "row"),
    [
        ("'", "'t',note,'pump',n\n", "2026-10-26 07:00,'a, ''b\"',\"P-LA\",'1500'\n"),
        ("none", "t,note,pump,n\n", '2026-10-26 07:00,6" pipe \'x,"P-LA",1500\n'),
        ('\\"', '"t",note,"pump",n\n', '2026-10-26 07:00,"a, ""b\'","""P-LA""","1500"\n'),
    ],
    ids=["single", "none", "double"],
)
def test_quotes(fleet, quote, header, row, spoil) -> None:
    """A delimiter inside quotes divides nothing; without quotes, a quote is a character like any other."""
    fleet.register_files(["site_id,site_name,zone,pool_volume_m3", "S-1,One,UTC,80"], ["pump_id,site_id", "P-LA,S-1"])
    own(fleet, f'delimiter = ","\nquote = "{quote}"')
    plain = "2026-10-26 07:15,,P-LA,1600\n"
    taken = fleet.take("own_a.csv", header + row + plain + spoil)
    assert counts(taken) == [2 + bool(spoil), 1, 0, 1, 1 * bool(spoil)]
    assert held(fleet, "pump_id", "line", "speed_rpm") == [("P-LA", 3, 1600)]
    assert refused(fleet, "pump_id", "line", "rule", "raw")[0] == (
        '"P-LA"',
        2,
        "pump_not_in_register",
        row.rstrip("\n"),
    )


# --- units ---


@pytest.mark.parametrize(
    ("unit", "cells"),
    [
        ('unit = "%", full_speed_rpm = 3450', {"0": 0, "50": 1725, "100": 3450, "104.5": None, "-1": None}),
        ('unit = "Hz", full_speed_rpm = 3450, full_hz = 60', {"0": 0, "30": 1725, "60": 3450, "63": None}),
        ('unit = "Hz", full_speed_rpm = 2850, full_hz = 50', {"25": 1425, "50": 2850, "60": 3420, "64": None}),
    ],
)
def test_speed_as_a_share_or_a_frequency(fleet, unit, cells) -> None:
    """n = full speed x share, or x f / full f. More than 3600 rev/min is refused, whatever it was written in."""
    own(fleet, quantity=f'speed = {{ column = "n", {unit} }}')
    fleet.take(
        "own_a.csv", "t,pump,n\n" + "".join(f"2026-10-26 07:{n:02d},P-LA,{cell}\n" for n, cell in enumerate(cells))
    )
    read = dict(held(fleet, "line", "speed_rpm"))
    assert [read.get(n) for n in range(2, 2 + len(cells))] == [
        None if rpm is None else pytest.approx(rpm) for rpm in cells.values()
    ]
    assert {rule for (rule,) in refused(fleet, "rule")} <= {"speed_out_of_range"}


@pytest.mark.parametrize("spoil", ["", "torn\n"], ids=["by DuckDB", "line by line"])
def test_air_temperature_in_fahrenheit(fleet, spoil) -> None:
    """32 F is 0 C, 212 F is 100 C, and -40 is -40 (the fixed points of both scales); an empty cell is no 0 and no -17.8."""
    own(fleet, quantity=SPEED + '\nair_temperature = { column = "f", unit = "F" }')
    cells = {"32": 0, "-40": -40, "68": 20, "": None, "0": -17.7778, "212": "refused"}
    rows = "".join(f"2026-10-26 07:{n:02d},P-LA,1500,{cell}\n" for n, cell in enumerate(cells))
    fleet.take("own_a.csv", "t,pump,n,f\n" + rows + spoil)
    read = [value for _, value in held(fleet, "line", "air_temperature_c")]
    assert read == [None if cell is None else pytest.approx(cell, abs=1e-4) for cell in list(cells.values())[:-1]]
    assert refused(fleet, "line", "rule")[0] == (7, "temperature_out_of_range")


# --- whose rows they are ---

SITES = ["site_id,site_name,zone,pool_volume_m3", "S-LA,West,America/Los_Angeles,80", "S-BE,North,Europe/Berlin,60"]
BY_SITE = "t,site,n\n2026-10-26 07:00,S-BE,1500\n2026-10-26 07:00,S-LA,1600\n2026-10-26 07:15,S-XX,1600\n2026-10-26 07:15,P-LA2,1700\n"


def test_codes_of_sites(fleet) -> None:
    """A site with one pump stands for it; with two pumps it says nothing, and the rows wait."""
    own(fleet, pump='column = "site"\ncodes = "site"')
    taken = fleet.take("own_a.csv", BY_SITE)
    assert counts(taken) == [4, 2, 0, 2, 0]
    assert held(fleet, "line", "pump_id", "speed_rpm") == [(2, "P-BE", 1500), (5, "P-LA2", 1700)]
    assert refused(fleet, "line", "pump_id", "rule", "raw") == [
        (3, "S-LA", "pump_not_in_register", "2026-10-26 07:00,S-LA,1600"),
        (4, "S-XX", "pump_not_in_register", "2026-10-26 07:15,S-XX,1600"),
    ]


def test_codes_of_sites_follow_the_register(fleet) -> None:
    """Whatever the register was before, the readings are those of a fleet that has it as it is now."""
    own(fleet, pump='column = "site"\ncodes = "site"')
    fleet.take("own_a.csv", BY_SITE)
    one_each = ["pump_id,site_id", "P-LA,S-LA", "P-BE,S-BE"]
    fleet.register_files(SITES, one_each)
    assert fleet.ingest().taken == ["own_a.csv"]
    assert held(fleet, "line", "pump_id") == [(2, "P-BE"), (3, "P-LA")]
    assert fleet.ingest().taken == []
    fleet.register_files(SITES, [*one_each, "P-BE2,S-BE"])  # a second pump: its site's code no longer says which
    assert fleet.ingest().taken == ["own_a.csv"]
    assert held(fleet, "line", "pump_id") == [(3, "P-LA")]
    fleet.register_files(SITES, ["pump_id,site_id", "P-LA,S-LA", "P-BE2,S-BE"])  # the old one is gone
    assert fleet.ingest().taken == ["own_a.csv"]
    assert held(fleet, "line", "pump_id") == [(2, "P-BE2"), (3, "P-LA")]
    fleet.register_files(SITES, ["pump_id,site_id", "P-LA,S-BE", "P-BE2,S-LA"])  # changed places
    assert fleet.ingest().taken == ["own_a.csv"]
    assert held(fleet, "line", "pump_id") == [(2, "P-LA"), (3, "P-BE2")]


@pytest.mark.parametrize(
    ("file", "name"), [('fixed = "P-BE"', "own_a.csv"), ("file_name = '__(.+)\\.csv$'", "own_a__P-BE.csv")]
)
def test_one_pump_for_every_row(fleet, file, name) -> None:
    own(fleet, pump=file)
    fleet.put(name, "t,n,pump\n2026-10-26 07:00,1500,P-LA\n2026-10-26 07:15,1600,\n")
    fleet.ingest()
    assert held(fleet, "line", "pump_id", "speed_rpm") == [(2, "P-BE", 1500), (3, "P-BE", 1600)]


def test_a_fixed_pump_or_site_that_the_register_does_not_know(fleet) -> None:
    own(fleet, pump='fixed = "S-BE"\ncodes = "site"')
    fleet.take("own_a.csv", "t,n\n2026-10-26 07:00,1500\n")
    assert held(fleet, "pump_id") == [("P-BE",)]
    own(fleet, pump='fixed = "P-XX"')
    fleet.ingest()
    assert fleet.readings().is_empty()
    assert refused(fleet, "line", "pump_id", "rule") == [(2, "P-XX", "pump_not_in_register")]
    fleet.add_pump("P-XX")
    fleet.ingest()
    assert held(fleet, "pump_id") == [("P-XX",)]
    assert fleet.refused().filter(pl.col("fate") != "readings").is_empty()
