"""The speed carpet: one row a local day, minutes from left to right, speed as height and as tint.

Belongs here: geometry and SVG text. What ran is in `runs`, what it is called is in `wording`. The height tells the
speed, so the tint never has to be read alone; unknown time is hatched and has no height; off is bare paper.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from functools import lru_cache
from html import escape
from zoneinfo import ZoneInfo

from pumpledger.reports.runs import SHORTEST_MIN, Run
from pumpledger.reports.wording import number, weekday

FULL_SCALE_RPM = 3450.0  # top of a row; the highest speed the trade keys in [PRACTICE]
BANDS_RPM = (1200, 1800, 2400, 3000)  # lower bounds of the tints 2 to 5
MARKED_HOURS = (0, 6, 12, 18, 24)

HATCH = (
    '<svg class="defs" width="0" height="0" aria-hidden="true" focusable="false"><defs>'
    '<pattern id="hatch" width="5" height="5" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
    '<rect class="hatch-paper" width="5" height="5"/><line class="hatch-line" x1="0" y1="0" x2="0" y2="5"/></pattern>'
    "</defs></svg>"
)


@dataclass(frozen=True, slots=True)
class Shape:
    """Sizes of a carpet in SVG units. ``scale`` is units a minute."""

    scale: float
    left: float
    right: float
    row: float
    gap: float
    font: float
    printed: bool  # rpm printed in the rows, and the plan drawn over each of them


FLEET = Shape(scale=0.2, left=42, right=4, row=14, gap=4, font=9, printed=False)
SITE = Shape(scale=0.55, left=78, right=58, row=27, gap=8, font=12, printed=True)


@dataclass(frozen=True, slots=True)
class DayRow:
    """One local day of one pump. Minutes count from local midnight, so a day may be 1380, 1440 or 1500 of them."""

    day: date
    zone: str
    runs: Sequence[Run] = ()
    plan: Sequence[Run] | None = None  # None: no plan on record
    aux: Sequence[Run] = ()
    outlines: Sequence[tuple[float, float, str]] = ()  # start, duration, cause
    frost: str = ""  # coldest air of the day in words, where it froze


@lru_cache(maxsize=4096)
def day_clock(zone: str, day: date) -> tuple[float, tuple[float, ...], float | None]:
    """Length of a local day [min], where 00, 06, 12, 18 and 24 o'clock lie in it, and where a repeated hour begins."""
    place = ZoneInfo(zone)
    midnight = datetime(day.year, day.month, day.day, tzinfo=place)
    begin = midnight.timestamp()

    def elapsed(moment: datetime) -> float:
        return (moment.timestamp() - begin) / 60

    next_day = day + timedelta(days=1)
    length = elapsed(datetime(next_day.year, next_day.month, next_day.day, tzinfo=place))
    marks = tuple(elapsed(midnight.replace(hour=hour)) for hour in MARKED_HOURS[:-1]) + (length,)
    repeated = None
    if length > 1440:
        quarters = (midnight + timedelta(minutes=15 * step) for step in range(96))
        first = next((moment for moment in quarters if moment.utcoffset() != moment.replace(fold=1).utcoffset()), None)
        repeated = elapsed(first.replace(fold=1)) if first else None
    return length, marks, repeated


def band(speed_rpm: float) -> int:
    """Tint 1 to 5 of a speed."""
    return 1 + sum(speed_rpm >= bound for bound in BANDS_RPM)


@dataclass(slots=True)
class _Canvas:
    shape: Shape
    parts: list[str] = field(default_factory=list)

    def x(self, minute: float) -> float:
        return self.shape.left + minute * self.shape.scale

    def rect(self, css: str, start: float, duration: float, top: float, height: float) -> None:
        self.parts.append(
            f'<rect class="{css}" x="{_n(self.x(start))}" y="{_n(top)}" width="{_n(duration * self.shape.scale)}" '
            f'height="{_n(height)}"/>'
        )

    def path(self, css: str, steps: str) -> None:
        if steps:
            self.parts.append(f'<path class="{css}" d="{steps}"/>')

    def text(self, css: str, x: float, y: float, words: str) -> None:
        self.parts.append(f'<text class="{css}" x="{_n(x)}" y="{_n(y)}">{escape(words)}</text>')


def carpet(rows: Sequence[DayRow], shape: Shape, label: str, described_by: str = "") -> str:
    """SVG of ``rows``, oldest on top, all at one scale of time and speed.

    ``label`` is read out instead of the picture; ``described_by`` is the id of its text twin.
    """
    canvas = _Canvas(shape)
    longest = max([day_clock(row.zone, row.day)[0] for row in rows], default=1440.0)
    # A carpet without a long day is drawn as wide as one with it: the same scale on every page.
    width = shape.left + max(longest, 1500.0) * shape.scale + shape.right
    top = shape.font + 5
    if rows:
        for mark, hour in zip(day_clock(rows[-1].zone, rows[-1].day)[1], MARKED_HOURS, strict=True):
            canvas.text("axis", canvas.x(mark), shape.font, f"{hour:02d}")
    if not shape.printed and rows:
        _plan_strip(canvas, rows[-1].plan, top)
        top += shape.row + shape.gap + 1
    for row in rows:
        _draw(canvas, row, top)
        top += shape.row + shape.gap
    described = f' aria-describedby="{escape(described_by)}"' if described_by else ""
    height = top - shape.gap + 4
    return (
        f'<svg class="carpet" role="img" aria-label="{escape(label)}"{described} '
        f'viewBox="0 0 {_n(width)} {_n(height)}" width="{_n(width)}" height="{_n(height)}">'
        f"{''.join(canvas.parts)}</svg>"
    )


