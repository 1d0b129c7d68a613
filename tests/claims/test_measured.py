"""The interval of a median, against scipy and against a simulation; power by speed on rows by hand."""

from __future__ import annotations

import random
from datetime import date

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from pumpledger.claims.measured import median_interval, power_by_speed
from pumpledger.engine.account_tables import LEVELS


@pytest.mark.parametrize("n", [5, 6, 10, 28, 100, 365])
def test_the_interval_is_scipys(n: int) -> None:
    values = [float(v * v) for v in range(n)]
    expected = stats.quantile_test(values, p=0.5).confidence_interval(0.9)
    assert median_interval(values) == (expected.low, expected.high)


def test_too_few_days_have_no_interval() -> None:
    assert [median_interval([1.0] * n) for n in range(1, 5)] == [None] * 4


def test_it_holds_the_median_nine_times_in_ten_or_a_little_more() -> None:
    draw = random.Random(5)
    held = 0
    for _ in range(2000):
        low, high = median_interval([draw.expovariate(1) for _ in range(30)]) or (9, 0)
        held += low <= 0.6931 <= high
    assert abs(held / 2000 - 0.901) < 0.02  # 0.901 by the binomial; three standard deviations of 2,000 draws


@given(st.lists(st.floats(1, 5000), min_size=5, max_size=60))
def test_it_lies_among_the_values_in_any_order(values: list[float]) -> None:
    low, high = median_interval(values) or (0.0, 0.0)
    assert min(values) <= low <= high <= max(values)
    assert median_interval(values[::-1]) == (low, high)


def test_power_by_speed() -> None:
    rows = [("P", date(2026, 6, d), 1500, 200.0 + d, 60.0 * d) for d in range(1, 6)]
    rows.append(("P", date(2026, 6, 1), 2400, 800.0, 30.0))
    found = power_by_speed(pl.DataFrame(rows, schema=LEVELS.schema, orient="row"))
    assert found.rows() == [("P", 1500, 5, 900.0, 203.0, 201.0, 205.0), ("P", 2400, 1, 30.0, 800.0, None, None)]
    assert power_by_speed(LEVELS.empty()).is_empty()
