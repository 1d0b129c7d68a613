"""Every export of the demo read back by its declared shape with the standard library, and weighed against the truth."""

from __future__ import annotations

import csv
from collections import defaultdict
from dataclasses import dataclass
from datetime import date, datetime, timedelta

import pytest

DELIMITERS = {"samples_1min": ",", "samples_5min": ",", "means_15min": ";", "events": ",", "counters": "\t"}
HEADERS = {
    "samples_1min": ["time_utc", "pump", "speed_rpm", "power_w", "aux"],
    "samples_5min": ["time_utc", "pump", "speed_rpm", "power_w", "aux"],
    "means_15min": ["Ende", "Drehzahl_rpm", "Leistung_kW"],
    "events": ["at", "pump", "speed_rpm", "power_w", "aux", "air_c"],
    "counters": ["epoch_s", "pump", "speed_now_rpm", "energy_total_kwh", "run_total_h"],
}
STEP_S = {"samples_1min": 60, "samples_5min": 300, "means_15min": 900}


@dataclass(frozen=True)
class Reading:
    """One row read back: seconds since 1970 (beginning of an interval), and its numbers."""

    time_s: float
    speed_rpm: float
    power_w: float | None
    energy_kwh: float | None = None
    run_h: float | None = None


def cells_of(demo, file: str, dialect: str) -> list[list[str]]:
    """Data rows of an export as cells; checks preamble, header and footer on the way."""
    text = (demo.folder / "inbox" / file).read_text(encoding="utf-8-sig")
    lines = text.split("\n")
    assert "\r" not in text
    if dialect == "counters":
        assert lines[0].startswith("#") and lines[1].startswith("#") and lines[-2:] == ["# end", ""]
        lines = lines[2:-2]
    rows = list(csv.reader((line for line in lines if line), delimiter=DELIMITERS[dialect]))
    assert rows[0] == HEADERS[dialect]
    return rows[1:]


def reading_of(dialect: str, cells: list[str]) -> Reading | None:
    """A row by its dialect; ``None`` where it is broken. Day-first local stamps need their neighbours: see
    ``means_of``.
    """
    try:
        if dialect.startswith("samples"):
            at = datetime.fromisoformat(cells[0]).timestamp()
            reading = Reading(at, float(cells[2]), float(cells[3]))
        elif dialect == "events":
            reading = Reading(
                datetime.fromisoformat(cells[0]).timestamp(), float(cells[2]), float(cells[3]) if cells[3] else None
            )
        else:
            reading = Reading(float(cells[0]), float(cells[2]), None, float(cells[3]), float(cells[4]))
    except (ValueError, IndexError):
        return None
    plausible = 0 <= reading.speed_rpm <= 3600 and (reading.power_w is None or reading.power_w >= 0)
    return reading if plausible else None


def means_of(demo, rows: list[list[str]]) -> list[Reading]:
    """Rows of interval-ending local means: a stamp that goes back is the second time round."""
    readings, fold, last = [], 0, datetime.min
    for cells in rows:
        if not cells[1].isdecimal():
            continue
        end = datetime.strptime(cells[0], "%d.%m.%Y %H:%M")
        if end <= last:
            fold = 1
        last = end
        aware = end.replace(tzinfo=demo.horizon.zone, fold=fold if end.date() == date(2026, 11, 1) else 0)
        readings.append(Reading(aware.timestamp() - 900, float(cells[1]), float(cells[2].replace(",", ".")) * 1000.0))
    return readings


@pytest.fixture(scope="session")
def readings(demo) -> dict[tuple[str, str], list[Reading]]:
    """(dialect, pump) -> readings in order of time; rows sent again are left out."""
    found: dict[tuple[str, str], list[Reading]] = defaultdict(list)
    for row in demo.table("truth/exports.csv").iter_rows(named=True):
        if row["repeated"]:
            continue
        cells = cells_of(demo, row["file"], row["dialect"])
        if row["dialect"] == "means_15min":
            found[row["dialect"], row["file"].rsplit("__", 1)[1].removesuffix(".csv")] += means_of(demo, cells)
            continue
        for one in cells:
            reading = reading_of(row["dialect"], one)
            if reading:
                found[row["dialect"], one[1]].append(reading)
    return dict(found)


