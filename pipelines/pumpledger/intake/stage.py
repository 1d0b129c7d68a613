"""One export, from bytes to judged rows in a staging folder. Nothing in the lake changes yet.

Belongs here: the order parse -> place in time -> judge -> write. Repeats across exports are told when the export is
committed.
"""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

import polars as pl

from pumpledger.engine.database import Database
from pumpledger.engine.lake import write_parquet
from pumpledger.engine.tables import REFUSED
from pumpledger.intake.clean import clean_rows, read_clean
from pumpledger.intake.clock_notes import clock_problems, note_problems
from pumpledger.intake.dialect import Dialect
from pumpledger.intake.files import ExportFile, header_columns
from pumpledger.intake.judging import Judged, judge, notes_of_clean
from pumpledger.intake.known_pumps import KnownPumps
from pumpledger.intake.lines import header_line
from pumpledger.intake.parse import Parsed, parse_text
from pumpledger.intake.parse_espi import espi_raw, parse_espi
from pumpledger.intake.parse_parquet import parquet_rows, parse_parquet
from pumpledger.intake.progress import Progress
from pumpledger.intake.rows import raw_lines
from pumpledger.intake.rules import FATES, LIMITS, reason
from pumpledger.intake.tallied import extents, file_profile, pumps_seen
from pumpledger.problems import ConservationError, Problem


@dataclass(slots=True)
class Staged:
    """An export whose rows are judged. ``extents`` has one row per week and pump: week, pump_id, rows, first_utc,
    last_utc."""

    export: ExportFile
    dialect: Dialect
    source: str
    folder: Path
    data_rows: int
    other_lines: int
    fates: dict[str, int]
    profile: dict[str, object]
    extents: pl.DataFrame
    refused: pl.DataFrame
    pumps_seen: list[str] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)

    def readings(self, week: str) -> Path:
        return self.folder / f"{week}.parquet"

    def raw_rows(self, wanted: set[int]) -> Iterator[tuple[int, str]]:
        """(line, text) of rows of the export."""
        return _raw_rows(self.export, self.dialect, wanted, self.folder)


def stage(
    db: Database,
    export: ExportFile,
    dialect: Dialect,
    source: str,
    pumps: KnownPumps,
    staging: Path,
    progress: Progress | None = None,
) -> Staged:
    """Parse, place and judge ``export``; write its readings by local ISO week under ``staging``.

    Raises:
        Unreadable: the file is set aside whole.
        ConservationError: a reading lies in no week.
    """
    folder = staging / export.export_id
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    with db.step():
        return _stage(db, export, dialect, source, pumps, folder, progress or Progress())


def _stage(
    db: Database,
    export: ExportFile,
    dialect: Dialect,
    source: str,
    pumps: KnownPumps,
    folder: Path,
    progress: Progress,
) -> Staged:
    words = {
        "word": [*dialect.aux_on, *dialect.aux_off],
        "aux_on": [*(True for _ in dialect.aux_on), *(False for _ in dialect.aux_off)],
    }
    db.load("known_word", pl.DataFrame(words, schema={"word": pl.String, "aux_on": pl.Boolean}))
    rules = {"export_id": export.export_id, **LIMITS}
    columns = header_columns(export, dialect, header_line(export, dialect)) if dialect.carrier == "text" else []
    whole = folder / "clean"
    tally = read_clean(db, export, dialect, columns, pumps, rules, whole)
    if tally is not None:
        rows = clean_rows(export, dialect)
        parsed = Parsed(rows, export.lines - rows)
        counts = {"run_total", "energy_total"} & dialect.columns.keys()
        notes = notes_of_clean(db, dialect, folder, rows) if counts else None
        judged, refused = Judged(tally, {}, notes), REFUSED.empty()
        progress.advance(export.size)
    else:
        parsed = _parse(db, export, dialect, columns, folder, progress)
        judged = judge(db, dialect, pumps, rules, folder, parsed.data_rows)
        refused = _refused(db, export, dialect, folder)
    staged = _counted(judged.tally, export, dialect, source, parsed, refused, folder)
    staged.pumps_seen += judged.sites_seen
    staged.problems += clock_problems(judged.clock_counts, export.name)
    if judged.notes is not None:
        staged.problems += note_problems(judged.notes, export.name)
    _write_weeks(db, staged, whole)
    for path in (*folder.glob("typed-*.parquet"), *folder.glob("judged-*.parquet")):
        path.unlink()
    return staged


