"""What a proposal says: one claim for each line of the dialect, with its evidence and how sure it is.

Belongs here: the records. How a claim is found is in the file of its subject; how it is printed is `render.py`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from pumpledger.problems import Problem

Sureness = Literal["sure", "likely", "cannot tell"]
Value = str | int | list[str] | dict[str, object]


@dataclass(frozen=True, slots=True)
class Claim:
    """One line of the dialect to be.

    ``key`` is its place, such as ``time.zone`` or ``quantity.power``. ``value`` is what goes there, ``None`` where it
    cannot be told at all; a quantity that is told in part holds what is known, and ``missing`` names the rest.
    ``evidence`` is what it rests on, or what a person has to find out.
    """

    key: str
    value: Value | None
    sureness: Sureness
    evidence: str
    missing: tuple[str, ...] = ()

    @property
    def asked(self) -> bool:
        """Whether a person has to fill something in."""
        return self.sureness == "cannot tell"


@dataclass(frozen=True, slots=True)
class Proposal:
    """All claims about the files ``names`` (of which ``read`` says how much was looked at), in the order of the
    dialect. ``notes`` are about columns that the dialect leaves out and the like."""

    names: list[str]
    inner: list[str]
    read: str
    about: str
    carrier: str
    claims: list[Claim]
    notes: list[str] = field(default_factory=list)

    def claim(self, key: str) -> Claim | None:
        """The claim on the line ``key``, if there is one."""
        return next((claim for claim in self.claims if claim.key == key), None)

    def value(self, key: str) -> Value | None:
        """The value proposed for ``key``; ``None`` where there is none or it is asked."""
        claim = self.claim(key)
        return None if claim is None or claim.asked else claim.value

    @property
    def asked(self) -> list[Claim]:
        """The claims that a person has to complete."""
        return [claim for claim in self.claims if claim.asked]


class NoProposal(Exception):
    """The files cannot be read as an export; ``problem`` says why and what to do."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        super().__init__(str(problem))


def refuse(sentence: str, file: str | None = None, line: int | None = None) -> NoProposal:
    """The exception for a file that ``sentence`` says all about."""
    return NoProposal(Problem("no_proposal", sentence, file=file, line=line))
