"""Cost against turnover: the cheapest plan for each amount of water, its proven bound, and the plan keyed in now.

Belongs here: what the picture shows. The table of points beside it is its text twin.
"""

from __future__ import annotations

from collections.abc import Sequence

from pumpledger.reports.svg_chart import LEFT, RIGHT, TOP, WIDTH, Chart, ticks
from pumpledger.reports.wording import number

Point = tuple[float, float, float]
"""Turnovers a day by the low flow bound, cost of a day, proven bound of it."""


def frontier_picture(points: Sequence[Point], required: float | None, in_force: Point | None, unit: str) -> str:
    """The curve of cheapest plans. Above it a plan costs more than it has to; below it there is none.

    Args:
        points: by rising turnovers; at least one.
        required: turnovers that are asked for, drawn upright.
        in_force: the plan keyed in now; None unknown.
        unit: of the costs, such as ``USD``.
    """
    shown = [*points, *([in_force] if in_force else [])]
    right = 1.08 * max([*(at for at, *_ in shown), required or 0.0])
    chart = Chart(right, 1.12 * max(cost for _, cost, _ in shown), min(0.0, *(bound for *_, bound in shown)))
    chart.y_axis(f"Cost [{unit} a day]")
    chart.base()
    for mark in ticks(right):
        chart.text("mark", chart.x(mark), chart.y(chart.y_bottom) + 13, number(mark, 1))
    chart.text("end", WIDTH - RIGHT, chart.y(chart.y_bottom) + 29, "turnovers a day, low flow estimate")
    chart.band([(at, bound, cost) for at, cost, bound in points])
    chart.line("estimate", [(at, cost) for at, cost, _ in points])
    if required is not None:
        chart.upright("limit", required)
        near_right = chart.x(required) > (LEFT + WIDTH - RIGHT) / 2
        chart.text("end" if near_right else "start", chart.x(required) + (-4 if near_right else 4), TOP - 3, "required")
    for at, cost, _ in points:
        chart.circle(at, cost)
    if in_force:
        chart.square(in_force[0], in_force[1])
    return chart.svg(_title(points, required, in_force, unit))


def _title(points: Sequence[Point], required: float | None, in_force: Point | None, unit: str) -> str:
    told = ", ".join(f"{number(at, 2)} turnovers {number(cost, 2)}" for at, cost, _ in points)
    parts = [f"Cheapest cost of a day [{unit}]: {told}"]
    if required is not None:
        parts.append(f"required {number(required, 2)}")
    if in_force:
        parts.append(f"plan on record {number(in_force[0], 2)} turnovers at {number(in_force[1], 2)}")
    return "; ".join(parts) + "."
