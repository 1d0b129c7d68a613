"""Power at the same speed over the weeks: where a filter loads, a valve moves or a meter changes, it shows here.

Belongs here: what the picture shows. Which pump and which speeds is chosen in `finding_pictures`.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from pumpledger.reports.svg_chart import BOTTOM, HEIGHT, RIGHT, TOP, WIDTH, Chart, n
from pumpledger.reports.wording import day_range, number, speed, weekday

_MARK_EVERY = 14  # days between two dates under the frame


def level_picture(
    pump_id: str,
    levels: Sequence[tuple[float, Sequence[tuple[date, float]]]],
    evidence: tuple[date, date] | None,
) -> str:
    """Daily power of one pump, a line a speed.

    Args:
        pump_id: the pump.
        levels: speed [rpm] and its days with power [W], oldest first; none empty, at least one.
        evidence: first and last day of the finding, shaded.
    """
    first = min(days[0][0] for _, days in levels)
    last = max(days[-1][0] for _, days in levels)
    length = (last - first).days + 1
    chart = Chart(float(length), 1.15 * max(power for _, days in levels for _, power in days))
    if evidence is not None and evidence[1] >= first:
        left, right = (chart.x(float(max((day - first).days + after, 0))) for after, day in zip((0, 1), evidence))
        chart.parts.append(
            f'<rect class="evidence" x="{n(left)}" y="{n(TOP)}" width="{n(max(right - left, 2.0))}" '
            f'height="{n(HEIGHT - TOP - BOTTOM)}"/>'
        )
    chart.y_axis("Power at the same speed [W]")
    chart.base()
    for day in range(0, length, _MARK_EVERY):
        at = date.fromordinal(first.toordinal() + day)
        chart.text("mark", chart.x(day + 0.5), HEIGHT - BOTTOM + 13, f"{at.day} {at:%b}")
    for speed_rpm, days in levels:
        points = [((day - first).days + 0.5, power) for day, power in days]
        chart.line("estimate", points)
        for at, power in points:
            chart.circle(at, power)
        chart.text("scale", WIDTH - RIGHT, chart.y(points[-1][1]) - 7, speed(speed_rpm))
    return chart.svg(_title(pump_id, levels, evidence))


def _title(
    pump_id: str, levels: Sequence[tuple[float, Sequence[tuple[date, float]]]], evidence: tuple[date, date] | None
) -> str:
    parts = [f"Power of pump {pump_id} at the same speed, day by day"]
    for speed_rpm, days in levels:
        (start, was), (stop, now) = days[0], days[-1]
        parts.append(
            f"at {speed(speed_rpm)} {number(was)} W on {weekday(start)} and {number(now)} W on {weekday(stop)}, "
            f"between {number(min(power for _, power in days))} and {number(max(power for _, power in days))} W"
        )
    if evidence is not None:
        parts.append(f"shaded: {day_range(*evidence)}")
    return "; ".join(parts) + "."
