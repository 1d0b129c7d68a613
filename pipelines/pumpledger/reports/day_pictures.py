"""The two pictures of a site's fortnight, from its daily rows and its savings.

Belongs here: which row becomes which bar. The drawing is in `svg_days`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from math import sqrt

from markupsafe import Markup

from pumpledger.reports import wording
from pumpledger.reports.fleet_page import Row
from pumpledger.reports.svg_days import DayBar, day_picture


def day_pictures(
    days: Sequence[date], known: Mapping[date, Row], savings: Mapping[date, Row], required: float | None
) -> list[Markup]:
    """Energy against the single-speed baseline, and turnovers against the requirement, of ``days``.

    Args:
        days: the local days, oldest first.
        known: the site's daily rows, pumps summed, by day.
        savings: rows of the table ``savings`` by day.
        required: turnovers a day, from the register; ``None`` not entered.
    """
    energy = [
        _bar(
            day,
            known.get(day, {}),
            "energy_kwh",
            bool(savings.get(day, {}).get("counted")),
            savings.get(day, {}).get("baseline_kwh"),
            _baseline_off(known.get(day, {}), savings.get(day, {})),
        )
        for day in days
    ]
    turnover = [_bar(day, known.get(day, {}), "turnovers", bool(known.get(day, {}).get("believed"))) for day in days]
    recorded = any(bar.against is not None for bar in energy)
    return [
        Markup(
            day_picture(
                "Energy",
                "kWh",
                energy,
                "single-speed baseline" if recorded else "no baseline recorded",
                "not counted in the savings",
            )
        ),
        Markup(
            day_picture(
                "Turnovers",
                "",
                turnover,
                f"required {wording.number(required, 2)}" if required is not None else "none required by the register",
                "not believed",
                requirement=required,
            )
        ),
    ]


def _baseline_off(row: Row, saving: Row) -> float | None:
    """Half-width of the baseline [kWh]: that of the raw saving without the measured energy's part, for the accounts add
    the two in quadrature (``sql/accounting/savings_day.sql``)."""
    ends = saving.get("raw_kwh_hi"), saving.get("raw_kwh_mid"), row.get("energy_kwh_mid"), row.get("energy_kwh_lo")
    if None in ends:
        return None
    raw_high, raw, energy, energy_low = ends
    return sqrt(max((raw_high - raw) ** 2 - (energy - energy_low) ** 2, 0.0))


def _bar(
    day: date, row: Row, name: str, counts: bool, against: float | None = None, against_off: float | None = None
) -> DayBar:
    low, middle, high = (row.get(f"{name}_{bound}") for bound in ("lo", "mid", "hi"))
    # The middle of a day with holes is what was seen, not what is likely.
    likely = middle if row.get("valid") else None
    return DayBar(day, low, likely, high, counts, against, against_off)
