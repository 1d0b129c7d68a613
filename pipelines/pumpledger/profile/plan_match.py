"""Does what ran fit the recorded plan, moved round the clock? Circular matching of quarter-hour profiles.

Belongs here: pure arithmetic on arrays of 96 quarters, vectorised over pumps. What the offsets mean for a site stands
in the rooms above (`verdicts`, `diagnosis`).

The cost is a capped mean absolute difference, not a correlation: a correlation does not see levels, so an edited step
would look like a shift. On synthetic profiles only the four tests together kept edited plans from passing for clock
faults; see tests/profile/test_plan_match.py.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

QUARTERS = 96
QUARTER_MIN = 15
RUNNER_UP_BINS = 2  # the runner-up lies more than 30 min from the best shift
OBSERVED_LEAST = 0.9  # share of the 96 quarters with a median, below which nothing is matched

FITS = "fits"
SHIFTED = "shifted"
DIFFERS = "differs from record"
AMBIGUOUS = "ambiguous"
UNSEEN = "too little data"

Array = npt.NDArray[np.floating]


@dataclass(frozen=True, slots=True)
class MatchLimits:
    """The four tests' thresholds and the cap [rpm, min, share]."""

    shift_min: float = 15
    gain_rpm: float = 20
    residual_rpm: float = 12
    residual_share: float = 0.15
    margin_rpm: float = 10
    cap_rpm: float = 400
    differs_rpm: float = 30


@dataclass(frozen=True, slots=True)
class Match:
    """One entry a row: how late the observed profile is [-705, 720 min], the costs [rpm], and the verdict."""

    shift_min: npt.NDArray[np.int64]
    cost_unshifted_rpm: Array
    cost_best_rpm: Array
    cost_runner_up_rpm: Array
    verdict: npt.NDArray[np.str_]


def median_profile(days: Array) -> Array:
    """Median over the days of each quarter, leaving out what was not observed: (pumps, days, 96) -> (pumps, 96), NaN
    none observed."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)  # a quarter nobody observed is NaN, as it should be
        return np.nanmedian(days, axis=1)


def shift_costs(observed: Array, plan: Array, cap_rpm: float) -> Array:
    """``mean(min(|observed - roll(plan, s)|, cap))`` for all 96 shifts s: (rows, 96) and (rows, 96) -> (rows, 96)
    [rpm].

    Quarters not observed (NaN) are left out of the mean; a row without any is NaN.
    """
    seen = ~np.isnan(observed)
    filled = np.where(seen, observed, 0.0)
    count = seen.sum(axis=1)
    costs = np.full((len(observed), QUARTERS), np.nan)
    for shift in range(QUARTERS):
        gap = np.minimum(np.abs(filled - np.roll(plan, shift, axis=1)), cap_rpm)
        np.divide((gap * seen).sum(axis=1), count, out=costs[:, shift], where=count > 0)
    return costs


def signed_shift_min(shift: npt.NDArray[np.integer]) -> npt.NDArray[np.int64]:
    """Bins 0..95 as minutes late, -705..720."""
    shift = np.asarray(shift, dtype=np.int64)
    return np.where(shift > QUARTERS // 2, shift - QUARTERS, shift) * QUARTER_MIN


def _distance(a: npt.NDArray[np.integer], b: npt.NDArray[np.integer]) -> npt.NDArray[np.integer]:
    apart = np.abs(a - b) % QUARTERS
    return np.minimum(apart, QUARTERS - apart)


def match(
    observed: Array, plan: Array, limits: MatchLimits = MatchLimits(), observed_least: float = OBSERVED_LEAST
) -> Match:
    """Best circular shift of ``plan`` onto ``observed`` and what it means, row by row.

    ``shifted`` only if the shift is long enough, gains enough, leaves little and no other shift more than 30 min away
    does nearly as well. A shift that leaves too much ``differs from record``; one with a rival is ``ambiguous``.
    """
    if not len(observed):
        none = np.empty(0)
        return Match(np.empty(0, np.int64), none, none, none, np.empty(0, dtype="<U24"))
    costs = shift_costs(observed, plan, limits.cap_rpm)
    known = ~np.isnan(costs).any(axis=1)
    costs = np.where(known[:, None], costs, 0.0)
    best = costs.argmin(axis=1)
    unshifted, least = costs[:, 0], costs.min(axis=1)
    rivals = np.where(_distance(np.arange(QUARTERS)[None, :], best[:, None]) > RUNNER_UP_BINS, costs, np.inf)
    runner_up = rivals.min(axis=1)
    late = signed_shift_min(best)

    moved = (np.abs(late) >= limits.shift_min) & (unshifted - least >= limits.gain_rpm)
    clean = least <= np.maximum(limits.residual_rpm, limits.residual_share * unshifted)
    alone = runner_up - least >= limits.margin_rpm
    verdict = np.select(
        [
            (~np.isnan(observed)).mean(axis=1) < observed_least,
            moved & clean & alone,
            moved & clean,
            moved,
            unshifted <= limits.differs_rpm,
        ],
        [UNSEEN, SHIFTED, AMBIGUOUS, DIFFERS, FITS],
        default=DIFFERS,
    )
    return Match(late, unshifted, least, runner_up, verdict)


def checkable(plan: Array, shift_min: int, limits: MatchLimits = MatchLimits()) -> npt.NDArray[np.bool_]:
    """Whether a clock ``shift_min`` out would pass the tests for this plan at all: (rows, 96) -> (rows,).

    False for plans too constant or too symmetric: then silence proves nothing about the clock.
    """
    if not len(plan):
        return np.empty(0, dtype=bool)
    own = shift_costs(plan, plan, limits.cap_rpm)
    shifts = np.arange(QUARTERS)
    rivals = own[:, _distance(shifts, np.zeros_like(shifts)) > RUNNER_UP_BINS].min(axis=1)
    return (own[:, (shift_min // QUARTER_MIN) % QUARTERS] >= limits.gain_rpm) & (rivals >= limits.margin_rpm)