def truth_kwh(demo) -> dict[tuple[str, date], float]:
    daily = demo.table("truth/daily.csv")
    return {(row["pump_id"], row["day_local"]): row["energy_kwh"] for row in daily.iter_rows(named=True)}


def day_bounds(demo, day: date) -> tuple[int, int]:
    return demo.horizon.midnight_s(day), demo.horizon.midnight_s(day + timedelta(days=1))


def test_rows_are_as_many_as_the_truth_says(demo) -> None:
    """Also: broken rows are exactly those that were broken on purpose."""
    for row in demo.table("truth/exports.csv").iter_rows(named=True):
        cells = cells_of(demo, row["file"], row["dialect"])
        assert len(cells) == row["data_rows"], row["file"]
        if row["dialect"] == "means_15min":
            broken = sum(not one[1].isdecimal() for one in cells)
        else:
            broken = sum(reading_of(row["dialect"], one) is None for one in cells)
        assert broken == row["impossible"] + row["unreadable"], row["file"]


def test_all_dialects_and_all_kinds_of_damage_are_there(demo) -> None:
    exports = demo.table("truth/exports.csv")
    assert set(exports["dialect"]) == set(HEADERS)
    assert 2 <= exports["impossible"].sum() <= 3 and 2 <= exports["unreadable"].sum() <= 3
    assert exports["blank_lines"].sum() > 0 and exports["notes"].str.contains("torn").sum() == 1
    files = [demo.folder / "inbox" / file for file in exports["file"]]
    assert sum(path.read_bytes().startswith(b"\xef\xbb\xbf") for path in files) == 1
    assert sum(not path.read_bytes().endswith(b"\n") for path in files) == 1
    assert sorted(path.name for path in (demo.folder / "inbox").iterdir()) == sorted(exports["file"])


@pytest.mark.parametrize("dialect", ["samples_1min", "samples_5min", "means_15min"])
def test_power_held_for_its_step_is_the_true_energy(demo, readings, dialect: str) -> None:
    """On each day without a lost row within 1 %; kW in the column of watts (B4) is left out."""
    truth, days = truth_kwh(demo), 0
    for (shape, pump), rows in readings.items():
        if shape != dialect or pump == demo.modes()["B4"]:
            continue
        for day in demo.horizon.days:
            start, end = day_bounds(demo, day)
            inside = [row.power_w for row in rows if start <= row.time_s < end]
            if len(inside) != (end - start) // STEP_S[dialect]:
                continue
            kwh = sum(inside) * STEP_S[dialect] / 3.6e6
            assert kwh == pytest.approx(truth[pump, day], rel=0.01), (pump, day)
            days += 1
    assert days >= (5 if dialect == "samples_1min" else 40)


def test_power_held_to_the_next_event_is_the_true_energy(demo, readings) -> None:
    truth, days = truth_kwh(demo), 0
    for (shape, pump), rows in readings.items():
        if shape != "events" or rows[0].power_w is None:
            continue
        edges = [*rows[1:], Reading(demo.horizon.end_s, 0.0, 0.0)]
        for day in demo.horizon.days:
            start, end = day_bounds(demo, day)
            kwh = sum(
                row.power_w * max(0.0, min(end, after.time_s) - max(start, row.time_s)) / 3.6e6
                for row, after in zip(rows, edges, strict=True)
            )
            assert kwh == pytest.approx(truth[pump, day], rel=0.01), (pump, day)
            days += 1
    assert days >= 50


