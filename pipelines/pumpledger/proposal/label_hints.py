"""What the rows tell about the label of the stamps: where files begin and end, a second stamp, whether states change.

Belongs here: gathering it from the table. What follows from it is `label.py`.
"""

from __future__ import annotations

from itertools import pairwise

from pumpledger.proposal.label import LabelHints
from pumpledger.proposal.quantities import Quantities, Values
from pumpledger.proposal.stamps import TimeFormat
from pumpledger.proposal.steps import Steps
from pumpledger.proposal.time_columns import TimeColumns


def label_hints(
    found: TimeColumns, form: TimeFormat, steps: Steps, quantities: Quantities, values: Values, wide: bool
) -> LabelHints:
    """The hints of a table whose stamps ``form`` reads."""
    table = values.table
    name = table.names[found.positions[0]] if table.headed else ""
    last_of = {piece: row for row, piece in enumerate(table.piece)}
    first_of = {piece: row for row, piece in reversed(list(enumerate(table.piece)))}
    firsts = [first_of[piece] for piece in sorted(table.starts & first_of.keys())]
    lasts = [last_of[piece] for piece in sorted(table.ends & last_of.keys())]
    return LabelHints(
        name,
        _to_partner(values, found, form),
        [moment for row in firsts if (moment := form.as_written(found.texts[row])) is not None],
        [moment for row in lasts if (moment := form.as_written(found.texts[row])) is not None],
        quantities.counters,
        quantities.interval_energy,
        quantities.means,
        None if wide else _changes(values, quantities, steps.heartbeat_s),
        form.zone != "utc" and not table.typed_times.get(found.positions[0], False),
    )


def _to_partner(values: Values, found: TimeColumns, form: TimeFormat) -> float | None:
    """Seconds from the stamp to the one in a second column, where they are the same in nearly all rows."""
    if found.partner is None:
        return None
    gaps: dict[float, int] = {}
    for text, moment in zip(values.table.columns[found.partner], values.times, strict=True):
        other = form.read(text)
        if other is not None and moment is not None:
            gap = (other - moment).total_seconds()
            gaps[gap] = gaps.get(gap, 0) + 1
    gap = max(gaps, key=lambda each: (gaps[each], each), default=0.0)
    return gap if gaps and gaps[gap] >= 0.95 * values.table.rows else None


def _changes(values: Values, quantities: Quantities, heartbeat_s: int | None) -> float | None:
    """Share of rows whose state, speed or auxiliary load, differs from the row before of the same pump by more than
    noise; rows that a sign of life explains are left out."""
    states = [at for at in (quantities.speed, quantities.aux) if at is not None] or quantities.columns[:1]
    if not states:
        return None
    table, differ, total = values.table, 0, 0
    for rows in values.series:
        for before, after in pairwise(rows):
            start, end = values.times[before], values.times[after]
            if start is None or end is None or (heartbeat_s and (end - start).total_seconds() >= 0.98 * heartbeat_s):
                continue
            total += 1
            differ += any(
                _differs(values.of(at)[before], values.of(at)[after])
                if at in table.numeric
                else table.columns[at][before] != table.columns[at][after]
                for at in states
            )
    return differ / total if total else None


def _differs(before: float | None, after: float | None) -> bool:
    if before is None or after is None:
        return before is not after
    return abs(after - before) > 0.01 * max(abs(before), abs(after))
