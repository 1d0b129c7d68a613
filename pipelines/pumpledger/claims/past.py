"""``claims.csv`` of a fleet folder: which savings have been claimed, from which programme, kept for good.

Belongs here: what a line holds, and whether two claims overlap. Nothing here names a person.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from datetime import date
from pathlib import Path

from pumpledger.register.csv_log import append_log, read_log
from pumpledger.register.fields import Field

FILE = "claims.csv"
STATES = ("ready", "not ready", "withdrawn")
FIELDS = (
    Field("claim_id", "id", "the claim", required=True),
    Field("programme", "text", "name of the programme's file", required=True),
    Field("site_id", "id", "site", required=True),
    Field("first_day", "day", "first local day, YYYY-MM-DD", required=True),
    Field("last_day", "day", "last local day, YYYY-MM-DD", required=True),
    Field("state", "choice", "ready: made and ready to send; not ready: a draft; withdrawn: not sent", required=True,
          choices=STATES),
    Field("raw_kwh", "number", "raw saving [kWh]", least=-1e9, most=1e9),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the log."""

    claim_id: str
    programme: str
    site_id: str
    first_day: date
    last_day: date
    state: str
    raw_kwh: float | None = None


def claim_id(site_id: str, programme: str, first: date, last: date) -> str:
    """``c-`` and 10 hexadecimal digits: the same for the same site, programme and period, and telling nothing of them."""
    text = "\x1f".join((site_id, programme, first.isoformat(), last.isoformat()))
    return "c-" + hashlib.sha256(text.encode()).hexdigest()[:10]


def read_claims(folder: Path) -> list[Line]:
    """The last line of each claim, in order of first mention; nothing where there is no such file.

    Raises:
        FleetError: the file does not hold, with every fault.
    """
    held: dict[str, Line] = {}
    for row in read_log(folder / FILE, FIELDS):
        held[str(row["claim_id"])] = Line(**row)  # type: ignore[arg-type]
    return list(held.values())


def add_claims(folder: Path, lines: Iterable[Line]) -> list[Line]:
    """Add what is not the last word on its claim already; give what was added. Hold the fleet's lock."""
    known = {line.claim_id: line for line in read_claims(folder)}
    new = [line for line in lines if known.get(line.claim_id) != line]
    if new:
        append_log(folder / FILE, FIELDS, map(asdict, new))
    return new


def claimed_before(held: Iterable[Line], site_id: str, first: date, last: date, own: str) -> list[Line]:
    """Ready claims of the site, of whatever programme, that share a day with the period; ``own`` is the claim itself."""
    return [
        line
        for line in held
        if line.state == "ready"
        and line.site_id == site_id
        and line.claim_id != own
        and line.first_day <= last
        and first <= line.last_day
    ]
