"""B4: columns in another unit than declared. Conversions are exact by definition (1 kWh is 3600 kJ, a US gallon
3.785411784 L); what a running pump can draw is common practice, no source."""

from __future__ import annotations

import numpy as np
import pytest
from verdict_fleet import Fleet, Log, healthy


def only(rows: list[dict]) -> dict:
    assert len(rows) == 1, rows
    return rows[0]


def scaled(quantity: str, factor: float, from_day: int = 0) -> Log:
    log = healthy()
    values = getattr(log, quantity)
    setattr(log, quantity, np.where(log.days() >= from_day, values * factor, values))
    return log


def test_a_healthy_pump_raises_no_doubt() -> None:
    assert Fleet().add(healthy(), visits=((1100, 114, 6.6), (2600, 959, 15.6))).weigh("B4") == []


def test_kilowatts_in_a_column_of_watts() -> None:
    row = only(Fleet().add(scaled("power_w", 0.001)).weigh("B4"))
    assert (row["quantity"], row["remedy"], row["blocks"], row["state"]) == ("power", "power x1000", True, "open")
    assert row["pump_id"] == "P-1" and row["pumps"] == 1 and row["sureness"] == 1
    assert "kW" in row["sentence"]


def test_kilowatts_of_a_logger_without_speed_do_not_pass_for_standing_still() -> None:
    log = scaled("power_w", 0.001)
    log.speed_rpm = np.full(len(log.power_w), np.nan)
    assert only(Fleet().add(log).weigh("B4"))["remedy"] == "power x1000"


def test_a_unit_that_changes_one_day_is_corrected_from_that_day_only() -> None:
    row = only(Fleet().add(scaled("power_w", 0.001, from_day=9)).weigh("B4"))
    assert row["remedy"] == "power x1000 from 2026-11-04"
    assert f"{row['first_day']} {row['last_day']}" == "2026-11-04 2026-11-08"


@pytest.mark.parametrize(
    ("log", "why"),
    [
        (lambda: scaled("power_w", 0.2), "a very small pump draws tens of watts"),
        (lambda: _with(power_w=np.full(4032, 3.4)), "a meter that says the same at rest and running is no unit"),
        (lambda: _with(speed_rpm=np.zeros(4032), power_w=np.full(4032, 3.4)), "a pump that only stood says nothing"),
        (lambda: _with(speed_rpm=np.full(4032, np.nan), power_w=np.full(4032, 3.4)), "no speed: cannot tell"),
        (lambda: _with(speed_rpm=np.full(4032, np.nan)), "no speed, and power that a pump draws"),
        (lambda: _with(power_w=np.full(4032, np.nan)), "no power: cannot tell"),
        (lambda: _with(speed_rpm=np.tile([0.0, 5.0], 2016)), "jitter about standstill is no percentage"),
    ],
)
def test_near_misses(log: object, why: str) -> None:
    assert Fleet().add(log()).weigh("B4") == [], why


def _with(**columns: np.ndarray) -> Log:
    log = healthy()
    for name in ("energy_total_kwh", "run_total_h", "flow_m3h"):
        setattr(log, name, None)
    for name, values in columns.items():
        setattr(log, name, values)
    return log


def test_a_source_speaks_once_where_four_in_five_of_its_pumps_agree() -> None:
    fleet = Fleet()
    for number in range(1, 6):
        fleet.add(scaled("power_w", 0.001 if number < 5 else 1), pump_id=f"P-{number}")
    fleet.add(healthy(seed=9), pump_id="P-9", source="other")
    row = only(fleet.weigh("B4"))
    assert (row["source"], row["pump_id"], row["remedy"], row["pumps"]) == ("gateway", "", "power x1000", 5)
    assert row["sureness"] == 0.8 and "not so P-5" in row["evidence"]


def test_a_source_of_which_three_in_five_agree_speaks_by_pump() -> None:
    fleet = Fleet()
    for number in range(1, 6):
        fleet.add(scaled("power_w", 0.001 if number < 4 else 1), pump_id=f"P-{number}")
    assert [row["pump_id"] for row in fleet.weigh("B4")] == ["P-1", "P-2", "P-3"]


