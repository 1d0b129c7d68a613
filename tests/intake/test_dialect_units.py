"""Scale and shift of every unit of a dialect.

Source: pint's registry of units, and, for the gallon and the degree Fahrenheit, NIST SP 811 appendix B [MEM-H].
"""

from __future__ import annotations

from fractions import Fraction

import pint
import pytest
from dialect_texts import LONG, changed, read

from pumpledger.intake.dialect import Dialect
from pumpledger.intake.dialect_file import dialect_schema
from pumpledger.intake.dialect_units import conversion

UNITS = pint.UnitRegistry()
CASES = {
    "speed": ("rpm", {"rpm": "rpm"}),
    "power": ("W", {"W": "W", "kW": "kW"}),
    "energy_total": ("kWh", {"Wh": "W * h", "kWh": "kWh", "MWh": "MW * h"}),
    "run_total": ("h", {"h": "h", "min": "min", "s": "s"}),
    "flow": ("m^3/h", {"m3/h": "m^3/h", "gpm": "US_liquid_gallon/min", "L/min": "L/min", "L/s": "L/s"}),
    "air_temperature": ("degC", {"C": "degC", "F": "degF"}),
}


def declared(quantity: str, fields: str) -> Dialect:
    return read(changed(LONG, ('speed = { column = "n", unit = "rpm" }', f'{quantity} = {{ column = "n", {fields} }}')))


@pytest.mark.parametrize(
    ("quantity", "ours", "theirs"),
    [(name, ours, theirs) for name, (_, units) in CASES.items() for ours, theirs in units.items()],
)
@pytest.mark.parametrize("value", [0.0, 1.0, -40.0, 123.456])
def test_units_agree_with_pint(quantity, ours, theirs, value) -> None:
    dialect = declared(quantity, f'unit = "{ours}"')
    expected = UNITS.Quantity(value, theirs).to(CASES[quantity][0]).magnitude
    assert value * dialect.scale[quantity] + dialect.shift[quantity] == pytest.approx(expected, rel=1e-12, abs=1e-12)


def test_every_unit_of_the_schema_is_tested() -> None:
    definitions = dialect_schema()["$defs"]
    for quantity, (_, units) in CASES.items():
        reference = definitions["quantity"]["properties"][quantity]["$ref"].rsplit("/", 1)[-1]
        assert set(definitions[reference]["properties"]["unit"]["enum"]) - {"%", "Hz"} == set(units)


def test_gallon_and_fahrenheit_are_exact() -> None:
    gallon_m3 = Fraction(231) * Fraction(254, 10_000) ** 3
    assert gallon_m3 == Fraction(3785411784, 10**12)
    assert conversion("flow", {"unit": "gpm"}, None)[0] == pytest.approx(float(gallon_m3 * 60), rel=1e-15)
    assert conversion("air_temperature", {"unit": "F"}, None) == (5 / 9, -160 / 9)


@pytest.mark.parametrize(("fahrenheit", "celsius"), [(32, 0), (212, 100), (-40, -40), (98.6, 37)])
def test_fahrenheit(fahrenheit, celsius) -> None:
    dialect = declared("air_temperature", 'unit = "F"')
    got = fahrenheit * dialect.scale["air_temperature"] + dialect.shift["air_temperature"]
    assert got == pytest.approx(celsius, abs=1e-12)


@pytest.mark.parametrize(
    ("fields", "value", "rpm"),
    [
        ('unit = "%", full_speed_rpm = 3450', 100, 3450),
        ('unit = "%", full_speed_rpm = 3450', 40, 1380),
        ('unit = "%", full_speed_rpm = 2875.5', 0, 0),
        ('unit = "Hz", full_speed_rpm = 3450, full_hz = 60', 60, 3450),
        ('unit = "Hz", full_speed_rpm = 3450, full_hz = 60', 30, 1725),
        ('unit = "Hz", full_speed_rpm = 2900, full_hz = 50', 25, 1450),
        ('unit = "Hz", full_speed_rpm = 3450, full_hz = 172.5', 86.25, 1725),
    ],
)
def test_speed_as_a_part_of_full_speed(fields, value, rpm) -> None:
    dialect = declared("speed", fields)
    assert value * dialect.scale["speed"] + dialect.shift["speed"] == pytest.approx(rpm, rel=1e-12)


@pytest.mark.parametrize(
    ("unit", "interval_s", "value", "power_w"),
    [("Wh", 900, 250, 1000), ("kWh", 3600, 1.245, 1245), ("kWh", 900, 0.25, 1000), ("MWh", 3600, 0.001, 1000)],
)
def test_energy_of_an_interval(unit, interval_s, value, power_w) -> None:
    """Facts 7h and 7i, and plain arithmetic; pint says the same."""
    scale, shift = conversion("energy", {"unit": unit}, interval_s)
    assert value * scale + shift == pytest.approx(power_w, rel=1e-12)
    theirs = UNITS.Quantity(value, CASES["energy_total"][1][unit]) / UNITS.Quantity(interval_s, "s")
    assert theirs.to("W").magnitude == pytest.approx(power_w, rel=1e-12)
