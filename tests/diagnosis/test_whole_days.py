"""C5 and C9: whole days of quarter hours, against every order of the steps and against the rest of the fleet."""

from __future__ import annotations

from datetime import date
from itertools import permutations

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from keyed_plan_fleet import DEFAULT, EXCHANGED, OWN, RESET_DAY, THREE, reset_sites, run
from small_clock import planned_rpm
from small_fleet import LAST, WEEK, power_w

from pumpledger.diagnosis.default_plan import plan_kept
from pumpledger.diagnosis.period_match import match_cost, order_costs
from pumpledger.diagnosis.quarter_profiles import day_kwh, plan_quarters
from pumpledger.diagnosis.run import diagnose
from pumpledger.profile.plan_match import shift_costs

NAN = float("nan")
ASKED = ("C3", "C4", "C5", "C9", "C10")
PLAIN = date(2026, 11, 4)


def rows(frame, rule):
    return list(frame.filter(frame["rule_id"] == rule).iter_rows(named=True))


def verdicts(frame, rule):
    return [row["verdict"] for row in rows(frame, rule)]


# Arithmetic

SPEEDS = st.integers(24, 138).map(lambda n: 25.0 * n)
CUTS = st.lists(st.integers(0, 95), min_size=6, max_size=6, unique=True).map(sorted)


@st.composite
def three_periods(draw):
    """Three periods round the clock on the 15-minute grid, the last one often across midnight."""
    cuts, turn = [15 * c for c in draw(CUTS)], 15 * draw(st.integers(0, 95))
    edges = [((cuts[2 * k] + turn) % 1440, (cuts[2 * k + 1] + turn) % 1440) for k in range(3)]
    return [(draw(SPEEDS), a, b) for a, b in edges]


def by_minute(plan) -> np.ndarray:
    """A plan by the minute, by the test fleet's own code, then one value a quarter."""
    return planned_rpm(tuple((k, *row) for k, row in enumerate(plan)), PLAIN).reshape(96, 15)[:, 7]


def arrays(plan):
    return (np.array([[row[k] for row in plan]], dtype=float) for k in range(3))


@settings(max_examples=60, deadline=None)
@given(three_periods(), st.integers(0, 2**32 - 1), st.floats(50, 800))
def test_orders_against_brute_force(plan, seed, cap) -> None:
    """Every order laid out by the minute, and a plain loop over the quarters for its cost."""
    rng = np.random.default_rng(seed)
    observed = np.where(rng.random(96) < 0.1, np.nan, rng.uniform(0, 3450, 96))
    plans, costs = order_costs(observed[None], *arrays(plan), cap)
    slow = []
    for order in permutations(range(3)):
        laid = by_minute([(plan[order[k]][0], *plan[k][1:]) for k in range(3)])
        seen = [q for q in range(96) if not np.isnan(observed[q])]
        slow.append(sum(min(abs(observed[q] - laid[q]), cap) for q in seen) / len(seen))
        assert np.array_equal(laid, plans[len(slow) - 1, 0])
    assert costs[:, 0] == pytest.approx(slow)
    assert costs[0, 0] == pytest.approx(shift_costs(observed[None], plans[0], cap)[0, 0])


@settings(max_examples=60, deadline=None)
@given(three_periods())
def test_a_plan_fits_itself_and_orders_keep_the_hours(plan) -> None:
    day = plan_quarters(*arrays(plan))
    plans, costs = order_costs(day, *arrays(plan), 400)
    assert costs[0, 0] == 0 and (costs >= 0).all() and (costs <= 400).all()
    assert ((plans > 0) == (day > 0)).all()


def test_nothing_observed_has_no_cost() -> None:
    assert np.isnan(match_cost(np.full(96, NAN), np.zeros(96), 400))
    assert plan_quarters(np.empty((0, 3)), np.empty((0, 3)), np.empty((0, 3))).shape == (0, 96)
    assert plan_quarters(np.array([[1000.0]]), np.array([[0.0]]), np.array([[1440.0]])).min() == 1000


def test_energy_of_a_day() -> None:
    grid = pl.DataFrame({"pump_id": ["P"] * 2, "speed_rpm": [1000, 2000], "power_w_mid": [100.0, 500.0]})
    day = np.zeros((1, 96))
    day[0, :8], day[0, 8:12] = 1000, 1500  # 2 h at 100 W, 1 h half way at 300 W
    assert day_kwh(grid, ["P"], day) == pytest.approx(0.5)
    day[0, 50] = 2500
    assert np.isnan(day_kwh(grid, ["P"], day)).all() and np.isnan(day_kwh(grid, ["Q"], day)).all()


