"""``action_log.csv`` of a fleet folder: what people said about actions, who, when and why, kept for good.

Belongs here: what a line holds, and which lines may be added. What they make of an action stands in `life.py`.
"""

from __future__ import annotations

import hashlib
from dataclasses import asdict, dataclass
from datetime import date
from pathlib import Path

from pumpledger.problems import Problem
from pumpledger.register.csv_log import append_log, read_log
from pumpledger.register.fields import Field

FILE = "action_log.csv"
EVENTS = ("acknowledged", "shelved", "fixed", "rejected", "reopened")
MOST_SHELVED_DAYS = 28
"""No action is put off for longer without being looked at again: a starting value."""
MOST_SHELVED_SAFETY_DAYS = 7

FIELDS = (
    Field("action_id", "id", "the action, as the review and `pumpledger action` list it", required=True),
    Field("event", "choice", "acknowledged: someone has it; shelved: put off; fixed: done on site; rejected: nothing was "
          "wrong; reopened: as if nothing had been said", required=True, choices=EVENTS),
    Field("said_by", "text", "who says so", required=True),
    Field("said_on", "day", "when, YYYY-MM-DD", required=True),
    Field("day", "day", "shelved: until when; fixed: on which local day"),
    Field("reason", "text", "why", default=""),
    Field("site_id", "text", "site", required=True),
    Field("rule_id", "text", "rule", required=True),
    Field("component", "text", "pump or export", default=""),
    Field("severity", "text", "severity at that time", default=""),
    Field("benefit_kwh_week", "number", "benefit at that time [kWh a week]", least=-1e9, most=1e9),
    Field("benefit_money_week", "number", "benefit at that time [currency a week]", least=-1e9, most=1e9),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Event:
    """One line of the log."""

    action_id: str
    event: str
    said_by: str
    said_on: date
    day: date | None
    reason: str
    site_id: str
    rule_id: str
    component: str
    severity: str = ""
    benefit_kwh_week: float | None = None
    benefit_money_week: float | None = None

    @property
    def key(self) -> tuple[str, str, str]:
        """What an action is about, over all weeks: site, rule, component."""
        return self.site_id, self.rule_id, self.component


def action_id(site_id: str, rule_id: str, component: str) -> str:
    """``a-`` and 8 hexadecimal digits, the same in every week in which the same thing is found."""
    return "a-" + hashlib.sha256("\x1f".join((site_id, rule_id, component)).encode()).hexdigest()[:8]


def read_events(folder: Path) -> list[Event]:
    """What stands in ``folder/action_log.csv``; nothing where there is no such file.

    Raises:
        FleetError: the file does not hold, with every fault.
    """
    return [Event(**row) for row in read_log(folder / FILE, FIELDS)]  # type: ignore[arg-type]


def add_events(folder: Path, events: list[Event]) -> None:
    """Add ``events`` to ``folder/action_log.csv``. Hold the fleet's lock."""
    append_log(folder / FILE, FIELDS, map(asdict, events))


def faults_of(event: Event) -> list[Problem]:
    """Why ``event`` may not be added."""
    found = []
    if not event.said_by:
        found.append("who says so is missing")
    if event.event in ("shelved", "rejected") and not event.reason:
        found.append(f"{event.event} needs a reason")
    if event.event == "fixed" and event.day is not None and event.day > event.said_on:
        found.append(f"fixed on {event.day}, which lies after {event.said_on}")
    if event.event == "shelved":
        most = MOST_SHELVED_SAFETY_DAYS if event.severity == "safety" else MOST_SHELVED_DAYS
        if event.day is None or not 0 < (event.day - event.said_on).days <= most:
            found.append(f"shelved needs a day to come, {most} days ahead at most")
    if event.event in ("acknowledged", "rejected", "reopened") and event.day is not None:
        found.append(f"{event.event} takes no day")
    return [Problem("action_event", text, file=event.action_id) for text in found]
