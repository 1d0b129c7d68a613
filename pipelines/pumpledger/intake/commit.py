"""Moves a staged export into the lake, against what is held already: exact repeats are dropped, and of two exports of
one source that say different things the later one stands.

Belongs here: the step from staging to lake. The export counts once its ledger entry is committed; a stop before that
leaves files that the next run sweeps away. What is superseded stays where it is and is listed beside it, so that it
comes back when the later export is withdrawn.
"""

from __future__ import annotations

import shutil
from pathlib import Path

import polars as pl

from pumpledger.engine.database import Database
from pumpledger.engine.lake import write_parquet
from pumpledger.engine.tables import REFUSED, SUPERSEDED
from pumpledger.intake.ledger import Entry, Ledger
from pumpledger.intake.rules import REASONS
from pumpledger.intake.stage import Staged, as_quarantined, write_refused
from pumpledger.workspace import settle


def commit(
    db: Database,
    ledger: Ledger,
    staged: Staged,
    set_aside: str | None,
    zones: dict[str, str],
    sequence: int | None = None,
) -> Entry:
    """Move the files of ``staged`` and return its ledger entry, not yet committed; ``set_aside`` says why none of its
    rows may count, ``sequence`` is its place in the order of arrival where it has one already."""
    refused, fates, extents = staged.refused, dict(staged.fates), staged.extents
    sequence = sequence or ledger.next_sequence()
    leans_on: set[str] = set()
    if set_aside:
        refused = pl.concat([refused, as_quarantined(staged, set_aside)])
        fates["quarantine"] += fates["readings"]
        fates["readings"] = 0
        extents = extents.clear()
    for week in extents["week"].unique().sort():
        verdict = _against_held(db, ledger, staged, week, extents.filter(pl.col("week") == week), sequence)
        again = verdict.filter(pl.col("fate") == "duplicates")
        if not again.is_empty():
            refused = pl.concat([refused, _taken_out(staged, week, again)])
            extents = _less(extents, week, again)
            fates["duplicates"] += again.height
            fates["readings"] -= again.height
        # What a row supersedes may go; what it gave way to may not.
        leans_on |= set(verdict.filter(pl.col("fate") != "supersedes")["held_export_id"])
        _write_superseded(ledger, staged, week, verdict)
    for week in extents["week"].unique().sort():
        settle(staged.readings(week), ledger.lake.readings_folder(week) / f"{staged.export.export_id}.parquet")
    write_refused(ledger.refused_path(staged.export.export_id), refused)
    entry = Entry(
        export=_row(staged, sequence, set_aside, fates, extents),
        content_sha256=staged.export.sha256,
        dialect_digest=staged.dialect.digest,
        pump_zones={pump: zones.get(pump) for pump in staged.pumps_seen},
        extents=extents.to_dicts(),
        leans_on=sorted(leans_on),
        warnings=[f"{problem.name}: {problem.sentence}" for problem in staged.problems],
        profile={name: value for name, value in staged.profile.items() if not name.endswith("_utc")},
    )
    shutil.rmtree(staged.folder)
    return entry


def _against_held(
    db: Database, ledger: Ledger, staged: Staged, week: str, extents: pl.DataFrame, sequence: int
) -> pl.DataFrame:
    """Rows of ``week`` that meet a held reading of their pump and instant, as ``intake/against_held`` gives them."""
    held = [entry for entry in ledger.holding(week, extents) if entry.export_id != staged.export.export_id]
    if not held:
        return pl.DataFrame(schema={"line": pl.Int64, "fate": pl.String, "held_export_id": pl.String})
    order = [(entry.export_id, entry.sequence < sequence, entry.export["source"] == staged.source) for entry in held]
    schema = {"export_id": pl.String, "is_earlier": pl.Boolean, "same_source": pl.Boolean}
    db.load("held_export", pl.DataFrame(order, schema=schema, orient="row"))
    db.view_parquet("staged_reading", [staged.readings(week)])
    files = [ledger.lake.readings_folder(week) / f"{entry.export_id}.parquet" for entry in held]
    db.view_parquet("held_reading", files)
    superseded = ledger.lake.superseded_files(week)
    if superseded:
        db.view_parquet("superseded_row", superseded)
    else:
        db.load("superseded_row", SUPERSEDED.empty())
    return db.query("intake/against_held")


def _taken_out(staged: Staged, week: str, again: pl.DataFrame) -> pl.DataFrame:
    """``again`` as refused rows; they leave the staged file."""
    path = staged.readings(week)
    rows = pl.read_parquet(path, glob=False)
    kept = rows.join(again.select("line", "pump_id"), on=["line", "pump_id"], how="anti", maintain_order="left")
    write_parquet(Path(path), kept)
    raw = dict(staged.raw_rows(set(again["line"])))
    return REFUSED.conform(
        again.select("line", "pump_id", "fate").with_columns(
            pl.lit(staged.export.export_id).alias("export_id"),
            pl.lit(staged.export.name).alias("file"),
            pl.lit("same_row_again").alias("rule"),
            pl.lit(REASONS["same_row_again"]).alias("reason"),
            pl.Series("raw", [raw[line] for line in again["line"]], dtype=pl.String),
        )
    )


def _write_superseded(ledger: Ledger, staged: Staged, week: str, verdict: pl.DataFrame) -> None:
    rows = verdict.filter(pl.col("fate").is_in(["supersedes", "superseded"]))
    path = ledger.lake.superseded_folder(week) / f"{staged.export.export_id}.parquet"
    if rows.is_empty():
        path.unlink(missing_ok=True)
        return
    write_parquet(path, SUPERSEDED.conform(rows.select(list(SUPERSEDED.columns))))


def _less(extents: pl.DataFrame, week: str, again: pl.DataFrame) -> pl.DataFrame:
    """``extents`` without the rows that turned out to be held already; a pump all of whose rows are held keeps 0."""
    gone = again.group_by("pump_id").agg(pl.len().alias("gone")).with_columns(pl.lit(week).alias("week"))
    joined = extents.join(gone, on=["week", "pump_id"], how="left", maintain_order="left")
    return joined.with_columns(pl.col("rows") - pl.col("gone").fill_null(0)).drop("gone")


def _row(
    staged: Staged, sequence: int, set_aside: str | None, fates: dict[str, int], extents: pl.DataFrame
) -> dict[str, object]:
    export, dialect = staged.export, staged.dialect
    held = extents.filter(pl.col("rows") > 0)
    return {
        "sequence": sequence,
        "export_id": export.export_id,
        "sha256": export.arrived_sha256,
        "file": export.name,
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
