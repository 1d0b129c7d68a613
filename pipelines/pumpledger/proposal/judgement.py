"""What is said of one column: its quantity, its unit and how sure, before columns are weighed against each other.

Belongs here: the record and how two kinds of evidence are joined.
"""

from __future__ import annotations

from dataclasses import dataclass

from pumpledger.proposal.claim import Sureness


@dataclass(frozen=True, slots=True)
class Judgement:
    """``quantity`` as the dialect calls it; ``unit`` is ``None`` where it is asked; ``missing`` names other fields to
    fill in."""

    quantity: str
    unit: str | None
    sureness: Sureness
    evidence: str
    missing: tuple[str, ...] = ()


_ORDER: tuple[Sureness, ...] = ("cannot tell", "likely", "sure")


def weaker(one: Sureness, other: Sureness) -> Sureness:
    """The less sure of two."""
    return min(one, other, key=_ORDER.index)


def strength(sureness: Sureness) -> int:
    """0 for cannot tell, 2 for sure."""
    return _ORDER.index(sureness)


def ask(quantity: str, evidence: str, missing: tuple[str, ...] = ("unit",)) -> Judgement:
    """A judgement that leaves the unit to a person."""
    return Judgement(quantity, None, "cannot tell", evidence, missing)


def by_name_and_values(quantity: str, named: str | None, told: str | None, evidence: str) -> Judgement:
    """Name and values together: both alike is sure, one alone is likely, two that differ are asked."""
    if named and told:
        if named == told:
            return Judgement(quantity, named, "sure", f"name and values agree: {evidence}")
        return ask(quantity, f"the name says {named}, the values {told}: {evidence}")
    if named:
        return Judgement(quantity, named, "likely", f"by the name alone: {evidence}")
    if told:
        return Judgement(quantity, told, "likely", f"by the values alone: {evidence}")
    return ask(quantity, evidence)
