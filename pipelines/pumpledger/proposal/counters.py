"""Energy and run time: counter or interval, and which unit, by how they rise against time, speed and power.

Belongs here: what is differenced or summed. Gauges are `gauges.py`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from pumpledger.proposal.claim import Sureness
from pumpledger.proposal.judgement import Judgement, ask, by_name_and_values, weaker
from pumpledger.proposal.traces import Course, Trace, all_values, course_of, extent, shown
from pumpledger.proposal.words import Name

_ENERGY = {"kWh": 1.0, "Wh": 1000.0, "MWh": 0.001}
"""Unit -> how many make 1 kWh."""

_RUN = {"h": 1.0, "min": 60.0, "s": 3600.0}
"""Unit -> how many make an hour."""

_KW_LEAST, _KW_MOST = 0.015, 8.0
"""Mean power of a running pool pump [kW] (common practice, no source); 1000 apart from the next unit either way."""

_RISES_SURE = 20
_RISES_SOME = 10


@dataclass(frozen=True, slots=True)
class _Kind:
    """Whether a column counts up over its life, or starts anew each row; ``None``: cannot be told."""

    counter: bool | None
    sureness: Sureness
    evidence: str


def kind_of_column(course: Course) -> _Kind:
    """Counter or not, from rises and falls. A counter that is reset now and then still counts."""
    told = f"{course.rises} rises and {course.falls} falls in {course.steps} steps"
    if course.rises >= _RISES_SURE and course.falls == 0:
        return _Kind(True, "sure", f"never falls: {told}")
    if course.rises >= _RISES_SOME and course.falls == course.resets and 20 * course.falls <= course.rises:
        return _Kind(True, "likely", f"counts up and falls only to nearly nothing: {told}")
    if course.rises >= 3 and course.falls - course.resets >= 5 and 5 * (course.falls - course.resets) > course.rises:
        return _Kind(False, "sure", f"goes up and down: {told}")
    return _Kind(None, "cannot tell", told)


def judge_energy(name: Name, traces: Sequence[Trace], interval_s: int | None) -> Judgement:
    """``energy`` of an interval or ``energy_total``, in Wh, kWh or MWh."""
    course, values = course_of(traces), all_values(traces)
    kind = kind_of_column(course)
    counter = "counter" in name.hints
    if kind.counter is None and not counter:
        return ask("energy", f"{kind.evidence}; energy of the interval, or energy_total of a counter", ("unit",))
    if kind.counter is False and counter:
        return ask("energy", f"the name says counter, but it {kind.evidence}", ("unit",))
    if kind.counter is None:
        kind = replace(kind, counter=True, sureness="likely", evidence=f"a counter by its name: {kind.evidence}")
    if kind.counter:
        judged = _unit("energy_total", name, course.rise, course, len(set(values)))
    elif interval_s is None:
        return ask("energy", f"{kind.evidence}; but the length of the interval is not known")
    else:
        judged = _interval_unit(name, traces, interval_s)
    if judged.unit is None:
        return judged
    return replace(
        judged, sureness=weaker(judged.sureness, kind.sureness), evidence=f"{kind.evidence}; {judged.evidence}"
    )


def _unit(quantity: str, name: Name, rise: float, course: Course, levels: int) -> Judgement:
    """Unit of a rise over the hours of ``course``: against the power column, the hours run, or the hours alone."""
    named = name.its_unit
    if levels < _RISES_SOME or rise <= 0:
        return by_name_and_values(quantity, named, None, "it rises too little to tell")
    if course.energy_kwh and course.energy_kwh > 0.02:
        ratio = rise / course.energy_kwh
        fits = [unit for unit, factor in _ENERGY.items() if 0.7 <= ratio / factor <= 1.4]
        told = f"rises {shown(ratio)} for each kWh of the power column"
        return by_name_and_values(quantity, named, fits[0], told) if fits else ask(quantity, told)
    if course.run_hours and course.run_hours > 0.05 * course.hours:
        rate, basis = rise / course.run_hours, "an hour run"
        fits = [unit for unit, factor in _ENERGY.items() if _KW_LEAST <= rate / factor <= _KW_MOST]
        told = f"rises {shown(rate)} {basis}"
        return by_name_and_values(quantity, named, fits[0], told) if fits else ask(quantity, told)
    rate = rise / course.hours if course.hours else 0.0
    told = f"rises {shown(rate)} an hour"
    fits = [unit for unit, factor in _ENERGY.items() if 0.02 <= rate / factor <= 3.0]
    judged = by_name_and_values(quantity, named, fits[0] if fits else None, told)
    return replace(judged, sureness=weaker(judged.sureness, "likely"))  # mostly at rest, a kWh counter creeps like this


def _interval_unit(name: Name, traces: Sequence[Trace], interval_s: int) -> Judgement:
    """Unit of energies of intervals: their sum against the power column, the hours run, or the hours alone."""
    hours = interval_s / 3600
    rows = [
        (value, running, power)
        for trace in traces
        for value, running, power in zip(trace.values, trace.running, trace.power_w, strict=True)
    ]
    known_run = all(running is not None for _, running, _ in rows)
    known_power = all(power is not None for _, _, power in rows)
    course = Course(
        len(rows),
        len(rows),
        0,
        0,
        sum(value for value, *_ in rows),
        hours * len(rows),
        hours * sum(bool(running) for _, running, _ in rows) if known_run else None,
        hours * sum(power or 0.0 for *_, power in rows) / 1000 if known_power else None,
    )
    return _unit("energy", name, course.rise, course, len({value for value, *_ in rows}))


def judge_run(name: Name, traces: Sequence[Trace]) -> Judgement:
    """``run_total`` in h, min or s: a run-hour counter rises one hour an hour run, and never faster."""
    course, values = course_of(traces), all_values(traces)
    kind, named = kind_of_column(course), name.its_unit
    if kind.counter is False:
        return ask("run_total", f"it {kind.evidence}, so it is no counter; a dialect has no other run time")
    if course.rise <= 0 or len(set(values)) < _RISES_SOME:
        told = f"values {extent(values)} rise too little to tell"
        return by_name_and_values("run_total", named, None, told)
    if course.run_hours and course.run_hours > 0.05 * course.hours:
        rate, basis = course.rise / course.run_hours, "an hour run"
        fits = [unit for unit, factor in _RUN.items() if 0.8 <= rate / factor <= 1.25]
    elif course.hours:
        rate, basis = course.rise / course.hours, "an hour"
        fits = [unit for unit, factor in _RUN.items() if 0.02 < rate / factor <= 1.02]
        slow = named is not None and rate / _RUN[named] <= 1.02
        fits = fits if not slow or named in fits else []  # seldom run: possible, and nothing confirms it
        if slow and not fits:
            return Judgement("run_total", named, "likely", f"by the name alone: rises {shown(rate)} an hour")
    else:
        return by_name_and_values("run_total", named, None, f"values {extent(values)}")
    told = f"rises {shown(rate)} {basis}"
    if not fits:
        return ask("run_total", f"{told}: neither hours, minutes nor seconds of running")
    judged = by_name_and_values("run_total", named, fits[0], told)
    if judged.unit is None or kind.counter is None:
        return replace(judged, sureness=weaker(judged.sureness, "likely"))
    return replace(
        judged, sureness=weaker(judged.sureness, kind.sureness), evidence=f"{kind.evidence}; {judged.evidence}"
    )
