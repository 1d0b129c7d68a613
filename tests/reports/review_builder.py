"""A made-up `ReviewData`: six sites, fourteen days, every severity, missing hours, a 25-hour day, hostile names.

The hydraulics are the simplest that give numbers (flow and watts straight from speed); nothing here is a real site.
"""

from __future__ import annotations

from datetime import date, datetime, timedelta

import polars as pl
from review_accounts import daily as made_daily
from review_accounts import exclusions as made_exclusions
from review_accounts import fleet_savings as made_fleet_savings
from review_accounts import savings as made_savings
from review_accounts import savings_bands as made_bands
from review_accounts import site_weeks as made_weeks
from review_findings import actions as made_actions
from review_findings import findings as made_findings
from review_pumps import (
    DAYS,
    FIRST,
    HOSTILE,
    HOSTILE_ROUTE,
    LAST,
    PLANS,
    SITE_OF,
    VOLUMES,
    ZONE,
    day_minutes,
    midnight,
    plan_slot,
    profile,
    spans,
)

from pumpledger.engine import tables
from pumpledger.problems import Problem
from pumpledger.reports.data import AIR, PUMP_EXPORTS, REFUSED_COUNTS, RULES, ReviewData


def _export(
    sequence: int,
    file: str,
    data_rows: int,
    duplicates: int = 0,
    quarantine: int = 0,
    rejects: int = 0,
    status: str = "read",
    problem: str = "",
) -> dict[str, object]:
    good = 0 if status != "read" else data_rows - duplicates - quarantine - rejects
    return {
        "sequence": sequence,
        "export_id": f"{sequence:016x}",
        "sha256": f"{sequence:064x}",
        "file": file,
        "bytes": 40 * data_rows,
        "source": "coast gateway",
        "dialect": "samples_5min",
        "status": status,
        "problem": problem,
        "data_rows": data_rows if status == "read" else None,
        "readings": good if status == "read" else None,
        "duplicates": duplicates if status == "read" else None,
        "quarantine": quarantine if status == "read" else None,
        "rejects": rejects if status == "read" else None,
        "other_lines": 1,
        "pumps": 3,
        "hold_s": 300,
        "gap_limit_s": 1200,
        "first_utc": datetime(2026, 10, 26, 7),
        "last_utc": datetime(2026, 11, 9, 7),
    }


