"""A small chart frame: scales, grid lines with numbers, bands, lines and points as SVG text.

Belongs here: geometry that more than one picture of a page needs. What a picture shows is said in `svg_curves` and
`svg_days`. Sizes fit a phone at one unit a pixel; a wider page scales them up.
"""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from math import ceil, floor, log10

from pumpledger.reports.wording import number

WIDTH, HEIGHT = 360.0, 200.0
LEFT, RIGHT, TOP, BOTTOM = 40.0, 8.0, 26.0, 32.0
MOST_TICKS = 5

Point = tuple[float, float]


def ticks(top: float, bottom: float = 0.0) -> list[float]:
    """Round numbers from ``bottom`` to ``top``, at most ``MOST_TICKS`` and one; 0 alone where there is nothing to
    show."""
    reach = top - bottom
    if not reach > 0:
        return [0.0]
    decade = 10.0 ** floor(log10(reach / MOST_TICKS))
    step = next(decade * part for part in (1, 2, 2.5, 5, 10) if reach / (decade * part) <= MOST_TICKS + 1e-9)
    return [step * count for count in range(ceil(bottom / step - 1e-9), int(floor(top / step + 1e-9)) + 1)]


class Chart:
    """One frame with x from 0 to ``x_top`` and y from ``y_bottom`` to ``y_top``; parts are drawn in the order they are
    asked for."""

    def __init__(self, x_top: float, y_top: float, y_bottom: float = 0.0) -> None:
        self.x_top, self.y_top, self.y_bottom = x_top or 1.0, y_top or 1.0, y_bottom
        self.parts: list[str] = []

    def x(self, value: float) -> float:
        return LEFT + value / self.x_top * (WIDTH - LEFT - RIGHT)

    def y(self, value: float) -> float:
        share = (value - self.y_bottom) / (self.y_top - self.y_bottom)
        return HEIGHT - BOTTOM - min(max(share, 0.0), 1.0) * (HEIGHT - TOP - BOTTOM)

    def y_axis(self, name: str) -> None:
        """Grid lines with their numbers, and the name of the quantity above them."""
        marks = ticks(self.y_top, self.y_bottom)
        decimals = 0 if marks[-1] >= MOST_TICKS else 1 if marks[-1] >= 1 else 2
        lines = "".join(f"M{n(LEFT)} {n(self.y(mark))}H{n(WIDTH - RIGHT)}" for mark in marks if mark > self.y_bottom)
        self.parts.append(f'<path class="grid" d="{lines}"/>')
        for mark in marks:
            self.text("scale", LEFT - 5, self.y(mark) + 3.5, number(mark, decimals))
        self.text("name", 0, 11, name)

    def x_axis(self, name: str, marks: Sequence[float]) -> None:
        """The base line, numbers below it and the name of the quantity at its end."""
        self.base()
        for mark in marks:
            self.text("mark", self.x(mark), HEIGHT - BOTTOM + 13, number(mark))
        self.text("end", WIDTH - RIGHT, HEIGHT - 3, name)

    def base(self) -> None:
        self.parts.append(f'<path class="base" d="M{n(LEFT)} {n(self.y(self.y_bottom))}H{n(WIDTH - RIGHT)}"/>')

    def band(self, points: Sequence[tuple[float, float, float]]) -> None:
        """The area between low and high of ``(x, low, high)``."""
        if len(points) > 1:
            there = [f"{n(self.x(at))} {n(self.y(high))}" for at, _, high in points]
            back = [f"{n(self.x(at))} {n(self.y(low))}" for at, low, _ in reversed(points)]
            self.parts.append(f'<path class="range" d="M{"L".join(there + back)}Z"/>')

    def line(self, css: str, points: Sequence[Point]) -> None:
        if len(points) > 1:
            path = "L".join(f"{n(self.x(at))} {n(self.y(value))}" for at, value in points)
            self.parts.append(f'<path class="{css}" d="M{path}"/>')

    def upright(self, css: str, at: float) -> None:
        """A line from the base to a little over the frame, where its words stand."""
        self.parts.append(f'<path class="{css}" d="M{n(self.x(at))} {n(HEIGHT - BOTTOM)}V{n(TOP - 11)}"/>')

    def circle(self, at: float, value: float) -> None:
        self.parts.append(f'<circle class="read" cx="{n(self.x(at))}" cy="{n(self.y(value))}" r="2.7"/>')

    def square(self, at: float, value: float) -> None:
        left, top = self.x(at) - 4, self.y(value) - 4
        self.parts.append(f'<rect class="seen" x="{n(left)}" y="{n(top)}" width="8" height="8"/>')

    def text(self, css: str, x: float, y: float, words: str) -> None:
        self.parts.append(f'<text class="{css}" x="{n(x)}" y="{n(y)}">{escape(words)}</text>')

    def svg(self, title: str) -> str:
        """The picture; ``title`` says in words what it shows."""
        return (
            f'<svg class="chart" role="img" aria-label="{escape(title)}" viewBox="0 0 {WIDTH:g} {HEIGHT:g}" '
            f'width="{WIDTH:g}" height="{HEIGHT:g}">'
            f"<title>{escape(title)}</title>{''.join(self.parts)}</svg>"
        )


def n(value: float) -> str:
    """A coordinate to a tenth: the same picture has the same bytes, and no eye sees less."""
    return f"{value:.1f}".removesuffix(".0")
