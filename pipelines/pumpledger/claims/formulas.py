"""The formulas that programmes share: by name, pure functions on numbers.

Belongs here: algebra that is common to technical reference manuals and measurement protocols, each with its expression
in words. A programme's own numbers come from its file and from nowhere else.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass


def raw_saving(baseline_kwh: float, energy_kwh: float) -> float:
    """Baseline less measured, of the counted days [kWh]."""
    return baseline_kwh - energy_kwh


def equal_volume_baseline(volume: float, energy_factor: float) -> float:
    """Energy that a pump of ``energy_factor`` [volume per Wh] needs for ``volume`` [kWh].

    Raises:
        ValueError: ``energy_factor`` is not above 0.
    """
    if energy_factor <= 0:
        raise ValueError(f"energy factor {energy_factor}")
    return volume / (energy_factor * 1000)


def energy_factor_saving(
    volume: float, turnovers: float, energy_factor_base: float, energy_factor_new: float, days: float
) -> float:
    """V t (1 / EF_base - 1 / EF_new) / 1000 days [kWh]; energy factors in volume per Wh."""
    base = equal_volume_baseline(volume * turnovers, energy_factor_base)
    return (base - equal_volume_baseline(volume * turnovers, energy_factor_new)) * days


def hours_saving(base_kw: float, base_hours: float, days: float, energy_kwh: float) -> float:
    """kW_base h_base days - measured [kWh]: the former pump's power and hours are the programme's, energy is measured."""
    return base_kw * base_hours * days - energy_kwh


def demand_saving(base_kw: float, base_coincidence: float, new_kw: float, coincidence: float) -> float:
    """kW_base CF_base - kW_new CF_new [kW], over the programme's own peak window."""
    return base_kw * base_coincidence - new_kw * coincidence


def peak_capacity(base_kw: float, base_factor: float, new_kw: float, new_factor: float, firmness: float) -> float:
    """(P_base F_base - P_new F_new) firmness [kW]."""
    return demand_saving(base_kw, base_factor, new_kw, new_factor) * firmness


def lifetime_reduction(capacity_kw: float, window_hours: float, life_years: float) -> float:
    """capacity x window x life [kW h a day, years], floored at 0."""
    return max(0.0, capacity_kw * window_hours * life_years)


@dataclass(frozen=True, slots=True)
class Inputs:
    """What a claim brings to a formula; None: not known. Energy [kWh] and power [kW] are of the counted days; ``volume``
    is the pool's in the programme's unit."""

    baseline_kwh: float | None
    energy_kwh: float | None
    equal_kwh: float | None
    counted_days: int
    volume: float | None
    measured_peak_kw: float | None
    baseline_peak_kw: float | None


Values = dict[str, float]


@dataclass(frozen=True, slots=True)
class Known:
    """One formula: its expression, the parameters it must be given, those it may be given, the fields of `Inputs` that
    it reads, and what it gives: values with names and units, in order; the first is the one that is paid by."""

    expression: str
    needs: tuple[str, ...]
    reads: tuple[str, ...]
    gives: tuple[tuple[str, str], ...]
    compute: Callable[[Inputs, Values], tuple[float, ...]]
    optional: tuple[str, ...] = ()


def _capacity(_: Inputs, p: Values) -> tuple[float, ...]:
    kw = peak_capacity(p["base_kw"], p["base_peak_factor"], p["new_kw"], p["new_peak_factor"], p["firmness"])
    return lifetime_reduction(kw, p["window_hours"], p["life_years"]), kw


FORMULAS: dict[str, Known] = {
    "raw saving": Known(
        "sum over the counted days of (baseline kWh - measured kWh)",
        (),
        ("baseline_kwh", "energy_kwh"),
        (("raw saving", "kWh"),),
        lambda i, _: (raw_saving(i.baseline_kwh or 0.0, i.energy_kwh or 0.0),),
    ),
    "equal-volume saving": Known(
        "sum over the counted days of (volume moved / former pump's volume per kWh - measured kWh)",
        (),
        ("equal_kwh",),
        (("equal-volume saving", "kWh"),),
        lambda i, _: (i.equal_kwh or 0.0,),
    ),
    "stated hours saving": Known(
        "base kW x base hours x counted days - measured kWh",
        ("base_kw", "base_hours"),
        ("energy_kwh",),
        (("saving by stated hours", "kWh"),),
        lambda i, p: (hours_saving(p["base_kw"], p["base_hours"], i.counted_days, i.energy_kwh or 0.0),),
    ),
    "energy factor saving": Known(
        "pool volume x turnovers x (1 / base energy factor - 1 / new energy factor) / 1000 x days",
        ("turnovers", "energy_factor_base", "energy_factor_new", "days"),
        ("volume",),
        (("saving by energy factors", "kWh"),),
        lambda i, p: (
            energy_factor_saving(
                i.volume or 0.0, p["turnovers"], p["energy_factor_base"], p["energy_factor_new"], p["days"]
            ),
        ),
    ),
    "demand saving": Known(
        "base kW x base coincidence - new kW x new coincidence",
        ("base_kw", "base_coincidence", "new_kw", "new_coincidence"),
        (),
        (("demand saving", "kW"),),
        lambda _, p: (demand_saving(p["base_kw"], p["base_coincidence"], p["new_kw"], p["new_coincidence"]),),
    ),
    "measured demand saving": Known(
        "mean kW of the former pump over the peak window - mean measured kW over it",
        (),
        ("measured_peak_kw", "baseline_peak_kw"),
        (("measured demand saving", "kW"),),
        lambda i, _: (demand_saving(i.baseline_peak_kw or 0.0, 1.0, i.measured_peak_kw or 0.0, 1.0),),
    ),
    "peak capacity over life": Known(
        "(base kW x base peak factor - new kW x new peak factor) x firmness x window hours x life years, at least 0",
        ("base_kw", "base_peak_factor", "new_kw", "new_peak_factor", "firmness", "window_hours", "life_years"),
        (),
        (("peak demand reduction over life", "kW h a day x years"), ("peak demand reduction capacity", "kW")),
        _capacity,
    ),
}
"""The formulas a programme file may name."""
