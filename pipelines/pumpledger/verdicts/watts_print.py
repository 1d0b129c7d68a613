"""The watts that a pump draws at its speeds, as a mark by which its log can be told from another pump's.

Belongs here: learning the mark from days and visits, and comparing one with another. Whose log it is, is decided in
`identity.py`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pumpledger.verdicts.quarter_hours import Array

GRID_RPM = 25
STEADY_RPM = 40
"""Above the jitter of a drive (about 5 rpm either way, common practice, no source), below two steps of the grid."""
REACH = 0.2
"""Watts are carried at most this far along the speed: 20 % of it."""
EXPONENT = 2.65
"""Of wire power over speed: the middle of 2.4 to 2.9 at reduced speed ([MEM-M]: from memory, medium confidence). Over
20 % of the speed either end of that range is 5 % of the power away."""
LEAST_QUARTERS = 4


@dataclass(frozen=True, slots=True)
class Mark:
    """Speeds [rev/min], rising, the median watts at each [W], and how many quarter hours stand behind."""

    speed_rpm: Array
    power_w: Array
    quarters: Array

    def __len__(self) -> int:
        return len(self.speed_rpm)

    def at(self, speed_rpm: Array) -> Array:
        """Watts at other speeds: along a power law between neighbours, a little beyond the ends by ``EXPONENT``, NaN
        further away."""
        if not len(self):
            return np.full(len(speed_rpm), np.nan)
        known, asked = np.log(self.speed_rpm), np.log(speed_rpm)
        watts = np.interp(asked, known, np.log(self.power_w))
        watts += EXPONENT * (np.minimum(asked - known[0], 0) + np.maximum(asked - known[-1], 0))
        nearest = np.abs(asked[:, None] - known[None, :]).min(axis=1)
        return np.where(nearest <= np.log1p(REACH), np.exp(watts), np.nan)


def steady_watts(observed: Array, watts: Array) -> Array:
    """``watts`` of quarters whose neighbours of the same day run at the same speed, NaN elsewhere: all (..., 100)."""
    steady = np.full_like(watts, np.nan)
    middle = observed[..., 1:-1]
    apart = np.maximum(np.abs(middle - observed[..., :-2]), np.abs(middle - observed[..., 2:]))
    kept = (middle > 0) & (apart <= STEADY_RPM) & (watts[..., 1:-1] > 0)
    steady[..., 1:-1] = np.where(kept, watts[..., 1:-1], np.nan)
    return steady


def mark(observed: Array, watts: Array, visits: list[tuple[float, float]]) -> Mark:
    """The mark of some days (days, 100), speeds and steady watts, and of what visits read: (speed, watts)."""
    known = ~np.isnan(watts)
    levels = np.rint(observed[known] / GRID_RPM).astype(np.int64)
    drawn = watts[known].astype(np.float64)
    points = [(level * GRID_RPM, float(np.median(drawn[levels == level])), int((levels == level).sum()))
              for level in np.unique(levels).tolist()]  # fmt: skip
    points = [point for point in points if point[2] >= LEAST_QUARTERS]
    seen = {point[0] for point in points}
    points += [(speed, power, LEAST_QUARTERS) for speed, power in dict(visits).items() if speed not in seen]
    table = np.array(sorted(points), dtype=np.float64).reshape(-1, 3)
    return Mark(table[:, 0], table[:, 1], table[:, 2])


def mismatch(seen: Mark, known: Mark) -> float:
    """Mean of ``|ln(watts seen / watts known)|`` over the speeds seen, by quarter hours; NaN where none compares."""
    ratio = np.abs(np.log(seen.power_w / known.at(seen.speed_rpm)))
    usable = ~np.isnan(ratio)
    if not usable.any():
        return float("nan")
    return float(np.average(ratio[usable], weights=seen.quarters[usable]))