def _plan_strip(canvas: _Canvas, plan: Sequence[Run] | None, top: float) -> None:
    shape = canvas.shape
    canvas.text("day", canvas.shape.left - 5, top + shape.row - 2, "plan")
    if plan is None:
        canvas.text("none", canvas.x(0) + 2, top + shape.row - 2, "no plan on record")
        return
    canvas.path("plan", _steps(canvas, plan, top))
    canvas.path("base", f"M{_n(canvas.x(0))} {_n(top + shape.row)}H{_n(canvas.x(1440))}")


def _draw(canvas: _Canvas, row: DayRow, top: float) -> None:
    shape = canvas.shape
    length, marks, repeated = day_clock(row.zone, row.day)
    base = top + shape.row
    name = weekday(row.day) if shape.printed else weekday(row.day)[:6].strip()
    canvas.text("day", shape.left - (9 if row.frost else 5), base - shape.row * 0.2, name)
    if row.frost:
        canvas.parts.append(
            f'<rect class="frost" x="{_n(shape.left - 6)}" y="{_n(top)}" width="3" height="{_n(shape.row)}"/>'
        )
        if shape.printed:
            canvas.text("cold", canvas.x(max(length, 1440)) + 5, base - shape.row * 0.3, row.frost)
    canvas.path("grid", "".join(f"M{x} {_n(top)}v{shape.row}" for x in _mark_places(shape, marks)))
    for start, duration, kind, speed_rpm in _whole_day(row.runs, length):
        if kind == "unknown":
            canvas.rect("unknown", start, duration, top, shape.row)
        elif kind == "run":
            # A run whose speed is not known cannot be given a height: it is hatched like all that is unknown.
            if speed_rpm is None:
                canvas.rect("unknown", start, duration, top, shape.row)
                continue
            height = _height(shape, speed_rpm)
            canvas.rect(f"s{band(speed_rpm)}", start, duration, base - height, height)
    canvas.path("edge", _steps(canvas, row.runs, top))
    canvas.path("base", f"M{_n(canvas.x(0))} {_n(base)}H{_n(canvas.x(length))}")
    if repeated is not None:
        start, stop = canvas.x(repeated), canvas.x(repeated + 60)
        canvas.path("twice", f"M{_n(start)} {_n(top - 1.5)}H{_n(stop)}")
    for start, duration, cause in row.outlines:
        css = "override" if cause == "override" else "offplan"
        canvas.rect(css, start, duration, top, shape.row)
    for start, duration, _, _ in row.aux:
        y = _n(base + shape.gap / 2)
        canvas.path("aux", f"M{_n(canvas.x(start) + 1)} {y}H{_n(canvas.x(start + duration))}")
    if shape.printed:
        if row.plan is not None:
            canvas.path("plan", _steps(canvas, row.plan, top))
        _print_speeds(canvas, row.runs, base)


def _whole_day(runs: Sequence[Run], length: float) -> list[Run]:
    """``runs`` with every minute that none of them holds as unknown: bare paper would say off."""
    told: list[Run] = []
    at = 0.0
    for run in runs:
        if run[0] - at > SHORTEST_MIN:
            told.append((at, run[0] - at, "unknown", None))
        told.append(run)
        at = run[0] + run[1]
    return [*told, (at, length - at, "unknown", None)] if length - at > SHORTEST_MIN else told


def _print_speeds(canvas: _Canvas, runs: Sequence[Run], base: float) -> None:
    for start, duration, kind, speed_rpm in runs:
        wide = duration * canvas.shape.scale
        if kind == "run" and speed_rpm is not None and wide >= 30:
            inside = _height(canvas.shape, speed_rpm) >= canvas.shape.font + 1
            css = ("pale" if band(speed_rpm) >= 4 else "deep") if inside else "deep"
            y = base - 3 if inside else base - _height(canvas.shape, speed_rpm) - 3
            canvas.text(f"rpm {css}", canvas.x(start) + wide / 2, y, number(round(speed_rpm / 5) * 5))
        elif kind == "unknown" and wide >= 62:
            canvas.text("rpm gap", canvas.x(start) + wide / 2, base - 8, "unknown")


def _steps(canvas: _Canvas, runs: Sequence[Run], top: float) -> str:
    """The outline of running time as one path: up, along, and down to the base where it ends."""
    base = top + canvas.shape.row
    steps: list[str] = []
    end = None
    for start, duration, kind, speed_rpm in runs:
        if kind != "run" or speed_rpm is None:
            continue
        y = _n(base - _height(canvas.shape, speed_rpm))
        x = _n(canvas.x(start))
        if end == x:
            steps.append(f"V{y}")
        else:
            steps.append(f"{'' if end is None else 'V' + _n(base)}M{x} {_n(base)}V{y}")
        end = _n(canvas.x(start + duration))
        steps.append(f"H{end}")
    return "".join(steps) + (f"V{_n(base)}" if steps else "")


@lru_cache(maxsize=256)
def _mark_places(shape: Shape, marks: tuple[float, ...]) -> list[str]:
    return [_n(shape.left + mark * shape.scale) for mark in marks]


def _height(shape: Shape, speed_rpm: float) -> float:
    return max(1.5, shape.row * min(speed_rpm, FULL_SCALE_RPM) / FULL_SCALE_RPM)


def _n(value: float) -> str:
    return f"{value:.2f}"
