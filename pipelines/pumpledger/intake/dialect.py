"""A dialect: the declared shape of an export, as the readers use it.

Belongs here: the declaration in memory and what follows from it. Reading it from a file and checking it is
`dialect_file.py`; which file goes by which dialect is `dialects.py`.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Literal

QUANTITIES = ("speed", "power", "energy_total", "run_total", "flow", "air_temperature")
"""What a row can measure, in the order of the readings table. Energy of an interval is held as its mean power."""


@dataclass(frozen=True, slots=True)
class Dialect:
    """A declared shape of export.

    ``columns`` maps a quantity to its column (for a wide file to ``""``: the columns are those of the pumps); a value
    in the export's unit times ``scale`` plus ``shift`` is in the readings' unit. ``time_columns`` are one column, or
    date and clock, read joined by one space. ``zone`` is ``utc``, ``offset`` (the stamp carries it), ``site`` (wall
    clock of the site), a fixed offset such as ``+02:00`` or an IANA zone. ``names`` are the columns of a file without
    header. ``pump_codes`` says whether the code of a row is a pump's or its site's.

    Exactly one of ``pump_column``, ``pump_file_name``, ``pump_fixed``, ``pump_header`` and ``pump_columns`` is set;
    the last two make the file wide: columns whose name fits ``pump_header`` (its one group is the code), or the columns
    that ``pump_columns`` maps to codes, each hold the one quantity for one pump.
    """

    name: str
    about: str
    carrier: Literal["text", "parquet", "espi"]
    time_columns: tuple[str, ...]
    time_format: str
    zone: str
    label: Literal["instant", "interval_beginning", "interval_ending", "change_of_state"]
    interval_s: int | None
    gap_limit_s: int
    columns: dict[str, str]
    scale: dict[str, float]
    shift: dict[str, float]
    digest: str
    encoding: str = "utf-8"
    delimiter: str = ","
    quote: str | None = '"'
    decimal: str = "."
    thousands: str | None = None
    names: tuple[str, ...] | None = None
    preamble_lines: int = 0
    footer: str | None = None
    pump_column: str | None = None
    pump_file_name: re.Pattern[str] | None = None
    pump_fixed: str | None = None
    pump_header: re.Pattern[str] | None = None
    pump_columns: dict[str, str] = field(default_factory=dict)
    pump_codes: Literal["pump", "site"] = "pump"
    aux_column: str | None = None
    aux_on: tuple[str, ...] = ()
    aux_off: tuple[str, ...] = ()

    @property
    def hold_s(self) -> int:
        """How long the last reading before a gap stands: one sample interval; nothing for a change of state."""
        return 0 if self.label == "change_of_state" else int(self.interval_s or 0)

    @property
    def header_lines(self) -> int:
        """Lines before the first data row."""
        return self.preamble_lines + (self.names is None)

    @property
    def wide(self) -> bool:
        """Whether a line holds one value for each of several pumps."""
        return self.pump_header is not None or bool(self.pump_columns)

    @property
    def epoch(self) -> bool:
        """Whether stamps are epoch seconds or milliseconds."""
        return self.time_format in ("epoch_s", "epoch_ms")

    @property
    def fixed_offset_s(self) -> int | None:
        """Seconds east of UTC where ``zone`` is a fixed offset."""
        found = re.fullmatch(r"([+-])(\d\d):(\d\d)", self.zone)
        if not found:
            return None
        return (1 if found[1] == "+" else -1) * (int(found[2]) * 3600 + int(found[3]) * 60)

    def pump_of(self, file: str) -> str | None:
        """The code that the file's name gives, or the fixed one; ``None`` where rows or columns give it."""
        if self.pump_fixed is not None:
            return self.pump_fixed
        found = self.pump_file_name.search(file) if self.pump_file_name else None
        return found[1] if found else None

    def pump_of_column(self, column: str) -> str | None:
        """The code that a column of a wide file stands for; ``None`` for other columns."""
        if column in self.pump_columns:
            return self.pump_columns[column]
        found = self.pump_header.fullmatch(column) if self.pump_header else None
        return found[1] if found else None

    def pump_codes_in(self, columns: Iterable[str]) -> dict[str, str]:
        """Column -> code of the pumps of a wide file; empty for any other."""
        return {column: code for column in columns if (code := self.pump_of_column(column)) is not None}

    @property
    def needed_columns(self) -> list[str]:
        """Columns that must be there."""
        named = [*self.time_columns, self.pump_column, *self.columns.values(), self.aux_column, *self.pump_columns]
        return [name for name in named if name]
