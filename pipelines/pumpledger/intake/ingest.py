"""Takes every export of the inbox that is new: stage, judge, commit.

Belongs here: the order, the outcome, conservation. Exports are staged two at a time and committed one by one in the
order of their names, so that the same inbox always gives the same ledger.
"""

from __future__ import annotations

import threading
from collections.abc import Iterable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from pathlib import Path

import polars as pl

from pumpledger.engine.database import Database
from pumpledger.engine.expectations import Check, run_suite
from pumpledger.engine.tables import EXPORTS
from pumpledger.intake.commit import commit
from pumpledger.intake.declarations import Declarations
from pumpledger.intake.inbox import Arrivals, Work, look
from pumpledger.intake.ledger import READ_AGAIN, Entry, Ledger
from pumpledger.intake.ledger_tables import exports
from pumpledger.intake.progress import Progress
from pumpledger.intake.rules import FATES
from pumpledger.intake.stage import Staged, stage
from pumpledger.intake.unreadable import Unreadable
from pumpledger.problems import ConservationError, Problem

_WORKERS = 2
_MEMORY = "600MB"
"""What one worker's DuckDB may hold before it spills, so that both, with Python beside them, stay under 2 GB."""


@dataclass(slots=True)
class Intake:
    """What one run did. ``exports`` is the whole ledger; files that cannot be read stand in it with their problem."""

    exports: pl.DataFrame
    taken: list[str] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    checks: list[Check] = field(default_factory=list)

    def sums(self) -> dict[str, int]:
        """Rows of all exports by fate; the first number is the sum of the others."""
        return {name: int(self.exports[name].sum()) for name in ("data_rows", *FATES)}


def begin(files: Iterable[Path], ledger: Ledger, declared: Declarations, progress: Progress | None = None) -> Staging:
    """Clear what a stopped run left, look at ``files``, and begin to read those that are new."""
    ledger.sweep()
    return Staging(look(list(files), ledger, declared, progress), declared, ledger.lake.root / "staging", progress)


def ingest(staging: Staging, ledger: Ledger, declared: Declarations) -> Intake:
    """Bring the lake's readings up to date with what ``staging`` reads.

    Raises:
        ConservationError: a row was lost or counted twice; nothing of that export counts.
    """
    arrivals, staged = staging.arrivals, staging.finish()
    checks, aside = judge(staged)
    for entry in arrivals.outdated:
        _set_back(ledger, entry, arrivals)
    sequences = {item.export.export_id: item.sequence for item in arrivals.work}
    with Database(threads=_WORKERS, memory_limit=_MEMORY, spill=staging.folder / "spill") as db:
        for item in staged:
            zones = declared.pumps[item.source].zones(item.dialect.pump_codes)
            sequence = sequences[item.export.export_id]
            with db.step():
                entry = commit(db, ledger, item, aside.get(item.export.name), zones, sequence)
            ledger.commit(_conserved(entry))
    taken = [item.export.name for item in staged] + _take_repeated(ledger, arrivals)
    if arrivals.seen:
        arrivals.seen.keep()
    ledger.keep_copy()
    return intake_of(ledger, declared, arrivals, sorted(taken), checks)


def intake_of(
    ledger: Ledger, declared: Declarations, arrivals: Arrivals, taken: list[str], checks: list[Check]
) -> Intake:
    """The outcome of a run from the ledger as it now stands, with the files that could not be read."""
    problems = [problem for _, problem in arrivals.unread]
    for entry in ledger.entries:
        problems += [
            Problem(name, sentence, "warns", entry.file)
            for name, sentence in (text.split(": ", 1) for text in entry.warnings)
        ]
        if entry.status == "set aside":
            problems.append(Problem("export_set_aside", str(entry.export["problem"]), file=entry.file))
        if entry.status == READ_AGAIN and entry.file not in taken:
            problems.append(Problem("export_gone", str(entry.export["problem"]), file=entry.file))
    problems += _unknown_pumps(ledger, declared)
    table = _with_unread(exports(ledger), arrivals.unread)
    return Intake(table, taken, sorted(problems, key=lambda p: (p.file or "", p.line or 0, p.name)), checks)


def judge(staged: list[Staged]) -> tuple[list[Check], dict[str, str]]:
    """Run the suite over the profiles of the new files: all checks, and the files that a critical one sets aside, with
    why."""
    if not staged:
        return [], {}
    profiles = pl.DataFrame([item.profile for item in staged], infer_schema_length=None)
    checks = run_suite("file_profile", profiles, "file")
    aside: dict[str, str] = {}
    for check in checks:
        if check.critical and not check.success:
            for name in check.failing:
                aside.setdefault(name, f"set aside: not true that {check.meaning}")
    return checks, aside


