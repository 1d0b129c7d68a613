"""What the modes on time need of dialects and ledger, as tables.

Belongs here: ``source_dialect`` and ``extent``, from what a run holds anyway. Readings and calendar are loaded by the
step.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import polars as pl

from pumpledger.intake.dialect import Dialect
from pumpledger.intake.ledger import Entry, moment


def source_dialects(dialects: Mapping[str, Dialect]) -> pl.DataFrame:
    """``source, zone, time_format`` by which each source's exports are read.

    Args:
        dialects: source -> dialect as it is applied, confirmed corrections included: a verdict speaks of what is
            declared now.
    """
    rows = [(source, dialect.zone, dialect.time_format) for source, dialect in sorted(dialects.items())]
    return pl.DataFrame(rows, schema={"source": pl.String, "zone": pl.String, "time_format": pl.String}, orient="row")


def export_extents(entries: Iterable[Entry]) -> pl.DataFrame:
    """``export_id, pump_id, first_utc, last_utc`` of every export, pump and week: a date read wrong lies in any week."""
    rows = [
        (entry.export_id, item["pump_id"], moment(item["first_utc"]), moment(item["last_utc"]))
        for entry in entries
        for item in entry.extents
    ]
    schema = {
        "export_id": pl.String,
        "pump_id": pl.String,
        "first_utc": pl.Datetime("us"),
        "last_utc": pl.Datetime("us"),
    }
    return pl.DataFrame(rows, schema=schema, orient="row")
