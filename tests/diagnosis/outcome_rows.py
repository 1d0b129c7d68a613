"""Rows that the small fleet has none of: savings of many days, warnings of intake, verdicts, plain evidence."""

from __future__ import annotations

from datetime import date, datetime, timedelta

import polars as pl
from small_fleet import CLOCK_WARNING, LAST

from pumpledger.diagnosis.evidence import EVIDENCE
from pumpledger.engine.tables import SAVINGS, VERDICTS


def savings_days(site_id: str, days: int, counted: bool = True, **columns: float) -> pl.DataFrame:
    """``days`` equal rows of SAVINGS that end with the week."""
    rows = [
        {**dict.fromkeys(SAVINGS.columns), "site_id": site_id, "counted": counted, "equal_kwh_mid": 5.0}
        | {"day_local": LAST - timedelta(days=n)}
        | columns
        for n in range(days)
    ]
    return pl.DataFrame(rows, schema=SAVINGS.schema)


def clock_warning(
    name: str = "repeated_hour",
    rows: int = 12,
    first: datetime = datetime(2026, 10, 26, 7),
    last: datetime = datetime(2026, 11, 2, 7),
    file: str = "week.csv",
) -> pl.DataFrame:
    return pl.DataFrame([(file, "coast gateway", name, rows, first, last)], schema=CLOCK_WARNING, orient="row")


def verdict(mode: str, pump_id: str = "", **columns: object) -> dict[str, object]:
    """One row of VERDICTS; a whole source where no pump is named."""
    return {
        "verdict_id": f"v-{mode.lower()}",
        "source": "coast gateway",
        "mode": mode,
        "pump_id": pump_id,
        "quantity": "power",
        "sentence": f"What {mode} says.",
        "evidence": "12 of 12 days",
        "sureness": 1.0,
        "blocks": False,
        "remedy": "",
        "state": "open",
        "pumps": 1,
        "first_day": date(2026, 10, 28),
        "last_day": LAST,
    } | columns


def verdicts(*rows: dict[str, object]) -> pl.DataFrame:
    return VERDICTS.conform(pl.DataFrame(list(rows), schema=VERDICTS.schema))


def evidence(*rows: dict[str, object]) -> pl.DataFrame:
    """EVIDENCE that was found on site S1 and its pump P1, unless a row says otherwise."""
    usual = {**dict.fromkeys(EVIDENCE.columns), "site_id": "S1", "component": "P1", "verdict": "found"}
    return pl.DataFrame([usual | row for row in rows], schema=EVIDENCE.schema)
