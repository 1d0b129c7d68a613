"""What D3 to D7 say of one site whose power follows a given series, in a fleet of peers."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache

import numpy as np
import polars as pl
import pyarrow as pa
from asked_alone import asked_alone
from power_rows import ONES, day, levels, load_levels, peers
from small_fleet import LAST, WEEK, Fleet

from pumpledger.diagnosis.run import diagnose
from pumpledger.engine.database import Database

POWER_RULES = ("D3", "D4", "D5", "D6", "D7")
PUMP = "P-S1"


@lru_cache(maxsize=32)
def tables_of(fleet_of: int, cleanings: tuple[int, ...], works: tuple[tuple[int, str], ...]) -> dict[str, pa.Table]:
    """All tables of the small fleet with these visits; made once, for only the power of its days differs between tests."""
    fleet = Fleet()
    assert fleet.site() == PUMP
    for number in range(fleet_of):
        fleet.site(f"Q{number}")
    for number in cleanings:
        fleet.visit("S1", day(number), "cleaning")
    for number, work in works:
        fleet.visit("S1", day(number), work)
    with fleet.database() as db:
        names = db.connection.sql("select table_name from duckdb_tables()").fetchall()
        return {name: db.arrow(name) for (name,) in names}


def told(
    share: np.ndarray,
    cleanings: tuple[int, ...] = (),
    works: tuple[tuple[int, str], ...] = (),
    fleet_of: int = 9,
    season: np.ndarray = ONES,
    parameters: Mapping[str, Mapping[str, float]] | None = None,
    past: pl.DataFrame | None = None,
    asked: tuple[str, ...] = POWER_RULES,
    spans: Mapping[str, pl.Expr] | None = None,
    **more: object,
) -> dict[str, dict]:
    """``rule -> finding`` of D3 to D7 on site S1, whose power follows ``share`` times the season of its fleet."""
    tables = tables_of(fleet_of, cleanings, works)
    with Database(threads=1) as db, asked_alone(*asked):
        for name, rows in tables.items():
            db.load(name, rows)
        db.load("span", db.table("span").with_columns(**(spans or {})))
        load_levels(db, levels({PUMP: share * season, **peers(fleet_of, season)}, **more))
        if past is not None:
            db.load("past_finding", past)
        diagnose(db, WEEK, LAST, parameters)
        rows = db.table("finding").filter(pl.col("rule_id").is_in(POWER_RULES))
    others = rows.filter(pl.col("site_id") != "S1")
    assert others.filter(pl.col("verdict") == "found").is_empty(), others["sentence"].to_list()
    return {row["rule_id"]: row for row in rows.filter(pl.col("site_id") == "S1").iter_rows(named=True)}


def own(found: dict[str, dict]) -> list[str]:
    return sorted(rule for rule, row in found.items() if row["verdict"] == "found" and not row["explained_by"])
