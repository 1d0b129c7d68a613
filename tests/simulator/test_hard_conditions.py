"""Noise, season and dirt of a hard fleet, and what its faulty counters and stamps look like on disk."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest

from pumpledger.simulator.conditions import FOLLOWS, NOISE, SEASON_OF_ALL, SEASON_OF_ONE, hard_conditions
from pumpledger.simulator.exports import SHAPES
from pumpledger.simulator.fleet import ZONE
from pumpledger.simulator.horizon import demo_horizon
from pumpledger.simulator.kinds import FAULTS
from pumpledger.simulator.weather import make_station
from tests.simulator.hard_case import FIRST, HORIZON, Laid, lay

LONG = demo_horizon(ZONE, 10)


@pytest.fixture(scope="module")
def factors() -> np.ndarray:
    """Power factor at each noon of ten weeks, one row a pump: shape (200, 70)."""
    pump = lay("C10").pump
    pump.changes.clear()
    noons = np.array([LONG.utc_s(day, 720) for day in LONG.days])
    rows = []
    for seed in range(200):
        held = hard_conditions(make_station("coast", LONG, seed), pump, LONG, seed, 1, 0)
        rows.append(np.interp(noons, held.time_s, held.power_factor))
    return np.stack(rows)


def test_the_season_moves_power_by_up_to_eight_percent(factors: np.ndarray) -> None:
    """First and last week's means; noise of a week's mean is about 1 %."""
    moved = factors[:, -7:].mean(axis=1) - factors[:, :7].mean(axis=1)
    assert np.abs(moved).max() <= SEASON_OF_ALL + SEASON_OF_ONE + 0.02 <= 0.1 + 1e-9
    assert np.abs(moved).max() > 0.05 and np.median(np.abs(moved)) > 0.015


def test_each_day_keeps_a_part_of_the_last(factors: np.ndarray) -> None:
    """Departures of a day about a week's line are correlated with the next day's. A parabola takes the season out, and
    70 days less three of its terms lower the correlation a little below 0.6."""
    days = np.arange(factors.shape[1])
    left = np.stack([row - np.polyval(np.polyfit(days, row, 3), days) for row in factors])
    lagged = float(np.mean([np.corrcoef(row[:-1], row[1:])[0, 1] for row in left]))
    assert FOLLOWS - 0.15 < lagged < FOLLOWS + 0.15
    assert NOISE[0] * 0.6 < float(left.std()) < NOISE[1] * 1.2


def test_pumps_of_a_station_share_a_part_of_the_season() -> None:
    pump = lay("C10").pump
    pump.changes.clear()
    moved = {}
    for seed in range(60):
        station = make_station("inland", LONG, seed)
        for index in (1, 2):
            held = hard_conditions(station, pump, LONG, seed, index, 0)
            moved[seed, index] = held.power_factor[-168:].mean() - held.power_factor[:168].mean()
    one, other = (np.array([moved[seed, index] for seed in range(60)]) for index in (1, 2))
    assert np.corrcoef(one, other)[0, 1] > 0.4


def rows(laid: Laid, dialect: str) -> list[list[str]]:
    """Cells of all rows of the pump."""
    delimiter = "\t" if dialect == "counters" else ","
    rng = np.random.default_rng(1)
    write = SHAPES[dialect].write
    return [r.text.split(delimiter) for week in HORIZON.weeks for r in write(laid.pump, laid.trace, HORIZON, week, rng)]


def test_b8_begins_again_at_ten_thousand() -> None:
    laid = lay("B8")
    table = rows(laid, "counters")
    at, kwh = np.array([int(r[0]) for r in table]), np.array([float(r[3]) for r in table])
    falls = np.flatnonzero(np.diff(kwh) < 0)
    assert falls.size == 1 and kwh[falls[0]] > 9990 and kwh[falls[0] + 1] < 10
    assert HORIZON.midnight_s(FIRST) <= at[falls[0]] <= HORIZON.midnight_s(FIRST) + 86_400
    true = np.diff(laid.trace.energy_kwh_at(at[[0, -1]].astype(float)))[0]
    assert kwh[-1] + 10_000 - kwh[0] == pytest.approx(true, abs=0.011)


def test_b9_begins_at_nothing_and_counts_on() -> None:
    laid = lay("B9")
    table = rows(laid, "counters")
    at, kwh = np.array([int(r[0]) for r in table]), np.array([float(r[3]) for r in table])
    (fall,) = np.flatnonzero(np.diff(kwh) < 0)
    assert kwh[fall] > 700 and kwh[fall + 1] == pytest.approx(0.0, abs=0.011)
    after = np.diff(laid.trace.energy_kwh_at(at[[fall + 1, -1]].astype(float)))[0]
    assert kwh[-1] - kwh[fall + 1] == pytest.approx(after, abs=0.011)


def test_b5_writes_the_local_clock_under_utc() -> None:
    """Seven hours behind in summer time, eight after the clock change, by the tz database through `zoneinfo`."""
    laid = lay("C10")
    right = rows(laid, "samples_5min")
    laid.pump.stamps_local = True
    wrong = rows(laid, "samples_5min")
    for good, bad in zip(right[::97], wrong[::97], strict=True):
        utc = datetime.strptime(good[0], "%Y-%m-%dT%H:%M:%SZ").replace(tzinfo=UTC)
        assert bad[0] == utc.astimezone(HORIZON.zone).strftime("%Y-%m-%dT%H:%M:%SZ")
        assert good[1:] == bad[1:]


@pytest.mark.parametrize(("mode", "column"), [("B12", 3), ("B13", 3)])
def test_b12_repeats_and_b13_draws_lines_where_the_speed_changes(mode: str, column: int) -> None:
    laid = lay(mode, 0.9)
    table = rows(laid, "samples_5min")
    at = np.array([HORIZON.start_s + 300 * i for i in range(len(table))])
    fault = laid.pump.logger_faults[0]
    inside = (at >= fault.start_s) & (at < fault.stop_s)
    w = np.array([float(r[column]) for r, here in zip(table, inside, strict=True) if here])
    speeds = {r[2] == "0" for r, here in zip(table, inside, strict=True) if here}
    assert w.size >= 12
    if mode == "B12":
        assert np.ptp(w) == 0 and speeds == {True, False}
    else:
        assert np.diff(w) == pytest.approx(np.diff(w)[0], abs=1e-5) and abs(w[-1] - w[0]) > 20


def test_b4_writes_another_unit_in_its_days_alone() -> None:
    """A thousandth of the watts, or 3450 rev/min as 100 %."""
    for seed in range(4):
        laid = lay("B4", seed=seed)
        (fault,) = laid.pump.logger_faults
        table = rows(laid, "samples_5min")
        at = np.array([HORIZON.start_s + 300 * i for i in range(len(table))])
        inside = (at >= fault.start_s) & (at < fault.stop_s)
        column = 3 if fault.kind == "kw" else 2
        shown = np.array([float(r[column]) for r in table])
        limit = 4.0 if fault.kind == "kw" else 100.0
        assert shown[inside].max() <= limit < shown[~inside].max()
        assert shown[inside].max() > 0


def test_there_are_55_kinds_of_faults() -> None:
    """6 of clocks, 13 of logs, 17 of plans and hands, 19 of water and equipment."""
    assert [sum(mode.startswith(letter) for mode in FAULTS) for letter in "ABCD"] == [6, 13, 17, 19]
