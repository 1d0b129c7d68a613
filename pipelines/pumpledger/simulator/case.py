"""One fault or innocent to be laid over a site: from which day to which, how large, and the few things all of them do.

Belongs here: keying plans, setting controllers, noting visits. What a mode does stands in `faults_*.py` and
`innocents.py`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np

from pumpledger.simulator.controller import KeyedPlan, Manual, Period
from pumpledger.simulator.horizon import Horizon
from pumpledger.simulator.sites import Change, Pump, Site, Visit

DAY_S = 86_400


@dataclass
class Case:
    """``pump`` of ``site`` from local day ``first`` to ``last``; ``size`` is 0 where hardly visible, 1 where plain.

    A mode that cannot begin or end on any day moves ``first`` and ``last`` to what it did; one of which nothing can be seen
    but another mode names that, ``shown_as``.
    """

    site: Site
    pump: Pump
    horizon: Horizon
    first: date
    last: date
    size: float
    rng: np.random.Generator
    shown_as: str | None = None

    @property
    def start_s(self) -> int:
        """Local midnight at the beginning of the first day [s, UTC]."""
        return self.horizon.midnight_s(self.first)

    @property
    def stop_s(self) -> int:
        """Local midnight after the last day [s, UTC]."""
        return self.horizon.midnight_s(self.last + timedelta(days=1))

    @property
    def days(self) -> list[date]:
        """Local days in order."""
        return [self.first + timedelta(days=i) for i in range((self.last - self.first).days + 1)]

    @property
    def ends(self) -> bool:
        """Someone sets it right before the fleet's last day."""
        return self.last < self.horizon.last_day

    @property
    def need_m3(self) -> float:
        """What this pump has to filter in a day [m3]."""
        return self.site.pool_volume_m3 * self.site.required_turnovers / len(self.site.pumps)

    def at(self, day: date, clock_min: float) -> int:
        """An instant by the local clock [s, UTC], on whole tens of seconds, as the trace steps."""
        return self.horizon.utc_s(day, clock_min) // 10 * 10

    def between(self, faint: float, plain: float) -> float:
        """A physical amount from the size."""
        return faint + self.size * (plain - faint)

    def set(self, **changes: object) -> None:
        """Change the controller."""
        self.pump.controller = replace(self.pump.controller, **changes)  # type: ignore[arg-type]

    def whole(self) -> None:
        """It has been so since before the first day, and stays."""
        self.first, self.last = self.horizon.first_day, self.horizon.last_day

    def keyed(self) -> tuple[Period, ...]:
        """The periods that run on the first day."""
        return in_force(self.pump.controller.plans, self.first)

    def key_in(self, periods: tuple[Period, ...], run: bool = True, recorded: bool = True) -> None:
        """Key ``periods`` into the controller, write them down, or both, for the case's days; then what was there
        before comes back.
        """
        if run:
            self.set(plans=self._spliced(self.pump.controller.plans, periods))
        if recorded:
            self.pump.recorded_plans = list(self._spliced(tuple(self.pump.recorded_plans), periods))

    def hand(self, day: date, clock_min: float, minutes: float, speed_rpm: int, to_waste: bool = False) -> Manual:
        """Someone at the pad from a clock time of ``day`` on; the case's ``manual`` is not changed yet."""
        start = self.at(day, clock_min)
        return Manual(start, start + int(minutes * 60), speed_rpm, to_waste)

    def add_hands(self, hands: list[Manual]) -> None:
        """Add to what people do at the pad."""
        known = (*self.pump.controller.manual, *hands)
        self.set(manual=tuple(sorted(known, key=lambda hand: hand.start_s)))

    def visit(self, day: date, work: str, note: str = "") -> None:
        """Write a visit down."""
        self.site.visits.append(Visit(self.pump.pump_id, day, work, note=note))

    def mended(self, work: str, note: str = "") -> None:
        """Where the case ends before the fleet does: the visit that ended it, on the day after."""
        if self.ends:
            self.visit(self.last + timedelta(days=1), work, note)

    def change(self, kind: str, points: list[tuple[int, float]]) -> None:
        """Let something of pump or water change; it goes within the last hour of the case, for conditions are hourly."""
        end = [(self.stop_s - 1, points[-1][1]), (self.stop_s, 0.0)] if self.ends else []
        self.pump.changes.append(Change(kind, tuple([*points, *end])))  # type: ignore[arg-type]

    def running_min(self, day: date, least_min: int = 30) -> list[tuple[int, int]]:
        """Clock times (from, to) [min since 00:00] of the plan's running on ``day``, at least so long."""
        on = KeyedPlan(day, in_force(self.pump.controller.plans, day)).speed_by_minute() > 0
        edge = np.flatnonzero(np.diff(np.concatenate([[False], on, [False]]).astype(int)))
        return [(int(a), int(b)) for a, b in zip(edge[::2], edge[1::2], strict=True) if b - a >= least_min]

    def _spliced(self, plans: tuple[KeyedPlan, ...], periods: tuple[Period, ...]) -> tuple[KeyedPlan, ...]:
        since = plans[0].valid_from if self.first == self.horizon.first_day else self.first
        after = self.last + timedelta(days=1)
        kept = [plan for plan in plans if plan.valid_from < since or plan.valid_from > after]
        back = [KeyedPlan(after, in_force(plans, after))] if self.ends else []
        return tuple(sorted([*kept, KeyedPlan(since, periods), *back], key=lambda plan: plan.valid_from))


def in_force(plans: tuple[KeyedPlan, ...] | list[KeyedPlan], day: date) -> tuple[Period, ...]:
    """The periods keyed in on ``day``; before the first plan, those of the first."""
    begun = [plan for plan in plans if plan.valid_from <= day]
    return (begun[-1] if begun else plans[0]).periods


def clock(minutes: float) -> int:
    """Minutes since 00:00, 0 to 1439, on the grid of five."""
    return int(round(minutes / 5.0) * 5) % 1440


def moved(periods: tuple[Period, ...], minutes: int) -> tuple[Period, ...]:
    """The same plan at another time of day."""
    return tuple(
        Period(row.speed_rpm, (row.start_min + minutes) % 1440, (row.stop_min + minutes) % 1440 or 1440)
        for row in periods
    )
