"""What happens to an export on its way: lost rows, broken rows, a torn end, blank lines, a byte-order mark.

Belongs here: damage that every fleet has, kept small enough that a healthy site stays believable. Seeded faults stand
in `faults.py`.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from pumpledger.simulator.exports import Row

# Bursts of lost rows a day, longest burst in rows, and share of single lost rows, by dialect. A log of changes of state
# loses nothing here: one lost change would tell a wrong story for hours, and no reader could see it.
_LOSSES = {
    "samples_1min": (0.2, 30, 0.0001),
    "samples_5min": (0.4, 6, 0.001),
    "means_15min": (0.15, 3, 0.001),
    "counters": (0.15, 2, 0.001),
    "events": (0.0, 0, 0.0),
}


@dataclass
class Export:
    """One file before it is written, and what was done to it: the counts go to truth/exports.csv."""

    file: str
    dialect: str
    lines: list[str]
    data_rows: int
    impossible: int = 0
    unreadable: int = 0
    repeated: int = 0
    blank: int = 0
    byte_order_mark: bool = False
    torn: bool = False
    notes: list[str] = field(default_factory=list)
    damaged: set[int] = field(default_factory=set)

    def text(self) -> str:
        """The whole file; a torn file ends inside its last row, without a line end."""
        body = "\n".join(self.lines) + ("" if self.torn else "\n")
        return ("\ufeff" if self.byte_order_mark else "") + body


def lose_rows(rows: list[Row], dialect: str, days: float, rng: np.random.Generator) -> list[Row]:
    """``rows`` of one pump without the bursts and single rows that the way swallowed."""
    per_day, longest, share = _LOSSES[dialect]
    if not rows or not longest:
        return rows
    kept = rng.random(len(rows)) >= share
    for _ in range(int(rng.poisson(per_day * days))):
        start = int(rng.integers(1, max(2, len(rows) - longest)))
        kept[start : start + int(rng.integers(2, longest + 1))] = False
    # The first and the last row of a file always arrive: a week begins and ends where it should.
    kept[0] = kept[-1] = True
    return [row for row, keep in zip(rows, kept.tolist(), strict=True) if keep]


def make_impossible(export: Export, line: int, column: int, delimiter: str, value: str) -> None:
    """Put a value that no pump can show into one row (0-based ``line`` of the file)."""
    _replace(export, line, column, delimiter, value)
    export.impossible += 1
    export.notes.append(f"line {line + 1}: impossible value {value}")


def make_unreadable(export: Export, line: int, column: int, delimiter: str, value: str) -> None:
    """Put text that is no number or no time into one row (0-based ``line`` of the file)."""
    _replace(export, line, column, delimiter, value)
    export.unreadable += 1
    export.notes.append(f"line {line + 1}: unreadable cell {value}")


def tear_end(export: Export, keep: int = 14) -> None:
    """Cut the last row after a few characters, inside its time stamp, as a full disk does."""
    export.lines[-1] = export.lines[-1][:keep]
    export.torn = True
    export.unreadable += 1
    export.notes.append(f"line {len(export.lines)}: torn")


def add_blank_lines(export: Export, count: int, rng: np.random.Generator) -> None:
    """Scatter empty lines between the rows. To be called before damage that notes line numbers."""
    quarter = len(export.lines) // 4
    for place in sorted(rng.integers(quarter, 3 * quarter, count).tolist(), reverse=True):
        export.lines.insert(place, "")
    export.blank += count
    export.notes.append(f"{count} blank lines")


def _replace(export: Export, line: int, column: int, delimiter: str, value: str) -> None:
    cells = export.lines[line].split(delimiter)
    cells[column] = value
    export.lines[line] = delimiter.join(cells)
    export.damaged.add(line)
