"""Explain before alarm: which finding is the cause of which, and what an outcome's causes are.

Belongs here: how days are used once. Which rule may explain which stands with each rule (``explained_by``).

A cause takes the days on which it holds: those of ``on_days``, or all of them where it names none. A finding stands
under its first cause if the days that its causes leave over are too few for its own rule (its parameter ``days``, else
one); otherwise it stands by itself. A cause on one pump explains nothing on another; a cause common to a source reaches
every pump of that source. What is explained by something explained stands under the first of the chain.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta

import polars as pl

from pumpledger.diagnosis.evidence import CANNOT_TELL, EVIDENCE, FOUND
from pumpledger.diagnosis.rules import BY_ID
from pumpledger.diagnosis.rules.rule import OUTCOME_ORDER, Rule

SLIGHT_FROM = 30  # orders below are data, season and clock: what they explain is no alarm
ANOTHERS_LOG = "B3"  # while it lasts no rule of speed or power speaks (`assemble.gate`); before and after, it explains
EVEN = 0.5  # less likely right than this, and a finding explains nothing and waits behind the rest
NO_CAUSE = "No cause shows in these data."
Days = frozenset[date]


@dataclass(frozen=True, slots=True)
class Row:
    """One row of EVIDENCE that was found. ``days`` is None where it holds all along; ``between`` are the days from
    first to last, None where these are unknown. ``unseen``: it only stands on from earlier weeks;
    ``unlikely``: more likely wrong than right, so that it explains nothing."""

    index: int
    site_id: str
    component: str
    rule: Rule
    named: str
    severity: str
    days: Days | None
    between: Days | None
    unseen: bool
    unlikely: bool


@dataclass(slots=True)
class Explained:
    """What the causes of one row come to: ``parent`` is the one that it stands under, if any; ``causes`` are all, with
    the number of its days that each takes (None: not by days)."""

    parent: Row | None = None
    causes: list[tuple[Row, int | None]] = field(default_factory=list)
    left_over: int | None = None


def explain(
    evidence: pl.DataFrame,
    kept: pl.DataFrame,
    pumps: pl.DataFrame,
    sources: pl.DataFrame,
    values: Mapping[str, Mapping[str, float]],
) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Evidence with ``explained_by`` and, for outcomes, ``causes`` filled in; and ``kept`` with ``explained_by``.

    A cause without a benefit of its own takes the greatest of what it explains: mending the cause brings it. Not so
    where a wrong clock explains running off the plan: set right, the pump runs as long at another time.

    Args:
        evidence: EVIDENCE.
        kept: FINDINGS that stand on unseen: each may explain what fell on its days, and be explained by what did.
        pumps: site_id, pump_id.
        sources: pump_id, source.
        values: rule -> parameter -> value.
    """
    asked = _without_answered(evidence)
    unseen = {"on_days": None, "unseen": True}
    rows = [*asked.iter_rows(named=True), *({**row, **unseen} for row in kept.iter_rows(named=True))]
    found = [_row(index, row) for index, row in enumerate(rows) if row["verdict"] == FOUND]
    seen = _Seen(found, pumps, sources)
    looked = {row.index: _looked(row, seen, values.get(row.rule.id, {})) for row in found}
    roots = {row.index: _root(row, looked) for row in found}
    explained_by = ["" for _ in rows]
    causes: list[str | None] = [None for _ in rows]
    for row in found:
        root = roots[row.index]
        explained_by[row.index] = root.rule.id if root is not None else ""
        if row.rule.order >= OUTCOME_ORDER:
            causes[row.index] = _worded(looked[row.index])
    marked = asked.with_columns(
        pl.Series("explained_by", explained_by[: asked.height], dtype=pl.String),
        pl.Series("causes", causes[: asked.height], dtype=pl.String),
    )
    under = kept.with_columns(pl.Series("explained_by", explained_by[asked.height :], dtype=pl.String))
    return _with_gains(marked, roots), under


