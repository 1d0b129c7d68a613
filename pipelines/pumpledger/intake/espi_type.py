"""What the codes of an ESPI ReadingType and of a reading's quality say, and which of them this tool takes.

Belongs here: the meaning of codes. Finding a reading's type by the links of the feed is `espi.py`.

Source: NAESB REQ.21 ESPI schema espi.xsd 4.0.20231213 [READ], and the public function block tests of the OpenESPI Green
Button data kit [READ]: FB_05 "Wh integrated over an interval" is accumulationBehaviour 4, commodity 1, flowDirection 1,
kind 12, uom 72; FB_06 "W demand readings" is accumulationBehaviour 12, commodity 1, flowDirection 1, kind 37, uom 38;
FB_09 (accumulationBehaviour 1) is a register and FB_07 (flowDirection 4) is net flow, both not taken. That a code
which is left out of these leaves the reading untaken is our own caution; no source.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

from pumpledger.intake.espi_feed import Fields

WATT_HOUR, WATT = 72, 38
UINT32_MAX = 2**32 - 1
INT48_MAX = 2**47

_WHOLE = re.compile(r"[ \t\r\n]*([+-]?[0-9]{1,20})[ \t\r\n]*")

_UNITS = {
    5: "A",
    29: "V",
    31: "J",
    42: "m3",
    61: "VA",
    63: "VAr",
    71: "VAh",
    73: "VArh",
    106: "Ah",
    119: "ft3",
    128: "US gal",
    132: "Btu",
    134: "L",
    169: "therm",
}
_COMMODITIES = {2: "electricity before its transformers (primary metered)", 7: "natural gas", 8: "propane", 9: "water"}
_FLOWS = {4: "net of both directions", 19: "reverse: energy given back", 20: "the total of both directions"}
_ACCUMULATIONS = {
    1: "a dial reading, not the energy of an interval",
    2: "a running sum over billing periods",
    3: "a sum over earlier billing periods",
    4: "a difference over an interval",
    6: "an indicated value",
    9: "a sum over chosen times only",
    12: "an instantaneous value",
    13: "a latched value",
    14: "a bounded value",
}
_QUALIFIERS = {
    2: "averages",
    4: "excesses",
    5: "thresholds",
    7: "thresholds",
    8: "maxima",
    9: "minima",
    11: "nominal values",
    26: "sums",
}
_KINDS = {8: "demand", 31: "line losses", 32: "losses", 48: "transformer losses"}

MEASURED = {0: "valid", 11: "derived", 14: "raw", 17: "validated", 18: "verified", 19: "revenue-quality"}
"""Qualities that leave a reading a measurement. ``derived`` is calculated from measurements."""

_NOT_MEASURED = {
    7: "manually edited",
    8: "estimated using a reference day",
    9: "estimated using linear interpolation",
    10: "questionable: it failed a check",
    12: "projected (a forecast)",
    13: "mixed",
    15: "normalised for weather",
    16: "other",
}


class Unusable(Exception):
    """Why one reading or one reading type cannot be used, as the end of a sentence that names it: "has no value".

    Never leaves the ESPI modules.
    """


@dataclass(frozen=True, slots=True)
class ReadingType:
    """What the values of a meter reading are.

    A value times ten to ``exponent`` is in ``unit``. ``interval_s`` is the default duration, ``quality`` the default
    quality and ``phase`` the phase code, where given. ``fault`` says why its readings cannot be used, as the end of a
    sentence that names it.
    """

    unit: Literal["Wh", "W"] | None = None
    exponent: int = 0
    interval_s: int | None = None
    quality: int | None = None
    phase: int | None = None
    fault: str | None = None


def whole(fields: Fields, key: str, name: str, low: int, high: int) -> int | None:
    """The whole number that stands once under ``key``; ``None`` if it is not there.

    Raises:
        Unusable: there twice, no whole number, or outside ``low`` to ``high``.
    """
    values = fields.get(key)
    if values is None:
        return None
    if len(values) > 1:
        raise Unusable(f"has {len(values)} times {name}, where one belongs")
    found = _WHOLE.fullmatch(values[0])
    if not found:
        raise Unusable(f"has a {name} that is no whole number: {values[0].strip()[:40]!r}")
    number = int(found[1])
    if not low <= number <= high:
        raise Unusable(f"has the {name} {number}, outside {low} to {high}")
    return number


def reading_type(fields: Fields) -> ReadingType:
    """The type that the fields of a ``ReadingType`` element declare."""
    try:
        code = {name: whole(fields, name, name, 0, 65535) for name in (*_CODES, "defaultQuality", "phase")}
        exponent = whole(fields, "powerOfTenMultiplier", "powerOfTenMultiplier", -12, 12)
        interval_s = whole(fields, "intervalLength", "intervalLength", 1, UINT32_MAX)
        parts = {name: whole(fields, name, name, -32768, 32767) for name in ("tou", "cpp", "consumptionTier")}
        unit = _unit(code, parts)
    except Unusable as reason:
        return ReadingType(fault=str(reason))
    # No multiplier means the unit itself: uom alone is "the base unit of measure" in the schema.
    return ReadingType(unit, exponent or 0, interval_s, code["defaultQuality"], code["phase"])


def check_quality(fields: Fields, default: int | None) -> None:
    """Pass over a reading that its file calls a measurement.

    Raises:
        Unusable: the file says that the value was estimated, forecast, edited, adjusted or doubtful.
    """
    stated = fields.get("ReadingQuality/quality")
    if stated is None:
        codes = [] if default is None else [default]  # the schema: good unless stated otherwise
    else:
        codes = [whole({"quality": [text]}, "quality", "quality", 0, 65535) for text in stated]
    for code in codes:
        if code not in MEASURED:
            name = _NOT_MEASURED.get(code, "unknown")
            raise Unusable(f"is marked in its file as no plain measurement: {name} (quality {code})")


_CODES = ("uom", "commodity", "flowDirection", "accumulationBehaviour", "kind", "dataQualifier")


def _unit(code: dict[str, int | None], parts: dict[str, int | None]) -> Literal["Wh", "W"]:
    def refuse(name: str, names: dict[int, str], wanted: str) -> None:
        found = code[name]
        if found is None:
            raise Unusable(f"has no {name}; needed is {wanted}")
        said = f" ({names[found]})" if found in names else ""
        raise Unusable(f"has {name} {found}{said}, not {wanted}")

    if code["uom"] not in (WATT_HOUR, WATT):
        refuse("uom", _UNITS, "72 (Wh) or 38 (W)")
    if code["commodity"] != 1:
        refuse("commodity", _COMMODITIES, "1 (electricity)")
    if code["flowDirection"] != 1:
        refuse("flowDirection", _FLOWS, "1 (forward: energy drawn)")
    for name, value in parts.items():
        if value:
            raise Unusable(f"has {name} {value}: only a part of what the meter counted")
    if code["uom"] == WATT_HOUR:
        if code["accumulationBehaviour"] != 4:
            refuse("accumulationBehaviour", _ACCUMULATIONS, "4 (the energy of an interval)")
        if code["kind"] not in (12, 0, None):
            refuse("kind", _KINDS, "12 (energy)")
        if code["dataQualifier"] not in (12, 0, None):
            refuse("dataQualifier", _QUALIFIERS, "12 (normal)")
        return "Wh"
    if code["accumulationBehaviour"] not in (12, 6):
        refuse("accumulationBehaviour", _ACCUMULATIONS, "12 (instantaneous) or 6 (indicating)")
    if code["kind"] not in (37, 0, None):
        refuse("kind", _KINDS, "37 (power)")
    if code["dataQualifier"] not in (12, 2, 0, None):
        refuse("dataQualifier", _QUALIFIERS, "12 (normal) or 2 (average)")
    return "W"
