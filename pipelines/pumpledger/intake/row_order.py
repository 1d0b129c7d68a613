"""The order of an export's rows: the steps that a clock which runs on would not make, and blocks whose clock was lost.

Belongs here: from ``typed_row`` to the few steps of each pump that matter. What a step near a change of clocks means is
told in `late_clock.py`.

A pump's rows are taken in the order in which its clock showed them: the order of the file, or its reverse for a pump
whose rows stand in falling order.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime
from itertools import pairwise
from typing import NamedTuple

import polars as pl

from pumpledger.engine.database import Database
from pumpledger.intake.dialect import Dialect

RESTART_S = 10_800
"""A step back so long is no change of clocks (two hours at most since 2012): the rows begin anew, as in a file sent
twice."""
MOST_STEPS = 5000
"""A pump with more odd steps than this is in no order that could tell anything."""
OPEN_LINE = 2**62
DISORDER = 0.01
"""Share of a pump's rows that may step back before its order is held to tell nothing of lost clocks."""
_FAR_EVENT_S = 86_400
_APART_S = 32 * 86_400
_EVENT_TOLERANCE_S = 60.0
_BLOCK_SCHEMA = {
    "pump_id": pl.String,
    "out_nth": pl.Int64,
    "back_nth": pl.Int64,
    "from_stamp": pl.Datetime("us"),
    "to_stamp": pl.Datetime("us"),
}


@dataclass(frozen=True, slots=True)
class Rhythm:
    """How a dialect's rows follow each other. ``interval_s`` is ``None`` for changes of state: no step is odd by its
    length then."""

    interval_s: float | None
    gap_limit_s: float

    @classmethod
    def of(cls, dialect: Dialect) -> Rhythm:
        regular = dialect.label != "change_of_state" and dialect.interval_s
        return cls(float(dialect.interval_s) if regular else None, float(dialect.gap_limit_s))

    @property
    def tolerance_s(self) -> float:
        """How far a stamp may lie off the interval: jitter, or two events written in the wrong order."""
        return _EVENT_TOLERANCE_S if self.interval_s is None else min(max(self.interval_s / 4, 1.0), 120.0)

    @property
    def far_s(self) -> float:
        """A step forward that only a clock makes which is set, or a long gap."""
        return _FAR_EVENT_S if self.interval_s is None else max(RESTART_S, 2 * self.interval_s + self.tolerance_s)

    def is_plain(self, step_s: float) -> bool:
        """Whether a step is one interval."""
        return self.interval_s is not None and abs(step_s - self.interval_s) <= self.tolerance_s


class Step(NamedTuple):
    """A row and the one before it by the pump's clock; ``nth`` is the row's number."""

    nth: int
    line: int
    line_before: int
    stamp: datetime
    stamp_before: datetime
    step_s: float


class Skipped(NamedTuple):
    """Rows at times that the wall clock skipped, none other between; ``from_wall`` names the change, ``plain`` are those
    one interval after the row before."""

    from_wall: datetime
    first_nth: int
    last_nth: int
    rows: int
    plain: int


@dataclass(slots=True)
class PumpRows:
    """One pump's rows in the order of its clock, as far as they are odd. ``backs`` of its ``rows`` step back."""

    pump_id: str
    way: int
    rows: int
    backs: int
    first_nth: int
    last_nth: int
    first_stamp: datetime
    last_stamp: datetime
    steps: list[Step] = field(default_factory=list)
    skipped: list[Skipped] = field(default_factory=list)

    def lines(self, begin: Step | None, end: Step | None) -> tuple[int, int]:
        """First and last line of the rows from the step ``begin`` on until before ``end``, what lies between included;
        ``None`` leaves a side open."""
        if self.way > 0:
            return (begin.line if begin else 0, end.line - 1 if end else OPEN_LINE)
        return (end.line + 1 if end else 0, begin.line if begin else OPEN_LINE)


def in_order(db: Database, rows: str | None = None) -> bool:
    """Whether no pump's stamps step back, as far as one walk without sorting can tell.

    The rows are those of ``typed_row``, or of the query ``rows`` (pump_id, stamp, in file order).
    """
    seen = db.query("intake/clock_order", over={"typed_row": rows} if rows else None).row(0, named=True)
    return seen["back"] == 0 or (seen["back_within"] == 0 and seen["turns"] < seen["pumps"])


def order_rows(db: Database) -> None:
    """Make ``ordered_row`` from ``typed_row`` and ``pump_zone``."""
    db.build("ordered_row", "intake/ordered_row")