def _without_answered(evidence: pl.DataFrame) -> pl.DataFrame:
    """Without open questions on a source for which an earlier rule found the cause: a cause of a source is one row."""
    answered: dict[str, float] = {}
    of_sources = evidence.filter(pl.col("site_id") == "")
    for rule_id, source in of_sources.filter(pl.col("verdict") == FOUND).select("rule_id", "component").iter_rows():
        answered[source] = min(BY_ID[rule_id].order, answered.get(source, BY_ID[rule_id].order))
    idle = [
        site == "" and verdict == CANNOT_TELL and answered.get(component, 99) < BY_ID[rule_id].order
        for site, rule_id, component, verdict in evidence.select(
            "site_id", "rule_id", "component", "verdict"
        ).iter_rows()
    ]
    return evidence.filter(~pl.Series("idle", idle, dtype=pl.Boolean))


def _row(index: int, row: Mapping[str, object]) -> Row:
    first, last = row["first_day"], row["last_day"]
    between = None
    if isinstance(first, date) and isinstance(last, date):
        between = frozenset(first + timedelta(days=n) for n in range((last - first).days + 1))
    named = str(row["on_days"] or "")
    return Row(
        index,
        str(row["site_id"]),
        str(row["component"]),
        BY_ID[str(row["rule_id"])],
        str(row["explained_by"] or ""),
        str(row["severity"] or BY_ID[str(row["rule_id"])].severity),
        frozenset(date.fromisoformat(day) for day in named.split()) if named else None,
        between,
        bool(row.get("unseen")),
        row["probability"] is not None and float(row["probability"]) < EVEN,  # type: ignore[arg-type]
    )


class _Seen:
    """The found rows, by where a cause may stand."""

    def __init__(self, found: list[Row], pumps: pl.DataFrame, sources: pl.DataFrame) -> None:
        self._at: dict[tuple[str, str], list[Row]] = defaultdict(list)
        for row in found:
            self._at[row.site_id, row.rule.id].append(row)
        self._source = dict(sources.select("pump_id", "source").iter_rows())
        self._pumps: dict[str, list[str]] = defaultdict(list)
        for site, pump in pumps.select("site_id", "pump_id").iter_rows():
            self._pumps[site].append(pump)

    def causes(self, row: Row, rule_id: str) -> list[Row]:
        """Rows of ``rule_id`` that may explain ``row``: on its pump, on its site, on its source."""
        if row.site_id == "":
            others = (cause for cause in self._at.get(("", rule_id), []) if cause is not row)
            return [cause for cause in others if cause.component == row.component]
        wide = row.rule.scope == "site"
        here = [
            cause
            for cause in self._at.get((row.site_id, rule_id), [])
            if rule_id != row.rule.id and (wide or cause.rule.scope == "site" or cause.component == row.component)
        ]
        fed_by = {self._source.get(pump) for pump in (self._pumps[row.site_id] if wide else [row.component])}
        return here + [cause for cause in self._at.get(("", rule_id), []) if cause.component in fed_by]


def _looked(row: Row, seen: _Seen, values: Mapping[str, float]) -> Explained:
    """Its causes in their order, and the first of them if they leave too few of its days."""
    found = Explained()
    left = row.days
    for rule_id in dict.fromkeys(
        (*([row.named] if row.named else []), ANOTHERS_LOG, row.rule.id, *row.rule.explained_by)
    ):
        for cause in seen.causes(row, rule_id):
            if cause.unlikely or rule_id == ANOTHERS_LOG and not _of_anothers_log(row, cause):
                continue
            taken, left = _taken(row, cause, left)
            if taken != 0:
                found.causes.append((cause, taken))
    weighty = [cause for cause, _ in found.causes if not _slight(cause, row)]
    if weighty and (left is None or len(left) < values.get("days", 1)):
        found.parent = weighty[0]
    elif found.causes and left is not None:
        found.left_over = len(left)
    return found


def _slight(cause: Row, row: Row) -> bool:
    """A note on programme or hardware is one of an outcome's causes, and too little to stand for it."""
    return row.rule.order >= OUTCOME_ORDER and cause.severity == "note" and cause.rule.order >= SLIGHT_FROM


