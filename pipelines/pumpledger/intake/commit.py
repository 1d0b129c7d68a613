"""Moves a staged export into the lake: repeats of what is held already are taken out first.

Belongs here: the step from staging to lake. The export counts once its ledger entry is committed; a stop before that
leaves files that the next run sweeps away.
"""

from __future__ import annotations

import shutil
from pathlib import Path

import polars as pl

from pumpledger.engine.database import Database
from pumpledger.engine.lake import write_parquet
from pumpledger.engine.tables import REFUSED
from pumpledger.intake.ledger import Entry, Ledger
from pumpledger.intake.rules import REASONS
from pumpledger.intake.stage import Staged, as_quarantined, write_refused
from pumpledger.workspace import settle


def commit(db: Database, ledger: Ledger, staged: Staged, set_aside: str | None, zones: dict[str, str]) -> Entry:
    """Move the files of ``staged`` and return its ledger entry, not yet committed; ``set_aside`` says why none of its
    rows may count."""
    refused, fates, extents = staged.refused, dict(staged.fates), staged.extents
    if set_aside:
        refused = pl.concat([refused, as_quarantined(staged, set_aside)])
        fates["quarantine"] += fates["readings"]
        fates["readings"] = 0
        extents = extents.clear()
    else:
        for week in extents["week"].unique().sort():
            again = _held_already(db, ledger, staged, week, extents.filter(pl.col("week") == week))
            if again is not None:
                refused = pl.concat([refused, again])
                extents = _less(extents, week, again)
                for fate in ("duplicates", "quarantine"):
                    moved = again.filter(pl.col("fate") == fate).height
                    fates[fate] += moved
                    fates["readings"] -= moved
        for week in extents["week"].unique().sort():
            settle(staged.readings(week), ledger.lake.readings_folder(week) / f"{staged.export.export_id}.parquet")
    write_refused(ledger.refused_path(staged.export.export_id), refused)
    entry = Entry(
        export=_row(ledger, staged, set_aside, fates, extents),
        dialect_digest=staged.dialect.digest,
        pump_zones={pump: zones.get(pump) for pump in staged.pumps_seen},
        extents=extents.to_dicts(),
        warnings=[f"{problem.name}: {problem.sentence}" for problem in staged.problems],
        profile={name: value for name, value in staged.profile.items() if not name.endswith("_utc")},
    )
    shutil.rmtree(staged.folder)
    return entry


def _held_already(
    db: Database, ledger: Ledger, staged: Staged, week: str, extents: pl.DataFrame
) -> pl.DataFrame | None:
    """Rows of ``week`` whose pump and instant the lake holds from another export, as refused rows; they leave the
    staged file."""
    held = ledger.extents_of(week, extents)
    files = [ledger.lake.readings_folder(week) / f"{export_id}.parquet" for export_id in held]
    if not files:
        return None
    path = staged.readings(week)
    db.view_parquet("staged_reading", [path])
    db.view_parquet("held_reading", files)
    verdict = db.query("intake/new_rows").filter(pl.col("fate") != "readings")
    if verdict.is_empty():
        return None
    rows = pl.read_parquet(path, glob=False)
    kept = rows.join(verdict.select("line"), on="line", how="anti", maintain_order="left")
    write_parquet(Path(path), kept)
    rules = pl.col("fate").replace_strict({"duplicates": "same_row_again", "quarantine": "conflicting_repeat"})
    raw = dict(staged.raw_lines(set(verdict["line"])))
    return REFUSED.conform(
        verdict.with_columns(
            pl.lit(staged.export.export_id).alias("export_id"),
            pl.lit(staged.export.path.name).alias("file"),
            rules.alias("rule"),
            rules.replace_strict(REASONS).alias("reason"),
            pl.Series("raw", [raw[line] for line in verdict["line"]], dtype=pl.String),
        )
    )


def _less(extents: pl.DataFrame, week: str, again: pl.DataFrame) -> pl.DataFrame:
    """``extents`` without the rows that turned out to be held already; a pump all of whose rows are held keeps 0."""
    gone = again.group_by("pump_id").agg(pl.len().alias("gone")).with_columns(pl.lit(week).alias("week"))
    joined = extents.join(gone, on=["week", "pump_id"], how="left", maintain_order="left")
    return joined.with_columns(pl.col("rows") - pl.col("gone").fill_null(0)).drop("gone")


def _row(
    ledger: Ledger, staged: Staged, set_aside: str | None, fates: dict[str, int], extents: pl.DataFrame
) -> dict[str, object]:
    export, dialect = staged.export, staged.dialect
    held = extents.filter(pl.col("rows") > 0)
    return {
        "sequence": ledger.next_sequence(),
        "export_id": export.export_id,
        "sha256": export.sha256,
        "file": export.path.name,
        "bytes": export.size,
        "source": staged.source,
        "dialect": dialect.name,
        "status": "set aside" if set_aside else "read",
        "problem": set_aside or "",
        "data_rows": staged.data_rows,
        **fates,
        "other_lines": staged.other_lines,
        "pumps": held["pump_id"].n_unique(),
        "hold_s": dialect.hold_s,
        "gap_limit_s": dialect.gap_limit_s,
        "first_utc": held["first_utc"].min(),
        "last_utc": held["last_utc"].max(),
    }
