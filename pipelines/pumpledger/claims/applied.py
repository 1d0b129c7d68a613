"""A programme's formulas and conditions applied to one claim.

Belongs here: finding each parameter, in the programme's tables where it names one, and saying what is missing. The
algebra stands in `formulas.py`; no number comes from anywhere but the programme's file, the register and the claim.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from pumpledger.claims.data import ProgrammeResult
from pumpledger.claims.formulas import FORMULAS, Inputs
from pumpledger.claims.papers import alike
from pumpledger.claims.programme_data import BandTable, Eligible, Formula, Programme
from pumpledger.units import convert

_HELD = {
    "pool_volume": ("pool_volume_m3", "m3"),
    "nameplate_power": ("nameplate_power_w", "w"),
    "baseline_power": ("baseline_power_w", "w"),
    "label_rating": ("label_rating", ""),
    "warranty_years": ("warranty_years", ""),
    "pool_class": ("pool_class", ""),
    "model": ("model", ""),
}


class Missing(ValueError):
    """A parameter cannot be had; the text says why."""


@dataclass(frozen=True, slots=True)
class Facts:
    """What the register knows of the site and of its pumps: column -> value, inside units."""

    site: Mapping[str, object]
    pumps: tuple[Mapping[str, object], ...]

    def value(self, field: str, unit: str) -> float | str:
        """``field`` in ``unit``.

        Raises:
            Missing: it is not entered, or the site has several pumps and the field is one pump's.
        """
        column, held = _HELD[field]
        if column in self.site:
            found = self.site[column]
        elif len(self.pumps) != 1:
            raise Missing(f"{field} is one pump's, and the site has {len(self.pumps)}")
        else:
            found = self.pumps[0].get(column)
        if found is None:
            raise Missing(f"{column} is not entered")
        if isinstance(found, str):
            return found
        return float(str(found)) if not held else in_unit(float(str(found)), held, unit)


def in_unit(value: float, held: str, unit: str) -> float:
    """``value`` in a unit of programmes: those of the register, and L."""
    return value * 1000 if (held, unit) == ("m3", "L") else float(convert(value, held, unit or held))


def look_up(table: BandTable, facts: Facts) -> float:
    """The table's value for the site.

    Raises:
        Missing: the table has no value for it.
    """
    quantity = facts.value(table.by, table.unit)
    band = next((band for band in table.bands if band.holds(float(quantity))), None)
    if band is None:
        raise Missing(f"the table {table.name!r} has no band for {table.by} {quantity:g} {table.unit}".rstrip())
    column = f"{float(facts.value(table.column, '')):g}" if table.column else "value"
    if column not in band.values:
        raise Missing(f"the table {table.name!r} has no value for {table.column} {column} in its band")
    return band.values[column]


def parameters(formula: Formula, programme: Programme, facts: Facts) -> dict[str, float]:
    """Every parameter of ``formula`` as a number.

    Raises:
        Missing: one cannot be had.
    """
    return {
        name: look_up(programme.tables[value], facts) if isinstance(value, str) else value
        for name, value in formula.parameters.items()
    }


def results(programme: Programme, inputs: Inputs, facts: Facts) -> list[tuple[Formula, tuple[ProgrammeResult, ...]]]:
    """What each formula gives, in the order of the file; the paid one is capped."""
    return [(formula, _applied(formula, programme, inputs, facts)) for formula in programme.formulas]


def _applied(formula: Formula, programme: Programme, inputs: Inputs, facts: Facts) -> tuple[ProgrammeResult, ...]:
    known = FORMULAS[formula.name]
    lacking = [name for name in known.reads if getattr(inputs, name) is None]
    why = f"not known: {', '.join(name.replace('_', ' ') for name in lacking)}" if lacking else ""
    values: tuple[float | None, ...] = (None,) * len(known.gives)
    if not why:
        try:
            values = known.compute(inputs, parameters(formula, programme, facts))
        except Missing as missing:
            why = str(missing)
    found = []
    for place, ((name, unit), value) in enumerate(zip(known.gives, values, strict=True)):
        capped = ""
        if value is not None and formula.claimed and place == 0:
            value, capped = _capped(value, programme, inputs, unit)
        sentence = f"{formula.name}: {known.expression}" if value is not None else f"cannot be computed: {why}"
        found.append(ProgrammeResult(name, value, unit, sentence, capped))
    return tuple(found)


def _capped(value: float, programme: Programme, inputs: Inputs, unit: str) -> tuple[float, str]:
    said = ""
    share = programme.caps.get("most_share_of_baseline")
    if share is not None and unit == "kWh" and inputs.baseline_kwh is not None and value > share * inputs.baseline_kwh:
        value, said = share * inputs.baseline_kwh, f"held to {share:.0%} of the baseline"
    most = programme.caps.get("most_result")
    if most is not None and value > most:
        value, said = most, f"held to {most:g} {unit}"
    return value, said


def ineligible(programme: Programme, facts: Facts) -> list[tuple[str, str]]:
    """Conditions that do not hold or cannot be told: ('missing' or 'doubtful', sentence)."""
    found = []
    for item in programme.eligible:
        try:
            value = facts.value(item.field, item.unit)
        except Missing as missing:
            found.append(("missing", f"cannot be told: {missing}"))
            continue
        if not _holds(item, value):
            found.append(
                (
                    "missing",
                    f"{item.field} is {value} {item.unit}".rstrip() + f", the programme asks for {_asked(item)}",
                )
            )
    return found


def _holds(item: Eligible, value: float | str) -> bool:
    if isinstance(value, str):
        return any(alike(value, wanted) for wanted in (item.one_of or (item.equals,)))
    return (
        (item.least is None or value >= item.least)
        and (item.most is None or value <= item.most)
        and (item.above is None or value > item.above)
        and (item.below is None or value < item.below)
    )


def _asked(item: Eligible) -> str:
    if item.one_of:
        return f"one of the {len(item.one_of)} in its list"
    if item.equals:
        return item.equals
    limits = (("at least", item.least), ("at most", item.most), ("more than", item.above), ("less than", item.below))
    return " and ".join(f"{word} {limit:g}" for word, limit in limits if limit is not None)
