"""Corrections: what a confirmed verdict does to the readings, when exports are read.

Belongs here: the forms of a remedy and what each means for a dialect or for single pumps. Deciding is `store.py`;
reading exports is intake, which applies what stands here.

The forms of a remedy:

    power x1000                   a factor on speed, power, energy_total, run_total or flow
    speed percent of 3450         the column holds percent of this speed [rev/min]
    zone utc                      zone of the time stamps: utc, site, +02:00 or an IANA zone
    date_order day_first          order of day and month in the time stamps: day_first or month_first
    swap P-1 P-2 from 2026-10-29  the two pumps' logs carry each other's code from this local day on

The first two may also end in `from` and a local day; without it they hold for every day.
"""

from __future__ import annotations

import dataclasses
import hashlib
import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Literal

import polars as pl

from pumpledger.intake.dialect import Dialect
from pumpledger.problems import FleetError, Problem
from pumpledger.register.zone import is_zone
from pumpledger.verdicts.store import FILE, Decisions

Kind = Literal["factor", "percent", "zone", "date_order", "swap"]

FACTORS = ("speed", "power", "energy_total", "run_total", "flow")
"""Quantities that a factor can correct."""

PUMP_CHANGES = {
    "source": pl.String,
    "pump_id": pl.String,
    "from_day": pl.Date,
    "becomes_pump_id": pl.String,
} | {f"{quantity}_factor": pl.Float64 for quantity in FACTORS}

_FROM = r"(?: from (\d{4}-\d\d-\d\d))?"
_FACTOR = re.compile(rf"({'|'.join(FACTORS)}) x(-?\d+(?:\.\d+)?(?:e[+-]?\d+)?){_FROM}")
_PERCENT = re.compile(rf"(speed) percent of (\d+(?:\.\d+)?){_FROM}")
_ZONE = re.compile(r"zone (utc|site|[+-]\d\d:\d\d|\S+)")
_ORDER = re.compile(r"date_order (day_first|month_first)")
_SWAP = re.compile(r"swap (\S+) (\S+) from (\d{4}-\d\d-\d\d)")


@dataclass(frozen=True, slots=True)
class Correction:
    """One confirmed remedy.

    ``pump_id`` is empty for the whole source. ``value`` is a factor, the full speed that percent are of [rev/min], a
    zone, an order of day and month, or the pump that the readings belong to. ``from_day`` is the first local day that
    it holds for; ``None``: every day.
    """

    source: str
    pump_id: str
    quantity: str
    kind: Kind
    value: float | str
    from_day: date | None = None

    @property
    def factor(self) -> float | None:
        """What the values of the column are multiplied by; ``None`` where the kind is no factor."""
        if self.kind == "percent":
            return float(self.value) / 100
        return float(self.value) if self.kind == "factor" else None


def parse_remedy(remedy: str) -> tuple[Kind, str, float | str, date | None]:
    """Kind, quantity, value and first day of a remedy; of a swap the value is both codes, joined by a space.

    Raises:
        ValueError: none of the forms above.
    """
    if found := _FACTOR.fullmatch(remedy):
        if float(found[2]):
            return "factor", found[1], float(found[2]), _day(found[3])
    if found := _PERCENT.fullmatch(remedy):
        if float(found[2]):
            return "percent", found[1], float(found[2]), _day(found[3])
    if (found := _ZONE.fullmatch(remedy)) and (
        found[1] in ("utc", "site") or re.fullmatch(r"[+-]\d\d:\d\d", found[1]) or is_zone(found[1])
    ):
        return "zone", "time", found[1], None
    if found := _ORDER.fullmatch(remedy):
        return "date_order", "time", found[1], None
    if (found := _SWAP.fullmatch(remedy)) and found[1] != found[2]:
        return "swap", "identity", f"{found[1]} {found[2]}", date.fromisoformat(found[3])
    raise ValueError(f"not a remedy: {remedy!r}")


def _day(text: str | None) -> date | None:
    return date.fromisoformat(text) if text else None


