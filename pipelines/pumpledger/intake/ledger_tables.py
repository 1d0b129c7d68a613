"""What the ledger says, as tables for the steps and the review.

Belongs here: records turned into rows. Nothing is changed here.
"""

from __future__ import annotations

import polars as pl

from pumpledger.engine.tables import EXPORTS, REFUSED, SUPERSEDED
from pumpledger.intake.clock_notes import WARNINGS
from pumpledger.intake.ledger import Entry, Ledger, moment

CLOCK_WARNINGS = {name for name, _ in WARNINGS.values()}
SKIPPED_HOUR = "hour_does_not_exist"


def exports(ledger: Ledger) -> pl.DataFrame:
    """The table ``exports``."""
    return _exports(ledger.entries)


def exports_of(ledger: Ledger, weeks: set[str]) -> pl.DataFrame:
    """Rows of ``exports`` that have to do with ``weeks``: their readings lie there, or they have none and repeat one
    whose do."""
    return _exports(ledger.of_weeks(weeks))


def _exports(entries: list[Entry]) -> pl.DataFrame:
    rows = [
        {**entry.export, "first_utc": moment(entry.export["first_utc"]), "last_utc": moment(entry.export["last_utc"])}
        for entry in entries
    ]
    return EXPORTS.conform(pl.DataFrame(rows, schema=EXPORTS.schema)) if rows else EXPORTS.empty()


def profiles(ledger: Ledger, weeks: set[str] | None = None) -> pl.DataFrame:
    """What the suite ``file_profile`` judges: one row an export that was read, of ``weeks`` where given."""
    entries = ledger.entries if weeks is None else ledger.of_weeks(weeks)
    return pl.DataFrame([entry.profile for entry in entries if entry.profile], infer_schema_length=None)


def refused_rows(ledger: Ledger, weeks: set[str]) -> pl.DataFrame:
    """The table ``refused`` of the exports of ``weeks``."""
    paths = [ledger.refused_path(entry.export_id) for entry in ledger.of_weeks(weeks) if entry.status != "repeated"]
    frames = [pl.read_parquet(path, glob=False) for path in paths if path.exists()]
    return pl.concat(frames) if frames else REFUSED.empty()


def refused_counts(ledger: Ledger, weeks: set[str]) -> pl.DataFrame:
    """``export_id, file, pump_id, rule, fate, reason, rows`` of the refused rows of the exports of ``weeks``."""
    keys = ["export_id", "file", "pump_id", "rule", "fate"]
    rows = refused_rows(ledger, weeks)
    return rows.group_by(keys).agg(pl.col("reason").first(), pl.len().cast(pl.Int64).alias("rows")).sort(keys)


def clock_warnings(ledger: Ledger, weeks: set[str]) -> pl.DataFrame:
    """``file, source, name, rows, first_utc, last_utc``: rows around a change of clocks whose place the exports of
    ``weeks`` do not prove, one row an export and kind."""
    rows = []
    for entry in ledger.of_weeks(weeks):
        span = (moment(entry.export["first_utc"]), moment(entry.export["last_utc"]))
        for warning in entry.warnings:
            name, said = warning.split(": ", 1)
            if name in CLOCK_WARNINGS:
                rows.append((entry.file, str(entry.export["source"]), name, int(said.split(" ", 1)[0]), *span))
        path = ledger.refused_path(entry.export_id)
        if entry.export["quarantine"] and path.exists():
            skipped = pl.read_parquet(path, glob=False, columns=["rule"]).filter(rule=SKIPPED_HOUR).height
            if skipped:
                rows.append((entry.file, str(entry.export["source"]), SKIPPED_HOUR, skipped, *span))
    schema = {
        "file": pl.String,
        "source": pl.String,
        "name": pl.String,
        "rows": pl.Int64,
        "first_utc": pl.Datetime("us"),
        "last_utc": pl.Datetime("us"),
    }
    return pl.DataFrame(rows, schema=schema, orient="row")


def superseded(ledger: Ledger, week: str) -> pl.DataFrame:
    """The table ``superseded`` of ``week``. What was written when an export was taken stays as it was; who stands in
    whose place today follows from the exports that still count."""
    frames = [pl.read_parquet(path, glob=False) for path in ledger.lake.superseded_files(week)]
    if not frames:
        return SUPERSEDED.empty()
    order = {entry.export_id: entry.sequence for entry in ledger.entries if entry.status == "read"}
    old = ["pump_id", "time_utc", "old_export_id", "old_line"]
    both = pl.col("old_export_id").is_in(order.keys()) & pl.col("new_export_id").is_in(order.keys())
    rows = pl.concat(frames).filter(both).unique([*old, "new_export_id"], keep="first", maintain_order=True)
    place = pl.col("new_export_id").replace_strict(order, default=None, return_dtype=pl.Int64)
    return SUPERSEDED.conform(rows.with_columns(counted=place == place.min().over(old)))


def pump_exports(ledger: Ledger, weeks: set[str]) -> pl.DataFrame:
    """``pump_id, file, source, readings`` of ``weeks``."""
    rows = [
        (str(item["pump_id"]), entry.file, str(entry.export["source"]), int(item["rows"]))
        for week in sorted(weeks)
        for entry, item in ledger.of_week(week)
    ]
    schema = {"pump_id": pl.String, "file": pl.String, "source": pl.String, "readings": pl.Int64}
    return (
        pl.DataFrame(rows, schema=schema, orient="row")
        .group_by("pump_id", "file", "source")
        .agg(pl.col("readings").sum())
        .sort("pump_id", "file")
    )


def pump_sources(ledger: Ledger, weeks: set[str]) -> pl.DataFrame:
    """``pump_id, source``: the source of most of the pump's readings in ``weeks``."""
    counted = pump_exports(ledger, weeks).group_by("pump_id", "source").agg(pl.col("readings").sum())
    return (
        counted.sort("pump_id", "readings", "source", descending=[False, True, False])
        .unique("pump_id", keep="first", maintain_order=True)
        .select("pump_id", "source")
    )


def shared_pumps(ledger: Ledger, weeks: set[str], order: list[str]) -> pl.DataFrame:
    """``pump_id, source, place``: the logs of the pumps that have readings from several sources in ``weeks``; ``order``
    are the sources as fleet.toml names them, ``place`` the one among these, from 1."""
    logs = pump_exports(ledger, weeks).filter(pl.col("readings") > 0).select("pump_id", "source").unique()
    places = {source: place for place, source in enumerate(order, start=1)}
    place = pl.col("source").replace_strict(places, default=len(order) + 1, return_dtype=pl.Int64)
    several = pl.len().over("pump_id") > 1
    return logs.filter(several).with_columns(place=place).sort("pump_id", "place")
