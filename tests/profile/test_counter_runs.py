"""Runs of an energy counter and held levels, from readings: what breaks a run, midnight, and the last digit."""

from __future__ import annotations

from datetime import timedelta

import pytest
from test_spans import DAY, at, every, reading, spans

from pumpledger.accounting.loading import held_levels


def counted(values: list[tuple[float, float]], **more: object) -> list[dict]:
    """Runs of a counter read as (minute, kWh)."""
    rows = [reading(minute, 1200, 450, energy_total_kwh=kwh) for minute, kwh in values]
    with spans(rows, **more) as db:
        return db.table("counter_run").to_dicts()


def test_a_counter_read_every_quarter_hour_is_one_run_of_the_day():
    values = [(15 * number, 100 + 0.11 * number) for number in range(97)]
    first = counted(values)[0]
    assert first["counter_kwh"] == pytest.approx(0.11 * 96)
    assert (first["start_utc"], first["end_utc"], first["day_local"]) == (at(0), at(1440), DAY)
    assert first["last_digit_kwh"] == 0.01


def test_a_step_across_midnight_belongs_to_the_day_in_which_it_begins():
    values = [(minute, 50 + minute / 100) for minute in range(7, 3000, 20)]
    first, second = counted(values, days=(DAY, DAY + timedelta(days=1)))
    assert first["end_utc"] == at(1447) == second["start_utc"]
    assert first["counter_kwh"] == pytest.approx(14.40)
    assert second["day_local"] == DAY + timedelta(days=1)


def test_a_long_gap_breaks_a_run():
    values = [(minute, 10 + minute / 100) for minute in [*range(0, 300, 10), *range(420, 1440, 10)]]
    first, second = counted(values)
    assert (first["end_utc"], second["start_utc"]) == (at(290), at(420))
    assert first["counter_kwh"] + second["counter_kwh"] == pytest.approx(2.9 + 10.1)


def test_a_counter_that_is_set_back_gives_no_negative_energy():
    values = [(minute, 10 + minute / 100 if minute < 700 else minute / 100 - 7) for minute in range(0, 1440, 10)]
    rows = counted(values)
    assert all(row["counter_kwh"] >= 0 for row in rows)
    assert sum(row["counter_kwh"] for row in rows) <= 14.4


@pytest.mark.parametrize(("digits", "expected"), [(0, 1.0), (1, 0.1), (2, 0.01), (3, 0.001)])
def test_the_last_digit_is_the_finest_that_the_values_show(digits, expected):
    values = [(10 * number, round(7.777 * number, digits)) for number in range(100)]
    assert {row["last_digit_kwh"] for row in counted(values)} == {expected}


def test_a_log_without_a_counter_has_no_runs():
    with spans(every(5, [(0, 1200, 450)])) as db:
        assert db.table("counter_run").is_empty()


def test_held_levels_are_time_weighted_and_leave_priming_short_times_and_loads_out():
    rows = every(5, [(0, 0, 3), (480, 2600, 900), (540, 1200, 180), (700, 1200, 190), (1080, 0, 3)])
    with spans(rows) as db:
        levels = held_levels(db).to_dicts()
    assert [row["speed_rpm"] for row in levels] == [1200, 2600]
    assert levels[0]["power_w"] == pytest.approx((180 * 160 + 190 * 380) / 540)
    assert [row["run_min"] for row in levels] == pytest.approx([540, 60])
    with_load = [row | {"aux_on": row["speed_rpm"] == 2600} for row in rows]
    short = [row for row in rows if not 540 <= (row["time_utc"] - at(0)).total_seconds() / 60 < 1060]
    with spans(with_load) as db:
        assert held_levels(db)["speed_rpm"].to_list() == [1200]
    with spans(short) as db:
        assert held_levels(db)["speed_rpm"].to_list() == [2600]
