"""What a logger made of a change of clocks, told from the order of one pump's rows.

Belongs here: which rows are of the first pass of a repeated hour, which still stand on the old offset because the
logger set its clock late, which already on the new one. Where the rows allow two readings nothing is chosen unseen:
they stay where the zone puts them, under a state that says so. Rows are not read here: the steps come from `row_order.py`.

A logger that sets its clock makes one step that is its interval plus or minus the change. Set forward, such a step may
also be a gap; set back, it may be rows that were sent again. What tells: stamps that the wall clock skipped, stamps that
stand twice with other values, and that no other step of the kind is there.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import NamedTuple

from pumpledger.intake.clock import LATE_DAYS, Change
from pumpledger.intake.row_order import RESTART_S, PumpRows, Rhythm, Skipped, Step

LATE, NOT_SURE, EARLY = "late change", "late change, not sure", "early change"
_NEAR = timedelta(days=LATE_DAYS)


class Run(NamedTuple):
    """Rows by line and by stamp that stand on ``offset_s``; ``None`` leaves them to the zone, under ``clock_state``.

    No two runs of a pump overlap in both. A run gives no state to rows of a repeated hour: they are told apart by it.
    """

    pump_id: str
    from_line: int
    to_line: int
    from_wall: datetime
    to_wall: datetime
    offset_s: int | None
    clock_state: str


class Again(NamedTuple):
    """What follows a step back; see ``clock_again.sql``."""

    below: int
    again: int
    differ: int


class Note(NamedTuple):
    """A step at which a clock was set: ``set_s`` forward, negative back, against the zone's own change."""

    pump_id: str
    kind: str
    step: Step
    set_s: float


@dataclass(slots=True)
class Stretch:
    """Rows of one pump between two restarts; ``begin`` is the step that it begins with, ``end`` the next one's."""

    pump: PumpRows
    begin: Step | None
    end: Step | None
    steps: list[Step]
    first_nth: int
    last_nth: int
    first_stamp: datetime
    last_stamp: datetime
    skipped: list[Skipped] = field(default_factory=list)

    def run(
        self,
        begin: Step | None,
        end: Step | None,
        walls: tuple[datetime, datetime],
        offset_s: int | None,
        state: str,
    ) -> Run:
        """The rows from ``begin`` until before ``end``, ``None`` being the stretch's own."""
        lines = self.pump.lines(begin or self.begin, end or self.end)
        return Run(self.pump.pump_id, *lines, *walls, offset_s, state)


def stretches(pump: PumpRows) -> list[Stretch]:
    """``pump`` cut where its rows begin anew."""
    restarts = [step for step in pump.steps if step.step_s <= -RESTART_S]
    cut = []
    for begin, end in zip([None, *restarts], [*restarts, None], strict=True):
        first = begin.nth if begin else pump.first_nth
        last = end.nth - 1 if end else pump.last_nth
        cut.append(
            Stretch(
                pump,
                begin,
                end,
                [step for step in pump.steps if first < step.nth <= last],
                first,
                last,
                begin.stamp if begin else pump.first_stamp,
                end.stamp_before if end else pump.last_stamp,
                [rows for rows in pump.skipped if first <= rows.first_nth <= last],
            )
        )
    return cut


def steps_in_doubt(stretch: Stretch, changes: list[Change], rhythm: Rhythm) -> Iterator[Step]:
    """Steps back near a change that sets clocks back: what follows them is to be looked at."""
    back = [change for change in changes if change.step_s < 0]
    for step in stretch.steps:
        near = any(abs(step.stamp_before - change.from_wall) <= _NEAR for change in back)
        if near and (step.step_s < 0 or any(_fits(step, change, rhythm) for change in back)):
            yield step


def resolve(
    stretch: Stretch, changes: list[Change], rhythm: Rhythm, again: Mapping[int, Again]
) -> tuple[list[Run], list[Note]]:
    """Where the rows of one stretch stand; ``changes`` in order, ``again`` by the number of a step's row.

    What no run covers stands where the zone puts it; a repeated hour that no run covers was not told apart.
    """
    runs: list[Run] = []
    notes: list[Note] = []
    kept_s: int | None = None
    """The offset of a clock that was not set at the change before."""
    for change, following in zip(changes, [*changes[1:], None], strict=True):
        until = following.from_wall if following else datetime.max
        if change.step_s > 0:
            found, noted, kept_s = _set_forward(stretch, change, until, rhythm)
        else:
            found, noted = _set_back(stretch, change, until, rhythm, again, kept_s, not runs)
            kept_s = None
        runs += found
        notes += noted
    return runs, notes


