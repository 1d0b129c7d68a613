"""Rules A7 and C13: the pump keeps another programme than the record says, an older one of its own or one nobody wrote
down.

Belongs here: what tells a stale record from a wrong clock, and an older plan from both. How rows are read off a profile
stands in `observed_plan.py`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date

import numpy as np
import polars as pl

from pumpledger.diagnosis import observed_plan
from pumpledger.diagnosis.observed_plan import ObservedPlan, PlanRow, Steadiness, plan_quarters
from pumpledger.profile import plan_match
from pumpledger.profile.plan_match import MatchLimits

Parameters = Mapping[str, Mapping[str, float]]
FULL_SPEED_RPM, ALL_DAY_MIN = 3000, 1200  # what rule C6 calls full speed all day, by its defaults
KEPT_HOURS = 0.9  # of a period within the hours of the record: all but a quarter at either end of a short one
KNOWN_SPEED_RPM = 50  # how near an added period's speed lies to that keyed in for freeze protection


@dataclass(frozen=True, slots=True)
class Mismatch:
    """One pump whose days do not fit its plan as recorded: costs of the match [rev/min], its days (days, 96), and how far
    apart its log looks [min]."""

    pump_id: str
    shift_min: int
    unshifted_rpm: float
    best_rpm: float
    day_local: np.ndarray
    observed: np.ndarray
    plan: np.ndarray
    look_min: float = 0.0


class Records:
    """The plans of the register, and what they say of a mismatch."""

    def __init__(self, plan: pl.DataFrame, pump: pl.DataFrame, limits: MatchLimits, parameters: Parameters) -> None:
        self.limits, self.parameters = limits, parameters
        self.rows: dict[str, dict[date, list[tuple[int, int, float]]]] = {}
        columns = ("pump_id", "valid_from", "start_min", "stop_min", "speed_rpm")
        for name, since, *row in plan.sort(columns[:3]).select(columns).iter_rows():
            self.rows.setdefault(name, {}).setdefault(since, []).append(tuple(row))
        self.freeze_rpm = dict(pump.select("pump_id", "freeze_speed_rpm").drop_nulls().iter_rows())

    def older(self, seen: Mismatch) -> dict[str, object] | None:
        """Evidence of A7: an older plan of the pump fits clearly better than the one in force, by the tests of the match."""
        last = seen.day_local[-1].item()
        plans = {since: rows for since, rows in self.rows.get(seen.pump_id, {}).items() if since <= last}
        earlier = sorted(plans, reverse=True)[1:]
        if not earlier:
            return None
        quarters = np.stack([plan_quarters(plans[since]) for since in earlier])
        median = plan_match.median_profile(seen.observed[None])[0]
        costs = _costs(np.broadcast_to(median, quarters.shape), quarters, self.limits.cap_rpm)
        least = int(costs.argmin())
        limits = self.limits
        clean = costs[least] <= max(limits.residual_rpm, limits.residual_share * seen.unshifted_rpm)
        gains = seen.unshifted_rpm - costs[least] >= limits.gain_rpm
        if not (clean and gains and costs[least] <= seen.best_rpm + limits.margin_rpm):
            return None
        older = np.broadcast_to(quarters[least], seen.observed.shape)
        own = _costs(seen.observed, seen.plan, limits.cap_rpm) - _costs(seen.observed, older, limits.cap_rpm)
        days = seen.day_local[own >= limits.gain_rpm]
        if len(days) < self.parameters["A7"]["days"]:
            return None
        rival = (
            seen.best_rpm <= costs[least] + limits.margin_rpm and seen.best_rpm < seen.unshifted_rpm - limits.gain_rpm
        )
        clock = (
            f" The plan in force moved by {seen.shift_min:+d} min fits as well: look at the clock, too."
            if rival
            else ""
        )
        return {
            "rule_id": "A7",
            "verdict": "found",
            "measured": float(costs[least]),
            "threshold": seen.unshifted_rpm,
            "unit": "rpm",
            "days": len(days),
            "last_day": days[-1].item(),
            "extra": f"the plan of {earlier[least]}, not that of {max(plans)}.{clock}",
        }

    def stale(self, seen: Mismatch) -> dict[str, object] | None:
        """Evidence of C13: the same other programme every day, which a controller can hold and no shift explains."""
        limits, values = self.limits, self.parameters["C13"]
        if seen.unshifted_rpm <= limits.differs_rpm:
            return None
        if 1 - seen.best_rpm / seen.unshifted_rpm >= values["rotation_gain"]:
            return None
        found = observed_plan.observed_plan(seen.observed, values["day_rpm"])
        left_most = max(limits.residual_rpm, limits.residual_share * seen.unshifted_rpm)
        steady = Steadiness(values["days"], values["stability"], min(left_most, limits.differs_rpm))
        if steady.fault(found) or self._is_freeze(seen, found):
            return None
        scatter = observed_plan.change_scatter_min(seen.observed[found.alike], found.rows)
        if scatter > values["change_min"] + seen.look_min / 2:
            return None  # someone's hand, day after day
        days = seen.day_local[found.alike]
        return {
            "rule_id": "C13",
            "verdict": "found",
            "measured": seen.unshifted_rpm,
            "threshold": limits.differs_rpm,
            "unit": "rpm",
            "days": len(days),
            "last_day": days[-1].item(),
            "explained_by": self._cause(seen, found.rows),
            "extra": observed_plan.words(found.rows),
        }

    def _recorded(self, seen: Mismatch) -> set[PlanRow]:
        last = seen.day_local[-1].item()
        plans = {since: rows for since, rows in self.rows.get(seen.pump_id, {}).items() if since <= last}
        return {PlanRow(start % 1440, stop, int(speed)) for start, stop, speed in (plans[max(plans)] if plans else ())}

    def _is_freeze(self, seen: Mismatch, found: ObservedPlan) -> bool:
        """Whether what is more than the record runs at the speed keyed in for freeze protection: no period, then.

        Frost does not keep to the hours of the record: what runs within them is a period at another speed.
        """
        speed = self.freeze_rpm.get(seen.pump_id)
        if speed is None:
            return False
        runs = seen.plan[-1] > 0
        near = (row for row in set(found.rows) - self._recorded(seen) if abs(row.speed_rpm - speed) <= KNOWN_SPEED_RPM)
        return any(not runs[_hours(row)].mean() >= KEPT_HOURS for row in near)

    def _cause(self, seen: Mismatch, rows: tuple[PlanRow, ...]) -> str | None:
        """The rule that, if found on the site, says more about this programme than that it is not on record."""
        fast = sum((r.stop_min - r.start_min - 1) % 1440 + 1 for r in rows if r.speed_rpm >= FULL_SPEED_RPM)
        if fast >= ALL_DAY_MIN:
            return "C6"
        recorded = self._recorded(seen)
        if set(rows) < recorded:
            return "C4"
        times, speeds = ([sorted((r.start_min, r.stop_min) for r in side), sorted(r.speed_rpm for r in side)] for side in (rows, recorded))  # fmt: skip
        return "C5" if times == speeds else None


def _hours(row: PlanRow) -> np.ndarray:
    """The quarters in which a period runs: (96,) bool."""
    return plan_quarters([(row.start_min, row.stop_min, float(row.speed_rpm))]) > 0


def _costs(observed: np.ndarray, plan: np.ndarray, cap_rpm: float) -> np.ndarray:
    """Capped mean mismatch row by row, as the match has it at no shift: (rows, 96) twice -> (rows,) [rev/min]."""
    seen = ~np.isnan(observed)
    gaps = np.where(seen, np.minimum(np.abs(observed - plan), cap_rpm), 0.0)
    return gaps.sum(axis=1) / np.maximum(seen.sum(axis=1), 1)


def record_rows(records: Records, seen: Mismatch, is_shifted: bool) -> Iterator[dict[str, object]]:
    """A7, or else C13; nothing where neither explains the mismatch. A clean shift is a clock, no stale record."""
    older = records.older(seen)
    if older is not None:
        yield older
        return
    stale = None if is_shifted else records.stale(seen)
    if stale is not None:
        yield stale
