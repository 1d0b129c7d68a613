"""Made-up days, savings and site weeks, from flow and watts straight from speed."""

from __future__ import annotations

from datetime import date

import polars as pl
from review_pumps import DAYS, FIRST, SITE_OF, VOLUMES, day_minutes, flow, stretches, watts

from pumpledger.engine import account_tables, tables


def daily() -> pl.DataFrame:
    rows = []
    for pump, site in SITE_OF.items():
        if pump == "P-6":
            continue
        for day in DAYS:
            told, length = stretches(pump, day), day_minutes(day)
            unknown = sum(stop - start for start, stop, kind, _, _ in told if kind == "unknown")
            gap = max([stop - start for start, stop, kind, _, _ in told if kind == "unknown"], default=0.0)
            run = sum(stop - start for start, stop, kind, _, _ in told if kind == "run")
            volume = sum((stop - start) / 60 * flow(speed or 0.0) for start, stop, _, _, speed in told)
            energy = sum(
                (stop - start) / 60 * watts(speed) / 1000
                for start, stop, kind, _, speed in told
                if kind == "run" and speed
            )
            more = unknown / 60
            coverage = 1 - unknown / length
            valid = coverage >= 0.9 and gap <= 120
            row = {
                "site_id": site,
                "pump_id": pump,
                "day_local": day,
                "day_min": length,
                "observed_min": length - unknown,
                "run_min": run,
                "longest_gap_min": gap,
                "coverage": coverage,
                "energy_coverage": coverage,
                "valid": valid,
                "believed": valid,
                "starts": 1,
                "volume_source": "metered" if pump == "P-4" else "curve",
                "energy_source": "metered power",
                "peak_kwh": None,
                "cost": energy * 0.3 if site != "QM-005" else None,
                "aux_min": None,
            }
            for name, middle, share, extra in (
                ("volume_m3", volume, 0.03 if pump == "P-4" else 0.12, more * flow(1500)),
                ("turnovers", volume / VOLUMES[site], 0.12, more * flow(1500) / VOLUMES[site]),
                ("energy_kwh", energy, 0.02, more * watts(1500) / 1000),
            ):
                row |= {
                    f"{name}_lo": middle * (1 - share),
                    f"{name}_mid": middle,
                    f"{name}_hi": middle * (1 + share) + extra,
                }
            rows.append(row)
    return tables.DAILY.conform(pl.DataFrame(rows, infer_schema_length=None))


BASELINE = {"QM-001": 12.6, "QM-002": 11.0, "QM-003": 14.0, "QM-004": 30.0}


def savings(daily: pl.DataFrame) -> pl.DataFrame:
    rows = []
    for site in sorted(VOLUMES):
        for day in DAYS:
            day_rows = daily.filter((pl.col("site_id") == site) & (pl.col("day_local") == day))
            measured = day_rows["energy_kwh_mid"].sum() if day_rows.height else None
            base = BASELINE.get(site)
            believed = bool(day_rows.height) and bool(day_rows["believed"].all())
            reason = "no baseline is recorded" if base is None else "" if believed else "the day cannot be believed"
            if site == "QM-004" and day >= date(2026, 11, 5) and day < date(2026, 11, 8):
                reason = "the pump did not run in planned time"
            row = dict.fromkeys(tables.SAVINGS.columns) | {
                "site_id": site,
                "day_local": day,
                "counted": reason == "",
                "money_method": "hours of the present pump",
                "service": "shown",
                "reason": reason,
                "coverage": day_rows["coverage"].min() if day_rows.height else None,
                "measured_kwh": measured,
                "baseline_kwh": base,
                "baseline_equal_kwh": base and base * 0.9,
                "equal_money_mid": None,
                "source": "nameplate; metered power",
            }
            for name, share in (("raw_kwh", 1.0), ("equal_kwh", 0.9)):
                middle = base * share - measured if base is not None and measured is not None else None
                row |= {
                    f"{name}_{bound}": middle + slack if middle is not None else None
                    for bound, slack in (("lo", -1.1), ("mid", 0.0), ("hi", 1.1))
                }
            if row["counted"]:
                row["equal_money_mid"] = row["equal_kwh_mid"] * 0.3
            rows.append(row)
    return tables.SAVINGS.conform(pl.DataFrame(rows, infer_schema_length=None))


