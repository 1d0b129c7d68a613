"""Claims that depend on each other: what one line says may make another less sure, or ask it.

Belongs here: marks against the columns that are read, names against the header. Each line alone is found elsewhere.
"""

from __future__ import annotations

from dataclasses import replace

from pumpledger.proposal import marks
from pumpledger.proposal.claim import Claim
from pumpledger.proposal.judgement import weaker
from pumpledger.proposal.table import Table
from pumpledger.proposal.words import read_name


def spelled_out(claims: list[Claim], table: Table) -> list[Claim]:
    """Where a column is used that the header leaves without a name of its own, all names are spelled out and the header
    counts as preamble."""
    used = {str(claim.value) for claim in claims if claim.key.endswith("column")}
    used |= {claim.value.get("column") for claim in claims if isinstance(claim.value, dict)}
    if not used & set(table.renamed) or any(claim.key == "file.names" for claim in claims):
        return claims
    told = (
        f"the header leaves {', '.join(map(repr, table.renamed[:3]))} without a name of its own; it counts as preamble"
    )
    spelled = []
    for claim in claims:
        if claim.key == "file.preamble_lines":
            spelled.append(Claim("file.names", list(table.names), "likely", told))
            claim = Claim(claim.key, int(str(claim.value)) + 1, "likely", "with the header")
        spelled.append(claim)
    return spelled


def as_sure_as_the_header(claims: list[Claim]) -> list[Claim]:
    """Where the header may be another line, no column's name is sure."""
    header = next((claim for claim in claims if claim.key == "file.preamble_lines"), None)
    if header is None or header.sureness == "sure":
        return claims
    named = ("time.column", "time.date_column", "time.clock_column", "pump.column", "pump.header", "pump.columns")
    return [
        replace(claim, sureness=weaker(claim.sureness, "likely"))
        if claim.key in named or "quantity" in claim.key
        else claim
        for claim in claims
    ]


def measured_cells(table: Table, taken: list[int]) -> list[str]:
    """Cells whose marks count: of columns that their name calls a quantity, else of all numbers."""
    numeric = [at for at in table.numeric if at not in taken]
    named = [at for at in numeric if table.headed and read_name(table.names[at]).quantity]
    return [cell for at in named or numeric for cell in table.columns[at]]


def marks_of(table: Table, columns: list[int], claims: list[Claim]) -> list[Claim]:
    """The claims on the marks, sure only where the columns that are read show it: a version number is no decimal."""
    cells = [cell for at in columns if at in table.numeric for cell in table.columns[at]]
    own = {(claim.key, claim.value): claim for claim in marks.decide(cells)[1]} if cells else {}
    settled = []
    for claim in claims:
        same = own.get((claim.key, claim.value))
        settled.append(same if same else replace(claim, sureness=weaker(claim.sureness, "likely")))
    return settled


def declarable(claims: list[Claim], file_claims: list[Claim]) -> list[Claim]:
    """Marks that are the delimiter, too, and stand inside quotes: a dialect refuses them, so they are asked."""
    delimiter = next((claim.value for claim in file_claims if claim.key == "file.delimiter"), None)
    told = "it is the delimiter too, inside quotes, which no dialect can declare; export with another delimiter"
    return [
        Claim(claim.key, None, "cannot tell", f"{claim.evidence}; {told}") if claim.value == delimiter else claim
        for claim in claims
    ]