def _set_forward(
    stretch: Stretch, change: Change, until: datetime, rhythm: Rhythm
) -> tuple[list[Run], list[Note], int | None]:
    """Rows at skipped times, in order with those around them: the clock still stood on the old offset there."""
    skipped = [rows for rows in stretch.skipped if rows.from_wall == change.from_wall]
    if not skipped or not _in_order(stretch, skipped, change, rhythm):
        return [], [], None
    first, last = skipped[0].first_nth, skipped[-1].last_nth
    before = [step for step in stretch.steps if step.nth <= first and step.stamp >= change.from_wall - _NEAR]
    if any(_fits(step, change, rhythm) for step in before):
        return [], [], None  # a gap and a late clock, or a clock set early: not told
    walls, old = (change.from_wall, until), change.before_s
    sure = NOT_SURE if any(_may_hide(step, change, rhythm) for step in before) else LATE
    after = [step for step in stretch.steps if step.nth > last and step.stamp_before < until and step.step_s > 0]
    exact = [step for step in after if _fits(step, change, rhythm)]
    wide = [step for step in after if _may_hide(step, change, rhythm) and step not in exact]
    if not exact:
        doubt = wide[0] if wide else None
        runs = [stretch.run(None, doubt, walls, old, sure)]
        if doubt:
            runs.append(stretch.run(doubt, None, walls, None, NOT_SURE))
        return runs, [], None if doubt or sure == NOT_SURE else old
    doubt = next((step for step in wide if step.nth < exact[0].nth), None)
    runs = [stretch.run(None, doubt or exact[0], walls, old, sure)]
    if doubt:
        runs.append(stretch.run(doubt, exact[0], walls, old, NOT_SURE))
    if len(exact) > 1:
        runs.append(stretch.run(exact[0], exact[-1], walls, None, NOT_SURE))
    return runs, [Note(stretch.pump.pump_id, LATE, exact[0], float(change.step_s))], None


def _in_order(stretch: Stretch, skipped: list[Skipped], change: Change, rhythm: Rhythm) -> bool:
    """Whether the pump's rows run on through skipped times, some before or after them.

    Two rows at least, half of them one interval after the row before; or a single one, an interval from both sides.
    """
    first, last = skipped[0].first_nth, skipped[-1].last_nth
    around = [step for step in stretch.steps if first <= step.nth <= last + 1]
    if (first == stretch.first_nth and last == stretch.last_nth) or any(step.step_s < 0 for step in around):
        return False
    rows, plain = sum(part.rows for part in skipped), sum(part.plain for part in skipped)
    if rows > 1:
        return rhythm.interval_s is None or 2 * plain >= rows
    return rhythm.interval_s is not None and all(_fits(step, change, rhythm) for step in around)


def _set_back(
    stretch: Stretch,
    change: Change,
    until: datetime,
    rhythm: Rhythm,
    again: Mapping[int, Again],
    kept_s: int | None,
    first: bool,
) -> tuple[list[Run], list[Note]]:
    """Both passes of a repeated hour, or rows on either side of a change made late or early; ``first`` says that no
    earlier change has runs."""
    hour = (change.from_wall, change.to_wall)
    within = [step for step in stretch.steps if _lies_within(step, change, rhythm)]
    if within:
        step = _told_within(stretch, within, change, rhythm, again)
        return (_both_passes(stretch, step, change, first) if step else []), []
    if kept_s == change.after_s:  # it never was set forward, so that the change only brings the zone back to it
        return [stretch.run(None, None, hour, change.after_s, "twice")], []
    exact = [step for step in stretch.steps if _fits(step, change, rhythm)]
    late = [step for step in exact if change.to_wall <= step.stamp_before < min(until, change.to_wall + _NEAR)]
    name = stretch.pump.pump_id
    if len(late) == 1 and _other_values(late[0], again):
        runs = [
            stretch.run(None, late[0], (change.from_wall, until), change.before_s, LATE),
            stretch.run(late[0], None, hour, change.after_s, "twice"),
        ]
        return runs, [Note(name, LATE, late[0], float(change.step_s))]
    late += [step for step in stretch.steps if _may_be_late(step, change, until, rhythm, again) and step not in late]
    if late:
        return [stretch.run(None, max(late), (change.to_wall, until), None, NOT_SURE)], []
    early = [step for step in exact if change.from_wall - _NEAR <= step.stamp_before < change.from_wall]
    if first and len(early) == 1 and stretch.last_stamp >= change.to_wall and _other_values(early[0], again):
        walls = (datetime.min, change.to_wall)
        return [stretch.run(early[0], None, walls, change.after_s, EARLY)], [
            Note(name, EARLY, early[0], float(change.step_s))
        ]
    return [], []


