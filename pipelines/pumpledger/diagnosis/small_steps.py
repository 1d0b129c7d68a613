"""A small step or bend in a series of days, told from scatter that lasts, from drift, and from each other.

Belongs here: the statistics. What a step means stands in `power_shift.py`.

A day's departure lingers into the next (weather, supply, oil), so that five days say less than five draws would; and a
season drifts. So a level, a drift and a step are fitted at once by generalised least squares for noise of first-order
memory (Prais and Winsten 1954), for every day that the step may have come on, and the step is held against its standard
error. What the best slow change explains as well is no step. A bend, from which day on it drifts otherwise, is held
against its error in the same way.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

LEAST_DAYS, LEAST_BEFORE, LEAST_AFTER = 21, 10, 5
"""Days in all, as of `constant_watts.py`, and on either side of the step: a level shows in five."""
SURE = 5.0
"""Standard errors: of some thirty days that a change may have come on, in each pump of a fleet and each week, chance makes
hardly one."""
MEMORY = (0.5, 0.8)
"""Least and most of a day's departure that the next keeps: short series show less than there is, so half is assumed."""
SLOW_DAYS = (7, 14)
"""A change that takes so long is slow."""


@dataclass(frozen=True, slots=True)
class SmallStep:
    """``at`` days before it, ``share`` by which the level moved, ``sure`` the same in standard errors."""

    at: int
    share: float
    sure: float


def small_step(days: np.ndarray, logs: np.ndarray) -> SmallStep | None:
    """The surest step among ``days``; ``None`` where there is none, or a slow change does as well.

    Args:
        days: shape (n,), whole days, rising.
        logs: shape (n,), logarithm of power.
    """
    if days.size < LEAST_DAYS:
        return None
    places = np.arange(LEAST_BEFORE, days.size - LEAST_AFTER + 1)
    number = np.arange(days.size)
    whole = (number >= places[:, None]).astype(float)
    steps = np.concatenate([whole, whole + 0.5 * (number == places[:, None] - 1)])  # or half of the day before as well
    memory = MEMORY[0]
    for _ in range(2):  # the second time with the memory that the first time's rest shows
        sizes, errors, squares = fitted_changes(days, logs, steps, memory)
        best = int(np.argmax(np.abs(sizes) / errors))
        used, memory = memory, _memory(_rest(days, logs - sizes[best] * steps[best]))
    sure = float(np.abs(sizes[best]) / errors[best])
    if sure < SURE:
        return None
    if _slow_squares(days, logs, used) < squares[best]:
        return None
    return SmallStep(int(places[best % places.size]), float(np.expm1(sizes[best])), sure)


def bend(days: np.ndarray, logs: np.ndarray) -> float:
    """How much ``logs`` has moved by the last day beyond its drift, since the day on which it most surely bent, a week
    before the last or longer; 0 where that is not sure. Arrays as of `small_step`.
    """
    if days.size < LEAST_DAYS:
        return 0.0
    since = days[LEAST_BEFORE - 1 : days.size - SLOW_DAYS[0]]
    bends = np.maximum(days - since[:, None], 0.0) / (days[-1] - since)[:, None]
    memory = MEMORY[0]
    for _ in range(2):
        sizes, errors, _ = fitted_changes(days, logs, bends, memory)
        best = int(np.argmax(np.abs(sizes) / errors))
        memory = _memory(_rest(days, logs - sizes[best] * bends[best]))
    return float(np.expm1(sizes[best])) if abs(sizes[best]) >= SURE * errors[best] else 0.0


def came_slowly(days: np.ndarray, logs: np.ndarray, at: int) -> bool:
    """Whether a slow change does better than a step before day number ``at``; arrays as of `small_step`."""
    number = np.arange(days.size)
    steps = np.stack([(number >= at) + 0.5 * (number == at + half) for half in (-1, days.size)])
    return _slow_squares(days, logs, MEMORY[0]) < fitted_changes(days, logs, steps, MEMORY[0])[2].min()


def _slow_squares(days: np.ndarray, logs: np.ndarray, memory: float) -> float:
    slow = [np.clip((days - start) / width, 0.0, 1.0) for width in SLOW_DAYS for start in days[:-2]]
    return float(fitted_changes(days, logs, np.stack(slow), memory)[2].min())


def fitted_changes(
    days: np.ndarray, logs: np.ndarray, changes: np.ndarray, memory: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Size of each of ``changes`` beside a level and a drift, its standard error, and the squares that it leaves.

    A hole of some days weakens the memory across it.

    Args:
        days: shape (n,), whole days, rising, n above 3.
        logs: shape (n,).
        changes: shape (m, n), what each change has added by each day, as a share of its size.
        memory: share of a day's departure that the next day keeps.
    """
    kept = memory ** np.diff(days)
    rows = np.concatenate([np.stack([np.ones(days.size), days - days.mean(), logs]), changes])
    white = np.concatenate([rows[:, :1], (rows[:, 1:] - kept * rows[:, :-1]) / np.sqrt(1 - kept**2)], axis=1)
    base, _ = np.linalg.qr(white[:2].T)
    free = white[2:] - (white[2:] @ base) @ base.T
    told, own = free[0], np.maximum(np.sum(np.square(free[1:]), axis=1), 1e-12)
    sizes = free[1:] @ told / own
    squares = np.maximum(float(told @ told) - np.square(sizes) * own, 1e-12)
    return sizes, np.sqrt(squares / (days.size - 3) / own), squares


def _rest(days: np.ndarray, logs: np.ndarray) -> np.ndarray:
    away = days - days.mean()
    centred = logs - logs.mean()
    return centred - away * float(away @ centred) / float(away @ away)


def _memory(rest: np.ndarray) -> float:
    own = float(rest[1:] @ rest[:-1]) / max(float(rest @ rest), 1e-12)
    return float(np.clip(own, *MEMORY))
