"""Claims from the command line: the accounts of reviewed weeks, put together by site, listed, written.

Belongs here: the frame around `claims`: session, lock, folder, messages, and the log of what was claimed.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

import duckdb
import polars as pl

from pumpledger import __version__
from pumpledger.claims.assemble import Around, assemble
from pumpledger.claims.batch import batch_rows, portfolio_rows, sampling_plan
from pumpledger.claims.data import CLAIM_EXPORTS, ClaimData
from pumpledger.claims.papers import read_papers
from pumpledger.claims.past import Line, add_claims, read_claims
from pumpledger.claims.period import load_period
from pumpledger.claims.programme import find_programme
from pumpledger.claims.programme_data import Programme
from pumpledger.claims.said import batch_lines, claim_lines
from pumpledger.claims.tables_csv import write_claim_tables
from pumpledger.intake.ledger import moment
from pumpledger.orchestration.packing import pack
from pumpledger.orchestration.session import Session, code_digest
from pumpledger.problems import FleetError, Problem
from pumpledger.reports.csv_tables import csv_bytes
from pumpledger.workspace import Workspace, write_whole

MOST_DAYS = 1100
"""Three years: a longer period is a slip of the keys."""


@dataclass(frozen=True, slots=True)
class Asked:
    """What is asked for. ``sites`` empty: every site of the register; ``programme`` empty: the accounts alone."""

    first_day: date
    last_day: date
    sites: tuple[str, ...] = ()
    programme: str = ""
    prepared_by: str = ""
    reviewed_by: str = ""


@dataclass(frozen=True, slots=True)
class Claims:
    """The claims of one call, and what is wrong with papers."""

    programme: Programme | None
    found: tuple[ClaimData, ...]
    problems: tuple[Problem, ...]


def compute_claims(session: Session, asked: Asked) -> Claims:
    """Every claim asked for; writes nothing.

    Raises:
        FleetError: the period, a site or the programme cannot be used.
    """
    programme = find_programme(session.workspace.folder, asked.programme) if asked.programme else None
    sites = _sites(session, asked)
    problems: list[Problem] = []
    papers = read_papers(session.workspace.folder, problems)
    period = load_period(session.lake, session.register, sites, asked.first_day, asked.last_day, programme)
    around = Around(
        register=session.register,
        papers=papers,
        earlier=tuple(read_claims(session.workspace.folder)),
        exports=_exports(session, sites, set(period.weeks), asked),
        stale_weeks=tuple(_stale(session, period.weeks)),
        versions={"pumpledger": __version__, "code (SHA-256)": code_digest(), "duckdb": duckdb.__version__, "polars": pl.__version__},
        prepared_by=asked.prepared_by,
        reviewed_by=asked.reviewed_by,
    )  # fmt: skip
    found = tuple(assemble(period, site, programme, around) for site in sites)
    return Claims(programme, found, tuple(problems))


def _sites(session: Session, asked: Asked) -> list[str]:
    if not 0 <= (asked.last_day - asked.first_day).days < MOST_DAYS:
        sentence = f"the period runs from {asked.first_day} to {asked.last_day}; it has 1 to {MOST_DAYS} days, both ends counted"
        raise FleetError(Problem("claim_period", sentence, column="--from and --to"))
    known = session.register.site["site_id"].to_list()
    unknown = [site for site in asked.sites if site not in known]
    if unknown:
        why = {site: session.register.set_aside.get(site) for site in unknown}
        raise FleetError(
            [
                Problem("claim_site", f"site {site} is set aside: {reason}" if reason else f"there is no site {site}", file="sites.csv")
                for site, reason in why.items()
            ]
        )  # fmt: skip
    return sorted(set(asked.sites)) or known


def _stale(session: Session, weeks: Sequence[str]) -> Iterator[str]:
    """Weeks of the period whose reviews were built from other readings, register or rules than stand now."""
    stale = set(session.stale_weeks())
    yield from (week for week in weeks if week in stale)


def _exports(session: Session, sites: list[str], weeks: set[str], asked: Asked) -> dict[str, pl.DataFrame]:
    """`data.CLAIM_EXPORTS` by site: the files with a reading of the site's pumps in weeks of the period."""
    site_of = dict(session.register.pump.select("pump_id", "site_id").iter_rows())
    rows: dict[str, list[dict[str, object]]] = {site: [] for site in sites}
    for entry in session.ledger.of_weeks(weeks):
        if entry.status != "read":
            continue
        export = entry.export
        row = {name: export[name] for name in CLAIM_EXPORTS.columns if not name.endswith("_utc")}
        row |= {name: moment(export[name]) for name in ("first_utc", "last_utc")}
        for site in sorted({site_of.get(str(item["pump_id"]), "") for item in entry.extents if item["rows"]}):
            if site in rows:
                rows[site].append(row)
    return {site: CLAIM_EXPORTS.conform(pl.DataFrame(held, schema=CLAIM_EXPORTS.schema)) for site, held in rows.items()}


