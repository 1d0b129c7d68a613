"""Interval bars for table cells: low to high as a bar, the middle as a line, what it is held against as a mark.

Belongs here: geometry and SVG text. The numbers stand beside each bar in the table, which is its text twin.
"""

from __future__ import annotations

from html import escape

WIDTH = 220.0
HEIGHT = 22.0
_PAD = 5.0


def scale_top(values: list[float | None]) -> float:
    """The right end of a common scale: a little over the largest known value, never zero."""
    return max([value for value in values if value is not None], default=0.0) * 1.04 or 1.0


def interval_bar(
    low: float | None,
    middle: float | None,
    high: float | None,
    top: float,
    label: str,
    requirement: float | None = None,
    baseline: float | None = None,
    best: float | None = None,
) -> str:
    """One bar on a scale from 0 to ``top``. Nothing known draws a hatched strip, never an empty one.

    ``requirement`` is a full line with a foot, ``baseline`` an open triangle, ``best`` a filled diamond: told apart
    by shape.
    """
    parts = [f'<path class="base" d="M{_PAD:g} {HEIGHT - 4:g}H{WIDTH - _PAD:g}"/>']
    if low is None or high is None:
        parts.append(f'<rect class="unknown" x="{_PAD:g}" y="6" width="{WIDTH - 2 * _PAD:g}" height="9"/>')
    else:
        start, stop = _x(low, top), _x(high, top)
        parts.append(f'<path class="lead" d="M{_n(_x(0, top))} 10.5H{_n(start)}"/>')
        parts.append(f'<rect class="interval" x="{_n(start)}" y="6" width="{_n(max(stop - start, 1.5))}" height="9"/>')
        if middle is not None:
            parts.append(f'<path class="middle" d="M{_n(_x(middle, top))} 4V17"/>')
    if requirement is not None:
        at = _x(requirement, top)
        parts.append(f'<path class="requirement" d="M{_n(at)} 1V21M{_n(at - 3)} 21H{_n(at + 3)}"/>')
    if baseline is not None:
        at = _x(baseline, top)
        parts.append(f'<path class="baseline" d="M{_n(at - 4.5)} 2H{_n(at + 4.5)}L{_n(at)} 10Z"/>')
    if best is not None:
        at = _x(best, top)
        parts.append(f'<path class="best" d="M{_n(at)} 5.5L{_n(at + 4.5)} 10.5L{_n(at)} 15.5L{_n(at - 4.5)} 10.5Z"/>')
    return (
        f'<svg class="bar" role="img" aria-label="{escape(label)}" viewBox="0 0 {WIDTH:g} {HEIGHT:g}" '
        f'width="{WIDTH:g}" height="{HEIGHT:g}">{"".join(parts)}</svg>'
    )


def _x(value: float, top: float) -> float:
    return _PAD + min(max(value / top, 0.0), 1.0) * (WIDTH - 2 * _PAD)


def _n(value: float) -> str:
    return f"{value:.1f}"
