"""The mark of a pump's watts: what is carried along the speed, and how far two marks are apart.

Outside: the affinity laws (any pump handbook) give a cube for the shaft; a power law must be read back exactly between
its points, and numpy's own median and log are the arithmetic of the rest.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pumpledger.verdicts.swap_by_plan import day_costs, trailing
from pumpledger.verdicts.swap_by_watts import day_levels, step_days
from pumpledger.verdicts.watts_print import EXPONENT, Mark, mark, mismatch, steady_watts

NAN = float("nan")


def marked(*points: tuple[float, float]) -> Mark:
    speeds, watts = np.array(points, dtype=float).T
    return Mark(speeds, watts, np.full(len(points), 10.0))


@given(st.floats(2.0, 3.2), st.floats(1000, 3000))
def test_a_power_law_is_read_back_between_its_points(exponent, rpm) -> None:
    law = lambda n: 1e-7 * n**exponent
    known = marked((1000, law(1000)), (1700, law(1700)), (3000, law(3000)))
    near = abs(np.log(rpm / np.array([1000, 1700, 3000]))).min() <= np.log(1.2)
    (watts,) = known.at(np.array([rpm]))
    assert watts == pytest.approx(law(rpm), rel=1e-9) if near else np.isnan(watts)


def test_beyond_its_ends_a_mark_is_carried_a_fifth_of_the_speed() -> None:
    known = marked((1500, 220.0))
    below, inside, beyond = known.at(np.array([1200, 1700, 1900]))
    assert np.isnan(below) and np.isnan(beyond)  # 1500/1200 = 1.25
    assert inside == pytest.approx(220 * (1700 / 1500) ** EXPONENT)
    assert np.isnan(Mark(*np.empty((3, 0))).at(np.array([1500.0]))).all()


def test_a_mismatch_is_the_mean_logarithm_weighted_by_time() -> None:
    known = marked((1000, 100.0), (2000, 500.0))
    seen = Mark(np.array([1000.0, 2000.0]), np.array([120.0, 500.0]), np.array([30.0, 10.0]))
    assert mismatch(seen, known) == pytest.approx(0.75 * np.log(1.2))
    assert np.isnan(mismatch(marked((3400, 2000.0)), known))
    assert mismatch(known, known) == pytest.approx(0, abs=1e-12)


def test_only_quarters_between_others_of_the_same_speed_are_steady() -> None:
    observed = np.array([[0, 1500, 1503, 1498, 2600, 2600, NAN, 2600, 2600, 2600]], dtype=float)
    watts = np.arange(10, 20, dtype=float)[None]
    steady = steady_watts(observed, watts)[0]
    assert np.flatnonzero(~np.isnan(steady)).tolist() == [2, 8]
    assert steady[[2, 8]].tolist() == [12, 18]


def test_a_mark_needs_four_quarters_of_a_speed_and_takes_visits_beside() -> None:
    observed = np.full((1, 12), 1500.0)
    observed[0, 9:] = 2600
    watts = np.where(observed == 1500, 200.0, 900.0)
    assert mark(observed, watts, []).speed_rpm.tolist() == [1500]
    known = mark(observed, watts, [(2600.0, 950.0), (1500.0, 999.0)])
    assert (known.speed_rpm.tolist(), known.power_w.tolist()) == ([1500, 2600], [200, 950])


def test_levels_and_steps_agree_with_a_plain_search() -> None:
    rng = np.random.default_rng(3)
    levels = rng.normal(0, 0.01, (40, 14))
    changed = rng.integers(3, 12, 40)
    for row, cut in zip(levels[:20], changed[:20], strict=True):
        row[cut:] += 0.2
    levels[rng.random(levels.shape) < 0.05] = NAN
    found = step_days(levels, 3, 0.1)
    for row, since in zip(levels, found, strict=True):
        known = np.flatnonzero(~np.isnan(row))
        sums = {}
        for cut in range(3, len(known) - 2):
            a, b = row[known[:cut]], row[known[cut:]]
            sums[known[cut]] = np.abs(a - np.median(a)).sum() + np.abs(b - np.median(b)).sum()
        best = min(sums, key=sums.get)
        step = np.median(row[known[known >= best]]) - np.median(row[known[known < best]])
        told = abs(step) >= 0.1 and sums[best] / len(known) <= abs(step) / 3
        assert since == (best if told else -1)
    assert (found[:20] >= 0).all() and (found[20:] == -1).all()


def test_day_levels_are_taken_within_each_speed() -> None:
    observed = np.tile(np.repeat([1500.0, 2600.0], 4), (1, 6, 1))
    steady = np.tile(np.repeat([200.0, 900.0], 4), (1, 6, 1))
    steady[0, 3:] *= 1.2
    steady[0, 5] = NAN
    levels = day_levels(observed, steady)[0]
    assert levels[:5] == pytest.approx([0, 0, 0, np.log(1.2), np.log(1.2)])
    assert np.isnan(levels[5])


def test_day_costs_are_capped_and_need_half_a_day() -> None:
    observed = np.full((3, 100), NAN)
    observed[0, :96], observed[1, :47], observed[2, :48] = 1000, 1000, 1000
    planned = np.full((3, 100), 0.0)
    planned[:, 48:] = 990
    assert day_costs(observed, planned, 400)[[0, 2]].tolist() == [(48 * 400 + 48 * 10) / 96, 400]
    assert np.isnan(day_costs(observed, planned, 400)[1])


def test_days_off_the_record_are_counted_from_the_last_day_back() -> None:
    costs = np.array([[50, 50, 5, 50, NAN, 50], [50, NAN, 50, 50, 50, 5], [50, 50, 50, NAN, NAN, NAN], [NAN] * 6])
    assert trailing(costs, 20).tolist() == [2, 0, 3, 0]
