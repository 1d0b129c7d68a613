"""The proposed day over the tariff: what each hour's energy costs, the speeds to key in, and those keyed in now.

Belongs here: what the picture shows. The table of periods beside it is its text twin.
"""

from __future__ import annotations

from collections.abc import Sequence

from pumpledger.reports.svg_chart import BOTTOM, HEIGHT, Chart, n
from pumpledger.reports.wording import clock, number, speed

Step = tuple[int, int, float]
"""Start and stop by the clock [min], speed [rev/min]; a stop not after its start runs across midnight."""

_PRICE_SHARE = 0.9  # of the frame's height, that the dearest hour reaches
_MARKS = (0, 6, 12, 18, 24)


def tariff_day_picture(prices: Sequence[float], before: Sequence[Step], after: Sequence[Step], currency: str) -> str:
    """Speeds over the day, on prices.

    Args:
        prices: of the 96 quarters [currency/kWh], mean over a week; empty: no tariff, and none are drawn.
        before: the plan on record; empty: none.
        after: the plan proposed.
    """
    top = 1.12 * max((value for *_, value in (*before, *after)), default=1000.0)
    chart = Chart(24.0, top)
    bands = _bands(prices)
    dearest = max((price for *_, price in bands), default=0.0)
    for start, stop, price in bands:
        if price > 0:
            left, height = chart.x(start / 4), _PRICE_SHARE * price / dearest * (chart.y(0) - chart.y(top))
            chart.parts.append(
                f'<rect class="range" x="{n(left)}" y="{n(HEIGHT - BOTTOM - height)}" '
                f'width="{n(chart.x(stop / 4) - left)}" height="{n(height)}"/>'
            )
    chart.y_axis("Speed [rpm]")
    chart.x_axis("hour of the clock", _MARKS)
    chart.line("plan", _outline(before))
    chart.line("estimate keyed", _outline(after))
    for start, stop, price in bands:
        if stop - start >= 8:  # two hours: room for the number, near the base where no plan's line runs
            chart.text("mark priced", chart.x((start + stop) / 8), chart.y(0) - 4, number(price, 2))
    return chart.svg(_title(bands, before, after, currency))


def _bands(prices: Sequence[float]) -> list[tuple[int, int, float]]:
    """Runs of one price: first quarter, quarter after the last, price."""
    runs: list[tuple[int, int, float]] = []
    for quarter, price in enumerate(prices):
        if runs and runs[-1][2] == price:
            runs[-1] = (runs[-1][0], quarter + 1, price)
        else:
            runs.append((quarter, quarter + 1, price))
    return runs


def _outline(steps: Sequence[Step]) -> list[tuple[float, float]]:
    """Corners (hour, speed) of the day from midnight to midnight."""
    if not steps:
        return []
    day = [0.0] * 1440
    for start, stop, value in steps:
        for minute in range(start, stop if stop > start else stop + 1440):
            day[minute % 1440] = value
    corners = [(0.0, day[0])]
    for minute in range(1, 1440):
        if day[minute] != day[minute - 1]:
            corners += [(minute / 60, day[minute - 1]), (minute / 60, day[minute])]
    return [*corners, (24.0, day[-1])]


def _title(
    bands: Sequence[tuple[int, int, float]], before: Sequence[Step], after: Sequence[Step], currency: str
) -> str:
    def words(steps: Sequence[Step]) -> str:
        return ", ".join(f"{speed(value)} {clock(start)} to {clock(stop)}" for start, stop, value in steps) or "none"

    prices = ", ".join(f"{number(p, 3)} {clock(a * 15)} to {clock(b * 15)}" for a, b, p in bands)
    told = f"prices [{currency}/kWh]: {prices}" if bands else "no tariff on record"
    return f"Proposed: {words(after)}; on record: {words(before)}; {told}."
