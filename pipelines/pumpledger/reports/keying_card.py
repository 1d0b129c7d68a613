"""The keying card: one page a pump for the technician who keys a proposed plan in.

Belongs here: what stands on a card, and the same pump's proposal for its site's page and the route sheets. Phrases stand
in `proposal_words.py`.
"""

from __future__ import annotations

from collections.abc import Iterator

from markupsafe import Markup

from pumpledger.reports import wording
from pumpledger.reports.cautions import PAD_CHECKS
from pumpledger.reports.data import ReviewData, rows_by
from pumpledger.reports.pages import site_file, template
from pumpledger.reports.proposal_words import (
    cost_words,
    effect_words,
    energy_words,
    margin_words,
    proof_words,
    saving_words,
    state_words,
    water_words,
    why_words,
)
from pumpledger.reports.svg_frontier import frontier_picture
from pumpledger.reports.svg_tariff_day import tariff_day_picture

Row = dict[str, object]

NO_LEAST_FLOW = "not recorded: find it on the load's plate before a speed is changed while it runs"
FOLDER = "cards"


class KeyingCards:
    """Cards and proposals of all pumps from tables grouped once."""

    def __init__(self, data: ReviewData) -> None:
        self._data = data
        self._sites = {row["site_id"]: row for row in data.site.iter_rows(named=True)}
        self._pumps = {row["pump_id"]: row for row in data.pump.iter_rows(named=True)}
        self._shares: dict[object, int] = dict(data.pump.group_by("site_id").len().iter_rows())
        self._plans = rows_by(data.plan.sort("pump_id", "valid_from", "period"), "pump_id")
        self._proposals = {row["pump_id"]: row for row in data.proposals.iter_rows(named=True)}
        self._periods = rows_by(data.proposed_periods.sort("pump_id", "period"), "pump_id")
        self._effects = rows_by(data.plan_effects.sort("pump_id", "valid_from"), "pump_id")
        self._prices = rows_by(data.quarter_price.sort("tariff", "quarter"), "tariff")
        self._frontier = rows_by(data.frontier.sort("pump_id", "turnovers"), "pump_id")

    def pages(self) -> Iterator[tuple[str, str]]:
        """File name and HTML of each card, by pump."""
        sheet = template("card.html.j2")
        for pump_id, row in sorted(self._proposals.items()):
            if row["state"] == "proposed":
                yield site_file(str(pump_id)), sheet.render(data=self._data, up="../", cards=[self._card(row)])

    def what_if(self, words: str) -> str:
        """All cards on one page, with what was asked to be otherwise, and those for whom there is nothing to key."""
        cards = [self._card(row) for _, row in sorted(self._proposals.items())]
        return template("card.html.j2").render(data=self._data, up="", cards=cards, asked=words)

    def of_pump(self, pump_id: str) -> Row | None:
        """The proposal of a pump in words, and the effects of those keyed in; None where nothing was asked."""
        row, effects = self._proposals.get(pump_id), self._effects.get(pump_id, [])
        told = [(effect["valid_from"], effect_words(effect)) for effect in effects]
        if row is None:
            return {"proposed": False, "state": "", "effects": told} if told else None
        return {**self._words(row), "effects": told}

    def _words(self, row: Row) -> Row:
        currency, pump_id = self._data.currency, row["pump_id"]
        proposed = row["state"] == "proposed"
        words: Row = {
            "proposed": proposed,
            "state": state_words(row),
            "periods": self._periods.get(pump_id, []),
            "file": f"{FOLDER}/{site_file(str(pump_id))}",
            "why": why_words(row),
        }
        if row["cost_day"] is None:
            return words
        volume = self._sites[row["site_id"]]["pool_volume_m3"]
        return words | {
            "cost": cost_words(row, currency),
            "proof": proof_words(row, currency),
            "saving": saving_words(row, currency),
            "water": water_words(row),
            "energy": energy_words(row),
            "margin": margin_words(row, volume and volume / self._shares[row["site_id"]], currency),
        }

    def _card(self, row: Row) -> Row:
        data, pump = self._data, self._pumps[row["pump_id"]]
        site = self._sites[row["site_id"]]
        plan, since, _ = plan_in_force(self._plans.get(pump["pump_id"], []), data.last_day)
        periods = self._periods.get(pump["pump_id"], [])
        prices = [item["price_per_kwh"] for item in self._prices.get(site["tariff"], [])]
        steps = [[(p["start_min"], p["stop_min"], p["speed_rpm"]) for p in rows] for rows in (plan, periods)]
        picture = tariff_day_picture(prices, *steps, data.currency) if periods else ""
        return {
            **self._words(row),
            "site": site,
            "pump": pump,
            "plan": plan,
            "since": since,
            "setup": self._setup(site, pump),
            "rows": [
                f"{pump['pump_id']},YYYY-MM-DD,{p['period']},{p['speed_rpm']},{wording.clock(p['start_min'])},"
                f"{wording.clock(p['stop_min'])}"
                for p in periods
            ],
            "picture": Markup(picture),
            "priced": bool(prices),
            "frontier": self._frontier_of(row, site),
            "checks": PAD_CHECKS,
        }

    def _setup(self, site: Row, pump: Row) -> list[tuple[str, str]]:
        """What stays as it is at the controller, and the limits that no speed may pass."""
        units = self._data.units
        priming = "not on record: leave it as it is"
        if pump["priming_speed_rpm"] is not None:
            priming = f"{wording.speed(pump['priming_speed_rpm'])} for {wording.number(pump['priming_min'])} min"
        freeze = "not on record: look how it is set up, and leave it on"
        if pump["freeze_setpoint_c"] is not None:
            set_at = wording.quantity(pump["freeze_setpoint_c"], "temperature", units)
            freeze = f"at {set_at}, {wording.speed(pump['freeze_speed_rpm'])}: leave it on"
        load = "none on record"
        if pump["aux_load"] and pump["aux_load"] != "none":
            least = pump["aux_min_speed_rpm"]
            load = f"{pump['aux_load']}: {NO_LEAST_FLOW if least is None else f'never below {wording.speed(least)}'}"
        missing = "not recorded: no speed above the plan on record"
        return [
            ("Priming", priming),
            ("Freeze protection", freeze),
            ("Load", load),
            ("Filter limit", wording.quantity(site["filter_limit_m3h"], "flow", units, missing=missing)),
            ("Suction limit", wording.quantity(site["suction_limit_m3h"], "flow", units, missing=missing)),
            ("Full speed", wording.speed(pump["full_speed_rpm"])),
            (
                "Rules looked at",
                f"those of {place}" if (place := site["jurisdiction"]) else "none, no jurisdiction on record",
            ),
        ]

    def _frontier_of(self, row: Row, site: Row) -> Row | None:
        rows = self._frontier.get(row["pump_id"], [])
        points = [(p["turnovers"], p["cost_day"], p["bound_day"]) for p in rows if not p["in_force"]]
        if not points:
            return None
        now = next(((p["turnovers"], p["cost_day"], p["bound_day"]) for p in rows if p["in_force"]), None)
        unit = self._data.currency if row["priced"] else "kWh"
        svg = frontier_picture(points, site["required_turnovers"], now, unit)
        return {"svg": Markup(svg), "points": points, "unit": unit, "now": now}


def plan_in_force(rows: list[Row], last_day: object) -> tuple[list[Row], object, object]:
    """Rows of the plan keyed in on ``last_day``, since when, and when the next one begins."""
    since = max((row["valid_from"] for row in rows if row["valid_from"] <= last_day), default=None)
    coming = min((row["valid_from"] for row in rows if row["valid_from"] > last_day), default=None)
    return [row for row in rows if row["valid_from"] == since], since, coming
