"""Decimal mark and thousands mark of a file, from all its numbers together.

Belongs here: the decision. Single numbers are `cells.py`.
"""

from __future__ import annotations

from pumpledger.proposal.cells import Marks, MarkVotes, votes_of
from pumpledger.proposal.claim import Claim, Sureness
from pumpledger.proposal.judgement import weaker

_DECIMAL, _THOUSANDS = "file.decimal", "file.thousands"
_NUMBERS_SURE = 3
"""So many different numbers must show a mark before it is sure."""

_NAMES = {".": "a dot", ",": "a comma", " ": "a blank", "'": "an apostrophe"}


def decide(cells: list[str]) -> tuple[Marks, list[Claim]]:
    """The marks to read ``cells`` by, and the claims on them. Where the claim is asked, the marks are a makeshift."""
    votes = votes_of(cells)
    points, groups = set(votes.decimal), set(votes.thousands)
    if len(points) > 1:
        shown = " and ".join(votes.example["decimal", point] for point in sorted(points))
        return Marks(max(points, key=lambda point: (votes.decimal[point], point))), [
            Claim(_DECIMAL, None, "cannot tell", f"both marks stand before decimals, as in {shown}: one is a fault")
        ]
    if points & groups or len(groups) > 1:
        shown = ", ".join(votes.example["thousands", group] for group in sorted(groups))
        return Marks(min(points, default=".")), [
            Claim(_DECIMAL, None, "cannot tell", f"marks between digits contradict each other, as in {shown}")
        ]
    if points:
        return _with_decimal(points.pop(), votes)
    if groups & {",", "."}:
        group = groups.pop()
        point = "." if group == "," else ","
        seen = votes.example["thousands", group]
        sureness = _sureness(votes.thousands[group])
        return Marks(point, group), [
            Claim(_DECIMAL, point, sureness, f"{_NAMES[group]} stands between thousands, as in {seen}"),
            Claim(_THOUSANDS, group, sureness, f"as in {seen}"),
        ]
    if votes.either:
        return _either(votes, groups)
    told = [Claim(_DECIMAL, ".", "likely", "no number in the sample has decimals; other files may tell")]
    if groups:
        group = groups.pop()
        told.append(
            Claim(_THOUSANDS, group, _sureness(votes.thousands[group]), f"as in {votes.example['thousands', group]}")
        )
        return Marks(".", group), told
    return Marks("."), told


def _sureness(numbers: int) -> Sureness:
    return "sure" if numbers >= _NUMBERS_SURE else "likely"


def _with_decimal(point: str, votes: MarkVotes) -> tuple[Marks, list[Claim]]:
    seen = votes.example["decimal", point]
    sureness = _sureness(votes.decimal[point])
    claims = [Claim(_DECIMAL, point, sureness, f"{_NAMES[point]} stands before decimals, as in {seen}")]
    groups = {group: votes.example["thousands", group] for group in votes.thousands}
    groups |= {mark: votes.example["either", mark] for mark in votes.either if mark != point}
    if not groups:
        return Marks(point), claims
    if len(groups) > 1:
        shown = ", ".join(groups[group] for group in sorted(groups))
        return Marks(point), [*claims, Claim(_THOUSANDS, None, "cannot tell", f"more than one mark, as in {shown}")]
    ((group, example),) = groups.items()
    sureness = weaker(sureness, _sureness(votes.thousands[group] + votes.either[group]))
    claims.append(Claim(_THOUSANDS, group, sureness, f"{_NAMES[group]} stands between thousands, as in {example}"))
    return Marks(point, group), claims


def _either(votes: MarkVotes, groups: set[str]) -> tuple[Marks, list[Claim]]:
    marks = sorted(votes.either)
    if len(marks) == 2:
        shown = " and ".join(votes.example["either", mark] for mark in marks)
        return Marks("."), [
            Claim(
                _DECIMAL, None, "cannot tell", f"{shown}: one mark is decimal, the other between thousands; say which"
            )
        ]
    mark, seen = marks[0], votes.example["either", marks[0]]
    other = "," if mark == "." else "."
    if groups:  # a blank or an apostrophe between thousands leaves one use for this mark
        group = groups.pop()
        shown = votes.example["thousands", group]
        return Marks(mark, group), [
            Claim(_DECIMAL, mark, "likely", f"as in {seen}; thousands are marked otherwise, as in {shown}"),
            Claim(_THOUSANDS, group, _sureness(votes.thousands[group]), f"as in {shown}"),
        ]
    whole, part = seen.replace(mark, ""), seen.replace(mark, ".")
    told = f'{seen} is {whole} or {part}: write "{mark}" for {part}; for {whole} "{other}", and thousands = "{mark}"'
    return Marks(mark), [Claim(_DECIMAL, None, "cannot tell", told)]
