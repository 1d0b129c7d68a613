"""The steps between rows: the sample interval, and whether there is one at all.

Belongs here: counting steps. What a stamp labels is `label.py`.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise

from pumpledger.proposal.claim import Claim, Sureness

_KEY = "time.interval_s"
_NICE_S = (1, 2, 5, 10, 15, 20, 30, 60, 120, 180, 300, 600, 900, 1200, 1800, 3600, 7200, 10_800, 21_600, 43_200, 86_400)
_STEPS_LEAST, _STEPS_SURE = 5, 10
_HEARTBEAT_S = 7200
"""Steps from here on may be the sign of life of a log of changes, and not a sample interval [s]."""


@dataclass(frozen=True, slots=True)
class Steps:
    """``interval_s`` is the usual step, ``None`` where there is none; ``even`` is the share of steps that are whole
    multiples of it; ``longest_s`` and ``heartbeat_s``: the longest step, and one that comes again and again near it."""

    count: int
    interval_s: int | None
    even: float
    same_time: float
    longest_s: int
    heartbeat_s: int | None
    claim: Claim


def count_steps(times: list[datetime | None], series: list[list[int]]) -> Steps:
    """The steps of all ``series`` (rows of one pump, in file order)."""
    steps = Counter[float]()
    zeros = total = 0
    for rows in series:
        known = [time for row in rows if (time := times[row]) is not None]
        gaps = [(after - before).total_seconds() for before, after in pairwise(known)]
        backwards = sum(gap < 0 for gap in gaps) > len(gaps) / 2  # newest first
        for gap in gaps:
            gap = -gap if backwards else gap
            total += 1
            zeros += gap == 0
            if gap > 0:
                steps[gap] += 1
    count = sum(steps.values())
    if not count:
        told = "no two rows of a pump follow each other" if not zeros else "rows of one pump have the same time"
        return Steps(0, None, 0.0, zeros / max(total, 1), 0, None, Claim(_KEY, None, "cannot tell", told))
    longest = int(max(steps))
    near = sum(times_ for step, times_ in steps.items() if step >= 0.98 * longest)
    heartbeat = longest if near >= 3 and longest >= 600 else None
    usual, often = max(steps.items(), key=lambda item: (item[1], -item[0]))
    jitter = _nice_step(steps, count)
    if jitter and (often < 0.5 * count or (often < 0.8 * count and abs(usual - jitter) <= _waver(jitter))):
        usual = jitter
    even = sum(n for step, n in steps.items() if _on_grid(step, usual)) / count
    same = zeros / total
    claim = _claim(usual, steps, count, even, same)
    interval = int(str(claim.value)) if claim.value is not None else None
    return Steps(count, interval, even, same, longest, heartbeat, claim)


def _on_grid(step: float, usual: float) -> bool:
    """Whether ``step`` is a whole number of times ``usual``, but for the wavering of a logger's clock."""
    times = max(round(step / usual), 1)
    return abs(step - times * usual) <= _waver(usual)


def _waver(usual: float) -> float:
    return max(min(0.1 * usual, 20.0), 1.5) if usual > 2 else 0.0


def _nice_step(steps: Counter[float], count: int) -> float | None:
    """A round step that nearly all steps lie about, where the clock of the logger wavers."""
    for nice in _NICE_S:
        near = sum(n for step, n in steps.items() if abs(step - nice) <= _waver(nice))
        if near >= 0.8 * count:
            return float(nice)
    return None


def _claim(usual: float, steps: Counter[float], count: int, even: float, same: float) -> Claim:
    share = steps[usual] / count
    about = sum(n for step, n in steps.items() if abs(step - usual) <= _waver(usual))
    if usual != int(usual) or even < 0.8 or about < 0.5 * count or count < _STEPS_LEAST or usual > 86_400:
        return Claim(_KEY, None, "cannot tell", f"steps are uneven: {_some(steps)}")
    told = f"{steps[usual]} of {count} steps are {_duration(usual)}"
    if same > 0.1:
        told += f"; but {same:.0%} of the rows repeat the time of the row before, for the same pump"
        return Claim(_KEY, None, "cannot tell", told)
    shorter = sum(n for step, n in steps.items() if step < usual) / count
    sure = count >= _STEPS_SURE and share >= 0.8 and shorter <= 0.02 and even >= 0.9 and usual < _HEARTBEAT_S
    sureness: Sureness = "sure" if sure else "likely"
    if not steps[usual]:
        told = f"steps lie about {_duration(usual)}"
    return Claim(_KEY, int(usual), sureness, told)


def _some(steps: Counter[float]) -> str:
    ordered = sorted(steps)
    shown = [ordered[0], ordered[len(ordered) // 2], ordered[-1]]
    return ", ".join(_duration(step) for step in dict.fromkeys(shown))


def _duration(step_s: float) -> str:
    for unit, size in (("d", 86_400), ("h", 3600), ("min", 60)):
        if step_s >= size and step_s % size == 0:
            return f"{step_s / size:.0f} {unit}"
    return f"{step_s:g} s"
