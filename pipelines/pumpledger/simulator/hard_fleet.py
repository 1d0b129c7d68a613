"""The sites of a hard fleet: what was dealt is laid over them, from some day to some day, in some size.

Belongs here: when and how large. Who gets what stands in `deck.py`, what it does in `faults_*.py` and `innocents.py`.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np

from pumpledger.simulator import faults_logger
from pumpledger.simulator.case import Case
from pumpledger.simulator.controller import Period
from pumpledger.simulator.deck import Lot, deal, is_whole
from pumpledger.simulator.faults_plan import factory_plan, highest_flow_m3h
from pumpledger.simulator.horizon import Horizon
from pumpledger.simulator.kinds import FAULTS, INNOCENTS, Kind
from pumpledger.simulator.plans import Wish, excess
from pumpledger.simulator.roles import PEAK
from pumpledger.simulator.sites import Seeded, Site, draw_site, site_rng
from pumpledger.simulator.visible import seen_from
from pumpledger.simulator.weather import CLIMATES, make_station

_AT_ONCE = 0.25  # share of the sites with two faults that have them at the same time
_DEAR = 0.12  # excess of energy above which "costs more than it has to" is no mistake
_ALIKE = 3  # sites that run one unrecorded plan by accident are two at most
_FORTNIGHT = 14
_ON_RECORD = frozenset({"C17", "C18"})
_NO_HAND_DAYS = 3  # an override lasts 24 h at most, over two local days
_STAYS = 0.6  # share of a site's last faults that nobody mends before the end


def make_hard_sites(sites: int, horizon: Horizon, seed: int, head_spread: float) -> list[Site]:
    """All sites with their cases laid over them."""
    lots = deal(sites, seed, len(horizon.days))
    fleet: list[Site] = []
    on_route: dict[str, int] = {}
    for index, lot in enumerate(lots, start=1):
        route = f"Route {1 + 2 * list(CLIMATES).index(lot.role.zone) + index % 2}"
        on_route[route] = on_route.get(route, 0) + 1
        site = draw_site(index, lot.role, route, on_route[route], horizon, site_rng(seed, index), head_spread)
        fleet.append(site)
    maker = _factory(seed)
    for index, (site, lot) in enumerate(zip(fleet, lots, strict=True), start=1):
        rng = np.random.default_rng([seed, index, 820_000])
        cases = _cases(site, lot, horizon, rng)
        for mode, case in cases:
            _lay(mode, case, lot, lots, fleet, maker, seed)
        if "D11" not in lot.faults and site.filter_limit_m3h is not None and site.suction_limit_m3h is not None:
            # Nothing passes a rating by accident.
            highest = max(highest_flow_m3h(Case(site, p, horizon, p0, p0, 0.0, rng)) for p in site.pumps
                          for p0 in [horizon.first_day])  # fmt: skip
            site.filter_limit_m3h = max(site.filter_limit_m3h, round(1.25 * highest * len(site.pumps), 1))
            site.suction_limit_m3h = max(site.suction_limit_m3h, round(1.35 * highest * len(site.pumps), 1))
        _under_another_name(site)
        _dear(site, horizon)
    _not_yet_known(fleet)
    return fleet


def _under_another_name(site: Site) -> None:
    """While a pump's log holds another's readings, nothing in it is of this pump: a fault shows on the days outside, or not
    at all where these are fewer than it takes. What the record shows by itself is seen all the same.
    """
    swaps = [note for note in site.seeded if (note.kind, note.mode) == ("fault", "B3")]
    for swap in swaps:
        for index, note in enumerate(site.seeded):
            if note.kind != "fault" or note.mode == "B3" or note.mode in _ON_RECORD or note.seen_from is None:
                continue
            days = [note.seen_from + timedelta(days=i) for i in range((note.to_day - note.seen_from).days + 1)]
            outside = [day for day in days if not swap.from_day <= day <= swap.to_day]
            if len(outside) < min(FAULTS[note.mode].least_days, len(days)):
                site.seeded[index] = replace(note, kind="hidden", seen_from=None)
            else:
                site.seeded[index] = replace(note, seen_from=outside[0])


def _not_yet_known(fleet: list[Site]) -> None:
    """A plan that nobody wrote down is known for the maker's once three sites have run it: each case can be seen from then
    on. One within whose first fortnight that does not come about, or that is over before the third site has run it for
    longer than a hand's speed may last, is a record that is not what runs.
    """
    all_of = [note for site in fleet for note in site.seeded if note.kind == "fault" and note.mode == "C9"]
    begun = sorted(note.from_day for note in all_of)
    third = begun[_ALIKE - 1] if len(begun) >= _ALIKE else None
    for site in fleet:
        for note in [one for one in site.seeded if one in all_of]:
            if third is not None and third <= min(
                note.from_day + timedelta(days=_FORTNIGHT - 1), note.to_day - timedelta(days=_NO_HAND_DAYS - 1)
            ):
                known = replace(note, seen_from=max(third, note.from_day))
                site.seeded = [known if one is note else one for one in site.seeded]
            else:
                plain = [replace(note, mode="C13"), replace(note, kind="consequence", note="of C9")]
                site.seeded = [one for one in site.seeded if one is not note and not _follows(one, note)] + plain


def _follows(one: Seeded, note: Seeded) -> bool:
    """Whether a row says that C13 comes of this C9."""
    return (one.kind, one.mode, one.from_day) == ("consequence", "C13", note.from_day) and one.note == "of C9"


def _dear(site: Site, horizon: Horizon) -> None:
    """A healthy site's plan may truly cost more than it has to: with a margin of water, a fast hour, a slow end. Where
    that is more than a little, whoever says so is right.
    """
    pump = site.pumps[0]
    wish = Wish(
        site.pool_volume_m3 * site.required_turnovers / len(site.pumps),
        least_rpm=pump.aux_min_rpm or 600 if pump.aux_load == "chlorinator" else 600,
        avoid_peak=site.tariff == PEAK,
    )
    more = min(excess(pump.machine, plan.periods, wish) for plan in pump.controller.plans)
    if more >= _DEAR:
        note = f"its plan truly costs {more:.0%} more than the cheapest that moves the water"
        site.seeded.append(Seeded(pump.pump_id, "consequence", "O3", horizon.first_day, horizon.last_day, note))


def _factory(seed: int) -> tuple[Period, ...]:
    """An invented maker's plan, another one in each fleet."""
    rng = np.random.default_rng([seed, 830_000])
    fast, slow = 25 * int(rng.integers(104, 121)), 25 * int(rng.integers(56, 77))
    start = 60 * int(rng.integers(6, 10))
    return (Period(fast, start, start + 120), Period(slow, start + 120, start + 600))


