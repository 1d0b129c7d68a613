"""What a stamp labels: an instant, the beginning or the end of an interval, or a change of state; and the gap limit.

Belongs here: evidence from the first and last stamps, from names, from a second time column, from uneven steps.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from pumpledger.proposal.claim import Claim, Sureness
from pumpledger.proposal.steps import Steps
from pumpledger.proposal.words import read_name

_KEY = "time.label"
_GAP = "time.gap_limit_s"
_GAP_INTERVALS = 3
_GAP_MOST_S = 691_200
_ENDS, _BEGINS = "interval_ending", "interval_beginning"


@dataclass(frozen=True, slots=True)
class LabelHints:
    """What else is known: the name of the stamp column; the step to a second stamp column, if constant [s]; first and
    last wall-clock stamps of whole files; whether columns are counters, energies or means; share of neighbouring rows
    whose state differs, where a state is known."""

    name: str
    to_partner_s: float | None
    firsts: list[datetime]
    lasts: list[datetime]
    counters: bool
    interval_energy: bool
    means: bool
    changes: float | None
    wall_clock: bool


def label_claim(steps: Steps, hints: LabelHints) -> Claim:
    """The claim on ``time.label``."""
    interval = steps.interval_s
    if hints.to_partner_s and interval and abs(hints.to_partner_s) == interval:
        value = _BEGINS if hints.to_partner_s > 0 else _ENDS
        named = read_name(hints.name).hints & {"begin", "end"}
        told = "another column holds the other end of the interval"
        return Claim(_KEY, value, "sure" if named == {"begin" if value == _BEGINS else "end"} else "likely", told)
    if interval is None:
        return _uneven(steps, hints)
    words = read_name(hints.name).hints & {"begin", "end"}
    edges = _edges(interval, hints)
    if words == {"end"} or words == {"begin"}:
        value = _ENDS if words == {"end"} else _BEGINS
        against = _BEGINS if value == _ENDS else _ENDS
        if edges and edges[0] == against:
            return Claim(_KEY, None, "cannot tell", f"the column is called {hints.name!r}, but {edges[1]}")
        if edges:
            return Claim(_KEY, value, "sure", f"name and stamps agree: {hints.name!r}, and {edges[1]}")
        return Claim(_KEY, value, "likely", f"by the name alone: {hints.name!r}")
    if edges and edges[0] == _ENDS:
        return Claim(_KEY, _ENDS, "likely", edges[1])
    if hints.interval_energy or hints.means:
        what = "energies of intervals" if hints.interval_energy else "means"
        if edges:
            return Claim(_KEY, _BEGINS, "likely", f"{what}, and {edges[1]}")
        return Claim(_KEY, None, "cannot tell", f"the rows are {what}: {_BEGINS} or {_ENDS}")
    if hints.counters:
        return Claim(_KEY, "instant", "likely", "counters are read at an instant")
    if edges:
        return Claim(_KEY, "instant", "likely", f"{edges[1]}; {_BEGINS} would place the rows alike")
    return Claim(_KEY, None, "cannot tell", f"instant, {_BEGINS} or {_ENDS}: nothing in the file tells")


def _uneven(steps: Steps, hints: LabelHints) -> Claim:
    if hints.changes is not None and hints.changes > 0.6 and steps.count >= 5 and steps.same_time < 0.05:
        told = f"steps are uneven, and {hints.changes:.0%} of the rows differ in state from the row before"
        return Claim(_KEY, "change_of_state", "likely", told)
    told = "steps are uneven: change_of_state if a row is written when something changes, else instant"
    return Claim(_KEY, None, "cannot tell", told)


def _edges(interval: int, hints: LabelHints) -> tuple[str, str] | None:
    """(label, evidence) by where whole files begin and end; beginning and instant look alike.

    Files cut at midnight of the wall clock begin at 00:00, or one interval later if stamps are at the end.
    """
    day = 86_400 if hints.wall_clock else 3600  # in UTC a file begins at some full hour
    if not hints.firsts or not hints.lasts or interval >= day or 86_400 % interval:
        return None
    firsts = {_second(time) % day for time in hints.firsts}
    lasts = {_second(time) % day for time in hints.lasts}
    span = f"from {hints.firsts[0]:%H:%M} to {hints.lasts[-1]:%H:%M}"
    if firsts == {interval} and lasts == {0}:
        return _ENDS, f"files run {span}"
    if firsts == {0} and lasts == {day - interval}:
        return _BEGINS, f"files run {span}"
    return None


def _second(time: datetime) -> int:
    return time.hour * 3600 + time.minute * 60 + time.second


def gap_claim(steps: Steps, label: Claim) -> Claim:
    """The claim on ``time.gap_limit_s``: three intervals, or an hour beyond the sign of life of a log of changes."""
    if steps.interval_s and label.value != "change_of_state":
        return Claim(
            _GAP, _GAP_INTERVALS * steps.interval_s, "likely", "three intervals; a longer silence is unknown time"
        )
    if steps.heartbeat_s and label.value == "change_of_state":
        limit = min(steps.heartbeat_s + 3600, _GAP_MOST_S)
        return Claim(_GAP, limit, "likely", f"an hour beyond {steps.heartbeat_s} s, the longest usual silence")
    sureness: Sureness = "cannot tell"
    told = f"how long a silence may last before it is unknown time; the longest in the sample is {steps.longest_s} s"
    return Claim(_GAP, None, sureness, told)
