"""Pairs of pumps with one plan whose watts change places on the same day.

Belongs here: finding the day on which a pump's watts step, and pairing the steps. The mark of a pump's watts stands in
`watts_print.py`.
"""

from __future__ import annotations

import warnings
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import polars as pl

from pumpledger.verdicts.quarter_hours import Array, QuarterHours
from pumpledger.verdicts.swap_by_plan import Limits, Swap, day_costs, groups
from pumpledger.verdicts.watts_print import GRID_RPM, Mark, mark, mismatch

Visits = dict[str, list[tuple[float, float]]]


@dataclass(frozen=True, slots=True)
class WattsLimits:
    """``apart``: least difference of watts that tells two pumps apart; ``noise``: below it a difference is none; both
    as natural logarithms of the ratio."""

    apart: float
    noise: float


class Watts:
    """Steady watts of all pumps (pumps, days, 100) [W], and what visits read."""

    def __init__(
        self, quarters: QuarterHours, steady: Array, visits: Visits, limits: Limits, watts_limits: WattsLimits
    ) -> None:
        self.quarters, self.steady, self.visits = quarters, steady, visits
        self.limits, self.at = limits, watts_limits

    def seen(self, pump: int, days: np.ndarray | slice) -> Mark:
        return mark(self.quarters.observed[pump, days], self.steady[pump, days], [])

    def known(self, pump: int, before: int) -> Mark:
        """What is known of a pump from the days before a day, and from visits."""
        days = slice(0, before)
        visits = self.visits.get(self.quarters.pump_id[pump], [])
        return mark(self.quarters.observed[pump, days], self.steady[pump, days], visits)

    def compared(self, one: int, other: int, since: int) -> tuple[tuple[float, float], tuple[float, float]]:
        """Mismatch of both logs since a day with the pump's own mark, and with the other's; NaN where none compares."""
        seen = {pump: self.seen(pump, slice(since, None)) for pump in (one, other)}
        known = {pump: self.known(pump, since) for pump in (one, other)}
        own = (mismatch(seen[one], known[one]), mismatch(seen[other], known[other]))
        return own, (mismatch(seen[one], known[other]), mismatch(seen[other], known[one]))

    def better(self, own: float, others: float) -> bool:
        """Whether the other's mark fits so much better that the log is not the pump's own."""
        return own >= self.at.apart and own >= self.limits.ratio * max(others, self.at.noise)

    def says(self, swap: Swap) -> tuple[int, tuple[float, float], tuple[float, float]]:
        """1: the watts were swapped too; -1: they were not, so the plans were, or the record; 0: they cannot tell."""
        own, others = self.compared(swap.one, swap.other, swap.since)
        if all(self.better(*side) for side in zip(own, others, strict=True)):
            return 1, own, others
        if any(self.better(b, a) for a, b in zip(own, others, strict=True)):
            return -1, own, others
        return 0, own, others

    def swaps(self, record: Array) -> list[Swap]:
        """Pairs of pumps with one record whose watts change places."""
        found = []
        levels = day_levels(self.quarters.observed, self.steady)
        since = step_days(levels, self.limits.days_least, self.at.apart)
        for members in groups(self.quarters):
            steps: dict[int, list[int]] = {}
            for pump in _alike(self.quarters.planned, members).tolist():
                if since[pump] >= 0:
                    steps.setdefault(int(since[pump]), []).append(pump)
                elif self._unlike_visits(pump):
                    steps.setdefault(0, []).append(pump)
            for first, pumps in sorted(steps.items()):
                for one, other in combinations(pumps, 2):
                    if _near(record[one], record[other], self.limits):
                        found += self._swap(one, other, first)
        return found

    def _unlike_visits(self, pump: int) -> bool:
        """Whether the whole log is apart from what visits read."""
        if self.quarters.pump_id[pump] not in self.visits:
            return False
        return mismatch(self.seen(pump, slice(None)), self.known(pump, 0)) >= self.at.apart

    def _swap(self, one: int, other: int, since: int) -> Iterator[Swap]:
        own, others = self.compared(one, other, since)
        if not all(self.better(*side) for side in zip(own, others, strict=True)):
            return
        fitting, days = 0, []
        for pump, partner in ((one, other), (other, one)):
            mine, theirs = self.known(pump, since), self.known(partner, since)
            for day in range(since, len(self.quarters.days)):
                seen = self.seen(pump, slice(day, day + 1))
                if len(seen):
                    days.append(day)
                    fitting += self.better(mismatch(seen, mine), mismatch(seen, theirs))
        if len(days) >= 2 * self.limits.days_least:
            yield Swap(one, other, since, fitting, len(days), own, others, max(days))


def day_levels(observed: Array, steady: Array) -> Array:
    """How each pump's watts stand on each day to its own medians at the same speeds.

    (pumps, days, 100) [rev/min] and [W] -> (pumps, days), natural logarithm, NaN for a day without steady running.
    """
    pump, day, slot = np.nonzero(~np.isnan(steady))
    watts = pl.DataFrame(
        {
            "pump": pump,
            "day": day,
            "level": np.rint(observed[pump, day, slot] / GRID_RPM).astype(np.int32),
            "watts": steady[pump, day, slot],
        }
    )
    ratio = (pl.col("watts") / pl.col("watts").median().over("pump", "level")).log()
    daily = watts.with_columns(ratio=ratio).group_by("pump", "day").agg(pl.col("ratio").median())
    levels = np.full(steady.shape[:2], np.nan)
    levels[daily["pump"].to_numpy(), daily["day"].to_numpy()] = daily["ratio"].to_numpy()
    return levels


def step_days(levels: Array, least: int, apart: float) -> np.ndarray:
    """The day from which on each pump's levels stand ``apart`` from those before, both sides steady: (pumps, days) ->
    (pumps,), -1 without one.

    The split with the least sum of absolute differences from the medians of its two sides, each of ``least`` days.
    """
    pumps, days = levels.shape
    known = ~np.isnan(levels)
    spread, step, since = np.full(pumps, np.inf), np.zeros(pumps), np.full(pumps, -1)
    for cut in range(least, days - least + 1):
        sides = (levels[:, :cut], levels[:, cut:])
        enough = (known[:, :cut].sum(axis=1) >= least) & (known[:, cut:].sum(axis=1) >= least) & known[:, cut]
        middles = [_median(side) for side in sides]
        sums = sum(
            np.nansum(np.abs(side - middle[:, None]), axis=1) for side, middle in zip(sides, middles, strict=True)
        )
        better = enough & (sums < spread - 1e-12)
        spread = np.where(better, sums, spread)
        step = np.where(better, middles[1] - middles[0], step)
        since = np.where(better, cut, since)
    clear = (np.abs(step) >= apart) & (spread / np.maximum(known.sum(axis=1), 1) <= np.abs(step) / 3)
    return np.where(clear, since, -1)


def _median(values: Array) -> Array:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)  # a side without days has no median
        return np.nanmedian(values, axis=1)


def _alike(planned: Array, members: np.ndarray) -> np.ndarray:
    """Those of the pumps that have the last day's plan of another, or none on record."""
    marks = [planned[pump, -1].tobytes() for pump in members]
    times = Counter(marks)
    return members[[times[plan] > 1 for plan in marks]]


def _near(one: Array, other: Array, limits: Limits) -> bool:
    """Whether two records are one to the plan comparison, on every day."""
    apart = day_costs(one, other, limits.cap_rpm)
    return bool((apart[~np.isnan(apart)] < limits.misfit_rpm).all())
