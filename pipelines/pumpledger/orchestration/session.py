"""What one run holds of a fleet: register, dialects, lake, ledger, and which weeks must be built again.

Belongs here: loading and staleness. What a step computes stands in `steps.py`.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date, datetime, timedelta
from functools import cache, cached_property
from pathlib import Path

import polars as pl

from pumpledger.accounting.loading import WEEKS_BACK
from pumpledger.claims.papers import FILE as PAPERS
from pumpledger.claims.past import FILE as CLAIM_LOG
from pumpledger.engine.database import Database, resource_folder
from pumpledger.engine.lake import Lake
from pumpledger.engine.tables import Table
from pumpledger.followup.log import FILE as ACTION_LOG
from pumpledger.followup.log import Event, read_events
from pumpledger.intake.declarations import Declarations, declarations
from pumpledger.intake.dialect import Dialect
from pumpledger.intake.dialects import load_dialects
from pumpledger.intake.inbox import look
from pumpledger.intake.ingest import Intake, Staging, begin, ingest, intake_of
from pumpledger.intake.ledger import Ledger, moment
from pumpledger.intake.progress import Progress
from pumpledger.intake.rules import FATES
from pumpledger.orchestration.thresholds import Thresholds, thresholds
from pumpledger.problems import Problem
from pumpledger.profile.calendar import iso_week, load_calendar, week_days
from pumpledger.register.load import Register, load_register
from pumpledger.verdicts.corrections import corrected, corrections, of_source, pump_changes
from pumpledger.verdicts.store import Decisions, read_decisions
from pumpledger.workspace import Workspace, write_whole

_NO_REGISTER = {ACTION_LOG, CLAIM_LOG, PAPERS}
"""What is said of actions and of claims moves no number of a review."""
_LEAST_HOURS = 24
"""A week with less between its first and last reading waits for more."""


class Session:
    """One fleet folder for the length of a run. Register and dialects are read once."""

    def __init__(self, folder: Path, progress: Progress | None = None) -> None:
        self.workspace = Workspace(folder)
        self._progress = progress
        self.lake = Lake(self.workspace.lake)
        self.intake: Intake | None = None
        self._staging: Staging | None = None
        self._databases: dict[tuple[date, ...], Database] = {}

    @cached_property
    def register(self) -> Register:
        return load_register(self.workspace.folder)

    @cached_property
    def dialect_problems(self) -> list[Problem]:
        return []

    @cached_property
    def dialects(self) -> dict[str, Dialect]:
        return load_dialects(self.workspace.folder, self.dialect_problems)

    @cached_property
    def declared(self) -> Declarations:
        """By what the exports are read."""
        found = corrections(self.decisions)
        dialects, changes = {}, {}
        for source in self.register.fleet.sources:
            mine = of_source(found, source.name)
            if mine and source.dialect in self.dialects:
                dialects[source.name] = corrected(self.dialects[source.dialect], mine)
                single = pump_changes(mine)
                if not single.is_empty():
                    changes[source.name] = single
        return declarations(self.register, self.dialects, dialects, changes)

    @cached_property
    def decisions(self) -> Decisions:
        """What people have decided about verdicts."""
        return read_decisions(self.workspace.folder)

    @cached_property
    def events(self) -> list[Event]:
        """What people have said about actions."""
        return read_events(self.workspace.folder)

    @cached_property
    def thresholds(self) -> Thresholds:
        """Of rules and modes, with what fleet.toml puts in place of the defaults."""
        return thresholds(self.register.fleet.rules)

    @cached_property
    def ledger(self) -> Ledger:
        """The ledger, read once a run."""
        return Ledger(self.lake)

    @contextmanager
    def reading(self) -> Iterator[None]:
        """What `look_at_inbox` began to read is stopped where an error keeps it from being taken."""
        try:
            yield
        finally:
            if self._staging is not None:
                self._staging.stop()
                self._staging = None

    def take_inbox(self) -> Intake:
        """Bring the readings up to date with the inbox."""
        staging = self._staging or begin(self.workspace.inbox_files(), self.ledger, self.declared, self._progress)
        self._staging = None
        self.intake = ingest(staging, self.ledger, self.declared)
        return self.intake

    def look_at_inbox(self) -> bool:
        """Whether the inbox holds anything new, which then begins to be read; `take_inbox` takes it from there.

        Where it holds nothing new, the intake is what the ledger says, and no run is needed.
        """
        staging = begin(self.workspace.inbox_files(), self.ledger, self.declared, self._progress)
        if staging.arrivals.nothing_new:
            self.intake = intake_of(self.ledger, self.declared, staging.arrivals, [], [])
            return False
        self._staging = staging
        return True

    @property
    def standing(self) -> Intake:
        """The intake of this run; where none was taken in it, what ledger and inbox say now, so that a review says the
        same whoever builds it."""
        if self.intake is None:
            arrivals = look(self.workspace.inbox_files(), self.ledger, self.declared)
            self.intake = intake_of(self.ledger, self.declared, arrivals, [], [])
        return self.intake

    @property
    def exports(self) -> pl.DataFrame:
        """The table ``exports``, with the files that could not be read."""
        return self.standing.exports

    def problems(self) -> list[Problem]:
        """Everything found wrong in register, dialects and exports."""
        standing = self.standing  # first, because it reads the dialects
        return [*self.register.problems, *self.dialect_problems, *standing.problems]

    @property
    def zones(self) -> list[str]:
        return sorted(self.register.site["zone"].unique())

    @contextmanager
    def database(self, days: list[date]) -> Iterator[Database]:
        """A database with the register, the calendar of ``days`` and the ledger's exports in it, and nothing of an
        earlier step.

        Register and calendar stay from step to step of a run, because the plans of a large fleet take a while to lay
        out.
        """
        if tuple(days) not in self._databases:
            db = Database()
            for name, frame in self.register.tables(days[-1].month).items():
                db.load(name, frame)
            load_calendar(db, self.zones, days)
            db.build("tariff_band", "accounting/tariff_band")
            self._databases[tuple(days)] = db
        db = self._databases[tuple(days)]
        with db.step():
            db.load("export", self.exports.filter(pl.col("export_id") != ""))
            yield db

    def close(self) -> None:
        """Give the memory of the run back."""
        for db in self._databases.values():
            db.close()
        self._databases.clear()

    def read_weeks(self, table: Table, weeks: list[str]) -> pl.DataFrame:
        """``table`` over several weeks."""
        return pl.concat([self.lake.read(table, week) for week in weeks])

    # --- weeks ---

    def ready_weeks(self) -> list[str]:
        """Weeks with at least a day between their first and last reading, in order."""
        reach: dict[str, tuple[datetime, datetime]] = {}
        for week in self.ledger.weeks:
            extents = [item for _, item in self.ledger.of_week(week) if item["rows"]]
            if extents:
                firsts, lasts = ([moment(item[name]) for item in extents] for name in ("first_utc", "last_utc"))
                reach[week] = min(firsts), max(lasts)
        return sorted(week for week, (first, last) in reach.items() if last - first >= timedelta(hours=_LEAST_HOURS))

    def report(self, week: str) -> Path:
        return self.workspace.reports / week / "index.html"

    def summary(self, week: str) -> Path:
        """The lines for the terminal, kept beside the page."""
        return self.report(week).with_name("summary.txt")

    def stale_weeks(self) -> list[str]:
        """Ready weeks whose review is missing or was built from other input."""
        built = self._built()
        return [
            week
            for week in self.ready_weeks()
            if not (self.report(week).exists() and self.summary(week).exists())
            or built.get(week) != self.fingerprint(week)
        ]

    def mark_built(self, week: str) -> None:
        """Remember what the review of ``week`` was built from."""
        write_whole(
            self._built_path,
            json.dumps(self._built() | {week: self.fingerprint(week)}, sort_keys=True, indent=1).encode(),
        )

    def fingerprint(self, week: str) -> str:
        """Digest of all that the review of ``week`` rests on: code, register, the readings from as far back as filter
        loading is followed to one week after."""
        monday = week_days(week)[0]
        near = [iso_week(monday + timedelta(weeks=step)) for step in range(-WEEKS_BACK, 2)]
        readings = [
            [entry.export_id, entry.sequence, entry.dialect_digest, entry.pump_zones, *map(entry.export.get, FATES)]
            for entry in self.ledger.of_weeks(set(near))
        ]
        newest = week == max(self.ready_weeks(), default=week)
        # What is said about actions is for the newest review; the others stay as they were when it was said.
        said = [*map(str, self.problems()), *map(repr, self.events)] if newest else []
        return hashlib.sha256(
            json.dumps([code_digest(), self._register_digest, near, readings, said]).encode()
        ).hexdigest()

    @property
    def _built_path(self) -> Path:
        return self.workspace.lake / "built.json"

    def _built(self) -> dict[str, str]:
        return json.loads(self._built_path.read_text(encoding="utf-8")) if self._built_path.exists() else {}

    @cached_property
    def _register_digest(self) -> str:
        folder = self.workspace.folder
        files = [
            folder / "fleet.toml",
            *sorted(path for path in folder.glob("*.csv") if path.name not in _NO_REGISTER),
            *sorted(folder.glob("tariffs/*.toml")),
            *sorted(folder.glob("tariffs/*.json")),
            *sorted(folder.glob("weather/*.csv")),
        ]
        digest = hashlib.sha256()
        for path in files:
            if path.exists():
                digest.update(path.name.encode() + path.read_bytes())
        return digest.hexdigest()


@cache
def code_digest() -> str:
    """SHA-256 of all code, queries, templates and expectations."""
    digest = hashlib.sha256()
    package = Path(__file__).resolve().parent.parent
    for root, patterns in (
        (package, ("*.py", "*.toml", "*.j2", "*.css", "*.js")),
        (resource_folder("sql"), ("*.sql",)),
        (resource_folder("expectations"), ("*.json",)),
    ):
        for pattern in patterns:
            for path in sorted(root.rglob(pattern)):
                digest.update(path.name.encode() + path.read_bytes())
    return digest.hexdigest()