def _cases(site: Site, lot: Lot, horizon: Horizon, rng: np.random.Generator) -> list[tuple[str, Case]]:
    """The lot's modes with their days: those that last as long as the fleet, and the others one after the other."""
    whole = [mode for mode in lot.faults if is_whole(mode)]
    passing = [mode for mode in lot.faults if not is_whole(mode)]
    kinds: list[tuple[str, Kind]] = [(mode, FAULTS[mode]) for mode in passing]
    kinds += [(mode, INNOCENTS[mode]) for mode in lot.innocents]
    # What ends a site's running, and what needs a history, come last.
    kinds.sort(key=lambda pair: (pair[0] == "D20", pair[1].days_before))
    days = len(horizon.days)
    least = [kind.least_days + 2 + (kind.days_before if i == 0 else 0) for i, (_, kind) in enumerate(kinds)]
    spare = max(0, days - sum(least))
    cuts = np.sort(rng.integers(0, spare + 1, max(0, len(kinds) - 1)))
    bounds = [0]
    for i in range(len(kinds)):
        upto = int(cuts[i]) if i < len(cuts) else spare
        bounds.append(min(days, sum(least[: i + 1]) + upto))
    at_once = len(kinds) == 2 and rng.random() < _AT_ONCE
    cases = [(mode, _case(site, horizon, 0, days - 1, rng)) for mode in whole]
    for i, (mode, kind) in enumerate(kinds):
        begin, end = (0, days) if at_once else (bounds[i], bounds[i + 1])
        begin = max(begin, kind.days_before)
        last_start = max(begin, end - kind.least_days - (0 if end == days else 1))
        first = int(rng.integers(begin, last_start + 1))
        stays = end == days and (rng.random() < _STAYS or first + kind.least_days >= days - 1)
        top = end - 2
        last = days - 1 if stays else int(rng.integers(min(first + kind.least_days - 1, top), top + 1))
        cases.append((mode, _case(site, horizon, first, min(max(last, first), days - 1), rng)))
    # Plans first: what else is laid looks at the hours in which the pump runs.
    order = {"plan": 0, "record": 2}
    known = {**FAULTS, **INNOCENTS}
    return sorted(cases, key=lambda pair: order.get(known[pair[0]].touches.split()[0], 1))


def _case(site: Site, horizon: Horizon, first: int, last: int, rng: np.random.Generator) -> Case:
    day = horizon.first_day
    return Case(
        site, site.pumps[0], horizon, day + timedelta(days=first), day + timedelta(days=last), float(rng.random()), rng
    )


def _lay(
    mode: str,
    case: Case,
    lot: Lot,
    lots: list[Lot],
    fleet: list[Site],
    maker: tuple[Period, ...],
    seed: int,
) -> None:
    """Lay one case over its site and note it, with what may truthfully be found with it."""
    fault = mode in FAULTS
    kind = FAULTS[mode] if fault else INNOCENTS[mode]
    if mode == "B3":
        other = next(
            s for s, its in zip(fleet, lots, strict=True)
            if its.group == lot.group and its.faults[0] == mode and s is not case.site
        )  # fmt: skip
        _same_days(case, lot, seed)
        note = faults_logger.swapped(case, other.pumps[0].pump_id)
    elif mode == "B5":
        note = faults_logger.wrong_zone(case)
    elif mode == "C9":
        note = factory_plan(case, maker)
    else:
        assert kind.lay is not None
        note = kind.lay(case)
    named = case.shown_as or mode
    air = make_station(case.site.weather, case.horizon, seed) if named == "D10" else None
    seen = seen_from(case, named, air) if fault else None
    what = "innocent" if not fault else "hidden" if seen is None else "fault"
    rows = [(what, named, note, seen)]
    rows += [("consequence", name, f"of {mode}", None) for name in (mode, *kind.brings) if fault and name != named]
    size = round(case.size, 3) if fault else None
    case.site.seeded += [
        Seeded(case.pump.pump_id, what, name, case.first, case.last, text, size, day) for what, name, text, day in rows
    ]


def _same_days(case: Case, lot: Lot, seed: int) -> None:
    """Both pumps of a pair change names on the same day, and back on the same day."""
    rng = np.random.default_rng([seed, 840_000 + (lot.group or 0)])
    days = len(case.horizon.days)
    first = int(rng.integers(0, max(1, days - 8)))
    last = days - 1 if rng.random() < _STAYS else int(rng.integers(min(first + 6, days - 1), days))
    case.first = case.horizon.first_day + timedelta(days=first)
    case.last = case.horizon.first_day + timedelta(days=last)
    case.size = 1.0
