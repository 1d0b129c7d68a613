"""Green Button exports (NAESB REQ.21 ESPI, files of our own making) through a source: from bytes to readings.

What a single reading means is `test_espi.py`; here it is what becomes of a file in a fleet.
"""

from __future__ import annotations

import gzip
from datetime import date, datetime

import pytest
from carrier_files import zipped

from tests.espi_writer import ENERGY, POWER, block, feed, meter, reading, reading_type, simple, usage_point

OWN = """
about = "made up: the utility's meter of one pump room"
carrier = "espi"
[time]
gap_limit_s = 7200
[pump]
{pump}
"""
START = 1792998000
"""2026-10-26T07:00:00Z, midnight in Los Angeles."""


def own(fleet, pump: str = 'fixed = "P-LA"') -> None:
    fleet.own_dialect(OWN.format(pump=pump))
    fleet.add_source("own_*.xml")


def hours(values: list[float], duration_s: int = 3600) -> list[str]:
    return [reading(START + duration_s * n, duration_s, value) for n, value in enumerate(values)]


def rows(fleet) -> list[tuple[object, ...]]:
    return fleet.readings().select("pump_id", "time_utc", "day_local", "interval_s", "power_w", "line").rows()


@pytest.mark.parametrize(
    ("codes", "value", "duration_s", "power_w"),
    [
        (ENERGY, 1500, 3600, 1500),  # 1500 Wh in an hour
        (ENERGY, 1500, 900, 6000),  # in a quarter of one
        (ENERGY | {"powerOfTenMultiplier": 3}, 2, 3600, 2000),  # 2 x 10^3 Wh
        (ENERGY | {"powerOfTenMultiplier": -3}, 2_000_000, 1800, 4000),  # 2 000 000 x 10^-3 Wh in half an hour
        (POWER, 750, 900, 750),  # W are the mean power already
    ],
)
def test_energy_of_an_interval_is_its_mean_power(fleet, codes, value, duration_s, power_w) -> None:
    """P = E / t, t in hours; value x 10^powerOfTenMultiplier is in the unit (ESPI schema)."""
    own(fleet)
    taken = fleet.take("own_a.xml", simple(hours([value], duration_s), **codes))
    assert (taken["status"], taken["data_rows"], taken["other_lines"], taken["readings"]) == ("read", 1, 0, 1)
    assert rows(fleet) == [("P-LA", datetime(2026, 10, 26, 7), date(2026, 10, 26), duration_s, power_w, 1)]
    read = fleet.readings().row(0, named=True)
    assert [read[name] for name in ("speed_rpm", "energy_total_kwh", "run_total_h", "flow_m3h", "aux_on")] == [None] * 5


def test_each_reading_has_its_own_interval(fleet) -> None:
    """Quarter hours, then an hour, then a day: one energy, three powers."""
    own(fleet)
    own_lengths = [reading(START, 900, 600), reading(START + 900, 3600, 600), reading(START + 4500, 86400, 600)]
    fleet.take("own_a.xml", simple(own_lengths))
    assert fleet.readings().select("interval_s", "power_w").rows() == [(900, 2400), (3600, 600), (86400, 25)]


