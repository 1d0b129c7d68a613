"""Which claims of a batch are looked at on site: how many, and which, so that anybody can draw them again.

Belongs here: pure functions. Confidence, precision, spread and seed are the programme's.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterable

from pumpledger.claims.uncertainty import T_68, T_90, T_95

_T = {0.68: T_68, 0.9: T_90, 0.95: T_95}


def sample_size(population: int, confidence: float, precision: float, cv: float) -> int:
    """n0 = (t cv / precision)^2, for a finite population n = n0 / (1 + n0 / N), up to a whole number.

    The usual formula of measurement plans and of survey sampling for a mean; 0.9, 0.1 and 0.5 give the well-known 68.

    Raises:
        ValueError: no such confidence, or a spread or precision not above 0.
    """
    if confidence not in _T or precision <= 0 or cv <= 0 or population < 0:
        raise ValueError(f"confidence {confidence}, precision {precision}, cv {cv}, population {population}")
    if population == 0:
        return 0
    endless = (_T[confidence] * cv / precision) ** 2
    return min(population, math.ceil(endless / (1 + endless / population) - 1e-9))


def draw(sites: Iterable[str], count: int, seed: int) -> list[str]:
    """``count`` of ``sites`` at random, in order: those whose SHA-256 of seed and site is least. The same on every machine,
    and a site that joins the list moves none of the others' numbers."""
    ordered = sorted(set(sites), key=lambda site: (hashlib.sha256(f"{seed}\x1f{site}".encode()).digest(), site))
    return sorted(ordered[:count])
