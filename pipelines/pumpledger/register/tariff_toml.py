"""Tariffs as ``tariffs/<name>.toml``: bands by kind of day and month, with holidays and blocks where there are any.

Belongs here: reading and the faults of single entries. That every hour is covered is checked in `tariff`.
"""

from __future__ import annotations

import difflib
import re
import tomllib
from datetime import date
from itertools import pairwise
from pathlib import Path

from pumpledger.problems import Problem
from pumpledger.register.tariff_file import Band, TariffFile, is_price

_QUARTER = re.compile(r"(\d{1,2}):(00|15|30|45)", re.ASCII)
_DAYS = {"weekday": ("weekday",), "weekend": ("weekend",), "all": ("weekday", "weekend"), "holiday": ("holiday",)}
_KEYS = ("name", "source", "band", "holidays", "block_limits_kwh")
_BAND_KEYS = ("name", "days", "months", "start", "stop", "price_per_kwh", "peak")


def read_toml(path: Path, shown: str, found: list[Problem]) -> TariffFile | None:
    """The tariff of ``path``; ``None`` where it has faults, all of which are then in ``found``."""

    def fault(name: str, sentence: str, column: str | None = None) -> None:
        found.append(Problem(name, sentence, file=shown, column=column))

    try:
        content = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, OSError) as error:
        fault("tariff_unreadable", f"is not a TOML file ({error})")
        return None
    before = len(found)
    declared = content.get("band")
    if not isinstance(declared, list) or not declared or not all(isinstance(band, dict) for band in declared):
        fault("tariff_empty", "has no [[band]]; at least one is needed")
        return None
    tables = [(f"band {n}: ", band, _BAND_KEYS) for n, band in _numbered(declared)]
    for where, table, known in (("", content, _KEYS), *tables):
        for key in table:
            if key not in known:
                close = difflib.get_close_matches(key, known, n=1)
                hint = f"; did you mean {close[0]}?" if close else ""
                fault("tariff_key", f"{where}the key {key!r} is not known{hint}", key)
    limits = content.get("block_limits_kwh", [])
    if not _rises(limits):
        fault("tariff_blocks", "block_limits_kwh is a list of kWh that rises, such as [300, 700]", "block_limits_kwh")
        limits = []
    holidays = _days(content.get("holidays", []))
    if holidays is None:
        fault("tariff_holidays", "holidays is a list of days, YYYY-MM-DD", "holidays")
    bands = [row for n, band in _numbered(declared) for row in _bands(band, f"band {n}", len(limits) + 1, fault)]
    priced = any(band.get("days") == "holiday" for band in declared)
    if priced and holidays == ():
        fault("tariff_holidays", "has a band for holidays, but lists no holidays", "holidays")
    if len(found) > before or holidays is None:
        return None
    return TariffFile(tuple(bands), len(limits) + 1, holidays, "holiday" if priced else "weekend")


def _numbered(bands: list[dict[str, object]]) -> list[tuple[int, dict[str, object]]]:
    return list(enumerate(bands, start=1))


def _bands(band: dict[str, object], where: str, blocks: int, fault) -> list[Band]:
    start, stop = _quarter(band.get("start", "00:00")), _quarter(band.get("stop", "24:00"))
    price, days, months = band.get("price_per_kwh"), band.get("days", "all"), band.get("months")
    good = True

    def bad(name: str, sentence: str, column: str) -> None:
        nonlocal good
        good = False
        fault(name, f"{where}: {sentence}", column)

    if start is None or stop is None:
        bad("tariff_clock", "start and stop are HH:MM on a quarter hour, 00:00 to 24:00", "start")
    prices = price if isinstance(price, list) else [price]
    if not all(is_price(value) for value in prices):
        bad("tariff_price", "price_per_kwh is a number from -5 to 50", "price_per_kwh")
    elif len(prices) != blocks:
        needed = f"{blocks} prices, one a block" if blocks > 1 else "one price; blocks need block_limits_kwh"
        bad("tariff_blocks", f"price_per_kwh holds {len(prices)}, needed are {needed}", "price_per_kwh")
    if not isinstance(days, str) or days not in _DAYS:
        bad("tariff_days", "days is weekday, weekend, all or holiday", "days")
    if months is not None and not (
        isinstance(months, list)
        and months
        and all(isinstance(month, int) and not isinstance(month, bool) and 1 <= month <= 12 for month in months)
        and len(set(months)) == len(months)
    ):
        bad("tariff_months", "months is a list of numbers from 1 to 12, each once", "months")
    if not isinstance(band.get("peak", False), bool):
        bad("tariff_peak", "peak is true or false, without quotes", "peak")
    if not good:
        return []
    pieces = [(start, stop)] if start < stop else [(start, 1440), (0, stop)]
    name, values, peak = str(band.get("name", where)), tuple(map(float, prices)), bool(band.get("peak", False))
    return [
        Band(name, kind, month, first, last, values, peak)
        for month in months or (None,)
        for kind in _DAYS[days]
        for first, last in pieces
        if first < last
    ]


def _quarter(text: object) -> int | None:
    found = _QUARTER.fullmatch(str(text))
    total = int(found[1]) * 60 + int(found[2]) if found else 1441
    return total if total <= 1440 else None


def _rises(limits: object) -> bool:
    if not isinstance(limits, list) or not all(
        isinstance(limit, int | float) and not isinstance(limit, bool) and 0 < limit < 1e6 for limit in limits
    ):
        return False
    return all(a < b for a, b in pairwise(limits))


def _days(listed: object) -> tuple[date, ...] | None:
    """Days given as TOML dates or as text, each once and in order; ``None`` where one is neither."""
    if not isinstance(listed, list):
        return None
    days = set()
    for item in listed:
        try:
            days.add(item if type(item) is date else date.fromisoformat(item))
        except (TypeError, ValueError):
            return None
    return tuple(sorted(days))