def _parse(
    db: Database, export: ExportFile, dialect: Dialect, columns: list[str], folder: Path, progress: Progress
) -> Parsed:
    """Make ``typed_row`` by the way of the export's carrier."""
    if dialect.carrier == "text":
        return parse_text(db, export, dialect, columns, folder, progress)
    parsed = (
        parse_parquet(db, export, dialect, folder)
        if dialect.carrier == "parquet"
        else parse_espi(db, export, dialect, folder)
    )
    progress.advance(export.size)
    return parsed


def _counted(
    tally: pl.DataFrame,
    export: ExportFile,
    dialect: Dialect,
    source: str,
    parsed: Parsed,
    refused: pl.DataFrame,
    folder: Path,
) -> Staged:
    """What ``tally`` says of the judged rows."""
    reach = extents(tally)
    profile = {"file": export.name, **file_profile(tally)}
    if reach["rows"].sum() != profile["readings"]:
        raise ConservationError(f"{export.name}: {profile['readings']} readings, not all of them in a week")
    return Staged(
        export=export,
        dialect=dialect,
        source=source,
        folder=folder,
        data_rows=parsed.data_rows,
        other_lines=parsed.other_lines,
        fates={fate: int(profile[fate]) for fate in FATES},
        profile=profile,
        extents=reach,
        refused=refused,
        pumps_seen=pumps_seen(tally),
    )


def _write_weeks(db: Database, staged: Staged, whole: Path) -> None:
    """One file a week in the export's folder."""
    weeks = staged.extents["week"].unique().sort().to_list()
    if whole.exists() and len(weeks) == 1:
        whole.rename(staged.readings(weeks[0]))
        return
    for week in weeks:
        monday = date.fromisocalendar(int(week[:4]), int(week[-2:]), 1)
        db.write_parquet("intake/week_readings", staged.readings(week), {"monday": monday})
    whole.unlink(missing_ok=True)


def _raw_rows(export: ExportFile, dialect: Dialect, wanted: set[int], folder: Path) -> Iterator[tuple[int, str]]:
    if dialect.carrier == "parquet":
        return parquet_rows(export, wanted, folder)
    return espi_raw(export, wanted) if dialect.carrier == "espi" else raw_lines(export, dialect, wanted)


def _refused(db: Database, export: ExportFile, dialect: Dialect, folder: Path) -> pl.DataFrame:
    rows = db.query("intake/refused_rows")
    if rows.is_empty():
        return REFUSED.empty()
    unread = set(rows.filter(pl.col("raw").is_null())["line"])
    raw = dict(_raw_rows(export, dialect, unread, folder)) if unread else {}
    return REFUSED.conform(
        rows.with_columns(
            pl.lit(export.name).alias("file"),
            pl.Series(
                "raw",
                [text if text is not None else raw[line] for text, line in zip(rows["raw"], rows["line"], strict=True)],
                dtype=pl.String,
            ),
            pl.Series(
                "reason",
                [reason(rule, detail) for rule, detail in zip(rows["rule"], rows["reason"], strict=True)],
                dtype=pl.String,
            ),
        )
    )


def as_quarantined(staged: Staged, why: str) -> pl.DataFrame:
    """The staged readings as refused rows: what becomes of them when a critical expectation sets the file aside."""
    numbers = pl.concat(
        [
            pl.read_parquet(path, glob=False, columns=["line", "pump_id"])
            for path in sorted(staged.folder.glob("*.parquet"))
        ]
        or [pl.DataFrame(schema={"line": pl.Int64, "pump_id": pl.String})]
    )
    raw = dict(staged.raw_rows(set(numbers["line"])))
    return REFUSED.conform(
        numbers.with_columns(
            pl.lit(staged.export.export_id).alias("export_id"),
            pl.lit(staged.export.name).alias("file"),
            pl.lit("quarantine").alias("fate"),
            pl.lit("file_set_aside").alias("rule"),
            pl.lit(why).alias("reason"),
            pl.Series("raw", [raw[line] for line in numbers["line"]], dtype=pl.String),
        )
    )


def write_refused(path: Path, refused: pl.DataFrame) -> None:
    """Keep the refused rows of one export; nothing is written where there are none."""
    if not refused.is_empty():
        write_parquet(path, REFUSED.conform(refused))
