"""Rule C9: did a pump fall back to the plan that its controller holds of itself?

Belongs here: which unrecorded day several sites share, and the day from which a pump runs it. No maker's plan is known
to this tool: what counts as the default is learned from the fleet, as the commonest day that no record holds. A house
default that somebody wrote down for any pump is therefore none. Controllers lose their plans one by one: what other sites
ran off their records in the eight weeks before counts, too, and the first to lose it may have done so before the days that
are judged: then the mismatches of its days with its record, which are kept for eight weeks, say since when.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

import numpy as np
import polars as pl

from pumpledger.diagnosis.evidence import EVIDENCE
from pumpledger.diagnosis.quarter_profiles import (
    Array,
    QuarterDays,
    day_kwh,
    period_arrays,
    plan_quarters,
    quarter_days,
)
from pumpledger.engine.database import Database
from pumpledger.profile.plan_match import DIFFERS, MatchLimits, match, median_profile

OFF_RECORD = pl.col("rule_id").is_in(["C13", "C9"]) & (pl.col("verdict") == "found") & pl.col("in_sight")
"""Findings whose pump runs a programme that is not on record."""
PAST_PROGRAMME = {
    "site_id": pl.String(), "pump_id": pl.String(), "week": pl.String(), "day_local": pl.Date(),
    "quarter": pl.Int64(), "speed_rpm": pl.Float64(),
}  # fmt: skip
"""Days of such pumps in the weeks before."""


@dataclass(frozen=True, slots=True)
class _Change:
    """From which of a pump's days on it runs the common profile, and what speaks against saying so."""

    first: int
    days: int
    too_few: bool
    steady_before: bool
    before: int


def same_day(profile: Array, others: Array, values: Mapping[str, float]) -> np.ndarray:
    """Which of ``others`` (n, 96) run as ``profile`` (96,) does: nearly every quarter within ``same_rpm``, so that a
    quarter in which a step begins may differ. Quarters unseen in either are left out; (n,) bool.
    """
    gap = np.abs(others - profile)
    seen = ~np.isnan(gap)
    near = (gap <= values["same_rpm"]) & seen
    return (seen.mean(axis=-1) >= values["same_share"]) & (
        near.sum(axis=-1) >= values["same_share"] * seen.sum(axis=-1)
    )


def plan_kept(profiles: Array, recorded: Array, values: Mapping[str, float]) -> Array:
    """Share of each plan's running quarters (n, 96) that ``profiles`` (n, 96) keep; (n,), 0 for a plan that never runs.

    A pump that keeps them and runs at other hours besides has not lost its plan: frost, a load or a hand adds to it.
    """
    planned = (recorded > 0) & ~np.isnan(profiles)
    kept = planned & (np.abs(np.nan_to_num(profiles) - recorded) <= values["same_rpm"])
    return kept.sum(axis=-1) / np.maximum(planned.sum(axis=-1), 1)


def commonest(profiles: Array, sites: np.ndarray, values: Mapping[str, float]) -> tuple[np.ndarray, int]:
    """Which profiles (n, 96) run as the one that most sites share does, and how many sites those are; (n,) bool."""
    alike = (
        np.stack([same_day(profile, profiles, values) for profile in profiles]) if len(profiles) else np.empty((0, 0))
    )
    shared = np.array([len(set(sites[row])) for row in alike], dtype=int)
    most = int(shared.max(initial=0))
    if most < values["sites"]:
        return np.zeros(len(profiles), dtype=bool), most
    return alike[shared == most].any(axis=0), most


def past_programmes(rows: pl.DataFrame, on_record: Array, values: Mapping[str, float]) -> tuple[Array, np.ndarray]:
    """What pumps ran in a week of the past while it was not on record, and is not yet: profiles (n, 96) and their sites.

    ``rows`` are site_id, pump_id, week, day_local, quarter, speed_rpm.
    """
    profiles, sites = [np.empty((0, on_record.shape[1]))], []
    for (site, _, _), part in rows.group_by("site_id", "pump_id", "week", maintain_order=True):
        profile = median_profile(quarter_days(part).speed_rpm[None])[0]
        if not same_day(profile, on_record, values).any():
            profiles.append(profile[None])
            sites.append(site)
    return np.concatenate(profiles), np.array(sites, dtype=object)