def test_counter_differences_are_the_true_energy(demo, readings) -> None:
    """Midnight to midnight within the counter's 0.01 kWh; never falling."""
    truth, days = truth_kwh(demo), 0
    for (shape, pump), rows in readings.items():
        if shape != "counters":
            continue
        assert all(b.energy_kwh >= a.energy_kwh and b.run_h >= a.run_h for a, b in zip(rows, rows[1:], strict=False))
        at = {row.time_s: row for row in rows}
        for day in demo.horizon.days:
            start, end = day_bounds(demo, day)
            if start in at and end in at:
                assert at[end].energy_kwh - at[start].energy_kwh == pytest.approx(truth[pump, day], abs=0.0101)
                days += 1
    assert days >= 30


def test_events_keep_a_heartbeat_and_repeat_the_state(readings) -> None:
    for (shape, _), rows in readings.items():
        if shape != "events":
            continue
        assert all(0 < b.time_s - a.time_s <= 6 * 3600 + 30 for a, b in zip(rows, rows[1:], strict=False))
        late = [(a, b) for a, b in zip(rows, rows[1:], strict=False) if b.time_s - a.time_s == 6 * 3600]
        # A period may end just when a heartbeat is due; a repeated state shows the very same speed, never a new jitter.
        repeats = [(a, b) for a, b in late if abs(a.speed_rpm - b.speed_rpm) <= 10]
        assert repeats and all(a.speed_rpm == b.speed_rpm for a, b in repeats)


def test_local_means_repeat_the_hour_that_happens_twice(demo) -> None:
    """25 h have 100 quarter hours (facts 7a): the stamps of the second hour follow those of the first, unmarked."""
    pump = demo.modes()["clock change handled right"]
    rows = cells_of(demo, f"inland_2026-W44__{pump}.csv", "means_15min")
    sunday = [one[0][11:] for one in rows if one[0].startswith("01.11.2026") and one[0][11:] != "00:00"]
    assert sunday[:12] == [
        "00:15",
        "00:30",
        "00:45",
        "01:00",
        "01:15",
        "01:30",
        "01:45",
        "01:00",
        "01:15",
        "01:30",
        "01:45",
        "02:00",
    ]


def test_healthy_pumps_arrive_nearly_whole(demo, readings) -> None:
    lost = {demo.modes()["B1"]}
    for (shape, pump), rows in readings.items():
        if shape == "events" or pump in lost:
            continue
        step = STEP_S.get(shape, 900)
        assert len(rows) * step >= 0.95 * (demo.horizon.end_s - demo.horizon.start_s), pump


def test_missing_days_are_missing(demo, readings) -> None:
    rows = readings["means_15min", demo.modes()["B1"]]
    days = {(demo.horizon.first_day + timedelta(days=i)) for i in range(14)}
    seen = {datetime.fromtimestamp(row.time_s, demo.horizon.zone).date() for row in rows}
    assert sorted(days - seen) == [date(2026, 10, 28), date(2026, 11, 3), date(2026, 11, 4), date(2026, 11, 5)]


def test_rows_sent_again_are_the_same_rows_in_another_file(demo) -> None:
    pump = demo.modes()["B2"]
    again = demo.table("truth/exports.csv").filter(repeated=0).height
    assert demo.table("truth/exports.csv").height - again == 2
    for week in ("2026-W44", "2026-W45"):
        (second,) = (demo.folder / "inbox").glob(f"coast_{week}*_again.csv")
        first = second.with_name(second.name.replace("_again", ""))
        mine = [line for line in first.read_text(encoding="utf-8").splitlines() if f",{pump}," in line]
        rows = second.read_text(encoding="utf-8").splitlines()[1:]
        assert first.read_bytes() != second.read_bytes()
        assert len(set(rows) - set(mine)) <= 2 and len(rows) == len(mine)


def test_kilowatts_in_the_column_of_watts(demo, readings) -> None:
    running = [row.power_w for row in readings["samples_5min", demo.modes()["B4"]] if row.speed_rpm > 600]
    assert 0.02 < min(running) and max(running) < 3.0
