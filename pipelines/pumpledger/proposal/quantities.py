"""Which column measures what: every numeric column judged, and the claims on ``[quantity]``.

Belongs here: the order of judging (speed first, for it tells when a pump runs), and what happens where two columns
claim one quantity. How each is judged is in `gauges.py` and `counters.py`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from pumpledger.proposal.aux_words import judge_aux
from pumpledger.proposal.cells import Marks
from pumpledger.proposal.claim import Claim
from pumpledger.proposal.counters import judge_energy, judge_run, kind_of_column
from pumpledger.proposal.gauges import judge_flow, judge_power, judge_speed, judge_temperature
from pumpledger.proposal.judgement import Judgement, ask, strength
from pumpledger.proposal.table import Table
from pumpledger.proposal.traces import Trace, course_of, extent
from pumpledger.proposal.wide import WideColumns
from pumpledger.proposal.words import Name, read_name

_JUDGES: dict[str, Callable[[Name, Sequence[Trace]], Judgement]] = {
    "speed": judge_speed,
    "power": judge_power,
    "flow": judge_flow,
    "temperature": judge_temperature,
    "run": judge_run,
}
_ORDER = ("speed", "power", "energy", "energy_total", "run_total", "flow", "air_temperature", "aux")


@dataclass
class Values:
    """The numbers of a table by column and row, with the order of rows in time."""

    table: Table
    marks: Marks
    marks_known: bool
    times: list[datetime | None]
    series: list[list[int]]
    interval_s: int | None
    numbers: dict[int, list[float | None]] = field(default_factory=dict)

    def of(self, at: int) -> list[float | None]:
        """Numbers of column ``at`` by row."""
        if at not in self.numbers:
            read: dict[str, float | None] = {}
            for cell in self.table.columns[at]:
                if cell not in read:
                    read[cell] = self.marks.read(cell)
            self.numbers[at] = [read[cell] for cell in self.table.columns[at]]
        return self.numbers[at]

    def traces(self, at: int, speed: int | None = None, power: tuple[int, float] | None = None) -> list[Trace]:
        """Traces of column ``at``. ``speed`` is the speed's column; ``power`` the power's, with its factor to W."""
        values = self.of(at)
        speeds = self.of(speed) if speed is not None else None
        top = max((value for value in speeds if value is not None), default=0.0) if speeds else 0.0
        powers = self.of(power[0]) if power else None
        timed = any(time is not None for time in self.times)
        found = []
        for rows in self.series:
            kept = [row for row in rows if values[row] is not None and (self.times[row] is not None or not timed)]
            if timed:
                kept.sort(key=lambda row: self.times[row])  # type: ignore[arg-type, return-value]
            if not kept:
                continue
            found.append(
                Trace(
                    [self.times[row] for row in kept],
                    [values[row] for row in kept],  # type: ignore[misc]
                    [_runs(speeds[row] if speeds else None, top) for row in kept],
                    [_scaled(powers[row], power[1]) if powers and power else None for row in kept],
                )
            )
        return found


def _runs(speed: float | None, top: float) -> bool | None:
    """Whether a pump with ``speed`` runs; standing pumps log nothing or next to it."""
    return None if speed is None or top <= 0 else speed > 0.1 * top


def _scaled(value: float | None, factor: float) -> float | None:
    return None if value is None else value * factor


@dataclass(frozen=True, slots=True)
class Quantities:
    """Claims on ``[quantity]``, notes on columns left out, and what labels and steps want to know."""

    claims: list[Claim]
    notes: list[str]
    columns: list[int]
    counters: bool
    interval_energy: bool
    means: bool
    speed: int | None = None
    aux: int | None = None


def judge_columns(values: Values, taken: Sequence[int]) -> Quantities:
    """All columns of a long table but those ``taken`` for time and identity."""
    table = values.table
    left = [at for at in range(len(table.names)) if at not in taken]
    if not table.headed:
        return _headless(values, left)
    names = {at: read_name(table.names[at], table.units[at] if table.units else "") for at in left}
    judged: dict[str, list[tuple[int, Judgement]]] = {}
    claims, notes, columns = [], [], []
    auxiliary = [at for at in left if "aux" in names[at].meanings and names[at].quantity is None and table.filled(at)]
    speed: int | None = None
    power: tuple[int, float] | None = None
    for meaning in ("speed", "power", "energy", "run", "flow", "temperature"):
        for at in (at for at in left if names[at].quantity == meaning and at in table.numeric and at not in auxiliary):
            judgement = _judge(meaning, names[at], values, at, speed, power)
            if judgement:
                judged.setdefault(judgement.quantity, []).append((at, judgement))
        if meaning == "speed" and len(judged.get("speed", [])) == 1:
            speed = judged["speed"][0][0]
        if meaning == "power" and len(judged.get("power", [])) == 1 and judged["power"][0][1].unit:
            power = judged["power"][0][0], 1000.0 if judged["power"][0][1].unit == "kW" else 1.0
    notes += _energy_or_power(judged, table)
    for quantity, found in judged.items():
        notes += _beaten(quantity, found, table)
        claims.append(_one_claim(quantity, found, values, names))
        columns += [at for at, _ in found]
    for at in auxiliary[:1]:
        claims.append(judge_aux(table.names[at], table.filled(at)))
        columns.append(at)
    notes += [_left_out(table, at, values) for at in left if at not in columns]
    claims.sort(key=lambda claim: _ORDER.index(claim.key.split(".")[1]))
    if not claims:
        claims = [Claim("quantity", None, "cannot tell", "no column has a name that says what it measures")]
    quantities = set(judged)
    means = any("mean" in names[at].hints for at in columns if at in names)
    counters = bool(quantities & {"energy_total", "run_total"})
    aux = auxiliary[0] if auxiliary else None
    return Quantities(claims, notes, columns, counters, "energy" in quantities, means, speed, aux)


def _judge(
    meaning: str, name: Name, values: Values, at: int, speed: int | None, power: tuple[int, float] | None
) -> Judgement | None:
    traces = values.traces(at, speed if meaning != "speed" else None, power if meaning == "energy" else None)
    if not traces:
        return None
    if meaning == "energy":
        return judge_energy(name, traces, values.interval_s)
    return _JUDGES[meaning](name, traces)


def _one_claim(quantity: str, found: list[tuple[int, Judgement]], values: Values, names: dict[int, Name]) -> Claim:
    """The claim of the one column, or of the best of several; where none is best it is asked."""
    found = sorted(found, key=lambda item: -strength(item[1].sureness))
    at, best = found[0]
    table = values.table
    key, column = f"quantity.{quantity}", table.names[at]
    if len(found) > 1 and strength(found[1][1].sureness) == strength(best.sureness):
        shown = ", ".join(repr(table.names[other]) for other, _ in found)
        value: dict[str, object] = {"unit": best.unit} if best.unit else {}
        missing = ("column", *best.missing)
        return Claim(key, value, "cannot tell", f"which of {shown}? Only one can be read", missing)
    return _claim(key, {"column": column}, best, names[at].its_unit, _readable(values, [at]))


def _beaten(quantity: str, found: list[tuple[int, Judgement]], table: Table) -> list[str]:
    """Notes on columns that lose to a surer one of the same quantity."""
    most = max(strength(judged.sureness) for _, judged in found)
    lost = [table.names[at] for at, judged in found if strength(judged.sureness) < most]
    return [f"{', '.join(map(repr, lost))}: also {quantity}, but less sure"] if lost else []


def _energy_or_power(judged: dict[str, list[tuple[int, Judgement]]], table: Table) -> list[str]:
    """Energy of an interval and mean power say the same, and a dialect holds one: the metered energy, if it is told."""
    if not {"energy", "power"} <= set(judged):
        return []
    told = any(judgement.unit for _, judgement in judged["energy"])
    dropped = judged.pop("power" if told else "energy")
    shown = ", ".join(repr(table.names[at]) for at, _ in dropped)
    return [f"{shown}: says the same as the {'energy of the intervals' if told else 'power'}, and a dialect holds one"]


def _claim(key: str, start: dict[str, object], judged: Judgement, named: str | None, readable: bool) -> Claim:
    """``readable`` says that the column's numbers do not wait for the decimal mark; else its name alone counts."""
    if not readable and judged.sureness != "cannot tell":
        told = "told once the decimal mark is"
        if named is None:
            judged = ask(judged.quantity, told)
        else:
            judged = Judgement(judged.quantity, named, "likely", f"by the name alone: the rest is {told}")
    value = start | ({"unit": judged.unit} if judged.unit else {})
    return Claim(key, value, judged.sureness, judged.evidence, judged.missing)


