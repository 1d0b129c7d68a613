"""One column's values along time, pump by pump, with speed and power beside them where those are known.

Belongs here: what can be counted on such a trace: rises, falls, time run. What follows from it is in the files of the
quantities.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from statistics import median

_LONGEST_STEP_H = 26.0
"""A longer step between two rows is a gap, over which nothing is integrated [h]."""


@dataclass(frozen=True, slots=True)
class Trace:
    """Values of one pump in time order, or in file order where the time cannot be read. ``running`` says for each
    whether the pump ran by its speed, ``power_w`` what it drew; ``None`` where there is no such column or no value."""

    times: list[datetime | None]
    values: list[float]
    running: list[bool | None]
    power_w: list[float | None]


@dataclass(frozen=True, slots=True)
class Course:
    """How traces go: steps up and down, the sum of the rises, and over the same steps the hours, the hours run and the
    energy by the power column [kWh]; the last two ``None`` where they are not known throughout. ``resets`` are falls to
    nearly nothing from more than that."""

    steps: int
    rises: int
    falls: int
    resets: int
    rise: float
    hours: float
    run_hours: float | None
    energy_kwh: float | None


def course_of(traces: Sequence[Trace]) -> Course:
    """The course of all ``traces`` together; steps over a long gap count for nothing but their direction."""
    steps = rises = falls = resets = 0
    rise = hours = run_hours = energy = 0.0
    runs_known = power_known = True
    for trace in traces:
        top = max(trace.values, default=0.0)
        for now in range(1, len(trace.values)):
            before, after = trace.values[now - 1], trace.values[now]
            step_h = _step_h(trace.times[now - 1], trace.times[now])
            steps += 1
            rises += after > before
            falls += after < before
            resets += after <= 0.05 * top < before
            if after < before or not 0 < step_h <= _LONGEST_STEP_H:
                continue
            rise += after - before
            hours += step_h
            running, power = trace.running[now - 1], trace.power_w[now - 1]
            runs_known &= running is not None
            power_known &= power is not None
            run_hours += step_h * bool(running)
            energy += step_h * (power or 0.0) / 1000
    return Course(
        steps,
        rises,
        falls,
        resets,
        rise,
        hours,
        run_hours if runs_known and steps else None,
        energy if power_known and steps else None,
    )


def _step_h(before: datetime | None, after: datetime | None) -> float:
    """Hours between two rows; 0, which counts for nothing, where a time is not known."""
    return (after - before).total_seconds() / 3600 if before and after else 0.0


def while_running(traces: Sequence[Trace]) -> list[float]:
    """Values at the rows in which the pump ran."""
    return [value for trace in traces for value, running in zip(trace.values, trace.running, strict=True) if running]


def middle(values: Sequence[float]) -> float | None:
    """The median of at least five values."""
    return median(values) if len(values) >= 5 else None


def all_values(traces: Sequence[Trace]) -> list[float]:
    """Every value of ``traces``."""
    return [value for trace in traces for value in trace.values]


def shown(value: float) -> str:
    """A number for people."""
    return f"{value:.4g}" if abs(value) < 10_000 else f"{value:,.0f}"


def extent(values: Sequence[float]) -> str:
    """``0 to 3450`` of values that are there."""
    return f"{shown(min(values))} to {shown(max(values))}"
