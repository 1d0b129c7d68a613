"""Border conversions against exact definitions and pint itself."""

from __future__ import annotations

import subprocess
import sys

import numpy as np
import pint
import polars as pl
import pytest

from pumpledger.units import convert, for_people, inside_unit, to_inside

UNITS = pint.UnitRegistry()


@pytest.mark.parametrize(
    ("unit", "inside", "value", "expected"),
    [
        ("gpm", "m3h", 1, 3.785411784e-3 * 60),  # US gallon of 231 cubic inches, exact
        ("ft", "m", 1, 0.3048),  # international foot, exact
        ("gal", "m3", 1, 3.785411784e-3),
        ("kw", "w", 1.5, 1500),
        ("f", "c", 32, 0),
        ("f", "c", 212, 100),
        ("f", "c", -40, -40),
        ("h", "min", 1, 60),
        ("s", "min", 90, 1.5),
        ("wh", "kwh", 250, 0.25),
    ],
)
def test_to_inside(unit: str, inside: str, value: float, expected: float) -> None:
    assert inside_unit(unit) == inside
    assert to_inside(value, unit) == pytest.approx(expected, rel=1e-14, abs=1e-12)


def test_constants_of_the_handbooks() -> None:
    """Facts 4.2: 1 gpm = 0.2271247 m3/h, 1 US gal = 3.785411784 L."""
    assert to_inside(1.0, "gpm") == pytest.approx(0.2271247, abs=5e-8)
    assert to_inside(1.0, "gal") * 1000 == pytest.approx(3.785411784, rel=1e-12)


@pytest.mark.parametrize(
    ("quantity", "value", "ours", "theirs"),
    [
        ("flow", 10.0, "meter**3/hour", "gallon/minute"),
        ("head", 10.0, "meter", "foot"),
        ("volume", 75.0, "meter**3", "gallon"),
        ("temperature", -3.0, "degC", "degF"),
    ],
)
def test_us_readers_agree_with_pint(quantity: str, value: float, ours: str, theirs: str) -> None:
    assert for_people(value, quantity, "us")[0] == pytest.approx(
        UNITS.Quantity(value, ours).to(theirs).magnitude, rel=1e-12
    )


def test_inside_units_pass_untouched() -> None:
    values = np.array([1.0, 2.0])
    for unit in ("m3h", "m", "m3", "c", "w", "rpm", "min", ""):
        assert to_inside(values, unit) is values


def test_labels() -> None:
    assert [
        for_people(1.0, name, "metric")[1] for name in ("flow", "head", "volume", "temperature", "power", "energy")
    ] == [
        "m³/h",
        "m",
        "m³",
        "°C",
        "W",
        "kWh",
    ]
    assert [for_people(1.0, name, "us")[1] for name in ("flow", "head", "volume", "temperature")] == [
        "gpm",
        "ft",
        "gal",
        "°F",
    ]


def test_missing_stays_missing() -> None:
    assert for_people(None, "volume", "us") == (None, "gal")


def test_columns_and_expressions() -> None:
    column = pl.Series("flow", [1.0, None, 0.0])
    assert to_inside(column, "gpm").to_list() == [pytest.approx(0.22712470704), None, 0.0]
    frame = pl.DataFrame({"t": [32.0, None]}).select(to_inside(pl.col("t"), "f"))
    assert frame["t"].to_list() == [0.0, None]
    assert to_inside(np.array([32.0, 212.0]), "f") == pytest.approx([0, 100])


def test_there_and_back() -> None:
    for unit, inside in (("gpm", "m3h"), ("ft", "m"), ("gal", "m3"), ("f", "c"), ("kw", "w")):
        assert convert(to_inside(37.3, unit), inside, unit) == pytest.approx(37.3, rel=1e-13)


def test_unknown_units_and_unlike_kinds() -> None:
    with pytest.raises(KeyError):
        to_inside(1.0, "furlong")
    with pytest.raises(KeyError):
        for_people(1.0, "flow", "imperial")
    with pytest.raises(pint.DimensionalityError):
        convert(1.0, "ft", "gal")


def test_importing_does_not_import_pint() -> None:
    code = "import sys, pumpledger.units; sys.exit('pint' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
