"""Following actions from the command line: what stands, and what people say of it, one by one or as a table.

Belongs here: the frame around `followup`: the fleet's lock, the newest review, messages.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path

import polars as pl

from pumpledger.engine.followup_tables import ACTION_STATES, ACTIONS
from pumpledger.engine.lake import Lake
from pumpledger.engine.tables import FINDINGS
from pumpledger.followup.log import EVENTS, Event, action_id, add_events, faults_of, read_events
from pumpledger.problems import FleetError, Problem
from pumpledger.register.csv_file import read_rows
from pumpledger.register.csv_log import plain
from pumpledger.register.fields import Field
from pumpledger.workspace import Workspace

_TABLE = (
    Field("action_id", "id", "the action", required=True),
    Field("event", "choice", "what is said of it; empty: nothing", choices=EVENTS),
    Field("day", "day", "shelved: until when; fixed: on which local day"),
    Field("said_by", "text", "who says so", default=""),
    Field("reason", "text", "why", default=""),
)


@dataclass(frozen=True, slots=True)
class Words:
    """What is said of one action."""

    action_id: str
    event: str
    day: date | None
    said_by: str
    reason: str


def words_of(
    actions: Sequence[str], event: str | None, shelve: str | None, fixed: str | None, by: str | None, reason: str
) -> list[Words]:
    """The same of each of ``actions``.

    Raises:
        FleetError: nothing, or several things, are said at once, or a day is none.
    """
    said = [(event, None)] if event else []
    said += [(name, text) for name, text in (("shelved", shelve), ("fixed", fixed)) if text]
    if actions and len(said) != 1:
        raise FleetError(
            Problem(
                "action_event", "say one thing of an action: --acknowledge, --shelve, --fixed, --reject or --reopen"
            )
        )
    return [Words(name, said[0][0], _day(said[0][1]), plain(by or ""), plain(reason)) for name in actions]


def _day(text: str | None) -> date | None:
    try:
        return date.fromisoformat(text) if text else None
    except ValueError:
        raise FleetError(Problem("action_day", f"{plain(str(text))!r} is not a day such as 2026-11-09")) from None


def listed(folder: Path) -> Iterator[str]:
    """The actions of the newest review by rank, then the others of which something was said."""
    lake, week = _newest(folder)
    states = {row["action_id"]: row for row in lake.read(ACTION_STATES, week).iter_rows(named=True)}
    actions = lake.read(ACTIONS, week)
    yield f"Week {week}: {actions.height} actions."
    for row in actions.sort("rank").iter_rows(named=True):
        state = states.get(row["action_id"])
        yield f"{row['action_id']} {row['state']} {row['site_id']} {row['rule_id']} {row['component']}: {row['action']}"
        yield from _said(state)
    shown = set(actions["action_id"])
    for name, row in states.items():
        if name not in shown and (row["said_by"] or row["state"] != "open"):
            yield f"{name} {row['state']} {row['site_id']} {row['rule_id']} {row['component']}"
            yield from _said(row)


def _said(row: dict[str, object] | None) -> Iterator[str]:
    if row and row["said_by"]:
        reason = f": {row['reason']}" if row["reason"] else ""
        yield f"    {row['note'] or row['state']} (said by {row['said_by']} on {row['said_on']}{reason})"


def say(folder: Path, words: list[Words], table: Path | None, today: date | None = None) -> Iterator[str]:
    """Add what is said to the log, all or nothing, and repeat it line by line.

    Raises:
        FleetError: an action that there is not, or something that may not be said of it, with every fault.
    """
    lake, week = _newest(folder)
    words = words + (_read_table(table) if table else [])
    said_on = today or datetime.now(UTC).date()
    with Workspace(folder).lock():
        known = _known(lake, week, read_events(folder))
        events, faults = [], []
        for item in words:
            if item.action_id not in known:
                faults.append(
                    Problem("action_unknown", f"no action is called {item.action_id!r}; see `pumpledger action`")
                )
                continue
            event = Event(
                **known[item.action_id],
                event=item.event,
                said_by=item.said_by,
                said_on=said_on,
                day=item.day,
                reason=item.reason,
            )
            faults += faults_of(event)
            events.append(event)
        if faults:
            raise FleetError(faults)
        add_events(folder, events)
    for event in events:
        day = f" {event.day}" if event.day else ""
        yield f"{event.action_id} {event.event}{day} ({event.site_id} {event.rule_id} {event.component})"


def _newest(folder: Path) -> tuple[Lake, str]:
    if not (folder / "fleet.toml").is_file():
        raise FleetError(Problem("fleet_missing", f"there is no fleet folder at {folder}", file="fleet.toml"))
    lake = Lake(Workspace(folder).lake)
    weeks = lake.weeks(ACTIONS)
    if not weeks:
        raise FleetError(Problem("review_missing", "no review has been made yet; run `pumpledger review` first"))
    return lake, weeks[-1]


def _known(lake: Lake, week: str, events: list[Event]) -> dict[str, dict[str, object]]:
    """What may be spoken of: findings of the newest review, and whatever was spoken of before."""
    known: dict[str, dict[str, object]] = {
        event.action_id: {"action_id": event.action_id, "site_id": event.site_id, "rule_id": event.rule_id,
                          "component": event.component, "severity": event.severity}
        for event in events
    }  # fmt: skip
    found = lake.read(FINDINGS, week).filter(pl.col("verdict") == "found")
    names = ("site_id", "rule_id", "component", "severity", "benefit_kwh_week", "benefit_money_week")
    for row in found.select(names).iter_rows(named=True):
        name = action_id(row["site_id"], row["rule_id"], row["component"])
        known[name] = {"action_id": name, **row}
    return known


def _read_table(path: Path) -> list[Words]:
    """The lines of a filled-in actions.csv on which something is said."""
    problems: list[Problem] = []
    rows = read_rows(path, path.name, _TABLE, problems)
    faults = [problem for problem in problems if problem.severity == "disqualifies"]
    if faults:
        raise FleetError(faults)
    return [
        Words(row["action_id"], row["event"], row["day"], plain(row["said_by"]), plain(row["reason"]))
        for row in rows.rows
        if row["event"]
    ]
