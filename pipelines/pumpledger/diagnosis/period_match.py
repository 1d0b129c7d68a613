"""Rule C5: do the speeds of a plan stand in the wrong rows?

Belongs here: what ran against every order of the recorded speeds over the recorded periods, by the capped mean
difference of `profile/plan_match.py`. Rotation of the whole plan is the clock's business (`clock.py`); here it is one
more rival that an order of speeds has to beat.
"""

from __future__ import annotations

from collections.abc import Mapping
from itertools import permutations

import numpy as np
import polars as pl

from pumpledger.diagnosis.compared import steps
from pumpledger.diagnosis.evidence import EVIDENCE
from pumpledger.diagnosis.quarter_profiles import Array, day_kwh, period_arrays, plan_quarters, quarter_days
from pumpledger.engine.database import Database
from pumpledger.profile.plan_match import OBSERVED_LEAST, median_profile, shift_costs

_MOST_PERIODS = 5  # 120 orders; the register holds three


def match_cost(observed: Array, plan: Array, cap_rpm: float) -> Array:
    """``mean(min(|observed - plan|, cap))`` over the observed quarters: (..., 96) twice -> (...) [rpm]; NaN none."""
    gap = np.minimum(np.abs(observed - plan), cap_rpm)
    seen = ~np.isnan(gap)
    count = seen.sum(axis=-1)
    total = np.where(seen, gap, 0.0).sum(axis=-1)
    return np.divide(total, count, out=np.full(total.shape, np.nan), where=count > 0)


def order_costs(
    observed: Array, speed_rpm: Array, start_min: Array, stop_min: Array, cap_rpm: float
) -> tuple[Array, Array]:
    """Cost of every order of the speeds: (pumps, 96) and three times (pumps, periods), none NaN -> plans (orders, pumps,
    96) [rev/min] and costs (orders, pumps) [rpm]. The first order is the recorded one.
    """
    orders = list(permutations(range(speed_rpm.shape[1])))
    plans = np.stack([plan_quarters(speed_rpm[:, list(order)], start_min, stop_min) for order in orders])
    return plans, match_cost(observed[None], plans, cap_rpm)


def steps_in_wrong_order(db: Database, values: Mapping[str, float]) -> pl.DataFrame:
    """EVIDENCE rows of C5. Inputs: those of keyed_period, keyed_day and keyed_quarter, and speed_grid."""
    plans = db.query("diagnosis/keyed_period")
    quarters = db.query("diagnosis/keyed_quarter", {"of_days": values["of_days"]}, over=steps("keyed_day"))
    rows = [
        row
        for (periods,), group in plans.sort("pump_id").group_by("periods", maintain_order=True)
        if 2 <= periods <= _MOST_PERIODS
        for row in _of_equal_length(db, group, quarters, values)
    ]
    return pl.DataFrame(rows, schema={k: v for k, v in EVIDENCE.schema.items() if k != "rule_id"})


def _of_equal_length(
    db: Database, plans: pl.DataFrame, quarters: pl.DataFrame, values: Mapping[str, float]
) -> list[dict]:
    """Evidence of the pumps whose plans have one number of periods."""
    days = quarter_days(quarters.filter(pl.col("pump_id").is_in(plans["pump_id"].unique().implode())))
    where = days.by_pump()
    keys, speed, start, stop = period_arrays(plans.filter(pl.col("pump_id").is_in(list(where))), ["site_id", "pump_id"])
    if not keys.height:
        return []
    observed = np.concatenate([median_profile(days.speed_rpm[None, where[pump]]) for pump in keys["pump_id"]])
    ordered, costs = order_costs(observed, speed, start, stop, values["cap_rpm"])
    pumps = np.arange(keys.height)
    best = np.argmin(np.nan_to_num(costs, nan=np.inf), axis=0)
    least, recorded = costs[best, pumps], costs[0]
    same = np.isclose(ordered, ordered[best, pumps][None]).all(axis=2)
    rival_order = np.where(same, np.inf, costs).min(axis=0)
    moved = shift_costs(observed, ordered[0], values["cap_rpm"])[:, 1:].min(axis=1)
    rival = np.minimum(rival_order, moved)
    seen = (~np.isnan(observed)).mean(axis=1) >= OBSERVED_LEAST
    cheaper = (least <= (1 - values["cheaper_share"]) * recorded) & (recorded - least >= values["margin_rpm"])
    in_each = np.array(
        [
            _in_each_period(*row, values["cap_rpm"])
            for row in zip(observed, ordered[0], ordered[best, pumps], strict=True)
        ]
    )
    suspect = seen & cheaper & in_each & (least <= values["residual_rpm"])
    fixed = 7 * (
        day_kwh(db.table("speed_grid"), keys["pump_id"].to_list(), ordered[best, pumps])
        - day_kwh(db.table("speed_grid"), keys["pump_id"].to_list(), ordered[0])
    )
    result = []
    for index in np.flatnonzero(suspect):
        site, pump = keys.row(index)
        mine = where[pump]
        by_day = match_cost(days.speed_rpm[mine], ordered[best[index], index], values["cap_rpm"])
        as_recorded = match_cost(days.speed_rpm[mine], ordered[0, index], values["cap_rpm"])
        told = days.day_local[mine][by_day + values["margin_rpm"] <= as_recorded]
        row = {
            **{column: None for column in EVIDENCE.columns if column != "rule_id"},
            "site_id": site,
            "component": pump,
            "verdict": "cannot tell",
            "first_day": told.min().item() if len(told) else None,
            "last_day": told.max().item() if len(told) else None,
            "days": len(told),
            "measured": float(least[index]),
            "threshold": float(recorded[index]),
            "unit": "rpm mean mismatch",
        }
        if len(told) < values["days"]:
            row["needs"] = "more valid days under this plan: so far the speeds of its periods look exchanged"
        elif rival[index] - least[index] < values["margin_rpm"]:
            row["extra"] = "what runs fits another order of the plan's speeds, and " + (
                "a second order nearly as well"
                if rival_order[index] <= moved[index]
                else "the plan moved round the clock nearly as well"
            )
        else:
            row |= {"verdict": "found", "extra": _in_words(plans, pump, permuted=ordered[best[index], index])}
            if fixed[index] > 0:
                row["benefit_kwh_week"] = float(fixed[index])
        result.append(row)
    return result


def _in_each_period(observed: Array, recorded: Array, exchanged: Array, cap_rpm: float) -> bool:
    """Whether every period whose speed is another runs nearer to that than to its own, by the middle of its quarters: one
    short period as recorded beside a long one that is not are no exchange. Profiles are (96,) [rev/min].
    """
    changed = recorded != exchanged
    apart = np.minimum(np.abs(observed - recorded), cap_rpm) - np.minimum(np.abs(observed - exchanged), cap_rpm)
    gains = [apart[changed & (recorded == speed)] for speed in np.unique(recorded[changed])]
    return all(np.isnan(gain).all() or np.nanmedian(gain) > 0 for gain in gains)


def _in_words(plans: pl.DataFrame, pump: str, permuted: Array) -> str:
    """What each exchanged period runs at, by the profile ``permuted`` (96,) [rev/min]."""
    said = []
    for row in plans.filter(pump_id=pump).sort("period").iter_rows(named=True):
        middle = (row["start_min"] + row["length_min"] / 2) % 1440
        runs = permuted[int(middle // 15)]
        if runs != row["speed_rpm"]:
            said.append(f"period {row['period']} runs at {runs:.0f} rpm in place of {row['speed_rpm']:.0f}")
    return ", ".join(said).capitalize() + "."
