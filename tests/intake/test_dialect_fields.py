"""What each field of a dialect becomes, and the one fault each misuse is told as."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import pytest
from dialect_texts import BARE, ESPI, LONG, PARQUET, WIDE, changed, faults, read
from hypothesis import given, settings
from hypothesis import strategies as st

import pumpledger.intake
from pumpledger.intake.dialect import QUANTITIES
from pumpledger.intake.dialect_file import parse_dialect
from pumpledger.intake.dialects import load_dialects
from pumpledger.problems import Problem

FORM, PUMP, FILE = 'format = "%Y-%m-%d %H:%M"', 'column = "pump"', 'delimiter = ","'
SPEED = 'speed = { column = "n", unit = "rpm" }'
TWO = 'date_column = "d"\nclock_column = "c"'


def test_defaults() -> None:
    dialect = read(LONG)
    assert (dialect.carrier, dialect.encoding, dialect.delimiter, dialect.quote) == ("text", "utf-8", ",", '"')
    assert (dialect.decimal, dialect.thousands, dialect.names, dialect.footer) == (".", None, None, None)
    assert (dialect.pump_codes, dialect.aux_column, dialect.wide, dialect.epoch) == ("pump", None, False, False)
    assert (dialect.header_lines, dialect.hold_s, dialect.time_columns) == (1, 900, ("t",))
    assert (dialect.columns, dialect.scale, dialect.shift) == ({"speed": "n"}, {"speed": 1.0}, {"speed": 0.0})
    assert dialect.digest == hashlib.sha256(LONG.encode()).hexdigest()


@pytest.mark.parametrize(
    ("field", "attribute", "expected"),
    [
        ('encoding = "windows-1252"', "encoding", "windows-1252"),
        ('quote = "none"', "quote", None),
        ('quote = "\'"', "quote", "'"),
        ('quote = "\\""', "quote", '"'),
        ('thousands = "."\ndecimal = ","', "thousands", "."),
        ('thousands = " "', "thousands", " "),
        ('thousands = "\'"', "thousands", "'"),
        ('footer = "# end"', "footer", "# end"),
        ('footer = "---"', "footer", "---"),
        ("preamble_lines = 3", "header_lines", 4),
        ('preamble_lines = 3\nnames = ["t", "pump", "n"]', "header_lines", 3),
    ],
)
def test_file_fields(field, attribute, expected) -> None:
    assert getattr(read(changed(LONG, (FILE, f'delimiter = ";"\n{field}'))), attribute) == expected


@pytest.mark.parametrize(
    ("text", "needed"),
    [
        (LONG, ["t", "pump", "n"]),
        (BARE, ["t", "pump", "n"]),
        (changed(LONG, ('column = "t"', TWO)), ["d", "c", "pump", "n"]),
        (WIDE, ["t"]),
        (changed(WIDE, ('header = "(P-.+) W"', 'columns = { "a" = "P-1", "b" = "P-2" }')), ["t", "a", "b"]),
        (ESPI, []),
        (PARQUET, ["t", "pump", "n"]),
    ],
)
def test_needed_columns(text, needed) -> None:
    assert read(text).needed_columns == needed


def test_wide_by_regular_expression_fits_the_whole_name() -> None:
    dialect = read(WIDE)
    assert dialect.wide
    assert dialect.columns == {"power": ""}
    names = ["t", "P-7 W", "P-7 W max", "x P-7 W", "P-A.2 W"]
    assert [dialect.pump_of_column(name) for name in names] == [None, "P-7", None, None, "P-A.2"]


def test_wide_spelt_out() -> None:
    dialect = read(changed(WIDE, ('header = "(P-.+) W"', 'columns = { "Pump house 3" = "P-3" }\ncodes = "site"')))
    assert (dialect.wide, dialect.pump_codes) == (True, "site")
    assert [dialect.pump_of_column(name) for name in ("Pump house 3", "pump house 3", "t")] == ["P-3", None, None]


def test_fixed_pump() -> None:
    assert read(changed(LONG, (PUMP, 'fixed = "P-1"'))).pump_of("whatever.csv") == "P-1"


def test_energy_of_an_interval_is_held_as_its_mean_power() -> None:
    """Facts 7i: 250 Wh in 900 s are 1.000 kW."""
    dialect = read(changed(LONG, (SPEED, 'energy = { column = "e", unit = "Wh" }')))
    assert (dialect.columns, dialect.scale) == ({"power": "e"}, {"power": 4.0})
    assert 250 * dialect.scale["power"] == 1000
    wide = read(changed(WIDE, ('power = { unit = "W" }', 'energy = { unit = "kWh" }')))
    assert (wide.columns, wide.scale) == ({"power": ""}, {"power": 3_600_000 / 900})


def test_espi_is_power_of_intervals_in_utc() -> None:
    dialect = read(ESPI)
    assert (dialect.carrier, dialect.columns, dialect.scale, dialect.shift) == (
        "espi",
        {"power": ""},
        {"power": 1.0},
        {"power": 0.0},
    )
    assert (dialect.label, dialect.zone, dialect.interval_s) == ("interval_beginning", "utc", None)
    assert (dialect.gap_limit_s, dialect.time_columns, dialect.wide) == (7200, (), False)
    by_name = read(changed(ESPI, ('fixed = "P-3"', 'file_name = "^meter_(.+)\\\\.xml$"\ncodes = "site"')))
    assert (by_name.pump_of("meter_S-1.xml"), by_name.pump_codes) == ("S-1", "site")


def test_parquet() -> None:
    dialect = read(changed(PARQUET, (FORM, 'format = "timestamp"'), ('"utc"', '"site"')))
    assert (dialect.carrier, dialect.time_format, dialect.zone) == ("parquet", "timestamp", "site")


@pytest.mark.parametrize(
    ("zone", "seconds"),
    [("+02:00", 7200), ("-09:30", -34200), ("+00:00", 0), ("+14:00", 50400), ("-12:00", -43200), ("+05:45", 20700)],
)
def test_fixed_offsets(zone, seconds) -> None:
    dialect = read(changed(LONG, ('"utc"', f'"{zone}"')))
    assert (dialect.zone, dialect.fixed_offset_s) == (zone, seconds)


@pytest.mark.parametrize("zone", ["utc", "site", "Asia/Kathmandu", "UTC"])
def test_zones_that_are_no_fixed_offset(zone) -> None:
    assert read(changed(LONG, ('"utc"', f'"{zone}"'))).fixed_offset_s is None


@pytest.mark.parametrize(
    "form",
    ["%d/%m/%y %I:%M %p", "%Y-%j %H", "%b %d %Y %H:%M:%S.%f", "%Y%m%dT%H%M%S", "%Y-%m-%d", "epoch_s", "epoch_ms"],
)
def test_formats(form) -> None:
    dialect = read(changed(LONG, (FORM, f'format = "{form}"')))
    assert (dialect.time_format, dialect.epoch) == (form, form.startswith("epoch"))


@pytest.mark.parametrize(
    ("text", "old", "new", "expected"),
    [
        # one sentence each, by the place in the file
        (LONG, 'about = "made up"', 'about = "made up"\ncarrier = "fax"', "carrier: 'fax' is not one of"),
        (LONG, "[file]\n" + FILE, "", "top level: 'file' is a required property"),
        (LONG, "[quantity]\n" + SPEED, "", "top level: 'quantity' is a required property"),
        (LONG, FILE, f"{FILE}\nquote = '`'", "file.quote: '`' is not one of"),
        (LONG, FILE, "delimiter = '+'", "file.delimiter is no letter, digit or sign"),
        (LONG, FILE, "delimiter = '0'", "file.delimiter is no letter, digit or sign"),
        (LONG, FILE, 'delimiter = ";"\nquote = "\'"\nthousands = "\'"', "file.thousands is neither"),
        (LONG, FILE, 'delimiter = "\'"\nquote = "\'"', "file.delimiter is neither a quote"),
        (LONG, FILE, 'delimiter = ";"\ndecimal = ","\nthousands = ","', "file.thousands is neither"),
        (LONG, FILE, 'delimiter = " "\nthousands = " "', "file.thousands is neither"),
        (LONG, FILE, f'{FILE}\nthousands = "_"', "file.thousands: '_' is not one of"),
        (LONG, FILE, f'{FILE}\nfooter = ""', "file.footer: "),
        (LONG, FILE, f'{FILE}\nfooter = "  "', "file.footer: "),
        (LONG, FILE, f'{FILE}\nfooter = "2026-"', "file.footer begins like a row of data"),
        (LONG, FILE, f"{FILE}\npreamble_lines = -1", "file.preamble_lines: -1 is less than"),
        (BARE, '"x"', '"t"', "file.names: "),
        (BARE, '"x"', '" x"', "a column's name has blanks at its ends"),
        (BARE, '["t", "n", "pump", "x"]', '["t", "x"]', "missing there: pump, n"),
        (BARE, '["t", "n", "pump", "x"]', '["t", "pump", "x"]', "missing there: n"),
        (LONG, 'column = "t"', 'column = " t"', "a column's name has blanks at its ends"),
        (LONG, 'column = "t"', 'column = ""', "time.column: '' "),
        (LONG, 'column = "t"', 'date_column = "d"', "time: needs either column, or date_column and clock_column"),
        (LONG, 'column = "t"', f'column = "t"\n{TWO}', "time: needs either column"),
        (LONG, 'column = "t"', 'column = "t"\nclock_column = "c"', "time: needs either column"),
        (LONG, 'column = "t"', 'date_column = "d"\nclock_column = "d"', "a column stands for two things: d"),
        (LONG, 'column = "t"', 'date_column = "d"\nclock_column = "n"', "a column stands for two things: n"),
        (LONG, f'column = "t"\n{FORM}', f'{TWO}\nformat = "%Y-%m-%dT%H:%M"', "time.format holds no space"),
        (LONG, f'column = "t"\n{FORM}', f'{TWO}\nformat = "epoch_ms"', "time.date_column and time.clock_column need"),
        (LONG, FORM, 'format = "timestamp"', 'time.format = "timestamp" is a typed column'),
        (LONG, f'{FORM}\nzone = "utc"', 'format = "epoch_ms"\nzone = "site"', 'time.format = "epoch_ms" goes with'),
        (LONG, f'{FORM}\nzone = "utc"', 'format = "epoch_s"\nzone = "+01:00"', 'time.format = "epoch_s" goes with'),
        (LONG, FORM, 'format = "%d.%m. %H:%M"', "time.format says the year (%Y or %y) not at all"),
        (LONG, FORM, 'format = "%Y %H:%M"', "time.format says the day (%m, %b or %B with %d, or %j) not at all"),
        (LONG, FORM, 'format = "%Y-%d %H:%M"', "time.format says the day"),
        (LONG, FORM, 'format = "%Y-%m-%d %I:%M"', "time.format says the hour (%H, or %I with %p) not at all"),
        (LONG, FORM, 'format = "%Y-%m-%d :%M"', "time.format says the hour"),
        (LONG, FORM, 'format = "%Y-%m-%d %H:%M %p"', "time.format holds %I or %p beside %H"),
        (LONG, FORM, 'format = "%Y-%m-%d %H:%M:%M"', "time.format holds %M twice"),
        (
            LONG,
            f'{FORM}\nzone = "utc"',
            'format = "%Y-%m-%d %H:%M %%z"\nzone = "offset"',
            "goes with %z in time.format",
        ),
        (LONG, 'zone = "utc"', 'zone = "+2:00"', "time.zone is utc, offset, site, a fixed offset"),
        (LONG, 'zone = "utc"', 'zone = "+0200"', "time.zone is utc, offset, site, a fixed offset"),
        (LONG, 'zone = "utc"', 'zone = "+\u0660\u0662:00"', "time.zone is utc, offset, site, a fixed offset"),
        (LONG, 'zone = "utc"', 'zone = "+14:15"', "time.zone = '+14:15' is no offset of any place"),
        (LONG, 'zone = "utc"', 'zone = "-12:15"', "time.zone = '-12:15' is no offset of any place"),
        (LONG, 'zone = "utc"', 'zone = "+02:20"', "time.zone = '+02:20' is no offset of any place"),
        (LONG, 'zone = "utc"', 'zone = "+99:00"', "time.zone = '+99:00' is no offset of any place"),
        (LONG, PUMP, "", "pump: needs exactly one of column, file_name, fixed, header and columns"),
        (LONG, PUMP, 'codes = "pump"', "pump: needs exactly one of"),
        (LONG, PUMP, f'{PUMP}\nfixed = "P-1"', "pump: needs exactly one of"),
        (LONG, PUMP, f'{PUMP}\ncodes = "both"', "pump.codes: 'both' is not one of"),
        (LONG, PUMP, 'fixed = " "', "pump.fixed: "),
        (LONG, PUMP, 'fixed = "P-1 "', "pump.fixed: "),
        (LONG, PUMP, f'file_name = "({"a" * 200})"', "pump.file_name: "),
        (LONG, PUMP, 'file_name = "((?:a+)+)$"', "pump.file_name may take hours"),
        (LONG, PUMP, "columns = {}", "pump.columns: "),
        (WIDE, '"(P-.+) W"', '"P-.+ W"', "pump.header needs exactly one group"),
        (WIDE, '"(P-.+) W"', '"(P-.+ W"', "pump.header is not a regular expression"),
        (WIDE, '"(P-.+) W"', '"(.+)"', "pump.header also fits the time column 't'"),
        (WIDE, FILE, f'{FILE}\nnames = ["t", "a"]', "file.names holds no column that pump.header fits"),
        (WIDE, 'header = "(P-.+) W"', 'columns = { t = "P-1" }', "a column stands for two things: t"),
        (WIDE, 'header = "(P-.+) W"', 'columns = { a = "P-1", b = "P-1" }', "two columns the same code: P-1"),
        (WIDE, 'header = "(P-.+) W"', 'columns = { a = "" }', "pump.columns.a: "),
        (WIDE, '{ unit = "W" }', '{ unit = "W" }\nflow = { unit = "gpm" }', "[quantity] holds exactly one quantity"),
        (WIDE, '{ unit = "W" }', '{ unit = "W", column = "w" }', "quantity: no column is named there"),
        (
            LONG,
            SPEED,
            'energy = { column = "e", unit = "Wh" }\npower = { column = "p", unit = "W" }',
            "quantity.energy and quantity.power say the same",
        ),
        (
            changed(LONG, ("interval_beginning", "instant")),
            SPEED,
            'energy = { column = "e", unit = "Wh" }',
            "quantity.energy is the energy of an interval",
        ),
        (LONG, 'column = "n", ', "", "quantity.speed.column is needed"),
        (LONG, 'column = "n"', 'column = ""', "quantity.speed.column: ''"),
        (LONG, '"rpm"', '"%"', "quantity.speed: 'full_speed_rpm' is a required property"),
        (LONG, '"rpm"', '"Hz", full_speed_rpm = 3450', "quantity.speed: 'full_hz' is a required property"),
        (LONG, '"rpm"', '"%", full_speed_rpm = 3450, full_hz = 60', "quantity.speed.full_hz: goes with unit Hz only"),
        (LONG, '"rpm"', '"rpm", full_speed_rpm = 3450', "quantity.speed.full_speed_rpm: goes with unit % or Hz only"),
        (LONG, '"rpm"', '"%", full_speed_rpm = 60', "quantity.speed.full_speed_rpm: 60 is less than"),
        (LONG, '"rpm"', '"%", full_speed_rpm = inf', "quantity.speed.full_speed_rpm: inf is greater than"),
        (LONG, '"rpm"', '"%", full_speed_rpm = nan', "quantity.speed.full_speed_rpm is a number"),
        (LONG, '"rpm"', '"Hz", full_speed_rpm = 3450, full_hz = nan', "quantity.speed.full_hz is a number"),
        (LONG, '"rpm"', '"Hz", full_speed_rpm = 3450, full_hz = true', "quantity.speed.full_hz: True is not of type"),
        (LONG, SPEED, 'air_temperature = { column = "a", unit = "K" }', "quantity.air_temperature.unit: 'K' is not"),
        (PARQUET, "[time]", '[file]\ndelimiter = ","\n[time]', "file: is for text files only"),
        (PARQUET, f'{FORM}\nzone = "utc"', 'format = "timestamp"\nzone = "offset"', 'time.zone = "offset" goes with'),
        (PARQUET, 'column = "t"', f"{TWO}", None),
        (PARQUET, f'column = "t"\n{FORM}', f'{TWO}\nformat = "timestamp"', "time.date_column and time.clock_column"),
        (ESPI, "[time]", '[file]\ndelimiter = ","\n[time]', "file: is for text files only"),
        (ESPI, "[pump]", '[quantity]\npower = { column = "p", unit = "W" }\n[pump]', "quantity: is always the energy"),
        (ESPI, "[time]", '[time]\ncolumn = "t"', "expected: gap_limit_s alone"),
        (ESPI, "[time]", '[time]\nzone = "utc"', "expected: gap_limit_s alone"),
        (ESPI, "gap_limit_s = 7200", "", "time: 'gap_limit_s' is a required property"),
        (ESPI, 'fixed = "P-3"', 'codes = "site"', "pump: needs exactly one of file_name and fixed, with carrier espi"),
    ],
)
def test_each_fault_is_told_once(text, old, new, expected) -> None:
    if expected is None:  # the near miss of its neighbour
        read(changed(text, (old, new)))
        return
    (said,) = faults(changed(text, (old, new)))
    assert expected in said


def test_two_faults_of_one_slip() -> None:
    """A pump of an ESPI file that rows should give: what is there and what is not."""
    assert [said.split(": ")[0] for said in faults(changed(ESPI, ("fixed", "column")))] == ["pump", "pump"]


def test_faults_of_schema_and_rules_come_together() -> None:
    """A rule speaks as long as the tables it looks at are sound."""
    text = changed(LONG, ("interval_s = 900", ""), ('"utc"', '"Nowhere"'), (FILE, 'delimiter = ","\ncolour = 3'))
    assert len(faults(text)) == 3
    assert len(faults(changed(text, (PUMP, 'file_name = "x"')))) == 4


def test_long_text_is_not_said_back_whole() -> None:
    assert all(len(said) < 700 for said in faults(changed(LONG, ('"rpm"', f'"{"x" * 100_000}"'))))


@pytest.mark.parametrize(
    "text", ["a = " + "[" * 100_000, "a = " + "9" * 10_000, "a = 1\na = 2", "\0", "a = 2026-13-45"]
)
def test_what_is_no_toml_is_a_sentence(text) -> None:
    (said,) = faults(text)
    assert said.startswith("is not a TOML file")
    assert len(said) < 400


_KEYS = st.sampled_from(["carrier", "file", "time", "pump", "quantity", "column", "zone", "unit", "names", "codes"])
_VALUES = st.recursive(
    st.sampled_from(["", "utc", "espi", "%", "(", "epoch_ms"]) | st.integers(-5, 5) | st.booleans() | st.floats(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(_KEYS, inner, max_size=4),
    max_leaves=8,
)


def _toml(value: object) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key} = {_toml(item)}" for key, item in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(_toml, value)) + "]"
    return str(value) if isinstance(value, float) else json.dumps(value)


@settings(deadline=None, derandomize=True)
@given(st.dictionaries(_KEYS, _VALUES, max_size=6))
def test_any_toml_gives_sentences_and_no_traceback(content) -> None:
    """None of these holds, for none says what it is about."""
    said = faults("".join(f"{key} = {_toml(value)}\n" for key, value in content.items()))
    assert said == list(dict.fromkeys(said))


@settings(deadline=None, derandomize=True)
@given(st.data())
def test_any_field_of_a_good_dialect_may_be_anything(data) -> None:
    """One value of a dialect that holds becomes something else: a dialect or sentences, never a traceback."""
    text = data.draw(st.sampled_from([LONG, WIDE, BARE, PARQUET, ESPI]))
    lines = text.splitlines()
    at = data.draw(st.sampled_from([i for i, line in enumerate(lines) if " = " in line]))
    lines[at] = f"{lines[at].split(' = ')[0]} = {_toml(data.draw(_VALUES))}"
    problems: list[Problem] = []
    assert (parse_dialect("\n".join(lines), "own", "own.toml", problems) is None) == bool(problems)


def test_the_packages_dialects_read_as_ever() -> None:
    """Written down when the schema was widened; the tests of readings rest on the same numbers."""
    dialects = load_dialects(Path("nowhere"), [])
    assert {name: dialect.scale for name, dialect in dialects.items()} == {
        "samples_1min": {"speed": 1.0, "power": 1.0},
        "samples_5min": {"speed": 1.0, "power": 1.0},
        "means_15min": {"speed": 1.0, "power": 1000.0},
        "events": {"speed": 1.0, "power": 1.0, "air_temperature": 1.0},
        "counters": {"speed": 1.0, "energy_total": 1.0, "run_total": 1.0},
    }
    assert dialects["events"].columns["air_temperature"] == "air_c"
    assert all(set(dialect.columns) <= set(QUANTITIES) for dialect in dialects.values())
    assert all(set(dialect.columns) == set(dialect.scale) == set(dialect.shift) for dialect in dialects.values())


def test_the_schema_is_a_schema() -> None:
    import jsonschema

    path = Path(pumpledger.intake.__file__).parent / "dialect.schema.json"
    jsonschema.Draft202012Validator.check_schema(json.loads(path.read_text(encoding="utf-8")))
