"""Made-up findings of each severity, those that cannot be told, and the actions they lead to."""

from __future__ import annotations

from datetime import date

import polars as pl
from review_pumps import HOSTILE_ROUTE, LAST

from pumpledger.engine import tables
from pumpledger.engine.followup_tables import ACTIONS
from pumpledger.followup.log import action_id


def finding(site: str, rule: str, name: str, severity: str, rank: int, **more: object) -> dict[str, object]:
    """A row of FINDINGS with plain defaults."""
    row: dict[str, object] = {
        "site_id": site,
        "rule_id": rule,
        "component": more.get("component", ""),
        "name": name,
        "verdict": "found",
        "severity": severity,
        "rank": rank,
        "explained_by": "",
        "first_day": date(2026, 11, 3),
        "last_day": LAST,
        "days": 5,
        "measured": None,
        "threshold": None,
        "unit": "",
        "sentence": f"{name} at {site}.",
        "instruction": "",
        "caution": "",
        "benefit_kwh_week": None,
        "benefit_money_week": None,
        "probability": 0.8,
        "work_min": 15.0,
        "standing_since": date(2026, 11, 3),
        "in_sight": True,
        "comes_and_goes": False,
    }
    return row | more


def findings() -> pl.DataFrame:
    lock = "Switch off and lock out before opening anything."
    rows = [
        finding(
            "QM-001",
            "C12",
            "Running in peak hours",
            "note",
            1,
            measured=3.2,
            threshold=2.0,
            unit="kWh a day",
            sentence="A third of the energy falls in peak hours.",
            instruction="Move the last period before 16:00.",
            benefit_money_week=2.1,
            benefit_kwh_week=0.0,
            probability=0.6,
            work_min=5.0,
            component="P-1",
        ),
        finding(
            "QM-002",
            "B1",
            "Missing data",
            "data",
            1,
            measured=0.66,
            threshold=0.9,
            unit="of the week",
            sentence="Two days are missing whole, and two more have gaps over two hours.",
            instruction="Export the week again from the gateway.",
            component="P-2",
            days=4,
            work_min=10.0,
        ),
        finding(
            "QM-002",
            "O1",
            "Filters too little",
            "next visit",
            2,
            verdict="cannot tell",
            sentence="Cannot tell: needs five believed days.",
            days=0,
            first_day=None,
            last_day=None,
            component="P-2",
        ),
        finding(
            "QM-003",
            "C6",
            "Full speed all day",
            "this week",
            1,
            measured=24.0,
            threshold=20.0,
            unit="h a day",
            sentence="The pump runs at 3,450 rpm day and night; the plan asks for 1,400 rpm for twelve hours.",
            instruction="Key the plan in again: 1,400 rpm, 07:00 to 19:00.",
            benefit_kwh_week=352.6,
            benefit_money_week=105.78,
            probability=0.95,
            component="P-3",
            days=7,
            first_day=date(2026, 10, 26),
        ),
        finding(
            "QM-003",
            "O3",
            "Costs more than it has to",
            "next visit",
            2,
            explained_by="C6",
            measured=52.3,
            threshold=2.1,
            unit="kWh a day",
            sentence="Uses 50 kWh a day more than its own simple best plan.",
            instruction="See full speed all day.",
            component="P-3",
            days=7,
        ),
        finding(
            "QM-004",
            "D8",
            "Pump does not run",
            "this week",
            1,
            measured=3.0,
            threshold=1.0,
            unit="planned days off",
            sentence="The pump stood still through three planned days while its export was alive.",
            instruction="Check the breaker and the drive's display.",
            caution=lock,
            probability=0.9,
            component="P-4",
            days=3,
            first_day=date(2026, 11, 5),
            work_min=30.0,
        ),
        finding(
            "QM-004",
            "O1",
            "Filters too little",
            "this week",
            2,
            explained_by="D8",
            measured=0.45,
            threshold=0.8,
            unit="turnovers a day",
            sentence="By the upper bound too little was filtered on three days.",
            instruction="See pump does not run.",
            component="P-4",
            days=3,
        ),
        finding(
            "QM-005",
            "D17",
            "No freeze protection seen on a freezing night",
            "safety",
            1,
            measured=6.0,
            threshold=0.33,
            unit="h at frost with the pump off",
            sentence="Air was at or below freezing for six hours and the pump stood still.",
            instruction="Check freeze protection on site before the next cold night.",
            caution="Logs cannot show that pipes are protected.",
            probability=0.7,
            component="P-5a",
            days=2,
            work_min=20.0,
        ),
        finding(
            "QM-005",
            "C10",
            "Override left on",
            "next visit",
            2,
            measured=7.1,
            threshold=3.0,
            unit="h",
            sentence="An override at 3,450 rpm stood for seven hours on 4 November.",
            instruction="Cancel the override; ask why it was needed.",
            benefit_kwh_week=13.9,
            component="P-5a",
            days=1,
        ),
        finding(
            "QM-006",
            "B1",
            "Missing data",
            "data",
            1,
            measured=0.0,
            threshold=0.9,
            unit="of the week",
            sentence="No reading came in.",
            instruction="Ask for the export.",
            component="P-6",
            days=7,
            work_min=10.0,
        ),
        finding(
            "QM-006",
            "A1",
            "Clock is twelve hours out",
            "this week",
            2,
            verdict="cannot tell",
            sentence="The clock cannot be checked: no plan on record.",
            days=0,
            first_day=None,
            last_day=None,
            component="P-6",
        ),
    ]
    return tables.FINDINGS.conform(pl.DataFrame(rows, infer_schema_length=None))


def actions(findings: pl.DataFrame, names: dict[str, str]) -> pl.DataFrame:
    order = ["QM-005", "QM-003", "QM-004", "QM-002", "QM-006", "QM-001"]
    rows = []
    for rank, site in enumerate(order, start=1):
        head = findings.filter((pl.col("site_id") == site) & (pl.col("rank") == 1)).row(0, named=True)
        others = findings.filter((pl.col("site_id") == site) & (pl.col("rank") > 1) & (pl.col("verdict") == "found"))[
            "name"
        ].to_list()
        rows.append(
            {
                "rank": rank,
                "action_id": action_id(site, head["rule_id"], head["component"]),
                "site_id": site,
                "site_name": names[site],
                "route": HOSTILE_ROUTE if site == "QM-006" else "North",
                "rule_id": head["rule_id"],
                "component": head["component"],
                "severity": head["severity"],
                "action": head["instruction"],
                "why": head["sentence"],
                "also_seen": "; ".join(others),
                **{
                    name: head[name]
                    for name in ("benefit_kwh_week", "benefit_money_week", "probability", "work_min", "first_day")
                },
                "state": "open",
                "note": "",
            }
        )
    return ACTIONS.conform(pl.DataFrame(rows, infer_schema_length=None))
