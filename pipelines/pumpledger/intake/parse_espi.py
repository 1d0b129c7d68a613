"""Rows of an ESPI export (NAESB REQ.21, "Green Button"), typed: one row an interval reading.

Belongs here: readings of the XML brought into ``typed_row``. Reading the XML is `espi.py`.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import islice
from pathlib import Path
from typing import Any

import polars as pl

from pumpledger.engine.database import Database
from pumpledger.engine.lake import write_parquet
from pumpledger.intake.dialect import Dialect
from pumpledger.intake.espi import EspiError, EspiReading, espi_readings
from pumpledger.intake.files import ExportFile
from pumpledger.intake.parse import Parsed
from pumpledger.intake.rows import shown
from pumpledger.intake.unreadable import Unreadable
from pumpledger.problems import Problem

_BATCH = 100_000
_TYPED_SCHEMA = {
    "line": pl.Int64,
    "raw": pl.String,
    "fault": pl.String,
    "pump_id": pl.String,
    "stamp": pl.Datetime("us"),
    "interval_s": pl.Int64,
    "speed_rpm": pl.Float64,
    "power_w": pl.Float64,
    "energy_total_kwh": pl.Float64,
    "run_total_h": pl.Float64,
    "flow_m3h": pl.Float64,
    "air_temperature_c": pl.Float64,
    "aux_text": pl.String,
}


def parse_espi(db: Database, export: ExportFile, dialect: Dialect, folder: Path) -> Parsed:
    """Make the view ``typed_row``, as `parse_text` does; ``line`` is the reading, from 1 over the file.

    Energy of an interval is held as its mean power over its own duration.

    Raises:
        Unreadable: the file is no ESPI document, or holds no energy that can be used.
    """
    parsed, parts = Parsed(0, 0), []
    with export.open() as stream:
        for batch in _batches(export, espi_readings(stream)):
            parsed.data_rows += len(batch)
            rows = [_typed(reading, export.pump) for reading in batch]
            parts.append(folder / f"typed-{len(parts):05}.parquet")
            write_parquet(parts[-1], pl.DataFrame(rows, schema=_TYPED_SCHEMA))
    db.view_parquet("typed_row", parts)
    return parsed


def espi_raw(export: ExportFile, wanted: set[int]) -> Iterator[tuple[int, str]]:
    """(reading, its XML) of the readings ``wanted``."""
    with export.open() as stream:
        yield from ((item.ordinal, shown(item.raw)) for item in espi_readings(stream) if item.ordinal in wanted)


def _batches(export: ExportFile, readings: Iterator[EspiReading]) -> Iterator[list[EspiReading]]:
    """Readings in batches, at least one, which may be empty."""
    first = True
    try:
        while (batch := list(islice(readings, _BATCH))) or first:
            yield batch
            first = False
    except EspiError as error:
        raise Unreadable(Problem("export_espi", f"{error}", file=export.name)) from None


def _typed(reading: EspiReading, pump: str | None) -> dict[str, Any]:
    power_w = reading.power_w
    if power_w is None and reading.energy_wh is not None:
        power_w = reading.energy_wh * 3600 / reading.duration_s
    return {
        "line": reading.ordinal,
        "raw": shown(reading.raw),
        "fault": reading.fault,
        "pump_id": pump,
        "stamp": None if reading.fault else reading.start_utc,
        "interval_s": reading.duration_s,
        "power_w": None if reading.fault else power_w,
    }