def odd_rows(db: Database, rhythm: Rhythm, least_s: float | None, skipped_hours: pl.DataFrame) -> dict[str, PumpRows]:
    """Pumps of ``ordered_row`` with their odd steps, and their rows within ``skipped_hours`` (pump_id, from_wall,
    to_wall).

    ``least_s`` is the smallest change of clocks near the rows; without it only far steps are odd. A pump in no order is
    left out.
    """
    db.load("skipped_hour", skipped_hours)
    interval = {"interval_s": rhythm.interval_s, "tolerance_s": rhythm.tolerance_s}
    db.build("skipped_row", "intake/skipped_rows", interval)
    found = db.query("intake/clock_pump", {"tolerance_s": rhythm.tolerance_s})
    pumps = {row["pump_id"]: PumpRows(**row) for row in found.iter_rows(named=True)}
    steps = db.query(
        "intake/clock_step",
        {
            **interval,
            "least_s": least_s,
            "restart_s": float(RESTART_S),
            "far_s": rhythm.far_s,
            "most": MOST_STEPS,
        },
    )
    for pump_id, *step in steps.iter_rows():
        pumps[pump_id].steps.append(Step(*step))
    for pump_id, *rows in db.table("skipped_row").iter_rows():
        pumps[pump_id].skipped.append(Skipped(*rows))
    return pumps


def take_out_strays(db: Database, pumps: Iterable[PumpRows], rhythm: Rhythm) -> list[tuple[str, int, int]]:
    """Take blocks of rows whose clock jumped far away and returned out of ``pumps``; give them as (pump_id, first line,
    last line).

    With a regular interval the rows after must go on as if the block had filled its places, and no other row may stand
    there: else the block was only put between other rows, and its stamps may be right. Without one the block must lie a
    month outside all other stamps of the pump. A pump in disorder tells nothing.
    """
    candidates = [
        (pump, block)
        for pump in pumps
        for blocks in [_blocks(pump, rhythm)]
        if pump.backs - len(blocks) <= DISORDER * pump.rows
        for block in blocks
    ]
    if not candidates:
        return []
    rows = [(pump.pump_id, out.nth, back.nth, out.stamp_before, back.stamp) for pump, (out, back) in candidates]
    db.load("stray_block", pl.DataFrame(rows, schema=_BLOCK_SCHEMA, orient="row"))
    lost = set(
        db.query("intake/stray_hole", {"tolerance_s": rhythm.tolerance_s}).select("pump_id", "out_nth").iter_rows()
    )
    strays = []
    for pump, (out, back) in candidates:
        if (pump.pump_id, out.nth) in lost:
            strays.append((pump.pump_id, *sorted((out.line, back.line_before))))
            _take_out(pump, rhythm, out, back)
    return strays


def _take_out(pump: PumpRows, rhythm: Rhythm, out: Step, back: Step) -> None:
    joined = Step(back.nth, back.line, out.line_before, back.stamp, out.stamp_before, _seconds(out, back))
    pump.steps = [step for step in pump.steps if not out.nth <= step.nth <= back.nth]
    pump.skipped = [rows for rows in pump.skipped if not out.nth <= rows.first_nth < back.nth]
    if not rhythm.is_plain(joined.step_s):
        pump.steps = sorted([*pump.steps, joined])


def _blocks(pump: PumpRows, rhythm: Rhythm) -> list[tuple[Step, Step]]:
    """Steps out and back of the blocks that may be strays, none overlapping."""
    far = [step for step in pump.steps if step.step_s >= rhythm.far_s or step.step_s <= -RESTART_S]
    leaves = [_leaves_and_returns(pump, out, back) for out, back in pairwise(far)]
    blocks: list[tuple[Step, Step]] = []
    for index, (out, back) in enumerate(pairwise(far)):
        if not leaves[index] or (blocks and blocks[-1][1] == out):
            continue
        if _fills_its_places(rhythm, out, back) if rhythm.interval_s else _lies_apart(pump, far, leaves, index):
            blocks.append((out, back))
    return blocks


def _leaves_and_returns(pump: PumpRows, out: Step, back: Step) -> bool:
    """Whether fewer rows than half lie between two far steps of which the second undoes the first."""
    return out.step_s * back.step_s < 0 and 2 * (back.nth - out.nth) < pump.rows and _seconds(out, back) >= 0


def _fills_its_places(rhythm: Rhythm, out: Step, back: Step) -> bool:
    due_s = (back.nth - out.nth + 1) * float(rhythm.interval_s or 0)
    return due_s - rhythm.tolerance_s <= _seconds(out, back) <= due_s + rhythm.gap_limit_s


def _lies_apart(pump: PumpRows, far: list[Step], leaves: list[bool], index: int) -> bool:
    """Whether the rows between two far steps lie a month outside of all that is no such block itself."""
    edges = [pump.first_stamp, *(stamp for step in far for stamp in (step.stamp_before, step.stamp)), pump.last_stamp]
    pieces = list(zip(edges[::2], edges[1::2], strict=True))
    block = pieces[index + 1]
    others = [
        stamp for piece, apart in zip(pieces, [False, *leaves, False], strict=True) if not apart for stamp in piece
    ]
    return max(min(block) - max(others), min(others) - max(block)).total_seconds() >= _APART_S


def _seconds(out: Step, back: Step) -> float:
    return (back.stamp - out.stamp_before).total_seconds()
