"""``verdicts.csv`` of a fleet folder: what people decided on doubts about their data, kept for good.

Belongs here: what a line holds. Lines are only ever added; of several on one verdict the last counts. What
a confirmed one does to the readings stands in `corrections.py`.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import date
from pathlib import Path

from pumpledger.register.csv_log import append_log, read_log
from pumpledger.register.fields import Field

FILE = "verdicts.csv"

FIELDS = (
    Field("verdict_id", "id", "the verdict, as `pumpledger verdict` lists it", required=True),
    Field("decision", "choice", "confirmed: correct the readings; refused: they are right", required=True,
          choices=("confirmed", "refused")),
    Field("decided_by", "text", "who decided", required=True),
    Field("decided_on", "day", "when, YYYY-MM-DD", required=True),
    Field("note", "text", "why", default=""),
    Field("mode", "text", "catalogue identifier such as B4", required=True),
    Field("source", "text", "source of fleet.toml", required=True),
    Field("pump_id", "text", "pump; empty for the whole source", default=""),
    Field("quantity", "text", "speed, power, energy_total, run_total, flow, air_temperature, time or identity",
          required=True),
    Field("remedy", "text", "the correction; empty: none", default=""),
    Field("from_day", "day", "first local day that is corrected, YYYY-MM-DD; empty: every day"),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Decision:
    """One line: who decided what on which verdict, with all that is needed to correct the readings later."""

    verdict_id: str
    decision: str
    decided_by: str
    decided_on: date
    note: str
    mode: str
    source: str
    pump_id: str
    quantity: str
    remedy: str
    from_day: date | None = None


@dataclass(frozen=True, slots=True)
class Decisions:
    """All lines in the order in which they were added."""

    lines: tuple[Decision, ...] = ()

    def standing(self) -> list[Decision]:
        """The lines that count: those of the last decision on each verdict. A swap has one for each of its pumps."""
        last = {line.verdict_id: line.decision for line in self.lines}
        rows: dict[tuple[str, str, str], Decision] = {}
        for line in self.lines:
            if line.decision == last[line.verdict_id]:
                rows[line.verdict_id, line.source, line.pump_id] = line
        return list(rows.values())

    def states(self) -> dict[str, str]:
        """``verdict_id -> confirmed or refused``."""
        return {line.verdict_id: line.decision for line in self.lines}


def read_decisions(folder: Path) -> Decisions:
    """What stands in ``folder/verdicts.csv``; nothing where there is no such file.

    Raises:
        FleetError: the file does not hold, with every fault. Readings are not to change because a line was skipped.
    """
    return Decisions(tuple(Decision(**row) for row in read_log(folder / FILE, FIELDS)))  # type: ignore[arg-type]


def add_decisions(folder: Path, lines: list[Decision]) -> None:
    """Add ``lines`` to ``folder/verdicts.csv``. Hold the fleet's lock."""
    append_log(folder / FILE, FIELDS, map(asdict, lines))