def test_several_blocks_count_on(fleet) -> None:
    own(fleet)
    parts = [
        block([reading(START + 3600 * n, 3600, 100 + n) for n in range(first, first + 3)], number=1 + first // 3)
        for first in (0, 3)
    ]
    fleet.take("own_a.xml", feed(usage_point(), meter(), reading_type(1, **ENERGY), *parts))
    assert [(line, power) for *_, power, line in rows(fleet)] == [(n + 1, 100 + n) for n in range(6)]


def test_faults_are_rejects_with_their_xml(fleet) -> None:
    """One reading without value, one of no length, one that is an estimate [quality 8]: each with its XML and a reason."""
    own(fleet)
    good = hours([500] * 8)
    bad = [reading(START + 36000, 3600), reading(START + 39600, 0, 7), reading(START + 43200, 3600, 7, 8)]
    taken = fleet.take("own_a.xml", simple([*good[:4], *bad, *good[4:]]))
    assert [taken[name] for name in ("data_rows", "readings", "duplicates", "quarantine", "rejects")] == [
        11,
        8,
        0,
        0,
        3,
    ]
    refused = fleet.refused().sort("line")
    assert refused.select("line", "fate", "rule").rows() == [(n, "rejects", "cannot_be_read") for n in (5, 6, 7)]
    for (raw, reason), written in zip(refused.select("raw", "reason").iter_rows(), bad, strict=True):
        assert raw.startswith("<IntervalReading") and raw.count("<start>") == 1
        assert written.split("<start>")[1].split("</start>")[0] in raw
        assert reason.startswith("The row ") and reason.endswith(".")
    assert [line for *_, line in rows(fleet)] == [1, 2, 3, 4, 8, 9, 10, 11]


def test_rules_hold_for_its_readings_too(fleet) -> None:
    """More power than any pump draws, and the same interval twice: quarantine and duplicate, with their XML."""
    own(fleet)
    bad = [reading(START + 36000, 3600, 99_000_000), reading(START, 3600, 500), reading(START, 3600, 501)]
    taken = fleet.take("own_a.xml", simple([*hours([500, 600, 700, 800]), *bad]))
    assert [taken[name] for name in ("readings", "duplicates", "quarantine", "rejects")] == [4, 1, 2, 0]
    assert fleet.fates() == [
        (5, "quarantine", "power_out_of_range"),
        (6, "duplicates", "same_row_again"),
        (7, "quarantine", "conflicting_repeat"),
    ]
    assert all("<IntervalReading" in raw for raw in fleet.refused()["raw"])


def test_the_pump_may_stand_in_the_file_name(fleet) -> None:
    own(fleet, pump="file_name = '__(.+)\\.xml$'")
    content = simple(hours([500, 600]))
    for name in ("own_a__P-LA.xml", "own_a__P-BE.xml", "own_a.xml", "own_a__P-XX.xml"):
        fleet.put(name, content)
    exports = fleet.ingest().exports
    assert exports["readings"].to_list() == [0, 2, 2, 0]
    assert set(fleet.refused()["rule"]) == {"pump_missing", "pump_not_in_register"}
    assert fleet.readings()["pump_id"].to_list() == ["P-BE", "P-BE", "P-LA", "P-LA"]


def test_carried_like_any_other(fleet) -> None:
    own(fleet)
    content = simple(hours([500, 600]))
    fleet.put("own_a.xml", content)
    fleet.put("own_b.xml.gz", gzip.compress(content))
    fleet.put("own_c.zip", zipped(("meters/own_c.xml", content)))
    assert fleet.ingest().exports["status"].to_list() == ["read", "repeated", "repeated"]
    assert fleet.readings().height == 2
    assert fleet.ingest().taken == []


def test_a_longer_file_of_the_same_meter(fleet) -> None:
    """What a utility offers next week holds this week again, one value corrected."""
    own(fleet)
    fleet.take("own_a.xml", simple(hours([500, 600, 700])))
    taken = fleet.take("own_b.xml", simple(hours([500, 650, 700, 800])))
    assert (taken["readings"], taken["duplicates"]) == (2, 2)
    assert [(power, line) for *_, power, line in rows(fleet)] == [(500, 1), (650, 2), (700, 3), (800, 4)]
    assert "<IntervalReading" in fleet.refused()["raw"][0]


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (simple(hours([500, 600]))[:-40], "is cut off"),
        (simple(hours([500] * 50))[:3000], "is cut off"),
        (b"", ""),
        (b"time_utc,pump\n1,2\n", ""),
        (simple(hours([500]), uom=119), ""),
    ],
    ids=["last bytes", "in the middle", "empty", "text", "cubic feet"],
)
def test_files_set_aside_whole(fleet, content, said) -> None:
    """Broken off, it may lack readings that no one would miss: nothing of it counts, and the other file does."""
    own(fleet)
    fleet.put("own_b.xml", simple(hours([500])))
    row = fleet.take("own_a.xml", content)
    assert (row["status"], row["data_rows"], row["readings"]) == ("set aside", 0, 0)
    assert said in row["problem"] and len(row["problem"]) > 20, row["problem"]
    assert len(rows(fleet)) == 1
    assert [(problem.name, problem.file) for problem in fleet.ingest().problems] == [("export_espi", "own_a.xml")]
