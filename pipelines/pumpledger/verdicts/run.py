"""One week's verdicts: runs every mode over the readings and says of each doubt what a person decided on it.

Belongs here: the order of the steps, identifiers and states. Modes stand in `registry.py`, decisions in `store.py`.

Tables read: reading (columns of readings, of the week and the one before, one row a pump and instant), pump_source
(pump_id, source), export_hold (export_id, hold_s, gap_limit_s), the register's tables and the calendar's; and for B5 and
B17 source_dialect (source, zone, time_format: of the dialect that its exports are read by), export (columns of exports)
and extent (export_id, pump_id, first_utc, last_utc: from the ledger), without which those two say nothing. No spans:
verdicts come before any site finding.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping

import polars as pl

from pumpledger.engine.database import Database
from pumpledger.engine.tables import VERDICTS
from pumpledger.profile.counters import build_counter_rule
from pumpledger.verdicts.corrections import parse_remedy
from pumpledger.verdicts.mode import SUSPICIONS
from pumpledger.verdicts.quarter_hours import build_pump_quarter
from pumpledger.verdicts.reduce import reduce_readings
from pumpledger.verdicts.registry import MODES, mode_parameters
from pumpledger.verdicts.store import Decisions
from pumpledger.verdicts.value_modes import bad_values


def weigh(
    db: Database, decisions: Decisions, overrides: Mapping[str, Mapping[str, float]] | None = None
) -> pl.DataFrame:
    """The rows of VERDICTS; ``bad_value`` (BAD_VALUES) and the working tables of the modes are added to ``db``.

    Args:
        db: holds the tables named above.
        decisions: what people decided before.
        overrides: ``mode -> parameter -> value`` in place of the registry's defaults.

    Raises:
        ValueError: a mode or parameter that does not exist, a value out of bounds, or a mode whose rows break the
            contract.
    """
    reduce_readings(db, mode_parameters(MODES["B13"], overrides)["differences"])
    build_pump_quarter(db)
    build_counter_rule(db)
    seen = []
    for mode in MODES.values():
        rows = SUSPICIONS.conform(mode.find(db, mode_parameters(mode, overrides)))
        for remedy in rows["remedy"].unique().to_list():
            if remedy:
                parse_remedy(remedy)
        seen.append(rows.with_columns(mode=pl.lit(mode.id), applied=pl.lit(mode.applied)))
    pumps = db.table("pump_source").group_by("source").agg(pl.len().cast(pl.Int64).alias("of_source"))
    rows = (
        pl.concat(seen)
        .join(pumps, on="source", how="left", maintain_order="left")
        .with_columns(
            pumps=pl.when(pl.col("pump_id") == "").then(pl.col("of_source").fill_null(0)).otherwise(1),
            verdict_id=pl.struct("mode", "source", "pump_id", "quantity", "remedy").map_elements(
                lambda row: verdict_id(**row), return_dtype=pl.String
            ),
        )
    )
    decided = pl.col("verdict_id").replace_strict(decisions.states(), default=None, return_dtype=pl.String)
    rows = rows.with_columns(
        state=pl.when(decided == "refused")
        .then(decided)
        .when("applied")
        .then(pl.lit("applied"))
        .otherwise(decided.fill_null("open"))
    )
    db.load("bad_value", bad_values(db, rows.filter(pl.col("state") == "refused")))
    # Refused: the data are right. Confirmed and still seen: the remedy did not cure it, so it goes on blocking.
    rows = rows.with_columns(blocks=pl.col("blocks") & (pl.col("state") != "refused"))
    return VERDICTS.conform(rows.drop("applied", "of_source"))


def verdict_id(mode: str, source: str, pump_id: str, quantity: str, remedy: str) -> str:
    """``v-`` and 8 hexadecimal digits, the same in every week that the same doubt is seen.

    The day from which a remedy holds is no part of it, because a later week no longer sees when it began. Both rows of
    a swap have one identifier, because one decision settles both.
    """
    swap = remedy.startswith("swap ")
    parts = (mode, "" if swap else source, "" if swap else pump_id, quantity, re.sub(r" from \S+$", "", remedy))
    return "v-" + hashlib.sha256("\x1f".join(parts).encode()).hexdigest()[:8]
