"""Every figure that a claim publishes, as plain data; and how two sets of them differ.

Belongs here: what `claim.json` holds, and the comparison to the watt-hour. Names of people and places are no figures.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from dataclasses import asdict
from datetime import date, datetime

from pumpledger.claims.clean_data import claim_frames
from pumpledger.claims.data import ClaimData

WATT_HOUR = 0.001
"""Energy is compared to this [kWh]: half of it either way is rounding."""
MOST_NAMED = 40
"""Differences that are named one by one; the others are counted."""


def figures(claim: ClaimData) -> dict[str, object]:
    """What the claim publishes: totals, the programme's results, and every table."""
    return {
        "claim_id": claim.claim_id,
        "verdict": claim.verdict,
        "site_id": claim.site["site_id"],
        "first_day": claim.first_day.isoformat(),
        "last_day": claim.last_day.isoformat(),
        "zone": claim.zone,
        "currency": claim.currency,
        "made_up": claim.made_up,
        "programme": None
        if claim.programme is None
        else {"key": claim.programme.key, "sha256": claim.programme.sha256},
        "programme_results": [asdict(result) for result in claim.programme_results],
        "option": claim.option,
        "totals": asdict(claim.totals),
        "missing_weeks": list(claim.missing_weeks),
        "tables": {
            name: [dict(row) for row in frame.iter_rows(named=True)] for name, (_, frame) in claim_frames(claim).items()
        },
        "versions": dict(claim.versions),
    }


def figures_bytes(found: dict[str, object]) -> bytes:
    """As JSON: the same bytes for the same figures, every number to its last digit."""
    return (json.dumps(found, indent=1, sort_keys=True, default=_plain, allow_nan=False) + "\n").encode()


def differences(published: dict[str, object], recomputed: dict[str, object]) -> list[str]:
    """Where the two differ, a sentence each; versions are told by `verify` and are no figures."""
    left, right = (json.loads(figures_bytes({**item, "versions": {}})) for item in (published, recomputed))
    found = list(_differ("", left, right))
    more = len(found) - MOST_NAMED
    return found if more <= 0 else [*found[:MOST_NAMED], f"and {more} more figures differ."]


def _differ(place: str, left: object, right: object) -> Iterator[str]:
    if isinstance(left, dict) and isinstance(right, dict):
        for name in sorted(left.keys() | right.keys(), key=lambda name: (name == "tables", name)):  # totals come first
            yield from _differ(f"{place}.{name}".lstrip("."), left.get(name), right.get(name))
    elif isinstance(left, list) and isinstance(right, list):
        if len(left) != len(right):
            yield f"{place}: the packet has {len(left)} rows, worked out anew there are {len(right)}."
        for at, (one, other) in enumerate(zip(left, right, strict=False), 1):
            yield from _differ(f"{place} row {at}", one, other)
    elif not _same(place, left, right):
        yield f"{place}: the packet says {left!r}, worked out anew it is {right!r}."


def _same(place: str, left: object, right: object) -> bool:
    numbers = [value for value in (left, right) if isinstance(value, int | float) and not isinstance(value, bool)]
    if len(numbers) < 2:
        return left == right
    tolerance = WATT_HOUR / 2 if _is_energy(place) else 0.0
    return math.isclose(*numbers, rel_tol=1e-9, abs_tol=max(tolerance, 1e-9))


def _is_energy(place: str) -> bool:
    name = place.rsplit(".", 1)[-1]
    return "kwh" in name or place.startswith(("totals.raw.", "totals.equal."))


def _plain(value: object) -> str:
    if isinstance(value, datetime):
        return value.isoformat() + "Z"
    if isinstance(value, date):
        return value.isoformat()
    raise TypeError(type(value))
