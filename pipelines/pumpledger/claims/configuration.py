"""The part of a fleet folder that a claim was computed with: register rows, tariffs, weather, dialects, decisions.

Belongs here: which files and rows go along. Rows of the claim's own site go whole. Of other sites whose pumps are logged by
the same sources the technical columns go along, because a doubt about a source is settled by all its pumps; what names
people or places is blanked in them.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from pathlib import Path

from pumpledger.claims.redacted import blanked

_NOT_NEEDED = {"action_log.csv"}
"""What people said of actions moves no number of a claim."""

Row = tuple[list[str], list[str]]


def configuration(
    fleet: Path,
    site_id: str,
    pumps: dict[str, str],
    sources: set[str],
    programme_file: str | None = None,
    claim_id: str | None = None,
    redacted: bool = False,
) -> dict[str, bytes]:
    """Path within the fleet folder -> content.

    Args:
        pumps: pump -> site, of every pump that the site's sources log.
        sources: names of these sources.
        claim_id: the claim itself, whose own lines in a log of claims tell it nothing, and would make a second packet of it
            another one.
        redacted: blank what names people or places of the site itself too, and leave other sites out.
    """
    near = {site_id} if redacted else {site_id, *pumps.values()}
    kept: dict[str, bytes] = {"fleet.toml": (fleet / "fleet.toml").read_bytes()}
    wanted: dict[str, set[str]] = {"tariff": set(), "weather": set()}

    def row(header: list[str], cells: list[str]) -> list[str] | None:
        held = dict(zip(header, (cell.strip() for cell in cells), strict=False))
        if claim_id and held.get("claim_id") == claim_id:
            return None
        site = held.get("site_id") or pumps.get(held.get("pump_id", ""))
        if site is not None and "source" not in held and site not in near:
            return None
        if site is None and ("site_id" in held or "pump_id" in held) and held.get("source") not in sources:
            return None
        for column, names in wanted.items():
            if held.get(column):
                names.add(held[column])
        return blanked(header, cells) if redacted or site != site_id else cells

    for path in sorted(fleet.glob("*.csv")):
        rows = _rows(path, row) if path.name not in _NOT_NEEDED else b""
        if rows.count(b"\n") > 1:  # a file without rows says no more than none
            kept[path.name] = rows
    for folder, column in (("tariffs", "tariff"), ("weather", "weather")):
        for path in sorted((fleet / folder).glob("*")):
            if path.is_file() and path.stem in wanted[column]:
                kept[f"{folder}/{path.name}"] = path.read_bytes()
    for path in sorted((fleet / "dialects").glob("*.toml")):
        kept[f"dialects/{path.name}"] = path.read_bytes()
    if programme_file and (fleet / "programmes" / Path(programme_file).name).is_file():
        name = Path(programme_file).name
        kept[f"programmes/{name}"] = (fleet / "programmes" / name).read_bytes()
    return kept


def _rows(path: Path, keep: Callable[[list[str], list[str]], list[str] | None]) -> bytes:
    reader = csv.reader(io.StringIO(path.read_text(encoding="utf-8-sig")))
    header = next(reader, [])
    names = [cell.strip() for cell in header]
    held = io.StringIO()
    writer = csv.writer(held, lineterminator="\n")
    writer.writerow(header)
    for cells in reader:
        made = keep(names, cells) if any(cell.strip() for cell in cells) else None
        if made is not None:
            writer.writerow(made)
    return held.getvalue().encode()
