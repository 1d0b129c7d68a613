"""Takes every file of the inbox: hash, match, stage, judge, commit. What is known already is not read again.

Belongs here: the order, the outcome, conservation. Files are staged two at a time and committed one by one in the order
of their names, so that the same inbox always gives the same ledger.
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
from pumpledger.engine.lake import Lake
from pumpledger.engine.tables import EXPORTS
from pumpledger.intake.commit import commit
from pumpledger.intake.dialects import Dialect, match_source
from pumpledger.intake.files import ExportFile, Unreadable, examine
from pumpledger.intake.ledger import Entry, Ledger
from pumpledger.intake.stage import Staged, stage
from pumpledger.problems import ConservationError, Problem
from pumpledger.register.load import Register

FATES = ("readings", "duplicates", "quarantine", "rejects")
_WORKERS = 2


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


@dataclass(slots=True)
class Arrivals:
    """What lies in the inbox, against the ledger. ``work`` are files to read, ``repeated`` files whose bytes are held
    under another name."""

    work: list[tuple[ExportFile, Dialect, str]] = field(default_factory=list)
    repeated: list[tuple[ExportFile, Dialect, str, str]] = field(default_factory=list)
    outdated: list[Entry] = field(default_factory=list)
    hashed: dict[Path, str] = field(default_factory=dict)
    unread: list[tuple[Path, Problem]] = field(default_factory=list)

    @property
    def nothing_new(self) -> bool:
        return not (self.work or self.repeated)


def look(files: Iterable[Path], ledger: Ledger, register: Register, dialects: dict[str, Dialect]) -> Arrivals:
    """Compare ``files`` with the ledger; nothing is written.

    To read are new files, and known ones whose dialect, or whose pumps' place in the register, has changed since.
    """
    arrivals = Arrivals()
    zones = _zones(register)
    first_of: dict[str, str] = {}
    files = list(files)
    names = {path.name for path in files}
    for path in files:
        try:
            source, dialect = _declared(path, register, dialects)
            sha256 = ledger.unchanged_sha(path)
            if sha256 and _still_holds(ledger.known(path.name, sha256), dialect, zones):
                continue
            export = replace(examine(path), pump=dialect.pump_of(path.name))
        except Unreadable as error:
            arrivals.unread.append((path, error.problem))
            continue
        arrivals.hashed[path] = export.sha256
        entry = ledger.known(path.name, export.sha256)
        if _still_holds(entry, dialect, zones):
            continue
        original = first_of.get(export.export_id)
        twin = ledger.same_export(export.export_id)
        if original is None and twin and twin.file != path.name:
            if twin.file in names or _still_holds(twin, dialect, zones):
                original = twin.file
            else:  # renamed for another dialect, or kept under this name alone: read it in place of the old one
                arrivals.outdated.append(twin)
        if entry:
            arrivals.outdated.append(entry)
        if original:
            arrivals.repeated.append((export, dialect, source, original))
        else:
            first_of[export.export_id] = path.name
            arrivals.work.append((export, dialect, source))
    return arrivals


def begin(files: Iterable[Path], lake: Lake, register: Register, dialects: dict[str, Dialect]) -> Staging:
    """Clear what a stopped run left, look at ``files``, and begin to read those that are new."""
    ledger = Ledger(lake)
    ledger.sweep()
    return Staging(look(files, ledger, register, dialects), register, lake)


def ingest(staging: Staging, lake: Lake, register: Register) -> Intake:
    """Bring the lake's readings up to date with what ``staging`` reads.

    Raises:
        ConservationError: a row was lost or counted twice; nothing of that export counts.
    """
    ledger, arrivals, staged = Ledger(lake), staging.arrivals, staging.finish()
    checks, aside = _judge(staged)
    for entry in arrivals.outdated:
        ledger.forget(entry)
    with Database(threads=_WORKERS) as db:
        for item in staged:
            ledger.commit(_conserved(commit(db, ledger, item, aside.get(item.export.path.name), _zones(register))))
    taken = [item.export.path.name for item in staged]
    for export, dialect, source, original in arrivals.repeated:
        twin = ledger.same_export(export.export_id)
        if twin is None:  # the original could not be read, so nothing is held that this file could repeat
            problem = next(problem for path, problem in arrivals.unread if path.name == original)
            arrivals.unread.append((export.path, replace(problem, file=export.path.name)))
            continue
        ledger.commit(_conserved(_repeated(export, dialect, source, twin, ledger.next_sequence())))
        taken.append(export.path.name)
    if arrivals.hashed:
        ledger.remember_sizes(arrivals.hashed)
    return intake_of(ledger, register, arrivals, sorted(taken), checks)


def intake_of(ledger: Ledger, register: Register, arrivals: Arrivals, taken: list[str], checks: list[Check]) -> Intake:
    """The outcome of a run from the ledger as it now stands, with the files that could not be read."""
    problems = [problem for _, problem in arrivals.unread]
    for entry in ledger.entries:
        problems += [
            Problem(name, sentence, "warns", entry.file)
            for name, sentence in (text.split(": ", 1) for text in entry.warnings)
        ]
        if entry.export["status"] == "set aside":
            problems.append(Problem("export_set_aside", str(entry.export["problem"]), file=entry.file))
    problems += _unknown_pumps(ledger, _zones(register))
    exports = _with_unread(ledger.exports(), arrivals.unread)
    return Intake(exports, taken, sorted(problems, key=lambda p: (p.file or "", p.line or 0, p.name)), checks)


def _zones(register: Register) -> dict[str, str]:
    return dict(register.pump.join(register.site, on="site_id").select("pump_id", "zone").iter_rows())


def _declared(path: Path, register: Register, dialects: dict[str, Dialect]) -> tuple[str, Dialect]:
    source = match_source(register.fleet, path.name)
    if source is None:
        raise Unreadable(
            Problem(
                "dialect_undeclared",
                "no [[source]] in fleet.toml matches this file's name; add one with its files and dialect",
                file=path.name,
            )
        )
    if source.dialect not in dialects:
        known = ", ".join(sorted(dialects))
        raise Unreadable(
            Problem(
                "dialect_unknown",
                f"source {source.name!r} names the dialect {source.dialect!r}, which is not there or does not hold; "
                f"known: {known}",
                file=path.name,
            )
        )
    return source.name, dialects[source.dialect]


def _still_holds(entry: Entry | None, dialect: Dialect, zones: dict[str, str]) -> bool:
    return (
        entry is not None
        and entry.dialect_digest == dialect.digest
        and all(zones.get(pump) == zone for pump, zone in entry.pump_zones.items())
    )


def _repeated(export: ExportFile, dialect: Dialect, source: str, twin: Entry, sequence: int) -> Entry:
    row = dict.fromkeys(EXPORTS.columns, None) | {
        "sequence": sequence,
        "export_id": export.export_id,
        "sha256": export.sha256,
        "file": export.path.name,
        "bytes": export.size,
        "source": source,
        "dialect": dialect.name,
        "status": "repeated",
        "problem": f"holds the same bytes as {twin.file}",
        "data_rows": twin.export["data_rows"],
        **dict.fromkeys(FATES, 0),
        "duplicates": twin.export["data_rows"],
        "other_lines": twin.export["other_lines"],
        "pumps": 0,
        "hold_s": dialect.hold_s,
        "gap_limit_s": dialect.gap_limit_s,
    }
    return Entry(row, dialect.digest, {})


class Staging:
    """Exports being read, two at a time, on threads of their own: it may begin while other work goes on.

    DuckDB works without the interpreter, so that imports that take seconds can go on beside it.
    """

    def __init__(self, arrivals: Arrivals, register: Register, lake: Lake) -> None:
        self.arrivals = arrivals
        self._local = threading.local()
        self._opened: list[Database] = []
        self._pump_zone = register.pump.join(register.site, on="site_id").select("pump_id", "zone")
        self._folder = lake.root / "staging"
        self._pool = ThreadPoolExecutor(_WORKERS)
        self._outcomes = [self._pool.submit(self._stage, item) for item in arrivals.work]

    def finish(self) -> list[Staged]:
        """Wait for all; a file that turned out unreadable joins the unread ones."""
        staged = []
        with self._pool:
            for (export, _, _), outcome in zip(self.arrivals.work, self._outcomes, strict=True):
                try:
                    staged.append(outcome.result())
                except Unreadable as error:
                    self.arrivals.unread.append((export.path, error.problem))
        for db in self._opened:
            db.close()
        return staged

    def _stage(self, item: tuple[ExportFile, Dialect, str]) -> Staged:
        if not hasattr(self._local, "db"):
            self._local.db = Database(threads=1, spill=self._folder / "spill")
            self._opened.append(self._local.db)
        return stage(self._local.db, *item, self._pump_zone, self._folder)


def _judge(staged: list[Staged]) -> tuple[list[Check], dict[str, str]]:
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


def _with_unread(exports: pl.DataFrame, unread: list[tuple[Path, Problem]]) -> pl.DataFrame:
    last = int(exports["sequence"].max() or 0)
    rows = [
        dict.fromkeys(EXPORTS.columns, None)
        | {
            "sequence": last + number,
            "export_id": "",
            "sha256": "",
            "file": path.name,
            "bytes": path.stat().st_size,
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
    return pl.concat([exports, EXPORTS.conform(pl.DataFrame(rows, schema=EXPORTS.schema))]) if rows else exports


def _unknown_pumps(ledger: Ledger, zones: dict[str, str]) -> list[Problem]:
    problems = []
    for entry in ledger.entries:
        # A pump that left the register since, with its export gone from the inbox, has readings and no refused rows.
        unknown = sorted(pump for pump, zone in entry.pump_zones.items() if zone is None and pump not in zones)
        if unknown and entry.export["status"] == "read":
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
