"""The simple best plan against every plan there is, on small grids; and what it must never propose.

Source of the shape: for a flat price and P convex in Q, the least energy is running at the knee, 2 k n^3 - 3 k n0 n^2 -
c0 = 0 [CALC]. Safety checks 6a and 6b: facts section 6.
"""

from __future__ import annotations

import math
from itertools import product

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_fleet import LAST, Fleet, power_w

from pumpledger.planning.simple_plan import best_speeds, build_best_plans, cheapest_windows, clock_text

SPEEDS = np.arange(600.0, 3451.0, 25.0)


def best(
    flow_lo,
    power,
    required,
    prices,
    limit=np.inf,
    least_rpm=0.0,
    most_rpm=3450.0,
    least_quarters=0.0,
    speeds=SPEEDS,
    flow_hi=None,
):
    window = cheapest_windows(prices)
    index, quarters = best_speeds(
        flow_lo[None],
        (flow_lo if flow_hi is None else flow_hi)[None],
        power[None],
        np.array([required]),
        np.array([limit]),
        np.array([least_rpm]),
        np.array([most_rpm]),
        np.array([least_quarters]),
        window.price_sum[None],
        speeds,
    )
    return int(index[0]), int(quarters[0]), window


def cost(power, length, start, prices):
    return power / 1000 / 4 * sum(prices[(start + k) % 96] for k in range(length))


@pytest.mark.parametrize("seed", range(12))
def test_no_plan_of_all_is_cheaper(seed: int) -> None:
    """All of 8 speeds x 96 lengths x 96 starts, by plain sums."""
    rng = np.random.default_rng(seed)
    speeds = np.sort(rng.choice(SPEEDS, 8, replace=False))
    flow, power = (
        0.006 * (speeds - rng.uniform(0, 500)),
        45 + rng.uniform(20, 80) * (speeds / 1000) ** rng.uniform(2.2, 3),
    )
    prices = rng.choice([0.1, 0.2, 0.6], 96).round(2)
    required, limit, least = rng.uniform(20, 120), rng.uniform(8, 20), int(rng.integers(0, 40))
    index, quarters, window = best(
        flow, power, required, prices, limit, least_rpm=800, least_quarters=least, speeds=speeds
    )
    plans = [
        (cost(power[s], n, a, prices), s, n, a)
        for s, n, a in product(range(8), range(1, 97), range(96))
        if flow[s] * n / 4 >= required - 1e-9 and flow[s] <= limit and speeds[s] >= 800 and n >= least
    ]
    if not plans:
        assert index == -1
        return
    mine = cost(power[index], quarters, int(window.start[quarters]), prices)
    assert mine == pytest.approx(min(plans)[0], rel=1e-9)
    assert flow[index] * quarters / 4 >= required - 1e-9 and flow[index] <= limit and quarters >= least


def test_the_knee_of_a_flat_price() -> None:
    """P = 45 + 52 n^3, Q = a (n - 0.18): root of 104 n^3 - 28.08 n^2 - 45 = 0 lies near 0.85 (krpm) [CALC]."""
    knee = next(root.real for root in np.roots([104, -28.08, 0, -45]) if abs(root.imag) < 1e-12)
    flow = 10 * (SPEEDS / 1000 - 0.18)
    index, quarters, _ = best(flow, 45 + 52 * (SPEEDS / 1000) ** 3, 80.0, np.ones(96))
    assert abs(SPEEDS[index] - 1000 * knee) <= 25 and quarters < 96


def test_more_water_than_the_knee_gives_runs_all_day() -> None:
    flow = 10 * (SPEEDS / 1000 - 0.18)
    index, quarters, window = best(flow, 45 + 52 * (SPEEDS / 1000) ** 3, 240.0, np.ones(96))
    assert quarters >= 94 and SPEEDS[index] == pytest.approx(1200, abs=25)
    assert window.start[96] == 0


@settings(max_examples=60, deadline=None)
@given(st.floats(1, 300), st.floats(0, 100), st.integers(0, 2**32 - 1))
def test_more_volume_is_never_cheaper(required: float, more: float, seed: int) -> None:
    rng = np.random.default_rng(seed)
    flow, power, prices = 0.006 * (SPEEDS - 300), 45 + 52 * (SPEEDS / 1000) ** 3, rng.uniform(0.05, 0.6, 96)
    few, few_quarters, window = best(flow, power, required, prices)
    many, many_quarters, _ = best(flow, power, required + more, prices)
    if few < 0:
        assert many < 0
    elif many >= 0:
        assert power[many] * window.price_sum[many_quarters] >= power[few] * window.price_sum[few_quarters] * (1 - 1e-8)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 95), st.integers(0, 2**32 - 1))
def test_turning_the_prices_round_the_clock_costs_the_same(turn: int, seed: int) -> None:
    prices = np.random.default_rng(seed).uniform(0.05, 0.6, 96)
    np.testing.assert_allclose(
        cheapest_windows(prices).price_sum, cheapest_windows(np.roll(prices, turn)).price_sum, rtol=1e-9, atol=1e-9
    )


def test_equal_costs_go_to_the_slower_longer_run_around_midday() -> None:
    speeds = np.array([600.0, 1200.0])
    index, quarters, window = best(np.array([3.0, 6.0]), np.array([100.0, 200.0]), 24.0, np.ones(96), speeds=speeds)
    assert (speeds[index], quarters) == (600, 32)
    assert clock_text(int(window.start[32])) == "09:00"  # 09:00 to 17:00, middle 13:00
    assert clock_text(96) == "24:00"


