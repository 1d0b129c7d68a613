"""Holds a proposal against the truth of the export that it is about.

Belongs here: what counts as the same line: a format with and without ``-``, a pattern that finds the same codes.
"""

from __future__ import annotations

import re
from typing import Any

from pumpledger.proposal.claim import Claim, Proposal
from tests.proposal.export_writer import Export


def false_claims(proposal: Proposal, export: Export) -> tuple[list[Claim], list[Claim]]:
    """(claims that are sure of something false, claims that call something false likely)."""
    wrong = [claim for claim in proposal.claims if not claim.asked and not is_true(claim, export.truth)]
    return [claim for claim in wrong if claim.sureness == "sure"], [
        claim for claim in wrong if claim.sureness == "likely"
    ]


def is_true(claim: Claim, truth: dict[str, Any]) -> bool:
    """Whether the line says what ``truth`` has there."""
    if claim.key == "time.gap_limit_s":  # a choice, not a fact
        return True
    if claim.key not in truth:
        return False
    value, true = claim.value, truth[claim.key]
    if claim.key == "time.format":
        return str(value).replace("%-", "%") == true.replace("%-", "%")
    if claim.key == "pump.file_name":
        return all((found := re.search(str(value), name)) and found[1] == code for name, code in true.items())
    if claim.key == "pump.header":
        return all((found := re.fullmatch(str(value), name)) and found[1] == code for name, code in true.items())
    if claim.key == "file.footer":
        return str(true).startswith(str(value)) or str(value).startswith(str(true))
    if claim.key == "file.encoding" and {value, true} == {"latin-1", "windows-1252"}:
        return True
    return value == true
