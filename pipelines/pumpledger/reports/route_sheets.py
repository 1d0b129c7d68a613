"""The week's work by route: a page to print for each, its stops in order, with room to write.

Belongs here: which actions go on a route and what stands at each stop. What is mended at a desk, such as an export, is
no stop.
"""

from __future__ import annotations

from pumpledger.reports import wording
from pumpledger.reports.cautions import PAD_CHECKS
from pumpledger.reports.data import ReviewData, rows_by
from pumpledger.reports.fleet_page import Row, action_row, in_order
from pumpledger.reports.keying_card import KeyingCards, plan_in_force
from pumpledger.reports.pages import template
from pumpledger.reports.verdict import split_by_budget

NO_ROUTE = "No route on record"


def route_sheets_html(data: ReviewData) -> str:
    """``routes.html``: every route that has something to do, by name."""
    return template("routes.html.j2").render(
        data=data, dates=wording.day_range(data.first_day, data.last_day), routes=routes(data), checks=PAD_CHECKS
    )


def routes(data: ReviewData) -> list[Row]:
    """Routes by name, the one without a name last; each with its stops in their order, those without a number last."""
    actions = [action_row(row, data.currency) for row in data.actions.iter_rows(named=True)]
    on_site = [row for row in actions if row["severity"] != "data"]
    first, _ = split_by_budget(actions, data.site.height, data.actions_per_100_sites)
    this_week = {row["action_id"] for row in first}
    sites = {row["site_id"]: row for row in data.site.iter_rows(named=True)}
    pumps = rows_by(data.pump.sort("site_id", "pump_id"), "site_id")
    plans = rows_by(data.plan.sort("pump_id", "valid_from", "period"), "pump_id")
    best = {row["pump_id"]: row for row in data.best_plans.iter_rows(named=True)}
    cards = KeyingCards(data)
    findings = rows_by(in_order(data.findings.filter(verdict="found")), "site_id")
    stops: dict[str, list[Row]] = {}
    for action in on_site:
        site = sites[action["site_id"]]
        stops.setdefault(site["route"] or "", []).append(
            {
                "site": site,
                "action": action,
                "this_week": action["action_id"] in this_week,
                "findings": findings.get(site["site_id"], []),
                "cautions": _once(row["caution"] for row in findings.get(site["site_id"], [])),
                "pumps": [_pump(pump, plans, best, cards, data) for pump in pumps.get(site["site_id"], [])],
            }
        )
    return [
        {
            "name": name or NO_ROUTE,
            "stops": sorted(stops[name], key=_place),
            "minutes": sum(stop["action"]["work_min"] or 0 for stop in stops[name]),
        }
        for name in sorted(stops, key=lambda name: (not name, name))
    ]


def _place(stop: Row) -> tuple[bool, int, str]:
    number = stop["site"]["stop"]
    return number is None, number or 0, stop["site"]["site_id"]


def _pump(pump: Row, plans: dict[str, list[Row]], best: dict[str, Row], cards: KeyingCards, data: ReviewData) -> Row:
    plan, since, _ = plan_in_force(plans.get(pump["pump_id"], []), data.last_day)
    return {
        **pump,
        "plan": plan,
        "since": since,
        "best": best.get(pump["pump_id"]),
        "proposal": cards.of_pump(pump["pump_id"]),
    }


def _once(texts: object) -> list[str]:
    return list(dict.fromkeys(text for text in texts if text))  # type: ignore[union-attr]