def _readable(values: Values, columns: list[int]) -> bool:
    """Whether the marks of the columns' numbers are known, or they have none."""
    return values.marks_known or not any(
        "." in cell or "," in cell for at in columns for cell in values.table.columns[at]
    )


def judge_wide(values: Values, wide: WideColumns) -> Quantities:
    """The one quantity of all columns of pumps together."""
    columns = list(wide.code)
    meaning = wide.name.quantity
    counter = "counter" in wide.name.hints
    traces = [trace for at in columns for trace in values.traces(at)]
    if meaning is None or not traces:
        told = ", ".join(extent(numbers) for at in columns[:3] if (numbers := _present(values.of(at))))
        claim = Claim(
            "quantity", None, "cannot tell", f"what do the columns hold? Values {told}; one line, without column"
        )
        return Quantities([claim], wide.notes, columns, False, False, False)
    judged = (
        judge_energy(wide.name, traces, values.interval_s)
        if meaning == "energy"
        else _JUDGES[meaning](wide.name, traces)
    )
    claim = _claim(f"quantity.{judged.quantity}", {}, judged, wide.name.its_unit, _readable(values, columns))
    counter = judged.quantity in ("energy_total", "run_total")
    means = "mean" in wide.name.hints
    return Quantities([claim], wide.notes, columns, counter, judged.quantity == "energy", means)


def _headless(values: Values, left: list[int]) -> Quantities:
    """Without names nothing says what a column measures: all are asked, with what their values look like."""
    told = "; ".join(_left_out(values.table, at, values) for at in left)
    claim = Claim("quantity", None, "cannot tell", f"without a header nothing says what a column measures: {told}")
    return Quantities([claim], [], [at for at in left if at in values.table.numeric], False, False, False)


def _left_out(table: Table, at: int, values: Values) -> str:
    name = repr(table.names[at])
    if at in table.numeric and (numbers := _present(values.of(at))):
        counts = kind_of_column(course_of(values.traces(at))).counter
        return f"{name}: values {extent(numbers)}" + ("; a counter of some kind, for it never falls" if counts else "")
    cells = sorted(set(table.filled(at)))
    return f"{name}: " + (", ".join(map(repr, cells[:3])) + (" ..." if len(cells) > 3 else "") if cells else "empty")


def _present(numbers: list[float | None]) -> list[float]:
    return [number for number in numbers if number is not None]
