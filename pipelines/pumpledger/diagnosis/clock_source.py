"""Whole sources whose pumps are out alike: then the export's time base or the logger's clock is looked at first, and no
site is accused.

Belongs here: the votes among pumps of one source. That a source stands in the wrong zone is a verdict of its own
(B5, `verdicts/source_clock.py`), which goes first.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import numpy as np
import polars as pl

from pumpledger.diagnosis.clock_dating import HALF_DAY_MIN, Slope
from pumpledger.profile.plan_match import AMBIGUOUS, DIFFERS, FITS, QUARTER_MIN, SHIFTED

SOURCE_SHIFTED = "whole source shifted"
LIKE_SLOPES = 0.5  # slopes within half of their middle value count as one: the spread of short, coarse series
Row = dict[str, object]


def is_half_day(shift_min: int) -> bool:
    """Whether an offset is 12 h, within a quarter hour."""
    return abs(abs(shift_min) - HALF_DAY_MIN) <= QUARTER_MIN


def vote(
    offsets: Mapping[str, tuple[int, str]],
    sources: Mapping[str, str],
    verdict: pl.DataFrame,
    parameters: Mapping[str, float],
) -> tuple[list[Row], set[str]]:
    """Evidence rows of sources that shift as one, and the pumps that are not asked for themselves because of it.

    Args:
        offsets: pump -> (shift [min], verdict of the match).
        sources: pump -> source.
        verdict: columns of verdicts. A source in the wrong zone (B5) speaks for its pumps; where people refused that,
            the readings are right and each pump is asked.
        parameters: vote_share and vote_pumps of A1.
    """
    of_zone = verdict.filter((pl.col("mode") == "B5") & (pl.col("pump_id") == ""))
    refused = set(of_zone.filter(pl.col("state") == "refused")["source"])
    doubted = set(of_zone.filter(pl.col("blocks") & (pl.col("state") == "open"))["source"])
    seen: dict[str, list[int]] = {}
    for pump, (shift, said) in offsets.items():
        if said in (FITS, SHIFTED) and pump in sources:
            seen.setdefault(sources[pump], []).append(shift if said == SHIFTED else 0)
    rows: list[Row] = []
    common: dict[str, int] = {}
    for source, shifts in sorted(seen.items()):
        value = max(sorted(set(shifts)), key=shifts.count)
        carries = len(shifts) >= parameters["vote_pumps"] and shifts.count(value) >= parameters["vote_share"] * len(
            shifts
        )
        if carries and value and source not in refused | doubted:
            common[source] = value
            extra = f"the whole source is shifted by {value:+d} min: look at the time base of its export first"
            rows.append(_of_source("A1" if is_half_day(value) else "A2", source, float(value), "min", extra))
    silent = {
        pump
        for pump, (shift, said) in offsets.items()
        if (sources.get(pump) in doubted and said in (SHIFTED, DIFFERS, AMBIGUOUS))
        or (said == SHIFTED and common.get(sources.get(pump, "")) == shift)
    }
    return rows, silent


def drifting_sources(
    slopes: Mapping[str, Slope], judged: Iterable[str], sources: Mapping[str, str], parameters: Mapping[str, float]
) -> tuple[set[str], list[Row]]:
    """Pumps whose drift is their logger's, because nearly all pumps of the source drift alike, and a row for each such
    source. ``parameters`` as for `vote`."""
    of_source: dict[str, list[str]] = {}
    for pump in judged:
        of_source.setdefault(sources.get(pump, ""), []).append(pump)
    alike: set[str] = set()
    rows: list[Row] = []
    for source, pumps in sorted(of_source.items()):
        own = np.array([slopes[pump].slope for pump in pumps if pump in slopes])
        if not source or not len(own):
            continue
        middle = float(np.median(own))
        like = int((np.abs(own - middle) <= LIKE_SLOPES * abs(middle)).sum())
        if like >= parameters["vote_pumps"] and like >= parameters["vote_share"] * len(pumps):
            alike |= {pump for pump in pumps if pump in slopes}
            extra = (
                f"{like} of the {len(pumps)} pumps of this source drift alike: the logger's clock runs away, not theirs"
            )
            rows.append(_of_source("A4", source, middle * 60, "s a day", extra))
    return alike, rows


def _of_source(rule_id: str, source: str, measured: float, unit: str, extra: str) -> Row:
    return {"site_id": "", "rule_id": rule_id, "component": source, "verdict": "cannot tell", "measured": measured,
            "unit": unit, "extra": extra}  # fmt: skip
