"""Numbers, names, units and counters: given columns and what may be said of them.

Units are by the names of the SI Brochure and of the trade; conversions and bounds are common practice, no source, where
not said otherwise. kWh of power times time is plain arithmetic.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from pumpledger.proposal import marks
from pumpledger.proposal.claim import Claim
from pumpledger.proposal.known_codes import KnownCodes
from pumpledger.proposal.propose import propose
from pumpledger.proposal.words import read_name

KNOWN = KnownCodes(frozenset({"P-1", "P-2", "P-2B"}), frozenset({"S-1", "S-2"}), ("America/Denver",))


@pytest.mark.parametrize(
    ("cells", "decimal", "thousands", "sureness"),
    [
        (["1.5", "2.25", "3.0"], ".", None, "sure"),
        (["1,5", "2,25", "3,0"], ",", None, "sure"),
        (["1.234,5", "2.234,5", "17,25"], ",", ".", "sure"),
        (["1,234.5", "2,234.5", "17.25"], ".", ",", "sure"),
        (["1,234,567", "2,234,567", "1,000,000"], ".", ",", "sure"),
        (["1 234,5", "2 234,5", "3 234,5"], ",", " ", "sure"),
        (["1'234.5", "2'234.5", "3'234.5"], ".", "'", "sure"),
        (["0,125", "0,250", "0,375"], ",", None, "sure"),
        (["1,234", "2,345", "3,456"], None, None, "cannot tell"),
        (["1.234", "2.345", "3.456"], None, None, "cannot tell"),
        (["1.5", "1,5", "2.5"], None, None, "cannot tell"),
        (["1500", "0", "2850"], ".", None, "likely"),
        (["1.2", "1.2", "1.2"], ".", None, "likely"),
    ],
)
def test_decimal_and_thousands(cells: list[str], decimal: str | None, thousands: str | None, sureness: str) -> None:
    found = {claim.key: claim for claim in marks.decide(cells)[1]}
    assert (found["file.decimal"].value, found["file.decimal"].sureness) == (decimal, sureness)
    assert (found["file.thousands"].value if "file.thousands" in found else None) == thousands


@pytest.mark.parametrize(
    ("name", "quantity", "unit"),
    [
        ("speed_rpm", "speed", "rpm"),
        ("Drehzahl [1/min]", "speed", "rpm"),
        ("Vitesse (tr/min)", "speed", "rpm"),
        ("Pumpendrehzahl U/min", "speed", "rpm"),
        ("PowerKW", "power", "kW"),
        ("Puissance [W]", "power", "W"),
        ("Débit [m³/h]", "flow", "m3/h"),
        ("Water flow [l/s]", "flow", "L/s"),
        ("flow gpm", "flow", "gpm"),
        ("energy_total_kwh", "energy", "kWh"),
        ("Zählerstand kWh", "energy", "kWh"),
        ("Betriebsstunden", "run", "h"),
        ("run time (min)", "run", "min"),
        ("Außentemperatur °C", "temperature", "C"),
        ("air_f", "temperature", "F"),
        ("wind speed", None, None),
        ("speed setpoint rpm", None, None),
        ("power factor", None, None),
        ("water temp C", None, None),
        ("P-7", None, None),
        ("rssi", None, None),
        ("speed_min", "speed", None),
    ],
)
def test_names(name: str, quantity: str | None, unit: str | None) -> None:
    said = read_name(name)
    assert (said.quantity, said.its_unit) == (quantity, unit)


def claim_on(tmp_path: Path, key: str, columns: dict[str, list[Any]], known: KnownCodes | None = None) -> Claim | None:
    """The claim on ``key`` for 15-minute rows of one pump with these columns."""
    count = len(next(iter(columns.values())))
    lines = [",".join(["time", *columns])]
    for row in range(count):
        at = datetime(2026, 6, 13) + timedelta(minutes=15 * row)
        lines.append(",".join([f"{at:%Y-%m-%dT%H:%M:%SZ}", *(str(cells[row]) for cells in columns.values())]))
    path = tmp_path / "log.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return propose([path], known).claim(key)


ON = [0.0] * 32 + [1.0] * 32 + [0.0] * 32
SPEED = [1500 * on for on in ON]
WATTS = [200 * on + 4 + 0.1 * (n % 5) for n, on in enumerate(ON)]
COUNTER_KWH = [1000 + sum(WATTS[:n]) / 4 / 1000 for n in range(96)]
RUN_H = [500 + sum(ON[:n]) / 4 for n in range(96)]


@pytest.mark.parametrize(
    ("name", "factor", "unit", "sureness"),
    [
        ("energy counter kWh", 1, "kWh", "sure"),
        ("energy counter Wh", 1000, "Wh", "sure"),
        ("energy counter", 1, "kWh", "likely"),
        ("energy counter", 1000, "Wh", "likely"),
        ("energy counter kWh", 1000, None, "cannot tell"),
        ("energy counter MWh", 0.001, "MWh", "sure"),
    ],
)
def test_an_energy_counter_is_held_against_the_power(
    tmp_path: Path, name: str, factor: float, unit: str | None, sureness: str
) -> None:
    """It rises by the integral of the power column, so their ratio is 1, 1000 or 0.001."""
    columns = {"speed_rpm": SPEED, "power_w": WATTS, name: [f"{value * factor:.7f}" for value in COUNTER_KWH]}
    claim = claim_on(tmp_path, "quantity.energy_total", columns)
    assert claim is not None and claim.sureness == sureness
    assert isinstance(claim.value, dict) and claim.value.get("unit") == unit


@pytest.mark.parametrize(
    ("name", "factor", "unit", "sureness"),
    [
        ("energy kWh", 0.001, "kWh", "sure"),
        ("energy Wh", 1, "Wh", "sure"),
        ("energy Wh", 0.001, None, "cannot tell"),
        ("Verbrauch", 1, "Wh", "likely"),
    ],
)
def test_energy_of_intervals_is_no_counter(
    tmp_path: Path, name: str, factor: float, unit: str | None, sureness: str
) -> None:
    columns = {"speed_rpm": SPEED, name: [f"{watts / 4 * factor:.6f}" for watts in WATTS]}
    claim = claim_on(tmp_path, "quantity.energy", columns)
    assert claim is not None and claim.sureness == sureness
    assert isinstance(claim.value, dict) and claim.value.get("unit") == unit


@pytest.mark.parametrize(
    ("name", "factor", "unit", "sureness"),
    [
        ("run hours", 1, "h", "sure"),
        ("run total s", 3600, "s", "sure"),
        ("run time min", 60, "min", "sure"),
        ("run hours", 60, None, "cannot tell"),
        ("Laufzeit", 60, "min", "likely"),
    ],
)
def test_run_time_rises_an_hour_an_hour(
    tmp_path: Path, name: str, factor: float, unit: str | None, sureness: str
) -> None:
    claim = claim_on(
        tmp_path, "quantity.run_total", {"speed_rpm": SPEED, name: [f"{hours * factor:.2f}" for hours in RUN_H]}
    )
    assert claim is not None and claim.sureness == sureness
    assert isinstance(claim.value, dict) and claim.value.get("unit") == unit


@pytest.mark.parametrize(
    ("columns", "key", "unit", "sureness"),
    [
        ({"speed": SPEED}, "speed", "rpm", "sure"),
        ({"speed": [on * 43.5 for on in ON]}, "speed", None, "cannot tell"),
        ({"speed rpm": [on * 60 for on in ON]}, "speed", None, "cannot tell"),
        ({"speed Hz": SPEED}, "speed", None, "cannot tell"),
        ({"speed rpm": [0] * 96}, "speed", "rpm", "likely"),
        ({"speed": [0] * 96}, "speed", None, "cannot tell"),
        ({"speed rpm": [speed * 60 for speed in SPEED]}, "speed", None, "cannot tell"),
        ({"speed rpm": SPEED, "power kW": [w / 1000 for w in WATTS]}, "power", "kW", "sure"),
        ({"speed rpm": SPEED, "power W": [w / 1000 for w in WATTS]}, "power", None, "cannot tell"),
        ({"speed rpm": SPEED, "power": WATTS}, "power", "W", "likely"),
        ({"power W": [4 + 0.1 * (n % 3) for n in range(96)]}, "power", "W", "likely"),
        ({"power": [4 + 0.1 * (n % 3) for n in range(96)]}, "power", None, "cannot tell"),
        ({"flow gpm": [40 * on for on in ON]}, "flow", "gpm", "likely"),
        ({"flow": [40 * on for on in ON]}, "flow", None, "cannot tell"),
        ({"flow m3/h": [4000 * on for on in ON]}, "flow", None, "cannot tell"),
        ({"air F": [60 + n / 4 for n in range(96)]}, "air_temperature", "F", "sure"),
        ({"air C": [12 + n / 10 for n in range(96)]}, "air_temperature", "C", "likely"),
        ({"air C": [60 + n / 4 for n in range(96)]}, "air_temperature", None, "cannot tell"),
        ({"temp C": [12 + n / 10 for n in range(96)]}, "air_temperature", None, "cannot tell"),
    ],
)
def test_units_by_name_and_values(
    tmp_path: Path, columns: dict[str, list[Any]], key: str, unit: str | None, sureness: str
) -> None:
    claim = claim_on(tmp_path, f"quantity.{key}", columns)
    assert claim is not None and claim.sureness == sureness, claim
    assert isinstance(claim.value, dict) and claim.value.get("unit") == unit


@pytest.mark.parametrize(
    ("words", "value", "sureness"),
    [
        (("on", "off"), {"on": ["on"], "off": ["off"]}, "sure"),
        (("EIN", "AUS"), {"on": ["EIN"], "off": ["AUS"]}, "sure"),
        (("1", "1"), {"on": ["1"], "off": ["0"]}, "likely"),
        (("OFF", "OFF"), {"on": ["ON"], "off": ["OFF"]}, "likely"),
        (("A", "B"), {}, "cannot tell"),
    ],
)
def test_the_auxiliary_load(tmp_path: Path, words: tuple[str, str], value: dict[str, Any], sureness: str) -> None:
    claim = claim_on(tmp_path, "quantity.aux", {"speed": SPEED, "heater": [words[n % 2] for n in range(96)]})
    assert claim is not None and claim.sureness == sureness
    assert claim.value == {"column": "heater"} | value


def test_two_columns_of_one_quantity_are_asked(tmp_path: Path) -> None:
    claim = claim_on(tmp_path, "quantity.speed", {"speed_rpm": SPEED, "Drehzahl_rpm": SPEED})
    assert claim is not None and claim.missing == ("column",) and claim.asked


def test_the_register_makes_codes_sure(tmp_path: Path) -> None:
    """A column that no name gives away, sites in place of pumps, codes in file names and in column names."""
    codes = ["P-1", "P-2"] * 48
    claim = claim_on(tmp_path, "pump.column", {"x": codes, "speed": SPEED}, KNOWN)
    assert claim is not None and (claim.value, claim.sureness) == ("x", "sure")
    sites = claim_on(tmp_path, "pump.codes", {"x": ["S-1", "S-2"] * 48, "speed": SPEED}, KNOWN)
    assert sites is not None and (sites.value, sites.sureness) == ("site", "sure")
    wide = claim_on(tmp_path, "pump.header", {"Pump P-1 kW": WATTS, "Pump P-2B kW": WATTS}, KNOWN)
    assert wide is not None and (wide.value, wide.sureness) == (r"Pump\ (.+)\ kW", "sure")
    path = tmp_path / "2026-06 P-2B export.csv"
    (tmp_path / "log.csv").write_text(
        "time,speed\n" + "".join(f"2026-06-{d:02d}T00:00:00Z,{1500 + d}\n" for d in range(1, 20))
    )
    (tmp_path / "log.csv").rename(path)
    named = propose([path], KNOWN).claim("pump.file_name")
    assert named is not None and named.sureness == "sure" and "P-2B" in named.evidence


def test_bare_codes_as_column_names_are_spelt_out(tmp_path: Path) -> None:
    claim = claim_on(tmp_path, "pump.columns", {"P-1": WATTS, "P-2": WATTS})
    assert claim is not None and claim.value == {"P-1": "P-1", "P-2": "P-2"}
    asked = claim_on(tmp_path, "quantity", {"P-1": WATTS, "P-2": WATTS})
    assert asked is not None and asked.asked
