"""Pairs of pumps whose logs fit each other's plans, and not their own, from the same day on.

Belongs here: the comparison of profiles. What the watts say, and the verdict, stand in `watts_print.py` and
`identity.py`. Arrays are those of `QuarterHours`: (pumps, days, 100) [rev/min].
"""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from pumpledger.profile import plan_match
from pumpledger.profile.plan_match import QUARTERS, SHIFTED
from pumpledger.verdicts.quarter_hours import Array, QuarterHours

LEAST_COVERAGE = 0.5
"""Share of a day's quarter hours below which the day tells nothing."""
FEW = 20
"""Pumps of a source that may be off their plans without the source itself being in question."""
CHUNK = 128


@dataclass(frozen=True, slots=True)
class Limits:
    """``ratio``: how many times better the other's record must fit. ``misfit_rpm``: mean difference from which a log is
    off a plan; ``noise_rpm``: below it a difference is none; ``cap_rpm``: most that one quarter hour counts.
    ``days_least``: days of either log. ``most_share``: share of a source's pumps off their plans above which the source
    is in question and no pair is looked for."""

    ratio: float
    misfit_rpm: float
    noise_rpm: float
    cap_rpm: float
    days_least: int
    most_share: float


@dataclass(frozen=True, slots=True)
class Swap:
    """Two pumps by number, ``one`` before ``other``.

    ``since`` and ``last`` are the numbers of the first and last day on which the logs are the other's; ``fitting`` of
    ``valid`` pump days since then say so. ``own`` and ``others`` are the mean differences of the two logs from the
    pump's own record and from the other's: [rpm], or of watts the natural logarithm of their ratio.
    """

    one: int
    other: int
    since: int
    fitting: int
    valid: int
    own: tuple[float, float]
    others: tuple[float, float]
    last: int


def day_costs(observed: Array, planned: Array, cap_rpm: float) -> Array:
    """Capped mean difference of each day [rpm]: (..., 100) and (..., 100) -> (...), NaN where too little is known."""
    gap = np.minimum(np.abs(observed - planned), cap_rpm)
    known = ~np.isnan(gap)
    count = known.sum(axis=-1)
    total = np.where(known, gap, 0).sum(axis=-1, dtype=np.float64)
    return np.divide(total, count, out=np.full(count.shape, np.nan), where=count >= LEAST_COVERAGE * QUARTERS)


def records(quarters: QuarterHours, days_least: int) -> Array:
    """What each pump is known to do: its plan, or where none is on record the median of its first ``days_least`` whole
    days."""
    known = quarters.planned.copy()
    whole = quarters.coverage() >= LEAST_COVERAGE
    for pump in np.flatnonzero(np.isnan(known).all(axis=(1, 2))).tolist():
        first = np.flatnonzero(whole[pump])[:days_least]
        if len(first) == days_least:
            known[pump] = _median(quarters.observed[pump, first])
    return known


def _median(days: Array) -> Array:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)  # a quarter nobody observed is NaN, as it should be
        return np.nanmedian(days, axis=-2)


def groups(quarters: QuarterHours) -> Iterator[np.ndarray]:
    """Numbers of the pumps of each source and zone."""
    keys = np.array([f"{source}\x1f{zone}" for source, zone in zip(quarters.source, quarters.zone, strict=True)])
    for key in np.unique(keys):
        yield np.flatnonzero(keys == key)


def swaps_by_plan(quarters: QuarterHours, record: Array, limits: Limits) -> list[Swap]:
    """All pairs; a pump may stand in several, where several pumps have one plan."""
    own = day_costs(quarters.observed, record, limits.cap_rpm)
    off = trailing(own, limits.misfit_rpm)
    found = []
    for members in groups(quarters):
        odd = members[(off[members] >= limits.days_least)]
        if 2 <= len(odd) <= max(FEW, limits.most_share * len(members)):
            for one, other in _likely(quarters, record, own, odd, limits):
                swap = dated(quarters, record, own, one, other, limits)
                if swap and not _same_clock(quarters, record, swap, limits):
                    found.append(swap)
    return found


