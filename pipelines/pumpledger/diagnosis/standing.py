"""What goes on standing from week to week: a finding closes when clear days say so, not when it is merely out of sight.

Belongs here: what last week's findings make of this week's. What a rule needs to open a finding stands with the rule,
what people said of it in `followup`.

A finding that this week does not show closes after three believed days of its site without it; fewer prove nothing, so
it goes on standing as it was last seen, and may explain and be explained meanwhile (`explain.py`). A safety finding does
not close by itself: someone has to say that it was looked at on site. One that opens and closes again and again is
marked as coming and going. The numbers are starting values, common practice without a source; the separate delay to close is that of OPC UA Part 9 (OffDelay), from memory.
"""

from __future__ import annotations

import polars as pl

from pumpledger.diagnosis.rules import BY_ID
from pumpledger.engine.tables import FINDINGS

CLEAR_DAYS = 3
LOOK_BACK_WEEKS = 8
"""No finding stands longer than this without being seen: what lies further back is not read."""
CHATTER_WEEKS = 5  # reviews that span 28 days
CHATTER_CHANGES = 3
KEY = ["site_id", "rule_id", "component"]
PAST_FINDING = {"week": pl.String(), **FINDINGS.schema}
"""Findings of the weeks before, with their week; the newest of them is the week before this one."""
SAID = {"site_id": pl.String(), "rule_id": pl.String(), "component": pl.String(), "done_on": pl.Date()}
"""What people marked fixed or rejected, and for which day."""


def still_stands(
    found: pl.DataFrame,
    past: pl.DataFrame,
    last_week: str,
    site_days: pl.DataFrame,
    said: pl.DataFrame,
    closed: list[str],
) -> pl.DataFrame:
    """FINDINGS of ``last_week`` that this week does not show and does not clear, as they were last seen.

    Args:
        found: KEY of what this week shows.
        past: PAST_FINDING of up to eight weeks before.
        last_week: the week before this one.
        site_days: site_id, day_local of the days on which every pump of the site is believed, eight weeks to this one's
            end.
        said: SAID.
        closed: sites that are closed for the season.
    """
    own = (pl.col("explained_by") == "") | ((pl.col("severity") == "safety") & ~pl.col("in_sight"))
    gone = _before(past, last_week).filter(own & (pl.col("site_id") != "")).join(found, on=KEY, how="anti")
    return _kept(gone, site_days, said, closed)


def stand(now: pl.DataFrame, kept: pl.DataFrame, past: pl.DataFrame, last_week: str, weeks: list[str]) -> pl.DataFrame:
    """``now`` (FINDINGS, not ranked) with ``kept`` of `still_stands`, how long each has stood, and which come and go.

    Args:
        now: this week's findings.
        kept: FINDINGS.
        past: PAST_FINDING of up to eight weeks before.
        last_week: the week before this one.
        weeks: all weeks that were reviewed before, oldest first.
    """
    stands_on = now.join(kept, on=KEY, how="anti")  # a question that could not be answered gives way to what stands
    rows = pl.concat([stands_on, kept]) if kept.height else now
    since = _before(past, last_week).select(*KEY, earlier="standing_since")
    rows = rows.join(since, on=KEY, how="left", maintain_order="left").with_columns(
        standing_since=pl.when(pl.col("verdict") == "found").then(pl.min_horizontal("first_day", "earlier"))
    )
    return FINDINGS.conform(_marked(rows.drop("earlier"), past, weeks))


def _before(past: pl.DataFrame, last_week: str) -> pl.DataFrame:
    return past.filter((pl.col("week") == last_week) & (pl.col("verdict") == "found")).drop("week")


def _kept(gone: pl.DataFrame, site_days: pl.DataFrame, said: pl.DataFrame, closed: list[str]) -> pl.DataFrame:
    seasonal = [rule for rule, entry in BY_ID.items() if entry.season == "open"]
    alive = gone.filter(
        pl.col("rule_id").is_in(list(BY_ID)) & ~(pl.col("rule_id").is_in(seasonal) & pl.col("site_id").is_in(closed))
    )
    clear = (
        alive.select(*KEY, "last_day")
        .join(site_days, on="site_id")
        .filter(pl.col("day_local") > pl.col("last_day"))
        .group_by(KEY)
        .agg(pl.col("day_local").n_unique().alias("clear"))
    )
    done = said.group_by(KEY).agg(pl.col("done_on").max())
    judged = (
        alive.join(clear, on=KEY, how="left", maintain_order="left")
        .join(done, on=KEY, how="left", maintain_order="left")
        .with_columns(pl.col("clear").fill_null(0))
    )
    safety = pl.col("severity") == "safety"
    answered = (pl.col("done_on") >= pl.col("last_day")).fill_null(False)
    stays = judged.filter(~answered & (safety | (pl.col("clear") < CLEAR_DAYS)) & pl.col("last_day").is_not_null())
    unseen = pl.format("Last seen on {}", "last_day")
    note = (
        pl.when(safety)
        .then(pl.format(" {}; a matter of safety stands until someone has checked it on site.", unseen))
        .otherwise(pl.format(" {}, with {} of the {} believed days since that would clear it.", unseen, "clear",
                             pl.lit(CLEAR_DAYS)))
    )  # fmt: skip
    # What was said last week of its being out of sight is said anew.
    plain = pl.col("sentence").str.replace(r" Last seen on \d{4}-\d\d-\d\d[;,] .*$", "")
    return stays.with_columns(sentence=pl.concat_str(plain, note), in_sight=pl.lit(False)).drop("clear", "done_on")


def _marked(rows: pl.DataFrame, past: pl.DataFrame, weeks: list[str]) -> pl.DataFrame:
    """``rows`` with those marked that opened or closed too often in the last five reviews, this one included."""
    reviews = weeks[-(CHATTER_WEEKS - 1) :]
    if len(reviews) < CHATTER_CHANGES:
        return rows.with_columns(comes_and_goes=pl.lit(False))
    found = rows.filter(verdict="found").select(KEY)
    seen = found
    for place, week in enumerate(reviews):
        there = past.filter((pl.col("week") == week) & (pl.col("verdict") == "found")).select(
            *KEY, pl.lit(True).alias(f"w{place}")
        )
        seen = seen.join(there.unique(KEY), on=KEY, how="left", maintain_order="left")
    states = [pl.col(f"w{place}").fill_null(False) for place in range(len(reviews))] + [pl.lit(True)]
    changes = pl.sum_horizontal([(a != b).cast(pl.Int64) for a, b in zip(states[:-1], states[1:], strict=True)])
    often = seen.filter(changes >= CHATTER_CHANGES).select(*KEY, pl.lit(True).alias("comes_and_goes"))
    return (
        rows.drop("comes_and_goes")
        .join(often, on=KEY, how="left", maintain_order="left")
        .with_columns(pl.col("comes_and_goes").fill_null(False))
    )