# The whole table


def plan_of(fleet: Fleet, pump: str = "P-S1") -> dict:
    with fleet.database() as db:
        return db.table("best_plan").filter(pl.col("pump_id") == pump).row(0, named=True)


@pytest.fixture
def fleet() -> Fleet:
    return Fleet()


def test_the_plan_keeps_the_volume_by_the_low_bound(fleet) -> None:
    fleet.site()
    plan = plan_of(fleet)
    assert plan["withheld"] == "" and plan["turnovers_lo"] >= 1.0
    assert plan["turnovers_lo"] == pytest.approx(0.94 * 0.006 * plan["speed_rpm"] * plan["hours"] / 80)
    assert plan["energy_kwh_day"] == pytest.approx(float(power_w(np.array(plan["speed_rpm"]))) * plan["hours"] / 1000)
    assert plan["cost_day"] is None


def test_check_value_6a_never_above_a_rating(fleet) -> None:
    """Facts 6a [READ-2 rule]: a cover rated 80 is not asked to carry 84. Here 4.2 m3/h by the high bound would need 660
    rpm: 4.16 at 654."""
    fleet.site(suction_limit_m3h=4.0, pool_volume_m3=70.0)
    plan = plan_of(fleet)
    assert 1.06 * 0.006 * plan["speed_rpm"] <= 4.0 if plan["speed_rpm"] else "no permitted speed" in plan["withheld"]
    fleet = Fleet()
    fleet.site(suction_limit_m3h=3.7, pool_volume_m3=80.0)
    assert "no permitted speed" in plan_of(fleet)["withheld"]


@pytest.mark.parametrize(("turnovers", "given"), [(2.0, True), (3.0, False)])
def test_check_value_6b_no_rating_no_higher_speed(fleet, turnovers, given) -> None:
    """Facts 6b (policy). The plan tops at 1500 rpm, which moves 203 m3 in 24 h by the low bound: 160 m3 it can, 240 m3
    it cannot."""
    fleet.site(filter_limit_m3h=None, required_turnovers=turnovers)
    plan = plan_of(fleet)
    assert (plan["speed_rpm"] is not None) == given
    assert plan["speed_rpm"] <= 1500 if given else plan["withheld"].startswith("no permitted speed")


def test_a_known_rating_holds_even_where_the_other_is_unknown(fleet) -> None:
    fleet.site(filter_limit_m3h=None, suction_limit_m3h=3.0)
    assert plan_of(fleet)["withheld"].startswith("no permitted speed")


@pytest.mark.parametrize(
    ("fields", "reason"),
    [
        ({"required_turnovers": None}, "needs the required turnovers"),
        ({"flow": False}, "needs a source of flow"),
        ({"plan": None, "suction_limit_m3h": None}, "needs the ratings"),
        ({"aux_load": "heater"}, "needs the minimum speed of the heater"),
    ],
)
def test_withheld_with_the_reason(fleet, fields, reason) -> None:
    fleet.site(**fields)
    plan = plan_of(fleet)
    assert plan["withheld"].startswith(reason) and plan["speed_rpm"] is None and plan["energy_kwh_day"] is None


def test_no_power_source(fleet) -> None:
    fleet.site()
    with fleet.database() as db:
        db.load("speed_grid", db.table("speed_grid").with_columns(power_w_mid=pl.lit(None, dtype=pl.Float64)))
        build_best_plans(db)
        assert db.table("best_plan")["withheld"][0].startswith("needs a source of wire power")


def test_an_auxiliary_load_keeps_its_speed_and_hours(fleet) -> None:
    pump = fleet.site(aux_load="heater", aux_min_speed_rpm=1400.0)
    fleet.log_aux(pump)
    fleet.load_on(pump, LAST, 360, 1330)  # 970 min, more than 80 m3 at 1400 rpm take
    plan = plan_of(fleet)
    assert plan["speed_rpm"] >= 1400 and plan["hours"] == math.ceil(970 / 15) / 4


def test_a_load_that_is_not_logged_keeps_its_planned_hours(fleet) -> None:
    fleet.site(
        aux_load="heater",
        aux_min_speed_rpm=1400.0,
        plan=((1, 1500, 360, 1440), (2, 1000, 0, 360)),
        required_turnovers=0.5,
    )
    assert plan_of(fleet)["hours"] == 18


def test_a_public_pool_never_runs_fewer_hours_than_now(fleet) -> None:
    fleet.site(pool_class="public", plan=((1, 1500, 0, 1440),), required_turnovers=0.5)
    assert plan_of(fleet)["hours"] == 24


def test_two_pumps_share_the_water(fleet) -> None:
    fleet.site(required_turnovers=2.0)
    fleet.second_pump("S1")
    one, two = plan_of(fleet), plan_of(fleet, "P-S1B")
    assert one["turnovers_lo"] >= 1 and two["turnovers_lo"] >= 1
    assert one["speed_rpm"] == two["speed_rpm"]


def test_the_peak_is_left_out_and_money_counted(fleet) -> None:
    fleet.tariff("evening")
    fleet.site(tariff="evening")
    plan = plan_of(fleet)
    start, stop = (int(text[:2]) * 60 + int(text[3:]) for text in (plan["start_local"], plan["stop_local"]))
    running = {(start + minute) % 1440 for minute in range((stop - start) % 1440)}
    assert not running & set(range(960, 1260))
    assert plan["cost_day"] == pytest.approx(plan["energy_kwh_day"] * 0.2)
