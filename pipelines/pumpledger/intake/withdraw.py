"""Takes an export out of the lake again, and puts it back: what counts after is what would count had it not come.

Belongs here: one person's decision about one export. The file in the inbox is not touched.
"""

from __future__ import annotations

from pathlib import Path

import polars as pl

from pumpledger.engine.tables import READINGS
from pumpledger.intake.declarations import Declarations
from pumpledger.intake.inbox import by_name, find
from pumpledger.intake.ledger import READ_AGAIN, Entry, Ledger
from pumpledger.intake.rules import FATES, REASONS
from pumpledger.intake.stage import write_refused
from pumpledger.problems import FleetError, Problem

_SHORTEST = 6
"""Digits of a SHA-256 that are taken for enough."""


def withdraw(ledger: Ledger, declared: Declarations, files: list[Path], sha: str) -> tuple[Entry, list[Entry]]:
    """Withdraw the export whose SHA-256, or name in the ledger, begins with ``sha``; return it and the exports whose
    rows gave way to it, which the next review reads again from ``files``, the inbox.

    Raises:
        FleetError: no export, or more than one, begins so; it does not count; or a file that must be read again is no
            longer in the inbox, so that its rows would be lost.
    """
    entry = find_entry(ledger, sha)
    if entry.status not in ("read", "set aside", READ_AGAIN):
        raise FleetError(
            Problem("export_not_counting", f"is {entry.status}; there is nothing to take out", file=entry.file)
        )
    leaning = ledger.leaning_on({entry.export_id})
    named = by_name(files)
    missing = [other.file for other in leaning if find(named, other, declared) is None]
    if missing:
        raise FleetError(
            Problem(
                "export_needed",
                f"holds rows that {', '.join(missing)} repeated, which is no longer in the inbox; put it back first",
                file=entry.file,
            )
        )
    for other in leaning:
        gone = f"repeated rows of {entry.file}, which was withdrawn, and is to be read again; put it back in the inbox"
        ledger.put_out(other, READ_AGAIN, gone, dict.fromkeys(("data_rows", *FATES), 0))
    refused = _as_refused(ledger, entry)
    fates = {fate: int(entry.export[fate]) for fate in FATES}
    fates["quarantine"] += fates["readings"]
    fates["readings"] = 0
    write_refused(ledger.withdrawn_path(entry.export_id), refused)
    ledger.put_out(entry, "withdrawn", "withdrawn by hand; its readings do not count", fates)
    ledger.settle_withdrawn()
    ledger.keep_copy()
    return entry, leaning


def restore(ledger: Ledger, sha: str) -> Entry:
    """Let a withdrawn export be read again by the next review.

    Raises:
        FleetError: no withdrawn export begins so.
    """
    entry = find_entry(ledger, sha)
    if entry.status != "withdrawn":
        raise FleetError(Problem("export_not_withdrawn", f"is {entry.status}, not withdrawn", file=entry.file))
    gone = "is to be read again, and its file is no longer in the inbox; put it back"
    ledger.put_out(entry, READ_AGAIN, gone, dict.fromkeys(("data_rows", *FATES), 0))
    ledger.keep_copy()
    return entry


def find_entry(ledger: Ledger, sha: str) -> Entry:
    """The one export whose SHA-256, as it arrived or unpacked, or whose name in the ledger begins with ``sha``.

    Raises:
        FleetError: none, or several.
    """
    wanted = sha.strip().lower()
    meant = {
        entry.export_id
        for entry in ledger.entries
        if any(name.startswith(wanted) for name in (str(entry.export["sha256"]), entry.content_sha256, entry.export_id))
    }
    found = [entry for entry in ledger.entries if entry.status != "repeated" and entry.export_id in meant]
    if len(wanted) < _SHORTEST:
        raise FleetError(Problem("sha_short", f"{sha!r} is too short; give at least {_SHORTEST} digits"))
    if len(found) != 1:
        held = ", ".join(f"{entry.export_id} {entry.file}" for entry in found[:10])
        what = f"fits {len(found)} exports: {held}" if found else "fits no export of the ledger"
        raise FleetError(Problem("sha_unknown", f"{sha!r} {what}; `exports.csv` beside the review lists them"))
    return found[0]


def _as_refused(ledger: Ledger, entry: Entry) -> pl.DataFrame:
    """All refused rows of ``entry``, its readings among them."""
    files = sorted(ledger.lake.root.glob(f"readings/week=*/{entry.export_id}.parquet"))
    frames = [pl.read_parquet(path, glob=False, columns=["line", "pump_id"]) for path in files]
    rows = pl.concat(frames) if frames else READINGS.empty().select("line", "pump_id")
    withdrawn = rows.with_columns(
        export_id=pl.lit(entry.export_id),
        file=pl.lit(entry.file),
        fate=pl.lit("quarantine"),
        rule=pl.lit("export_withdrawn"),
        reason=pl.lit(REASONS["export_withdrawn"]),
        raw=pl.lit(""),
    )
    path = ledger.refused_path(entry.export_id)
    before = [pl.read_parquet(path, glob=False).filter(pl.col("rule") != "export_withdrawn")] if path.exists() else []
    return pl.concat([*before, withdrawn], how="diagonal")
