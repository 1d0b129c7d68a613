"""By what the exports of a fleet are read: its sources, the dialect of each, and the pumps as each names them.

Belongs here: the three put together. Corrections that a person has confirmed come in through the arguments.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import polars as pl

from pumpledger.intake.dialect import Dialect
from pumpledger.intake.known_pumps import KnownPumps, known_pumps
from pumpledger.register.fleet_file import FleetFile
from pumpledger.register.load import Register


@dataclass(frozen=True, slots=True)
class Declarations:
    """``dialects`` and ``pumps`` go by the name of the source; a source whose dialect does not hold
    has none. ``known`` are the names of all dialects that hold."""

    fleet: FleetFile
    dialects: dict[str, Dialect]
    pumps: dict[str, KnownPumps]
    known: tuple[str, ...]


def declarations(
    register: Register,
    dialects: Mapping[str, Dialect],
    corrected: Mapping[str, Dialect] | None = None,
    changes: Mapping[str, pl.DataFrame] | None = None,
) -> Declarations:
    """Sources of the fleet with their dialects.

    Args:
        dialects: dialects by their own name.
        corrected: dialects by source, where a correction is confirmed for the whole source.
        changes: corrections of single pumps by source, in the form of `KnownPumps.change`.
    """
    by_source = {
        source.name: dialects[source.dialect] for source in register.fleet.sources if source.dialect in dialects
    }
    by_source |= dict(corrected or {})
    plain = known_pumps(register)
    pumps = {
        source.name: known_pumps(register, changes[source.name]) if changes and source.name in changes else plain
        for source in register.fleet.sources
    }
    return Declarations(register.fleet, by_source, pumps, tuple(sorted(dialects)))
