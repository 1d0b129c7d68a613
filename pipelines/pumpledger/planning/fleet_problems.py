"""The plan problems of a fleet: one a pump, from its tables and from what the company wishes of a site.

Belongs here: which table becomes which requirement, and what is withheld where a table has a hole. Several pumps of a
site share its water equally, and its ratings too, because their flows may meet in one filter.

What is not known is never taken as free: without a rating the highest speed of the plan in force is the limit; without
a load's minimum speed its hours stay as they are keyed in.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping

import numpy as np

from pumpledger.engine.database import Database
from pumpledger.planning.problem import (
    MOST_PERIODS,
    QUARTERS,
    Array,
    AsKeyed,
    Continuous,
    FlowLimit,
    Hours,
    LoadWindow,
    LongestPause,
    Period,
    Plan,
    PlanProblem,
    QuietWindow,
    Requirement,
    SpeedLimit,
    Speeds,
    StartCost,
    Turnover,
)
from pumpledger.planning.rules import Rules, flow_rules, public_rules
from pumpledger.planning.wishes import Wishes, register_wishes

LEAST_RPM, MOST_RPM = 600, 3450  # common practice, no source
_COLUMNS = ("flow_m3h_lo", "flow_m3h_mid", "flow_m3h_hi", "power_w_lo", "power_w_mid", "power_w_hi")


def plan_problems(
    db: Database, wishes: Mapping[str, Wishes] | None = None, usual: Wishes | None = None
) -> list[PlanProblem]:
    """One problem a pump, by site and pump.

    Reads ``site``, ``pump``, ``plan``, ``speed_grid``, ``tariff_band``, ``daily``, ``fleet_day``.

    Args:
        wishes: by site; the others have ``usual``.
    """
    usual, wishes = usual or Wishes(), wishes or {}
    grids = _speeds(db)
    plans: dict[str, list[Period]] = defaultdict(list)
    off_grid: set[str] = set()
    for row in db.query("planning/period_in_force").iter_rows(named=True):
        if row["start_min"] % 15 or row["run_min"] % 15:
            off_grid.add(row["pump_id"])
        start, stop = row["start_min"] / 15, (row["start_min"] + row["run_min"]) / 15
        length = max(round(stop) - round(start), 1)
        plans[row["pump_id"]].append(Period(int(row["speed_rpm"]), round(start) % QUARTERS, length))
    prices = {
        name: group["price_per_kwh"].to_numpy()
        for (name,), group in db.query("planning/quarter_price").group_by(["tariff"], maintain_order=True)
    }
    peaks = {
        name: group["quarter"].to_list()
        for (name,), group in db.query("planning/quarter_peak").group_by(["tariff"], maintain_order=True)
    }
    return [
        _problem(
            row,
            wishes.get(row["site_id"], usual).over(register_wishes(row)),
            grids.get(row["pump_id"]),
            tuple(plans[row["pump_id"]]) or None,
            row["pump_id"] in off_grid,
            prices.get(row["tariff"]),
            peaks.get(row["tariff"], []),
        )
        for row in db.query("planning/pump_terms").iter_rows(named=True)
    ]


def _speeds(db: Database) -> dict[str, Speeds]:
    rows = db.query("planning/grid_band", {"least_rpm": LEAST_RPM, "most_rpm": MOST_RPM})
    return {
        pump: Speeds(
            group["speed_rpm"].to_numpy().astype(float),
            *(group[column].cast(float).fill_null(float("nan")).to_numpy() for column in _COLUMNS),
        )
        for (pump,), group in rows.group_by(["pump_id"], maintain_order=True)
    }


def _withheld(row: Mapping[str, object], speeds: Speeds | None, wishes: Wishes, in_force: Plan | None) -> str:
    if row["required_turnovers"] is None:
        return "needs the required turnovers in sites.csv"
    if speeds is None or not np.nanmax(speeds.flow_lo, initial=0.0) > 0:
        return "needs a source of flow: a pump curve with a measured or design point"
    if not np.isfinite(speeds.power_mid).any():
        return "needs a source of wire power: metered readings or visits with power at two speeds"
    if row["aux_load"] != "none" and row["aux_min_speed_rpm"] is None and (not wishes.load_window or not in_force):
        return f"needs the minimum speed of the {row['aux_load']} in pumps.csv; until then its hours stay as they are"
    if (row["filter_limit_m3h"] is None or row["suction_limit_m3h"] is None) and row["plan_rpm"] is None:
        return "needs the ratings of filter and suction fittings in sites.csv, or the plan in force"
    return ""


def _problem(
    row: Mapping[str, object],
    wishes: Wishes,
    speeds: Speeds | None,
    in_force: Plan | None,
    off_grid: bool,
    price: Array | None,
    peak: list[int],
) -> PlanProblem:
    pumps, pool = int(row["site_pumps"]), float(row["pool_volume_m3"])
    notes = ["the plan in force is not on the quarter-hour grid; it is compared rounded"] if off_grid else []
    required = _turnovers(row, wishes.place, notes) * pool / pumps
    asked: list[Requirement] = [Turnover("turnover", required)]
    for name, limit in (("filter rating", "filter_limit_m3h"), ("suction rating", "suction_limit_m3h")):
        if row[limit] is not None:
            asked.append(FlowLimit(name, row[limit] / pumps))
        elif row["plan_rpm"] is not None:
            asked.append(SpeedLimit(f"{name} not recorded", row["plan_rpm"]))
            notes.append(f"{name} not recorded: no speed above the plan in force")
    asked.append(SpeedLimit("full speed", row["full_speed_rpm"]))
    asked += flow_rules(wishes.place, pool, row["full_speed_rpm"], row["pipe_size"])
    asked += _load(row, wishes, notes)
    if row["pool_class"] == "public":
        planned = row["planned_min"]
        all_day = wishes.runs_all_day or planned is None or planned >= 1440
        asked += public_rules(wishes.place, required / 24, all_day)
        if planned is not None:
            asked.append(Hours("hours of a public pool", 0.0, math.ceil(planned / 15 - 1e-9)))
    elif wishes.runs_all_day:
        asked.append(Continuous("continuous operation"))
    asked += _wished(wishes, peak)
    empty = np.empty(0)
    watts = _power_at(speeds, row["priming_speed_rpm"])
    return PlanProblem(
        site_id=str(row["site_id"]),
        pump_id=str(row["pump_id"]),
        speeds=speeds or Speeds(*(empty,) * 7),
        requirements=tuple(asked),
        price_per_kwh=price,
        # Counted whole, though the period's own speed would run meanwhile.
        start_cost=StartCost(watts * (row["priming_min"] or 0.0) / 60000, wishes.wear_per_start),
        most_periods=MOST_PERIODS if wishes.most_periods is None else wishes.most_periods,
        crosses_midnight=wishes.crosses_midnight is not False,
        in_force=in_force,
        standby_w=wishes.standby_w,
        pool_volume_m3=pool / pumps,
        restraint=wishes.restraint,
        withheld=_withheld(row, speeds, wishes, in_force),
        notes=tuple(notes),
    )


def _turnovers(row: Mapping[str, object], place: Rules, notes: list[str]) -> float:
    """Turnovers a day of the whole pool: those of the register, for a public pool no fewer than its place asks."""
    required = float(row["required_turnovers"] or 0.0)
    if row["pool_class"] != "public" or place.public_turnover_h is None or required >= 24 / place.public_turnover_h:
        return required
    notes.append(
        f"the rules of {place.name} ask a public pool for a turnover in {place.public_turnover_h:g} h, more than sites.csv"
    )
    return 24 / place.public_turnover_h


def _load(row: Mapping[str, object], wishes: Wishes, notes: list[str]) -> list[Requirement]:
    load, least = str(row["aux_load"]), row["aux_min_speed_rpm"]
    if load == "none":
        return []
    if least is None:
        notes.append(f"minimum flow of the {load} not recorded: its hours stay as they are")
        return [AsKeyed(f"{load} hours", *wishes.load_window)] if wishes.load_window else []
    if wishes.load_window:
        return [LoadWindow(f"{load} hours", *wishes.load_window, least)]
    quarters = math.ceil(row["aux_need_min"] / 15 - 1e-9)
    return [Hours(f"{load} hours", least, min(quarters, QUARTERS))] if quarters else []


def _wished(wishes: Wishes, peak: list[int]) -> list[Requirement]:
    asked: list[Requirement] = []
    if wishes.solar:
        asked.append(LoadWindow("solar hours", *wishes.solar))
    for name, hours in (("skimming", wishes.skimming), ("chlorination", wishes.chlorination)):
        if hours:
            asked.append(Hours(name, *hours))
    quiet = wishes.quiet or ()
    numbered = len(quiet) > 1
    for number, window in enumerate(quiet, 1):
        asked.append(QuietWindow(f"quiet hours {number}" if numbered else "quiet hours", *window))
    if wishes.longest_pause:
        asked.append(LongestPause("longest pause", wishes.longest_pause))
    if wishes.place.off_peak:
        for start, length in _stretches(peak):
            asked.append(QuietWindow(f"off-peak rule from {start // 4:02d}:{start % 4 * 15:02d}", start, length, 0.0))
    return asked


def _stretches(quarters: list[int]) -> list[tuple[int, int]]:
    """Runs of neighbouring quarters as (first, length)."""
    runs: list[tuple[int, int]] = []
    for quarter in sorted(quarters):
        if runs and sum(runs[-1]) == quarter:
            runs[-1] = (runs[-1][0], runs[-1][1] + 1)
        else:
            runs.append((quarter, 1))
    return runs


def _power_at(speeds: Speeds | None, speed_rpm: float | None) -> float:
    """Wire power at a speed [W]; beyond the known speeds the nearest known one; 0 where nothing is known."""
    if speeds is None or speed_rpm is None:
        return 0.0
    known = np.isfinite(speeds.power_mid)
    if not known.any():
        return 0.0
    return float(np.interp(speed_rpm, speeds.speed_rpm[known], speeds.power_mid[known]))
