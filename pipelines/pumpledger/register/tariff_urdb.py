"""Tariffs as ``tariffs/<name>.json`` in the open form of the U.S. utility rate database: a rate structure of periods
and blocks, and two schedules of 12 months by 24 hours that point into it.

Belongs here: reading that form. Taken: energyratestructure (rate, adj, max, unit), energyweekdayschedule,
energyweekendschedule; the price of an hour is rate + adj and a weekday is Monday to Friday, as public code reads it.
The form knows neither holidays (billed by their weekday) nor a peak window: here the peak is the dearest hours of a
month that has more than one price. Fixed charges do not depend on a pump and are left out; demand charges are not
computed, and the review says so.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from itertools import groupby, pairwise
from pathlib import Path

from pumpledger.problems import Problem
from pumpledger.register.tariff_file import Band, TariffFile, is_price

_SCHEDULES = {"weekday": "energyweekdayschedule", "weekend": "energyweekendschedule"}
_DEMAND = ("demandratestructure", "flatdemandstructure")
_Fault = Callable[[str, str, str | None], None]


def read_urdb(path: Path, shown: str, found: list[Problem]) -> TariffFile | None:
    """The tariff of ``path``; ``None`` where it has faults, all of which are then in ``found``."""

    def fault(name: str, sentence: str, column: str | None = None) -> None:
        found.append(Problem(name, sentence, file=shown, column=column))

    try:
        content = json.loads(path.read_text(encoding="utf-8-sig"))
    except (json.JSONDecodeError, UnicodeDecodeError, OSError, RecursionError) as error:
        fault("tariff_unreadable", f"is not a JSON file ({error})")
        return None
    if isinstance(content, dict) and isinstance(content.get("items"), list):
        if len(content["items"]) != 1:
            fault("tariff_items", f"holds {len(content['items'])} rates; a file is one rate", "items")
            return None
        content = content["items"][0]
    if not isinstance(content, dict):
        fault("tariff_unreadable", "is not a rate: a JSON object with energyratestructure is needed")
        return None
    before = len(found)
    prices = _prices(content.get("energyratestructure"), fault)
    hours = {kind: _hours(content.get(key), key, kind, len(prices), fault) for kind, key in _SCHEDULES.items()}
    if len(found) > before:
        return None
    for key in _DEMAND:
        if content.get(key):
            found.append(
                Problem("tariff_demand", f"{key}: demand charges are not computed", "warns", shown, column=key)
            )
    used = {cell for rows in hours.values() for row in rows for cell in row}
    blocks = max(len(prices[period]) for period in used)
    short = [period for period in sorted(used) if 1 < len(prices[period]) < blocks]
    if short:
        fault("tariff_blocks", f"periods {short} have fewer blocks than others; give all the same, or one block", None)
        return None
    return TariffFile(tuple(_bands(hours, prices, blocks)), blocks)


def _bands(hours: dict[str, list[list[int]]], prices: list[tuple[float, ...]], blocks: int) -> list[Band]:
    bands = []
    for month in range(12):
        in_month = {cell for rows in hours.values() for cell in rows[month]}
        dearest = max(prices[period][0] for period in in_month)
        several = len({prices[period] for period in in_month}) > 1
        for kind, rows in hours.items():
            for period, run in groupby(range(24), key=lambda hour, row=rows[month]: row[hour]):
                held = list(run)
                value = prices[period] if len(prices[period]) == blocks else prices[period] * blocks
                peak = several and prices[period][0] == dearest
                bands.append(Band(f"period {period}", kind, month + 1, held[0] * 60, held[-1] * 60 + 60, value, peak))
    return bands


def _prices(structure: object, fault: _Fault) -> list[tuple[float, ...]]:
    """Price by period and block; a fault for each block without a rate, for a missing rate is never zero."""
    column = "energyratestructure"
    if not isinstance(structure, list) or not structure or not all(isinstance(p, list) and p for p in structure):
        fault("tariff_empty", "energyratestructure is a list of periods, each a list of blocks", column)
        return []
    prices = []
    for number, period in enumerate(structure):
        values, limits = [], []
        for place, block in enumerate(period, start=1):
            where = f"period {number}, block {place}"
            if not isinstance(block, dict):
                fault("tariff_price", f"{where} is not an object with a rate", column)
                continue
            rate, added = block.get("rate"), block.get("adj", 0)
            price = rate + added if is_price(rate) and is_price(added) else math.nan
            if not is_price(price):
                fault("tariff_price", f"{where}: rate and adj are numbers, together from -5 to 50", column)
            if block.get("unit", "kWh") != "kWh":
                fault("tariff_unit", f"{where}: blocks are read by kWh of a month, not by {block['unit']!r}", column)
            limit = block.get("max")
            if place < len(period):
                limits.append(limit if isinstance(limit, int | float) and not isinstance(limit, bool) else math.nan)
            values.append(float(price))
        if any(not 0 < limit for limit in limits) or any(a >= b for a, b in pairwise(limits)):
            fault("tariff_blocks", f"period {number}: max of its blocks rises from block to block, in kWh", column)
        prices.append(tuple(values))
    return prices


def _hours(schedule: object, key: str, kind: str, periods: int, fault: _Fault) -> list[list[int]]:
    """The schedule as 12 rows of 24 periods; a fault names each month and hour that points nowhere."""
    if not isinstance(schedule, list) or len(schedule) != 12 or not all(isinstance(row, list) for row in schedule):
        fault("tariff_cover", f"{key} is 12 rows, one a month, of 24 hours", key)
        return []
    for month, row in enumerate(schedule, start=1):
        held = [*row, *[None] * max(24 - len(row), 0)]
        loose = [
            hour
            for hour, cell in enumerate(held[:24])
            if not (isinstance(cell, int) and not isinstance(cell, bool) and 0 <= cell < max(periods, 1))
        ]
        if loose:
            named = ", ".join(f"{hour:02d}:00" for hour in loose)
            fault("tariff_cover", f"{kind} in month {month}: the hours from {named} are not covered by a period", key)
        if len(row) > 24:
            fault("tariff_cover", f"{kind} in month {month} has {len(row)} hours", key)
    return schedule
