"""The formulas of programmes against printed examples."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pumpledger.claims.formulas import (
    FORMULAS,
    demand_saving,
    energy_factor_saving,
    equal_volume_baseline,
    hours_saving,
    lifetime_reduction,
    peak_capacity,
    raw_saving,
)


def test_a_trade_press_example_saves_less_at_equal_volume() -> None:
    # Facts 5d, 5e: 15,000 gal pool, 87 gpm at 2 kW for 6 h against 30 gpm at 300 W for 10 h, 0.16 $/kWh.
    base, new = 2.0 * 6, 0.3 * 10
    assert (base * 365 * 0.16, new * 365 * 0.16) == pytest.approx((700.80, 175.20), abs=0.01)
    assert raw_saving(base, new) * 365 * 0.16 == pytest.approx(525.60, abs=0.01)
    equal = equal_volume_baseline(30 * 60 * 10, 87 * 60 / 2000)
    assert equal == pytest.approx(6.8966, abs=1e-3)
    assert (equal - new, 100 * (equal - new) / equal) == pytest.approx((3.8966, 56.50), abs=0.01)


def test_stated_hours() -> None:
    # Facts 5f: 1.75 kW x 8 h against .22 kW x 16 h + 1.2 kW x 1 h.
    new = 0.22 * 16 + 1.2
    day = hours_saving(1.75, 8, 1, new)
    assert (day, 100 * day / 14) == pytest.approx((9.28, 66.2857), abs=1e-4)
    assert hours_saving(1.75, 8, 365, new * 365) == pytest.approx(3387.2, abs=1e-6)


def test_energy_factors() -> None:
    # Facts 5g and 5h.
    assert equal_volume_baseline(20000, 2.3) == pytest.approx(8.6957, abs=1e-4)
    assert energy_factor_saving(20000, 1, 2.3, 8.0, 365) == pytest.approx(2261.41, abs=0.01)
    assert equal_volume_baseline(25000, 3.8) * 365 == pytest.approx(2401.32, abs=0.01)
    assert equal_volume_baseline(25000, 10) * 365 == pytest.approx(912.50, abs=0.01)
    with pytest.raises(ValueError, match="energy factor"):
        equal_volume_baseline(1, 0)


def test_demand_by_coincidence() -> None:
    # Facts 5i.
    assert demand_saving(1.75, 0.6, 0.25, 0.5) == pytest.approx(0.925, abs=1e-9)


@pytest.mark.parametrize(
    ("base_kw", "new_kw", "capacity", "life"),
    [(0.256, 0.109, 0.04116, 2.96352), (0.202, 0.086, 0.03248, 2.33856), (0.256, 0.184, 0.02016, 1.45152)],
)
def test_capacity_over_life(base_kw: float, new_kw: float, capacity: float, life: float) -> None:
    # Facts 5a, 5b, 5c: values read in a regulator-side rules-as-code repository.
    kw = peak_capacity(base_kw, 0.28, new_kw, 0.28, 1)
    assert kw == pytest.approx(capacity, abs=1e-6)
    assert lifetime_reduction(kw, 6, 12) == pytest.approx(life, abs=1e-6)


@given(st.floats(0, 5), st.floats(0, 5))
def test_a_new_pump_that_takes_more_gives_nothing(base_kw: float, new_kw: float) -> None:
    life = lifetime_reduction(peak_capacity(base_kw, 0.28, new_kw, 0.28, 1), 6, 12)
    assert life >= 0
    assert (life > 0) <= (base_kw > new_kw)


@given(st.floats(1, 1e5), st.floats(0.1, 3), st.floats(0.5, 5), st.floats(5, 20), st.integers(1, 366))
def test_energy_scales_with_volume(volume: float, turnovers: float, base: float, new: float, days: int) -> None:
    once = energy_factor_saving(volume, turnovers, base, new, days)
    assert energy_factor_saving(2 * volume, turnovers, base, new, days) == pytest.approx(2 * once)


def test_every_formula_says_what_it_gives() -> None:
    for known in FORMULAS.values():
        assert known.expression
        assert known.gives
        assert set(known.needs).isdisjoint(known.reads)
