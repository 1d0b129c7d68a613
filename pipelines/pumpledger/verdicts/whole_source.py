"""From doubts about pumps to one doubt about their source, where nearly all of its pumps agree.

Belongs here: counting who agrees. What they agree on is the mode's business.
"""

from __future__ import annotations

import polars as pl

from pumpledger.engine.parameter import Parameter

PARAMETERS = {
    "agree_share": Parameter(0.8, 0.5, 1.0, "share of the source's pumps that can be judged", "more"),
    "agree_pumps": Parameter(3, 2, 1000, "pumps", "more"),
}


def whole_sources(judged: pl.DataFrame, share: float, least: float) -> pl.DataFrame:
    """Sources of which at least ``share``, and ``least`` pumps, are suspect in the same way.

    Args:
        judged: source, quantity, pump_id, key, first_day, last_day: a row a pump that can be judged; ``key`` null where
            it fits.

    Returns:
        source, quantity, key, agreeing (pumps), judged (pumps), others (up to three codes of those that do not agree),
        first_day, last_day (of those that do).
    """
    all_pumps = judged.group_by("source", "quantity").agg(pl.col("pump_id").n_unique().alias("judged"))
    agreed = (
        judged.filter(pl.col("key").is_not_null())
        .group_by("source", "quantity", "key")
        .agg(
            pl.col("pump_id").n_unique().alias("agreeing"),
            pl.col("first_day").min(),
            pl.col("last_day").max(),
            pl.col("pump_id").alias("said"),
        )
        .join(all_pumps, on=["source", "quantity"])
        .filter((pl.col("agreeing") >= least) & (pl.col("agreeing") >= share * pl.col("judged")))
    )
    others = (
        judged.join(agreed.select("source", "quantity", "said"), on=["source", "quantity"])
        .filter(~pl.col("pump_id").is_in("said"))
        .group_by("source", "quantity")
        .agg(pl.col("pump_id").sort().head(3).str.join(", ").alias("others"))
    )
    return (
        agreed.drop("said")
        .join(others, on=["source", "quantity"], how="left")
        .with_columns(pl.col("others").fill_null(""))
        .sort("source", "quantity", "key")
    )


def dissent(others: str) -> str:
    """Half a sentence that names the pumps that do not agree, or nothing."""
    return f"; not so {others}" if others else ""
