"""A dry run: register, dialects and every new export as a review would take them, in a folder that is thrown away.

Belongs here: what is judged, and how it is told. Nothing is written into the fleet folder, not even the file of its
lock.
"""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import polars as pl

from pumpledger.engine.disk import DiskGuard
from pumpledger.engine.expectations import Check, warm_up
from pumpledger.engine.lake import Lake, parquet_batches
from pumpledger.engine.tables import REFUSED
from pumpledger.intake.progress import Progress
from pumpledger.intake.rules import FATES, REFUSALS
from pumpledger.orchestration.session import Session
from pumpledger.problems import FleetError, Problem
from pumpledger.reports.send_back import explained, write_send_back
from pumpledger.workspace import Workspace

SHOWN = 20
"""Refused rows shown of each file and rule."""

_WIDEST = 200
"""Raw text shown of a row [characters]; ``--csv`` gives more."""


@dataclass(slots=True)
class Checked:
    """What a review would find. ``files`` are the rows of ``exports`` that it would take or set aside now.

    ``refused`` has file, fate, rule, rows and remedy, one row each file and rule; ``shown`` the first `SHOWN` refused
    rows of each, as `send_back.explained` has them.
    """

    files: pl.DataFrame
    refused: pl.DataFrame
    shown: pl.DataFrame
    checks: list[Check]
    problems: list[Problem]
    written: int | None = None

    @property
    def set_aside(self) -> bool:
        """Whether a whole file or site would be set aside."""
        return any(problem.severity == "disqualifies" for problem in self.problems)


def run_check(folder: Path, csv: Path | None = None, progress: Progress | None = None) -> Checked:
    """Take the inbox of ``folder`` as a review would, into a temporary folder; ``csv`` gets every refused row.

    Raises:
        FleetError: the fleet cannot run at all, another run is at work in it, or the temporary disk is full.
    """
    session = Session(folder, progress)
    session.register, session.thresholds  # noqa: B018  # a fleet that cannot run is said before anything is read
    workspace = session.workspace
    workspace.inbox_files()
    aside = _outside(workspace)
    with DiskGuard(aside), tempfile.TemporaryDirectory(prefix="pumpledger-check-", dir=aside) as temporary:
        with workspace.untouched():
            warm_up()
            session.lake = Lake(Path(temporary) / "lake")
            _mirror(workspace.lake, session.lake.root)
            intake = session.take_inbox()
            problems = session.problems()
        files = intake.exports.filter(pl.col("file").is_in(intake.taken) | (pl.col("export_id") == ""))
        paths = [session.ledger.refused_path(export_id) for export_id in _read_now(files)]
        paths = [path for path in paths if path.exists()]
        checked = Checked(files, *_refused(paths), intake.checks, problems)
        if csv is not None:
            with DiskGuard(csv.parent):
                frames = (frame for path in paths for frame in parquet_batches(path))
                checked.written = write_send_back(csv, frames, FATES[1:])
    return checked


def _outside(workspace: Workspace) -> Path:
    """The folder for temporary files, which must not lie inside the fleet's.

    The variables are looked at first, because Python tries a folder by writing to it.
    """
    folder = workspace.folder.resolve()
    named = [Path(os.environ[name]).resolve() for name in ("TMPDIR", "TEMP", "TMP") if os.environ.get(name)]
    inside = [path for path in named if path.is_relative_to(folder)]
    try:
        aside = Path(tempfile.gettempdir()).resolve() if not inside else inside[0]
    except FileNotFoundError:
        fault = "there is no folder for temporary files that can be written; set TMPDIR to one with room in it"
        raise FleetError(Problem("temporary_missing", fault)) from None
    if aside.is_relative_to(folder):
        fault = f"the folder for temporary files, {aside}, lies inside the fleet folder; set TMPDIR to another"
        raise FleetError(Problem("temporary_inside", fault))
    return aside