def made_up_review() -> ReviewData:
    """The whole record, built anew at each call."""
    plain = {
        "QM-001": "Heron Close",
        "QM-002": "Reed Court",
        "QM-003": "Alder Yard",
        "QM-004": "Sallow Street Baths",
        "QM-005": "Ridge House",
        "QM-006": HOSTILE,
    }
    required = {"QM-001": 1.0, "QM-002": 1.0, "QM-003": 1.0, "QM-004": 0.8, "QM-005": 1.0, "QM-006": None}
    site = pl.DataFrame(
        [
            {
                "site_id": code,
                "site_name": name,
                "route": HOSTILE_ROUTE if code == "QM-006" else "North",
                "stop": number,
                "zone": ZONE,
                "pool_volume_m3": VOLUMES[code],
                "pool_class": "public" if code == "QM-004" else "residential",
                "required_turnovers": required[code],
                "tariff": "flat" if code in ("QM-001", "QM-002", "QM-003", "QM-004") else None,
                "weather": "ridge" if code == "QM-005" else None,
                "freeze_risk": code == "QM-005",
                "season": "open",
                "filter_limit_m3h": 14.0 if code != "QM-006" else None,
                "suction_limit_m3h": 16.0 if code not in ("QM-005", "QM-006") else None,
                "jurisdiction": None,
            }
            for number, (code, name) in enumerate(plain.items(), start=1)
        ],
        infer_schema_length=None,
    )
    pump = pl.DataFrame(
        [
            {
                "pump_id": code,
                "site_id": place,
                "curve": "middling",
                "full_speed_rpm": 3450.0,
                "static_head_m": 0.5,
                "design_flow_m3h": None,
                "design_head_m": None,
                "priming_speed_rpm": 2800.0 if code == "P-1" else None,
                "priming_min": 3.0 if code == "P-1" else None,
                "freeze_setpoint_c": 3.0 if code == "P-5a" else None,
                "freeze_speed_rpm": 1700.0 if code == "P-5a" else None,
                "aux_load": "chlorinator" if code == "P-1" else "none",
                "aux_min_speed_rpm": 1100.0 if code == "P-1" else None,
                "baseline_power_w": 1750.0,
                "baseline_hours_per_day": 8.0,
                "baseline_flow_m3h": None,
                "baseline_evidence": "nameplate",
            }
            for code, place in SITE_OF.items()
        ],
        infer_schema_length=None,
    )
    plan = pl.DataFrame(
        [
            {
                "pump_id": code,
                "valid_from": date(2026, 5, 1),
                "period": period,
                "speed_rpm": float(speed),
                "start_min": start,
                "stop_min": stop,
            }
            for code, rows in PLANS.items()
            for period, speed, start, stop in rows
        ],
        schema_overrides={"valid_from": pl.Date},
    )
    daily = made_daily()
    savings = made_savings(daily)
    site_weeks = made_weeks(daily, savings, required)
    findings = made_findings()
    actions = made_actions(findings, plain)
    # Last week: QM-003 as now; QM-002 another rule, and it cannot be believed now; QM-001 another rule, and it can.
    last_week = {"QM-002": "C10", "QM-001": "A2"}
    previous = actions.filter(pl.col("site_id").is_in(["QM-003", *last_week])).with_columns(
        pl.col("site_id").replace_strict(last_week, default=pl.col("rule_id")).alias("rule_id"),
        pl.when(pl.col("site_id").is_in(list(last_week)))
        .then(pl.lit("Set the clock."))
        .otherwise("action")
        .alias("action"),
    )
    best = [
        {
            "site_id": SITE_OF[code],
            "pump_id": code,
            "speed_rpm": speed,
            "start_local": "08:00",
            "stop_local": "18:15",
            "hours": 10.25,
            "faster_rpm": 2400 if code == "P-3" else None,
            "faster_hours": 1.5 if code == "P-3" else None,
            "energy_kwh_day": energy,
            "cost_day": energy * 0.3 if energy else None,
            "turnovers_lo": 1.02 if speed else None,
            "withheld": withheld,
        }
        for code, speed, energy, withheld in (
            ("P-1", 1325, 1.44, ""),
            ("P-2", 1400, 1.72, ""),
            ("P-3", 1450, 1.86, ""),
            ("P-4", None, None, "the pump does not run; put it right first"),
            ("P-5a", None, None, "no power curve could be fitted"),
            ("P-5b", None, None, "no power curve could be fitted"),
            ("P-6", None, None, "no flow source"),
        )
    ]
    exports = pl.DataFrame(
        [
            _export(1, "coast_2026-11-02.csv", 4032),
            _export(2, "coast_2026-11-09.csv", 4032, duplicates=12, quarantine=5, rejects=1),
            _export(3, "ridge_2026-11-09.csv", 2016),
            _export(4, "@odd.csv", 10, status="set aside", problem="no source of fleet.toml matches this name"),
        ],
        infer_schema_length=None,
    )
    refused = [
        (
            "coast_2026-11-09.csv",
            "speed_out_of_range",
            "quarantine",
            "Speed above 3,600 rpm: check the unit of the column.",
            5,
        ),
        ("coast_2026-11-09.csv", "repeated_reading", "duplicates", "The same reading is already held.", 12),
        ("coast_2026-11-09.csv", "torn_row", "rejects", "The row has too few cells: the file was cut off.", 1),
    ]
    checks = [
        ("daily", "between", "coverage between 0.90 and 1", False, False, "0.66", "QM-002"),
        ("file_profile", "between", "quarantine share below 0.05", True, True, "0.0005", ""),
    ]
    air = [
        (
            "ridge",
            midnight(day) + timedelta(hours=hour),
            -1.5 if day in (date(2026, 11, 6), date(2026, 11, 7)) and hour < 6 else 8.0,
        )
        for day in DAYS
        for hour in range(int(day_minutes(day) // 60))
    ]
    rules = [
        ("D8", "Pump does not run", "this week", "least planned days off", 1.0, "days", 0.9, 30.0),
        ("O1", "Filters too little", "this week", "days below", 3.0, "days", 0.8, 15.0),
        ("D17", "No freeze protection seen on a freezing night", "safety", "air_at_most", 0.0, "degC", 0.7, 20.0),
        ("D17", "No freeze protection seen on a freezing night", "safety", "pump_off_at_least", 20.0, "min", 0.7, 20.0),
    ]
    return ReviewData(
        fleet_name="Quillmarsh District (made-up data)",
        made_up=True,
        week="2026-W45",
        first_day=FIRST,
        last_day=LAST,
        units="metric",
        currency="USD",
        site=site,
        pump=pump,
        plan=plan,
        exports=tables.EXPORTS.conform(exports),
        refused_counts=pl.DataFrame(refused, schema=REFUSED_COUNTS, orient="row"),
        profile=profile(),
        spans=spans(),
        daily=daily,
        savings=savings,
        savings_bands=made_bands(savings),
        exclusions=made_exclusions(savings),
        findings=findings,
        actions=actions,
        site_weeks=site_weeks,
        fleet_savings=made_fleet_savings(savings, site_weeks),
        best_plans=tables.BEST_PLANS.conform(pl.DataFrame(best, infer_schema_length=None)),
        plan_slot=plan_slot(),
        checks=pl.DataFrame(checks, schema=tables.CHECKS.schema, orient="row"),
        conservation={"data_rows": 10080, "readings": 10062, "duplicates": 12, "quarantine": 5, "rejects": 1},
        problems=[
            Problem(
                "site_unknown",
                "pump P-9 names a site that is not in sites.csv; add the site or remove the pump.",
                "warns",
                "pumps.csv",
                9,
                "site_id",
            )
        ],
        air=pl.DataFrame(air, schema=AIR, orient="row"),
        previous_actions=previous,
        rules=pl.DataFrame(rules, schema=RULES, orient="row"),
        pump_exports=pl.DataFrame(
            [(code, "coast_2026-11-09.csv", 2010) for code in SITE_OF if code != "P-6"],
            schema=PUMP_EXPORTS,
            orient="row",
        ),
    )
