"""A site's own page: what is keyed in, what runs, what to key in instead, and the evidence day by day.

Belongs here: choosing, ordering and wording rows of one site. Tables are grouped once for all sites in `SitePages`.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

from markupsafe import Markup

from pumpledger.reports import wording
from pumpledger.reports.balance_section import BalanceSections
from pumpledger.reports.carpets import Carpets
from pumpledger.reports.cautions import PAD_CHECKS
from pumpledger.reports.curve_words import curve_facts
from pumpledger.reports.data import ReviewData, rows_by
from pumpledger.reports.data_section import held_back
from pumpledger.reports.day_pictures import day_pictures
from pumpledger.reports.efficiency_section import EfficiencySections
from pumpledger.reports.finding_pictures import FindingPictures
from pumpledger.reports.fleet_page import Row, action_row, compared, in_order, turnover_word
from pumpledger.reports.keying_card import KeyingCards, plan_in_force
from pumpledger.reports.pages import site_file, template
from pumpledger.reports.savings_section import SavingsSections
from pumpledger.reports.svg_bars import interval_bar, scale_top
from pumpledger.reports.svg_carpet import SITE
from pumpledger.reports.verdict import site_days
from pumpledger.units import for_people


class SitePages:
    """Pages of all sites from tables grouped once."""

    def __init__(self, data: ReviewData, carpets: Carpets) -> None:
        self._data = data
        self._carpets = carpets
        self._pumps = rows_by(data.pump.sort("site_id", "pump_id"), "site_id")
        self._plans = rows_by(data.plan.sort("pump_id", "valid_from", "period"), "pump_id")
        self._best = {row["pump_id"]: row for row in data.best_plans.iter_rows(named=True)}
        self._actions = {row["site_id"]: action_row(row, data.currency) for row in data.actions.iter_rows(named=True)}
        self._weeks = {row["site_id"]: row for row in data.site_weeks.iter_rows(named=True)}
        self._findings = rows_by(in_order(data.findings), "site_id")
        self._days = rows_by(site_days(data.daily), "site_id")
        self._savings = {(row["site_id"], row["day_local"]): row for row in data.savings.iter_rows(named=True)}
        self._held_back = held_back(data)
        self._efficiency = EfficiencySections(data)
        self._cards = KeyingCards(data)
        self._balance = BalanceSections(data)
        self._curve_rows = {row["pump_id"]: row for row in data.curves.iter_rows(named=True)}
        self._saved = SavingsSections(data)
        self._pictures = FindingPictures(data, carpets)
        exports = data.exports.sort("sequence").unique("file", keep="last", maintain_order=True)
        behind = data.pump_exports.join(exports.drop("readings"), on="file", how="left").sort("pump_id", "file")
        self._exports = rows_by(behind, "pump_id")

    def pages(self) -> Iterator[tuple[str, str]]:
        """File name and HTML of each site, by site code."""
        sheet = template("site.html.j2")
        for site in self._data.site.sort("site_id").iter_rows(named=True):
            yield site_file(site["site_id"]), sheet.render(self._content(site))

    def _content(self, site: Row) -> Row:
        data, site_id = self._data, site["site_id"]
        days = data.shown_days
        pumps = [self._pump(site_id, pump, days) for pump in self._pumps.get(site_id, [])]
        findings = self._findings.get(site_id, [])
        by_day = self._day_pictures(site, days)
        return {
            "data": data,
            "site": site,
            "dates": wording.day_range(data.first_day, data.last_day),
            "facts": self._facts(site),
            "action": self._actions.get(site_id),
            "week": self._weeks.get(site_id),
            "held_back": self._held_back.get(site_id),
            "pumps": pumps,
            "first": days[0],
            "flow_unit": for_people(0.0, "flow", data.units)[1],
            "factor_unit": for_people(0.0, "energy factor", data.units)[1],
            "days": self._ledger(site, days),
            "day_pictures": by_day,
            "saved": self._saved.of_site(site, self._pumps.get(site_id, [])),
            "turnover_note": self._turnover_note(site_id),
            "found": _tree([self._seen(site, row, by_day) for row in findings if row["verdict"] == "found"]),
            "untold": [row for row in findings if row["verdict"] != "found"],
            "checks": PAD_CHECKS,
        }

    def _seen(self, site: Row, finding: Row, by_day: list[Markup]) -> Row:
        """A finding with its picture and what else could look the same."""
        pumps = [pump["pump_id"] for pump in self._pumps.get(site["site_id"], [])]
        pictures = self._pictures.of_finding(site, pumps, finding, by_day)
        return {**finding, "pictures": pictures, "others": self._pictures.others(finding)}

    def _facts(self, site: Row) -> list[tuple[str, str]]:
        units = self._data.units
        required = site["required_turnovers"]
        return [
            ("Pool", f"{wording.quantity(site['pool_volume_m3'], 'volume', units)}, {site['pool_class']}"),
            ("Required turnovers a day", wording.number(required, 2) if required is not None else "not entered"),
            ("Tariff", site["tariff"] or "not on record"),
            ("Filter limit", wording.quantity(site["filter_limit_m3h"], "flow", units, missing="not recorded")),
            ("Suction limit", wording.quantity(site["suction_limit_m3h"], "flow", units, missing="not recorded")),
            ("Season", site["season"] or "not on record"),
            ("Pipes that can freeze", "yes" if site["freeze_risk"] else "not marked in the register"),
            (
                "Route",
                ", ".join(str(part) for part in (site["route"], site["stop"] and f"stop {site['stop']}") if part)
                or "not on record",
            ),
            ("Time zone", site["zone"] or "not on record"),
        ]

    def _pump(self, site_id: str, pump: Row, days: list[date]) -> Row:
        pump_id = pump["pump_id"]
        plan, since, coming = plan_in_force(self._plans.get(pump_id, []), self._data.last_day)
        label = (
            f"Speed carpet of pump {pump_id}, {wording.day_range(days[0], days[-1])}. The list of days says the same."
        )
        return {
            **pump,
            "plan": plan,
            "since": since,
            "coming": coming,
            "setup": self._setup(pump),
            "best": self._best.get(pump_id),
            "proposal": self._cards.of_pump(pump_id),
            "best_cost": wording.money((self._best.get(pump_id) or {}).get("cost_day"), self._data.currency),
            "words": self._carpets.words(site_id, pump_id, self._data.week_days),
            "older": self._carpets.words(site_id, pump_id, days[: -len(self._data.week_days)]),
            "svg": Markup(self._carpets.svg(site_id, pump_id, days, SITE, label, f"words-{site_id}-{pump_id}")),
            "exports": self._exports.get(pump_id, []),
            "efficiency": self._efficiency.of_pump(pump),
            "balance": self._balance.of_pump(pump, days),
            "curves": curve_facts(self._curve_rows.get(str(pump["pump_id"])), self._data.units),
        }

    def _setup(self, pump: Row) -> str:
        parts = [f"full speed {wording.speed(pump['full_speed_rpm'])}"]
        if pump["priming_speed_rpm"] is not None:
            length = f" for {wording.number(pump['priming_min'])} min" if pump["priming_min"] is not None else ""
            parts.append(f"priming at {wording.speed(pump['priming_speed_rpm'])}{length}")
        if pump["freeze_setpoint_c"] is not None:
            set_at = wording.quantity(pump["freeze_setpoint_c"], "temperature", self._data.units)
            parts.append(f"freeze protection set up at {set_at}, {wording.speed(pump['freeze_speed_rpm'])}")
        if pump["aux_load"] and pump["aux_load"] != "none":
            least = (
                wording.speed(pump["aux_min_speed_rpm"]) if pump["aux_min_speed_rpm"] is not None else "not recorded"
            )
            parts.append(f"{pump['aux_load']}, least speed {least}")
        return "; ".join(parts)

    def _turnover_note(self, site_id: str) -> str:
        """Whether the flow is measured or estimated, by the sources of the days shown."""
        sources = {source for row in self._days.get(site_id, []) for source in row["volume_source"].split(", ")} - {
            "none",
            "",
        }
        if not sources:
            return "no flow source, so none is given"
        return "from a flow meter" if sources == {"metered"} else f"estimated from speed ({', '.join(sorted(sources))})"

    def _day_pictures(self, site: Row, days: list[date]) -> list[Markup]:
        site_id = site["site_id"]
        known = {row["day_local"]: row for row in self._days.get(site_id, [])}
        savings = {day: self._savings.get((site_id, day)) or {} for day in days}
        return day_pictures(days, known, savings, site["required_turnovers"])

    def _ledger(self, site: Row, days: list[date]) -> list[Row]:
        """A row a day: share known, turnover, energy, saving, each as a number beside its bar."""
        site_id = site["site_id"]
        known = {row["day_local"]: row for row in self._days.get(site_id, [])}
        best = _sum(
            [(self._best.get(pump["pump_id"]) or {}).get("energy_kwh_day") for pump in self._pumps.get(site_id, [])]
        )
        required = site["required_turnovers"]
        turnover_top = scale_top([row["turnovers_hi"] for row in known.values()] + [required])
        baselines = [(self._savings.get((site_id, day)) or {}).get("baseline_kwh") for day in days]
        energy_top = scale_top([row["energy_kwh_hi"] for row in known.values()] + baselines + [best])
        return [
            self._ledger_row(
                day, known.get(day), self._savings.get((site_id, day)), required, best, turnover_top, energy_top
            )
            for day in days
        ]

    def _ledger_row(
        self,
        day: date,
        known: Row | None,
        saving: Row | None,
        required: float | None,
        best: float | None,
        turnover_top: float,
        energy_top: float,
    ) -> Row:
        row, held = known or {}, saving or {}
        turnovers = [row.get(f"turnovers_{bound}") for bound in ("lo", "mid", "hi")]
        energy = [row.get(f"energy_kwh_{bound}") for bound in ("lo", "mid", "hi")]
        turnover_text, energy_text = wording.span(turnovers[0], turnovers[2], 2), wording.span(energy[0], energy[2], 1)
        if not row.get("valid"):
            turnovers[1] = energy[1] = None  # the middle of a day with holes is what was seen, not what is likely
        counted = bool(held.get("counted"))
        status = "believed" if row.get("believed") else "valid, not believed" if row.get("valid") else "not valid"
        return {
            "day": day,
            "coverage": row.get("coverage"),
            "status": status if known else "no row for this day",
            "turnover_text": turnover_text,
            "turnover_bar": Markup(
                interval_bar(*turnovers, turnover_top, f"Turnovers: {turnover_text}", requirement=required)
            ),
            "turnover_word": turnover_word(
                turnovers[0], turnovers[2], required, "no flow source" if known else "no reading"
            ),
            "energy_text": energy_text,
            "energy_bar": Markup(
                interval_bar(*energy, energy_top, f"kWh: {energy_text}", baseline=held.get("baseline_kwh"), best=best)
            ),
            "baseline": held.get("baseline_kwh"),
            "saved": wording.span(held.get("equal_kwh_lo"), held.get("equal_kwh_hi"), 1) if counted else wording.DASH,
            "raw": wording.span(held.get("raw_kwh_lo"), held.get("raw_kwh_hi"), 1) if counted else wording.DASH,
            "counted": "counted" if counted else f"no: {held.get('reason') or 'nothing known'}",
        }


def _tree(findings: list[Row]) -> list[Row]:
    """Findings with those they explain beneath them. One whose cause is the whole source's, and so not among them, says
    so and stands by itself."""
    shown = [{**row, "compared": compared(row), "explains": [], "of_source": ""} for row in findings]
    heads = {row["rule_id"]: row for row in reversed(shown) if not row["explained_by"]}
    own = []
    for row in shown:
        cause = heads.get(row["explained_by"])
        if row["explained_by"] and cause is None:
            row["of_source"] = row["explained_by"]
        (cause["explains"] if cause else own).append(row)
    return own


def _sum(values: list[float | None]) -> float | None:
    """The sum; ``None`` where one part is unknown or there is none."""
    known = [value for value in values if value is not None]
    return sum(known) if known and len(known) == len(values) else None
