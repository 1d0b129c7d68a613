"""When a series of daily values changed its level, and whether it runs away instead: pure arithmetic on short series.

Belongs here: the last step of a series, and a robust slope with its interval. What the values are stands with those who
ask.

Eight weeks of daily values are few: every cut is tried. A step stands where it takes more than chance would off the sum
of absolute residuals, and no stretch is shorter than three days (catalogue notes on change points: an exhaustive search
of two segments is enough at 35 to 63 days).
"""

from __future__ import annotations

from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
import numpy.typing as npt

DAY_MIN = 1440
HALF_DAY_MIN = 720
SHORTEST_DAYS = 3
Array = npt.NDArray[np.floating]


def wrapped(minutes: Array) -> Array:
    """Minutes round the clock as -720 (not included) to 720; NaN stays."""
    return HALF_DAY_MIN - (HALF_DAY_MIN - np.asarray(minutes, dtype=np.float64)) % DAY_MIN


def apart(a: Array | float, b: Array | float) -> Array:
    """How far two times lie apart round the clock, 0 to 720 [min]."""
    return np.abs(wrapped(np.asarray(a, dtype=np.float64) - b))


def median_of_three(values: Array) -> Array:
    """Each value's median with its neighbours; a step stays where it is, a single odd day goes."""
    if len(values) < 3:
        return np.asarray(values, dtype=np.float64)
    padded = np.pad(np.asarray(values, dtype=np.float64), 1, mode="edge")
    return np.median(np.stack([padded[:-2], padded[1:-1], padded[2:]]), axis=0)


def _about_median(values: Array) -> float:
    return float(np.abs(values - np.median(values)).sum())


def best_cut(values: Array, shortest: int = SHORTEST_DAYS) -> tuple[int, float]:
    """First index of the second of two levels, and the sum of absolute residuals about both medians; index 0 where the
    series is too short to be cut."""
    cuts = range(shortest, len(values) - shortest + 1)
    tried = [(_about_median(values[:cut]) + _about_median(values[cut:]), cut) for cut in cuts]
    least, cut = min(tried, default=(_about_median(values) if len(values) else 0.0, 0))
    return cut, least


def last_step(values: Array, least_step: float, shortest: int = SHORTEST_DAYS) -> int | None:
    """Index at which the last level of a series begins; ``None`` where it never changed.

    A cut stands if the levels lie at least ``least_step`` apart and it gains more than ``3 sigma ln(n)``, sigma from the
    median absolute first difference; the stretch after it is then searched in the same way.
    """
    smooth = median_of_three(values)
    found, begin = None, 0
    while len(smooth) - begin >= 2 * shortest:
        part = smooth[begin:]
        cut, after = best_cut(part, shortest)
        sigma = 1.4826 * float(np.median(np.abs(np.diff(part)))) / np.sqrt(2)
        gain = _about_median(part) - after
        step = abs(float(np.median(part[cut:]) - np.median(part[:cut])))
        if step < least_step or gain <= max(3 * sigma * np.log(len(part)), least_step):
            break
        if _nearer_to_first(part, cut):
            break
        begin += cut
        found = begin
    return found


def _nearer_to_first(part: Array, cut: int) -> bool:
    """Whether the day of the cut itself still stands at the old level: then the new one is shorter than a level is."""
    old, new = np.median(part[:cut]), np.median(part[cut:])
    return bool(abs(part[cut] - old) < abs(part[cut] - new))


@dataclass(frozen=True, slots=True)
class Slope:
    """Change of a series per unit of its time, with its interval, and how well line and step describe it: mean absolute
    residuals."""

    slope: float
    low: float
    high: float
    line_residual: float
    step_residual: float


def theil_sen(at: Array, values: Array, confidence: float = 0.95) -> Slope:
    """Median of all pairwise slopes, with Sen's interval.

    Args:
        at: times, each once, at least two.
        values: as many.

    Source: Sen (1968), J. Am. Stat. Assoc. 63; compared with scipy.stats.theilslopes in the tests.
    """
    at, values = np.asarray(at, dtype=np.float64), np.asarray(values, dtype=np.float64)
    first, second = np.triu_indices(len(at), 1)
    slopes = np.sort((values[second] - values[first]) / (at[second] - at[first]))
    count, pairs = len(at), len(slopes)
    tied = np.unique(values, return_counts=True)[1]
    variance = (count * (count - 1) * (2 * count + 5) - (tied * (tied - 1) * (2 * tied + 5)).sum()) / 18
    reach = NormalDist().inv_cdf(0.5 + confidence / 2) * np.sqrt(max(variance, 0.0))
    low = slopes[max(round((pairs - reach) / 2) - 1, 0)]
    high = slopes[min(round((pairs + reach) / 2), pairs - 1)]
    slope = float(np.median(slopes))
    line = values - slope * at
    return Slope(slope, float(low), float(high), _about_median(line) / count, best_cut(values)[1] / count)