def claim_folder(session: Session, claim: ClaimData) -> Path:
    """``reports/claims/<claim_id>``: names of people and places stand in no file name."""
    return session.workspace.reports / "claims" / claim.claim_id


def line_of(claim: ClaimData) -> Line | None:
    """What ``claims.csv`` keeps of the claim; ``None`` where no programme is claimed from."""
    if claim.programme is None:
        return None
    raw = round(claim.totals.raw.mid, 3) if claim.totals.raw else None
    state = "ready" if claim.is_ready else "not ready"
    site = str(claim.site["site_id"])
    return Line(claim.claim_id, claim.programme.key, site, claim.first_day, claim.last_day, state, raw)


def keep(session: Session, claims: Sequence[ClaimData]) -> list[Line]:
    """Add the claims to ``claims.csv``; what stands there already is not added again. Hold the fleet's lock."""
    return add_claims(session.workspace.folder, [line for line in map(line_of, claims) if line is not None])


def withdraw_claim(folder: Path, name: str) -> Line:
    """Say in ``claims.csv`` that the claim is not sent, so that its days may be claimed.

    Raises:
        FleetError: there is no such claim.
    """
    line = next((line for line in read_claims(folder) if line.claim_id == name), None)
    if line is None:
        raise FleetError(Problem("claim_unknown", f"there is no claim {name!r}", file="claims.csv"))
    gone = replace(line, state="withdrawn")
    with Workspace(folder).lock():
        add_claims(folder, [gone])
    return gone


def make_claims(
    folder: Path, asked: Asked, redacted: bool = False, progress: Callable[[float], None] = lambda share: None
) -> Iterator[str]:
    """Compute the claims, write each with its packet to its own folder and several to a folder of the batch too, keep them
    in ``claims.csv``; give the lines to print.

    Args:
        redacted: write the variant without names and exports beside each packet.
        progress: told the share of the claims that is written.

    Raises:
        FleetError: the fleet, the period, a site or the programme cannot be used, or another run holds the fleet.
    """
    session = Session(folder)
    _ = session.register  # before the lock, which would be a file in a folder that is none
    with session.workspace.lock():
        made = compute_claims(session, asked)
        kept_back: list[Problem] = []
        numbers: list[int] = []
        for place, claim in enumerate(made.found, 1):
            write_claim_tables(claim_folder(session, claim), claim)
            try:
                numbers.append(pack(session, claim, claim_folder(session, claim), redacted))
            except FleetError as error:  # an export is gone: this claim has no packet, the others have
                kept_back += error.problems
            progress(place / len(made.found))
        several = len(made.found) > 1 or not asked.sites
        plan = sampling_plan(made.found, made.programme)
        sums = portfolio_rows(made.found)
        if several:
            frames = {"batch": batch_rows(made.found, plan), "portfolio": sums, "sampling": plan}
            batch = session.workspace.reports / "claims" / batch_id(made.found)
            for name, frame in frames.items():
                write_whole(batch / f"{name}.csv", csv_bytes(frame))
        added = keep(session, made.found)
    yield from (f"note: {problem}" for problem in (*made.problems, *dict.fromkeys(map(str, kept_back))))
    if several:
        yield from batch_lines(made.found, sums, plan)
        yield f"Written to {batch} and, a folder each, beside it."
    else:
        yield from claim_lines(made.found[0])
        yield f"Written to {claim_folder(session, made.found[0])}"
    again = sum(number > 1 for number in numbers)
    if again:
        yield f"Not the first packet of {again} of {len(numbers)}: those before it are kept under superseded/."
    if added:
        yield f"Kept in claims.csv: {len(added)} {'line' if len(added) == 1 else 'lines'}."


def batch_id(claims: Sequence[ClaimData]) -> str:
    """``b-`` and 10 hexadecimal digits: the same for the same claims."""
    return "b-" + hashlib.sha256(" ".join(claim.claim_id for claim in claims).encode()).hexdigest()[:10]