def _mirror(lake: Path, target: Path) -> None:
    """Make ``target`` look like ``lake``: its tables as links, which are replaced and never written through, all else
    as copies."""
    for path in sorted(lake.rglob("*")):
        place = target / path.relative_to(lake)
        if path.is_dir() or path.relative_to(lake).parts[0] == "staging":
            continue
        place.parent.mkdir(parents=True, exist_ok=True)
        if path.suffix == ".parquet":
            place.symlink_to(path.resolve())
        else:
            shutil.copy2(path, place)


def _read_now(files: pl.DataFrame) -> list[str]:
    kept = files.filter((pl.col("export_id") != "") & (pl.col("status") != "repeated"))
    return kept["export_id"].to_list()


def _refused(paths: list[Path]) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Counts by file and rule, and the first rows of each."""
    counts, shown = [], [REFUSED.empty()]
    for path in paths:
        rows = pl.scan_parquet(path, glob=False)
        kinds = ("file", "fate", "rule")
        counts.append(rows.group_by(kinds).agg(pl.len().alias("rows").cast(pl.Int64)).sort(kinds).collect())
        shown.append(rows.group_by(kinds).head(SHOWN).collect().select(*REFUSED.columns))
    schema = {"file": pl.String, "fate": pl.String, "rule": pl.String, "rows": pl.Int64}
    remedies = {rule: text.remedy for rule, text in REFUSALS.items()}
    table = pl.concat([pl.DataFrame(schema=schema), *counts]).with_columns(
        pl.col("rule").replace_strict(remedies, default="").alias("remedy")
    )
    return table, explained(pl.concat(shown).sort("file", "rule", "line"))


def check_lines(checked: Checked, folder: Path) -> Iterator[str]:
    """What was found, for the terminal, problems apart."""
    taken = checked.files.filter(pl.col("export_id") != "")
    if checked.files.is_empty():
        yield "Nothing new: every file of the inbox is on the ledger."
    for row in checked.files.iter_rows(named=True):
        told = row["problem"] if row["problem"].startswith(row["status"]) else f"{row['status']}: {row['problem']}"
        fates = " + ".join(f"{row[fate]:,} {fate}" for fate in FATES)
        yield f"{row['file']}: {told.removesuffix(': ')}"
        yield f"    {row['data_rows']:,} rows = {fates}"
    for check in checked.checks:
        if not check.success:
            what = "would set aside" if check.critical else "not met by"
            yield f"Expectation, {what} {', '.join(check.failing[:5]) or check.observed}: {check.meaning}"
    for row in checked.refused.iter_rows(named=True):
        yield from _refused_lines(row, checked.shown)
    sums = {fate: int(taken[fate].sum()) for fate in FATES}
    yield f"Rows: {int(taken['data_rows'].sum()):,} = " + " + ".join(f"{sums[fate]:,} {fate}" for fate in FATES)
    yield f"Checked only: nothing was written to {folder}; `pumpledger review` takes the files."


def _refused_lines(row: dict[str, object], shown: pl.DataFrame) -> Iterator[str]:
    """One rule of one file: what is wrong, said once where it is the same for all rows, and the first rows."""
    lines = shown.filter((pl.col("file") == row["file"]) & (pl.col("rule") == row["rule"]))
    alike = lines["what_is_wrong"].n_unique() == 1
    said = f"{lines['what_is_wrong'][0]} " if alike else ""
    yield f"{row['file']}: {row['rows']:,} {row['fate']} by {row['rule']}. {said}To do: {row['remedy']}"
    for line in lines.iter_rows(named=True):
        raw = line["raw"] if len(line["raw"]) <= _WIDEST else f"{line['raw'][:_WIDEST]}..."
        yield (
            f"    line {line['line']}: {raw}" if alike else f"    line {line['line']}: {line['what_is_wrong']} | {raw}"
        )
    if row["rows"] > lines.height:
        yield f"    and {row['rows'] - lines.height:,} more"
