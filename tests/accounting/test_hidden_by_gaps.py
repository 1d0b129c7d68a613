"""What a gap hides: a start with its priming, a change that means show as one speed.

Expected values are arithmetic on the given ones.
"""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from account_rows import MONDAY, PUMP, accounts, span

HALF = 1725.0  # half of full speed: 450 W on the plain grid, whose full speed takes 1800 W
PRIMES = PUMP | {"priming_speed_rpm": 3450.0, "priming_min": 5.0}
OFF, PRIMING, STEADY = (5 / 60 * kw for kw in (0.003, 1.8, 0.45))  # kWh of five minutes each
START_MIN = 600


def start_day(day: date) -> list[dict]:
    """A sample every five minutes, that of 10:05 lost: off is held to 10:05, priming and the change to half speed are
    not seen. The plan runs from 10:00 to 20:00."""
    return [
        span(0, 600, "off", day=day, power_w=3, planned_speed_rpm=0.0),
        span(600, 605, "off", day=day, power_w=3, planned_speed_rpm=HALF),
        span(605, 610, "unknown", day=day, planned_speed_rpm=HALF),
        span(610, 1200, "run", HALF, day=day, power_w=450, planned_speed_rpm=HALF),
        span(1200, 1440, "off", day=day, power_w=3, planned_speed_rpm=0.0),
    ]


def first_quarter(day: date, unknown_min: float, energy_kwh: float) -> dict:
    """The quarter hour in which the pump starts."""
    return {
        "pump_id": "P1",
        "day_local": day,
        "quarter": START_MIN // 15,
        "clock_local": "10:00",
        "unknown_min": unknown_min,
        "planned_speed_rpm": HALF,
        "energy_kwh": energy_kwh,
    }


def day_with(profile: list[dict], pump: dict) -> dict:
    rows, _ = accounts(start_day(MONDAY), pumps=[pump], profile=profile)
    return rows[0]


SEEN = 10 * 0.003 + 5 / 60 * 0.003 + 590 / 60 * 0.45 + 4 * 0.003
TODAY = first_quarter(MONDAY, 5, OFF + STEADY)
OTHER_DAYS = [first_quarter(MONDAY - timedelta(days=n), 0, OFF + PRIMING + STEADY) for n in (1, 2, 3)]


def test_the_other_days_tell_what_is_missing_of_the_quarter() -> None:
    day = day_with([TODAY, *OTHER_DAYS], PRIMES)
    assert day["energy_kwh_mid"] == pytest.approx(SEEN + PRIMING, rel=1e-6)
    assert day["energy_kwh_hi"] >= SEEN + PRIMING


def test_one_other_day_tells_nothing_and_the_plan_is_followed() -> None:
    day = day_with([TODAY, OTHER_DAYS[0]], PRIMES)
    assert day["energy_kwh_mid"] == pytest.approx(SEEN + STEADY, rel=1e-6)


def test_other_days_that_took_more_than_priming_can_are_cut_to_it() -> None:
    odd = [first_quarter(MONDAY - timedelta(days=n), 0, 9.0) for n in (1, 2)]
    assert day_with([TODAY, *odd], PRIMES)["energy_kwh_mid"] == pytest.approx(SEEN + PRIMING, rel=1e-6)
    assert day_with([TODAY, *odd], PUMP)["energy_kwh_mid"] == pytest.approx(SEEN + STEADY, rel=1e-6)


def test_a_start_in_a_gap_leaves_the_priming_open() -> None:
    """A minute that may hold 0 or 450 W is 0.12 % of a day of 6.3 kWh; one that may hold 1800 W is 0.48 %."""
    assert day_with([], PRIMES)["energy_source"] == "mixed"
    gap = [span(0, 600, "off", power_w=3), span(600, 601, "unknown"), span(601, 1440, "run", HALF, power_w=450)]
    plain, primes = (accounts(gap, pumps=[pump])[0][0]["energy_source"] for pump in (PUMP, PRIMES))
    assert (plain, primes) == ("metered power", "mixed")


def test_a_stop_in_a_gap_hides_no_priming() -> None:
    gap = [span(0, 600, "run", HALF, power_w=450), span(600, 601, "unknown"), span(601, 1440, "off", power_w=3)]
    assert accounts(gap, pumps=[PRIMES])[0][0]["energy_source"] == "metered power"


def test_means_of_one_speed_and_two_powers_hide_a_change() -> None:
    """A quarter's mean over two speeds may show a third: here 1010 rpm at 77 W, beside 1050 rpm at 46."""
    gap = [
        span(0, 600, "run", 1050.0, power_w=46),
        span(600, 630, "unknown"),
        span(630, 645, "run", 1010.0, power_w=77),
        span(645, 1440, "run", 1050.0, power_w=46),
    ]
    day = accounts(gap, pumps=[PUMP])[0][0]
    assert day["valid"] and day["energy_source"] == "mixed"
    alike = [part | {"power_w": 49.0, "energy_kwh": 0.01225} if part["speed_rpm"] == 1010 else part for part in gap]
    assert accounts(alike, pumps=[PUMP])[0][0]["energy_source"] == "metered power"


def test_a_gap_between_unlike_powers_is_open_by_half_their_difference() -> None:
    """A quarter's mean holds the priming: 95 W before 45 min without a row, 86 W after. Half of 9 W are 0.6 % of the day."""
    gap = [
        span(0, 360, "off", power_w=5),
        span(360, 375, "run", 1487.0, power_w=95),
        span(375, 420, "unknown"),
        span(420, 710, "run", 1475.0, power_w=86),
        span(710, 1440, "off", power_w=5),
    ]
    assert accounts(gap, pumps=[PUMP])[0][0]["energy_source"] == "mixed"
    alike = [part | {"power_w": 87.0, "energy_kwh": 0.02175} if part["speed_rpm"] == 1487 else part for part in gap]
    assert accounts(alike, pumps=[PUMP])[0][0]["energy_source"] == "metered power"
