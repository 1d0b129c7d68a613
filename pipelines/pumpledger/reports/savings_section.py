"""The savings of one site's week: what the baseline is, what was saved, in kWh, per cent and money by tariff band, and
which days are left out.

Belongs here: adding up the counted days of one site and wording what is missing. Bounds of days are added straight: the
days of a site share one baseline and one meter. Nothing is scaled to a week or a year.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

import polars as pl

from pumpledger.reports import wording
from pumpledger.reports.data import ReviewData, rows_by

Row = dict[str, object]
_SPREAD = "hours of the present pump"


class SavingsSections:
    """Sections of all sites from tables grouped once."""

    def __init__(self, data: ReviewData) -> None:
        in_week = pl.col("day_local").is_between(data.first_day, data.last_day)
        self._data = data
        self._days = rows_by(data.savings.filter(in_week).sort("site_id", "day_local"), "site_id")
        self._bands = rows_by(data.savings_bands.filter(in_week), "site_id")
        self._left_out = rows_by(data.exclusions.filter(in_week).sort("site_id", "day_local", "place"), "site_id")

    def of_site(self, site: Row, pumps: list[Row]) -> Row:
        """What the template prints of one site."""
        site_id = str(site["site_id"])
        days = self._days.get(site_id, [])
        counted = [row for row in days if row["counted"]]
        return {
            "baselines": [baseline_words(pump, self._data.units) for pump in pumps],
            "scope": self._scope(len(counted), len(days)),
            "facts": self._facts(counted) if counted else [],
            "bands": self._band_rows(site_id, {row["day_local"] for row in counted}),
            "withheld": self._withheld(site, pumps, counted),
            "left_out": self._groups(site_id),
            "left_out_min": wording.number(self._minutes_left_out(site_id)),
        }

    def _scope(self, counted: int, days: int) -> str:
        if not counted:
            return "No day of this week is counted, so no saving is given."
        return (
            f"Sums of {counted} counted {'day' if counted == 1 else 'days'} of {days}, as they stand: nothing is "
            "scaled to a longer time."
        )

    def _facts(self, counted: list[Row]) -> list[tuple[str, str]]:
        facts = [self._saving("At equal volume", "equal", counted), self._saving("Raw", "raw", counted)]
        shown = sum(row["service"] == "shown" for row in counted)
        of = f"{shown} of {len(counted)} counted {'day' if len(counted) == 1 else 'days'}"
        facts.append(("Service", f"required volume reached at the low bound too on {of}"))
        facts += self._peak(counted)
        co2 = _total(row["co2_kg_mid"] for row in counted)
        if co2 is not None:
            source = self._data.co2_source
            facts.append(("CO2, at equal volume", f"{wording.number(co2, 1)} kg less, by the factor of: {source}"))
        return facts

    def _saving(self, label: str, kind: str, counted: list[Row]) -> tuple[str, str]:
        low, mid, high = (_total(row[f"{kind}_kwh_{bound}"] for row in counted) for bound in ("lo", "mid", "hi"))
        if mid is None:
            return label, "unknown on one of the counted days"
        base = _total(row["baseline_equal_kwh" if kind == "equal" else "baseline_kwh"] for row in counted)
        share = f", {wording.number(100 * mid / base, 1)} % of the baseline" if base else ""
        money = [_total(row[f"{kind}_money_{bound}"] for row in counted) for bound in ("lo", "mid", "hi")]
        worth = ""
        if None not in money:
            shown = wording.money(money[1], self._data.currency)
            worth = f"; {shown} ({wording.span(money[0], money[2], 2)})"
        return label, f"{wording.kwh(mid)} kWh ({wording.span(low, high)}){share}{worth}"

    def _peak(self, counted: list[Row]) -> list[tuple[str, str]]:
        """Mean power over the peak of the counted days that have one, and what it was under the baseline."""
        days = [row for row in counted if row["measured_peak_kw"] is not None]
        if not days:
            return []
        now = math.fsum(row["measured_peak_kw"] for row in days) / len(days)
        before = _total(row["baseline_peak_kw"] for row in days)
        if before is None:
            return [("Mean power in the peak", f"{wording.number(now, 2)} kW on {wording.count(len(days), 'day')}")]
        then = before / len(days)
        both = f"{wording.number(now, 2)} kW against {wording.number(then, 2)} kW of the baseline"
        less = f"{wording.number(then - now, 2)} kW less, mean of {wording.count(len(days), 'day')}"
        return [("Mean power in the peak", f"{both}: {less}")]

    def _band_rows(self, site_id: str, counted: set[object]) -> list[Row]:
        """Counted days added up by band and price, and their sum; none where a band of a day is unknown."""
        groups: dict[tuple[object, ...], list[Row]] = {}
        for row in self._bands.get(site_id, []):
            if row["day_local"] in counted:
                groups.setdefault((row["band"], row["price_per_kwh"], row["peak"]), []).append(row)
        rows = [
            {
                "band": f"{band}{', peak' if peak and band != 'peak' else ''}",
                "price": wording.number(price, 4),
                "days": len(held),
                **{name: _total(row[name] for row in held) for name in _BAND_SUMS},
            }
            for (band, price, peak), held in sorted(groups.items(), key=lambda item: (str(item[0][0]), item[0][1]))
        ]
        if len(rows) > 1:
            sums = {name: _total(row[name] for row in rows) for name in _BAND_SUMS}
            rows.append({"band": "all bands", "price": wording.DASH, "days": len(counted), **sums})
        return [
            {
                **row,
                **{name: wording.kwh(row[name]) for name in _BAND_SUMS[:4]},
                "equal_money": wording.money(row["equal_money"], self._data.currency),
            }
            for row in rows
        ]

    def _withheld(self, site: Row, pumps: list[Row], counted: list[Row]) -> list[str]:
        """What is not given, or rests on less than it should, each with the input that is missing."""
        said = []
        for pump in pumps:
            if pump["baseline_evidence"] is None and pump["baseline_power_w"] is not None:
                said.append(
                    f"Pump {pump['pump_id']}: the baseline has no evidence, so nothing is claimed against it. Enter in "
                    "baseline_evidence whether it was measured, read off a nameplate, from the owner's record or "
                    "stipulated by a programme."
                )
            elif pump["baseline_evidence"] == "stipulated" and not pump.get("baseline_source"):
                said.append(
                    f"Pump {pump['pump_id']}: programme parameters not supplied. The baseline is stipulated, but "
                    "baseline_source names no document, edition and page."
                )
        if not counted:
            return said
        if site["tariff"] is None:
            said.append("No money: the register gives no usable tariff for this site.")
        elif any(row["money_method"] == _SPREAD for row in counted):
            said.append(
                "Money: where baseline_start does not say when a single-speed pump ran, its baseline is priced by the "
                "hours in which the present pump ran; for the same reason no saving of power in the peak is given."
            )
        if all(row["co2_kg_mid"] is None for row in counted):
            said.append("No CO2: fleet.toml gives no co2_kg_per_kwh with its co2_source.")
        return said

    def _groups(self, site_id: str) -> list[Row]:
        """A row a reason: its days, and their minutes added up."""
        groups: dict[tuple[object, ...], list[Row]] = {}
        for row in self._left_out.get(site_id, []):
            groups.setdefault((row["place"], row["kind"], row["reason"]), []).append(row)
        return [
            {
                "kind": kind,
                "reason": reason,
                "days": ", ".join(wording.weekday(row["day_local"]) for row in held),
                "minutes": wording.number(_total(row["minutes"] for row in held)),
                "excluded": wording.number(_total(row["excluded_min"] for row in held)),
            }
            for (_, kind, reason), held in sorted(groups.items())
        ]

    def _minutes_left_out(self, site_id: str) -> float | None:
        by_day = {row["day_local"]: row["excluded_min"] for row in self._left_out.get(site_id, [])}
        return _total(by_day.values())


_BAND_SUMS = ("measured_kwh", "baseline_equal_kwh", "equal_kwh", "raw_kwh", "equal_money")


def baseline_words(pump: Row, units: str) -> str:
    """The single-speed pump of the register in a sentence."""
    power, hours = pump["baseline_power_w"], pump["baseline_hours_per_day"]
    if power is None or hours is None:
        return f"Pump {pump['pump_id']}: no baseline on record."
    evidence = pump["baseline_evidence"] or "no evidence on record"
    source = f", {pump['baseline_source']}" if pump.get("baseline_source") else ""
    start = pump.get("baseline_start_min")
    since = f" from {wording.clock(start)}" if start is not None else ""
    flow = (
        wording.quantity(pump["baseline_flow_m3h"], "flow", units) + " by the register"
        if pump["baseline_flow_m3h"] is not None
        else "its flow by this site's own curve at full speed"
    )
    return (
        f"Pump {pump['pump_id']}: {wording.number(power)} W for {wording.number(hours, 1)} h a day{since}; "
        f"{flow}. Evidence: {evidence}{source}."
    )


def _total(values: Iterable[float | None]) -> float | None:
    """The sum; ``None`` where one part is unknown or there is none."""
    known = list(values)
    return None if not known or any(value is None for value in known) else math.fsum(known)  # type: ignore[arg-type]
