"""D3 to D7: power that changed at the same speed; each with a near miss and a 'cannot tell'.

Series of eight weeks that end with the review's week; shares and watts are arithmetic on the small fleet's power curve.
"""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from power_rows import DAYS, ONES, day, levels, load_levels, peers, ramp, step
from power_told import POWER_RULES, own, told
from small_fleet import LAST, WEEK, Fleet, power_w

from pumpledger.accounting.loading_shape import two_levels
from pumpledger.diagnosis.constant_watts import constant_and_cubic
from pumpledger.diagnosis.power_levels import slope
from pumpledger.diagnosis.power_shift import alike_in_watts
from pumpledger.diagnosis.run import diagnose
from pumpledger.diagnosis.standing import PAST_FINDING

# healthy


@pytest.mark.parametrize("fleet_of", [9, 0])
@pytest.mark.parametrize("lost", [0.08, 0.05])
def test_a_season_of_eight_percent_is_nobodys_fault(fleet_of, lost) -> None:
    """Down over eight weeks, in a fleet that shows it in common and in one too small to."""
    found = told(ONES, fleet_of=fleet_of, season=ramp(0, DAYS - 1, 1 - lost))
    assert own(found) == []


@settings(max_examples=8, deadline=None)
@given(seed=st.integers(0, 10_000), scatter=st.sampled_from([0.002, 0.01, 0.02]), wave=st.floats(-0.04, 0.04))
def test_scatter_and_waves_find_nothing(seed, scatter, wave) -> None:
    season = 1 + wave * np.sin(np.arange(DAYS) / DAYS * 2 * np.pi)
    assert own(told(ONES, season=season, scatter=scatter, seed=seed)) == []


@pytest.mark.parametrize("period", [14, 21])
def test_a_filter_that_loads_a_little_and_is_cleaned_is_healthy(period) -> None:
    """Six percent down to each cleaning and back, on record or not."""
    saw = 1 - 0.06 * (np.arange(DAYS) % period) / period
    cleaned = tuple(range(period, DAYS, period))
    assert own(told(saw, cleanings=cleaned)) == []
    assert own(told(saw)) == []


def test_a_new_pump_that_draws_less_is_no_fault() -> None:
    assert own(told(step(40, 0.6), works=((40, "commissioning"),))) == []
    assert own(told(step(40, 1.4), works=((40, "repair"),))) == []


# D3


def test_a_loading_filter() -> None:
    """Down 14 % in a line over 30 days: the last five days' middle is the third day from the end, 13 % down."""
    found = told(ramp(26, 55, 0.86))
    d3 = found["D3"]
    assert own(found) == ["D3"]
    assert d3["measured"] == pytest.approx(0.14 * 27 / 29, abs=0.012)
    assert d3["threshold"] == 0.08
    assert "looks like a saving" in d3["sentence"] and "fitting" in d3["caution"] and "pressure" in d3["caution"]


def test_loading_is_counted_from_the_last_cleaning() -> None:
    down = np.concatenate([ramp(0, 29, 0.88)[:30], ONES[:26]])
    assert own(told(down, cleanings=(29,))) == []
    assert own(told(ramp(0, 55, 0.94))) == []  # six percent is below the limit


def test_a_small_fleet_cannot_tell_loading_from_season() -> None:
    d3 = told(ramp(20, 55, 0.88), fleet_of=0)["D3"]
    assert d3["verdict"] == "cannot tell" and "at least eight pumps" in d3["sentence"]
    assert own(told(ramp(20, 55, 0.75), fleet_of=0)) == ["D3"]


def test_days_without_power_say_nothing() -> None:
    share = ramp(26, 55, 0.86)
    share[-7:] = np.nan
    assert "D3" not in told(share)


# D5


@pytest.mark.parametrize(("share", "severity"), [(0.85, "next visit"), (0.62, "this week")])
def test_a_valve_moved(share, severity) -> None:
    found = told(step(40, share))
    d5 = found["D5"]
    assert own(found) == ["D5"]
    assert found["D3"]["explained_by"] == "D5"
    assert (d5["first_day"], d5["days"], d5["severity"]) == (day(40), 16, severity)
    assert d5["measured"] == pytest.approx(1 - share, abs=0.01)
    assert "all 3 speeds" in d5["sentence"] and "released" not in d5["instruction"]


def test_a_valve_left_shut_at_a_cleaning() -> None:
    found = told(step(44, 0.85), cleanings=(20, 43))
    assert own(found) == ["D5"]
    assert found["D5"]["first_day"] == day(44)
    assert "came with the cleaning" in found["D5"]["sentence"]


