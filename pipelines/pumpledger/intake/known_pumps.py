"""What intake knows of the register: which pump a code of an export stands for, and in which zone it is.

Belongs here: codes, zones, and corrections of codes and units that a person has confirmed. How exports are read does
not.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import polars as pl

from pumpledger.register.load import Register


@dataclass(frozen=True, slots=True)
class KnownPumps:
    """``zone`` has pump_id, zone; ``of_site`` site_id, pump_id of the sites with one pump; ``change`` what a person
    has confirmed about single readings, as ``intake/changed_row`` takes it, ``None`` for nothing."""

    zone: pl.DataFrame
    of_site: pl.DataFrame
    change: pl.DataFrame | None = None
    _zones: dict[str, dict[str, str]] = field(default_factory=dict, init=False, repr=False, compare=False)

    def zones(self, codes: str = "pump") -> dict[str, str]:
        """Zone by pump; with ``codes`` "site" also zone and pump by the site that has one pump. Not to be changed."""
        if codes not in self._zones:
            zones = dict(self.zone.iter_rows())
            if codes == "site":
                zones |= {site: f"{zones[pump]} {pump}" for site, pump in self.of_site.iter_rows()}
            self._zones[codes] = zones
        return self._zones[codes]


def known_pumps(register: Register, change: pl.DataFrame | None = None) -> KnownPumps:
    """Pumps of the register as it stands."""
    placed = register.pump.join(register.site, on="site_id").select("pump_id", "site_id", "zone")
    single = placed.group_by("site_id").agg(pl.col("pump_id").first(), pl.len().alias("pumps")).filter(pumps=1)
    # A code that is a pump's own stands for that pump, also where a site is called the same.
    of_site = single.join(placed.select(site_id="pump_id"), on="site_id", how="anti").select("site_id", "pump_id")
    return KnownPumps(placed.select("pump_id", "zone"), of_site.sort("site_id"), change)
