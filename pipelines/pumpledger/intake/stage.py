"""One export, from bytes to judged rows in a staging folder. Nothing in the lake changes yet.

Belongs here: the order parse -> place in time -> judge -> write. Repeats across exports are told when the export is
committed.
"""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import polars as pl

from pumpledger.engine.database import Database
from pumpledger.engine.lake import write_parquet
from pumpledger.engine.tables import REFUSED
from pumpledger.intake.clean import read_clean
from pumpledger.intake.dialects import Dialect
from pumpledger.intake.files import ExportFile, header_columns
from pumpledger.intake.parse import data_lines, parse
from pumpledger.intake.place import place
from pumpledger.intake.rows import raw_lines
from pumpledger.intake.rules import LIMITS, reason
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

    def raw_lines(self, wanted: set[int]) -> Iterator[tuple[int, str]]:
        """(line, text) of physical lines of the export."""
        return raw_lines(self.export.path, self.dialect, wanted)


def stage(
    db: Database, export: ExportFile, dialect: Dialect, source: str, pump_zone: pl.DataFrame, staging: Path
) -> Staged:
    """Parse, place and judge ``export``; write its readings by local ISO week under ``staging``.

    ``pump_zone`` has pump_id and zone of the register's pumps.

    Raises:
        Unreadable: the file is set aside whole.
        ConservationError: a reading lies in no week.
    """
    columns = header_columns(export, dialect)
    folder = staging / export.export_id
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    with db.step():
        return _stage(db, export, dialect, source, columns, pump_zone, folder)


def _stage(
    db: Database,
    export: ExportFile,
    dialect: Dialect,
    source: str,
    columns: list[str],
    pump_zone: pl.DataFrame,
    folder: Path,
) -> Staged:
    words = {
        "word": [*dialect.aux_on, *dialect.aux_off],
        "aux_on": [*(True for _ in dialect.aux_on), *(False for _ in dialect.aux_off)],
    }
    db.load("known_word", pl.DataFrame(words, schema={"word": pl.String, "aux_on": pl.Boolean}))
    interval_s = dialect.interval_s if dialect.label.startswith("interval") else None
    rules = {"export_id": export.export_id, "interval_s": interval_s, **LIMITS}
    whole = folder / "clean"
    if read_clean(db, export, dialect, columns, dict(pump_zone.iter_rows()), rules, whole):
        data_rows = data_lines(export, dialect)
        other_lines, refused = export.lines - data_rows, REFUSED.empty()
    else:
        db.load("pump_zone", pump_zone)
        data_rows, other_lines = parse(db, export, dialect, columns)
        place(db, dialect)
        db.build("judged_row", "intake/judge", rules, {"ruled_row": "intake/rule"})
        db.build("tally", "intake/tally")
        refused = _refused(db, export, dialect)
    extents = db.query("intake/extents")
    profile = {"file": export.path.name, **db.query("intake/file_profile").row(0, named=True)}
    if extents["rows"].sum() != profile["readings"]:
        raise ConservationError(f"{export.path.name}: {profile['readings']} readings, not all of them in a week")
    pumps_seen = db.query("intake/pumps_seen")["pump_id"].to_list()
    weeks = extents["week"].unique().sort().to_list()
    if whole.exists() and len(weeks) == 1:
        whole.rename(folder / f"{weeks[0]}.parquet")
    else:
        for week in weeks:
            db.write_parquet("intake/week_readings", folder / f"{week}.parquet", {"week": week})
        whole.unlink(missing_ok=True)
    fates = {fate: int(profile[fate]) for fate in ("readings", "duplicates", "quarantine", "rejects")}
    staged = Staged(
        export, dialect, source, folder, data_rows, other_lines, fates, profile, extents, refused, pumps_seen
    )
    if profile["told_first"]:
        staged.problems.append(
            Problem(
                "repeated_hour",
                f"{profile['told_first']} rows lie in the hour that the clock repeats, and their order does not tell "
                "which pass; they are taken as the first. Export in UTC or with the offset",
                "warns",
                export.path.name,
            )
        )
    return staged


def _refused(db: Database, export: ExportFile, dialect: Dialect) -> pl.DataFrame:
    rows = db.query("intake/refused_rows")
    if rows.is_empty():
        return REFUSED.empty()
    unread = set(rows.filter(pl.col("raw").is_null())["line"])
    raw = dict(raw_lines(export.path, dialect, unread))
    return REFUSED.conform(
        rows.with_columns(
            pl.lit(export.path.name).alias("file"),
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
    raw = dict(staged.raw_lines(set(numbers["line"])))
    return REFUSED.conform(
        numbers.with_columns(
            pl.lit(staged.export.export_id).alias("export_id"),
            pl.lit(staged.export.path.name).alias("file"),
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
