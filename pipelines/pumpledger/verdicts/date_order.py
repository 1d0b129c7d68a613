"""Mode B17: dates of a source whose day and month change places. Such an export comes out as one day in each of many
months; read the other way it is a row of days.

Belongs here: the vote of a source's exports, and the words. How a format is changed stands in `corrections.py`.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

import polars as pl

from pumpledger.engine.database import Database
from pumpledger.verdicts.mode import SUSPICIONS
from pumpledger.verdicts.quarter_hours import has_table

OTHER = {"day_first": "month_first", "month_first": "day_first"}
WORDS = {"day_first": "day first", "month_first": "month first"}
FILES_TOLD = 3


def mode_b17(db: Database, parameters: Mapping[str, float]) -> pl.DataFrame:
    """Sources with exports that only make sense with day and month exchanged.

    Inputs: export, extent (export_id, pump_id, first_utc, last_utc: from the ledger), source_dialect (source,
    time_format), pump, site, local_day. Parameters: days_least.

    Only exports that, read one way or the other, have to do with the days of the calendar: a date read wrong lies in
    another week, and is missed in this one.
    """
    if not (has_table(db, "extent") and has_table(db, "source_dialect")):
        return SUSPICIONS.empty()
    orders = {
        source: order
        for source, time_format in db.table("source_dialect").select("source", "time_format").iter_rows()
        if (order := date_order(time_format))
    }
    days = db.query("verdicts/export_day")
    rows = [
        row
        for part in days.partition_by("source", maintain_order=True)
        if part["source"][0] in orders
        and (row := _judged(part, orders[part["source"][0]], int(parameters["days_least"])))
    ]
    return SUSPICIONS.conform(pl.DataFrame(rows, schema=SUSPICIONS.schema))


def date_order(time_format: str) -> str | None:
    """``day_first`` or ``month_first``; ``None`` for a format without both as numbers, such as epoch seconds."""
    marks = [mark[-1] for mark in re.findall(r"%-?[dm]", time_format)]
    if sorted(marks) != ["d", "m"]:
        return None
    return "day_first" if marks[0] == "d" else "month_first"


def _judged(days: pl.DataFrame, order: str, least: int) -> dict[str, object] | None:
    """The row of one source; ``days`` are its rows of export_day."""
    turned = days.filter(pl.col("other_in") & ~pl.col("read_in") & pl.col("alone"))
    # A day that reads the same both ways, such as 3 March, speaks for neither order.
    right = days.filter(
        pl.col("read_in") & (pl.col("other_day").is_null() | (pl.col("other_day") != pl.col("day_local")))
    )
    if turned.is_empty():
        return None
    sure = turned["other_day"].n_unique() >= least or turned["ahead_of_all"].any()
    as_declared = right.height + days["proven"].max() - right["other_day"].null_count()
    files = turned["file"].unique().sort().to_list()
    shown = ", ".join(files[:FILES_TOLD]) + (f" and {len(files) - FILES_TOLD} more" if len(files) > FILES_TOLD else "")
    first, last = turned["other_day"].min(), turned["other_day"].max()
    said = f"{shown}: read {WORDS[order]}, as declared, that is {turned['day_local'].min()} to "
    said += f"{turned['day_local'].max()}; read {WORDS[OTHER[order]]} it is {first} to {last}."
    if not sure:
        said += " Either may be true: look at the export, and say which."
    elif not as_declared:
        said += f" The dates of this source are {WORDS[OTHER[order]]}."
    else:
        said += " Other exports of this source are right as declared: declare these as a source of their own."
    return {
        "source": days["source"][0],
        "pump_id": "",
        "quantity": "time",
        "sentence": said,
        "evidence": f"{turned.height} days of exports each alone in its month as read; "
        f"{as_declared} days of exports right as declared",
        "sureness": turned.height / (turned.height + right.height) if sure else 0.5,
        "blocks": sure,
        "remedy": f"date_order {OTHER[order]}" if sure and not as_declared else "",
        "first_day": first,
        "last_day": last,
    }
