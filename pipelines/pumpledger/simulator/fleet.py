"""Write a whole made-up fleet folder: register, weather, exports, and the truth beside them.

Belongs here: the order of work, and which pump goes into which file.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import groupby
from pathlib import Path

import numpy as np

from pumpledger.simulator.claim_papers import write_claim_files
from pumpledger.simulator.conditions import hard_conditions
from pumpledger.simulator.errors import curve_head_factor, head_spread_of_a_make
from pumpledger.simulator.exports import SHAPES, Row
from pumpledger.simulator.faults import lay_role
from pumpledger.simulator.hard_fleet import make_hard_sites
from pumpledger.simulator.horizon import Horizon, Week, demo_horizon
from pumpledger.simulator.misreading import misread, write_savings_truth
from pumpledger.simulator.noise import Export, add_blank_lines, lose_rows, make_impossible, make_unreadable, tear_end
from pumpledger.simulator.register_files import write_register, write_text, write_truth, write_weather
from pumpledger.simulator.roles import assign_roles
from pumpledger.simulator.sites import Pump, Site, draw_site, site_rng
from pumpledger.simulator.trace import Conditions, Trace, simulate
from pumpledger.simulator.weather import CLIMATES, Station, make_station

ZONE = "America/Los_Angeles"
# Source name, prefix of its files, dialect, most pumps in one file.
SOURCES: dict[str, tuple[str, str, int]] = {
    "coast": ("coast gateway", "samples_5min", 6),
    "inland": ("inland loggers", "means_15min", 1),
    "ridge": ("ridge controllers", "events", 99),
    "counter": ("counter loggers", "counters", 4),
    "minute": ("minute logger", "samples_1min", 1),
    "shore": ("shore gateway", "samples_5min", 6),
}
_THINNED_S = 900
LEAST_HARD_WEEKS = 4
"""What loads, wears or drifts takes weeks to be seen."""
_READ_ME = """This data is made up.

An invented fleet of swimming-pool pumps, written by pumpledger's simulator from a seed.
There is no real pool, person, company or measurement in it.

