"""Speed against flow and against wire power: the curves behind a pump's numbers, with their bands and its own points.

Belongs here: what the two pictures show. The table of speeds under them is their text twin.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pumpledger.reports.svg_chart import HEIGHT, LEFT, RIGHT, TOP, WIDTH, Chart, Point
from pumpledger.reports.wording import number, speed

Band = tuple[float, float, float, float]
"""Speed [rev/min], low, mid, high."""

_SPEED_MARKS = (0, 1000, 2000, 3000)


@dataclass(frozen=True, slots=True)
class Upright:
    """A speed that matters [rev/min], and what it is called."""

    speed_rpm: float
    words: str


def curve_picture(
    name: str,
    unit: str,
    curve: Sequence[Band],
    read: Sequence[Point],
    seen: Sequence[Point],
    full_speed_rpm: float,
    upright: Upright | None = None,
) -> str:
    """One quantity against speed.

    Args:
        name: of the quantity, such as ``Flow``.
        unit: that its numbers are in.
        curve: the estimate where there is one, by rising speed; empty where there is none, and then that is said.
        read: points read at visits (speed, value), drawn as filled circles.
        seen: metered medians (speed, value), drawn as open squares.
        full_speed_rpm: right end of the scale.
        upright: a line at one speed, with its words above the frame.
    """
    values = [high for *_, high in curve] + [value for _, value in (*read, *seen)]
    right = max([full_speed_rpm, *(at for at, *_ in curve), *(at for at, _ in (*read, *seen))])
    chart = Chart(right, 1.06 * max(values, default=0.0))
    if values:
        chart.y_axis(f"{name} [{unit}]")
    else:
        chart.text("name", 0, 11, f"{name} [{unit}]")
    chart.x_axis("Speed [rpm]", [mark for mark in _SPEED_MARKS if mark <= right])
    chart.band([(at, low, high) for at, low, _, high in curve])
    chart.line("estimate", [(at, mid) for at, _, mid, _ in curve])
    if upright is not None:
        chart.upright("limit", upright.speed_rpm)
        # The words stand on the side that has room.
        near_right = chart.x(upright.speed_rpm) > (LEFT + WIDTH - RIGHT) / 2
        place = chart.x(upright.speed_rpm) + (-4 if near_right else 4)
        chart.text("end" if near_right else "start", place, TOP - 3, upright.words)
    for at, value in sorted(seen):
        chart.square(at, value)
    for at, value in sorted(read):
        chart.circle(at, value)
    if not curve:
        words = "no curve: only what was read" if values else "not known"
        chart.text("mark", (LEFT + WIDTH - RIGHT) / 2, HEIGHT / 2, words)
    return chart.svg(_title(name, unit, curve, read, seen, upright))


def _title(
    name: str,
    unit: str,
    curve: Sequence[Band],
    read: Sequence[Point],
    seen: Sequence[Point],
    upright: Upright | None,
) -> str:
    parts = [f"{name} against speed"]
    if curve:
        (first, *_, first_high), (last, *_, last_high) = curve[0], curve[-1]
        parts.append(
            f"from {number(curve[0][1], 1)} to {number(first_high, 1)} {unit} at {speed(first)} "
            f"to {number(curve[-1][1], 1)} to {number(last_high, 1)} {unit} at {speed(last)}"
        )
    else:
        parts.append("no curve")
    parts.append(f"{len(read)} read at visits, {len(seen)} metered")
    if upright is not None:
        parts.append(upright.words)
    return "; ".join(parts) + "."
