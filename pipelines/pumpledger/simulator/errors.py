"""Errors of meters, readings and records, drawn so that stated uncertainties can be put to the test.

Belongs here: how large they are, and what the register and the loggers say in place of the truth. What the truth is
stands in `physics.py` and `trace.py`. The half-widths are those that the pipeline states for a 90 % interval, written
down a second time, because nothing here may import the pipeline; a test compares the two.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

_HALF_WIDTHS_OF_SD = 1.645  # of a normal distribution: half of a 90 % interval, in standard deviations
_FURTHEST_SD = 2.5  # a grosser error would be noticed at the pad

METER = 0.02  # gain of an energy meter
# A flow read at commissioning: the flow meter, the same for all readings of a visit. How dirty the filter is comes on
# top, through `filter_age_days`.
FLOW_METER = 0.04
DESIGN_FLOW = 0.15  # flow as built against the design point
VISIT_POWER = 0.03  # clamp meter, the same for all readings of a visit
STATIC_HEAD, STATIC_HEAD_LEAST_M = 0.10, 0.2
BASELINE_POWER = {"measured": 0.03, "nameplate": 0.10, "owner record": 0.15, "stipulated": 0.10}
BASELINE_FLOW = 0.06
# Head of a pump against the published curve of its make, 0.05 in all: half of its variance is the curve's own.
CURVE_HEAD = 0.05
_FILTER_CYCLE_DAYS = 28.0


@dataclass(frozen=True, slots=True)
class PumpErrors:
    """What was drawn for one pump. Shares, except the static head [m] and the age of the filter [days]."""

    meter: float = 0.0
    flow_reading: float = 0.0
    design_flow: float = 0.0
    visit_power: float = 0.0
    static_head_m: float = 0.0
    baseline_power: float = 0.0
    baseline_flow: float = 0.0
    filter_age_days: float = 0.0


def draw_errors(seed: int, index: int, order: int, static_head_m: float, evidence: str | None) -> PumpErrors:
    """The errors of pump ``order`` of site ``index``, from a stream of their own: nothing else of the fleet moves."""
    rng = np.random.default_rng([seed, index, 900_000 + order])
    head_half_width = max(STATIC_HEAD * static_head_m, STATIC_HEAD_LEAST_M)
    drawn = [
        _normal(rng, half_width)
        for half_width in (
            METER,
            FLOW_METER,
            DESIGN_FLOW,
            VISIT_POWER,
            head_half_width,
            BASELINE_POWER.get(evidence or "", 0.0),
            BASELINE_FLOW,
        )
    ]
    if static_head_m == 0:  # a pad at the water's level is seen to be at the water's level
        drawn[4] = 0.0
    return PumpErrors(*drawn, float(rng.uniform(0.0, _FILTER_CYCLE_DAYS)))


def curve_head_factor(seed: int, number: int) -> float:
    """Head of the published curve of make ``number``, over what its pumps give on the mean."""
    rng = np.random.default_rng([seed, 710_000 + number])
    return 1.0 + _normal(rng, CURVE_HEAD / np.sqrt(2.0))


def head_spread_of_a_make() -> float:
    """Standard deviation of single pumps' heads about their make's mean, share."""
    return float(CURVE_HEAD / np.sqrt(2.0) / _HALF_WIDTHS_OF_SD)


def _normal(rng: np.random.Generator, half_width: float) -> float:
    shown = float(np.clip(rng.standard_normal(), -_FURTHEST_SD, _FURTHEST_SD))
    return shown * half_width / _HALF_WIDTHS_OF_SD