# C5


@pytest.mark.parametrize(("first_rpm", "found"), [(1200, ["found"]), (2400, [])])
def test_each_exchanged_period_is_seen_at_its_new_speed(fleet, findings, first_rpm, found) -> None:
    """An hour at 2400 rpm and eleven at 1200 are recorded. Where the hour runs as recorded and the eleven at 2400, one hour
    of 400 rpm in 24 would be left by the exchange: 16.7, and yet there is none."""
    plan = ((1, 2400, 360, 420), (2, 1200, 420, 1080))
    run(fleet, fleet.site(plan=plan), ((1, first_rpm, 360, 420), (2, 2400, 420, 1080)))
    assert verdicts(findings(fleet), "C5") == found


def test_two_of_three_speeds_exchanged(fleet, findings) -> None:
    run(fleet, fleet.site(plan=THREE), EXCHANGED)
    found = findings(fleet)
    (row,) = rows(found, "C5")
    # 2 h and 7 h lie wrong by 1200 rpm each, capped at 400: 9 x 400 / 24
    assert (row["verdict"], row["measured"], row["threshold"], row["days"]) == ("found", 0.0, 150.0, 7)
    assert "Period 1 runs at 1200 rpm in place of 2400, period 2 runs at 2400 rpm in place of 1200." in row["sentence"]
    # five hours more at 2400 than at 1200 rpm, each day
    dearer = 5 * float(power_w(np.array(2400)) - power_w(np.array(1200))) / 1000
    assert row["benefit_kwh_week"] == pytest.approx(7 * dearer)
    assert rows(found, "C4") == [] and rows(found, "C3") == []


@pytest.mark.parametrize(
    "ran",
    [
        THREE,
        ((1, 1200, 360, 480), (2, 2000, 480, 900), (3, 1800, 900, 1080)),  # one speed is another, too
        ((1, 1200, 360, 480), (2, 2400, 480, 660), (3, 1800, 660, 1080)),  # and the hours differ
        ((1, 2425, 360, 480), (2, 1225, 480, 900), (3, 1800, 900, 1080)),
        (),
    ],
)
def test_no_order_of_the_recorded_speeds(fleet, findings, ran) -> None:
    run(fleet, fleet.site(plan=THREE), ran)
    assert verdicts(findings(fleet), "C5") == []


def test_exchanged_speeds_that_may_as_well_be_a_clock(fleet, findings) -> None:
    twins = ((1, 2400, 360, 480), (2, 1200, 1080, 1200))  # twelve hours apart, as long
    run(fleet, fleet.site(plan=twins), ((1, 1200, 360, 480), (2, 2400, 1080, 1200)))
    (row,) = rows(findings(fleet), "C5")
    assert row["verdict"] == "cannot tell" and "moved round the clock nearly as well" in row["sentence"]


def test_two_orders_that_fit_alike(fleet, findings) -> None:
    """1200 and 1225 rpm: which of the two stands where 2400 should cannot be told by 10 rpm."""
    plan = ((1, 2400, 360, 480), (2, 1200, 480, 600), (3, 1225, 600, 720))
    run(fleet, fleet.site(plan=plan), ((1, 1200, 360, 480), (2, 1225, 480, 600), (3, 2400, 600, 720)))
    (row,) = rows(findings(fleet), "C5")
    assert row["verdict"] == "cannot tell" and "a second order nearly as well" in row["sentence"]


def test_exchanged_on_the_few_days_that_there_are(fleet, findings) -> None:
    pump = run(fleet, fleet.site(plan=THREE), EXCHANGED)
    for day in fleet.days[:10]:
        fleet.set(pump, day, NAN)
    (row,) = rows(findings(fleet), "C5")
    assert row["sentence"].startswith("cannot tell: needs more valid days under this plan")


def test_five_of_seven_days_and_the_long_day_left_out(fleet, findings) -> None:
    often, seldom = (fleet.site(f"S{n}", plan=THREE) for n in range(2))
    run(fleet, often, EXCHANGED, fleet.days[-5:])
    run(fleet, seldom, EXCHANGED, fleet.days[-4:])
    found = rows(findings(fleet), "C5")
    assert [(r["site_id"], r["verdict"], r["days"]) for r in found] == [("S0", "found", 5), ("S1", "cannot tell", 4)]


# C9