def trailing(own: Array, misfit_rpm: float) -> np.ndarray:
    """How many valid days in a row, up to the last, each pump is off its record."""
    fits = own[:, ::-1] < misfit_rpm
    stop = np.where(fits.any(axis=1), fits.argmax(axis=1), own.shape[1])
    valid = ~np.isnan(own[:, ::-1])
    return (valid & (np.arange(own.shape[1]) < stop[:, None])).sum(axis=1)


def _likely(
    quarters: QuarterHours, record: Array, own: Array, odd: np.ndarray, limits: Limits
) -> Iterator[tuple[int, int]]:
    """Pairs whose median days fit each other's last record."""
    valid = ~np.isnan(own[odd])
    position = valid[:, ::-1].cumsum(axis=1)[:, ::-1]
    recent = valid & (position <= limits.days_least)
    medians = np.stack([_median(quarters.observed[pump, days]) for pump, days in zip(odd, recent, strict=True)])
    last = valid.shape[1] - 1 - valid[:, ::-1].argmax(axis=1)
    known = record[odd, last]
    costs = np.concatenate(
        [day_costs(medians[at : at + CHUNK, None], known[None], limits.cap_rpm) for at in range(0, len(odd), CHUNK)]
    )
    better = costs.diagonal()[:, None] >= limits.ratio * np.maximum(costs, limits.noise_rpm)
    for one, other in zip(*np.nonzero(np.triu(better & better.T, 1)), strict=True):
        yield int(odd[one]), int(odd[other])


def dated(quarters: QuarterHours, record: Array, own: Array, one: int, other: int, limits: Limits) -> Swap | None:
    """The pair with its day, if both logs changed over between the same two days."""
    sides = []
    for pump, partner in ((one, other), (other, one)):
        cross = day_costs(quarters.observed[pump], record[partner], limits.cap_rpm)
        known = ~np.isnan(own[pump]) & ~np.isnan(cross)
        swapped = known & (own[pump] >= limits.misfit_rpm)
        swapped &= own[pump] >= limits.ratio * np.maximum(cross, limits.noise_rpm)
        kept = known & ((own[pump] < limits.misfit_rpm) | (cross >= own[pump]))
        last_own = int(np.flatnonzero(kept).max(initial=-1))
        after = np.flatnonzero(swapped & (np.arange(len(known)) > last_own))
        if len(after) < limits.days_least:
            return None
        since = known & (np.arange(len(known)) >= after[0])
        sides.append((last_own, int(after[0]), len(after), int(since.sum()), float(own[pump][after].mean()),
                      float(cross[after].mean()), int(after[-1])))  # fmt: skip
    (last_a, first_a, *_), (last_b, first_b, *_) = sides
    if max(last_a, last_b) >= min(first_a, first_b):
        return None
    return Swap(
        one,
        other,
        since=min(first_a, first_b),
        fitting=sides[0][2] + sides[1][2],
        valid=sides[0][3] + sides[1][3],
        own=(sides[0][4], sides[1][4]),
        others=(sides[0][5], sides[1][5]),
        last=max(sides[0][6], sides[1][6]),
    )


def _same_clock(quarters: QuarterHours, record: Array, swap: Swap, limits: Limits) -> bool:
    """Whether both logs also fit their own plans, moved round the clock by one and the same time: then the source's
    clock explains them as well."""
    pumps = [swap.one, swap.other]
    days = _median(quarters.observed[pumps, swap.since :])[:, :QUARTERS].astype(np.float64)
    plan = record[pumps, swap.last][:, :QUARTERS].astype(np.float64)
    if np.isnan(plan).any():
        return False
    found = plan_match.match(days, plan, plan_match.MatchLimits(cap_rpm=limits.cap_rpm))
    return bool((found.verdict == SHIFTED).all() and found.shift_min[0] == found.shift_min[1])
