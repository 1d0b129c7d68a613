"""Which source of wire power of a pump wins. Best first: fitted to metered readings; fitted to powers read at visits;
through the two points of a nameplate; hydraulic power over a stated efficiency; none, and then no number.

Belongs here: the choice, its words, and what is said where points carry no curve. The fit stands in `power.py`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from pumpledger.hydraulics.flow_source import FlowSource
from pumpledger.hydraulics.operating_point import water_power_w
from pumpledger.hydraulics.power import PowerFit, fit_power
from pumpledger.hydraulics.uncertainty import (
    NAMEPLATE_POWER,
    STATED_EFFICIENCY_ABOVE,
    STATED_EFFICIENCY_BELOW,
    VISIT_POWER,
)
from pumpledger.problems import Problem

Row = Mapping[str, object]
Band = tuple[np.ndarray, np.ndarray, np.ndarray]

# An efficiency is stated at full load; below this share of the rated speed load is under half and says little of it.
LEAST_SPEED_SHARE = 0.75
_DISTINCT_RPM = 100.0


@dataclass(frozen=True, slots=True)
class PowerSource:
    """``source`` and ``basis`` in words; ``fit`` where points carry a curve; else ``efficiency`` of ``flow``."""

    source: str
    basis: str
    fit: PowerFit | None = None
    efficiency: float | None = None
    flow: FlowSource | None = None

    def band(self, speeds_rpm: np.ndarray) -> Band:
        """Low, mid and high wire power at each speed [W]; NaN where nothing is known."""
        if self.fit is not None:
            return self.fit.power_w(speeds_rpm)
        if self.efficiency is not None and self.flow is not None:
            return efficiency_band(self.flow, self.efficiency, speeds_rpm)
        nothing = np.full(np.shape(speeds_rpm), np.nan)
        return nothing, nothing, nothing


def efficiency_band(flow: FlowSource, efficiency: float, speeds_rpm: np.ndarray) -> Band:
    """Hydraulic power over wire-to-water efficiency, from three quarters of the rated speed up [W].

    The ends take the hydraulic power at the low and the high flow, and the efficiency's own half-widths in quadrature.
    """
    system, pump = flow.system, flow.pump
    nothing = np.full(np.shape(speeds_rpm), np.nan)
    if system is None or pump is None:
        return nothing, nothing, nothing
    speeds = np.asarray(speeds_rpm, float)
    ratio = speeds / pump.rated_speed_rpm
    inside = (ratio >= LEAST_SPEED_SHARE) & (ratio <= 1)
    safe = np.where(inside, ratio, 1.0)
    squares, heads = pump.extended
    water = [
        water_power_w(values, np.maximum(safe**2 * np.interp((values / safe) ** 2, squares, heads), 0.0))
        for values in flow.band(speeds)
    ]
    mid = np.where(inside & (water[1] > 0), water[1] / efficiency, np.nan)
    low_share = (water[1] - np.minimum.reduce(water)) / np.where(water[1] > 0, water[1], 1.0)
    high_share = (np.maximum.reduce(water) - water[1]) / np.where(water[1] > 0, water[1], 1.0)
    low = mid * np.maximum(1 - np.hypot(low_share, STATED_EFFICIENCY_BELOW), 0.0)
    return low, mid, mid * (1 + np.hypot(high_share, STATED_EFFICIENCY_ABOVE))


def choose_power(
    pump: Row,
    metered: list[dict[str, object]],
    visits: list[dict[str, object]],
    flow: FlowSource | None,
    meter_accuracy: float,
    problems: list[Problem],
) -> PowerSource:
    """The best source of one pump's wire power.

    Args:
        pump: row of the register's ``pump``.
        metered: the pump's rows of metered medians: speed_rpm, power_w, samples.
        visits: the pump's rows of ``visit``.
        flow: its flow source, for a stated efficiency.
        meter_accuracy: of the meter, share.
        problems: list to add to.
    """
    read = [visit for visit in visits if visit["power_w"] is not None and visit["speed_rpm"] is not None]
    if metered:
        fit = _fitted(pump, metered, meter_accuracy, "metered power", problems)
        if fit is not None:
            return PowerSource("fitted to readings", fit.basis, fit)
    elif read:
        fit = _fitted(pump, read, VISIT_POWER, "power read at visits", problems)
        if fit is not None:
            return PowerSource("fitted to visit points", fit.basis, fit)
    # Points that contradict each other are no reason to fall back on paper: the contradiction stands until it is cured.
    points = metered or read
    if points and np.ptp(np.array([row["speed_rpm"] for row in points], float)) >= _DISTINCT_RPM:
        return PowerSource("none", "the points that were read lie on no plausible curve")
    return _nameplate(pump, problems) or _stated(pump, flow) or PowerSource("none", _missing(points, flow))


def _fitted(
    pump: Row, given: list[dict[str, object]], half_width: float, what: str, problems: list[Problem]
) -> PowerFit | None:
    speeds, powers = (np.array([row[name] for row in given], float) for name in ("speed_rpm", "power_w"))
    samples = np.array([row.get("samples") or 1 for row in given], float)
    for speed, power in zip(speeds, powers, strict=True):
        if power < 0:
            problems.append(
                _problem(
                    "negative_power_refused",
                    pump,
                    f"{what} at {speed:.0f} rpm is {power:.0f} W, below 0, and is not used; "
                    "check the direction of the clamp",
                )
            )
    fit = fit_power(speeds, powers, samples, half_width)
    # One speed only is the common case of a plan with one period, and nothing is wrong with it.
    if fit is None and np.ptp(speeds) >= _DISTINCT_RPM:
        problems.append(
            _problem(
                "power_curve_refused",
                pump,
                "wire power against speed lies on no plausible curve, so power at speeds that were not metered is "
                "unknown; check the power channel",
            )
        )
    return fit


def _nameplate(pump: Row, problems: list[Problem]) -> PowerSource | None:
    names = ("full_speed_rpm", "nameplate_power_w", "nameplate_low_speed_rpm", "nameplate_low_power_w")
    given = [pump.get(name) for name in names]
    if any(value is None for value in given):
        return None
    full_rpm, full_w, low_rpm, low_w = (float(value) for value in given)  # type: ignore[arg-type]
    fit = fit_power(np.array([low_rpm, full_rpm]), np.array([low_w, full_w]), np.array([20.0, 20.0]), NAMEPLATE_POWER)
    if fit is None or not low_rpm < full_rpm:
        problems.append(
            _problem(
                "nameplate_power_refused",
                pump,
                f"nameplate of {low_w:.0f} W at {low_rpm:.0f} rpm and {full_w:.0f} W at {full_rpm:.0f} rpm lies on no "
                "plausible curve and is not used",
            )
        )
        return None
    return PowerSource("nameplate points", "two points of the nameplate, which was printed for other pipes", fit)


def _stated(pump: Row, flow: FlowSource | None) -> PowerSource | None:
    efficiency = pump.get("wire_to_water")
    if efficiency is None or flow is None or flow.pump is None:
        return None
    share = float(efficiency)  # type: ignore[arg-type]
    basis = (
        f"hydraulic power over the stated efficiency of {share:.0%}, from {LEAST_SPEED_SHARE:.0%} of the curve's speed "
        "up; efficiency falls at light load, so nothing is given below"
    )
    return PowerSource("stated efficiency", basis, efficiency=share, flow=flow)


def _missing(points: list[dict[str, object]], flow: FlowSource | None) -> str:
    if points:
        return "power is known at one speed only; a second speed, at a visit or in the log, would give a curve"
    lack = "" if flow is not None else ", and no flow for a stated efficiency to work on"
    return f"no power was metered or read, and no two nameplate points are given{lack}"


def _problem(name: str, pump: Row, words: str) -> Problem:
    return Problem(name, f"pump {pump['pump_id']}: {words}", "warns", site_id=str(pump["site_id"]))
