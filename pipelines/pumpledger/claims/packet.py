"""A claim's packet: document, workbook, data, exports as received, configuration, and a manifest of it all.

Belongs here: which files there are and the order of writing. The packet is a bag of RFC 8493; it is whole or not there, and
the same claim gives the same bytes.
"""

from __future__ import annotations

import hashlib
import json
import shutil
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from importlib.metadata import version
from pathlib import Path

import polars as pl

from pumpledger.claims.bag import seal
from pumpledger.claims.clean_data import write_clean
from pumpledger.claims.data import ClaimData
from pumpledger.claims.figures import figures, figures_bytes
from pumpledger.claims.packet_pdf import pdf_bytes
from pumpledger.claims.packet_sections import document
from pumpledger.claims.packet_words import readme
from pumpledger.claims.redacted import redacted_claim
from pumpledger.claims.workbook import workbook_bytes
from pumpledger.workspace import replace_folder

EXPORTS, CONFIGURATION, ORDER, REQUEST = "exports", "configuration", "order_of_arrival.json", "request.json"
MADE = ("README.txt", "claim.pdf", "claim.xlsx", "claim.json", "clean")
"""Below data/: what is made from the claim, and can be made anew."""
_TOOLS = ("pumpledger", "duckdb", "polars", "pyarrow", "typst", "xlsxwriter", "tzdata")


@dataclass(frozen=True, slots=True)
class Evidence:
    """What a claim rests on.

    ``exports``: name in the inbox -> file, in order of arrival. ``configuration``: path within the fleet folder ->
    content; ``redacted_configuration`` the same without names. ``intervals``: `SPANS` of the site's pumps over the period.
    ``built_weeks``: ISO weeks of the period that have been reviewed.
    """

    exports: Mapping[str, Path]
    configuration: Mapping[str, bytes]
    redacted_configuration: Mapping[str, bytes]
    intervals: pl.DataFrame
    built_weeks: tuple[str, ...] = field(default=())


def write_packet(folder: Path, claim: ClaimData, evidence: Evidence, redacted: bool = False) -> str:
    """Write the packet to ``folder``, in the place of an older one; give the SHA-256 of its manifest."""
    claim = numbered(replace(claim, versions={**claim.versions, **tool_versions()}))
    if redacted:
        claim = redacted_claim(claim)
    work = folder.with_name(f".{folder.name}.new")
    shutil.rmtree(work, ignore_errors=True)
    data = work / "data"
    data.mkdir(parents=True)
    write_made(data, claim, evidence.intervals, redacted)
    _write_evidence(data, evidence, redacted)
    if not redacted:
        (data / REQUEST).write_bytes(_request(claim))
    digest = seal(work, _info(claim, redacted))
    replace_folder(work, folder)
    return digest


def write_made(data: Path, claim: ClaimData, intervals: pl.DataFrame, redacted: bool) -> None:
    """Write what is made from the claim alone into ``data``: `MADE`."""
    found = figures_bytes(figures(claim))
    printed = replace(claim, versions={**claim.versions, "claim.json (SHA-256)": hashlib.sha256(found).hexdigest()})
    (data / "README.txt").write_bytes(readme(claim, redacted).encode())
    (data / "claim.json").write_bytes(found)
    (data / "claim.pdf").write_bytes(pdf_bytes(document(printed, redacted), claim.last_day))
    (data / "claim.xlsx").write_bytes(workbook_bytes(claim))
    write_clean(data / "clean", claim, intervals)


def numbered(claim: ClaimData) -> ClaimData:
    """``claim`` with its exports numbered from 1: what else a fleet's inbox held is no matter of the claim."""
    exports = claim.exports.sort("sequence").with_columns(pl.int_range(1, pl.len() + 1).alias("sequence"))
    return replace(claim, exports=exports)


def _request(claim: ClaimData) -> bytes:
    """What was asked for, so that it can be asked again."""
    asked = {
        "site_id": claim.site["site_id"],
        "first_day": claim.first_day.isoformat(),
        "last_day": claim.last_day.isoformat(),
        "programme": claim.programme.key if claim.programme else "",
        "prepared_by": claim.private.get("prepared_by", ""),
        "reviewed_by": claim.private.get("reviewed_by", ""),
    }
    return (json.dumps(asked, indent=1, sort_keys=True) + "\n").encode()


def tool_versions() -> dict[str, str]:
    """What the packet was made with."""
    return {name: version(name) for name in _TOOLS}


def _write_evidence(data: Path, evidence: Evidence, redacted: bool) -> None:
    for path, content in (evidence.redacted_configuration if redacted else evidence.configuration).items():
        target = data / CONFIGURATION / path
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(content)
    if redacted:
        return
    (data / EXPORTS).mkdir()
    for name, path in evidence.exports.items():
        shutil.copyfile(path, data / EXPORTS / name)
    order = {"arrived": list(evidence.exports), "built_weeks": list(evidence.built_weeks)}
    (data / ORDER).write_bytes((json.dumps(order, indent=1) + "\n").encode())


def _info(claim: ClaimData, redacted: bool) -> dict[str, str]:
    return {
        "External-Identifier": claim.claim_id,
        "External-Description": f"Savings claim, site {claim.site['site_id']}, {claim.first_day} to {claim.last_day}, "
        + claim.verdict
        + (", redacted" if redacted else "")
        + (", made-up data" if claim.made_up else ""),
        "Bagging-Date": claim.last_day.isoformat(),
        "Internal-Sender-Description": "Bagging-Date is the last day of the period, so that the same claim gives the same "
        "bytes.",
        "Bag-Software-Agent": f"pumpledger {version('pumpledger')}",
    }
