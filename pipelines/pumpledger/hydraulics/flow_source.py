"""Which flow source of a pump wins, and the band that it gives. Best first:

1. commissioned: flow and speed read at commissioning, on the pump curve; without a curve, only between speeds read;
2. visit reading: one flow read at a later check, on the pump curve;
3. gauges: one reading of return pressure and suction vacuum, solved on the pump curve;
4. curve: design point of the register on the pump curve;
5. pipe default: pump curve on a system curve of the trade by pipe size, an assumption;
6. none, and then no number.

A flow meter in the log goes before all of them, span by span, in ``sql/accounting/span_estimate.sql``.
Belongs here: the choice, its words, and what is said of a reading that cannot be used.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from pumpledger.hydraulics.flow_band import flow_band
from pumpledger.hydraulics.gauges import flow_at_head_m3h, head_from_gauges_m
from pumpledger.hydraulics.monte_carlo import band_by_friction, band_by_gauges, band_by_readings
from pumpledger.hydraulics.operating_point import flows
from pumpledger.hydraulics.pump import PumpCurve
from pumpledger.hydraulics.system import SystemCurve, friction_from_design, friction_from_reading
from pumpledger.hydraulics.uncertainty import (
    BETWEEN_SPEEDS,
    COMMISSIONED_FLOW,
    CURVE_FLOW,
    GAUGE_HEAD_M,
    PIPE_FRICTION_FACTOR,
    VISIT_FLOW,
    Sides,
)
from pumpledger.problems import CurveError, Problem

Row = Mapping[str, object]
Band = tuple[np.ndarray, np.ndarray, np.ndarray]

FIRST_ORDER, MONTE_CARLO, NO_METHOD = "first-order", "Monte Carlo", "none"

# Trade system curves H [ft] = k Q2 [gpm] as friction [m/(m3/h)2], by nominal pipe size: A, B and C of the California
# test method [coefficients from memory, high confidence].
_FT_GPM2 = 0.3048 / 0.2271247**2
PIPE_FRICTION = {"1.5 in": 0.050 * _FT_GPM2, "2 in": 0.0167 * _FT_GPM2, "2.5 in": 0.0082 * _FT_GPM2}


@dataclass(frozen=True, slots=True)
class FlowSource:
    """What is known of a pump's flow.

    ``source`` and ``basis`` in words; ``pump`` and ``static_head_m`` where a curve is used; of ``readings`` (speed
    [rev/min], flow [m3/h]), ``gauge_head_m`` and ``friction`` what the source has.
    """

    source: str
    basis: str
    pump: PumpCurve | None
    static_head_m: float = 0.0
    readings: tuple[tuple[float, float], ...] = ()
    flow_off: Sides = Sides(0.0, 0.0)
    gauge_head_m: float | None = None
    friction: float | None = None

    @property
    def method(self) -> str:
        """How the band is made: Monte Carlo where first order would miss a corner or a skew."""
        if self.pump is None:
            return FIRST_ORDER
        wide = self.gauge_head_m is not None or self.friction is not None
        return MONTE_CARLO if wide or self.static_head_m > 0 else FIRST_ORDER

    @property
    def system(self) -> SystemCurve | None:
        """The system curve of the middle; ``None`` where no pump curve is known."""
        if self.pump is None:
            return None
        if self.friction is not None:
            return SystemCurve(self.static_head_m, self.friction)
        known = [friction_from_reading(self.pump, *reading, self.static_head_m) for reading in self.readings]
        return SystemCurve(self.static_head_m, float(np.mean(known)))

    def band(self, speeds_rpm: np.ndarray) -> Band:
        """Low, mid and high flow at each speed [m3/h], about a 90 % interval; NaN where nothing is known."""
        if self.pump is None:
            return _between(self.readings, speeds_rpm)
        if self.friction is not None:
            return band_by_friction(
                self.pump, SystemCurve(self.static_head_m, self.friction), PIPE_FRICTION_FACTOR, speeds_rpm
            )
        if self.gauge_head_m is not None:
            reading = (*self.readings[0], self.gauge_head_m)
            return band_by_gauges(self.pump, self.static_head_m, reading, GAUGE_HEAD_M, speeds_rpm)
        way = flow_band if self.method == FIRST_ORDER else band_by_readings
        return way(self.pump, self.static_head_m, self.readings, self.flow_off, speeds_rpm)


def choose_flow(
    pump: Row,
    curves: Mapping[str, PumpCurve],
    faults: Mapping[str, str],
    visits: list[dict[str, object]],
    problems: list[Problem],
) -> FlowSource | None:
    """The best flow source of one pump; ``None`` where the register names none. Readings that cannot be used are added
    to ``problems``.

    Args:
        pump: row of the register's ``pump``.
        curves: usable pump curves by name.
        faults: by name, what is wrong with the others.
        visits: the pump's rows of ``visit``.
        problems: list to add to.

    Raises:
        CurveError: sources are named, and none of them can be used.
    """
    name = pump["curve"]
    if not name:
        return _without_curve(pump, visits, problems)
    if name in faults:
        raise CurveError(f"curve {name!r}: {faults[str(name)]}")
    if name not in curves:
        raise CurveError(f"curve {name!r} is not in pump_curves.csv")
    curve, static = curves[str(name)], float(pump["static_head_m"] or 0.0)  # type: ignore[arg-type]
    if static >= curve.shutoff_head_m:
        raise CurveError(f"the static head of {static:.2f} m reaches the shut-off head of {curve.shutoff_head_m:.2f} m")
    return (
        _commissioned(pump, curve, static, visits, problems)
        or _visit_reading(pump, curve, static, visits, problems)
        or _gauges(pump, curve, static, visits, problems)
        or _design(pump, curve, static)
        or _pipe(pump, curve, static)
    )


def _commissioned(
    pump: Row, curve: PumpCurve, static: float, visits: list[dict[str, object]], problems: list[Problem]
) -> FlowSource | None:
    readings = []
    for visit in visits:
        if visit["work"] == "commissioning" and visit["flow_m3h"] is not None and visit["speed_rpm"] is not None:
            reading = (float(visit["speed_rpm"]), float(visit["flow_m3h"]))  # type: ignore[arg-type]
            try:
                friction_from_reading(curve, *reading, static)
            except CurveError as error:
                problems.append(_unused("commissioned_flow_refused", pump, visit, "flow", str(error)))
            else:
                readings.append(reading)
    if not readings:
        return None
    many = f"{len(readings)} commissioned points" if len(readings) > 1 else "one commissioned point"
    return FlowSource(
        "commissioned", f"{many} on the pump curve", curve, static, tuple(sorted(readings)), COMMISSIONED_FLOW
    )


def _visit_reading(
    pump: Row, curve: PumpCurve, static: float, visits: list[dict[str, object]], problems: list[Problem]
) -> FlowSource | None:
    """The newest flow read at a check that the curve can carry."""
    checks = [v for v in visits if v["work"] == "check" and v["flow_m3h"] is not None and v["speed_rpm"] is not None]
    for visit in sorted(checks, key=lambda row: (str(row["day_local"]), row["speed_rpm"]), reverse=True):
        reading = (float(visit["speed_rpm"]), float(visit["flow_m3h"]))  # type: ignore[arg-type]
        try:
            friction_from_reading(curve, *reading, static)
        except CurveError as error:
            problems.append(_unused("visit_flow_refused", pump, visit, "flow", str(error)))
            continue
        basis = f"one flow read on {visit['day_local']} on the pump curve; the filter's state then is not known"
        return FlowSource("visit reading", basis, curve, static, (reading,), VISIT_FLOW)
    return None


def _gauges(
    pump: Row, curve: PumpCurve, static: float, visits: list[dict[str, object]], problems: list[Problem]
) -> FlowSource | None:
    """The newest pair of gauge readings that the curve can carry."""
    read = [v for v in visits if v.get("return_pressure_kpa") is not None or v.get("suction_vacuum_kpa") is not None]
    for visit in sorted(read, key=lambda row: (str(row["day_local"]), row["speed_rpm"] or 0), reverse=True):
        missing = [
            words
            for column, words in (
                ("speed_rpm", "the speed"),
                ("return_pressure_kpa", "the return pressure"),
                ("suction_vacuum_kpa", "the suction vacuum"),
            )
            if visit.get(column) is None
        ]
        try:
            if missing:
                raise CurveError(f"{' and '.join(missing)} is missing, so that the total head is not known")
            speed = float(visit["speed_rpm"])  # type: ignore[arg-type]
            pressure, vacuum = visit["return_pressure_kpa"], visit["suction_vacuum_kpa"]
            head = head_from_gauges_m(float(pressure), float(vacuum))  # type: ignore[arg-type]
            if head <= static:
                raise CurveError(f"the gauges show {head:.2f} m, not above the static head of {static:.2f} m")
            flow = flow_at_head_m3h(curve, speed, head)
        except CurveError as error:
            problems.append(_unused("gauge_reading_refused", pump, visit, "gauges", str(error)))
            continue
        if flow > 0:
            basis = f"gauges read on {visit['day_local']}, {head:.1f} m at {speed:.0f} rpm, solved on the pump curve"
            return FlowSource("gauges", basis, curve, static, ((speed, flow),), gauge_head_m=head)
    return None


def _design(pump: Row, curve: PumpCurve, static: float) -> FlowSource | None:
    if pump["design_flow_m3h"] is None or pump["design_head_m"] is None:
        return None
    design_flow, design_head = float(pump["design_flow_m3h"]), float(pump["design_head_m"])  # type: ignore[arg-type]
    friction = friction_from_design(design_flow, design_head, static)
    at_rated = _at_rated(curve, static, friction, "the system through the design point")
    basis = "design point of the register on the pump curve; the pipes as built may differ"
    return FlowSource("curve", basis, curve, static, ((curve.rated_speed_rpm, at_rated),), CURVE_FLOW)


def _pipe(pump: Row, curve: PumpCurve, static: float) -> FlowSource | None:
    size = pump.get("pipe_size")
    if not size:
        return None
    friction = PIPE_FRICTION[str(size)]
    _at_rated(curve, static, friction, f"the default system of {size} pipe")
    basis = (
        f"assumed: the trade's system curve for {size} plumbing, coefficient from memory, friction within a factor of "
        f"{PIPE_FRICTION_FACTOR:g}; read flow or both gauges once to replace it"
    )
    return FlowSource("pipe default", basis, curve, static, friction=friction)


def _at_rated(curve: PumpCurve, static: float, friction: float, what: str) -> float:
    flow = float(flows(curve, SystemCurve(static, friction), np.array([curve.rated_speed_rpm]))[0])
    if np.isnan(flow):
        raise CurveError(f"{what} passes the last point of the pump curve")
    return flow


def _without_curve(pump: Row, visits: list[dict[str, object]], problems: list[Problem]) -> FlowSource | None:
    """Commissioned points alone: a flow between the lowest and the highest speed read, nothing outside."""
    found: dict[float, list[float]] = {}
    for visit in visits:
        if visit["work"] == "commissioning" and visit["flow_m3h"] is not None and visit["speed_rpm"] is not None:
            found.setdefault(float(visit["speed_rpm"]), []).append(float(visit["flow_m3h"]))  # type: ignore[arg-type]
    readings = tuple((speed, float(np.mean(read))) for speed, read in sorted(found.items()))
    if len(readings) < 2:
        return None
    if any(later[1] <= earlier[1] for earlier, later in zip(readings, readings[1:], strict=False)):
        raise CurveError(
            "the commissioned flows do not rise with speed, and there is no pump curve to hold them against"
        )
    basis = (
        f"commissioned points at {len(readings)} speeds, no pump curve: nothing is known outside "
        f"{readings[0][0]:.0f} to {readings[-1][0]:.0f} rpm"
    )
    return FlowSource("commissioned", basis, None, readings=readings, flow_off=COMMISSIONED_FLOW)


def _between(readings: tuple[tuple[float, float], ...], speeds_rpm: np.ndarray) -> Band:
    """Straight lines between points; midway between two the band is wider, for the true line may bow."""
    known, values = (np.array(column) for column in zip(*readings, strict=True))
    mid = np.interp(speeds_rpm, known, values, left=np.nan, right=np.nan)
    left = np.clip(np.searchsorted(known, speeds_rpm, side="right") - 1, 0, known.size - 2)
    share = (speeds_rpm - known[left]) / (known[left + 1] - known[left])
    bow = BETWEEN_SPEEDS * 4 * share * (1 - share)
    low, high = mid * (1 - np.hypot(COMMISSIONED_FLOW.below, bow)), mid * (1 + np.hypot(COMMISSIONED_FLOW.above, bow))
    still = np.asarray(speeds_rpm) == 0
    return tuple(np.where(still, 0.0, values) for values in (low, mid, high))  # type: ignore[return-value]


def _unused(name: str, pump: Row, visit: Row, what: str, why: str) -> Problem:
    return Problem(
        name,
        f"pump {pump['pump_id']}, {what} read on {visit['day_local']}: {why}; the reading is not used",
        "warns",
        file="visits.csv",
        site_id=str(pump["site_id"]),
    )