def _taken(row: Row, cause: Row, left: Days | None) -> tuple[int | None, Days | None]:
    """How many of the days that are left ``cause`` takes (None: the whole finding), and what it leaves."""
    if (row.unseen or cause.unseen) and cause.rule.id != row.named and _apart(row, cause):
        return 0, left
    if cause.unseen and left is not None and cause.between is not None:
        return len(left & cause.between), left - cause.between
    if cause.days is None:
        return None, None if left is None else frozenset()
    if left is None:
        touches = row.between is None or bool(row.between & cause.days)
        return (None if touches else 0), None
    return len(left & cause.days), left - cause.days


def _of_anothers_log(row: Row, cause: Row) -> bool:
    """Whether a log that was taken for another's may be why ``row`` was seen: one of the two only stands on."""
    reads = bool({"speed", "power"} & set(row.rule.needs)) and row.rule.id != ANOTHERS_LOG
    return ANOTHERS_LOG in row.rule.explained_by or (reads and (row.unseen or cause.unseen))


def _apart(row: Row, cause: Row) -> bool:
    """Whether no day can be of both, as of findings of different weeks."""
    return row.between is not None and cause.between is not None and not row.between & cause.between


def _root(row: Row, looked: Mapping[int, Explained]) -> Row | None:
    """The first of the chain of causes above ``row``; None where it stands by itself. Of a ring of rules that explain
    each other, the earliest in the order of explanation stands."""
    chain = [row]
    while (above := looked[chain[-1].index].parent) is not None:
        if above in chain:
            ring = chain[chain.index(above) :]
            head = min(ring, key=lambda one: (one.rule.order, one.index))
            return None if head is row else head
        chain.append(above)
    return chain[-1] if len(chain) > 1 else None


def _worded(found: Explained) -> str:
    """The causes of an outcome for people, each once."""
    days: dict[str, int | None] = {}
    for cause, taken in found.causes:
        known = days.get(cause.rule.name, 0)
        days[cause.rule.name] = None if taken is None or known is None else known + taken
    if not days:
        return NO_CAUSE
    parts = [
        name if count is None else f"{name} ({'1 day' if count == 1 else f'{count} days'})"
        for name, count in days.items()
    ]
    rest = "" if not found.left_over else " The other days show no cause."
    return f"{'Cause' if len(parts) == 1 else 'Causes'}: {'; '.join(parts)}.{rest}"


def _with_gains(marked: pl.DataFrame, roots: Mapping[int, Row | None]) -> pl.DataFrame:
    gain_kwh: dict[int, float] = {}
    gain_money: dict[int, float] = {}
    columns = marked.select("rule_id", "benefit_kwh_week", "benefit_money_week").rows()
    for index, root in roots.items():
        if index >= marked.height:
            continue  # what stands on unseen gives its cause no gain
        rule_id, kwh, money = columns[index]
        if root is None or rule_id == "C10" or root.site_id == "":
            continue
        if kwh is not None:
            gain_kwh[root.index] = max(kwh, gain_kwh.get(root.index, kwh))
        if money is not None:
            gain_money[root.index] = max(money, gain_money.get(root.index, money))
    places = range(marked.height)
    gained = marked.with_columns(
        pl.Series("gain_kwh", [gain_kwh.get(index) for index in places], dtype=pl.Float64),
        pl.Series("gain_money", [gain_money.get(index) for index in places], dtype=pl.Float64),
    )
    own = (pl.col("verdict") == FOUND) & pl.col("benefit_kwh_week").is_null() & pl.col("benefit_money_week").is_null()
    return gained.with_columns(
        pl.when(own).then("gain_kwh").otherwise("benefit_kwh_week").alias("benefit_kwh_week"),
        pl.when(own).then("gain_money").otherwise("benefit_money_week").alias("benefit_money_week"),
    ).select(list(EVIDENCE.columns))
