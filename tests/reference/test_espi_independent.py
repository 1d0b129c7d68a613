"""Green Button files read by us and by an independent ESPI reader: the same Wh in every interval.

Source: greenbutton-objects 2024.7.11 from PyPI (Apache-2.0), a general reader of the open standard that shares no code
with ours. The file is made up, in the form of the published samples: links by container, several meter readings, blocks
out of order, comments, costs, qualities. The other reader knows no refusals, so only usable readings are compared, and
all of them.
"""

from __future__ import annotations

import io
from collections import Counter
from datetime import UTC, datetime
from math import isclose
from pathlib import Path
from random import Random

import pytest
from greenbutton_objects.enums import UomType
from greenbutton_objects.parse import parse_feed

from pumpledger.intake.espi import EspiReading, espi_readings
from tests.espi_writer import ENERGY, block, feed, local_time, meter, reading, reading_type, usage_point

START = int(datetime(2026, 10, 26, 7, tzinfo=UTC).timestamp())  # a week over the American change of 1 November
POINTS = {1: (1, 0, 900), 2: (2, -3, 3600), 3: (3, 3, 86_400), 4: (1, 0, 900)}
"""Usage point -> type, multiplier, seconds. Two of them share a type."""


def made_up_week() -> bytes:
    chance = Random(20261026)
    entries = [local_time(-28800, 3600, "360E2000", "B40E2000")]
    for point, (number, _, _) in POINTS.items():
        entries += [usage_point(point), meter(point, 1, [number])]
    for number, exponent, seconds in sorted(set(POINTS.values())):
        codes = {**ENERGY, "powerOfTenMultiplier": exponent, "intervalLength": seconds, "currency": 840, "phase": 769}
        entries.append(reading_type(number, **codes, dataQualifier=12, timeAttribute=0))
    for point, (_, _, seconds) in POINTS.items():
        days = []
        for day in range(7):
            begin = START + 86_400 * day
            starts = range(begin, begin + 86_400, seconds)
            rows = [
                reading(
                    start, seconds, chance.randrange(2_000), *chance.choice([(), (17,), (14, 18)]), extra="<!-- . -->"
                )
                for start in starts
            ]
            days.append(block(rows, point=point, number=day, interval=(begin, 86_400)))
        chance.shuffle(days)
        entries += days
    return feed(*entries)


@pytest.fixture(scope="module")
def ours() -> dict[tuple[str, datetime], EspiReading]:
    rows = list(espi_readings(io.BytesIO(made_up_week())))
    assert all(row.fault is None for row in rows)
    return {(row.usage_point, row.start_utc): row for row in rows}


@pytest.fixture(scope="module")
def theirs(tmp_path_factory: pytest.TempPathFactory) -> dict[tuple[str, datetime], tuple[int, int, float]]:
    """Usage point and start -> seconds, whole number as written, Wh; all by the other reader."""
    path = Path(tmp_path_factory.mktemp("espi")) / "made_up_week.xml"
    path.write_bytes(made_up_week())
    found = {}
    for point in parse_feed(str(path)):
        for meter_reading in point.meterReadings:
            assert meter_reading.readingType.uom is UomType.wattHours
            for row in meter_reading.intervalReadings:
                period = row.timePeriod
                key = point.link_self, period.start.astimezone(UTC).replace(tzinfo=None)
                found[key] = int(period.duration.total_seconds()), row._value, row.value
    return found


def test_the_same_readings_at_the_same_times(ours: dict, theirs: dict) -> None:
    assert ours.keys() == theirs.keys()
    assert Counter(point[-1] for point, _ in ours) == {"1": 7 * 96, "2": 7 * 24, "3": 7, "4": 7 * 96}
    assert all(ours[key].duration_s == seconds for key, (seconds, _, _) in theirs.items())


def test_the_same_wh_in_every_interval(ours: dict, theirs: dict) -> None:
    """To the last bit where the multiplier is whole; the other reader multiplies by 0.001, which rounds twice."""
    for key, (_, written, energy_wh) in theirs.items():
        exponent = POINTS[int(key[0][-1])][1]
        if exponent >= 0:
            assert ours[key].energy_wh == energy_wh
        else:
            assert ours[key].energy_wh == written / 1000
            assert isclose(ours[key].energy_wh, energy_wh, rel_tol=4e-16)


def test_the_same_energy_of_the_week(ours: dict, theirs: dict) -> None:
    for point in POINTS:
        mine = sum(row.energy_wh for (name, _), row in sorted(ours.items()) if name.endswith(f"/{point}"))
        other = sum(wh for (name, _), (_, _, wh) in sorted(theirs.items()) if name.endswith(f"/{point}"))
        assert mine > 0 and isclose(mine, other, rel_tol=1e-12)
