"""Refused rows as one CSV to send back to whoever exported the log: where each stands, what is wrong, what to do.

Belongs here: which rows go back and in what words. The words of the rules stand in `intake/rules.py`, the escaping for
spreadsheets in `csv_tables.py`.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

import polars as pl

from pumpledger.intake.rules import REFUSALS
from pumpledger.reports.csv_tables import csv_bytes

SENT_BACK = ("quarantine", "rejects")
"""Fates whose rows someone must look at. Exact repeats need nothing done and are counted in the review."""

COLUMNS = ("file", "line", "what_is_wrong", "what_to_do", "rule", "fate", "pump_id", "raw")

_MARK = b"\xef\xbb\xbf"
"""The one CSV of the review with a byte order mark: it goes to people, who open it in a spreadsheet, and some of those
read a file without the mark in the code page of the machine; the raw text would no longer be what the export holds. The
other tables are for programs and carry none."""


def write_send_back(path: Path, refused: Iterable[pl.DataFrame], fates: tuple[str, ...] = SENT_BACK) -> int:
    """Write the rows of ``refused`` (columns of the table ``refused``) that have one of ``fates``, in their order.

    Frames are written as they come, so that a file set aside whole does not fill the memory. A cell that a spreadsheet
    would read as a formula gets an apostrophe in front, also in ``raw``.

    Returns:
        The number of rows.
    """
    rows = 0
    with path.open("wb") as file:
        file.write(_MARK + ",".join(COLUMNS).encode() + b"\r\n")
        for frame in refused:
            chosen = explained(frame.filter(pl.col("fate").is_in(fates)))
            file.write(csv_bytes(chosen, header=False))
            rows += chosen.height
    return rows


def explained(refused: pl.DataFrame) -> pl.DataFrame:
    """``refused`` with its reason in two parts, columns `COLUMNS`.

    The remedy is the rule's; what is wrong is the row's own reason, without the remedy where that is its end.
    """
    remedy = pl.col("rule").replace_strict({rule: text.remedy for rule, text in REFUSALS.items()}, default="")
    return refused.with_columns(what_to_do=remedy).select(
        "file",
        "line",
        pl.col("reason").str.strip_suffix(pl.col("what_to_do")).str.strip_chars_end().alias("what_is_wrong"),
        "what_to_do",
        "rule",
        "fate",
        "pump_id",
        "raw",
    )
