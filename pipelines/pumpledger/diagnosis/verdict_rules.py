"""Rules that turn doubts about sources and logs into findings.

Belongs here: reading the table ``verdict``. How a doubt arises, its name and its thresholds stand in the room
`verdicts`, and are not said again; what to do about it stands in `rules/logger.py`.

A doubt on a whole source is one row with an empty site, whose component is the source.
"""

from __future__ import annotations

from collections.abc import Mapping

import polars as pl

from pumpledger.diagnosis.evidence import as_evidence
from pumpledger.diagnosis.rules.rule import Finder
from pumpledger.engine.database import Database


def doubts_of(mode: str) -> Finder:
    """The finder of the rule with the identifier of ``mode``. Reads verdict, pump, pump_source, judged_day."""

    def find(db: Database, _: Mapping[str, float]) -> pl.DataFrame:
        return db.query("diagnosis/verdict_finding", {"mode": mode})

    return find


def wrong_unit(db: Database, _: Mapping[str, float]) -> pl.DataFrame:
    """B4: the pumps whose spans stand in a band that their quantity cannot have, and the doubts of mode B4.

    A pump with both is one row: what its spans say, and the doubt with the way to decide it.
    """
    spans = as_evidence("B4", db.query("diagnosis/rule_b4"))
    doubts = as_evidence("B4", db.query("diagnosis/verdict_finding", {"mode": "B4"}))
    key = ["site_id", "component"]
    said = doubts.select(*key, pl.col("extra").alias("said"))
    both = spans.join(said, on=key, how="left", maintain_order="left").with_columns(
        extra=pl.concat_str("extra", "said", separator=" ", ignore_nulls=True)
    )
    alone = doubts.join(spans.select(key), on=key, how="anti", maintain_order="left")
    return pl.concat([both.drop("said"), alone]).sort(key)
