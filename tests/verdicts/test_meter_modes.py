"""B10 a clamp put on backwards, and B11 a meter that reads half or double: given readings, near misses, missing inputs.

One leg of a two-leg supply reads half of the power, and a doubled clamp ratio double: arithmetic, no source needed.
"""

from __future__ import annotations

import numpy as np
import pytest
from verdict_fleet import Fleet, Log, healthy, power_w

SPEEDS = (1100.0, 1500.0, 2600.0)
VISITS = tuple((rpm, float(power_w(np.array([rpm]))[0]), None) for rpm in (1000.0, 1500.0, 2700.0))


def metered(factor: float, from_day: int = 0, seed: int = 1) -> Log:
    log = healthy(seed=seed)
    log.energy_total_kwh = None
    log.power_w = np.where(log.days() >= from_day, log.power_w * factor, log.power_w)
    return log


def log_days() -> int:
    return int(healthy().days().max()) + 1


def test_a_clamp_put_on_backwards() -> None:
    (row,) = Fleet().add(metered(-1)).weigh("B10")
    assert (row["quantity"], row["remedy"], row["blocks"], row["sureness"]) == ("power", "power x-1", True, 1.0)
    assert "P-1" in row["sentence"]


def test_negative_power_is_never_used() -> None:
    """Below the offset of any meter (-100 W, the limit of the row rules) it is missing, whoever decides what on B10."""
    fleet = Fleet().add(metered(-1))
    fleet.weigh("B10")
    running = healthy().power_w > 100
    assert fleet.bad.height == running.sum() and set(fleet.bad["quantity"]) == {"power"}


def test_a_clamp_that_was_turned_one_day() -> None:
    (row,) = Fleet().add(metered(-1, from_day=8)).weigh("B10")
    assert row["remedy"] == "power x-1 from 2026-11-03" and str(row["first_day"]) == "2026-11-03"


@pytest.mark.parametrize(("days", "found"), [(3, True), (2, False)])
def test_few_readings_a_day_count_by_their_days(days: int, found: bool) -> None:
    """A log of changes has two or three readings of a run."""
    log = metered(-1, from_day=log_days() - days)
    running = np.flatnonzero(log.speed_rpm > 0)
    keep = np.zeros(len(log.speed_rpm), bool)
    keep[running[:: len(running) // (3 * log_days())]] = True
    log.power_w = np.where(keep | (log.speed_rpm == 0), log.power_w, np.nan)
    assert [row["remedy"][:9] for row in Fleet().add(log).weigh("B10")] == ["power x-1"] * found


def test_an_export_that_counts_drawn_power_as_negative() -> None:
    fleet = Fleet()
    for number in range(3):
        fleet.add(metered(-1, seed=number), pump_id=f"P-{number}")
    (row,) = fleet.weigh("B10")
    assert (row["pump_id"], row["remedy"], row["pumps"]) == ("", "power x-1", 3)


def test_a_log_without_speed_runs_when_it_draws() -> None:
    log = metered(-1)
    log.speed_rpm = np.full(len(log.time_utc), np.nan)
    assert [row["remedy"] for row in Fleet().add(log).weigh("B10")] == ["power x-1"]


def test_signs_that_are_mixed_are_no_clamp() -> None:
    log = metered(1)
    log.power_w = np.where(np.arange(len(log.power_w)) % 3 > 0, -log.power_w, log.power_w)
    assert Fleet().add(log).weigh("B10") == []


def test_a_small_negative_standby_is_no_clamp() -> None:
    log = metered(1)
    log.power_w = np.where(log.speed_rpm == 0, -4.0, log.power_w)
    assert Fleet().add(log).weigh("B10") == []


@pytest.mark.parametrize(("factor", "remedy"), [(0.5, "power x2"), (2.0, "power x0.5"), (0.545, "power x2")])
def test_half_and_double_against_the_pumps_own_visits(factor: float, remedy: str) -> None:
    """log2(0.545 x 2) is 0.124, inside 0.15."""
    (row,) = Fleet().add(metered(factor), visits=VISITS).weigh("B11")
    assert (row["quantity"], row["remedy"], row["blocks"]) == ("power", remedy, True)
    assert "its visits" in row["evidence"] and "at 3 speeds" in row["evidence"]


@pytest.mark.parametrize("factor", [0.57, 0.7, 1.0, 1.6, 0.25])
def test_other_ratios_are_no_half(factor: float) -> None:
    """log2(0.57 x 2) is 0.19, outside 0.15."""
    assert Fleet().add(metered(factor), visits=VISITS).weigh("B11") == []


def test_a_leg_lost_in_the_second_week() -> None:
    (row,) = Fleet().add(metered(0.5, from_day=7), visits=VISITS).weigh("B11")
    assert row["remedy"] == "power x2 from 2026-11-02"


def test_two_speeds_are_too_few() -> None:
    log = metered(0.5)
    keep = log.speed_rpm < 2000
    log.power_w = np.where(keep, log.power_w, np.nan)
    assert Fleet().add(log, visits=VISITS).weigh("B11") == []


def test_nothing_to_compare_with_says_nothing() -> None:
    assert Fleet().add(metered(0.5)).weigh("B11") == []
    assert Fleet().add(metered(0.5), visits=VISITS[:1]).weigh("B11") == []
    assert Fleet().add(metered(0.5), curve="small").weigh("B11") == []


def kin(odd: float, pumps: int = 6, **fields: object) -> Fleet:
    fleet = Fleet()
    for number in range(pumps):
        fleet.add(metered(odd if number == 0 else 1, seed=number), pump_id=f"P-{number}", curve="small", **fields)
    return fleet


def test_half_of_its_kin() -> None:
    (row,) = kin(0.5).weigh("B11")
    assert (row["pump_id"], row["remedy"]) == ("P-0", "power x2")
    assert "other pumps of its curve" in row["evidence"]


def test_too_few_kin_say_nothing() -> None:
    assert kin(0.5, pumps=4).weigh("B11") == []


def test_a_pumps_own_visits_stand_above_its_kin() -> None:
    fleet = kin(1, pumps=5)
    smaller = tuple((rpm, watts * 0.5, None) for rpm, watts, _ in VISITS)
    fleet.add(metered(0.5, seed=8), pump_id="P-8", curve="small", visits=smaller)
    assert fleet.weigh("B11") == []  # a smaller motor than the curve's others, and its visits say so


@pytest.mark.parametrize(("factor", "remedy"), [(0.5, "power x2"), (2.0, "power x0.5")])
def test_half_and_double_against_its_own_days_before(factor: float, remedy: str) -> None:
    """No visits and no kin: seven days read one thing, the next half or double of it, at rest as well."""
    (row,) = Fleet().add(metered(factor, from_day=7)).weigh("B11")
    assert row["remedy"].startswith(f"{remedy} from ") and "on the days before" in row["sentence"]


def test_power_that_halves_while_running_alone_is_no_meter() -> None:
    """A valve shut, or air: the power at rest stays."""
    log = metered(1)
    halved = (log.days() >= 7) & (log.speed_rpm > 0)
    log.power_w = np.where(halved, log.power_w * 0.5, log.power_w)
    assert Fleet().add(log).weigh("B11") == []


def test_two_days_are_too_few_for_a_step_of_its_own() -> None:
    assert Fleet().add(metered(2.0, from_day=12)).weigh("B11") == []
