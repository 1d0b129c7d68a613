"""Circular matching against a search in plain loops, and on seeded synthetic sites: healthy, edited record, shifted
clock.

Check value 7k (definition): an AM/PM swap moves every event by 720 min. The case mix is made up here, so the rates are
a floor, not a promise.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pumpledger.profile.plan_match import (
    AMBIGUOUS,
    DIFFERS,
    FITS,
    SHIFTED,
    UNSEEN,
    MatchLimits,
    checkable,
    match,
    median_profile,
    shift_costs,
)

SITES = 600


def plans(rng: np.random.Generator, sites: int) -> np.ndarray:
    """Two or three periods at quarter hours, asymmetrical, (sites, 96)."""
    plan = np.zeros((sites, 96))
    for row in plan:
        cuts = np.sort(rng.choice(np.arange(20, 88), 4, replace=False))
        for k, speed in enumerate(rng.choice(np.arange(1000, 3000, 25), 3, replace=False)):
            row[cuts[k] : cuts[k + 1]] = speed
    return plan


def a_week(rng: np.random.Generator, running: np.ndarray, days: int = 7) -> np.ndarray:
    """Observed quarters (sites, days, 96): +-5 rpm noise, 7 % of days with an override of up to 24 quarters, 4 % of
    quarters lost."""
    seen = np.repeat(running[:, None, :], days, axis=1)
    seen = seen + np.where(seen > 0, rng.normal(0, 5, seen.shape), 0)
    for site, day in zip(*np.nonzero(rng.random((len(running), days)) < 0.07), strict=True):
        start = rng.integers(0, 72)
        seen[site, day, start : start + rng.integers(4, 24)] = 3000
    seen[rng.random(seen.shape) < 0.04] = np.nan
    return seen


def edited(rng: np.random.Generator, plan: np.ndarray) -> np.ndarray:
    """Plans in which one period has another speed: the record was not kept up."""
    changed = plan.copy()
    for row in changed:
        speed = rng.choice(np.unique(row[row > 0]))
        row[row == speed] = np.clip(speed + rng.choice([-600, -400, 400, 600]), 600, 3450)
    return changed


def test_costs_equal_a_plain_loop() -> None:
    rng = np.random.default_rng(3)
    plan = plans(rng, 4)
    observed = a_week(rng, np.roll(plan, 7, axis=1))[:, 0]
    costs = shift_costs(observed, plan, 400)
    for site in range(4):
        for shift in range(96):
            gaps = [
                min(abs(observed[site, q] - plan[site, (q - shift) % 96]), 400)
                for q in range(96)
                if not np.isnan(observed[site, q])
            ]
            assert costs[site, shift] == pytest.approx(sum(gaps) / len(gaps), abs=1e-9)


def test_verdicts_equal_a_plain_search() -> None:
    rng = np.random.default_rng(4)
    plan = plans(rng, 60)
    observed = median_profile(
        a_week(rng, np.stack([np.roll(row, shift) for row, shift in zip(plan, rng.integers(0, 96, 60), strict=True)]))
    )
    found = match(observed, plan)
    costs = shift_costs(observed, plan, 400)
    for site in range(60):
        best = min(range(96), key=lambda s: (costs[site, s], s))
        apart = [min((s - best) % 96, (best - s) % 96) for s in range(96)]
        rival = min(costs[site, s] for s in range(96) if apart[s] > 2)
        late = (best - 96 if best > 48 else best) * 15
        assert found.shift_min[site] == late
        moved = abs(late) >= 15 and costs[site, 0] - costs[site, best] >= 20
        clean = costs[site, best] <= max(12, 0.15 * costs[site, 0])
        alone = rival - costs[site, best] >= 10
        assert (found.verdict[site] == SHIFTED) == (moved and clean and alone)


def test_no_false_call_on_healthy_sites() -> None:
    rng = np.random.default_rng(11)
    plan = plans(rng, SITES)
    found = match(median_profile(a_week(rng, plan)), plan)
    assert set(found.verdict) == {FITS}


def test_an_edited_record_is_never_a_clock_fault() -> None:
    rng = np.random.default_rng(12)
    plan = plans(rng, SITES)
    found = match(median_profile(a_week(rng, edited(rng, plan))), plan)
    assert (found.verdict == SHIFTED).sum() == 0


@pytest.mark.parametrize("quarters", [48, 4, -4])
def test_a_shifted_clock_is_found_exactly(quarters: int) -> None:
    """7k with 48 quarters: 720 min for all events."""
    rng = np.random.default_rng(13)
    plan = plans(rng, SITES)
    found = match(median_profile(a_week(rng, np.roll(plan, quarters, axis=1))), plan)
    called = found.verdict == SHIFTED
    assert called.mean() >= 0.90  # the rest lies near a plan that cannot be checked
    assert (found.shift_min[called] == quarters * 15).all()
    missed = ~called & checkable(plan, quarters * 15, MatchLimits(gain_rpm=30, margin_rpm=20))
    assert not missed.any()


def test_symmetric_and_constant_plans_cannot_be_checked() -> None:
    every_12_h = np.tile(np.r_[np.full(16, 1500.0), np.zeros(32)], 2)
    always = np.full(96, 1500.0)
    uneven = np.r_[np.zeros(24), np.full(8, 2400.0), np.full(48, 1000.0), np.zeros(16)]
    assert checkable(np.stack([every_12_h, always, uneven]), 720).tolist() == [False, False, True]
    assert match(np.stack([np.roll(every_12_h, 4)]), np.stack([every_12_h])).verdict.tolist() == [AMBIGUOUS]


def test_another_programme_differs_and_an_empty_week_is_unseen() -> None:
    plan = np.r_[np.zeros(24), np.full(48, 1000.0), np.zeros(24)][None, :]
    assert match(np.full((1, 96), 3450.0), plan).verdict.tolist() == [DIFFERS]
    assert match(np.full((1, 96), np.nan), plan).verdict.tolist() == [UNSEEN]
    assert len(match(np.empty((0, 96)), np.empty((0, 96))).verdict) == 0


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 95), st.integers(0, 95), st.integers(0, 2**32 - 1))
def test_turning_both_round_the_clock_changes_nothing(turn: int, shift: int, seed: int) -> None:
    rng = np.random.default_rng(seed)
    plan = plans(rng, 2)
    observed = np.roll(plan, shift, axis=1)
    here, there = match(observed, plan), match(np.roll(observed, turn, axis=1), np.roll(plan, turn, axis=1))
    assert here.verdict.tolist() == there.verdict.tolist()
    np.testing.assert_allclose(here.cost_best_rpm, there.cost_best_rpm)
