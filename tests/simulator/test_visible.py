"""From when a log can show a change of pump or water: worked out from the machine and the stated noise, nothing else."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from hard_case import FIRST, lay

from pumpledger.simulator.controller import KeyedPlan, Period
from pumpledger.simulator.sites import Change
from pumpledger.simulator.visible import AT_ONCE, SLOWLY, power_share, seen_from, short_share
from pumpledger.simulator.weather import Station


def test_the_limits_are_those_of_the_noise() -> None:
    """Two standard deviations of 1.4 %; a season of 3 % and two of 1.0 %, the middle of 0.6 and 1.4 %."""
    assert pytest.approx(0.028) == AT_ONCE and pytest.approx(0.05) == SLOWLY


def test_watts_added_are_a_share_of_what_the_speed_takes() -> None:
    laid = lay("D7")
    machine = laid.case.pump.machine
    before = float(machine.running_w(1000.0, 0.05))
    added = [Change("watts", ((0, 0.0), (100, 20.0)))]
    assert power_share(machine, 1000.0, added, 50) == pytest.approx(10.0 / before)
    assert power_share(machine, 1000.0, added, 500) == pytest.approx(20.0 / before)


@pytest.mark.parametrize("mode", ["D3", "D7"])
def test_a_slow_change_shows_later_than_it_begins(mode) -> None:
    day = seen_from(lay(mode, size=0.2).case, mode)
    assert day is not None and FIRST < day


def test_a_change_that_moves_nothing_never_shows() -> None:
    case = lay("D4", size=0.5).case
    case.pump.changes = [Change("friction", ((case.start_s, 0.0), (case.start_s + 600, -0.001)))]
    assert seen_from(case, "D4") is None
    assert seen_from(case, "D8") == case.first  # other modes show from their first day


def test_a_worn_impeller_is_one_from_the_cleaning_on() -> None:
    case = lay("D6", size=1.0).case
    (cleaned,) = [visit.day_local for visit in case.site.visits if visit.work == "cleaning"]
    assert seen_from(case, "D6") == cleaned
    case.site.visits = []
    assert seen_from(replace(case, last=case.last - timedelta(days=1)), "D6") is None


@pytest.mark.parametrize(("short", "shows"), [(0.10, True), (0.045, True), (0.035, False), (-0.02, False)])
def test_a_pause_is_a_hole_where_it_leaves_more_out_than_a_flow_meter_errs(short, shows) -> None:
    """Half of a 90 % interval of a flow meter is 4 %; ten hours at 1500 rpm move what the pool needs, less the share."""
    case = lay("C1", size=0.5).case
    case.set(plans=(KeyedPlan(FIRST - timedelta(days=60), (Period(1500, 360, 660), Period(1500, 720, 1020))),))
    moved_m3 = 10.0 * float(case.pump.machine.flow_m3h(1500, 0.05))
    case.site.pool_volume_m3 = moved_m3 / (1.0 - short) / case.site.required_turnovers
    assert short_share(case, case.first) == pytest.approx(short)
    assert seen_from(case, "C1") == (case.first if shows else None)


def _run(case, *periods: Period) -> None:
    case.set(plans=(KeyedPlan(FIRST - timedelta(days=60), periods),))


@pytest.mark.parametrize(
    ("period", "shows"),
    [
        (Period(1500, 600, 1080), True),
        (Period(1000, 600, 1080), False),  # never below 1000 rev/min
        (Period(1500, 0, 120), False),  # the nights are cool
        (Period(1500, 600, 615), False),  # a quarter hour, and it looks each half
    ],
)
def test_a_drive_gives_way_where_it_runs_fast_in_the_warm(period, shows) -> None:
    """20 deg C from 08:00 to 20:00, 10 by night; gives way above 17."""
    case = lay("D10", size=0.5).case
    _run(case, period)
    time_s = np.arange(case.horizon.warm_start_s, case.horizon.end_s, 3600)
    hour = (case.horizon.local_s(time_s) % 86_400) / 3600
    air = Station("inland", time_s, np.where((hour >= 8) & (hour < 20), 20.0, 10.0))
    assert seen_from(case, "D10", air) == (case.first if shows else None)


@pytest.mark.parametrize(("start_min", "shows"), [(600, False), (1200, True), (1070, True)])
def test_a_relay_that_sticks_shows_where_the_pump_rests(start_min, shows) -> None:
    """For an hour on the first day; the pump runs for its load from 08:00 to 18:00."""
    case = lay("D12", size=0.2).case
    _run(case, Period(1500, 480, 1080))
    at = case.at(case.first, start_min)
    case.set(aux_min_rpm=1000, aux_stuck=((at, at + 3600),))
    assert seen_from(case, "D12") == (case.first if shows else None)
