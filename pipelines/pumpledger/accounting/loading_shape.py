"""Whether a falling series fell in a step or along a ramp, where its days can tell.

Belongs here: the comparison of two fits. What the series is stands in `loading.py`.
"""

from __future__ import annotations

import numpy as np

LEAST_SIDE_DAYS = 5  # on either side of a step
LEAST_DAYS = 14
BETTER_BY = 0.20  # share by which the better fit's sum of squares must be smaller


def fall_shape(days: np.ndarray, index: np.ndarray) -> str:
    """``step``, ``ramp`` or ``cannot tell``.

    The best break into two levels and the best straight line are compared by their sums of squares. A line has one
    number less to choose, so that it wins a draw only by the margin that a step would need too.

    Args:
        days: shape (n,), whole days, rising.
        index: shape (n,), power against the reference.
    """
    size = days.size
    if size < max(LEAST_DAYS, 2 * LEAST_SIDE_DAYS):
        return "cannot tell"
    away = days - days.mean()
    slope = float(np.sum(away * index) / np.sum(np.square(away)))
    of_ramp = float(np.sum(np.square(index - index.mean() - slope * away)))
    at, of_step = two_levels(index)
    if min(at, size - at) < LEAST_SIDE_DAYS:
        return "cannot tell"
    if of_step <= (1 - BETTER_BY) * of_ramp and index[:at].mean() > index[at:].mean():
        return "step"
    if of_ramp <= (1 - BETTER_BY) * of_step and slope < 0:
        return "ramp"
    return "cannot tell"


def two_levels(index: np.ndarray) -> tuple[int, float]:
    """The break that leaves the least sum of squares about the means of both sides: how many values lie before it, and
    that sum.

    Args:
        index: shape (n,), n at least 2.
    """
    size = index.size
    centred = index - index.mean()
    before, at = np.cumsum(centred)[:-1], np.arange(1, size)
    # Two levels leave the whole sum of squares less what their means explain; the sums of both sides are opposite.
    explained = np.square(before) / at + np.square(before) / (size - at)
    best = int(np.argmax(explained))
    return int(at[best]), float(np.sum(np.square(centred)) - explained[best])
