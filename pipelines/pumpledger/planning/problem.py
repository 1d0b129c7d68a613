"""What is asked of a plan: the pump's speeds, the prices of the day, and everything that the plan must keep to.

Belongs here: the data, in quarter hours of the clock, and what each requirement says in words. How a plan is found
stands in `flat_search.py` and `tou_search.py`; where the numbers of a fleet come from, in `fleet_problems.py`.

A plan is a handful of periods, the same every day, on the 25 rpm and quarter-hour grids (common practice, no source).
Volume counts by the low flow bound, ratings by the high one, energy by the middle. Priming, freeze protection and
overrides are the controller's own and stand outside the plan; only the energy of priming is counted, once a start.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

QUARTERS = 96
MOST_PERIODS = 3  # common practice, no source

Array = npt.NDArray[np.float64]


def clock_text(quarter: int) -> str:
    """HH:MM of a quarter of the day; 96 is 24:00."""
    return f"{quarter // 4:02d}:{quarter % 4 * 15:02d}"


def window_text(start: int, length: int) -> str:
    """A window by the clock in words: ``from 22:00 to 06:00``, or ``all day``."""
    stop = (start + length - 1) % QUARTERS + 1
    return "all day" if length >= QUARTERS else f"from {clock_text(start)} to {clock_text(stop)}"


def quarters_of(start: int, length: int) -> npt.NDArray[np.int64]:
    """The quarters 0..95 that a stretch of ``length`` from ``start`` covers, round the clock."""
    return (start + np.arange(length)) % QUARTERS


@dataclass(frozen=True, slots=True)
class Period:
    """One row of a plan: speed [rev/min], first quarter 0..95 and length in quarters 1..96; it may cross midnight."""

    speed_rpm: int
    start: int
    length: int

    @property
    def stop(self) -> int:
        """The quarter at which it ends: 1..96, and less than ``start`` where it crosses midnight."""
        end = self.start + self.length
        return end if end <= QUARTERS else end - QUARTERS

    def __str__(self) -> str:
        return f"{self.speed_rpm} rpm from {clock_text(self.start)} to {clock_text(self.stop)}"


Plan = tuple[Period, ...]


@dataclass(frozen=True)
class Speeds:
    """The speeds that can be keyed in, ascending, with what the pump does there; NaN unknown. All of one length.

    ``speed_rpm`` [rev/min], flows [m3/h], wire powers [W], each low, middle and high.
    """

    speed_rpm: Array
    flow_lo: Array
    flow_mid: Array
    flow_hi: Array
    power_lo: Array
    power_mid: Array
    power_hi: Array

    def where(self, keep: npt.NDArray[np.bool_]) -> Speeds:
        """Only the speeds of ``keep``."""
        return Speeds(*(getattr(self, name)[keep] for name in Speeds.__dataclass_fields__))

    def index(self, speed_rpm: float) -> int | None:
        """The place of a speed; None where it is not among them."""
        found = np.flatnonzero(np.abs(self.speed_rpm - speed_rpm) < 0.5)
        return int(found[0]) if found.size else None


@dataclass(frozen=True, slots=True)
class Turnover:
    """Water to filter in a day by the low flow bound [m3]."""

    name: str
    required_m3: float

    def __str__(self) -> str:
        return f"{self.name}: {self.required_m3:.1f} m3 a day"


@dataclass(frozen=True, slots=True)
class FlowLimit:
    """Highest flow by the high bound [m3/h]. ``spares_loads``: it does not hold while a load's window asks for speed."""

    name: str
    most_m3h: float
    spares_loads: bool = False

    def __str__(self) -> str:
        return f"{self.name}: at most {self.most_m3h:.1f} m3/h"


@dataclass(frozen=True, slots=True)
class SpeedLimit:
    """Highest speed [rev/min]; ``spares_loads`` as in `FlowLimit`."""

    name: str
    most_rpm: float
    spares_loads: bool = False

    def __str__(self) -> str:
        return f"{self.name}: at most {self.most_rpm:.0f} rpm"


@dataclass(frozen=True, slots=True)
class LoadWindow:
    """A load's hours by the clock: the pump runs throughout, at ``least_rpm`` or faster."""

    name: str
    start: int
    length: int
    least_rpm: float

    def __str__(self) -> str:
        return f"{self.name}: at least {self.least_rpm:.0f} rpm {window_text(self.start, self.length)}"


