"""Which kinds of site a made-up fleet has: faults, innocents and ordinary ones, 28 to a block.

Belongs here: the list. What a role does to a site stands in `faults.py`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, slots=True)
class Role:
    """One kind of site.

    ``mode`` is a catalogue identifier or a short name; ``source`` the logger it exports through; ``flow`` what the
    company knows of the water: ``visits`` (commissioned), ``design`` (one design point) or ``none``; ``aux`` the
    auxiliary load; ``ratings`` whether filter and suction ratings are on record; ``volume_m3`` fixes the pool where the
    role needs it, ``longest_min`` the longest day's run [min], ``shutoff_share`` as in `physics.Machine`.
    """

    kind: str
    mode: str
    zone: str
    source: str
    tariff: str
    flow: str = "visits"
    aux: str = "none"
    ratings: bool = True
    volume_m3: float | None = None
    baseline: bool = True
    longest_min: int | None = None
    shutoff_share: float | None = None


def _fault(mode: str, *rest: str, **more: object) -> Role:
    return Role("fault", mode, *rest, **more)  # type: ignore[arg-type]


def _innocent(mode: str, *rest: str, **more: object) -> Role:
    return Role("innocent", mode, *rest, **more)  # type: ignore[arg-type]


def _ordinary(mode: str, *rest: str, **more: object) -> Role:
    return Role("ordinary", mode, *rest, **more)  # type: ignore[arg-type]


FLAT, PEAK = "flat", "evening_peak"

BLOCK: tuple[Role, ...] = (
    _fault("A1", "inland", "inland", FLAT, ratings=False),
    _fault("A2", "coast", "coast", PEAK, flow="design", aux="chlorinator"),
    _fault("B1", "inland", "inland", FLAT, flow="none"),
    _fault("B2", "coast", "coast", PEAK, aux="chlorinator"),
    _fault("B4", "coast", "coast", FLAT, flow="design"),
    _fault("O1", "inland", "inland", PEAK),
    _fault("O3", "inland", "counter", FLAT),
    _fault("C6", "ridge", "ridge", FLAT, ratings=False),
    _fault("C10", "coast", "coast", FLAT, flow="design"),
    _fault("C12", "inland", "inland", PEAK),
    _fault("D8", "inland", "counter", FLAT, flow="design"),
    _fault("D14", "coast", "coast", FLAT, aux="chlorinator"),
    _fault("D17", "ridge", "ridge", FLAT),
    _innocent("agreed override", "coast", "coast", PEAK, flow="design", aux="chlorinator"),
    _innocent("backwash", "inland", "inland", FLAT, ratings=False),
    _innocent("vacuum day", "ridge", "ridge", FLAT, flow="design"),
    _innocent("night running on purpose", "inland", "inland", PEAK, flow="none"),
    _innocent("near-symmetric plan", "coast", "coast", FLAT, flow="design"),
    _innocent("plan change on record", "inland", "inland", FLAT, flow="design"),
    _innocent("clock change handled right", "inland", "inland", PEAK),
    _innocent("freeze protection acts", "ridge", "ridge", FLAT, aux="chlorinator"),
    _innocent("heater season", "ridge", "ridge", FLAT, aux="heater", ratings=False),
    _innocent("short override", "coast", "coast", FLAT, flow="none", baseline=False),
    _innocent("closed season", "ridge", "ridge", FLAT, ratings=False, baseline=False),
    _ordinary("public pool", "coast", "counter", FLAT, volume_m3=58.0),
    _ordinary("two pumps", "coast", "coast", PEAK, aux="chlorinator", volume_m3=186.0),
    _ordinary("small pool", "inland", "minute", FLAT, aux="chlorinator", volume_m3=31.0),
    _ordinary("power not metered", "ridge", "ridge", FLAT),
)


def assign_roles(sites: int, seed: int) -> list[Role]:
    """A role for each site: block after block, shuffled within each block.

    Raises:
        ValueError: fewer than one site.
    """
    if sites < 1:
        raise ValueError(f"a fleet needs at least one site, not {sites}")
    roles: list[Role] = []
    block = 0
    while len(roles) < sites:
        order = np.random.default_rng([seed, 800_000 + block]).permutation(len(BLOCK))
        roles.extend(BLOCK[i] for i in order)
        block += 1
    return roles[:sites]
