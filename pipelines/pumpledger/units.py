"""Unit conversion at the border: register files come in, reports go out. Inside, SI as the column suffixes say.

Belongs here: which unit goes with which suffix, and what people read in the metric and in the US system. Not here:
rounding, number format, money.

The factors come from pint, once each; importing this module does not import pint.
"""

from __future__ import annotations

from fractions import Fraction
from functools import cache
from typing import TYPE_CHECKING, Literal, TypeVar

if TYPE_CHECKING:
    from pint import UnitRegistry

System = Literal["metric", "us"]
Numbers = TypeVar("Numbers")
"""A float, a numpy array, a polars Series or a polars expression: whatever takes ``*`` and ``+``."""

# Suffix of a column -> unit as pint writes it. US gallon; foot of 0.3048 m.
_PINT_UNITS: dict[str, str] = {
    "m3h": "meter**3/hour",
    "gpm": "gallon/minute",
    "m": "meter",
    "ft": "foot",
    "m3": "meter**3",
    "gal": "gallon",
    "c": "degree_Celsius",
    "f": "degree_Fahrenheit",
    "w": "watt",
    "kw": "kilowatt",
    "kwh": "kilowatt_hour",
    "wh": "watt_hour",
    "m3kwh": "meter**3/kilowatt_hour",
    "galwh": "gallon/watt_hour",
    "min": "minute",
    "s": "second",
    "h": "hour",
    "rpm": "revolution/minute",
    "kpa": "kilopascal",
    "psi": "pound_force_per_square_inch",
    "bar": "bar",
    "inhg": "inch_Hg",
}

# Suffix that a register file may use -> suffix held inside.
_INSIDE: dict[str, str] = {
    "gpm": "m3h",
    "ft": "m",
    "gal": "m3",
    "f": "c",
    "kw": "w",
    "wh": "kwh",
    "h": "min",
    "s": "min",
    "psi": "kpa",
    "bar": "kpa",
    "inhg": "kpa",
}

# Quantity -> suffix held inside, (suffix, label) in the metric system, (suffix, label) in the US system.
_PEOPLE: dict[str, tuple[str, dict[System, tuple[str, str]]]] = {
    "flow": ("m3h", {"metric": ("m3h", "m³/h"), "us": ("gpm", "gpm")}),
    "head": ("m", {"metric": ("m", "m"), "us": ("ft", "ft")}),
    "volume": ("m3", {"metric": ("m3", "m³"), "us": ("gal", "gal")}),
    "temperature": ("c", {"metric": ("c", "°C"), "us": ("f", "°F")}),
    "power": ("w", {"metric": ("w", "W"), "us": ("w", "W")}),
    "energy factor": ("m3kwh", {"metric": ("m3kwh", "m³/kWh"), "us": ("galwh", "gal/Wh")}),
    "energy": ("kwh", {"metric": ("kwh", "kWh"), "us": ("kwh", "kWh")}),
    "speed": ("rpm", {"metric": ("rpm", "rpm"), "us": ("rpm", "rpm")}),
    "duration": ("min", {"metric": ("min", "min"), "us": ("min", "min")}),
}


def inside_unit(unit: str) -> str:
    """The suffix held inside for a file's suffix: ``gpm`` -> ``m3h``, ``m3h`` -> ``m3h``.

    Raises:
        KeyError: no such suffix.
    """
    if unit not in _PINT_UNITS:
        raise KeyError(unit)
    return _INSIDE.get(unit, unit)


def to_inside(values: Numbers, unit: str) -> Numbers:
    """``values`` in the file's ``unit`` as values in the unit held inside; unchanged where it is that unit already.

    Args:
        values: a number, numpy array, polars Series or polars expression.
        unit: column suffix such as ``gpm``, ``ft``, ``gal``, ``f``, ``kw``; the empty suffix has no unit.

    Raises:
        KeyError: no such suffix.
    """
    return values if unit == "" else convert(values, unit, inside_unit(unit))


def for_people(value: Numbers, quantity: str, system: System) -> tuple[Numbers, str]:
    """``value`` of a quantity as held inside, in the unit that people of ``system`` read, with that unit's label.

    Args:
        value: a number, numpy array, polars Series or expression; ``None`` stays ``None``, for missing is never zero.
        quantity: ``flow``, ``head``, ``volume``, ``temperature``, ``power``, ``energy``, ``energy factor``, ``speed`` or
            ``duration``.
        system: ``metric`` or ``us``.

    Raises:
        KeyError: no such quantity or system.
    """
    inside, by_system = _PEOPLE[quantity]
    unit, label = by_system[system]
    return (value if value is None else convert(value, inside, unit)), label


def convert(values: Numbers, unit: str, target: str) -> Numbers:
    """``values`` from one suffix's unit to another's.

    Raises:
        KeyError: no such suffix.
        pint.DimensionalityError: the two are not of one kind.
    """
    if unit == target:
        return values
    scale, offset = _line(unit, target)
    scaled = values * scale  # type: ignore[operator]
    return scaled + offset if offset else scaled


@cache
def _line(unit: str, target: str) -> tuple[float, float]:
    """Scale and offset of the straight line from ``unit`` to ``target``: exact fractions until the last step."""
    make = _registry().Quantity
    at_zero, at_one = (make(Fraction(value), _PINT_UNITS[unit]).to(_PINT_UNITS[target]).magnitude for value in (0, 1))
    return float(at_one - at_zero), float(at_zero)


@cache
def _registry() -> UnitRegistry:
    from pint import UnitRegistry  # late: it takes 0.3 s

    return UnitRegistry(non_int_type=Fraction)
