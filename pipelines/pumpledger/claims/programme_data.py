"""What a programme file holds, once read.

Belongs here: names and types. Reading and checking a file stands in `programme.py`, its formulas in `formulas.py`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date


@dataclass(frozen=True, slots=True)
class Band:
    """Values of a table from ``least``, inclusive, to ``below``, exclusive; ``below`` None has no end."""

    least: float
    below: float | None
    values: dict[str, float]

    def holds(self, quantity: float) -> bool:
        return self.least <= quantity and (self.below is None or quantity < self.below)


@dataclass(frozen=True, slots=True)
class BandTable:
    """A table of a programme's document: a value by a quantity's band and, where it has columns, by a second one.

    ``by`` is a field of the register in ``unit``; ``column`` a second field, whose value as text is the column's name;
    empty where the table has one column, which is then called ``value``.
    """

    name: str
    by: str
    unit: str
    gives: str
    bands: tuple[Band, ...]
    column: str = ""
    source: str = ""


@dataclass(frozen=True, slots=True)
class Formula:
    """One formula of the programme by its name in `formulas.py`; a parameter is a number or the name of a table."""

    name: str
    claimed: bool
    parameters: dict[str, float | str] = field(default_factory=dict)
    source: str = ""


@dataclass(frozen=True, slots=True)
class PeakWindow:
    """Months 1-12, ISO weekdays 1-7, local wall clock in minutes since midnight; ``stop_min`` is exclusive."""

    months: tuple[int, ...]
    weekdays: tuple[int, ...]
    start_min: int
    stop_min: int
    holidays: bool = True


@dataclass(frozen=True, slots=True)
class Eligible:
    """What a field of the register must be for the programme: within bounds, exclusive where ``above`` or ``below``,
    equal to the text ``equals``, or one of the texts ``one_of``."""

    field: str
    unit: str = ""
    least: float | None = None
    most: float | None = None
    above: float | None = None
    below: float | None = None
    equals: str = ""
    one_of: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Programme:
    """A utility's programme as its file states it. No value comes from anywhere else.

    ``option``: metered, key parameter or deemed. ``caps``: name -> most that may be claimed. ``documents``: register
    fields that must be filled in, with what the reviewer wants to see. ``file_after``: installation or last day.
    """

    key: str
    name: str
    made_up: bool
    document: str
    edition: str
    section: str
    retrieved: date
    source: str
    option: str
    formulas: tuple[Formula, ...]
    tables: dict[str, BandTable]
    eligible: tuple[Eligible, ...]
    baseline_evidence: tuple[str, ...]
    baseline_rule: str
    least_day_coverage: float
    least_share_of_days: float
    least_days: int
    peak: PeakWindow | None
    documents: dict[str, str]
    measure_life_years: float | None
    caps: dict[str, float]
    units: str
    reviewer_not_preparer: bool
    install_from: date | None
    install_until: date | None
    file_within_days: int | None
    file_after: str
    sampling: dict[str, float]
    notes: tuple[str, ...]
    file: str
    sha256: str
