"""What names people or places, and what is left of a claim and of a register file without it.

Belongs here: which columns those are, and how they are blanked. Which rows of a register are kept belongs to
`configuration.py`.
"""

from __future__ import annotations

from dataclasses import replace

import polars as pl

from pumpledger.claims.data import ClaimData

NAMES = ("site_name", "site_address", "account_address", "account", "owner", "phone", "email", "note", "decided_by",
         "said_by", "prepared_by", "reviewed_by", "invoice", "baseline_source", "baseline_record")  # fmt: skip
"""Columns of the register that name a person or a place, or may, being free text."""

LEFT_OUT = "[left out]"
_FREE_TEXT = {"reason", "sentence", "fix", "source", "value", "expression", "name", "shared"}
"""Columns of a claim's tables into which words of the register may find their way."""
_LEAST = 3
"""Shorter words than this name nobody, and stand in too many others."""


def blanked(header: list[str], cells: list[str]) -> list[str]:
    """``cells`` of a row with what may name someone taken out; a name that must stand gives way to the site's code."""
    site = dict(zip(header, cells, strict=False)).get("site_id", "")
    named = zip(header, cells, strict=False)
    kept = [(site if column == "site_name" else "left-out" if column == "decided_by" else "") if column in NAMES else cell
            for column, cell in named]  # fmt: skip
    return kept + cells[len(header) :]


def redacted_claim(claim: ClaimData) -> ClaimData:
    """``claim`` without names, addresses, notes, and names of files: exports are often named after a site. Numbers stay."""
    columns = [column for column in claim.pumps.columns if column in NAMES]
    texts = {str(text) for column in columns for text in claim.pumps[column].drop_nulls()}
    texts |= {*claim.private.values(), claim.fleet_name}
    told = sorted((text for text in texts if len(text.strip()) >= _LEAST), key=lambda text: (-len(text), text))

    def scrub(text: str) -> str:
        for item in told:
            text = text.replace(item, LEFT_OUT)
        return text

    def scrubbed(frame: pl.DataFrame) -> pl.DataFrame:
        free = [name for name, kind in frame.schema.items() if kind == pl.String and name in _FREE_TEXT]
        return frame.with_columns(pl.col(name).map_elements(scrub, pl.String) for name in free)

    tables = ("ready", "exclusions", "stipulated", "uncertainty", "method", "days")
    return replace(
        claim,
        fleet_name=LEFT_OUT,
        private={},
        site={name: value for name, value in claim.site.items() if name not in NAMES},
        pumps=claim.pumps.drop(columns),
        option_reason=scrub(claim.option_reason),
        labels=tuple(map(scrub, claim.labels)),
        programme_results=tuple(replace(found, sentence=scrub(found.sentence)) for found in claim.programme_results),
        visits=claim.visits.with_columns(pl.lit(None, pl.String).alias("note")),
        exports=claim.exports.with_columns(pl.format("export {}", "sequence").alias("file"))
        if claim.exports.height
        else claim.exports,
        **{name: scrubbed(getattr(claim, name)) for name in tables},
    )
