"""What the schema of a programme file cannot say, as functions that yield faults with their place.

Belongs here: rules that hold one part of a file against another. Fields by themselves stand in
`programme.schema.json`.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from datetime import date
from itertools import pairwise
from typing import Any

from pumpledger.claims.formulas import FORMULAS

Fault = tuple[list[str | int], str]
_VOLUME, _POWER = ("m3", "L", "gal"), ("w", "kw")
_UNITS = {
    "pool_volume": _VOLUME,
    "nameplate_power": _POWER,
    "baseline_power": _POWER,
    "label_rating": ("",),
    "warranty_years": ("",),
    "pool_class": ("",),
    "model": ("",),
}
_TEXTS = ("pool_class", "model")


def broken_rules(content: dict[str, Any]) -> list[Fault]:
    """Every fault of ``content``, which may be any TOML; parts that the schema refuses are skipped by the caller."""
    found: list[Fault] = []
    for name, rule in (("formula", _formulas), ("table", _tables), ("eligible", _eligible)):
        if isinstance(content.get(name), list) and all(isinstance(item, dict) for item in content[name]):
            found += rule(content, content[name])
    for name, rule in (("peak", _peak), ("install", _install)):
        if isinstance(content.get(name), dict):
            found += rule(content[name])
    found += _days(content, [])
    found += _finite(content, [])
    return found


def _finite(value: Any, path: list[str | int]) -> Iterator[Fault]:
    """TOML knows ``nan`` and ``inf``, which no programme means."""
    if isinstance(value, dict | list):
        for key, item in value.items() if isinstance(value, dict) else enumerate(value):
            yield from _finite(item, [*path, key])
    elif isinstance(value, float) and not math.isfinite(value):
        yield path, f"{value} is no number of a programme"


def _days(content: dict[str, Any], path: list[str | int]) -> Iterator[Fault]:
    for where in (["retrieved"], ["install", "from"], ["install", "until"]):
        value: Any = content
        for part in where:
            value = value.get(part) if isinstance(value, dict) else None
        if isinstance(value, str) and _day(value) is None:
            yield [*path, *where], f"{value!r} is not a day such as 2026-11-09"


def _day(text: object) -> date | None:
    try:
        return date.fromisoformat(text) if isinstance(text, str) else None
    except ValueError:
        return None


def _install(install: dict[str, Any]) -> Iterator[Fault]:
    first, last = _day(install.get("from")), _day(install.get("until"))
    if first and last and first > last:
        yield ["install", "until"], f"until {last} lies before from {first}"


def _peak(peak: dict[str, Any]) -> Iterator[Fault]:
    start, stop = peak.get("start"), peak.get("stop")
    if not (isinstance(start, str) and isinstance(stop, str)):
        return
    if max(start, stop) > "24:00":
        yield ["peak", "stop"], "the day ends at 24:00"
    elif start >= stop:
        yield ["peak", "stop"], f"stop {stop} is not later than start {start}; a window lies within one day"


def _formulas(content: dict[str, Any], formulas: list[dict[str, Any]]) -> Iterator[Fault]:
    tables = {item.get("name") for item in content.get("table", []) if isinstance(item, dict)}
    if sum(1 for item in formulas if item.get("claimed") is True) != 1:
        yield ["formula", 0], "exactly one [[formula]] has claimed = true: the one that the programme pays by"
    for n, item in enumerate(formulas):
        known = FORMULAS.get(str(item.get("name")))
        if known is None:
            yield (
                ["formula", n, "name"],
                f"{item.get('name')!r} is no formula that is known; known: {', '.join(FORMULAS)}",
            )
            continue
        given = item.get("parameters", {})
        if not isinstance(given, dict):
            continue
        for name in known.needs:
            if name not in given:
                yield ["formula", n], f"{item['name']!r} needs the parameter {name}; it needs {', '.join(known.needs)}"
        for name, value in given.items():
            where: list[str | int] = ["formula", n, "parameters", name]
            if name not in (*known.needs, *known.optional):
                needed = ", ".join(known.needs) or "none"
                yield where, f"{item['name']!r} has no parameter {name}; its parameters: {needed}"
            elif isinstance(value, str) and value not in tables:
                yield where, f"there is no [[table]] with the name {value!r}"


def _tables(_: dict[str, Any], tables: list[dict[str, Any]]) -> Iterator[Fault]:
    names = [item.get("name") for item in tables]
    for n, item in enumerate(tables):
        if names.index(item.get("name")) != n:
            yield ["table", n, "name"], f"the name {item.get('name')!r} is given twice"
        allowed = _UNITS.get(str(item.get("by")))
        if allowed is not None and item.get("unit") not in allowed:
            yield ["table", n, "unit"], f"{item['by']} is banded in {' or '.join(map(repr, allowed))}"
        bands = item.get("bands")
        if isinstance(bands, list) and all(isinstance(band, dict) for band in bands):
            yield from _bands(bands, ["table", n, "bands"], bool(item.get("column")))


def _bands(bands: list[dict[str, Any]], where: list[str | int], columned: bool) -> Iterator[Fault]:
    for n, band in enumerate(bands):
        wanted, other = ("values", "value") if columned else ("value", "values")
        if wanted not in band or other in band:
            yield [*where, n], f"a band of this table has {wanted}" + (", one for each rating" if columned else "")
        edges = [band.get("from"), band.get("below")]
        if "below" not in band:
            if n < len(bands) - 1:
                yield [*where, n], "only the last band may have no upper edge (below)"
        elif all(isinstance(edge, int | float) for edge in edges) and not edges[0] < edges[1]:
            yield [*where, n], f"from {edges[0]} is not less than below {edges[1]}"
    for n, (band, following) in enumerate(pairwise(bands)):
        if "below" in band and band["below"] != following.get("from"):
            yield (
                [*where, n + 1],
                f"begins at {following.get('from')}, but the band before ends below {band['below']}: what lies between, "
                "or in both, has no one value",
            )


def _eligible(_: dict[str, Any], items: list[dict[str, Any]]) -> Iterator[Fault]:
    for n, item in enumerate(items):
        tests = [name for name in ("least", "most", "above", "below", "equals", "one_of") if name in item]
        allowed = _UNITS.get(str(item.get("field")), ("",))
        if not tests:
            yield ["eligible", n], "says nothing of the field; give least, most, above, below, equals or one_of"
        elif (item.get("field") in _TEXTS) is not (tests in (["equals"], ["one_of"])):
            said = "are compared with equals or with one_of, and every other field with numbers"
            yield ["eligible", n], f"{' and '.join(_TEXTS)} {said}"
        if item.get("unit", "") not in allowed:
            yield ["eligible", n, "unit"], f"{item.get('field')} is given in {' or '.join(map(repr, allowed))}"
