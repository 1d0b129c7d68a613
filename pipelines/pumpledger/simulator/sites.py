"""Draw a site: pool, machine, what the company knows of it, and the controller as a good technician left it.

Belongs here: a healthy site. Faults and innocents are laid over it in `faults.py`.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from typing import Literal

import numpy as np

from pumpledger.simulator.controller import AuxWindow, Controller, KeyedPlan
from pumpledger.simulator.errors import PumpErrors
from pumpledger.simulator.horizon import Horizon
from pumpledger.simulator.physics import FULL_SPEED_RPM, PUMP_CLASSES, Machine, PumpClass, draw_machine
from pumpledger.simulator.plans import Wish, most_volume_m3, sensible_plan
from pumpledger.simulator.roles import PEAK, Role
from pumpledger.simulator.shown import LoggerFault

_FIRST_WORDS = (
    "Mossgate",
    "Fennelrise",
    "Oldharrow",
    "Quincewater",
    "Tansybank",
    "Brackenhythe",
    "Larchfold",
    "Sedgemouth",
    "Thistlemead",
    "Hollowquay",
    "Ambersedge",
    "Plovercombe",
    "Rushdapple",
    "Withymarsh",
    "Cloverstile",
    "Gorsewick",
)
_SECOND_WORDS = ("Lane", "Row", "Bend", "Terrace", "Court", "Rise", "Walk")
# Longest day's run of roles that need hours off: to tell the clock, to show frost nights, to move a start [min].
_LONGEST_MIN = {
    "A1": 660,
    "A2": 660,
    "D17": 660,
    "night running on purpose": 660,
    "plan change on record": 900,
    "heater season": 960,
    "D8": 960,
    "O1": 960,
    "near-symmetric plan": 1080,
}
_LONGEST_ON_RIDGE_MIN = 1020
_LEAST_POOL_M3 = 24.0
# Local clock a few dozen seconds out, never nearer than a ramp to the logger's whole minutes.
_CLOCK_ERRORS_S = (-50, -40, -30, 30, 40, 50)


@dataclass
class Visit:
    """One row of visits.csv; a reading has speed [rev/min] and flow [m3/h] or power [W]."""

    pump_id: str
    day_local: date
    work: str
    speed_rpm: float | None = None
    flow_m3h: float | None = None
    power_w: float | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class Change:
    """Something of the pump or its water that changes: straight lines between ``points`` (instant [s, UTC], value), 0
    before the first and as the last afterwards.

    ``friction`` adds to the filter's dirt [share of the clean friction], ``impeller`` to the impeller's ratio,
    ``watts`` to the power of a turning pump [W], ``pad_air`` to what the controller's air sensor shows [deg C].
    """

    kind: Literal["friction", "impeller", "watts", "pad_air"]
    points: tuple[tuple[int, float], ...]


@dataclass
class Pump:
    """One pump: truth (``machine``, ``controller``), what the register says, and how it is logged."""

    pump_id: str
    machine: Machine
    pump_class: PumpClass
    controller: Controller
    recorded_plans: list[KeyedPlan]
    source: str
    design_flow_m3h: float | None = None
    design_head_m: float | None = None
    aux_load: str = "none"
    aux_min_rpm: int | None = None
    aux_hours: float | None = None  # that the load needs a day, where somebody wrote it down [h]
    baseline: tuple[float, float, float | None, str] | None = None
    former_w: float | None = None  # what the single-speed pump before it really drew [W]
    recorded_static_m: float = 0.0
    errors: PumpErrors = PumpErrors()
    metered: bool = True
    watts_in_kw: bool = False
    silent: bool = False
    lost: list[tuple[int, int]] = field(default_factory=list)
    sent_again: bool = False
    again_weeks: frozenset[str] | None = None  # labels of the weeks sent twice; None: all
    logger_faults: list[LoggerFault] = field(default_factory=list)
    thinned: list[tuple[int, int]] = field(default_factory=list)  # only each third row is kept [s, UTC]
    stamps_local: bool = False  # the local clock stands in a column of UTC
    swapped: tuple[int, int, str] | None = None  # from, to [s, UTC]: the log of this other pump under this one's name
    counter_wraps_s: int | None = None
    counter_reset_s: int | None = None
    changes: list[Change] = field(default_factory=list)
    air: list[tuple[int, int, float]] = field(default_factory=list)
    powerless: list[tuple[int, int]] = field(default_factory=list)


@dataclass
class Seeded:
    """One row of truth/seeded.csv."""

    pump_id: str
    kind: str
    mode: str
    from_day: date
    to_day: date
    note: str
    size: float | None = None  # 0 hardly visible to 1 plain
    seen_from: date | None = None  # first day on which a log can show it at all


@dataclass
class Site:
    """One pool with its pumps, its visits, and what was seeded on it."""

    site_id: str
    site_name: str
    route: str
    stop: int
    weather: str
    pool_volume_m3: float
    pool_class: str
    required_turnovers: float
    tariff: str
    freeze_risk: bool
    season: str
    filter_limit_m3h: float | None
    suction_limit_m3h: float | None
    pumps: list[Pump]
    visits: list[Visit] = field(default_factory=list)
    seeded: list[Seeded] = field(default_factory=list)


def site_rng(seed: int, index: int) -> np.random.Generator:
    """The stream of random numbers of one site, independent of all others."""
    return np.random.default_rng([seed, index])


def draw_site(
    index: int,
    role: Role,
    route: str,
    stop: int,
    horizon: Horizon,
    rng: np.random.Generator,
    head_spread: float = 0.01,
) -> Site:
    """A healthy site of the role's zone, logger and equipment; ``index`` counts from 1.

    ``head_spread`` as in `physics.draw_machine`.
    """
    site_id = f"QM-{index:03d}"
    volume = role.volume_m3 or float(np.clip(68.0 * np.exp(0.5 * rng.standard_normal()), 25.0, 250.0))
    public = role.mode == "public pool"
    # A public pool here turns over in six hours, as several health codes ask (facts: Wisconsin, Montana).
    required = 4.0 if public else float(rng.choice([1.0, 1.0, 1.2, 1.25, 1.5]))
    count = 2 if role.mode == "two pumps" else 1
    hardware = [_draw_hardware(role, volume * required / count, order, rng, head_spread) for order in range(count)]
    # A pool that its pump can serve frugally in the hours the role leaves; else a longer plan would be the better one.
    frugal = min(most_volume_m3(machine, wish) for _, machine, _, wish in hardware) * count / required
    volume = (
        round(float(np.clip(volume, _LEAST_POOL_M3, frugal)) * rng.uniform(0.94, 0.995), 1) if not public else volume
    )
    pumps = [
        _draw_pump(f"P-{site_id}{'B' if order else ''}", role, *parts, volume * required / count, horizon, rng)
        for order, parts in enumerate(hardware)
    ]
    highest = max(_planned_flow(pump) for pump in pumps)
    filter_limit = round(max(highest * count * rng.uniform(1.25, 1.6), 9.0), 1)
    suction_limit = round(filter_limit * rng.uniform(1.1, 1.5), 1)
    site = Site(
        site_id=site_id,
        site_name=f"{int(rng.integers(1, 98))} {_FIRST_WORDS[index * 5 % 16]} {_SECOND_WORDS[index % 7]}",
        route=route,
        stop=stop,
        weather=role.zone,
        pool_volume_m3=volume,
        pool_class="public" if public else "residential",
        required_turnovers=required,
        tariff=role.tariff,
        freeze_risk=role.zone == "ridge",
        season="open",
        filter_limit_m3h=filter_limit if role.ratings else None,
        suction_limit_m3h=suction_limit if role.ratings else None,
        pumps=pumps,
    )
    for pump in pumps:
        _record_water(site, pump, role.flow, horizon, rng)
    return site


def _draw_hardware(
    role: Role, need_m3: float, order: int, rng: np.random.Generator, head_spread: float
) -> tuple[PumpClass, Machine, int | None, Wish]:
    """Pump, auxiliary minimum speed [rev/min] of the site's first pump, and what its plan must keep to; the wish's
    volume is not final.
    """
    aux = role.aux if order == 0 else "none"
    aux_min = {"none": None, "chlorinator": int(rng.choice([1000, 1050, 1100])), "heater": 1500}[aux]
    wish = Wish(
        need_m3,
        least_rpm=aux_min if aux == "chlorinator" and aux_min else 600,
        longest_min=role.longest_min
        or _LONGEST_MIN.get(role.mode, _LONGEST_ON_RIDGE_MIN if role.zone == "ridge" else 1440),
        avoid_peak=role.tariff == PEAK,
    )
    static = round(float(rng.choice([0.0, 0.0, 0.0, 0.3, 0.6, 1.2])), 1)
    size = _fitting_class(need_m3)
    machine = replace(draw_machine(PUMP_CLASSES[size], static, rng, head_spread), shutoff_share=role.shutoff_share)
    if most_volume_m3(machine, wish) < need_m3 and size + 1 < len(PUMP_CLASSES):  # few hours: one size up
        size += 1
        machine = replace(draw_machine(PUMP_CLASSES[size], static, rng, head_spread), shutoff_share=role.shutoff_share)
    return PUMP_CLASSES[size], machine, aux_min, wish


def _draw_pump(
    pump_id: str,
    role: Role,
    pump_class: PumpClass,
    machine: Machine,
    aux_min: int | None,
    wish: Wish,
    need_m3: float,
    horizon: Horizon,
    rng: np.random.Generator,
) -> Pump:
    plan = sensible_plan(machine, replace(wish, volume_m3=need_m3), rng)
    aux = role.aux if aux_min else "none"
    aux_windows: tuple[AuxWindow, ...] = ()
    since = horizon.first_day - timedelta(days=int(rng.integers(20, 60)))
    if aux == "chlorinator":
        inside = (plan[0].start_min + 30) % 1440, (plan[-1].stop_min - 30) % 1440
        aux_windows = (AuxWindow(since, *inside),)
    # Loggers that look each five minutes see priming fairly only in whole fives.
    priming_min = 5 if role.source in ("coast", "shore") else int(rng.integers(2, 7))
    freeze = role.zone == "ridge"
    controller = Controller(
        plans=(KeyedPlan(since, plan),),
        clock_shifts=((0, int(rng.choice(_CLOCK_ERRORS_S))),),
        priming_rpm=max(25 * int(rng.integers(64, 81)), max(row.speed_rpm for row in plan) + 100),
        priming_s=60 * priming_min,
        freeze_setpoint_c=3.0 if freeze else None,
        freeze_rpm=25 * int(rng.integers(44, 53)) if freeze else 0,
        aux_windows=aux_windows,
        aux_min_rpm=float(aux_min or 0),
        ramp_rpm_per_s=float(rng.uniform(150.0, 400.0)),
    )
    full_w = float(machine.running_w(FULL_SPEED_RPM))
    full_flow = float(machine.flow_m3h(FULL_SPEED_RPM))
    hours = float(np.clip(round(need_m3 / full_flow * 1.15 * 2.0) / 2.0, 5.0, 24.0))
    evidence = str(rng.choice(["measured", "nameplate", "owner record", "stipulated"]))
    known_flow = round(full_flow * rng.uniform(0.96, 1.02), 1) if rng.random() < 0.5 else None
    former_w = full_w * rng.uniform(1.05, 1.2) if role.baseline else None
    baseline = (round(former_w / 10.0) * 10.0, hours, known_flow, evidence) if former_w else None
    return Pump(
        pump_id,
        machine,
        pump_class,
        controller,
        list(controller.plans),
        role.source,
        aux_load=aux,
        aux_min_rpm=aux_min,
        baseline=baseline,
        former_w=former_w,
        recorded_static_m=machine.static_head_m,
    )


def _fitting_class(need_m3: float) -> int:
    """Index of the pump class for a daily volume [m3]."""
    return int(np.searchsorted([60.0, 110.0, 190.0], need_m3))


def _planned_flow(pump: Pump) -> float:
    return max(float(pump.machine.flow_m3h(period.speed_rpm)) for period in pump.controller.plans[0].periods)


def _record_water(site: Site, pump: Pump, flow: str, horizon: Horizon, rng: np.random.Generator) -> None:
    """What the company knows of the water: readings of a commissioning visit, one design point, or nothing."""
    machine = pump.machine
    if flow == "design":
        at = float(machine.flow_m3h(FULL_SPEED_RPM))
        head = float(machine.head_m(FULL_SPEED_RPM, at))
        pump.design_flow_m3h = round(at, 1)
        pump.design_head_m = round(head * rng.uniform(0.92, 1.08), 1)
    if flow == "visits":
        day = horizon.first_day - timedelta(days=int(rng.integers(30, 150)))
        planned = [period.speed_rpm for period in pump.controller.plans[0].periods]
        speeds = sorted({*planned, 25 * int(rng.integers(84, 105))})[-4:]
        for speed in speeds:
            read_flow = float(machine.flow_m3h(speed)) * (1.0 + float(np.clip(rng.normal(0.0, 0.015), -0.03, 0.03)))
            read_w = float(machine.running_w(speed)) * (1.0 + float(np.clip(rng.normal(0.0, 0.01), -0.02, 0.02)))
            site.visits.append(
                Visit(pump.pump_id, day, "commissioning", speed, round(read_flow, 2), round(read_w), "clean filter")
            )
