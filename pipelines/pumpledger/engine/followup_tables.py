"""Tables of the week's actions and of what became of them: names and types, as in `tables.py`, which lists these with its own in ``ALL``."""

from __future__ import annotations

from pumpledger.engine.schema import Table

ACTIONS = Table(
    "actions",
    "the one line of a site in the review",
    ("rank",),
    {
        "rank": ("int", "order in the review, from 1"),
        "action_id": ("text", "stable short name: a- and 8 hexadecimal digits of site, rule, component"),
        "site_id": ("text", "site"),
        "site_name": ("text", "name in the register"),
        "route": ("text", "route in the register"),
        "rule_id": ("text", "headline finding"),
        "component": ("text", "pump_id or export that it is about"),
        "severity": ("text", "safety, this week, next visit, note or data"),
        "action": ("text", "what to do"),
        "why": ("text", "one sentence"),
        "also_seen": ("text", "other findings of the site, by name, separated by semicolons"),
        "benefit_kwh_week": ("real", "energy [kWh per week]; null unknown"),
        "benefit_money_week": ("real", "money [currency per week]; null unknown"),
        "probability": ("real", "0-1"),
        "work_min": ("real", "minutes of work [min]"),
        "first_day": ("day", "since when"),
        "state": ("text", "open, acknowledged or returned"),
        "note": ("text", "what is to be known of the state; empty: nothing"),
    },
)

PARKED = ("shelved", "marked fixed", "verified", "rejected")
"""States in which an action is no line of the week's list."""

ACTION_STATES = Table(
    "action_states",
    "one thing found at a site, now or before, of which there is something to say",
    ("site_id", "rule_id", "component"),
    {
        "action_id": ("text", "stable short name: a- and 8 hexadecimal digits of site, rule, component"),
        "site_id": ("text", "site"),
        "rule_id": ("text", "catalogue identifier such as A1"),
        "component": ("text", "pump_id or export that it is about"),
        "state": ("text", "open, acknowledged, shelved, marked fixed, verified, returned, or rejected"),
        "note": ("text", "what is to be known of the state; empty: nothing"),
        "said_by": ("text", "who said the last word on it; empty: no one"),
        "said_on": ("day", "when"),
        "day": ("day", "shelved until, or fixed on; null neither"),
        "reason": ("text", "why, in that person's words"),
        "valid_days": ("int", "believed days since it was marked fixed; null it was not"),
        "verified_on": ("day", "third believed day without it; null not verified"),
        "fixes": ("int", "how often it was marked fixed"),
        "in_week": ("bool", "found in this week"),
    },
)

RULE_OUTCOMES = Table(
    "rule_outcomes",
    "one rule, by what came of its actions",
    ("rule_id",),
    {
        "rule_id": ("text", "catalogue identifier such as A1"),
        "verified": ("int", "actions marked fixed and verified"),
        "returned": ("int", "actions marked fixed and seen again"),
        "rejected": ("int", "actions where nothing was wrong"),
        "precision": ("real", "how often it is right: mean of a beta distribution that begins at (1, 1) [0-1]"),
    },
)

FOLLOWUP_TABLES = (ACTIONS, ACTION_STATES, RULE_OUTCOMES)