def exclusions(savings: pl.DataFrame) -> pl.DataFrame:
    left_out = savings.filter(~pl.col("counted")).select(
        "site_id", "day_local", "reason", place=1, kind=pl.lit("in doubt"), minutes=pl.lit(60.0), excluded_min=1440.0
    )
    return tables.EXCLUSIONS.conform(left_out)


def savings_bands(savings: pl.DataFrame) -> pl.DataFrame:
    """One band a day at 0.30."""
    counted = savings.filter("counted").select(
        "site_id",
        "day_local",
        "measured_kwh",
        "baseline_kwh",
        "baseline_equal_kwh",
        day_kind=pl.lit("weekday"),
        band=pl.lit("all hours"),
        price_per_kwh=0.3,
        peak=False,
        window_min=1440.0,
        raw_kwh="raw_kwh_mid",
        equal_kwh="equal_kwh_mid",
        raw_money=pl.col("raw_kwh_mid") * 0.3,
        equal_money=pl.col("equal_kwh_mid") * 0.3,
        method="money_method",
    )
    return tables.SAVINGS_BANDS.conform(counted)


def site_weeks(daily: pl.DataFrame, savings: pl.DataFrame, required: dict[str, float | None]) -> pl.DataFrame:
    best = {"QM-001": 10.1, "QM-002": 12.0, "QM-003": 13.0}
    rows = []
    for site in sorted(VOLUMES):
        week = daily.filter((pl.col("site_id") == site) & (pl.col("day_local") >= FIRST))
        pumps = max(1, week["pump_id"].n_unique())
        good = week.filter("believed")
        days = good.height // pumps
        counted = savings.filter((pl.col("site_id") == site) & (pl.col("day_local") >= FIRST) & pl.col("counted"))
        row = {
            "site_id": site,
            "reporting": bool(week.height),
            "believable": days >= 5,
            "doubt": ""
            if days >= 5
            else "no reading this week"
            if not week.height
            else f"only {days} of 7 days can be believed",
            "valid_days": days,
            "coverage": week["coverage"].mean() if week.height else 0.0,
            "required_turnovers": required[site],
            "cost": None,
            "best_plan_kwh": best.get(site),
            "best_plan_cost": None,
            "baseline_kwh": counted["baseline_kwh"].sum() if counted.height else None,
            "counted_days": counted.height,
        }
        for name in ("turnovers", "energy_kwh"):
            frame = good if name == "turnovers" else week
            for bound in ("lo", "mid", "hi"):
                total = frame[f"{name}_{bound}"].sum() if frame.height else None
                row[f"{name}_{bound}"] = total / days if name == "turnovers" and total is not None else total
        for name in ("raw_kwh", "equal_kwh"):
            for bound in ("lo", "mid", "hi"):
                row[f"{name}_{bound}"] = counted[f"{name}_{bound}"].sum() if counted.height else None
        rows.append(row)
    return tables.SITE_WEEKS.conform(pl.DataFrame(rows, infer_schema_length=None))


def fleet_savings(savings: pl.DataFrame, site_weeks: pl.DataFrame) -> pl.DataFrame:
    """The fleet's sums with one part each: straight sums, as if all sites shared one meter."""
    counted = savings.filter(pl.col("counted") & (pl.col("day_local") >= FIRST))
    rows = []
    for quantity, frame, name in (
        ("energy", site_weeks, "energy_kwh"),
        ("raw saving", counted, "raw_kwh"),
        ("equal-volume saving", counted, "equal_kwh"),
    ):
        known = frame.drop_nulls(f"{name}_mid")
        lo, mid, hi = (known[f"{name}_{bound}"].sum() for bound in ("lo", "mid", "hi"))
        sites = known["site_id"].n_unique()
        shared = {"quantity": quantity, "sites": sites, "below_kwh": mid - lo, "above_kwh": hi - mid}
        sentence = f"Of the half-width of {quantity}, all comes from energy meters."
        rows.append(
            shared
            | {"place": 0, "part": "total", "site_days": known.height, "lo_kwh": lo, "mid_kwh": mid, "hi_kwh": hi}
            | {"sentence": sentence}
        )
        rows.append(shared | {"place": 1, "part": "energy meters", "sentence": "added straight"})
    return account_tables.FLEET_SAVINGS.conform(pl.DataFrame(rows, schema=account_tables.FLEET_SAVINGS.schema))