def test_percent_is_told_by_the_plan_or_by_being_too_large_for_hertz() -> None:
    by_plan = only(Fleet().add(scaled("speed_rpm", 100 / 3450)).weigh("B4"))
    assert (by_plan["quantity"], by_plan["remedy"]) == ("speed", "speed percent of 3450")
    by_size = only(Fleet().add(scaled("speed_rpm", 100 / 3450), plan=False).weigh("B4"))
    assert by_size["remedy"] == "speed percent of 3450"  # 2600 rpm are 75 %, and no mains has 75 Hz


def test_hertz_are_told_by_the_plan_and_asked_about_without_one() -> None:
    log = scaled("speed_rpm", 60 / 3450)  # at most 45
    assert only(Fleet().add(log).weigh("B4"))["remedy"] == "speed x57.5"  # 3450 rpm / 60 Hz
    asked = only(Fleet().add(log, plan=False).weigh("B4"))
    assert asked["remedy"] == "" and asked["blocks"]
    assert "Hz" in asked["sentence"] and "percent" in asked["sentence"]


@pytest.mark.parametrize(
    ("factor", "remedy"),
    [(1000, "energy_total x0.001"), (0.001, "energy_total x1000"), (3600, "energy_total x0.000277777777778"),
     (3.6, "energy_total x0.277777777778")],
)  # fmt: skip
def test_an_energy_counter_is_told_by_the_power_beside_it(factor: float, remedy: str) -> None:
    row = only(Fleet().add(scaled("energy_total_kwh", factor)).weigh("B4"))
    assert (row["quantity"], row["remedy"], row["blocks"]) == ("energy_total", remedy, True)


def test_a_counter_without_power_is_told_only_where_one_unit_explains_it() -> None:
    log = scaled("energy_total_kwh", 1000)  # Wh: as kJ it would imply 60 to 80 W, which a pump can draw as well
    log.power_w = None
    row = only(Fleet().add(log).weigh("B4"))
    assert row["remedy"] == "" and "Wh" in row["sentence"] and "kJ" in row["sentence"]
    log = scaled("energy_total_kwh", 0.001)
    log.power_w = None
    assert only(Fleet().add(log).weigh("B4"))["remedy"] == "energy_total x1000"


def test_a_counter_at_half_of_the_power_is_no_matter_of_units() -> None:
    assert Fleet().add(scaled("energy_total_kwh", 0.5)).weigh("B4") == []


def test_power_in_kilowatts_does_not_accuse_the_counter_beside_it() -> None:
    assert [row["quantity"] for row in Fleet().add(scaled("power_w", 0.001)).weigh("B4")] == ["power"]


def test_run_hours_in_minutes_hold_nothing_back() -> None:
    row = only(Fleet().add(scaled("run_total_h", 60)).weigh("B4"))
    assert (row["quantity"], row["remedy"], row["blocks"]) == ("run_total", "run_total x0.0166666666667", False)


def test_gallons_read_as_cubic_metres() -> None:
    visits = ((1100, None, 6.6), (2600, None, 15.6))
    row = only(Fleet().add(scaled("flow_m3h", 1 / 0.22712470704), visits=visits).weigh("B4"))
    assert (row["quantity"], row["remedy"]) == ("flow", "flow x0.22712470704")
    assert Fleet().add(scaled("flow_m3h", 1 / 0.22712470704)).weigh("B4") == []  # nothing to compare with: cannot tell
    assert Fleet().add(scaled("flow_m3h", 0.75), visits=visits).weigh("B4") == []  # a loaded filter


def test_flow_units_that_lie_close_together_are_asked_about() -> None:
    """Litres a second read as cubic metres (x3.6) and gallons read as litres a minute (x3.785) differ by 5 %."""
    row = only(Fleet().add(scaled("flow_m3h", 1 / 3.6), visits=((1100, None, 6.6),)).weigh("B4"))
    assert row["remedy"] == "" and "L/s declared as m3/h" in row["sentence"]
