"""Real files that no one here wrote, out of installed packages: the proposal against what is known of each.

Sources: opendsm 1.2 (eemeter samples: one meter, hourly, kWh, stamped at the start), river 0.22 (hourly flow of a
pipeline branch, L/s) and pvanalytics 0.2 (one-minute inverter power; a Parquet file; month-first weather),
facts section 8. None is a pool pump's. The test fills in what the files do not say.
"""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path
from typing import Any

import pytest

from pumpledger.proposal.propose import propose
from tests.proposal.filled import stands


def inside(package: str, *parts: str) -> Path:
    """A file of an installed package; the test is skipped where the package is not there."""
    found = find_spec(package)
    if found is None or found.origin is None:
        pytest.skip(f"{package} is not installed")
    return Path(found.origin).parent.joinpath(*parts)


OFFSETS: dict[str, Any] = {"file.delimiter": ",", "time.zone": "offset"}
KNOWN: dict[str, tuple[tuple[str, ...], dict[str, Any]]] = {
    "hourly meter": (
        ("opendsm", "eemeter", "samples", "il-electricity-cdd-hdd-hourly.csv.gz"),
        OFFSETS
        | {
            "time.column": "start",
            "time.format": "%Y-%m-%dT%H:%M:%S%z",
            "time.interval_s": 3600,
            "time.label": "interval_beginning",
        },
    ),
    "pipeline flow": (
        ("river", "datasets", "water-flow.csv"),
        OFFSETS
        | {
            "time.column": "Time",
            "time.format": "%Y-%m-%dT%H:%M:%S%z",
            "time.interval_s": 3600,
            "quantity.flow": {"column": "Water flow [l/s]", "unit": "L/s"},
        },
    ),
    "inverter by the minute": (
        ("pvanalytics", "data", "serf_east_1min_ac_power.csv"),
        OFFSETS
        | {
            "time.column": "measured_on",
            "time.format": "%Y-%m-%d %H:%M:%S%z",
            "time.interval_s": 60,
            "quantity.power": {"column": "ac_power__752", "unit": "W"},
        },
    ),
    "month first, nameless time": (
        ("pvanalytics", "data", "rmis_weather_data.csv"),
        {
            "file.delimiter": ",",
            "file.preamble_lines": 1,
            "time.column": "column 1",
            "time.format": "%m/%d/%Y %H:%M",
            "time.interval_s": 300,
        },
    ),
    "Parquet": (
        ("pvanalytics", "data", "system_50_ac_power_2_full_DST.parquet"),
        {
            "time.column": "measured_on",
            "time.format": "timestamp",
            "time.zone": "utc",
            "time.interval_s": 900,
            "quantity.power": {"column": "ac_power_2", "unit": "W"},
        },
    ),
}


@pytest.mark.parametrize("name", KNOWN)
def test_what_is_known_of_the_file_is_proposed(name: str) -> None:
    parts, known = KNOWN[name]
    proposal = propose([inside(*parts)])
    assert {key: proposal.value(key) for key in known} == known
    assert proposal.carrier == ("parquet" if name == "Parquet" else "text")
    pump = proposal.claim("pump.file_name")
    assert pump is not None and pump.asked, "nothing in one file of one meter says whose it is"
    assert not stands(proposal)[0]


def test_a_value_without_a_name_is_asked_and_not_guessed() -> None:
    """The meter's column is called value: no unit, no quantity."""
    proposal = propose([inside("opendsm", "eemeter", "samples", "il-electricity-cdd-hdd-hourly.csv.gz")])
    claim = proposal.claim("quantity")
    assert claim is not None and claim.asked
    assert any("'value'" in note for note in proposal.notes)


def test_wind_speed_is_no_pump_speed() -> None:
    """The weather file has a column Wind Speed, of 0 to 14 m/s, and a temperature without unit."""
    proposal = propose([inside("pvanalytics", "data", "rmis_weather_data.csv")])
    assert proposal.claim("quantity.speed") is None
    temperature = proposal.claim("quantity.air_temperature")
    assert temperature is not None and temperature.missing == ("unit",)