Everything but truth/ is what a service company would have: register, weather, tariffs, and exports in inbox/.
truth/daily.csv      what each pump really did, day by day
truth/seeded.csv     faults, and innocent sites that only look like faults
truth/exports.csv    rows of each export, and what was done to them on the way
truth/savings.csv    what each site really saved, day by day, against the pump it had before
truth/errors.csv     how far each pump's meter and records are off
The pipeline never reads truth/.
"""


def make_fleet(
    folder: Path, sites: int, weeks: int, seed: int, stated_errors: bool = False, faults: str = "block"
) -> None:
    """Write a fleet of ``sites`` made-up sites and ``weeks`` local weeks into ``folder``; equal arguments give equal
    bytes.

    ``stated_errors`` draws the errors of meters, readings and records as large as `errors.py` states; without it they
    are slight. ``faults`` is ``block`` for the 28 kinds of site of the demo, or ``all`` for the hard fleet of `deck.py`,
    whose errors are always drawn as stated.

    Raises:
        FileExistsError: the folder already holds a fleet.
        ValueError: fewer than one site or week, fewer than four weeks for all faults, or other faults.
    """
    if faults not in ("block", "all"):
        raise ValueError(f"faults are block or all, not {faults!r}")
    hard = faults == "all"
    if hard and weeks < LEAST_HARD_WEEKS:
        raise ValueError(f"a fleet with all faults lasts at least {LEAST_HARD_WEEKS} weeks, not {weeks}")
    stated_errors = stated_errors or hard
    if (folder / "fleet.toml").exists():
        raise FileExistsError(f"{folder.name} already holds a fleet")
    horizon = demo_horizon(ZONE, weeks)
    stations = {name: make_station(name, horizon, seed) for name in CLIMATES}
    make = make_hard_sites if hard else make_sites
    fleet = make(sites, horizon, seed, head_spread_of_a_make() if stated_errors else 0.01)
    if stated_errors:
        for index, site in enumerate(fleet, start=1):
            misread(site, seed, index)
    traces = {
        pump.pump_id: simulate(
            pump.machine,
            pump.controller,
            horizon,
            hard_conditions(stations[site.weather], pump, horizon, seed, index, order)
            if hard
            else make_conditions(stations[site.weather], horizon, seed, index, order, pump.errors.filter_age_days),
        )
        for index, site in enumerate(fleet, start=1)
        for order, pump in enumerate(site.pumps)
    }
    exports = make_exports(fleet, traces, horizon, seed)
    for export in exports:
        write_text(folder / "inbox" / export.file, export.text())
    if stated_errors:
        write_register(folder, fleet, horizon, seed, lambda make: curve_head_factor(seed, make))
    else:
        write_register(folder, fleet, horizon, seed)
    write_claim_files(folder, fleet, horizon)
    write_weather(folder, stations.values())
    write_truth(folder, fleet, traces, exports, horizon)
    write_savings_truth(folder, fleet, traces, horizon)
    write_text(folder / "README.txt", _READ_ME)
    write_text(folder / "fleet.toml", _fleet_toml(fleet))


def make_sites(sites: int, horizon: Horizon, seed: int, head_spread: float = 0.01) -> list[Site]:
    """All sites with their roles laid over them; two routes in each zone."""
    on_route: dict[str, int] = {}
    in_zone: dict[str, int] = {}
    fleet = []
    for index, role in enumerate(assign_roles(sites, seed), start=1):
        in_zone[role.zone] = in_zone.get(role.zone, 0) + 1
        route = f"Route {1 + 2 * list(CLIMATES).index(role.zone) + in_zone[role.zone] % 2}"
        on_route[route] = on_route.get(route, 0) + 1
        rng = site_rng(seed, index)
        site = draw_site(index, role, route, on_route[route], horizon, rng, head_spread)
        lay_role(site, role, horizon, rng)
        fleet.append(site)
    return fleet


def make_conditions(
    station: Station, horizon: Horizon, seed: int, index: int, order: int, filter_age_days: float = 0.0
) -> Conditions:
    """What moves a pump's watts and its filter: supply, water temperature, day to day, dirt; hourly from warm-up to
    end. ``filter_age_days`` since the filter was last cleaned, at the beginning.
    """
    rng = np.random.default_rng([seed, index, 1 + order])
    time_s = np.arange(horizon.warm_start_s, horizon.end_s + 3601, 3600)
    day = (time_s - time_s[0]) / 86_400.0
    noons = np.arange(-1.0, day[-1] + 2.0)
    daily = np.zeros(noons.size)
    for i in range(1, noons.size):  # one day follows the other: AR(1), 0.8 % about the mean
        daily[i] = 0.6 * daily[i - 1] + 0.8 * 0.008 * rng.standard_normal()
    supply = 0.003 * np.sin(2.0 * np.pi * (day + rng.uniform(0.0, 7.0)) / 7.0)
    water_c = station.air_temperature_c.mean() + 3.0 - 0.08 * day
    factor = 1.0 + np.interp(day, noons, daily) + supply - 0.0015 * (water_c - 18.0)
    dirt = rng.uniform(0.0, 0.04) + rng.uniform(0.0008, 0.003) * ((day + filter_age_days) % 28.0)
    pad = station.at(time_s) + rng.uniform(-0.5, 0.5)
    return Conditions(time_s, factor, dirt, pad)


def make_exports(fleet: list[Site], traces: dict[str, Trace], horizon: Horizon, seed: int) -> list[Export]:
    """Every file of the inbox, in order of week and name, with its damage."""
    rng = np.random.default_rng([seed, 600_000])
    exports = []
    by_id = {pump.pump_id: pump for site in fleet for pump in site.pumps}
    for week in horizon.weeks:
        for source, pumps, place in _groups(fleet):
            dialect = SOURCES[source][1]
            rows = [
                row for pump in pumps for row in _rows_that_arrive(pump, by_id, traces, dialect, horizon, week, rng)
            ]
            if rows:
                exports.append(_file(f"{source}_{week.label}{place}.csv", dialect, rows))
            for number, pump in enumerate((pump for pump in pumps if _again(pump, week)), start=1):
                again = [row for row in rows if row.pump_id == pump.pump_id]
                mark = f"_again{number if number > 1 else ''}"
                # Where the name says whose log it is, it ends with that.
                name = f"{source}_{week.label}{mark + place if place.startswith('__') else place + mark}.csv"
                repeat = _file(name, dialect, again)
                repeat.repeated = len(again)
                repeat.notes.append(f"rows of {pump.pump_id} a second time")
                exports.append(repeat)
    exports.sort(key=lambda export: export.file)
    _damage(exports, rng)
    return exports


def _groups(fleet: list[Site]) -> list[tuple[str, list[Pump], str]]:
    """(source, pumps, rest of the file name) of each weekly file."""
    groups: list[tuple[str, list[Pump], str]] = []
    for source, (_, _, most) in SOURCES.items():
        members = [(site, pump) for site in fleet for pump in site.pumps if pump.source == source and not pump.silent]
        if source == "ridge":
            by_route = sorted(members, key=lambda pair: (pair[0].route, pair[0].stop))
            for route, pairs in groupby(by_route, key=lambda pair: pair[0].route):
                groups.append((source, [pump for _, pump in pairs], f"_{route.lower().replace(' ', '-')}"))
        elif most == 1:
            groups.extend((source, [pump], f"__{pump.pump_id}") for _, pump in members)
        else:
            for number, at in enumerate(range(0, len(members), most), start=1):
                name = f"_{number}" if len(members) > most else ""
                groups.append((source, [pump for _, pump in members[at : at + most]], name))
    return groups


def _again(pump: Pump, week: Week) -> bool:
    return pump.sent_again and (pump.again_weeks is None or week.label in pump.again_weeks)


def _rows_that_arrive(
    pump: Pump,
    by_id: dict[str, Pump],
    traces: dict[str, Trace],
    dialect: str,
    horizon: Horizon,
    week: Week,
    rng: np.random.Generator,
) -> list[Row]:
    write = SHAPES[dialect].write
    rows = write(pump, traces[pump.pump_id], horizon, week, rng)
    if pump.swapped:
        start_s, stop_s, other = pump.swapped
        foreign = write(replace(by_id[other], pump_id=pump.pump_id), traces[other], horizon, week, rng)
        rows = [theirs if start_s <= own.time_s < stop_s else own for own, theirs in zip(rows, foreign, strict=True)]
    for start_s, stop_s in pump.thinned:
        rows = [row for row in rows if not start_s <= row.time_s < stop_s or row.time_s % _THINNED_S == 0]
    rows = [row for row in rows if not any(start <= row.time_s < stop for start, stop in pump.lost)]
    return lose_rows(rows, dialect, (week.end_s - week.start_s) / 86_400.0, rng)


def _file(name: str, dialect: str, rows: list[Row]) -> Export:
    shape = SHAPES[dialect]
    ordered = sorted(rows, key=lambda row: (row.time_s, row.pump_id))
    return Export(
        name, dialect, [*shape.preamble, shape.header, *(row.text for row in ordered), *shape.footer], len(ordered)
    )


def _damage(exports: list[Export], rng: np.random.Generator) -> None:
    """Three impossible rows, two unreadable ones, one torn end, blank lines and one byte-order mark, where such files
    exist.
    """
    by_dialect = {name: [e for e in exports if e.dialect == name and not e.repeated] for name in SHAPES}
    samples = by_dialect["samples_5min"] or by_dialect["samples_1min"]
    if samples:
        first, last = samples[0], samples[-1]
        add_blank_lines(last, 3, rng)
        make_impossible(first, _row(first, rng), 2, ",", "9450")
        make_impossible(last, _row(last, rng), 3, ",", "-412.5")
        make_unreadable(first, _row(first, rng), 3, ",", "1o3.7")
        tear_end(last)
    if by_dialect["means_15min"]:
        first, last = by_dialect["means_15min"][0], by_dialect["means_15min"][-1]
        first.byte_order_mark = True
        first.notes.append("byte-order mark")
        make_unreadable(last, _row(last, rng), 1, ";", "n/v")
    if by_dialect["events"]:
        add_blank_lines(by_dialect["events"][0], 2, rng)
    if by_dialect["counters"]:
        last = by_dialect["counters"][-1]
        make_impossible(last, _row(last, rng), 2, "\t", "65535")


def _row(export: Export, rng: np.random.Generator) -> int:
    """An undamaged data row in the middle half of the file (0-based line)."""
    middle = range(len(export.lines) // 4, 3 * len(export.lines) // 4)
    whole = [line for line in middle if export.lines[line] and line not in export.damaged]
    return whole[int(rng.integers(len(whole)))]


def _fleet_toml(fleet: list[Site]) -> str:
    lines = [
        "# This data is made up.",
        'name = "Quillmarsh District (made-up data)"',
        "made_up = true",
        f'zone = "{ZONE}"',
        'units = "metric"',
        'currency = "USD"',
    ]
    used = {pump.source for site in fleet for pump in site.pumps}
    for prefix, (name, dialect, _) in SOURCES.items():
        if prefix == "shore" and prefix not in used:  # a source of hard fleets alone
            continue
        lines += ["", "[[source]]", f'name = "{name}"', f'files = "{prefix}_*.csv"', f'dialect = "{dialect}"']
    return "\n".join(lines) + "\n"
