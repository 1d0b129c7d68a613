"""The score of the modes in plain lines for the terminal.

Belongs here: words and rounding. The numbers come from `modes.py`.
"""

from __future__ import annotations

import polars as pl

from pumpledger.scoring.evidence import Evidence
from pumpledger.scoring.modes import (
    CORE,
    FIRST_ACTIONS,
    Alarms,
    Recall,
    Share,
    alarms,
    cases,
    first_actions,
    recalls,
    taken_for,
)

_MOST_TAKEN = 25


def mode_lines(evidence: Evidence) -> list[str]:
    """What `pumpledger score` prints of findings, over all fleets."""
    per_mode = recalls(cases(evidence))
    core = [one for one in per_mode if one.mode in CORE]
    others = [one for one in per_mode if one.mode not in CORE]
    fleets = evidence.truth["fleet"].n_unique()
    weeks = evidence.site_weeks.select("fleet", "monday").n_unique()
    return [
        f"Modes over {fleets:,} fleets and {weeks:,} reviews. Recall with its 95 % interval; days from the first day of "
        "the fault to the Sunday of the first review that names it, in the middle; * core modes.",
        f"  {'mode':6}{'cases':>6}{'found':>7}{'interval':>14}{'in 2 weeks':>12}{'days':>6}  small / middle / plain",
        *(_recall(one) for one in per_mode),
        _sum("Core modes within two weeks", [one.early for one in core], 0.95),
        _sum("Other modes within two weeks", [one.early for one in others], 0.85),
        *_alarms(alarms(evidence)),
        _first(first_actions(evidence)),
        *_taken(taken_for(evidence)),
    ]


def _recall(one: Recall) -> str:
    lo, hi = one.found.interval
    days = "-" if one.median_days is None else f"{one.median_days:.0f}"
    parts = " / ".join(f"{part.hits} of {part.of}" for part in one.by_size) if any(p.of for p in one.by_size) else ""
    return (
        f"  {one.mode + ('*' if one.mode in CORE else ''):6}{one.found.of:>6}{one.found.share:>7.0%}"
        f"{f'{lo:.0%} to {hi:.0%}':>14}{f'{one.early.hits} of {one.early.of}':>12}{days:>6}  {parts}"
    ).rstrip()


def _sum(name: str, parts: list[Share], aim: float) -> str:
    whole = Share(sum(part.hits for part in parts), sum(part.of for part in parts))
    if not whole.of:
        return f"{name}: no case"
    lo, hi = whole.interval
    return f"{name}: {whole.share:.1%} of {whole.of:,} ({lo:.1%} to {hi:.1%}; aim {aim:.0%})."


def _alarms(held: Alarms) -> list[str]:
    if not held.site_weeks:
        return ["There is no healthy site-week."]
    (_, any_hi), (_, high_hi) = held.weeks_any.interval, held.weeks_high.interval
    return [
        f"Healthy site-weeks: {held.site_weeks:,}. False findings: {held.any:,}, {held.any / held.site_weeks:.2%} a "
        f"site-week ({held.weeks_any.share:.2%} of the site-weeks, at most {any_hi:.2%}).",
        f"  of high severity: {held.high:,}, {held.high / held.site_weeks:.2%} a site-week "
        f"({held.weeks_high.share:.2%} of the site-weeks, at most {high_hi:.2%}; aim 0.3 %).",
    ]


def _first(right: Share) -> str:
    if not right.of:
        return "There is no action to judge."
    lo, hi = right.interval
    return (
        f"The first {FIRST_ACTIONS} actions of a week: {right.share:.1%} of {right.of:,} are true "
        f"({lo:.1%} to {hi:.1%}; aim 95%)."
    )


def _taken(rows: pl.DataFrame) -> list[str]:
    if rows.is_empty():
        return ["Nothing was taken for something else."]
    shown = [f"  {seeded}, found {found}: {sites:,}" for seeded, found, sites in rows.head(_MOST_TAKEN).iter_rows()]
    more = rows.height - _MOST_TAKEN
    return [
        "What was seeded, and what was found falsely (sites):",
        *shown,
        *([f"  and {more:,} more pairs"] if more > 0 else []),
    ]
