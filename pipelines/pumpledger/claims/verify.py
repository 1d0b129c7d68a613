"""Is a packet whole, and do its figures follow from what it holds?

Belongs here: the order of the checks and what is said of each. How figures are worked out anew is handed over by whoever has
a pipeline: a function from the packet's folder to the claim.
"""

from __future__ import annotations

import json
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import polars as pl

from pumpledger.claims.bag import faults
from pumpledger.claims.data import ClaimData
from pumpledger.claims.figures import differences, figures
from pumpledger.claims.packet import MADE, ORDER, numbered, tool_versions, write_made
from pumpledger.problems import FleetError, printable

Recompute = Callable[[Path, dict[str, object]], tuple[ClaimData, pl.DataFrame]]
"""(the packet's data/ folder, its claim.json) -> the claim worked out anew, and its intervals."""


@dataclass(frozen=True, slots=True)
class Verified:
    """``differing`` names everything that is not as it should be, ``said`` what was checked and what could not be."""

    differing: tuple[str, ...]
    said: tuple[str, ...]

    @property
    def holds(self) -> bool:
        return not self.differing


def verify_packet(folder: Path, recompute: Recompute) -> Verified:
    """Hold the packet in ``folder`` against its manifests; where it is whole, against its own exports too."""
    found = [printable(fault) for fault in faults(folder)]
    if found:
        return Verified(tuple(found), ("Nothing was worked out anew, because the packet is not as it was packed.",))
    data = folder / "data"
    said = ["Every file is as its manifest says."]
    published, fault = _published(data / "claim.json")
    if published is None:
        return Verified((fault,), tuple(said))
    if not (data / ORDER).is_file():
        said.append("This is a redacted packet: it holds no exports, so no figure could be worked out anew.")
        return Verified((), tuple(said))
    try:
        claim, intervals = recompute(data, published)
    except FleetError as error:
        reasons = [printable(str(problem)) for problem in error.problems]
        return Verified((f"The figures cannot be worked out anew: {'; '.join(reasons)}",), tuple(said))
    claim = numbered(claim)
    found += differences(published, figures(claim))
    counted = sum(len(rows) for rows in published["tables"].values())  # type: ignore[union-attr]
    said.append(f"Worked out anew from the exports: totals and {counted:,} rows of tables, compared to the watt-hour.")
    documents, words = _documents(data, published, claim, intervals)
    return Verified((*found, *documents), (*said, *words))


def _published(path: Path) -> tuple[dict[str, object] | None, str]:
    try:
        held = json.loads(path.read_bytes())
    except (OSError, ValueError, RecursionError) as error:
        return None, f"data/claim.json cannot be read: {printable(str(error))}"
    fit = isinstance(held, dict) and all(isinstance(held.get(name), dict) for name in ("totals", "tables", "versions"))
    if not fit or not all(isinstance(rows, list) for rows in held["tables"].values()):
        return None, "data/claim.json is no claim of this tool."
    return held, ""


def _documents(
    data: Path, published: dict[str, object], claim: ClaimData, intervals: pl.DataFrame
) -> tuple[list[str], list[str]]:
    """Files that are not what the claim makes, and what is said of it."""
    held: dict[str, str] = published["versions"]  # type: ignore[assignment]
    other = [
        f"{name} {held.get(name)} then, {now} now" for name, now in tool_versions().items() if held.get(name) != now
    ]
    if other:
        return [], [f"The documents were not made anew, because the versions differ: {'; '.join(other)}."]
    with tempfile.TemporaryDirectory() as made:
        write_made(Path(made), replace(claim, versions=held), intervals, redacted=False)
        wanted = {path.relative_to(made).as_posix(): path.read_bytes() for path in _below(Path(made))}
    present = {path.relative_to(data).as_posix(): path for name in MADE for path in _below(data / name)}
    differing = [
        f"data/{name} is not what the exports give."
        for name in sorted(wanted.keys() | present.keys())
        if name not in present or name not in wanted or present[name].read_bytes() != wanted[name]
    ]
    return differing, [f"Made anew and compared byte by byte: {len(wanted)} documents and tables."]


def _below(path: Path) -> list[Path]:
    if path.is_file():
        return [path]
    return sorted(item for item in path.rglob("*") if item.is_file())
