"""Values that a claim takes and does not measure, and how far a tenth of each moves the saving.

Belongs here: the list and its arithmetic. Sources are the register's and the programme's own words.
"""

from __future__ import annotations

import math

import polars as pl

from pumpledger.claims.data import STIPULATED
from pumpledger.claims.programme_data import Programme

_TENTH = 0.1


def stipulated(
    site: dict[str, object],
    pumps: pl.DataFrame,
    pump_baseline: pl.DataFrame,
    raw_kwh: float | None,
    programme: Programme | None,
) -> pl.DataFrame:
    """`data.STIPULATED`. The raw saving is baseline less energy, and the baseline is power times hours: a tenth of either
    is a tenth of the pump's baseline over the counted days."""
    baselines = dict(pump_baseline.select("pump_id", "baseline_kwh").iter_rows())
    rows: list[tuple[str, str, float, str, str, float | None]] = []
    for pump in pumps.sort("pump_id").iter_rows(named=True):
        name, source = pump["pump_id"], _source(pump)
        moved = _TENTH * baselines[name] if baselines.get(name) is not None else None
        if pump["baseline_power_w"] is not None and pump["baseline_evidence"] != "measured":
            rows.append((name, "power of the former pump", pump["baseline_power_w"], "W", source, moved))
        if pump["baseline_hours_per_day"] is not None:
            rows.append(
                (name, "hours a day of the former pump", pump["baseline_hours_per_day"], "h/day", source, moved)
            )
        if pump["baseline_flow_m3h"] is not None:
            rows.append((name, "flow of the former pump", pump["baseline_flow_m3h"], "m3/h", source, None))
        if pump["baseline_start_min"] is not None:
            rows.append(
                (name, "start of the former pump", pump["baseline_start_min"], "min after midnight", source, None)
            )
    rows.append(("", "pool volume", float(str(site["pool_volume_m3"])), "m3", "sites.csv, pool_volume", None))
    if site.get("required_turnovers_by_month") is not None:
        for month, value in enumerate(str(site["required_turnovers_by_month"]).split(), start=1):
            source = "sites.csv, required_turnovers_by_month"
            rows.append(("", f"required turnovers a day, month {month}", float(value), "1/day", source, None))
    elif site.get("required_turnovers") is not None:
        value = float(str(site["required_turnovers"]))
        rows.append(("", "required turnovers a day", value, "1/day", "sites.csv, required_turnovers", None))
    for formula in programme.formulas if programme else ():
        for name, value in formula.parameters.items():
            if not isinstance(value, str):
                said = f"{programme.document}: {formula.source}" if programme else ""
                rows.append(("", f"{formula.name}: {name}", value, "", said, None))
    rows.sort(key=lambda row: -(row[5] or 0.0))  # stable: the order above otherwise
    numbered = [
        (place, *row, row[5] / raw_kwh if row[5] is not None and raw_kwh is not None and raw_kwh > 0 else None)
        for place, row in enumerate(rows, start=1)
    ]
    return STIPULATED.conform(pl.DataFrame(numbered, schema=STIPULATED.schema, orient="row"))


def _source(pump: dict[str, object]) -> str:
    known = [str(pump[name]) for name in ("baseline_evidence", "baseline_source") if pump[name]]
    return ": ".join(known) or "no evidence recorded"


def option_of(pumps: pl.DataFrame, papers: pl.DataFrame, computed_kwh: float) -> tuple[str, str]:
    """A or B of the measurement protocol, and why. B only where the former pump was itself metered over days, and the
    present one is metered on every counted day."""
    logged = set(papers.filter(pl.col("baseline_days").is_not_null())["pump_id"])
    taken = [
        row["pump_id"]
        for row in pumps.iter_rows(named=True)
        if row["baseline_evidence"] != "measured" or row["pump_id"] not in logged
    ]
    if taken:
        return (
            "A",
            f"energy of the present pump is measured; power or hours of the former one are taken from record for {' and '.join(taken)}",
        )
    if not math.isclose(computed_kwh, 0.0, abs_tol=1e-9):
        return "A", "part of the energy comes from a power curve and not from a meter"
    return "B", "energy of the former and of the present pump was measured"
