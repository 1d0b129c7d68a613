"""The registry of modes: identifier, plain name, what each needs, its thresholds with bounds.

Belongs here: every number of a mode that a manager may ask about. How the evidence is found stands in the module and
the query of the mode. Thresholds are starting values, common practice without a source unless a line says otherwise.
"""

from __future__ import annotations

from collections.abc import Mapping

from pumpledger.engine.parameter import Parameter, values_of
from pumpledger.verdicts import counters
from pumpledger.verdicts import value_modes as value
from pumpledger.verdicts.date_order import mode_b17
from pumpledger.verdicts.identity import mode_b3
from pumpledger.verdicts.mode import Mode
from pumpledger.verdicts.other_load import mode_b15
from pumpledger.verdicts.source_clock import mode_b5
from pumpledger.verdicts.whole_source import PARAMETERS as WHOLE_SOURCE

_ALL: tuple[Mode, ...] = (
    Mode(
        id="B3",
        name="Two pumps' logs swapped",
        needs=("speed", "a plan on record, or three days before the change", "power or an energy counter, to be sure"),
        find=mode_b3,
        parameters={
            "ratio": Parameter(3, 2, 10, "times", "more"),
            "misfit_rpm": Parameter(20, 10, 200, "rpm", "more"),
            # Jitter, and the quarter hours in which the speed changes, leave some rev/min on a healthy log.
            "noise_rpm": Parameter(6, 1, 50, "rpm", "more"),
            "cap_rpm": Parameter(400, 100, 2000, "rpm", "less"),
            "days_least": Parameter(3, 2, 7, "days of either log", "more"),
            "most_share": Parameter(0.3, 0.05, 1.0, "share of a source's pumps off their plans", "less"),
            "watts_apart": Parameter(0.1, 0.05, 0.5, "share of the watts", "more"),
            "watts_noise": Parameter(0.03, 0.005, 0.1, "share of the watts", "more"),
        },
    ),
    Mode(
        id="B4",
        name="Readings in the wrong unit",
        needs=("speed or power or a counter or flow",),
        find=value.mode_b4,
        parameters=WHOLE_SOURCE
        | {
            # A running pump draws tens of watts at the very least: a mean below 5 can only be kW.
            "least_running_w": Parameter(5, 1, 20, "W", "less"),
            "readings": Parameter(6, 1, 1000, "readings a day", "more"),
            # A meter that says the same whether the pump runs or rests measures nothing; that is no matter of units.
            "dead_ratio": Parameter(3, 1, 20, "ratio to the reading at rest", "more"),
            # Without logged speed only a change of power tells that a pump ran; standby alone changes less.
            "alone_ratio": Parameter(10, 3, 100, "greatest to least power of a day", "more"),
            "visit_ratio": Parameter(2.5, 1.2, 10, "ratio", "less"),
            "most_percent_rpm": Parameter(100, 61, 300, "rpm", "less"),
            "plan_ratio": Parameter(1.1, 1.01, 1.3, "ratio", "less"),
            "least_kwh": Parameter(0.2, 0.01, 10, "kWh a day", "more"),
            "least_h": Parameter(3, 0.5, 24, "h of running a day", "more"),
            "counter_ratio": Parameter(1.2, 1.02, 1.5, "ratio", "less"),
            "run_ratio": Parameter(1.1, 1.02, 1.5, "ratio", "less"),
            # A loaded filter passes less than at commissioning, a backwashed one hardly more.
            "flow_lo": Parameter(0.7, 0.4, 0.95, "share of the expected flow", "more"),
            "flow_hi": Parameter(1.15, 1.02, 1.5, "share of the expected flow", "less"),
            "day_share": Parameter(0.8, 0.5, 1.0, "share of the days since the first odd one", "more"),
        },
    ),
    Mode(
        id="B5",
        name="A whole source in the wrong time zone",
        needs=("speed", "plans on record", "the zone that the dialect declares"),
        find=mode_b5,
        parameters={
            "vote_share": Parameter(0.8, 0.5, 1.0, "share of the pumps that can tell", "more"),
            "vote_pumps": Parameter(5, 3, 1000, "pumps", "more"),
            "days_least": Parameter(3, 2, 7, "days of 24 h", "more"),
            "shift_min": Parameter(15, 15, 60, "min", "more"),
            "gain_rpm": Parameter(20, 5, 100, "rpm", "more"),
            "residual_rpm": Parameter(12, 5, 50, "rpm", "less"),
            "residual_share": Parameter(0.15, 0.05, 0.5, "share", "less"),
            "margin_rpm": Parameter(10, 2, 50, "rpm", "more"),
            "cap_rpm": Parameter(400, 100, 2000, "rpm", "less"),
            "differs_rpm": Parameter(30, 10, 100, "rpm", "more"),
        },
    ),
    Mode(
        id="B7",
        name="Logger clock jumps",
        needs=("a run-hour or energy counter",),
        find=counters.mode_b7,
        applied=True,
        parameters={
            "mismatch_min": Parameter(10, 2, 120, "min", "more"),
            "mismatch_share": Parameter(0.05, 0.01, 0.5, "share of the time between", "more"),
            "hole_steps": Parameter(5, 2, 100, "usual steps", "more"),
            "steady_hours": Parameter(8, 2, 100, "hours at one speed", "more"),
        },
    ),
    Mode(id="B8", name="Counter starts again", needs=("a counter",), find=counters.mode_b8, applied=True),
    Mode(id="B9", name="Counter reset or replaced", needs=("a counter",), find=counters.mode_b9, applied=True),
    Mode(
        id="B10",
        name="Meter clamp backwards",
        needs=("power",),
        find=value.mode_b10,
        parameters=WHOLE_SOURCE
        | {
            "readings": Parameter(24, 1, 10000, "readings while running", "more"),
            "days": Parameter(3, 2, 14, "days of them, where there are fewer", "more"),
            "share": Parameter(0.95, 0.8, 1.0, "share of the readings while running", "more"),
        },
    ),
    Mode(
        id="B11",
        name="Half or double reading",
        needs=("speed", "power", "visits, pumps of the same curve, or days of its own before"),
        find=value.mode_b11,
        parameters={
            "readings": Parameter(6, 1, 1000, "readings a day and speed", "more"),
            "kin": Parameter(5, 3, 100, "pumps of the curve at one speed", "more"),
            "log2_limit": Parameter(0.15, 0.05, 0.3, "octaves from half or double", "less"),
            "speeds": Parameter(3, 2, 10, "speeds", "more"),
            "share": Parameter(0.8, 0.5, 1.0, "share of the comparisons", "more"),
            "own_readings": Parameter(1, 1, 1000, "readings a day and speed, or at rest", "more"),
            "own_days": Parameter(3, 2, 7, "days of its own before, and since", "more"),
            # The few watts at rest are logged in whole watts; half way to half or double is enough.
            "rest_log2": Parameter(0.5, 0.3, 0.9, "octaves of the power at rest", "more"),
        },
    ),
    Mode(
        id="B12",
        name="Frozen value",
        needs=("speed", "power"),
        find=value.mode_b12,
        applied=True,
        parameters={
            "samples": Parameter(6, 3, 1000, "equal readings", "more"),
            # Speed and power that are read one or two samples apart are no frozen meter.
            "either_side": Parameter(3, 1, 100, "readings on either side of a change of speed", "more"),
            # Of the thousands of readings of a fortnight not one run is so long by itself.
            "chance": Parameter(1e-6, 1e-12, 1e-3, "probability", "less"),
            "rest_steps": Parameter(20, 10, 1000, "readings at rest", "more"),
        },
    ),
    Mode(
        id="B13",
        name="Straight-line fill",
        needs=("power or speed or flow",),
        find=value.mode_b13,
        applied=True,
        parameters={
            "differences": Parameter(6, 6, 60, "equal first differences", "more"),
            # A line that hardly rises does no harm, and slow drift of a quiet meter may look like one.
            "change_share": Parameter(0.02, 0.0, 0.5, "share of the greatest value", "more"),
            "tolerance": Parameter(1e-5, 0.0, 0.01, "share of one difference", "less"),
            "ramp_s": Parameter(120, 0, 3600, "s", "more"),
        },
    ),
    Mode(
        id="B15",
        name="Someone else on the circuit",
        needs=("speed", "power"),
        find=mode_b15,
        parameters={
            # The smallest step that is told from a pump's own changes (common practice, no source).
            "step_w": Parameter(50, 20, 500, "W", "more"),
            "step_share": Parameter(0.1, 0.02, 0.5, "share of the power without it", "more"),
            "same_rpm": Parameter(10, 2, 25, "rpm", "less"),
            "cycles": Parameter(3, 1, 100, "steps in two weeks", "more"),
            "days": Parameter(2, 1, 14, "days", "more"),
            "plain_share": Parameter(0.25, 0.05, 0.9, "share of the time without it", "more"),
            # Above the standby of controllers, below any running pump (common practice, no source).
            "alone_w": Parameter(30, 10, 100, "W", "more"),
        },
    ),
    Mode(
        id="B16",
        name="Sample interval changed",
        needs=("a log at fixed times",),
        find=value.mode_b16,
        applied=True,
        parameters=WHOLE_SOURCE
        | {
            "steps": Parameter(12, 4, 1000, "steps a day", "more"),
            "share": Parameter(0.5, 0.3, 1.0, "share of a day's steps", "more"),
            "ratio": Parameter(1.2, 1.1, 10, "ratio", "more"),
        },
    ),
    Mode(
        id="B17",
        name="Day and month change places",
        needs=("dates in the stamps",),
        find=mode_b17,
        parameters={"days_least": Parameter(2, 2, 7, "days that are a row only the other way", "more")},
    ),
)

MODES: dict[str, Mode] = {mode.id: mode for mode in _ALL}


def mode_parameters(mode: Mode, overrides: Mapping[str, Mapping[str, float]] | None = None) -> dict[str, float]:
    """Values of ``mode``'s parameters: defaults, replaced by ``overrides[mode.id]``.

    Raises:
        ValueError: a mode or parameter that does not exist, or a value outside its bounds.
    """
    unknown = sorted(set(overrides or {}) - set(MODES))
    if unknown:
        raise ValueError(f"no such mode: {unknown}")
    return values_of(f"mode {mode.id}", mode.parameters, (overrides or {}).get(mode.id, {}))
