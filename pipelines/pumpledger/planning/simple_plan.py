"""The simple best plan of a pump: one period a day that filters as much as required for the least money.

Belongs here: the search over speed, length and start, and what is withheld. What a pump must keep to comes from
`sql/planning/`.

A plan is one period on the 25 rpm and quarter-hour grids (common practice, no source). Volume counts by the low flow
bound, ratings by the high one, energy by the middle. It leaves out priming, freeze protection and overrides: those are
the controller's own. Never above a rating; a rating unknown, never above the highest speed of the plan in force; never
below an auxiliary load's minimum speed or hours; never less than the required volume; for a public pool never fewer
hours than are keyed in now. Several pumps of a site share its volume equally.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import polars as pl

from pumpledger.engine.database import Database
from pumpledger.engine.tables import BEST_PLANS

QUARTERS = 96
LEAST_RPM, MOST_RPM, STEP_RPM = 600, 3450, 25
# 13:00: of equally cheap starts the run around it, because sunlight uses up chlorine (common practice, no source).
MIDDAY_QUARTER = 52
TIE = 1e-9  # relative: costs closer than this are equal

Array = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Windows:
    """Cheapest circular window of each length 0..96 quarters: ``price_sum`` [currency/kWh x quarters] and its first
    quarter."""

    price_sum: Array
    start: npt.NDArray[np.int64]


def cheapest_windows(price_per_kwh: Array) -> Windows:
    """The cheapest run of consecutive quarters for every length, round the clock.

    Ties: middle of the run nearest 13:00, then the earliest start.

    Args:
        price_per_kwh: 96 prices, none negative.
    """
    doubled = np.concatenate([[0.0], np.cumsum(np.concatenate([price_per_kwh, price_per_kwh]))])
    starts, lengths = np.arange(QUARTERS), np.arange(QUARTERS + 1)
    sums = doubled[starts[None, :] + lengths[:, None]] - doubled[starts][None, :]
    equal = sums <= sums.min(axis=1, keepdims=True) + TIE * (1.0 + np.abs(sums).max())
    off_midday = np.abs(
        (starts[None, :] + lengths[:, None] / 2 - MIDDAY_QUARTER + QUARTERS / 2) % QUARTERS - QUARTERS / 2
    )
    start = np.where(equal, off_midday, np.inf).argmin(axis=1)
    start[QUARTERS] = 0  # all day begins at midnight
    return Windows(sums[lengths, start], start)


def best_speeds(
    flow_lo: Array,
    flow_hi: Array,
    power_w: Array,
    required_m3: Array,
    limit_m3h: Array,
    least_rpm: Array,
    most_rpm: Array,
    least_quarters: Array,
    price_sum: Array,
    speeds_rpm: Array,
) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
    """Cheapest speed and the quarters it runs, a pump a row: index into ``speeds_rpm`` (-1 none) and quarters.

    Args:
        flow_lo, flow_hi, power_w: (pumps, speeds) [m3/h, m3/h, W], NaN unknown.
        required_m3, limit_m3h, least_rpm, most_rpm, least_quarters: (pumps,); ``limit_m3h`` infinite where no rating is
        known. price_sum: (pumps, 97) of `Windows`.
        speeds_rpm: (speeds,) ascending.
    """
    usable = (flow_lo > 0) & (flow_hi <= limit_m3h[:, None]) & ~np.isnan(power_w)
    usable &= (speeds_rpm[None, :] >= least_rpm[:, None]) & (speeds_rpm[None, :] <= most_rpm[:, None])
    hours = np.divide(required_m3[:, None], flow_lo, out=np.full(flow_lo.shape, np.inf), where=usable)
    quarters = np.maximum(np.ceil(hours * 4 - 1e-9), least_quarters[:, None])
    usable &= quarters <= QUARTERS
    length = np.where(usable, quarters, 0).astype(np.int64)
    cost = np.where(usable, power_w * np.take_along_axis(price_sum, length, axis=1), np.inf)
    least = cost.min(axis=1)
    found = np.isfinite(least)
    # Equal costs: the slower, so longer, run. Speeds ascend, so it is the first.
    best = (cost <= (least * (1 + TIE))[:, None]).argmax(axis=1)
    return np.where(found, best, -1), np.where(found, length[np.arange(len(best)), best], 0)


def clock_text(quarter: int) -> str:
    """HH:MM of a quarter of the day, 0..96; 96 is 24:00."""
    return f"{quarter // 4:02d}:{quarter % 4 * 15:02d}"


def _withheld(row: dict[str, object], flow_known: bool, power_known: bool) -> str:
    if row["required_turnovers"] is None:
        return "needs the required turnovers in sites.csv"
    if not flow_known:
        return "needs a source of flow: a pump curve with a measured or design point"
    if not power_known:
        return "needs a source of wire power: metered readings or visits with power at two speeds"
    if row["aux_load"] != "none" and row["aux_min_speed_rpm"] is None:
        return f"needs the minimum speed of the {row['aux_load']} in pumps.csv"
    if not row["limits_known"] and row["plan_rpm"] is None:
        return "needs the ratings of filter and suction fittings in sites.csv, or the plan in force"
    return ""


def _pivot(points: pl.DataFrame, pumps: list[str], speeds: Array, column: str) -> Array:
    filled = np.full((len(pumps), len(speeds)), np.nan)
    index = {pump: row for row, pump in enumerate(pumps)}
    known = points.filter(pl.col(column).is_not_null() & pl.col("pump_id").is_in(pumps))
    rows = np.array([index[pump] for pump in known["pump_id"]], dtype=np.int64)
    columns = (known["speed_rpm"].to_numpy() - LEAST_RPM) // STEP_RPM
    filled[rows, columns.astype(np.int64)] = known[column].to_numpy()
    return filled


def build_best_plans(db: Database) -> None:
    """Make ``best_plan`` (BEST_PLANS): one row a pump.

    Inputs: site, pump, plan, speed_grid, tariff_band, daily, fleet_day.
    """
    rows = list(db.query("planning/plan_input").iter_rows(named=True))
    points = db.query("planning/grid_point", {"least_rpm": LEAST_RPM, "most_rpm": MOST_RPM})
    speeds = np.arange(LEAST_RPM, MOST_RPM + 1, STEP_RPM, dtype=np.float64)
    pumps = [row["pump_id"] for row in rows]
    flow_lo, flow_hi, power = (
        _pivot(points, pumps, speeds, column) for column in ("flow_m3h_lo", "flow_m3h_hi", "power_w_mid")
    )

    prices = db.query("planning/quarter_price")
    windows = {
        tariff: cheapest_windows(group["price_per_kwh"].to_numpy())
        for (tariff,), group in prices.sort("tariff", "quarter").group_by(["tariff"], maintain_order=True)
    }
    flat = cheapest_windows(np.ones(QUARTERS))  # no tariff: cheapest is least energy
    chosen = [windows.get(row["tariff"], flat) for row in rows]

    reasons = [
        _withheld(row, bool((low > 0).any()), bool((~np.isnan(watts)).any()))
        for row, low, watts in zip(rows, flow_lo, power, strict=True)
    ]
    required = np.array(
        [(row["required_turnovers"] or 0.0) * row["pool_volume_m3"] / row["site_pumps"] for row in rows]
    )
    best, quarters = (
        best_speeds(
            flow_lo,
            flow_hi,
            power,
            required,
            np.array([np.inf if row["limit_m3h"] is None else row["limit_m3h"] for row in rows]),
            np.array(
                [
                    row["aux_min_speed_rpm"] if row["aux_load"] != "none" and row["aux_min_speed_rpm"] else 0.0
                    for row in rows
                ]
            ),
            np.array(
                [
                    min(row["full_speed_rpm"], np.inf if row["limits_known"] else (row["plan_rpm"] or 0.0))
                    for row in rows
                ]
            ),
            np.array([math.ceil(row["least_run_min"] / 15 - 1e-9) for row in rows], dtype=np.float64),
            np.stack([window.price_sum for window in chosen]) if rows else np.empty((0, QUARTERS + 1)),
            speeds,
        )
        if rows
        else (np.empty(0, np.int64), np.empty(0, np.int64))
    )

    plans = []
    for index, row in enumerate(rows):
        reason = reasons[index] or (
            ""
            if best[index] >= 0
            else "no permitted speed filters the required volume and keeps the hours asked for within 24 h"
        )
        plan: dict[str, object] = {
            **dict.fromkeys(BEST_PLANS.columns),
            "site_id": row["site_id"],
            "pump_id": row["pump_id"],
            "withheld": reason,
        }
        if not reason:
            length, watts = int(quarters[index]), float(power[index, best[index]])
            start = int(chosen[index].start[length])
            stop = start + length
            plan |= {
                "speed_rpm": int(speeds[best[index]]),
                "start_local": clock_text(start),
                "stop_local": clock_text(stop if stop <= QUARTERS else stop - QUARTERS),
                "hours": length / 4,
                "energy_kwh_day": watts * length / 4 / 1000,
                "cost_day": watts * float(chosen[index].price_sum[length]) / 4 / 1000
                if row["tariff"] in windows
                else None,
                "turnovers_lo": float(flow_lo[index, best[index]]) * length / 4 / row["pool_volume_m3"],
            }
        plans.append(plan)
    db.load("best_plan", BEST_PLANS.conform(pl.DataFrame(plans, schema=BEST_PLANS.schema)))