@pytest.mark.parametrize(
    "share",
    [
        step(40, 0.98),  # less than the limit
        step(52, 0.85),  # four days are not five
        np.where((np.arange(DAYS) >= 20) & (np.arange(DAYS) < 30), 0.85, 1.0),  # put back again
    ],
)
def test_no_valve(share) -> None:
    found = told(share)
    assert "D5" not in found and "D4" not in found


def test_a_step_at_one_of_three_speeds_is_no_valve() -> None:
    """The other two stay where they were: a keyed speed or a load, not the water's way."""
    fleet = Fleet()
    pump = fleet.site()
    mixed = pl.concat([levels({pump: step(40, 0.8)}, (2400,)), levels({pump: ONES, **peers(9)}, (1000, 1500), seed=8)])
    for number in range(9):
        fleet.site(f"Q{number}")
    with fleet.database() as db:
        load_levels(db, mixed)
        diagnose(db, WEEK, LAST)
        assert "D5" not in db.table("finding")["rule_id"].to_list()


def test_a_fall_whose_shape_the_days_cannot_tell_claims_no_cause() -> None:
    """Twelve days since the cleaning are too few for step or ramp."""
    share = np.concatenate([ONES[:47], [1, 1, 1, 0.87, 0.87, 0.87, 0.87, 0.87, 0.87]])
    found = told(share, cleanings=(46,))
    assert own(found) == ["D3"]
    assert "cleaning or valve" in found["D3"]["sentence"]


# D4


def test_a_filter_broken_through() -> None:
    found = told(step(40, 1.12))
    assert own(found) == ["D4"]
    assert found["D4"]["measured"] == pytest.approx(0.12, abs=0.01)
    assert "nobody wrote down" in found["D4"]["sentence"]


def test_a_rise_above_the_last_cleaning() -> None:
    assert own(told(step(40, 1.12), cleanings=(25,))) == ["D4"]
    assert own(told(step(31, 1.12), cleanings=(10, 30))) == ["D4"]


def test_a_cleaning_that_brings_power_back_is_no_break_through() -> None:
    down = np.concatenate([ramp(0, 39, 0.85)[:40], ONES[:16]])
    assert own(told(down, cleanings=(39,))) == []
    assert own(told(down)) == []  # nor one that nobody wrote down
    assert own(told(step(40, 1.02))) == []


def test_a_rise_after_few_days_may_be_a_cleaning() -> None:
    """Twelve days before the rise do not show what a clean filter draws, nor do days that lose 0.35 % each: in eight weeks
    that is 20 %, more than the 14 % that came back."""
    share = step(40, 1.12)
    share[:28] = np.nan
    d4 = told(share)["D4"]
    assert d4["verdict"] == "cannot tell" and "visits.csv" in d4["sentence"]
    fell = step(40, 1.16) - 0.0035 * np.clip(np.arange(DAYS) - 24, 0, 16)
    fell[:24] = np.nan
    assert told(fell)["D4"]["verdict"] == "cannot tell"
    flat = step(40, 1.12)
    flat[:24] = np.nan
    assert own(told(flat)) == ["D4"]


@pytest.mark.parametrize("watts", [30, -20])
@pytest.mark.parametrize("cleanings", [(), (10, 39)])
def test_watts_that_come_or_go_at_all_speeds_alike_are_no_water(watts, cleanings) -> None:
    """30 W are 31 % at 1000 rpm and 14 % at 1500; so does the zero of a meter move, or a lamp on its circuit."""
    found = told(ONES, added_w={"P-S1": watts * (np.arange(DAYS) >= 40)}, cleanings=cleanings, speeds=(1000, 1500))
    assert not {"D4", "D5"} & set(found)


@pytest.mark.parametrize(("speeds", "cause"), [((1000,), "B14"), ((1000, 1500), "")])
def test_at_one_speed_a_rise_stands_under_watts_that_rest_shows(speeds, cause) -> None:
    resting = pl.when(pl.col("kind") == "off").then(40.0).otherwise("power_w")
    found = told(step(40, 1.2), speeds=speeds, asked=(*POWER_RULES, "B14"), spans={"power_w": resting})
    assert found["D4"]["explained_by"] == cause


