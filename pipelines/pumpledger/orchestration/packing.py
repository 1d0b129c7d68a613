"""From a fleet folder to the evidence of a claim, and from a packet back to a fleet folder.

Belongs here: which exports and configuration a claim rests on, and reading them anew in the order in which they arrived. How
a claim is computed stands in `claiming.py`.
"""

from __future__ import annotations

import json
import shutil
from datetime import timedelta
from itertools import pairwise
from pathlib import Path

import polars as pl

from pumpledger.accounting.loading import WEEKS_BACK
from pumpledger.claims.configuration import configuration
from pumpledger.claims.data import ClaimData
from pumpledger.claims.packet import CONFIGURATION, EXPORTS, ORDER, Evidence, write_packet
from pumpledger.claims.packets_kept import keep_packet
from pumpledger.engine.tables import SPANS
from pumpledger.orchestration.run import run_review
from pumpledger.orchestration.session import Session
from pumpledger.problems import FleetError, Problem
from pumpledger.profile.calendar import iso_week, week_days


def pack(session: Session, claim: ClaimData, folder: Path, redacted: bool = False) -> int:
    """Write the packet of ``claim`` to ``folder/packet`` and, where asked, its redacted variant to ``folder/redacted``; give
    the packet's number among those of the claim.

    Raises:
        FleetError: an export that the claim rests on is no longer in the inbox.
    """
    found = evidence(session, claim)
    made = folder / ".packet.made"
    digest = write_packet(made, claim, found)
    raw = round(claim.totals.raw.mid, 3) if claim.totals.raw else None
    number = keep_packet(folder, made, digest, claim.verdict, raw)
    if redacted:
        write_packet(folder / "redacted", claim, found, redacted=True)
    return number


def evidence(session: Session, claim: ClaimData) -> Evidence:
    """What ``claim`` rests on: the exports of the site's sources, from as far back as its reviews look, and the
    configuration."""
    pumps = set(claim.pumps["pump_id"])
    entries = session.ledger.of_weeks(set(_weeks_behind(claim)))
    sources = {
        str(entry.export["source"]) for entry in entries if any(str(item["pump_id"]) in pumps for item in entry.extents)
    }
    files: dict[str, Path] = {}
    logged: set[str] = set()
    for entry in entries:
        if entry.export["source"] in sources and entry.status in ("read", "repeated"):
            name = entry.file.split("/", 1)[0]  # a member of an archive lies in it
            files.setdefault(name, session.workspace.inbox / name)
            logged |= {str(item["pump_id"]) for item in entry.extents}
    gone = [name for name, path in files.items() if not path.is_file()]
    if gone:
        sentence = (
            f"is no longer in the inbox; a packet holds every export as received. Put it back, with {len(gone)} in all"
        )
        raise FleetError(Problem("export_gone", sentence, file=f"inbox/{gone[0]}"))
    site_of = dict(session.register.pump.select("pump_id", "site_id").iter_rows())
    near = {pump: site_of[pump] for pump in sorted(logged | pumps) if pump in site_of}
    programme = claim.programme.file if claim.programme else None
    site = str(claim.site["site_id"])
    folder = session.workspace.folder
    spans = session.read_weeks(SPANS, list(claim.weeks)) if claim.weeks else SPANS.empty()
    return Evidence(
        exports=files,
        configuration=configuration(folder, site, near, sources, programme, claim.claim_id),
        redacted_configuration=configuration(folder, site, near, sources, programme, claim.claim_id, redacted=True),
        intervals=spans.filter(
            pl.col("pump_id").is_in(pumps), pl.col("day_local").is_between(claim.first_day, claim.last_day)
        ),
        built_weeks=tuple(week for week in claim.weeks if week not in claim.missing_weeks),
    )


def rebuild(data: Path, folder: Path) -> Session:
    """Make a fleet folder from a packet's ``data`` and have it reviewed; the exports are read in the order in which they
    once arrived, because of two that differ the later stands. Its runs are not logged: the folder is thrown away.

    Raises:
        FleetError: the fleet cannot run, or the packet's order of arrival names a file that it does not hold.
    """
    shutil.copytree(data / CONFIGURATION, folder, dirs_exist_ok=True)
    (folder / "inbox").mkdir()
    names, built_weeks = _order(data)
    for batch in _batches(names):
        for name in batch:
            shutil.copyfile(data / EXPORTS / name, folder / "inbox" / name)
        session = Session(folder)
        with session.workspace.lock(), session.reading():
            session.take_inbox()
        session.close()
    run_review(folder, log_runs=False)
    session = Session(folder)
    for week in built_weeks:
        if not session.report(week).exists():  # it was made because of other sites' readings, or by name
            run_review(folder, week, log_runs=False)
    return Session(folder)


def _order(data: Path) -> tuple[list[str], list[str]]:
    held = sorted(path.relative_to(data / EXPORTS).as_posix() for path in (data / EXPORTS).rglob("*") if path.is_file())
    try:
        order = json.loads((data / ORDER).read_bytes())
        names, weeks = ([str(name) for name in order[key]] for key in ("arrived", "built_weeks"))
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise FleetError(Problem("order_of_arrival", f"cannot be read ({error})", file=f"data/{ORDER}")) from None
    if sorted(names) != held or any("/" in name for name in names):
        raise FleetError(Problem("order_of_arrival", "does not name the exports of the packet", file=f"data/{ORDER}"))
    return names, weeks


def _batches(names: list[str]) -> list[list[str]]:
    """``names`` cut where the order of names is not that of arrival: a batch is taken in the order of names."""
    cuts = [0, *(at for at, (one, other) in enumerate(pairwise(names), 1) if one > other), len(names)]
    return [names[first:stop] for first, stop in pairwise(cuts) if stop > first]


def _weeks_behind(claim: ClaimData) -> list[str]:
    """The weeks that the claim's days lie in, those that their reviews look back to, and the one after."""
    first, last = (week_days(iso_week(day))[0] for day in (claim.first_day, claim.last_day))
    monday = first - timedelta(weeks=WEEKS_BACK + 2)
    return [iso_week(monday + timedelta(weeks=step)) for step in range((last - monday).days // 7 + 2)]
