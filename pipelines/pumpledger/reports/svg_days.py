"""A fortnight by day: energy against the single-speed baseline, turnovers against the requirement, each as an interval.

Belongs here: what the two pictures show. The list of days under them is their text twin.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from pumpledger.reports.svg_chart import BOTTOM, HEIGHT, RIGHT, TOP, WIDTH, Chart, n
from pumpledger.reports.wording import day_range, number, span, weekday


@dataclass(frozen=True, slots=True)
class DayBar:
    """One day: low, middle and high of what was used or moved, what it is held against, and whether it counts.

    ``None`` is unknown and drawn as such. ``against`` is a mark of this day alone, such as its baseline,
    known within ``against_off`` either way.
    """

    day: date
    low: float | None
    middle: float | None
    high: float | None
    counts: bool
    against: float | None = None
    against_off: float | None = None


def day_picture(
    name: str,
    unit: str,
    bars: Sequence[DayBar],
    against: str,
    out: str,
    requirement: float | None = None,
) -> str:
    """Bars of ``bars``, oldest left; a day that does not count stands on hatching, one that is unknown shows ``?``.

    Args:
        name: of the quantity, such as ``Energy``.
        unit: that its numbers are in; empty for a number alone.
        bars: the days.
        against: what the bars are held against, in words; empty where there is nothing.
        out: why a day stands on hatching, in words, such as ``not counted``.
        requirement: one line across all days.
    """
    marks = [bar.against + (bar.against_off or 0.0) for bar in bars if bar.against is not None]
    known = [bar.high for bar in bars if bar.high is not None] + marks
    chart = Chart(float(len(bars)), 1.06 * max([*known, requirement or 0.0], default=0.0))
    for at, bar in enumerate(bars):
        if not bar.counts:
            _hatched(chart, at)
    chart.y_axis(f"{name} [{unit}]" if unit else name)
    chart.base()
    for at, bar in enumerate(bars):
        _bar(chart, at, bar)
        chart.text("mark", chart.x(at + 0.5), HEIGHT - BOTTOM + 13, str(bar.day.day))
        chart.text("mark", chart.x(at + 0.5), HEIGHT - BOTTOM + 25, weekday(bar.day)[:2])
    if requirement is not None:
        chart.line("requirement", [(0.0, requirement), (float(len(bars)), requirement)])
    if against:
        marked = any(bar.against is not None for bar in bars)
        lead = "line: " if requirement is not None else "triangles: " if marked else ""
        chart.text("end", WIDTH - RIGHT, 11, f"{lead}{against}")
    return chart.svg(_title(name, unit, bars, against, out))


def _hatched(chart: Chart, at: int) -> None:
    left, right = chart.x(at) + 0.6, chart.x(at + 1) - 0.6
    height = HEIGHT - TOP - BOTTOM
    chart.parts.append(
        f'<rect class="excluded" x="{n(left)}" y="{n(TOP)}" width="{n(right - left)}" height="{n(height)}"/>'
    )


def _bar(chart: Chart, at: int, bar: DayBar) -> None:
    left, right = chart.x(at + 0.2), chart.x(at + 0.8)
    if bar.low is None or bar.high is None:
        chart.text("unsure", chart.x(at + 0.5), HEIGHT - BOTTOM - 6, "?")
    else:
        top, bottom = chart.y(bar.high), chart.y(bar.low)
        chart.parts.append(f'<path class="stem" d="M{n(chart.x(at + 0.5))} {n(chart.y(0))}V{n(bottom)}"/>')
        chart.parts.append(
            f'<rect class="interval" x="{n(left)}" y="{n(top)}" width="{n(right - left)}" '
            f'height="{n(max(bottom - top, 1.5))}"/>'
        )
        if bar.middle is not None:
            chart.parts.append(f'<path class="middle" d="M{n(left - 1)} {n(chart.y(bar.middle))}H{n(right + 1)}"/>')
    if bar.against is not None:
        x, y = chart.x(at + 0.5), chart.y(bar.against)
        if bar.against_off:
            ends = chart.y(bar.against + bar.against_off), chart.y(bar.against - bar.against_off)
            feet = "".join(f"M{n(x - 3)} {n(end)}h6" for end in ends)
            chart.parts.append(f'<path class="whisker" d="M{n(x)} {n(ends[0])}V{n(ends[1])}{feet}"/>')
        chart.parts.append(f'<path class="baseline" d="M{n(x - 4.5)} {n(y - 4)}h9L{n(x)} {n(y + 4)}Z"/>')


def _title(name: str, unit: str, bars: Sequence[DayBar], against: str, out: str) -> str:
    lows, highs = ([value for value in values if value is not None] for values in _ends(bars))
    label = f" {unit}" if unit else ""
    days = day_range(bars[0].day, bars[-1].day) if bars else "no days"
    parts = [f"{name} by day, {days}"]
    parts.append(f"{span(min(lows), max(highs), 2)}{label} a day" if lows and highs else "unknown on every day")
    marks = sorted({bar.against for bar in bars if bar.against is not None})
    if against:
        reach = f" {number(marks[0], 1)} to {number(marks[-1], 1)}{label}" if marks else ""
        parts.append(f"held against {against}{reach}")
    hatched = sum(not bar.counts for bar in bars)
    if hatched:
        parts.append(f"{hatched} {'day' if hatched == 1 else 'days'} hatched: {out}")
    return "; ".join(parts) + "."


def _ends(bars: Sequence[DayBar]) -> tuple[list[float | None], list[float | None]]:
    return [bar.low for bar in bars], [bar.high for bar in bars]