@dataclass(frozen=True, slots=True)
class QuietWindow:
    """Hours by the clock with a highest speed [rev/min]; 0: the pump is off."""

    name: str
    start: int
    length: int
    most_rpm: float

    def __str__(self) -> str:
        most = f"at most {self.most_rpm:.0f} rpm" if self.most_rpm > 0 else "off"
        return f"{self.name}: {most} {window_text(self.start, self.length)}"


@dataclass(frozen=True, slots=True)
class AsKeyed:
    """Hours by the clock that stay as they are keyed in now: a load runs there whose least flow is not recorded."""

    name: str
    start: int
    length: int

    def __str__(self) -> str:
        return f"{self.name}: the plan stays as it is {window_text(self.start, self.length)}"


@dataclass(frozen=True, slots=True)
class Hours:
    """Quarters a day at ``least_rpm`` or faster, in one piece or several: skimming, chlorination, a load."""

    name: str
    least_rpm: float
    quarters: int

    def __str__(self) -> str:
        speed = f" at {self.least_rpm:.0f} rpm or faster" if self.least_rpm > 0 else ""
        return f"{self.name}: {self.quarters / 4:g} h a day{speed}"


@dataclass(frozen=True, slots=True)
class LongestPause:
    """Longest time without running, in quarters."""

    name: str
    quarters: int

    def __str__(self) -> str:
        return f"{self.name}: no pause over {self.quarters / 4:g} h"


@dataclass(frozen=True, slots=True)
class Continuous:
    """The pump runs all day, with at least ``least_m3h`` by the low flow bound [m3/h]."""

    name: str
    least_m3h: float = 0.0

    def __str__(self) -> str:
        flow = f" with at least {self.least_m3h:.1f} m3/h" if self.least_m3h > 0 else ""
        return f"{self.name}: runs all day{flow}"


Requirement = Turnover | FlowLimit | SpeedLimit | LoadWindow | QuietWindow | AsKeyed | Hours | LongestPause | Continuous


@dataclass(frozen=True, slots=True)
class StartCost:
    """What each start after a pause costs beyond the plan's own energy: priming [kWh], wear [currency]."""

    priming_kwh: float = 0.0
    wear: float = 0.0


@dataclass(frozen=True, slots=True)
class Restraint:
    """When a cheaper plan is still not proposed: every keying costs a visit and may be keyed wrongly.

    A saving must reach ``least_share`` of the plan in force and ``least_money_year`` [currency a year, of 365 days; not
    asked without a tariff], unless ``cures_finding``: the plan in force is at fault itself.
    """

    least_share: float = 0.03
    least_money_year: float = 10.0
    cures_finding: bool = False


@dataclass(frozen=True)
class PlanProblem:
    """One pump's problem.

    Args:
        price_per_kwh: (96,) mean price of each quarter of the clock over a week [currency/kWh]; None: no tariff, and the
            least energy is sought.
        requirements: each with a name of its own, which is what a clash is told by.
        in_force: the plan keyed in now; None where none is on record.
        standby_w: draw of the pump at rest, which running saves [W].
        pool_volume_m3: this pump's share of the pool, for words about turnovers.
        withheld: why no plan may be proposed at all; empty where one may.
        notes: what was left as it is, and why, for the people who key the plan in.

    Raises:
        ValueError: prices that are not 96 finite numbers, not 1 to 3 periods, or two requirements of one name.
    """

    site_id: str
    pump_id: str
    speeds: Speeds
    requirements: tuple[Requirement, ...]
    price_per_kwh: Array | None = None
    start_cost: StartCost = StartCost()
    most_periods: int = MOST_PERIODS
    crosses_midnight: bool = True
    in_force: Plan | None = None
    standby_w: float = 0.0
    pool_volume_m3: float | None = None
    restraint: Restraint = Restraint()
    withheld: str = ""
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        price = self.price_per_kwh
        if price is not None and (price.shape != (QUARTERS,) or not np.isfinite(price).all()):
            raise ValueError("prices are 96 finite numbers")
        if not 1 <= self.most_periods <= MOST_PERIODS:
            raise ValueError("a plan has 1 to 3 periods")
        if len(set(self.names)) < len(self.names):
            raise ValueError("two requirements have one name")

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(requirement.name for requirement in self.requirements)

    @property
    def price(self) -> Array:
        """(96,) what a kWh counts in each quarter: the tariff's price, or 1."""
        return np.ones(QUARTERS) if self.price_per_kwh is None else self.price_per_kwh

    def only(self, names: Iterable[str]) -> PlanProblem:
        """The same problem with the requirements of these names alone."""
        kept = set(names)
        return replace(self, requirements=tuple(r for r in self.requirements if r.name in kept))