def _lies_within(step: Step, change: Change, rhythm: Rhythm) -> bool:
    """Whether a step back leads from the first pass of a repeated hour to the second; a step of one interval and the
    change may miss the hour's ends by jitter."""
    exact = _fits(step, change, rhythm)
    slack = timedelta(seconds=rhythm.tolerance_s if exact else 0)
    inside = step.stamp_before < change.to_wall + slack and step.stamp >= change.from_wall - slack
    return inside and (exact or step.step_s < 0)


def _both_passes(stretch: Stretch, step: Step, change: Change, first: bool) -> list[Run]:
    """The rows before and after ``step``; one that misses the hour's end by jitter is of its pass. Not so where a run
    of the change before (``first`` is false) reaches up to the hour: no two may overlap."""
    least = timedelta(microseconds=1)
    first_pass = (change.from_wall, max(change.to_wall, step.stamp_before + least))
    second_pass = (min(change.from_wall, step.stamp) if first else change.from_wall, change.to_wall)
    return [
        stretch.run(None, step, first_pass, change.before_s, "twice"),
        stretch.run(step, None, second_pass, change.after_s, "twice"),
    ]


def _told_within(
    stretch: Stretch, within: list[Step], change: Change, rhythm: Rhythm, again: Mapping[int, Again]
) -> Step | None:
    """The step between the passes of a repeated hour.

    One interval less the change is such a step; of others, one that is the only one, and that more than one row in the
    wrong place makes: the stamps then stand there twice, or stay behind for longer. Changes of state have no interval:
    the step tells if nothing else of the pump is out of order.
    """
    exact = [step for step in within if _fits(step, change, rhythm)]
    if len(exact or within) > 1:
        return None
    step = (exact or within)[0]
    seen = again.get(step.nth, Again(0, 0, 0))
    if rhythm.interval_s is None:
        alone = sum(step.step_s < 0 for step in stretch.steps) == 1
    elif not exact:
        alone = seen.again >= 1 or seen.below >= 2
    elif rhythm.interval_s < -change.step_s <= 2 * rhythm.interval_s:  # two rows that changed places step back as far
        alone = seen.again >= 2 and seen.below * rhythm.interval_s <= -change.step_s
    else:
        alone = True
    return step if alone else None


def _other_values(step: Step, again: Mapping[int, Again]) -> bool:
    """Whether stamps after a step back were there before, and with other values: then no rows were sent again.

    One such stamp alone may be two rows that contradict each other.
    """
    seen = again.get(step.nth, Again(0, 0, 0))
    return seen.again >= 2 and seen.differ >= 1


def _may_be_late(step: Step, change: Change, until: datetime, rhythm: Rhythm, again: Mapping[int, Again]) -> bool:
    """Whether a step back after a change may be that change with rows lost: stamps stand there again, and say something
    else."""
    return (
        change.to_wall <= step.stamp_before < min(until, change.to_wall + _NEAR)
        and _least_s(rhythm) + change.step_s <= step.step_s < 0
        and again.get(step.nth, Again(0, 0, 0)).differ >= 1
    )


def _fits(step: Step, change: Change, rhythm: Rhythm) -> bool:
    """Whether a step is one interval and the change."""
    return rhythm.is_plain(step.step_s - change.step_s)


def _may_hide(step: Step, change: Change, rhythm: Rhythm) -> bool:
    """Whether a clock may have been set forward within a step: what remains is no shorter than rows lie apart."""
    return step.step_s - change.step_s >= _least_s(rhythm)


def _least_s(rhythm: Rhythm) -> float:
    """The shortest time between two rows."""
    return 0.0 if rhythm.interval_s is None else rhythm.interval_s - rhythm.tolerance_s
