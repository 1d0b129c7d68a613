"""How well each mode is found: recall, days until found, false findings, and what is taken for what.

Belongs here: counting, on the frames of `evidence.py`. Words stand in `mode_lines.py`.

A finding of a week is true of a fault, or of what it brings, from the week in which the fault begins to the first week
that begins more than seven days after its end: a review looks back on the days before. One that another true finding
explains counts as found, and one that a finding explains is never false.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import timedelta

import polars as pl

from pumpledger.scoring.evidence import Evidence

CORE = "A1 A2 A3 A5 B1 B2 B3 B4 B5 B8 B9 B10 C1 C4 C5 C6 C9 C10 C11 C12 C13 D1 D2 D3 D8 D11 D12 D14 D15 D17 D18".split()
"""Modes of the highest value and the lowest rate of false alarms: 95 % of them should be found within two weeks."""
HIGH = ("safety", "this week")
TWO_WEEKS = 14
FIRST_ACTIONS = 10
_LOOKS_BACK = timedelta(days=7)
_SITE = ["fleet", "site_id"]
_ILL = ["fault", "hidden"]


def wilson(hits: int, of: int, z: float = 1.959964) -> tuple[float, float]:
    """Interval of a share by Wilson's score, 95 % by default; 0 to 1 where there is nothing to count."""
    if not of:
        return 0.0, 1.0
    share, square = hits / of, z * z / of
    middle = (share + square / 2) / (1 + square)
    half = z / (1 + square) * math.sqrt(share * (1 - share) / of + square / of / 4)
    return max(0.0, middle - half), min(1.0, middle + half)


@dataclass(frozen=True, slots=True)
class Share:
    """``hits`` of ``of``."""

    hits: int
    of: int

    @property
    def share(self) -> float:
        """As a share; nothing of nothing is 0."""
        return self.hits / self.of if self.of else 0.0

    @property
    def interval(self) -> tuple[float, float]:
        """95 % by Wilson."""
        return wilson(self.hits, self.of)


def live(truth: pl.DataFrame, rows: pl.DataFrame) -> pl.DataFrame:
    """Each row of ``rows`` (fleet, site_id, monday, ...) with each seeded row of its site that can be seen in its week:
    ``kind``, ``mode``, ``from_day``.
    """
    sunday = pl.col("monday") + timedelta(days=6)
    return rows.join(truth.select(*_SITE, "kind", "mode", "from_day", "to_day"), on=_SITE).filter(
        (pl.col("from_day") <= sunday) & (pl.col("to_day") + _LOOKS_BACK >= pl.col("monday"))
    )


def judged(evidence: Evidence) -> pl.DataFrame:
    """``found`` with ``true`` (a live fault or consequence of that very mode), ``false`` (nothing like it, and no
    finding explains it) and ``healthy`` (no fault is live at the site in that week).
    """
    found = evidence.found.unique(maintain_order=True)
    seen = live(evidence.truth, found)
    real = seen.filter(pl.col("kind") != "innocent")
    keys = [*_SITE, "monday"]
    matched = real.filter(pl.col("mode") == pl.col("rule_id")).select(*keys, "rule_id").unique()
    causes = real.select(*keys, explained_by="mode").unique()
    ill = seen.filter(pl.col("kind").is_in(_ILL)).select(keys).unique()
    mark = pl.lit(True)
    return (
        found.join(matched.with_columns(matched=mark), on=[*keys, "rule_id"], how="left")
        .join(causes.with_columns(cause_true=mark), on=[*keys, "explained_by"], how="left")
        .join(ill.with_columns(ill=mark), on=keys, how="left")
        .with_columns(pl.col("matched", "cause_true", "ill").fill_null(False))
        .with_columns(
            true=pl.col("matched") & ((pl.col("explained_by") == "") | pl.col("cause_true")),
            false=~pl.col("matched") & (pl.col("explained_by") == ""),
            healthy=~pl.col("ill"),
        )
        .drop("matched", "cause_true", "ill")
    )


def cases(evidence: Evidence) -> pl.DataFrame:
    """One row a seeded fault: ``fleet``, ``site_id``, ``mode``, ``size``, ``days`` from the first day on which a log can
    show it to the Sunday of the first review that names it (null never), ``watched``: reviews went on for two weeks
    after that day.

    A review of the week in which it begins counts from the next day on, so that none is found in less than 0 days.
    """
    faults = (
        evidence.truth.filter(pl.col("kind") == "fault")
        .unique(maintain_order=True)
        .with_columns(pl.coalesce("seen_from", "from_day").alias("seen_from"))
    )
    true = judged(evidence).filter("true").select(*_SITE, "monday", mode="rule_id")
    named = (
        live(faults, true.rename({"mode": "rule_id"}))
        .filter(pl.col("mode") == pl.col("rule_id"))
        .group_by(*_SITE, "mode", "from_day")
        .agg(sunday=pl.col("monday").min() + timedelta(days=6))
    )
    last = evidence.site_weeks.group_by("fleet").agg(end=pl.col("monday").max() + timedelta(days=6))
    return (
        faults.join(named, on=[*_SITE, "mode", "from_day"], how="left")
        .join(last, on="fleet")
        .select(
            *_SITE,
            "mode",
            "size",
            days=(pl.col("sunday") - pl.col("seen_from")).dt.total_days().clip(lower_bound=0),
            watched=pl.col("seen_from") + timedelta(days=TWO_WEEKS - 1) <= pl.col("end"),
        )
    )


