"""Verdicts as people see them: those of all weeks and all decisions, put together; and the taking of a decision.

Belongs here: what `pumpledger verdict` lists and writes. How a doubt arises stands in `run.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import polars as pl

from pumpledger.engine.lake import Lake
from pumpledger.engine.tables import VERDICTS
from pumpledger.problems import FleetError, Problem
from pumpledger.register.csv_log import plain
from pumpledger.verdicts.corrections import parse_remedy
from pumpledger.verdicts.registry import MODES
from pumpledger.verdicts.store import FILE, Decision, Decisions

STATES = ("open", "confirmed", "refused", "applied")
"""In the order in which they are listed."""


@dataclass(frozen=True, slots=True)
class Listed:
    """One doubt over all weeks. ``sentence`` and ``evidence`` are those of the newest week, ``remedy`` is that of the
    oldest, which alone saw the day on which it began; all three are as decided where no week holds it any more."""

    verdict_id: str
    state: str
    mode: str
    source: str
    pump_id: str
    quantity: str
    sentence: str
    evidence: str
    remedy: str
    blocks: bool
    first_day: date | None
    last_day: date | None
    decided: str = ""

    @property
    def where(self) -> str:
        """Source, and pump where it is one pump's."""
        return f"{self.source}, {self.pump_id}" if self.pump_id else self.source


def list_verdicts(lake: Lake, decisions: Decisions) -> list[Listed]:
    """Every verdict that a week of the lake holds or a person decided on, by state, mode, source and pump."""
    rows = pl.concat([VERDICTS.empty(), *(lake.read(VERDICTS, week) for week in lake.weeks(VERDICTS))])
    states = decisions.states()
    decided = {line.verdict_id: line for line in decisions.standing()}
    found: list[Listed] = []
    for (identifier, source, pump_id), seen in rows.group_by("verdict_id", "source", "pump_id", maintain_order=True):
        oldest, newest = seen.row(0, named=True), seen.row(-1, named=True)
        state = states.get(str(identifier), "open")
        if newest["state"] == "applied" and state != "refused":
            state = "applied"
        found.append(
            Listed(
                verdict_id=str(identifier),
                state=state,
                mode=newest["mode"],
                source=str(source),
                pump_id=str(pump_id),
                quantity=newest["quantity"],
                sentence=newest["sentence"],
                evidence=newest["evidence"],
                remedy=oldest["remedy"],
                blocks=newest["blocks"] and state != "refused",
                first_day=seen["first_day"].min(),
                last_day=seen["last_day"].max(),
                decided=_by(decided.get(str(identifier))),
            )
        )
    held = {(item.verdict_id, item.source, item.pump_id) for item in found}
    for line in decisions.standing():
        if (line.verdict_id, line.source, line.pump_id) not in held:
            found.append(
                Listed(
                    verdict_id=line.verdict_id,
                    state=line.decision,
                    mode=line.mode,
                    source=line.source,
                    pump_id=line.pump_id,
                    quantity=line.quantity,
                    sentence=f"{_mode_name(line.mode)}; no reading speaks of it any more.",
                    evidence="",
                    remedy=line.remedy,
                    blocks=False,
                    first_day=None,
                    last_day=None,
                    decided=_by(line),
                )
            )
    return sorted(
        found, key=lambda item: (STATES.index(item.state), item.mode, item.source, item.pump_id, item.quantity)
    )


def decision_lines(
    known: list[Listed], confirm: list[str], refuse: list[str], decided_by: str, decided_on: date, note: str = ""
) -> list[Decision]:
    """The lines to add to verdicts.csv. One decision on a swap gives a line for each of its pumps.

    Raises:
        FleetError: an identifier that no verdict has, with those that there are, or that is both confirmed and refused.
    """
    faults = [_unknown(identifier, known) for identifier in [*confirm, *refuse] if not _of(known, identifier)]
    faults += [
        Problem("verdict_twice", f"{identifier} is to be confirmed and refused; name it once")
        for identifier in sorted({*confirm} & {*refuse})
    ]
    if faults:
        raise FleetError(faults)
    lines = []
    for decision, identifiers in (("confirmed", confirm), ("refused", refuse)):
        for item in (item for identifier in dict.fromkeys(identifiers) for item in _of(known, identifier)):
            day = parse_remedy(item.remedy)[3] if item.remedy else None
            lines.append(
                Decision(
                    verdict_id=item.verdict_id,
                    decision=decision,
                    decided_by=plain(decided_by),
                    decided_on=decided_on,
                    note=plain(note),
                    mode=item.mode,
                    source=item.source,
                    pump_id=item.pump_id,
                    quantity=item.quantity,
                    remedy=item.remedy,
                    from_day=day,
                )
            )
    return lines


def _of(known: list[Listed], identifier: str) -> list[Listed]:
    return [item for item in known if item.verdict_id == identifier]


def _unknown(identifier: str, known: list[Listed]) -> Problem:
    there = ", ".join(sorted({item.verdict_id for item in known})) or "none"
    return Problem("verdict_unknown", f"no verdict is called {plain(identifier)!r}; there are: {there}", file=FILE)


def _mode_name(mode: str) -> str:
    return MODES[mode].name if mode in MODES else mode


def _by(line: Decision | None) -> str:
    if line is None:
        return ""
    return f"{line.decision} by {line.decided_by} on {line.decided_on}" + (f": {line.note}" if line.note else "")