@settings(max_examples=60, deadline=None)
@given(st.floats(0.5, 1.6).filter(lambda share: abs(share - 1) > 0.05), st.floats(1.2, 3.0), st.booleans())
def test_the_affinity_laws_part_water_from_watts(share, apart, idle) -> None:
    """Power of the water goes with the cube of speed (affinity laws), with and without watts that stay."""
    speeds = np.array([1000.0, 1000.0 * apart])
    water = 52 * (speeds / 1000) ** 3
    old = water + 45 * idle
    assert not alike_in_watts(speeds, old, old + (share - 1) * water)
    assert alike_in_watts(speeds, old, old + 30 * (share - 1))


# D6


def test_a_cleaning_that_does_not_bring_power_back() -> None:
    found = told(ramp(10, 40, 0.85), cleanings=(42,))
    assert own(found) == ["D6"]
    assert found["D6"]["measured"] == pytest.approx(0.15, abs=0.015)
    assert str(day(42)) in found["D6"]["sentence"]


def test_a_cleaning_that_does_is_no_worn_impeller() -> None:
    back = np.concatenate([ramp(10, 40, 0.85)[:42], ONES[:14] * 0.96])
    assert "D6" not in told(back, cleanings=(41,))
    assert "D6" not in told(ramp(10, 40, 0.85), cleanings=(54,))  # one day after it says nothing
    assert "D6" in told(ramp(10, 40, 0.85), cleanings=(53,))


def test_a_small_fleet_cannot_tell_wear_from_season() -> None:
    d6 = told(ramp(10, 40, 0.88), cleanings=(42,), fleet_of=0)["D6"]
    assert d6["verdict"] == "cannot tell" and "at least eight pumps" in d6["sentence"]


# D7


def test_watts_added_slowly_at_every_speed() -> None:
    """0 to 40 W in a line over 56 days: the middle of the last seven days less that of the first ten is
    40 (52 - 4.5) / 55 = 34.5 W; three speeds of 240 min a day make 34.5 x 12 x 7 / 1000 = 2.9 kWh a week."""
    found = told(ONES, added_w={"P-S1": np.linspace(0, 40, DAYS)}, scatter=0.004)
    assert own(found) == ["D7"]
    assert found["D7"]["measured"] == pytest.approx(34.5, abs=4)
    assert found["D7"]["benefit_kwh_week"] == pytest.approx(found["D7"]["measured"] * 12 * 7 / 1000)


def test_power_that_rises_in_proportion_is_no_bearing() -> None:
    assert "D7" not in told(ramp(0, 55, 1.12))
    few = np.linspace(0, 11, DAYS)  # 9.5 W of the 10 that are asked for
    assert "D7" not in told(ONES, added_w={"P-S1": few}, scatter=0.004)


def test_a_device_put_on_the_meter_is_no_bearing() -> None:
    d7 = told(ONES, added_w={"P-S1": 40 * (np.arange(DAYS) >= 30)})["D7"]
    assert d7["verdict"] == "cannot tell" and "another device" in d7["sentence"]


def test_one_speed_cannot_tell_bearings_from_water() -> None:
    d7 = told(ONES, added_w={"P-S1": np.linspace(0, 40, DAYS)}, speeds=(1500,))["D7"]
    assert d7["verdict"] == "cannot tell" and "second held speed" in d7["sentence"]


# against other code


@settings(max_examples=40, deadline=None)
@given(st.lists(st.floats(0.5, 1.5), min_size=12, max_size=40), st.integers(4, 8), st.floats(0.3, 1.0))
def test_the_break_is_that_of_ruptures(values, at, drop) -> None:
    """ruptures 1.1 (BSD-2-Clause): exact search by dynamic programming over the same cost, one break."""
    import ruptures

    index = np.array(values)
    index[at:] -= drop
    mine, left = two_levels(index)
    theirs = ruptures.Dynp(model="l2", min_size=1, jump=1).fit(index[:, None]).predict(1)[0]
    cost = sum(float(np.sum(np.square(side - side.mean()))) for side in (index[:theirs], index[theirs:]))
    assert left == pytest.approx(cost, abs=1e-9)
    assert mine == theirs or left == pytest.approx(cost, rel=1e-9)


@settings(max_examples=40, deadline=None)
@given(st.lists(st.floats(-1e3, 1e3), min_size=2, max_size=30), st.integers(1, 5))
def test_the_slope_is_that_of_scipy(values, pace) -> None:
    """scipy.stats.theilslopes."""
    from scipy.stats import theilslopes

    days = np.cumsum(np.arange(len(values)) % pace + 1)
    assert slope(days, np.array(values)) == pytest.approx(theilslopes(values, days)[0], abs=1e-9)