@dataclass(frozen=True, slots=True)
class Recall:
    """Of one mode. ``early`` counts those that were watched for two weeks; ``by_size`` small, middle and plain ones."""

    mode: str
    found: Share
    early: Share
    median_days: float | None
    by_size: tuple[Share, Share, Share]


def recalls(rows: pl.DataFrame) -> list[Recall]:
    """One a mode, in order, from `cases`."""
    third = pl.col("size") * 3
    out = []
    for (mode,), part in sorted(rows.group_by("mode"), key=lambda pair: _order(str(pair[0][0]))):
        early = part.filter("watched")
        by_size = tuple(
            _share(part.filter(third.is_between(i, i + 1, closed="both" if i == 2 else "left"))) for i in range(3)
        )
        days = part["days"].median()
        out.append(
            Recall(
                str(mode),
                _share(part),
                Share(early.filter(pl.col("days") < TWO_WEEKS).height, early.height),
                None if days is None else float(days),  # type: ignore[arg-type]
                by_size,  # type: ignore[arg-type]
            )
        )
    return out


@dataclass(frozen=True, slots=True)
class Alarms:
    """False findings of healthy site-weeks: any, and those of high severity; ``sites_high``: site-weeks that have one
    of high severity.
    """

    site_weeks: int
    any: int
    high: int
    weeks_any: Share
    weeks_high: Share


def alarms(evidence: Evidence) -> Alarms:
    """Over the site-weeks of all sites in which no fault is live. A verdict on a whole source that nothing seeded
    explains counts in ``any``, though it is no site's.
    """
    keys = [*_SITE, "monday"]
    ill = live(evidence.truth.filter(pl.col("kind").is_in(_ILL)), evidence.site_weeks).select(keys).unique()
    healthy = evidence.site_weeks.unique().join(ill, on=keys, how="anti").height
    false = judged(evidence).filter(pl.col("false") & pl.col("healthy"))
    high = false.filter(pl.col("severity").is_in(HIGH))
    return Alarms(
        healthy,
        false.height,
        high.height,
        Share(false.select(keys).n_unique(), healthy),
        Share(high.select(keys).n_unique(), healthy),
    )


def first_actions(evidence: Evidence) -> Share:
    """Of the first ten lines of each review, those whose finding was true when it was last in sight: one that stands
    on until someone has looked is no mistake of this week.
    """
    top = evidence.actions.filter(pl.col("rank") <= FIRST_ACTIONS).unique()
    seen = top.rename({"monday": "review", "seen": "monday"})
    right = live(evidence.truth.filter(pl.col("kind") != "innocent"), seen).filter(pl.col("mode") == pl.col("rule_id"))
    return Share(right.select(*_SITE, "review", "rank").n_unique(), top.height)


def taken_for(evidence: Evidence) -> pl.DataFrame:
    """``seeded`` x ``found``: how many sites had a false finding of ``found`` while ``seeded`` was live; ``seeded`` is
    an innocent's name or 'nothing' at sites without a live fault. Most first.
    """
    false = judged(evidence).filter("false").select(*_SITE, "monday", "rule_id")
    seen = live(evidence.truth.filter(pl.col("kind").is_in(["fault", "innocent"])), false)
    named = seen.select(*_SITE, "rule_id", seeded="mode", monday="monday")
    none = false.join(named, on=[*_SITE, "rule_id", "monday"], how="anti").with_columns(seeded=pl.lit("nothing"))
    columns = [*_SITE, "rule_id", "seeded"]
    return (
        pl.concat([named.select(columns), none.select(columns)])
        .unique()
        .group_by("seeded", found="rule_id")
        .agg(sites=pl.len())
        .sort(["sites", "seeded", "found"], descending=[True, False, False])
    )


def _share(rows: pl.DataFrame) -> Share:
    return Share(rows["days"].is_not_null().sum(), rows.height)


def _order(mode: str) -> tuple[str, int]:
    return mode[:1], int(mode[1:]) if mode[1:].isdigit() else 0
