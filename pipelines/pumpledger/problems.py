"""What can be wrong with a fleet folder, as data: one sentence, where it stands, what to do.

Belongs here: the Problem record and the exceptions the command line turns into messages. Rules about pumps do not.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import PurePath
from typing import Literal

Severity = Literal["disqualifies", "warns"]


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong, in words a service manager can act on.

    ``name`` is a stable snake_case key; ``sentence`` says what is wrong and what to do; ``file``, ``line`` (1-based,
    the header is line 1) and ``column`` say where; ``site_id`` names the site that is set aside, if one is.
    """

    name: str
    sentence: str
    severity: Severity = "disqualifies"
    file: str | None = None
    line: int | None = None
    column: str | None = None
    site_id: str | None = None
    evidence: dict[str, object] = field(default_factory=dict)

    def where(self) -> str:
        """``sites.csv line 4, column zone`` or as much of it as is known."""
        parts = [str(PurePath(self.file)) if self.file else "", f"line {self.line}" if self.line else ""]
        place = " ".join(part for part in parts if part)
        return f"{place}, column {self.column}" if self.column else place

    def __str__(self) -> str:
        place = self.where()
        return f"{place}: {self.sentence}" if place else self.sentence


def printable(text: str) -> str:
    """``text`` for a terminal: control characters and lone bytes of names and rows are spelt out, as ``\\x1b``."""
    return "".join(mark if mark.isprintable() else mark.encode("unicode_escape").decode() for mark in text)


class FleetError(Exception):
    """The fleet cannot run at all; the command line prints every problem and exits with 2."""

    def __init__(self, problems: list[Problem] | Problem) -> None:
        self.problems = [problems] if isinstance(problems, Problem) else list(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))


class CurveError(ValueError):
    """A pump or system curve that no pump can have, such as one that rises."""


class ConservationError(AssertionError):
    """Rows of an export that ended in none, or in two, of readings, duplicates, quarantine and rejects: a fault of the
    tool."""
