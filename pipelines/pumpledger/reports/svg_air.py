"""Air temperature over the hours in which a pump ran and stood: freeze protection, and running that cold does not explain.

Belongs here: what the picture shows. Times are hours since the first local midnight of the picture.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from pumpledger.reports.svg_chart import BOTTOM, HEIGHT, RIGHT, WIDTH, Chart, n
from pumpledger.reports.wording import day_range, number, weekday

_STRIP = 9.0  # height of the strip that shows running [px]


def air_picture(
    pump_id: str,
    days: Sequence[date],
    air: Sequence[tuple[float, float]],
    states: Sequence[tuple[float, float, str]],
    unit: str,
    freezing: float,
) -> str:
    """Air over a strip of running.

    Args:
        pump_id: the pump.
        days: local days from midnight to midnight, at least one.
        air: hour and temperature, in order; empty where the register holds none.
        states: start and stop [h] and kind (run, off, unknown) of the pump.
        unit: of the temperature.
        freezing: temperature at which water freezes, in that unit.
    """
    hours = 24.0 * len(days)
    values = [value for _, value in air] or [freezing]
    bottom, top = min([*values, freezing]) - 2.0, max([*values, freezing]) + 2.0
    chart = Chart(hours, top, bottom)
    for start, stop, kind in states:
        css = {"run": "s3", "unknown": "unknown"}.get(kind)
        if css:
            left, right = chart.x(start), chart.x(stop)
            chart.parts.append(
                f'<rect class="{css}" x="{n(left)}" y="{n(HEIGHT - BOTTOM - _STRIP)}" width="{n(right - left)}" '
                f'height="{n(_STRIP)}"/>'
            )
    chart.y_axis(f"Air [{unit}], and when the pump ran (strip)")
    chart.base()
    chart.line("requirement", [(0.0, freezing), (hours, freezing)])
    chart.text("end", WIDTH - RIGHT, chart.y(freezing) - 3, "freezing")
    chart.line("estimate", air)
    for place, day in enumerate(days):
        chart.text("mark", chart.x(24.0 * place + 12), HEIGHT - BOTTOM + 13, weekday(day))
    return chart.svg(_title(pump_id, days, air, states, unit))


def _title(
    pump_id: str,
    days: Sequence[date],
    air: Sequence[tuple[float, float]],
    states: Sequence[tuple[float, float, str]],
    unit: str,
) -> str:
    ran, unknown = (sum(stop - start for start, stop, kind in states if kind == name) for name in ("run", "unknown"))
    lowest = f"air down to {number(min(v for _, v in air), 1)} {unit}" if air else "air not on record"
    return (
        f"Pump {pump_id}, {day_range(days[0], days[-1])}: {lowest}; it ran {number(ran, 1)} h of "
        f"{number(24 * len(days))} h, and {number(unknown, 1)} h are unknown."
    )