def test_three_sites_lose_their_plans(fleet, findings) -> None:
    pumps = reset_sites(fleet)
    found = findings(fleet)
    nine = rows(found, "C9")
    assert [(r["component"], r["verdict"], r["first_day"], r["days"], r["measured"]) for r in nine] == [
        (pump, "found", RESET_DAY, 5, 3.0) for pump in pumps
    ]
    assert {r["severity"] for r in nine} == {"this week"} and "2026-11-03" in nine[0]["sentence"]
    assert {r["explained_by"] for r in rows(found, "C10")} <= {"C9", ""}
    # R1 runs 2 h at 3000 and 7 h at 2000 rpm in place of 10 h at 1700
    watts = {rpm: float(power_w(np.array(rpm))) for rpm in (1700, 2000, 3000)}
    spent = 2 * watts[3000] + 7 * watts[2000] - 10 * watts[1700]
    assert nine[1]["benefit_kwh_week"] == pytest.approx(7 * spent / 1000)


def test_two_sites_are_no_fleet(fleet, findings) -> None:
    reset_sites(fleet, sites=2)
    assert verdicts(findings(fleet), "C9") == []


def test_a_house_default_on_anyones_record_is_no_default(fleet, findings) -> None:
    reset_sites(fleet)
    fleet.site("S9", plan=DEFAULT)
    assert verdicts(findings(fleet), "C9") == []


def test_nearly_the_same_day_is_another(fleet, findings) -> None:
    pumps = reset_sites(fleet)
    for n, pump in enumerate(pumps):
        run(
            fleet, pump, ((1, 3000, 480, 600), (2, 2000 + 50 * n, 600, 1020)), [d for d in fleet.days if d >= RESET_DAY]
        )
    assert verdicts(findings(fleet), "C9") == []


def test_three_that_stand_still_have_no_plan_in_common(fleet, findings) -> None:
    for pump in reset_sites(fleet):
        run(fleet, pump, (), [d for d in fleet.days if d >= RESET_DAY])
    assert verdicts(findings(fleet), "C9") == []


@pytest.mark.parametrize(("rpm", "cause"), [(1200, "unexplained"), (1200, "freeze protection")])
def test_cold_nights_at_sites_with_one_plan_are_no_default(fleet, rpm, cause) -> None:
    """Three pumps keep their house plan and run at one speed all night besides, with a weather station or without."""
    for n in range(3):
        pump = fleet.site(f"S{n}")
        for day in fleet.days[9:]:
            fleet.set(pump, day, rpm, 0, 360)
            fleet.set(pump, day, rpm, 1200, None)
    with fleet.database() as db:
        by_night = pl.col("cause") == "unexplained"
        db.load("span", db.table("span").with_columns(cause=pl.when(by_night).then(pl.lit(cause)).otherwise("cause")))
        diagnose(db, WEEK, LAST)
        assert verdicts(db.table("finding"), "C9") == []


def test_how_much_of_a_plan_is_kept() -> None:
    plan, ran = np.zeros((2, 96)), np.zeros((2, 96))
    plan[0, 10:20], ran[0, 12:40] = 1000, 1010  # eight of ten quarters
    ran[0, 12] = NAN  # and one of them unseen
    assert plan_kept(ran, plan, {"same_rpm": 25}) == pytest.approx([7 / 9, 0])


def test_one_clock_fault_at_three_sites_is_no_default(fleet, findings) -> None:
    for n in range(3):
        fleet.site(f"S{n}", moved_min=lambda day: 720 if day >= RESET_DAY else 0)
    assert verdicts(findings(fleet), "C9") == []


def test_always_so_is_a_stale_record_and_a_visit_is_a_hand(fleet, findings) -> None:
    reset_sites(fleet)
    run(fleet, fleet.site("S8", plan=OWN[0]), DEFAULT)
    fleet.visit("R1", RESET_DAY, "keying", note="new plan")
    found = rows(findings(fleet), "C9")
    assert [(r["site_id"], r["measured"]) for r in found if r["verdict"] == "found"] == [("R0", 4.0), ("R2", 4.0)]
    assert len(found) == 2


def test_since_when_cannot_be_told(fleet, findings) -> None:
    pumps = reset_sites(fleet)
    for day in fleet.days[:9]:
        fleet.set(pumps[0], day, NAN)
    first, *others = rows(findings(fleet), "C9")
    assert first["sentence"].startswith("cannot tell: needs more valid days") and len(others) == 2


@pytest.mark.parametrize(("last_days", "found"), [(3, 3), (2, 0)])
def test_three_days_of_it(fleet, findings, last_days, found) -> None:
    reset_sites(fleet, since=fleet.days[-last_days])
    assert len([v for v in verdicts(findings(fleet), "C9") if v == "found"]) == found
