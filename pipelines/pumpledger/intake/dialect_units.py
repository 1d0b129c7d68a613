"""Units of a dialect: the scale and shift that turn a value of an export into the unit of the readings.

Belongs here: factors and where they come from. What units people see is `pumpledger/units.py`.
"""

from __future__ import annotations

from collections.abc import Mapping

_SCALES = {
    "rpm": 1.0,
    "W": 1.0,
    "kW": 1000.0,
    "Wh": 0.001,
    "kWh": 1.0,
    "MWh": 1000.0,
    "h": 1.0,
    "min": 1 / 60,
    "s": 1 / 3600,
    "m3/h": 1.0,
    "gpm": 0.003785411784 * 60,
    "L/min": 0.06,
    "L/s": 3.6,
    "C": 1.0,
    "F": 5 / 9,
}
"""Unit -> factor. SI prefixes, minute, hour and litre: SI Brochure. US gallon, 231 cubic inches of 25.4 mm and so
3.785411784 L exactly, and degree Fahrenheit: NIST SP 811, appendix B. All [MEM-H], and held against pint by the
tests."""

_SHIFTS = {"F": -160 / 9}
"""Unit -> what is added after scaling: t[C] = (t[F] - 32) * 5/9."""

_WS_PER_KWH = 3_600_000
"""1 kWh is 3.6 MJ, by definition of the hour."""

HELD_AS = {"energy": "power"}
"""Energy of an interval is held as the mean power over it."""


def conversion(quantity: str, item: Mapping[str, object], interval_s: int | None) -> tuple[float, float]:
    """(scale, shift) of a quantity of the dialect file.

    ``item`` is its table there; ``interval_s`` is needed for ``energy`` alone. Speed in % is of ``full_speed_rpm``;
    speed in Hz is in proportion to it, full speed at ``full_hz``: the slip of the motor is taken as proportional.
    """
    unit = item["unit"]
    if unit == "%":
        return float(item["full_speed_rpm"]) / 100, 0.0
    if unit == "Hz":
        return float(item["full_speed_rpm"]) / float(item["full_hz"]), 0.0
    scale = _SCALES[unit] * (_WS_PER_KWH / interval_s if quantity == "energy" else 1.0)
    return scale, _SHIFTS.get(unit, 0.0)
