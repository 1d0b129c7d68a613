"""The review's tables as CSV files (RFC 4180, UTF-8, ISO 8601 dates) that are safe to open in a spreadsheet.

Belongs here: column order and escaping. Numbers are written as they are in the tables, to six decimals; missing is
an empty cell.
"""

from __future__ import annotations

from pathlib import Path

import polars as pl

from pumpledger.engine import account_tables, tables
from pumpledger.engine.followup_tables import ACTION_STATES, ACTIONS
from pumpledger.engine.proposal_tables import PLAN_EFFECTS, PROPOSALS, PROPOSED_PERIODS
from pumpledger.reports.data import ReviewData
from pumpledger.reports.data_section import in_order
from pumpledger.reports.replaced import corrections

FILLED_IN = ("event", "day", "said_by", "reason")
"""Empty columns of actions.csv for people who say in a spreadsheet what became of an action."""
_FIRST_DAILY = (
    "site_id",
    "pump_id",
    "day_local",
    "coverage",
    "volume_m3_lo",
    "volume_m3_mid",
    "volume_m3_hi",
    "turnovers_lo",
    "turnovers_mid",
    "turnovers_hi",
    "energy_kwh_lo",
    "energy_kwh_mid",
    "energy_kwh_hi",
)
_DATETIME = "%Y-%m-%dT%H:%M:%S%.fZ"  # every time of the tables is UTC
_FORMULA = r"^[=+\-@\t\r]"


def write_tables(folder: Path, data: ReviewData) -> None:
    """Write the review's tables as CSV into ``folder``: those of the page, and what stands behind its data section."""
    rest = [column for column in tables.DAILY.columns if column not in _FIRST_DAILY]
    frames = {
        "actions": data.actions.select(*ACTIONS.columns).with_columns(pl.lit("").alias(name) for name in FILLED_IN),
        "action_states": data.action_states.select(*ACTION_STATES.columns),
        "findings": data.findings.select(*tables.FINDINGS.columns),
        "daily": data.daily.select(*_FIRST_DAILY, *rest).sort("site_id", "pump_id", "day_local"),
        "savings": data.savings.select(*tables.SAVINGS.columns).sort("site_id", "day_local"),
        "savings_bands": data.savings_bands.select(*tables.SAVINGS_BANDS.columns).sort(*tables.SAVINGS_BANDS.key),
        "exclusions": data.exclusions.select(*tables.EXCLUSIONS.columns).sort(*tables.EXCLUSIONS.key),
        "fleet_savings": data.fleet_savings.select(*account_tables.FLEET_SAVINGS.columns),
        "curves": data.curves.select(*account_tables.CURVES.columns).sort("pump_id"),
        "balance": data.balance.select(*account_tables.BALANCE.columns).sort(*account_tables.BALANCE.key),
        "loading": data.loading.select(*account_tables.LOADING.columns).sort(*account_tables.LOADING.key),
        "proposals": data.proposals.select(*PROPOSALS.columns).sort("pump_id"),
        "proposed_periods": data.proposed_periods.select(*PROPOSED_PERIODS.columns).sort("pump_id", "period"),
        "plan_effects": data.plan_effects.select(*PLAN_EFFECTS.columns).sort(*PLAN_EFFECTS.key),
        "site_weeks": data.site_weeks.select(*tables.SITE_WEEKS.columns).sort("site_id"),
        "efficiency": data.efficiency.select(*account_tables.EFFICIENCY.columns).sort("pump_id", "speed_rpm"),
        "efficiency_record": data.efficiency_record.select(*account_tables.EFFICIENCY_RECORD.columns).sort("pump_id"),
        "verdicts": in_order(data.verdicts).select(*tables.VERDICTS.columns),
        "corrections": corrections(data),
        "exports": data.exports.select(*tables.EXPORTS.columns).sort("sequence"),
    }
    for name, frame in frames.items():
        (folder / f"{name}.csv").write_bytes(csv_bytes(frame))


def csv_bytes(frame: pl.DataFrame, header: bool = True) -> bytes:
    """``frame`` as CSV. A text that a spreadsheet would read as a formula gets an apostrophe in front."""
    texts = [name for name, kind in frame.schema.items() if kind == pl.String]
    reals = [name for name, kind in frame.schema.items() if kind == pl.Float64]
    safe = frame.with_columns(
        *(
            pl.when(pl.col(name).str.contains(_FORMULA))
            .then(pl.lit("'") + pl.col(name))
            .otherwise(pl.col(name))
            .alias(name)
            for name in texts
        ),
        *(pl.col(name).round(6) for name in reals),
    )
    text = safe.write_csv(include_header=header, line_terminator="\r\n", datetime_format=_DATETIME)
    return text.encode("utf-8")