def corrections(decisions: Decisions) -> list[Correction]:
    """What the confirmed verdicts with a remedy do, in the order of their first confirmation.

    Raises:
        FleetError: a remedy in verdicts.csv that has none of the forms, or a zone, an order of day and month for one
            pump or from a day on, which only a whole source can have.
    """
    found: list[Correction] = []
    faults: list[Problem] = []
    for line in decisions.standing():
        if line.decision != "confirmed" or not line.remedy:
            continue
        try:
            kind, quantity, value, day = parse_remedy(line.remedy)
        except ValueError:
            faults.append(
                Problem(
                    "verdict_remedy",
                    f"the remedy {line.remedy!r} of {line.verdict_id} is not one that `pumpledger verdict` wrote; "
                    "mend the line, or refuse the verdict",
                    file=FILE,
                )
            )
            continue
        if kind in ("zone", "date_order") and (line.pump_id or line.from_day):
            faults.append(
                Problem(
                    "verdict_remedy",
                    f"{line.remedy!r} of {line.verdict_id} holds for a whole source and every day; "
                    "leave pump_id and from_day empty",
                    file=FILE,
                )
            )
            continue
        day = line.from_day or day
        if kind == "swap":
            first, second = str(value).split()
            found += [
                Correction(line.source, first, quantity, kind, second, day),
                Correction(line.source, second, quantity, kind, first, day),
            ]
        else:
            found.append(Correction(line.source, line.pump_id, quantity, kind, value, day))
    if faults:
        raise FleetError(faults)
    return list(dict.fromkeys(found))


def of_source(found: Iterable[Correction], source: str) -> list[Correction]:
    """The corrections that exports of ``source`` are read with."""
    return [correction for correction in found if correction.source == source]


def corrected(dialect: Dialect, found: Iterable[Correction]) -> Dialect:
    """``dialect`` with the corrections of one source: those of the whole source and every day are put into it.

    Those of single pumps or from a day on stay for `pump_changes`; but the digest stands for all of them, so that each
    decision has the exports of its source read again.
    """
    found = list(found)
    if not found:
        return dialect
    scale, zone, time_format = dict(dialect.scale), dialect.zone, dialect.time_format
    for correction in found:
        if not _in_dialect(correction):
            continue
        if correction.factor is not None and correction.quantity in scale:
            scale[correction.quantity] *= correction.factor
        elif correction.kind == "zone":
            zone = str(correction.value)
        elif correction.kind == "date_order":
            time_format = _ordered(time_format, str(correction.value))
    said = "\n".join(sorted(repr(correction) for correction in found))
    digest = hashlib.sha256(f"{dialect.digest}\n{said}".encode()).hexdigest()
    return dataclasses.replace(dialect, scale=scale, zone=zone, time_format=time_format, digest=digest)


def pump_changes(found: Iterable[Correction]) -> pl.DataFrame:
    """What single readings are changed by, columns PUMP_CHANGES, sorted.

    One row for each correction that no dialect can hold: of one pump, or (``pump_id`` empty) of all pumps of the source
    from a day on. ``from_day`` null: every day. A null factor or ``becomes_pump_id`` changes nothing; several rows that
    fit a reading multiply. ``pump_id`` is the code as the export has it, before any swap.
    """
    rows = []
    for correction in found:
        if _in_dialect(correction):
            continue
        row: dict[str, object] = dict.fromkeys(PUMP_CHANGES)
        row |= {"source": correction.source, "pump_id": correction.pump_id, "from_day": correction.from_day}
        if correction.kind == "swap":
            row["becomes_pump_id"] = correction.value
        elif correction.factor is not None:
            row[f"{correction.quantity}_factor"] = correction.factor
        rows.append(row)
    frame = pl.DataFrame(rows, schema=PUMP_CHANGES, orient="row")
    return frame.unique(maintain_order=True).sort(list(PUMP_CHANGES), nulls_last=False)


def _in_dialect(correction: Correction) -> bool:
    return not correction.pump_id and correction.from_day is None


def _ordered(time_format: str, order: str) -> str:
    """``time_format`` with day and month in ``order``; as it is where it has not exactly one of each."""
    marks = re.findall(r"%-?[dm]", time_format)
    if sorted(mark[-1] for mark in marks) != ["d", "m"]:
        return time_format
    wanted = sorted(marks, key=lambda mark: mark[-1], reverse=order == "month_first")
    swap = iter(wanted)
    return re.sub(r"%-?[dm]", lambda _: next(swap), time_format)
