"""B15, someone else on the circuit: given readings, near misses, missing inputs."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest
from verdict_fleet import Fleet, Log, healthy


def shared(watts: float, hours: tuple[int, int] = (13, 15), days: int = 14, speed: float = 1100.0) -> Log:
    """Another device that draws ``watts`` from ``hours`` of the pump's third period (1100 rpm, 12:00 to 20:00)."""
    log = healthy()
    log.energy_total_kwh = None
    seconds = np.array([(moment - log.time_utc[0]).total_seconds() for moment in log.time_utc])
    hour, day = seconds / 3600 % 24, seconds // 86400
    on = (hour >= hours[0]) & (hour < hours[1]) & (day < days)
    log.power_w = log.power_w + np.where(on, watts, 0)
    return log


def test_a_device_that_comes_and_goes_at_one_speed() -> None:
    """114 W of the pump at 1100 rpm and 400 W of the device, once a day: 14 steps up, 14 down."""
    (row,) = Fleet().add(shared(400)).weigh("B15")
    assert (row["pump_id"], row["quantity"], row["blocks"], row["remedy"]) == ("P-1", "power", False, "")
    assert "14 steps on 14 days" in row["evidence"]
    assert "40" in row["sentence"].split(" W ")[0]  # 400 W, less what noise the day's least power holds
    assert row["first_day"] == date(2026, 10, 26)


@pytest.mark.parametrize(
    "log",
    [
        healthy(),
        shared(40),  # less than 50 W
        shared(400, days=2),  # two cycles
        shared(400, hours=(0, 24)),  # always on: no step
        shared(-90, hours=(12, 17)),  # 24 W are left of the pump's 114: no pump runs beside what comes and goes
        shared(-60, hours=(13, 14)),  # dips of an hour in eight: the pump's own, and less than a half above
    ],
    ids=["healthy", "small", "twice", "always", "itself", "dips"],
)
def test_near_misses(log: Log) -> None:
    assert Fleet().add(log).weigh("B15") == []


def test_steps_of_speed_are_no_steps_of_power() -> None:
    """A plan that changes speed every hour steps by hundreds of watts, each with its speed."""
    log = healthy(speed=lambda clock: np.where(clock // 60 % 2 == 0, 2600.0, 1100.0))
    assert Fleet().add(log).weigh("B15") == []


def test_an_auxiliary_load_that_the_log_tells_is_expected() -> None:
    fleet = Fleet().add(shared(400))
    fleet.readings = [frame.with_columns(aux_on=frame["power_w"] > 450) for frame in fleet.readings]
    assert fleet.weigh("B15") == []


def test_a_load_of_the_register_is_named() -> None:
    (row,) = Fleet().add(shared(400), aux_load="booster").weigh("B15")
    assert "a booster, whose state is not in the log" in row["sentence"]


@pytest.mark.parametrize("column", ["speed_rpm", "power_w"])
def test_without_speed_or_power_it_says_nothing(column: str) -> None:
    log = shared(400)
    setattr(log, column, np.full(len(log.time_utc), np.nan))
    assert Fleet().add(log).weigh("B15") == []
