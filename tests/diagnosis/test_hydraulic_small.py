"""D3 to D5: changes of power that only weeks of days before them make sure; each with a near miss."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from power_rows import DAYS, ramp, step
from power_told import own, told

from pumpledger.diagnosis.small_steps import fitted_changes

# D3


def test_a_small_fall_that_bends_away_from_its_drift() -> None:
    """Flat for 36 days, then to 6 % below in 19, ever faster. As much along a line, along half a wave of a season, or to
    2.5 % tells nothing, nor does it where the fleet's season is not known."""
    quickening = np.clip(np.arange(DAYS) - 36, 0, None) / 19
    loads = 1 - 0.06 * quickening**1.5
    found = told(loads)
    assert own(found) == ["D3"] and found["D3"]["threshold"] == 0.04
    assert own(told(ramp(0, DAYS - 1, 0.94))) == []
    assert own(told(1 - 0.06 * (1 - np.cos(np.pi * np.arange(DAYS) / DAYS)) / 2)) == []
    assert own(told(1 - 0.025 * quickening**1.5)) == []
    assert own(told(ramp(50, DAYS - 1, 0.94))) == []  # within a week it may be chance, or a step
    assert own(told(loads, fleet_of=0)) == []


# D4 and D5, small steps


@pytest.mark.parametrize(("share", "rule"), [(1.05, "D4"), (0.95, "D5")])
def test_a_small_step_after_weeks_of_days(share, rule) -> None:
    """Five percent with a scatter of 0.8 % a speed: found five days after, with a season of its own beside it too."""
    slowly = ramp(0, DAYS - 1, 0.98)
    assert own(told(step(40, share))) == [rule]
    assert own(told(step(50, share) * slowly)) == [rule]
    assert rule not in told(step(52, share))  # four days are not five
    early = step(40, share)
    early[:32] = np.nan
    assert rule not in told(early)  # eight days before it are not ten
    assert own(told(step(40, share), fleet_of=0)) == []  # the season of the fleet is not known


@pytest.mark.parametrize("share", [2.0, 1.1])
def test_the_end_of_a_rise_is_no_valve(share) -> None:
    """Another pump's log for twenty days, or a meter: what came down had been there before."""
    days = np.arange(DAYS)
    assert "D5" not in told(np.where((days >= 16) & (days < 36), share, 1.0))


@pytest.mark.parametrize("share", [1.05, 0.95])
@pytest.mark.parametrize("length", [8, 14])
def test_a_small_slow_change_is_no_step(share, length) -> None:
    assert not {"D4", "D5"} & set(told(ramp(36, 36 + length, share)))


@pytest.mark.parametrize("share", [1.05, 0.95])
def test_a_small_step_of_a_restless_pump_is_not_sure(share) -> None:
    assert own(told(step(40, share), scatter=0.03)) == []


@settings(max_examples=10, deadline=None)
@given(seed=st.integers(0, 10_000), memory=st.floats(0.0, 0.8), size=st.floats(-0.1, 0.1))
def test_the_fit_of_a_change_is_that_of_generalised_least_squares(seed, memory, size) -> None:
    """numpy: (X' S^-1 X)^-1 X' S^-1 y with the whole covariance of a first-order process, gaps in the days and all."""
    noise = np.random.default_rng(seed)
    days = np.cumsum(noise.integers(1, 4, 30))
    change = (np.arange(30) >= 17).astype(float)
    logs = 4.0 + 0.001 * days + size * change + 0.01 * noise.standard_normal(30)
    columns = np.stack([np.ones(30), days, change], axis=1)
    inverse = np.linalg.inv(memory ** np.abs(days[:, None] - days)) if memory else np.eye(30)
    spread = np.linalg.inv(columns.T @ inverse @ columns)
    wanted = spread @ columns.T @ inverse @ logs
    left = logs - columns @ wanted
    squares = float(left @ inverse @ left)
    sizes, errors, remaining = fitted_changes(days, logs, change[None], memory)
    assert sizes[0] == pytest.approx(wanted[2], abs=1e-9)
    assert errors[0] == pytest.approx(np.sqrt(spread[2, 2] * squares / 27), rel=1e-6)
    assert remaining[0] == pytest.approx(squares, rel=1e-6)