def test_the_constant_part_is_that_of_a_least_squares_solver() -> None:
    """numpy.linalg.lstsq on the same relative residuals; and exact where power is made of the two parts."""
    speeds = np.array([1000.0, 1700.0, 2600.0])
    exact = constant_and_cubic(speeds, power_w(speeds)[:, None])
    assert exact[0][0] == pytest.approx(45) and exact[1][0] == pytest.approx(52)
    watts = power_w(speeds) * np.array([1.03, 0.98, 1.01])
    rows = np.stack([np.ones(3), (speeds / 1000) ** 3], axis=1) / watts[:, None]
    wanted = np.linalg.lstsq(rows, np.ones(3), rcond=None)[0]
    found = constant_and_cubic(speeds, watts[:, None])
    assert [found[0][0], found[1][0]] == pytest.approx(wanted.tolist())
    alone = constant_and_cubic(speeds, np.array([[100.0], [np.nan], [np.nan]]))
    assert np.isnan(alone[0][0])


def test_the_week_must_have_power() -> None:
    share = step(30, 0.8)
    share[-7:] = np.nan
    assert own(told(share)) == []
    assert LAST == day(DAYS - 1) and LAST - timedelta(days=6) == day(DAYS - 7)


def test_a_repair_that_left_the_power_as_it_was_cuts_no_series() -> None:
    """A lid ring, then the valve three days later: without the days before the ring there would be too few."""
    assert own(told(step(40, 0.85), works=((37, "repair"),))) == ["D5"]
    assert own(told(step(40, 0.85), works=((38, "repair"),))) == ["D5"]  # a day as before lies between
    assert own(told(step(40, 0.85), works=((39, "repair"),))) == []  # with the repair: another machine


@pytest.mark.parametrize("rule", ["B3", "B11"])
def test_days_of_a_log_that_was_in_doubt_are_none_of_the_pumps(rule) -> None:
    """Until the 40th day the log was told to be another's: what is left is sixteen days, all alike."""
    share = np.where(np.arange(DAYS) < 40, 1.2, 1.0)
    assert "D5" in told(share)
    past = {**dict.fromkeys(PAST_FINDING), "week": "2026-W44", "rule_id": rule, "component": "P-S1", "verdict": "found"}
    doubt = past | {"first_day": day(0), "last_day": day(39), "explained_by": ""}
    assert "D5" not in told(share, past=pl.DataFrame([doubt], schema=PAST_FINDING))


def test_power_doubled_is_a_meter_and_no_filter() -> None:
    assert "D4" not in told(step(40, 2.0))
    assert own(told(step(40, 1.4))) == ["D4"]


def test_watts_added_show_at_speeds_that_lie_near_each_other() -> None:
    """1225 rpm is 1.29 times 950; 40 W come over ten days, two weeks before the end."""
    added = np.interp(np.arange(DAYS), [32, 42], [0, 40])
    found = told(ONES, added_w={"P-S1": added}, speeds=(950, 1225), scatter=0.004)
    assert own(found) == ["D7"]
    assert found["D7"]["measured"] == pytest.approx(40, abs=4)


@pytest.mark.parametrize(("watts", "verdict"), [(40, "cannot tell"), (60, "found")])
def test_one_speed_tells_bearings_where_no_water_could_add_so_much(watts, verdict) -> None:
    """Of 97 W at 1000 rpm: two fifths are 38.8 W; the middle of the newest seven days of the line is 52 / 55 of its end."""
    added = np.linspace(0, watts, DAYS)
    assert told(ONES, added_w={"P-S1": added}, speeds=(1000,), scatter=0.004)["D7"]["verdict"] == verdict


def test_a_speed_that_began_with_the_newest_plan_is_read_with_it() -> None:
    """Two weeks at 1500 and 2400 rpm before, then at 1000 rpm alone: a step there still shows."""
    late = step(40, 0.85)
    late[:20] = np.nan
    fleet = Fleet()
    pump = fleet.site()
    for number in range(9):
        fleet.site(f"Q{number}")
    early = np.where(np.arange(DAYS) < 20, 1.0, np.nan)
    rows = pl.concat([levels({pump: late, **peers(9)}, (1000,)), levels({pump: early}, (1500, 2400), seed=8)])
    with fleet.database() as db:
        load_levels(db, rows)
        diagnose(db, WEEK, LAST)
        found = db.table("finding").filter(pl.col("rule_id").is_in(["D4", "D5"]), site_id="S1")
    assert found["rule_id"].to_list() == ["D5"]
