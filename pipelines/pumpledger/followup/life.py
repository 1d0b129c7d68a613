"""Where each action stands in a week: what people said of it, against what the readings have shown since.

Belongs here: the states, and how one follows from another. A day that cannot be believed proves nothing either way.

- open: found, and no one has said anything that still holds.
- acknowledged: found, and someone has it.
- shelved: put off until a day; it comes back before where it has become worse.
- marked fixed: done on site, and fewer than three believed days have passed since.
- verified: three believed days since, and none of them shows it.
- returned: marked fixed, and seen again on a day after.
- rejected: nothing was wrong, says who went there; it rests for four weeks.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from datetime import date, timedelta

import polars as pl

from pumpledger.engine.followup_tables import ACTION_STATES, RULE_OUTCOMES
from pumpledger.followup.log import Event, action_id

VERIFYING_DAYS = 3
REJECTED_REST_DAYS = 28
WORSE_BY = 1.5
"""A benefit so many times what it was when the action was put off brings it back."""
_KEY = ("site_id", "rule_id", "component")
_SEVERITIES = ("note", "data", "next visit", "this week", "safety")


def action_states(events: list[Event], found: pl.DataFrame, valid_days: pl.DataFrame, week_end: date) -> pl.DataFrame:
    """ACTION_STATES of the week that ends on ``week_end``.

    Args:
        events: the log, in its order; of several lines on one action the last counts.
        found: what was found in this week and in those since the oldest day marked fixed: the key (site_id, rule_id,
            component), severity, benefit_kwh_week, benefit_money_week, last_day, in_week.
        valid_days: site_id, day_local of the days on which every pump of the site is believed.
        week_end: last local day of the week.
    """
    last = {event.key: event for event in events}
    fixes = Counter(event.key for event in events if event.event == "fixed")
    now = {tuple(row[name] for name in _KEY): row for row in found.filter("in_week").iter_rows(named=True)}
    seen: dict[tuple[str, ...], date] = {}
    for *key, day in found.select(*_KEY, "last_day").drop_nulls("last_day").iter_rows():
        seen[tuple(key)] = max(day, seen.get(tuple(key), day))
    days: dict[str, list[date]] = {}
    for site_id, day in valid_days.sort("day_local").iter_rows():
        days.setdefault(site_id, []).append(day)
    rows = []
    for key in sorted({*now, *last}):
        event, row = last.get(key), now.get(key)
        since = _since(event, days.get(key[0], []), week_end)
        state, note = _state(event, row, seen.get(key), since, week_end)
        if state:
            rows.append(
                {
                    "action_id": action_id(*key),
                    **dict(zip(_KEY, key, strict=True)),
                    "state": state,
                    "note": note,
                    "said_by": event.said_by if event else "",
                    "said_on": event.said_on if event else None,
                    "day": event.day if event else None,
                    "reason": event.reason if event else "",
                    "valid_days": len(since) if event and event.event == "fixed" else None,
                    "verified_on": since[VERIFYING_DAYS - 1] if state == "verified" else None,
                    "fixes": fixes[key],
                    "in_week": row is not None,
                }
            )
    return ACTION_STATES.conform(pl.DataFrame(rows, schema=ACTION_STATES.schema))


def rule_outcomes(states: pl.DataFrame) -> pl.DataFrame:
    """RULE_OUTCOMES: how often each rule proved right, from what came of its actions.

    The share is the mean of a beta distribution that begins at (1, 1), so that one outcome proves little.
    """
    counts = states.group_by("rule_id").agg(
        pl.col("state").is_in(["verified"]).sum().cast(pl.Int64).alias("verified"),
        pl.col("state").is_in(["returned"]).sum().cast(pl.Int64).alias("returned"),
        pl.col("state").is_in(["rejected"]).sum().cast(pl.Int64).alias("rejected"),
    )
    right, all_told = (
        pl.col("verified") + pl.col("returned"),
        pl.col("verified") + pl.col("returned") + pl.col("rejected"),
    )
    return RULE_OUTCOMES.conform(counts.filter(all_told > 0).with_columns(precision=(1 + right) / (2 + all_told)))


def _fixed_on(event: Event) -> date:
    return event.day or event.said_on


def _since(event: Event | None, days: Iterable[date], week_end: date) -> list[date]:
    """Believed days after the one on which the action was marked fixed."""
    if event is None or event.event != "fixed":
        return []
    return [day for day in days if _fixed_on(event) < day <= week_end]


def _state(
    event: Event | None, row: dict[str, object] | None, seen: date | None, since: list[date], week_end: date
) -> tuple[str, str]:
    """State and what is to be known of it; no state where there is nothing left to say."""
    standing = "open" if row else ""
    if event is None or event.event == "reopened":
        return standing, ""
    if event.event == "acknowledged":
        return ("acknowledged" if row else ""), ""
    if event.event == "shelved":
        worse = _worse(event, row)
        if worse or event.day is None or week_end >= event.day:
            return standing, (f"shelved until {event.day}, and back: {worse or 'the day has come'}" if row else "")
        return "shelved", f"until {event.day}"
    if event.event == "rejected":
        until = event.said_on + timedelta(days=REJECTED_REST_DAYS)
        return (
            ("rejected", f"rests until {until}") if week_end < until else (standing, "rejected once, and found again")
        )
    if seen is not None and seen > _fixed_on(event):
        return "returned", f"marked fixed on {_fixed_on(event)}, and seen again on {seen}"
    if len(since) >= VERIFYING_DAYS:
        return "verified", f"{len(since)} believed days since {_fixed_on(event)} without it"
    return "marked fixed", f"{len(since)} of {VERIFYING_DAYS} believed days since {_fixed_on(event)}"


def _worse(event: Event, row: dict[str, object] | None) -> str:
    if row is None:
        return ""
    was, now = (
        _SEVERITIES.index(text) if text in _SEVERITIES else -1 for text in (event.severity, str(row["severity"]))
    )
    if event.severity and now > was:
        return f"it is now a matter for {row['severity']}"
    for name in ("benefit_money_week", "benefit_kwh_week"):
        before, after = getattr(event, name), row[name]
        if before and after and before > 0:
            return "it costs more than half as much again" if after >= WORSE_BY * before else ""
    return ""
