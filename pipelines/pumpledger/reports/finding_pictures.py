"""The picture in which a finding can be seen, and what else could look the same.

Belongs here: which picture a finding gets, and which rows go into it. The drawing is in `svg_*`; every picture says in
words what it shows.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import polars as pl
from markupsafe import Markup

from pumpledger.reports.carpets import Carpets
from pumpledger.reports.data import ReviewData, days_between, rows_by
from pumpledger.reports.fleet_page import Row
from pumpledger.reports.svg_air import air_picture
from pumpledger.reports.svg_carpet import SITE
from pumpledger.reports.svg_levels import level_picture
from pumpledger.units import for_people

MOST_SPEEDS = 3
MOST_DAYS = 7
AIR_DAYS = 3


class FindingPictures:
    """Tables grouped once; one picture a finding."""

    def __init__(self, data: ReviewData, carpets: Carpets) -> None:
        self._data = data
        self._carpets = carpets
        self._notes = {row["rule_id"]: row for row in data.rule_notes.iter_rows(named=True)}
        self._levels = rows_by(data.levels.sort("pump_id", "speed_rpm", "day_local"), "pump_id")
        told = data.findings.filter((pl.col("verdict") == "found") & pl.col("rule_id").is_in(self._of("air")))
        pumps = told["component"].unique().to_list()
        self._spans = rows_by(data.spans.filter(pl.col("pump_id").is_in(pumps)).sort("start_utc"), "pump_id")
        self._air = rows_by(data.air.sort("time_utc"), "weather") if told.height else {}

    def _of(self, picture: str) -> list[str]:
        return [rule for rule, row in self._notes.items() if row["picture"] == picture]

    def others(self, finding: Row) -> str:
        """What else could look the same."""
        return str(self._notes.get(str(finding["rule_id"]), {}).get("others") or "")

    def of_finding(self, site: Row, pumps: Sequence[str], finding: Row, by_day: Sequence[Markup]) -> list[Markup]:
        """At most one picture a pump that the finding is about; none where nothing can be drawn.

        Args:
            site: the site's row of the register.
            pumps: its pumps.
            finding: a row of FINDINGS that was found.
            by_day: the site's pictures of energy and turnovers by day.
        """
        kind = self._notes.get(str(finding["rule_id"]), {}).get("picture", "none")
        if kind in ("energy", "turnovers"):
            return [by_day[0 if kind == "energy" else 1]]
        about = [pump for pump in pumps if pump in str(finding["component"]).split(" + ")]
        drawn = [self._draw(str(kind), site, pump, finding) for pump in about]
        return [Markup(svg) for svg in drawn if svg]

    def _draw(self, kind: str, site: Row, pump_id: str, finding: Row) -> str:
        if kind == "days":
            return self._days(site, pump_id, finding)
        if kind == "power":
            return self._power(pump_id, finding)
        return self._air_over_running(site, pump_id, finding) if kind == "air" else ""

    def _evidence(self, finding: Row) -> tuple[date, date] | None:
        first, last = finding["first_day"], finding["last_day"]
        return (first, last) if isinstance(first, date) and isinstance(last, date) else None

    def _days(self, site: Row, pump_id: str, finding: Row) -> str:
        """The last days of evidence with the plan over them."""
        evidence, shown = self._evidence(finding), self._data.shown_days
        if evidence is None:
            return ""
        days = [day for day in days_between(*evidence) if day in shown][-MOST_DAYS:]
        label = (
            f"Days of evidence, pump {pump_id}: what ran, and the recorded plan over it. The text above says the same."
        )
        return self._carpets.svg(str(site["site_id"]), pump_id, days, SITE, label, "") if days else ""

    def _power(self, pump_id: str, finding: Row) -> str:
        """Power at the speeds that the pump held longest."""
        speeds: dict[float, list[tuple[date, float]]] = {}
        minutes: dict[float, float] = {}
        for row in self._levels.get(pump_id, []):
            speeds.setdefault(row["speed_rpm"], []).append((row["day_local"], row["power_w"]))
            minutes[row["speed_rpm"]] = minutes.get(row["speed_rpm"], 0.0) + row["run_min"]
        longest = sorted(speeds, key=lambda speed: (-minutes[speed], speed))[:MOST_SPEEDS]
        levels = [(speed, speeds[speed]) for speed in sorted(longest)]
        return level_picture(pump_id, levels, self._evidence(finding)) if levels else ""

    def _air_over_running(self, site: Row, pump_id: str, finding: Row) -> str:
        evidence = self._evidence(finding)
        if evidence is None:
            return ""
        last = min(evidence[1], self._data.last_day)
        days = days_between(max(evidence[0], last - timedelta(days=AIR_DAYS - 1)), last)
        zone = ZoneInfo(str(site["zone"] or "UTC"))
        begin = datetime.combine(days[0], time(), zone).astimezone(ZoneInfo("UTC")).replace(tzinfo=None)
        top = 24.0 * len(days)

        def hour(moment: datetime) -> float:
            return min(max((moment - begin).total_seconds() / 3600, 0.0), top)

        states = [
            (hour(row["start_utc"]), hour(row["end_utc"]), row["kind"])
            for row in self._spans.get(pump_id, [])
            if hour(row["end_utc"]) > hour(row["start_utc"])
        ]
        unit = for_people(0.0, "temperature", self._data.units)[1]
        air = [
            (hour(row["time_utc"]), for_people(row["air_temperature_c"], "temperature", self._data.units)[0])
            for row in self._air.get(site["weather"], [])
            if timedelta() <= row["time_utc"] - begin <= timedelta(hours=top)
        ]
        return air_picture(pump_id, days, air, states, unit, for_people(0.0, "temperature", self._data.units)[0])
