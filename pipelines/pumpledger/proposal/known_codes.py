"""The codes of a fleet's register, which make a code in an export certain where there is a register to look in.

Belongs here: loading them, and matching a set of codes. Where codes stand in an export is `identity.py`.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from pumpledger.register.load import load_register


@dataclass(frozen=True, slots=True)
class KnownCodes:
    """Pumps and sites of a register, and the zones of its sites; all empty where no fleet was named."""

    pumps: frozenset[str] = frozenset()
    sites: frozenset[str] = frozenset()
    zones: tuple[str, ...] = ()

    def whose(self, codes: Iterable[str]) -> Literal["pump", "site"] | None:
        """Whether ``codes`` are nine in ten the register's pumps, or its sites."""
        codes = set(codes)
        for whose, known in (("pump", self.pumps), ("site", self.sites)):
            if codes and len(codes & known) >= 0.9 * len(codes):
                return "pump" if whose == "pump" else "site"
        return None


def codes_of(fleet: Path | None) -> KnownCodes:
    """The codes of the register in the folder ``fleet``.

    Raises:
        FleetError: there is no fleet there, or its register cannot be read.
    """
    if fleet is None:
        return KnownCodes()
    register = load_register(fleet)
    zones = sorted(set(register.site["zone"].drop_nulls()))
    return KnownCodes(frozenset(register.pump["pump_id"]), frozenset(register.site["site_id"]), tuple(zones))
