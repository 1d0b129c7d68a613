"""What has changed since last week, and what was said of actions: lists for the fleet's page.

Belongs here: choosing and wording rows. Where an action stands is told by `followup.life`.
"""

from __future__ import annotations

import polars as pl

from pumpledger.engine.followup_tables import PARKED
from pumpledger.reports.data import ReviewData

Row = dict[str, object]


def changes(data: ReviewData, weeks: dict[str, Row]) -> dict[str, list[Row]] | None:
    """New, still open and gone actions against the week before; ``None`` where there was none.

    Silence closes nothing: an action that is gone while its site cannot be believed is listed apart.
    """
    if data.previous_actions is None:
        return None
    before = {(row["site_id"], row["rule_id"]): row for row in data.previous_actions.sort("rank").iter_rows(named=True)}
    now = {(row["site_id"], row["rule_id"]): row for row in data.actions.sort("rank").iter_rows(named=True)}
    found = set(data.findings.filter(pl.col("verdict") == "found").select("site_id", "rule_id").iter_rows())
    parked = {
        (row["site_id"], row["rule_id"])
        for row in data.action_states.filter(pl.col("state").is_in(PARKED)).iter_rows(named=True)
    }
    sorted_out: dict[str, list[Row]] = {"new": [], "still": [], "cleared": [], "unseen": []}
    for key, row in now.items():
        sorted_out["still" if key in before else "new"].append(row)
    for key, row in before.items():
        if key in now or key in parked:
            continue
        if key in found:
            sorted_out["still"].append({**row, "action": f"{row['action']} (no longer the first thing to do here)"})
        elif weeks.get(key[0], {}).get("believable"):
            sorted_out["cleared"].append(row)
        else:
            sorted_out["unseen"].append(row)
    return sorted_out


def followed(data: ReviewData) -> dict[str, list[Row]]:
    """Actions of which something was said, by state, each with what is to be known of it; states without any left
    out."""
    titles = {
        "returned": "Marked fixed, and seen again",
        "verified": "Mended, and the readings show it",
        "marked fixed": "Marked fixed, waiting for three believed days",
        "acknowledged": "Someone has it",
        "shelved": "Put off",
        "rejected": "Nothing was wrong",
    }
    names = dict(data.rules.select("rule_id", "name").unique().iter_rows())
    lists = {
        title: [
            {
                **row,
                "what": names.get(row["rule_id"], row["rule_id"]),
                "said": f"{row['said_by']}, {row['said_on']}" + (f": {row['reason']}" if row["reason"] else ""),
            }
            for row in data.action_states.filter(state=state).iter_rows(named=True)
        ]
        for state, title in titles.items()
    }
    return {title: rows for title, rows in lists.items() if rows}