class Staging:
    """Exports being read, two at a time, on threads of their own: it may begin while other work goes on.

    DuckDB works without the interpreter, so that imports that take seconds can go on beside it.
    """

    def __init__(
        self, arrivals: Arrivals, declared: Declarations, folder: Path, progress: Progress | None = None
    ) -> None:
        self.arrivals = arrivals
        self.folder = folder
        self._declared = declared
        self._progress = progress or Progress()
        self._local = threading.local()
        self._opened: list[Database] = []
        self._pool = ThreadPoolExecutor(_WORKERS)
        self._outcomes = [self._pool.submit(self._stage, item) for item in arrivals.work]

    def finish(self) -> list[Staged]:
        """Wait for all; a file that turned out unreadable joins the unread ones."""
        staged = []
        try:
            for item, outcome in zip(self.arrivals.work, self._outcomes, strict=True):
                try:
                    staged.append(outcome.result())
                except Unreadable as error:
                    self.arrivals.unread.append((item.export.path, error.problem))
        finally:
            self._close()
        return staged

    def stop(self) -> None:
        """Give up what is being read, and wait until nothing is written any more."""
        for db in list(self._opened):
            db.connection.interrupt()
        self._close()

    def _close(self) -> None:
        self._pool.shutdown(cancel_futures=True)
        for db in self._opened:
            db.close()

    def _stage(self, item: Work) -> Staged:
        if not hasattr(self._local, "db"):
            self._local.db = Database(threads=1, memory_limit=_MEMORY, spill=self.folder / "spill")
            self._opened.append(self._local.db)
        pumps = self._declared.pumps[item.source]
        return stage(self._local.db, item.export, item.dialect, item.source, pumps, self.folder, self._progress)


def _set_back(ledger: Ledger, entry: Entry, arrivals: Arrivals) -> None:
    """Let an outdated entry count no longer before it is read again; one that comes under another name is forgotten."""
    to_read = {item.export.export_id: item.export.name for item in arrivals.work}
    if entry.status == "repeated" or to_read.get(entry.export_id) != entry.file:
        ledger.forget(entry)
        return
    gone = "is to be read again, and its file is no longer in the inbox; put it back"
    ledger.put_out(entry, READ_AGAIN, gone, dict.fromkeys(("data_rows", *FATES), 0))


def _take_repeated(ledger: Ledger, arrivals: Arrivals) -> list[str]:
    taken = []
    for item, original in arrivals.repeated:
        twin = ledger.original(item.export.export_id)
        if twin is None:  # the original could not be read, so nothing is held that this file could repeat
            problem = next(problem for _, problem in arrivals.unread if problem.file == original)
            arrivals.unread.append((item.export.path, replace(problem, file=item.export.name)))
            continue
        ledger.commit(_conserved(_repeated(item, twin, ledger.next_sequence())))
        taken.append(item.export.name)
    return taken


def _repeated(item: Work, twin: Entry, sequence: int) -> Entry:
    export, dialect = item.export, item.dialect
    row = dict.fromkeys(EXPORTS.columns, None) | {
        "sequence": sequence,
        "export_id": export.export_id,
        "sha256": export.arrived_sha256,
        "file": export.name,
        "bytes": export.size,
        "source": item.source,
        "dialect": dialect.name,
        "status": "repeated",
        "problem": f"holds the same content as {twin.file}",
        "data_rows": twin.export["data_rows"],
        **dict.fromkeys(FATES, 0),
        "duplicates": twin.export["data_rows"],
        "other_lines": twin.export["other_lines"],
        "pumps": 0,
        "hold_s": dialect.hold_s,
        "gap_limit_s": dialect.gap_limit_s,
    }
    return Entry(row, export.sha256, dialect.digest, {})


def _with_unread(table: pl.DataFrame, unread: list[tuple[Path, Problem]]) -> pl.DataFrame:
    last = int(table["sequence"].max() or 0)
    rows = [
        dict.fromkeys(EXPORTS.columns, None)
        | {
            "sequence": last + number,
            "export_id": "",
            "sha256": "",
            "file": problem.file or path.name,
            "bytes": path.stat().st_size if path.exists() else 0,
            "source": "",
            "dialect": "",
            "status": "set aside",
            "problem": problem.sentence,
            "data_rows": 0,
            **dict.fromkeys(FATES, 0),
            "other_lines": 0,
            "pumps": 0,
        }
        for number, (path, problem) in enumerate(unread, start=1)
    ]
    return pl.concat([table, EXPORTS.conform(pl.DataFrame(rows, schema=EXPORTS.schema))]) if rows else table


def _unknown_pumps(ledger: Ledger, declared: Declarations) -> list[Problem]:
    problems = []
    for entry in ledger.entries:
        pumps = declared.pumps.get(str(entry.export["source"]))
        zones = pumps.zones("site") if pumps else {}
        # A pump that left the register since, with its export gone from the inbox, has readings and no refused rows.
        unknown = sorted(pump for pump, zone in entry.pump_zones.items() if zone is None and pump not in zones)
        if unknown and entry.status == "read":
            refused = pl.read_parquet(
                ledger.refused_path(entry.export_id), glob=False, columns=["line", "rule"]
            ).filter(pl.col("rule") == "pump_not_in_register")
            first = refused["line"].min()
            problems.append(
                Problem(
                    "pump_not_in_register",
                    f"names {', '.join(unknown[:5])}{' and more' if len(unknown) > 5 else ''}, not in pumps.csv or of "
                    "a site set aside; the rows wait in quarantine until the register has the pump",
                    file=entry.file,
                    line=first,
                )
            )
    return problems


def _conserved(entry: Entry) -> Entry:
    """``entry``, if its rows add up."""
    total = sum(int(entry.export[fate]) for fate in FATES)
    if total != entry.export["data_rows"]:
        raise ConservationError(
            f"{entry.file}: {entry.export['data_rows']} data rows, but {total} accounted for: {entry.export}"
        )
    return entry
