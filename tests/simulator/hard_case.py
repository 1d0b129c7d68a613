"""One case on one site of its own, traced beside the same site without it."""

from __future__ import annotations

import copy
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from pumpledger.simulator.case import Case
from pumpledger.simulator.conditions import hard_conditions
from pumpledger.simulator.controller import KeyedPlan
from pumpledger.simulator.deck import _joined, _role
from pumpledger.simulator.fleet import ZONE
from pumpledger.simulator.horizon import Horizon, demo_horizon
from pumpledger.simulator.kinds import FAULTS, INNOCENTS
from pumpledger.simulator.sites import Pump, Site, draw_site, site_rng
from pumpledger.simulator.trace import Trace, simulate
from pumpledger.simulator.weather import make_station

HORIZON = demo_horizon(ZONE, 4)
"""2026-10-12 to 2026-11-08, with a day of 25 hours on November 1."""
FIRST, LAST = HORIZON.first_day + timedelta(days=10), HORIZON.first_day + timedelta(days=24)


@dataclass
class Laid:
    """The site with the case and its trace, and the trace without."""

    case: Case
    note: str
    trace: Trace
    healthy: Trace
    healthy_plans: tuple[KeyedPlan, ...]

    @property
    def site(self) -> Site:
        return self.case.site

    @property
    def pump(self) -> Pump:
        return self.case.pump

    def minutes(self, first: date, last: date) -> np.ndarray:
        """The middle of each minute from one local day to another [s, UTC]."""
        return np.arange(HORIZON.midnight_s(first) + 30, HORIZON.midnight_s(last + timedelta(days=1)), 60)

    @property
    def before(self) -> np.ndarray:
        return self.minutes(HORIZON.first_day, self.case.first - timedelta(days=1))

    @property
    def during(self) -> np.ndarray:
        return self.minutes(self.case.first, self.case.last)

    @property
    def after(self) -> np.ndarray:
        """From the day after the next on."""
        return self.minutes(self.case.last + timedelta(days=2), HORIZON.last_day)


def lay(mode: str, size: float = 0.8, seed: int = 3, first: date = FIRST, last: date = LAST) -> Laid:
    """``mode`` at a site that suits it."""
    kind = FAULTS.get(mode) or INNOCENTS[mode]
    role = _role(_joined((mode,)) if mode in FAULTS else _wants(mode), np.random.default_rng([seed, 1]))
    site = draw_site(1, role, "Route 1", 1, HORIZON, site_rng(seed, 1), 0.01)
    without = copy.deepcopy(site)
    case = Case(site, site.pumps[0], HORIZON, first, last, size, np.random.default_rng([seed, 2]))
    assert kind.lay is not None
    note = kind.lay(case)
    return Laid(
        case, note, _trace(site, HORIZON, seed), _trace(without, HORIZON, seed), without.pumps[0].controller.plans
    )


def _wants(name: str):
    from pumpledger.simulator.deck import _Wants

    wants = _Wants().with_kind(INNOCENTS[name])
    assert wants is not None
    return wants


def _trace(site: Site, horizon: Horizon, seed: int) -> Trace:
    pump = site.pumps[0]
    station = make_station(site.weather, horizon, seed)
    return simulate(pump.machine, pump.controller, horizon, hard_conditions(station, pump, horizon, seed, 1, 0))
