"""Speed, power, flow and temperature: which unit a column is in, by its name and by what a pool pump can do.

Belongs here: quantities that go up and down. Counters are `counters.py`. Bounds are common practice of the trade, no
source, unless said otherwise.
"""

from __future__ import annotations

from collections.abc import Sequence

from pumpledger.proposal.judgement import Judgement, ask, by_name_and_values
from pumpledger.proposal.traces import Trace, all_values, extent, middle, shown, while_running
from pumpledger.proposal.words import Name

_SPEED_MOST_RPM = 3600.0
"""Synchronous speed of a two-pole motor at 60 Hz: no pool pump runs faster."""

_SLIPS_MOST, _SLIPS_SHARE = 4, 0.01
"""So many values, or such a share, may be slips of the log that tell nothing of its unit."""

_PERCENT_MOST = 110.0
_HERTZ_MOST = 70.0
_W_LEAST_RUNNING, _W_MOST_RUNNING = 20.0, 25_000.0
_KW_LEAST_RUNNING, _KW_MOST_RUNNING = 0.02, 6.0
_KW_MOST = 25.0
"""The largest circulation pumps of public pools; above it a column is in watts."""

_W_LEAST_AT_REST = 2.0
"""A drive at rest draws some watts; a column that never reaches this is hardly in watts."""

_M3H = {"m3/h": 1.0, "gpm": 0.2271247, "L/min": 0.06, "L/s": 3.6}
_M3H_MOST = 400.0
_AIR_MOST_C = 55.0
"""Warmer air was never measured in Celsius; in Fahrenheit it is an ordinary day."""


def judge_speed(name: Name, traces: Sequence[Trace]) -> Judgement:
    """Unit rpm, % or Hz. The last two need the full speed, which no log holds.

    Single bad rows must not decide: up to one in a hundred running values may lie beyond what a unit allows.
    """
    named, values = name.its_unit, all_values(traces)
    running = [value for value in values if value > 0]
    if not running:
        if named == "rpm":
            return Judgement(
                "speed", named, "likely", f"by the name alone: values {extent(values)}, nothing confirms it"
            )
        return ask("speed", f"values {extent(values)} tell no unit")
    if not _many_beyond(values, 0):
        told = f"{len(running)} of {len(values)} values are not 0: too few to tell a unit by"
        return Judgement("speed", named, "likely", told) if named == "rpm" else ask("speed", told)
    usual = sorted(values)[: len(values) - len(running) // 100]
    top = usual[-1]
    told = extent(usual) + (f" and {len(values) - len(usual)} higher" if max(values) > top else "")
    fast = sum(value > _PERCENT_MOST for value in running) / len(running)
    if top > _SPEED_MOST_RPM:
        return ask("speed", f"values {told} are beyond any pool pump in rpm")
    if fast > 0.9:
        if named in (None, "rpm"):
            return Judgement("speed", "rpm", "sure", f"name and values agree: {told}, too much for % or Hz")
        return ask("speed", f"the name says {named}, values {told} look like rpm")
    if top > _PERCENT_MOST:
        return ask("speed", f"values {told}: some are too low for rpm, some too high for % and Hz", ("unit",))
    if named == "rpm" or named is None or (named == "Hz" and top > _HERTZ_MOST):
        could = "% or Hz" if top <= _HERTZ_MOST else "%"
        said = f"the name says {named}; " if named else ""
        return ask("speed", f"{said}values {told} look like {could}", ("unit", "full_speed_rpm"))
    missing = ("full_speed_rpm",) if named == "%" else ("full_speed_rpm", "full_hz")
    what = "the speed at 100 %" if named == "%" else "the speed at full_hz"
    return Judgement("speed", named, "cannot tell", f"values {told}; full_speed_rpm is {what}", missing)


def _many_beyond(values: Sequence[float], limit: float) -> bool:
    """Whether more values are above ``limit`` than slips of a log would be."""
    return sum(value > limit for value in values) > max(_SLIPS_SHARE * len(values), _SLIPS_MOST)


def judge_power(name: Name, traces: Sequence[Trace]) -> Judgement:
    """Unit W or kW: a running pump draws 20 W or more, and none draws 25 kW."""
    values, named = [abs(value) for value in all_values(traces)], name.its_unit
    running = middle([abs(value) for value in while_running(traces)])
    if running is not None and running > 0:
        told = f"{shown(running)} in the middle while the pump runs"
        if _W_LEAST_RUNNING <= running <= _W_MOST_RUNNING:
            return by_name_and_values("power", named, "W", told)
        if _KW_LEAST_RUNNING <= running <= _KW_MOST_RUNNING:
            return by_name_and_values("power", named, "kW", told)
        return ask("power", f"{told}: neither a usual W nor a usual kW")
    told = f"values {extent(values)}"
    if _many_beyond(values, _KW_MOST):
        return by_name_and_values("power", named, "W", f"{told}, too much for kW")
    if named == "W" and max(values) < _W_LEAST_AT_REST:
        return ask("power", f"the name says W, but {told} look like kW")
    if named:
        return Judgement(
            "power", named, "likely", f"by the name alone: {told}, which a pump at rest has in either unit"
        )
    return ask("power", f"{told}: W of a pump at rest, or kW")


def judge_flow(name: Name, traces: Sequence[Trace]) -> Judgement:
    """Unit by the name, or asked: gallons and cubic metres have the same range."""
    values, named = all_values(traces), name.its_unit
    if named is None:
        return ask("flow", f"values {extent(values)}; m3/h, gpm, L/min and L/s cannot be told apart by values")
    if max(values) * _M3H[named] > _M3H_MOST:
        return ask("flow", f"the name says {named}, but {shown(max(values))} is more than a pool pump moves")
    return Judgement("flow", named, "likely", f"by the name alone: values {extent(values)}")


def judge_temperature(name: Name, traces: Sequence[Trace]) -> Judgement:
    """Unit C or F of the air; whose temperature it is comes from the name."""
    values, named = all_values(traces), name.its_unit
    told = f"values {extent(values)}"
    if "air" not in name.hints:
        return ask("air_temperature", f"{told}; keep this line only if it is the air at the pad", ("unit",))
    if _many_beyond(values, _AIR_MOST_C):
        return by_name_and_values("air_temperature", named, "F", f"{told}, too warm for C")
    if named:
        return Judgement("air_temperature", named, "likely", f"by the name alone: {told} can be C and F")
    return ask("air_temperature", f"{told} can be C and F")
