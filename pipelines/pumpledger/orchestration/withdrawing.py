"""Withdrawing an export from the command line: the fleet's lock, its ledger, and what was done in words.

Belongs here: the frame around `intake.withdraw`.
"""

from __future__ import annotations

from pathlib import Path

from pumpledger.engine.disk import DiskGuard
from pumpledger.intake.withdraw import restore, withdraw
from pumpledger.orchestration.session import Session


def withdraw_export(folder: Path, sha: str) -> list[str]:
    """Withdraw an export; say what was done.

    Raises:
        FleetError: the fleet cannot run, is at work, or the export cannot be withdrawn.
    """
    session = Session(folder)
    session.register  # noqa: B018  # a fleet that cannot run is said first
    with DiskGuard(folder), session.workspace.lock():
        session.ledger.sweep()
        rows = {entry.export_id: int(entry.export["readings"]) for entry in session.ledger.entries}
        entry, leaning = withdraw(session.ledger, session.declared, session.workspace.inbox_files(), sha)
    lines = [f"Withdrawn: {entry.file} ({entry.export_id}); {rows[entry.export_id]:,} readings no longer count."]
    lines += [f"{other.file} repeated rows of it and is read again by the next review." for other in leaning]
    return [*lines, "The next review rebuilds the weeks that it touched. `--restore` takes this back."]


def restore_export(folder: Path, sha: str) -> list[str]:
    """Let a withdrawn export count again; say what was done.

    Raises:
        FleetError: the fleet cannot run, is at work, or no such export is withdrawn.
    """
    session = Session(folder)
    session.register  # noqa: B018
    with DiskGuard(folder), session.workspace.lock():
        session.ledger.sweep()
        entry = restore(session.ledger, sha)
    return [f"{entry.file} ({entry.export_id}) is read again by the next review."]