def back_to_default(db: Database, values: Mapping[str, float]) -> pl.DataFrame:
    """EVIDENCE rows of C9. Inputs: those of keyed_period and full_quarter, plan, keying_visit, speed_grid, past_programme."""
    days = quarter_days(db.query("diagnosis/full_quarter", {"ruled_min": values["ruled_min"]}))
    where = days.by_pump()
    keys, *periods = period_arrays(
        db.query("diagnosis/keyed_period").filter(pl.col("pump_id").is_in(list(where))), ["site_id", "pump_id"]
    )
    recorded = plan_quarters(*periods)
    recent = int(values["days_after"])
    now = np.array(
        [median_profile(days.speed_rpm[None, where[pump]][:, -recent:])[0] for pump in keys["pump_id"]]
    ).reshape(-1, recorded.shape[1])
    runs_min = 15 * (np.nan_to_num(now) > 0).sum(axis=1)
    lost = plan_kept(now, recorded, values) < values["same_share"]
    strange = lost & (match(now, recorded).verdict == DIFFERS) & (runs_min >= values["run_least_min"])
    on_record = np.unique(plan_quarters(*period_arrays(db.table("plan"), ["pump_id", "valid_from"])[1:]), axis=0)
    for index in np.flatnonzero(strange):
        strange[index] = not same_day(now[index], on_record, values).any()
    keys, now, recorded = keys.filter(pl.Series(strange)), now[strange], recorded[strange]
    earlier, their_sites = past_programmes(db.table("past_programme"), on_record, values)
    alike, sites = commonest(
        np.concatenate([now, earlier]), np.concatenate([keys["site_id"].to_numpy(), their_sites]), values
    )
    common = alike[: len(now)]
    visited = set(db.query("diagnosis/keying_visit").iter_rows())
    lost_on = lost_before(db.table("clock_day"), values)
    rows = []
    for index in np.flatnonzero(common):
        site, pump = keys.row(index)
        change = _change(days, where[pump], now[index], values)
        row = _row(site, pump, change, days.day_local[where[pump]], lost_on.get(pump), sites, visited, values)
        if row["verdict"] == "found":
            spent, planned = (
                day_kwh(db.table("speed_grid"), [pump], day[None])[0] for day in (now[index], recorded[index])
            )
            row["benefit_kwh_week"] = float(7 * (spent - planned)) if spent > planned else None
        if row["verdict"]:
            rows.append(row)
    return pl.DataFrame(rows, schema={k: v for k, v in EVIDENCE.schema.items() if k != "rule_id"})


def _change(days: QuarterDays, mine: slice, profile: Array, values: Mapping[str, float]) -> _Change:
    """When the pump went over to ``profile``: from one steady way of running to another."""
    speed = days.speed_rpm[mine]
    alike = same_day(profile, speed, values)
    first = int(alike.argmax()) if alike.any() else len(alike)
    after = alike[first:]
    before = speed[:first]
    usual = median_profile(before[None])[0] if len(before) else None
    steady = usual is not None and same_day(usual, before, values).mean() >= values["steady_share"]
    held = after.sum() if len(after) and after.mean() >= values["steady_share"] else 0
    too_few = len(speed) < values["days_before"] + values["days_after"]
    return _Change(first, int(held), too_few, bool(steady and len(before) >= values["days_before"]), len(before))


def lost_before(clock_day: pl.DataFrame, values: Mapping[str, float]) -> dict[str, tuple[date, date]]:
    """The last day on which each pump kept its record, and the next that was seen; pumps that did not keep it on
    ``days_before`` days, or keep it to the last, are left out.

    ``clock_day`` is CLOCK_DAYS of up to eight weeks.
    """
    lost = {}
    for (pump,), rows in clock_day.sort("pump_id", "day_local").group_by("pump_id", maintain_order=True):
        kept = np.flatnonzero(rows["cost_unshifted_rpm"].to_numpy() <= MatchLimits().differs_rpm)
        if len(kept) >= values["days_before"] and kept[-1] + 1 < rows.height:
            lost[str(pump)] = rows["day_local"][int(kept[-1])], rows["day_local"][int(kept[-1]) + 1]
    return lost


def _row(
    site: str,
    pump: str,
    change: _Change,
    dates: np.ndarray,
    lost_on: tuple[date, date] | None,
    sites: int,
    visited: set[tuple],
    values: Mapping[str, float],
) -> dict:
    row = {
        **{column: None for column in EVIDENCE.columns if column != "rule_id"},
        "site_id": site,
        "component": pump,
        "measured": float(sites),
        "threshold": float(values["sites"]),
        "unit": "sites alike",
    }
    kept_it = change.before >= values["days_before"]
    if not kept_it and change.days >= values["days_after"] and lost_on and lost_on[1] <= dates[change.first].item():
        earlier, began = lost_on
    elif change.too_few:
        needs = "more valid days: it runs a day that no record holds and other sites share, since when is not known"
        return {**row, "verdict": "cannot tell", "needs": needs}
    elif not change.steady_before or change.days < values["days_after"]:
        return row
    else:
        began, earlier = dates[change.first].item(), dates[change.first - 1].item()
    at_hand = [day for who, day in visited if who == pump and (earlier - day).days <= 1 and (day - began).days <= 1]
    if at_hand:  # somebody keyed it in; then the record lags behind, and that is another rule's
        return row
    return {
        **row,
        "verdict": "found",
        "first_day": began,
        "last_day": dates[-1].item(),
        "days": change.days,
        "extra": f"Until {earlier} it ran otherwise.",
    }
