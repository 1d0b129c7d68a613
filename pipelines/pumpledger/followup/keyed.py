"""``keyed_plans.csv`` of a fleet folder: proposed plans that were keyed in, with what was expected of them, kept for good.

Belongs here: what a line holds, and what the days since then make of it. The plan itself stands in plans.csv.

A day's range is set against the range that was expected: only where the two do not meet is the outcome said to differ.
Energy of overrides, priming and freeze protection is in the days and, but for priming, not in the plan.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, fields
from datetime import date
from pathlib import Path

import polars as pl

from pumpledger.engine.proposal_tables import PLAN_EFFECTS
from pumpledger.register.csv_log import append_log, read_log
from pumpledger.register.fields import Field

FILE = "keyed_plans.csv"
LEAST_DAYS = 5
"""Believed days before anything is said of a plan: as many as make a week believable."""

_ENDS = ("lo", "mid", "hi")


def _band(name: str, meaning: str) -> tuple[Field, ...]:
    words = {"lo": ", low", "mid": "", "hi": ", high"}
    return tuple(Field(f"{name}_{end}", "number", meaning + words[end], least=-1e9, most=1e9) for end in _ENDS)


FIELDS = (
    Field("site_id", "id", "site", required=True),
    Field("pump_id", "id", "pump", required=True),
    Field("valid_from", "day", "local day from which it is keyed in, as in plans.csv", required=True),
    Field("keyed_by", "text", "who keyed it in", default=""),
    Field("week", "text", "review that it was made from", required=True),
    *_band("expected_kwh", "energy that was expected [kWh a day]"),
    *_band("expected_turnovers", "turnovers that were expected a day"),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class KeyedPlan:
    """One line of the file."""

    site_id: str
    pump_id: str
    valid_from: date
    keyed_by: str
    week: str
    expected_kwh_lo: float | None
    expected_kwh_mid: float | None
    expected_kwh_hi: float | None
    expected_turnovers_lo: float | None
    expected_turnovers_mid: float | None
    expected_turnovers_hi: float | None


def read_keyed(folder: Path) -> list[KeyedPlan]:
    """What stands in ``folder/keyed_plans.csv``; nothing where there is no such file.

    Raises:
        FleetError: the file does not hold, with every fault.
    """
    names = [item.name for item in fields(KeyedPlan)]
    return [KeyedPlan(**{name: row[name] for name in names}) for row in read_log(folder / FILE, FIELDS)]  # type: ignore[arg-type]


def add_keyed(folder: Path, lines: list[KeyedPlan]) -> None:
    """Add ``lines`` to ``folder/keyed_plans.csv``. Hold the fleet's lock."""
    append_log(folder / FILE, FIELDS, map(asdict, lines))


def plan_effects(keyed: list[KeyedPlan], plan: pl.DataFrame, daily: pl.DataFrame, last_day: date) -> pl.DataFrame:
    """The table ``plan_effects``: each keyed plan against the believed days since, up to ``last_day``.

    Args:
        plan: rows of plans.csv, of which ``pump_id`` and ``valid_from`` are read: a plan ends where a newer one begins,
            and one that plans.csv no longer holds is left out.
        daily: the table ``daily`` over any weeks.
    """
    starts: dict[str, set[date]] = {}
    for pump_id, since in plan.select("pump_id", "valid_from").iter_rows():
        starts.setdefault(pump_id, set()).add(since)
    rows = []
    for line in {(item.pump_id, item.valid_from): item for item in keyed}.values():
        own = starts.get(line.pump_id, set())
        if line.valid_from in own and line.valid_from <= last_day:
            until = min((day for day in own if day > line.valid_from), default=date.max)
            days = daily.filter(
                pl.col("believed"),
                pl.col("pump_id") == line.pump_id,
                # Keyed in at some hour of its first day, so that day is neither plan's.
                pl.col("day_local") > line.valid_from,
                pl.col("day_local") < until,
                pl.col("day_local") <= last_day,
            ).sort("day_local")
            rows.append(_effect(line, days))
    return PLAN_EFFECTS.conform(pl.DataFrame(rows, schema=PLAN_EFFECTS.schema))


def _effect(line: KeyedPlan, days: pl.DataFrame) -> dict[str, object]:
    row = {name: value for name, value in asdict(line).items() if name in PLAN_EFFECTS.columns}
    for name, column in (("realised_kwh", "energy_kwh"), ("realised_turnovers", "turnovers")):
        for end in _ENDS:
            values = days[f"{column}_{end}"]
            row[f"{name}_{end}"] = None if values.null_count() or not days.height else values.mean()
    return row | {"days": days.height, "outcome": _outcome(row, days.height)}


def _outcome(row: dict[str, object], days: int) -> str:
    if days < LEAST_DAYS:
        return "too few days"
    energy, water = _side(row, "kwh"), _side(row, "turnovers")
    if energy is None:
        return "cannot tell"
    said = [*(["filters less"] if water == -1 else []), *(["uses more"] if energy == 1 else [])]
    if said:
        return " and ".join(said)
    return "uses less" if energy == -1 else "cannot tell" if water is None else "as expected"


def _side(row: dict[str, object], name: str) -> int | None:
    """-1 below what was expected, 1 above, 0 where the ranges meet; None where either is not known."""

    def ends(kind: str) -> tuple[float, float] | None:
        low, mid, high = (row[f"{kind}_{name}_{end}"] for end in _ENDS)
        return None if mid is None else (mid if low is None else low, mid if high is None else high)

    expected, realised = ends("expected"), ends("realised")
    if expected is None or realised is None:
        return None
    return 1 if realised[0] > expected[1] else -1 if realised[1] < expected[0] else 0
