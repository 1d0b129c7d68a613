"""What a tariff file holds once it is read, whatever its form.

Belongs here: the records, and the limits that both forms share.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

DAY_KINDS = ("weekday", "weekend", "holiday")
LEAST_PRICE, MOST_PRICE = -5, 50
"""Prices outside are taken for a slip of the unit, such as cents [currency per kWh]."""


@dataclass(frozen=True, slots=True)
class Band:
    """One stretch of wall-clock minutes of a kind of day, priced by block of the month's kWh, the first block first.

    ``month`` 1-12, or ``None`` for all of them. ``prices`` [currency per kWh].
    """

    name: str
    day_kind: str
    month: int | None
    start_min: int
    stop_min: int
    prices: tuple[float, ...]
    peak: bool


@dataclass(frozen=True, slots=True)
class TariffFile:
    """``holidays`` are billed as ``holiday_kind``: holiday where the file prices such days, else weekend."""

    bands: tuple[Band, ...]
    blocks: int
    holidays: tuple[date, ...] = ()
    holiday_kind: str = "weekend"


def is_price(value: object) -> bool:
    """Whether ``value`` can be a price."""
    return isinstance(value, int | float) and not isinstance(value, bool) and LEAST_PRICE <= value <= MOST_PRICE
