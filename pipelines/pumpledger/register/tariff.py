"""Tariff files: price bands by wall clock, weekday and weekend. Holidays are not represented, a stated limit.

Belongs here: reading and covering. Money is computed in `accounting`.
"""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import polars as pl

from pumpledger.problems import Problem

SCHEMA = {
    "tariff": pl.String,
    "band": pl.String,
    "day_kind": pl.String,
    "start_min": pl.Int64,
    "stop_min": pl.Int64,
    "price_per_kwh": pl.Float64,
    "peak": pl.Boolean,
}
_QUARTER = re.compile(r"(\d{1,2}):(00|15|30|45)", re.ASCII)
_DAY_KINDS = {"weekday": ("weekday",), "weekend": ("weekend",), "all": ("weekday", "weekend")}


def read_tariffs(folder: Path, problems: list[Problem]) -> pl.DataFrame:
    """All bands of ``tariffs/*.toml`` that cover each day from 00:00 to 24:00 once; a file that does not is set
    aside."""
    rows: list[dict[str, object]] = []
    for path in sorted(folder.glob("*.toml")):
        name = f"tariffs/{path.name}"
        found: list[Problem] = []
        bands = _read_bands(path, name, found)
        if not found:
            _check_cover(bands, name, found)
        problems.extend(found)
        if not found:
            rows.extend(bands)
    return pl.DataFrame(rows, schema=SCHEMA).sort("tariff", "day_kind", "start_min")


def _read_bands(path: Path, name: str, found: list[Problem]) -> list[dict[str, object]]:
    try:
        content = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, OSError) as error:
        found.append(Problem("tariff_unreadable", f"is not a TOML file ({error})", file=name))
        return []
    bands: list[dict[str, object]] = []
    declared = content.get("band")
    if not isinstance(declared, list) or not declared or not all(isinstance(band, dict) for band in declared):
        found.append(Problem("tariff_empty", "has no [[band]]; at least one is needed", file=name))
        return []
    for number, band in enumerate(declared, start=1):
        where = f"band {number}"
        start, stop = _quarter(band.get("start", "00:00")), _quarter(band.get("stop", "24:00"))
        price, days = band.get("price_per_kwh"), band.get("days", "all")
        if start is None or stop is None:
            found.append(
                Problem(
                    "tariff_clock",
                    f"{where}: start and stop are HH:MM on a quarter hour, 00:00 to 24:00",
                    file=name,
                    column="start",
                )
            )
        if not isinstance(price, int | float) or isinstance(price, bool) or not -5 <= price <= 50:
            found.append(
                Problem(
                    "tariff_price",
                    f"{where}: price_per_kwh is a number from -5 to 50",
                    file=name,
                    column="price_per_kwh",
                )
            )
        if not isinstance(days, str) or days not in _DAY_KINDS:
            found.append(Problem("tariff_days", f"{where}: days is weekday, weekend or all", file=name, column="days"))
        if not isinstance(band.get("peak", False), bool):
            found.append(
                Problem("tariff_peak", f"{where}: peak is true or false, without quotes", file=name, column="peak")
            )
        if found:
            continue
        pieces = [(start, stop)] if start < stop else [(start, 1440), (0, stop)]
        for kind in _DAY_KINDS[days]:
            for first, last in pieces:
                if first < last:
                    bands.append(
                        {
                            "tariff": path.stem,
                            "band": str(band.get("name", where)),
                            "day_kind": kind,
                            "start_min": first,
                            "stop_min": last,
                            "price_per_kwh": float(price),
                            "peak": band.get("peak", False),
                        }
                    )
    return bands


def _quarter(text: object) -> int | None:
    found = _QUARTER.fullmatch(str(text))
    total = int(found[1]) * 60 + int(found[2]) if found else 1441
    return total if total <= 1440 else None


def _check_cover(bands: list[dict[str, object]], name: str, found: list[Problem]) -> None:
    for kind in ("weekday", "weekend"):
        reached = 0
        for band in sorted((b for b in bands if b["day_kind"] == kind), key=lambda b: b["start_min"]):
            if band["start_min"] != reached:
                fault = "is not covered by a band" if band["start_min"] > reached else "is covered twice"
                at = min(reached, band["start_min"]) if band["start_min"] > reached else band["start_min"]
                found.append(Problem("tariff_cover", f"{kind} from {at // 60:02d}:{at % 60:02d} {fault}", file=name))
            reached = max(reached, band["stop_min"])
        if reached < 1440:
            found.append(
                Problem(
                    "tariff_cover",
                    f"{kind} from {reached // 60:02d}:{reached % 60:02d} is not covered by a band",
                    file=name,
                )
            )
