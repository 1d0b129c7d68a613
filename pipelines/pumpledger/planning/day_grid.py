"""A problem on its grid: which speed each quarter of the day allows, where the pump may stand, and what must add up.

Belongs here: requirements turned into arrays, which the bound and both searches share. Words stand in `problem.py`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pumpledger.planning.problem import (
    QUARTERS,
    Array,
    AsKeyed,
    Continuous,
    FlowLimit,
    Hours,
    LoadWindow,
    LongestPause,
    Plan,
    PlanProblem,
    QuietWindow,
    SpeedLimit,
    Speeds,
    Turnover,
    quarters_of,
)

Mask = npt.NDArray[np.bool_]
ROUNDING = 1e-9


@dataclass(frozen=True)
class Need:
    """A sum over the day: ``rate`` (S,) is what a quarter at each speed adds, ``total`` what it must reach."""

    name: str
    rate: Array
    total: float
    hours: bool  # every speed adds 0 or 1, and the total is a whole number of quarters


@dataclass(frozen=True)
class DayGrid:
    """S usable speeds, 96 quarters.

    ``cost`` (S,) of a quarter at each speed at price 1 [kWh]; ``price`` (96,); ``runs`` (96, S) the speed is allowed;
    ``rests`` (96,) the pump may stand; ``start_cost`` (96,) of a start in that quarter; ``longest_pause`` in quarters,
    96 where none is asked.
    """

    speeds: Speeds
    cost: Array
    price: Array
    runs: Mask
    rests: Mask
    start_cost: Array
    longest_pause: int
    needs: tuple[Need, ...]
    most_periods: int
    crosses_midnight: bool

    @property
    def is_blind(self) -> bool:
        """Whether the hour of the day makes no difference."""
        return (
            np.ptp(self.price) <= ROUNDING * max(abs(float(self.price[0])), 1.0)
            and bool((self.runs == self.runs[0]).all())
            and bool((self.rests == self.rests[0]).all())
            and np.ptp(self.start_cost) <= ROUNDING * max(abs(float(self.start_cost[0])), 1.0)
        )

    def breakpoints(self) -> npt.NDArray[np.int64]:
        """Quarters at which the price or what is allowed changes; midnight where no period may cross it; at least one."""
        key = np.column_stack([self.price, self.start_cost, self.rests, self.runs])
        changes = (key != np.roll(key, 1, axis=0)).any(axis=1)
        changes[0] |= not self.crosses_midnight
        found = np.flatnonzero(changes)
        return found if found.size else np.zeros(1, dtype=np.int64)


def usable(speeds: Speeds) -> Mask:
    """Speeds that surely move water, at a known power and highest flow."""
    known = np.isfinite(speeds.flow_lo) & np.isfinite(speeds.flow_hi) & np.isfinite(speeds.power_mid)
    return known & (np.nan_to_num(speeds.flow_lo) > 0)


def day_grid(problem: PlanProblem) -> DayGrid:
    """The arrays of a problem; ``runs`` may hold no speed at all, where the requirements leave none."""
    speeds = problem.speeds.where(usable(problem.speeds))
    runs = np.ones((QUARTERS, speeds.speed_rpm.size), dtype=bool)
    rests = np.ones(QUARTERS, dtype=bool)
    longest_pause = QUARTERS
    needs: list[Need] = []
    loads = np.zeros(QUARTERS, dtype=bool)
    for requirement in problem.requirements:
        if isinstance(requirement, LoadWindow):
            loads[quarters_of(requirement.start, requirement.length)] = True
    for requirement in problem.requirements:
        match requirement:
            case Turnover(name, required):
                needs.append(Need(name, speeds.flow_lo / 4, required, False))
            case Hours(name, least, quarters):
                needs.append(Need(name, (speeds.speed_rpm >= least).astype(float), float(quarters), True))
            case FlowLimit(_, most, spares_loads):
                runs[~loads if spares_loads else slice(None)] &= speeds.flow_hi <= most + ROUNDING
            case SpeedLimit(_, most, spares_loads):
                runs[~loads if spares_loads else slice(None)] &= speeds.speed_rpm <= most
            case LoadWindow(_, start, length, least):
                runs[quarters_of(start, length)] &= speeds.speed_rpm >= least
                rests[quarters_of(start, length)] = False
            case QuietWindow(_, start, length, most):
                runs[quarters_of(start, length)] &= speeds.speed_rpm <= most
            case AsKeyed(_, start, length):
                keyed = keyed_rpm(problem.in_force or ())
                for quarter in quarters_of(start, length):
                    runs[quarter] &= np.abs(speeds.speed_rpm - keyed[quarter]) < 0.5
                    rests[quarter] &= keyed[quarter] == 0
            case LongestPause(_, quarters):
                longest_pause = min(longest_pause, quarters)
            case Continuous(_, least):
                rests[:] = False
                runs &= speeds.flow_lo >= least - ROUNDING
    keep = runs.any(axis=0)
    speeds = speeds.where(keep)
    return DayGrid(
        speeds=speeds,
        cost=(speeds.power_mid - problem.standby_w) / 4000,
        price=problem.price,
        runs=runs[:, keep],
        rests=rests,
        start_cost=problem.start_cost.priming_kwh * problem.price
        + (problem.start_cost.wear if problem.price_per_kwh is not None else 0.0),
        longest_pause=longest_pause,
        needs=tuple(Need(need.name, need.rate[keep], need.total, need.hours) for need in needs if need.total > 0),
        most_periods=problem.most_periods,
        crosses_midnight=problem.crosses_midnight,
    )


def keyed_rpm(plan: Plan) -> Array:
    """(96,) speed of a plan in each quarter; 0 where it stands. A later period covers an earlier one."""
    speed = np.zeros(QUARTERS)
    for period in plan:
        speed[quarters_of(period.start, period.length)] = period.speed_rpm
    return speed
