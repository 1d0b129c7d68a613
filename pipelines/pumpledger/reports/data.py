"""What a weekly review is made from: one frozen record of finished tables.

Belongs here: the record and the columns it expects. No number is computed here, and nothing is read from disk.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta

import polars as pl

from pumpledger.engine import account_tables, followup_tables, proposal_tables, tables
from pumpledger.problems import Problem

REFUSED_COUNTS = {
    "file": pl.String(),
    "rule": pl.String(),
    "fate": pl.String(),
    "reason": pl.String(),
    "rows": pl.Int64(),
}
PLAN_SLOT = {"pump_id": pl.String(), "day_local": pl.Date(), "quarter": pl.Int64(), "planned_speed_rpm": pl.Float64()}
AIR = {"weather": pl.String(), "time_utc": pl.Datetime("us"), "air_temperature_c": pl.Float64()}
VISIT = {
    "site_id": pl.String(),
    "pump_id": pl.String(),
    "day_local": pl.Date(),
    "work": pl.String(),
    "speed_rpm": pl.Float64(),
    "flow_m3h": pl.Float64(),
    "power_w": pl.Float64(),
}
PUMP_EXPORTS = {"pump_id": pl.String(), "file": pl.String(), "readings": pl.Int64()}
PUMP_SOURCES = {"pump_id": pl.String(), "source": pl.String()}
SUPERSEDED = tables.SUPERSEDED.schema | {"old_file": pl.String(), "new_file": pl.String()}
DECISIONS = {
    "verdict_id": pl.String(),
    "decision": pl.String(),
    "decided_by": pl.String(),
    "decided_on": pl.Date(),
    "note": pl.String(),
    "source": pl.String(),
    "pump_id": pl.String(),
    "remedy": pl.String(),
}
QUARTER_PRICE = {"tariff": pl.String(), "quarter": pl.Int64(), "price_per_kwh": pl.Float64()}
FRONTIER = {
    "pump_id": pl.String(),
    "in_force": pl.Boolean(),
    "turnovers": pl.Float64(),
    "cost_day": pl.Float64(),
    "bound_day": pl.Float64(),
}
RULE_NOTES = {"rule_id": pl.String(), "others": pl.String(), "picture": pl.String()}
RULES = {
    "rule_id": pl.String(),
    "name": pl.String(),
    "severity": pl.String(),
    "parameter": pl.String(),
    "value": pl.Float64(),
    "unit": pl.String(),
    "probability": pl.Float64(),
    "work_min": pl.Float64(),
}


@dataclass(frozen=True)
class ReviewData:
    """Everything the review prints.

    Frames have the columns of `engine.tables`, of the register, or of the schemas above.
    ``first_day`` and ``last_day`` bound the review's week; ``profile``, ``spans``, ``daily``, ``savings`` and
    ``plan_slot`` may reach further back, up to fourteen days before ``last_day``. ``conservation`` holds
    ``data_rows`` and the four fates it must equal. ``rules`` has one row a rule and parameter, ``rule_notes`` one a rule:
    what else could look the same, and the picture it is seen in. ``levels`` reach eight weeks back. ``pump_exports`` says
    which files brought a pump's readings. ``verdicts`` and ``doubts`` are the week's, ``decisions`` all that stand in
    the fleet's ``verdicts.csv``; ``frontier`` is known where a what-if asks for it; ``pump_sources`` names the source that a verdict on a whole source reaches a pump by.
    An empty frame means that nothing is known, and the pages say so.
    """

    fleet_name: str
    made_up: bool
    week: str
    first_day: date
    last_day: date
    units: str
    currency: str
    site: pl.DataFrame
    pump: pl.DataFrame
    plan: pl.DataFrame
    exports: pl.DataFrame = field(default_factory=tables.EXPORTS.empty)
    refused_counts: pl.DataFrame = field(default_factory=lambda: pl.DataFrame(schema=REFUSED_COUNTS))
    profile: pl.DataFrame = field(default_factory=tables.PROFILE.empty)
    spans: pl.DataFrame = field(default_factory=tables.SPANS.empty)
    daily: pl.DataFrame = field(default_factory=tables.DAILY.empty)
    savings: pl.DataFrame = field(default_factory=tables.SAVINGS.empty)
    savings_bands: pl.DataFrame = field(default_factory=tables.SAVINGS_BANDS.empty)
    exclusions: pl.DataFrame = field(default_factory=tables.EXCLUSIONS.empty)
    co2_source: str = ""
    fleet_savings: pl.DataFrame = field(default_factory=account_tables.FLEET_SAVINGS.empty)
    findings: pl.DataFrame = field(default_factory=tables.FINDINGS.empty)
    actions: pl.DataFrame = field(default_factory=followup_tables.ACTIONS.empty)
    action_states: pl.DataFrame = field(default_factory=followup_tables.ACTION_STATES.empty)
    rule_outcomes: pl.DataFrame = field(default_factory=followup_tables.RULE_OUTCOMES.empty)
    site_weeks: pl.DataFrame = field(default_factory=tables.SITE_WEEKS.empty)
    best_plans: pl.DataFrame = field(default_factory=tables.BEST_PLANS.empty)
    proposals: pl.DataFrame = field(default_factory=proposal_tables.PROPOSALS.empty)
    proposed_periods: pl.DataFrame = field(default_factory=proposal_tables.PROPOSED_PERIODS.empty)
    plan_effects: pl.DataFrame = field(default_factory=proposal_tables.PLAN_EFFECTS.empty)
    quarter_price: pl.DataFrame = field(default_factory=lambda: pl.DataFrame(schema=QUARTER_PRICE))
    frontier: pl.DataFrame = field(default_factory=lambda: pl.DataFrame(schema=FRONTIER))
    plan_slot: pl.DataFrame = field(default_factory=lambda: pl.DataFrame(schema=PLAN_SLOT))
    checks: pl.DataFrame = field(default_factory=tables.CHECKS.empty)
    conservation: Mapping[str, int] = field(default_factory=dict)
    problems: tuple[Problem, ...] | list[Problem] = ()
    air: pl.DataFrame = field(default_factory=lambda: pl.DataFrame(schema=AIR))
    previous_actions: pl.DataFrame | None = None
    rules: pl.DataFrame = field(default_factory=lambda: pl.DataFrame(schema=RULES))
    rule_notes: pl.DataFrame = field(default_factory=lambda: pl.DataFrame(schema=RULE_NOTES))
    levels: pl.DataFrame = field(default_factory=account_tables.LEVELS.empty)
    pump_exports: pl.DataFrame = field(default_factory=lambda: pl.DataFrame(schema=PUMP_EXPORTS))
    verdicts: pl.DataFrame = field(default_factory=tables.VERDICTS.empty)
    doubts: pl.DataFrame = field(default_factory=tables.DOUBTS.empty)
    pump_sources: pl.DataFrame = field(default_factory=lambda: pl.DataFrame(schema=PUMP_SOURCES))
    decisions: pl.DataFrame = field(default_factory=lambda: pl.DataFrame(schema=DECISIONS))
    superseded: pl.DataFrame = field(default_factory=lambda: pl.DataFrame(schema=SUPERSEDED))
    visit: pl.DataFrame = field(default_factory=lambda: pl.DataFrame(schema=VISIT))
    speed_grid: pl.DataFrame = field(default_factory=tables.SPEED_GRID.empty)
    curves: pl.DataFrame = field(default_factory=account_tables.CURVES.empty)
    balance: pl.DataFrame = field(default_factory=account_tables.BALANCE.empty)
    loading: pl.DataFrame = field(default_factory=account_tables.LOADING.empty)
    efficiency: pl.DataFrame = field(default_factory=account_tables.EFFICIENCY.empty)
    efficiency_record: pl.DataFrame = field(default_factory=account_tables.EFFICIENCY_RECORD.empty)
    actions_per_100_sites: float = 12.0

    @property
    def week_days(self) -> list[date]:
        """The local days of the week under review, oldest first."""
        return days_between(self.first_day, self.last_day)

    @property
    def shown_days(self) -> list[date]:
        """The fourteen days a site page shows, cut to those that the profile or the daily table reaches back to."""
        known = [frame["day_local"].min() for frame in (self.profile, self.daily) if frame.height]
        oldest = min([day for day in known if isinstance(day, date)], default=self.first_day)
        return days_between(max(min(oldest, self.first_day), self.last_day - timedelta(days=13)), self.last_day)


def days_between(first: date, last: date) -> list[date]:
    """Every day from ``first`` to ``last``, both included."""
    return [first + timedelta(days=count) for count in range((last - first).days + 1)]


def rows_by(frame: pl.DataFrame, column: str) -> dict[str, list[dict[str, object]]]:
    """Rows of ``frame`` as dictionaries, grouped by ``column`` in one pass, in the frame's order."""
    groups: dict[str, list[dict[str, object]]] = {}
    for row in frame.iter_rows(named=True):
        groups.setdefault(row[column], []).append(row)
    return groups
