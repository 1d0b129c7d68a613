"""A review from the command line: the assets of the UI, materialised in this process against the fleet folder's own
Dagster home.

Belongs here: which assets for which weeks, and the outcome as data. Printing belongs to `cli.py`.
"""

from __future__ import annotations

import os
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

import polars as pl

from pumpledger.engine.disk import DiskGuard
from pumpledger.engine.expectations import warm_up
from pumpledger.intake.clock import future_note
from pumpledger.intake.progress import Progress
from pumpledger.orchestration.session import Session
from pumpledger.problems import Problem
from pumpledger.workspace import Workspace, write_whole

_SETTINGS = b"""# Written by pumpledger. Nothing leaves this machine, and one run at a time works on the fleet.
telemetry:
  enabled: false
nux:
  enabled: false
concurrency:
  runs:
    max_concurrent_runs: 1
"""


@dataclass(slots=True)
class Outcome:
    """What a run did. ``week`` is the newest review; ``built`` the weeks made now; empty when nothing was new."""

    week: str | None
    page: Path | None
    summary: list[str]
    sums: dict[str, int]
    taken: list[str] = field(default_factory=list)
    built: list[str] = field(default_factory=list)
    waiting: list[str] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)

    @property
    def set_aside(self) -> bool:
        """Whether a whole file or site was set aside."""
        return any(problem.severity == "disqualifies" for problem in self.problems)


def prepare_home(workspace: Workspace) -> None:
    """Point Dagster at the fleet folder's own home, with telemetry off."""
    home = workspace.dagster_home.resolve()
    home.mkdir(parents=True, exist_ok=True)
    if not (home / "dagster.yaml").exists():
        write_whole(home / "dagster.yaml", _SETTINGS)
    os.environ["DAGSTER_HOME"] = str(home)
    os.environ["DAGSTER_DISABLE_TELEMETRY"] = "yes"


def run_review(
    folder: Path, week: str | None = None, progress: Progress | None = None, log_runs: bool = True
) -> Outcome:
    """Take the inbox and build every review that is out of date; with ``week`` that one alone. Nothing new: nothing is
    run. ``log_runs``: the runs are kept for the UI; without it, as for a folder that is thrown away, they are not.

    Raises:
        FleetError: the fleet cannot run at all, or its disk is full.
    """
    session = Session(folder, progress)
    session.register, session.thresholds  # noqa: B018  # all faults of the register before anything is written
    with DiskGuard(folder), session.workspace.lock(), session.reading():
        new = session.look_at_inbox()
        built = [week] if week else [] if new else session.stale_weeks()
        if new or built:
            warm_up()
            prepare_home(session.workspace)
            built = _materialise(session, new, week, log_runs)
        return _outcome(session, built, week)


def _materialise(session: Session, new: bool, week: str | None, log_runs: bool) -> list[str]:
    """Run the assets; return the weeks built."""
    import dagster as dg

    from pumpledger.orchestration.assets import WEEK_ASSETS, WEEKS, exports
    from pumpledger.orchestration.resource import Fleet

    quiet = {"loggers": {"console": {"config": {"log_level": "CRITICAL"}}}}  # the run's log is kept by the instance
    resources = {"fleet": Fleet(session)}
    with dg.DagsterInstance.get() if log_runs else dg.DagsterInstance.ephemeral() as instance:
        if new:
            dg.materialize([exports], instance=instance, resources=resources, run_config=quiet)
        stale = [week] if week else session.stale_weeks()
        instance.add_dynamic_partitions(WEEKS.name, stale)
        for name in stale:
            session.close()  # the calendar of another week is of no use to this one
            dg.materialize(
                [exports, *WEEK_ASSETS],
                selection=dg.AssetSelection.assets(*WEEK_ASSETS),
                instance=instance,
                resources=resources,
                run_config=quiet,
                partition_key=name,
            )
    return stale


def _outcome(session: Session, built: list[str], week: str | None) -> Outcome:
    ready = session.ready_weeks()
    shown = week or (ready[-1] if ready else None)
    return Outcome(
        week=shown,
        page=session.report(shown) if shown else None,
        summary=session.summary(shown).read_text(encoding="utf-8").splitlines() if shown else [],
        sums=session.intake.sums(),
        taken=session.intake.taken,
        built=built,
        waiting=[name for name in session.lake.reading_weeks() if name not in ready and name not in built],
        problems=[*session.problems(), *_future_notes(session)],
    )


def _future_notes(session: Session) -> list[Problem]:
    """Exports just taken whose stamps lie after now: said here alone, because no page may depend on the clock."""
    now = datetime.now(UTC).replace(tzinfo=None)
    taken = session.exports.filter(pl.col("file").is_in(session.intake.taken), pl.col("last_utc").is_not_null())
    found = ((file, future_note(last_utc, now)) for file, last_utc in taken.select("file", "last_utc").iter_rows())
    return [Problem("stamps_in_future", note, "warns", file) for file, note in found if note]
