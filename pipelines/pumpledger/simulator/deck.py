"""Deal the kinds of a hard fleet to its sites, so that each comes up about once in 48 sites.

Belongs here: who gets what, and which site suits it. When it happens stands in `hard_fleet.py`.

Half of the sites are healthy, and a quarter of those only look ill. A faulty site has two or three cases, mostly one
after the other: with 55 kinds on half of 48 sites there is no other way to give each kind its twenty cases in twenty
fleets. Two pumps that change names (B3), a source in the wrong zone (B5) and a reset to the maker's plan (C9) come in
groups, each in every second fleet of 48.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from pumpledger.simulator.kinds import FAULTS, INNOCENTS, Kind
from pumpledger.simulator.roles import FLAT, PEAK, Role

FAULTY_SHARE = 0.54
INNOCENT_SHARE = 0.25
# Shaft power of a radial impeller against a shut valve, over that at its best flow; from memory, no source.
SHUTOFF_SHARE = (0.42, 0.7)
_A_FLEET = 48
_GROUPS = {"B5": 5, "B3": 2, "C9": 3}
_WHOLE = frozenset({"B5", "C14", "C15", "C18", "D11", "D14"})
"""There since before the first day, and still there after the last."""
_HARD_TO_PLACE = ("B8", "B9", "C6", "C8", "C11", "D8", "D14", "D15", "D18", "D19")
_EXTRA = 3
_A_FORTNIGHT = 14
_AUX_IN_LOG = ("coast", "shore", "ridge")


@dataclass
class Lot:
    """What one site gets: its role, its faults in the order in which they come, and its look-alikes. ``group`` is the
    same number at the sites of one group.
    """

    role: Role
    faults: tuple[str, ...] = ()
    innocents: tuple[str, ...] = ()
    group: int | None = None


@dataclass
class _Wants:
    """What a site must be for all of its kinds."""

    sources: tuple[str, ...] | None = None
    zone: str | None = None
    tariff: str | None = None
    aux: tuple[str, ...] = ()
    longest_min: int | None = None
    ratings: bool = False
    flow: bool = False
    touches: set[str] = field(default_factory=set)

    def with_kind(self, kind: Kind) -> _Wants | None:
        """Joined with one more kind, or ``None`` where no site is both."""
        touched = set(kind.touches.split())
        if touched & self.touches:
            return None
        sources = kind.sources if self.sources is None else tuple(s for s in self.sources if s in kind.sources)
        if not sources:
            return None
        for mine, its in ((self.zone, kind.zone), (self.tariff, kind.tariff), (self.aux, kind.aux)):
            if mine and its and mine != its:
                return None
        lengths = [m for m in (self.longest_min, kind.longest_min) if m]
        return _Wants(
            sources,
            self.zone or kind.zone,
            self.tariff or kind.tariff,
            self.aux or kind.aux,
            min(lengths) if lengths else None,
            self.ratings or kind.ratings,
            self.flow or kind.flow,
            self.touches | touched,
        )


def deal(sites: int, seed: int, days: int) -> list[Lot]:
    """A lot for each site of a fleet that lasts ``days``, shuffled.

    Raises:
        ValueError: fewer than one site.
    """
    if sites < 1:
        raise ValueError(f"a fleet needs at least one site, not {sites}")
    rng = np.random.default_rng([seed, 810_000])
    faulty = round(FAULTY_SHARE * sites)
    lots: list[Lot] = []
    for number, (mode, size) in enumerate(_GROUPS.items()):
        if not _fits(FAULTS[mode], days):
            continue
        for again in range(int(sites / _A_FLEET / 2.0 + rng.random())):
            if len(lots) + size <= faulty:
                role = _role(_joined((mode,)), rng)
                kin = [Lot(_role(_joined((mode,)), rng), (mode,), group=10 * again + number) for _ in range(size - 1)]
                lots += [Lot(role, (mode,), group=10 * again + number), *kin]
    groups = len(lots)
    lots.append(Lot(_role(_joined(("C13",)), rng), ("C13",)))  # a healthy site whose record is stale
    bags, left = _bags(max(0, faulty - len(lots)), round(sites / _A_FLEET + 0.49), days, rng)
    lots += [Lot(_role(_joined(bag), rng), bag) for bag in bags]
    for lot in lots[:groups]:  # what did not fit goes to the groups; a site in the wrong zone has enough
        for mode in left if lot.faults != ("B5",) and days >= 2 * _A_FORTNIGHT else []:
            joined = _joined(lot.faults).with_kind(FAULTS[mode])
            if joined is not None:
                lot.faults, lot.role = (*lot.faults, mode), _role(joined, rng)
                left.remove(mode)
                break
    lots = lots[:sites]
    healthy = sites - len(lots)
    looks = _in_turn(list(INNOCENTS), round(INNOCENT_SHARE * healthy), rng)
    lots += [Lot(_role(_Wants().with_kind(INNOCENTS[name]), rng), innocents=(name,)) for name in looks]
    for name in ("public pool", "two pumps"):
        if len(lots) < sites:
            lots.append(Lot(_role(_Wants(), rng, name)))
    lots += [Lot(_role(_Wants(), rng)) for _ in range(sites - len(lots))]
    return [lots[i] for i in rng.permutation(sites)]


def is_whole(mode: str) -> bool:
    """It lasts as long as the fleet does."""
    return mode in _WHOLE


def _fits(kind: Kind, days: int) -> bool:
    return kind.days_before + kind.least_days <= days


def _joined(bag: tuple[str, ...]) -> _Wants:
    wants = _Wants()
    for mode in bag:
        joined = wants.with_kind(FAULTS[mode])
        assert joined is not None, bag
        wants = joined
    return wants


def _in_turn(names: list[str], count: int, rng: np.random.Generator) -> list[str]:
    """``count`` names, each as often as the others or once more."""
    dealt: list[str] = []
    while len(dealt) < count:
        dealt += [names[i] for i in rng.permutation(len(names))]
    return dealt[:count]


def _bags(sites: int, decks: int, days: int, rng: np.random.Generator) -> tuple[list[tuple[str, ...]], list[str]]:
    """The single modes of ``decks`` full decks, spread over ``sites``, and those that are left; each bag goes together
    on one site.
    """
    modes = [mode for mode, kind in FAULTS.items() if mode not in _GROUPS and _fits(kind, days)]
    # A few twice, the hard to place among them, because some of each deck finds no site.
    again = [mode for mode in _HARD_TO_PLACE if mode in modes]
    deck = _in_turn(modes, len(modes) * decks, rng) + [again[i] for i in rng.integers(0, len(again), _EXTRA * decks)]
    bags = []
    for left in range(sites, 0, -1):
        size = max(1, -(-len(deck) // left))
        bag: list[str] = []
        wants: _Wants | None = _Wants()
        room = days
        for mode in list(deck):
            kind = FAULTS[mode]
            joined = wants.with_kind(kind) if wants else None
            takes = 0 if is_whole(mode) else kind.least_days + (3 if bag else kind.days_before)
            if joined is not None and takes <= room:
                wants, room = joined, room - takes
                bag.append(mode)
                deck.remove(mode)
                if len(bag) == min(size, 3):
                    break
        if bag:
            bags.append(tuple(bag))
    return bags, deck


def _role(wants: _Wants | None, rng: np.random.Generator, mode: str = "hard") -> Role:
    """A site that suits, the rest by lot; mostly loggers that look each five minutes."""
    assert wants is not None
    sources = wants.sources or ("coast",) * 7 + ("inland", "ridge", "counter")
    source = str(rng.choice(np.array(sources)))
    aux = str(rng.choice(np.array(wants.aux or ("none", "none", "chlorinator"))))
    if source not in _AUX_IN_LOG and not wants.aux:
        aux = "none"
    zone = wants.zone or str(rng.choice(["coast", "inland", "inland", "ridge"]))
    tariff = wants.tariff or str(rng.choice([FLAT, FLAT, PEAK]))
    if mode == "public pool":  # it needs every hour of the day: fewer, and it would truly cost more than it has to
        zone, tariff = "coast", FLAT
    longest = wants.longest_min or int(rng.choice([660, 900, 1080, 1440]))
    if zone == "ridge":
        longest = min(longest, 1020)
    flow = str(rng.choice(["visits", "visits", "visits", "design", "design", "none"]))
    return Role(
        kind="ordinary",
        mode=mode,
        zone=zone,
        source=source,
        tariff=tariff,
        flow="design" if wants.flow and flow == "none" else flow,
        aux=aux,
        ratings=wants.ratings or bool(rng.random() < 0.8),
        volume_m3={"public pool": 58.0, "two pumps": 186.0}.get(mode),
        baseline=bool(rng.random() < 0.85),
        longest_min=longest if mode == "hard" else None,
        shutoff_share=round(float(rng.uniform(*SHUTOFF_SHARE)), 3),
    )
