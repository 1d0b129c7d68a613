"""The speed grid: flow and wire power of every pump at every 25 rpm, each low, mid and high with its source.

Belongs here: which source wins, and what is said where a curve cannot be used. The physics stands beside it.
Best flow source first: flow read at commissioning on the pump curve; design point on the pump curve; none, and then no
number.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import polars as pl

from pumpledger.engine.tables import SPEED_GRID
from pumpledger.hydraulics.flow_band import flow_band
from pumpledger.hydraulics.operating_point import flows
from pumpledger.hydraulics.power import PowerFit, fit_power
from pumpledger.hydraulics.pump import PumpCurve, points
from pumpledger.hydraulics.system import SystemCurve, friction_from_design, friction_from_reading
from pumpledger.hydraulics.uncertainty import COMMISSIONED_FLOW, CURVE_FLOW, VISIT_POWER
from pumpledger.problems import CurveError, Problem

if TYPE_CHECKING:
    from pumpledger.register.load import Register

GRID_RPM = 25

_Rows = dict[str, list[dict[str, object]]]


@dataclass(frozen=True, slots=True)
class SpeedGrid:
    """``grid`` conforms to ``tables.SPEED_GRID``; ``problems`` says why a pump lacks its flow or its power curve."""

    grid: pl.DataFrame
    problems: list[Problem]


@dataclass(frozen=True, slots=True)
class _Flow:
    """Everything ``flow_band`` needs, and where it came from."""

    pump: PumpCurve
    static_head_m: float
    readings: list[tuple[float, float]]
    half_width: float
    source: str


def build_speed_grid(register: Register, power_points: pl.DataFrame) -> SpeedGrid:
    """Flow and wire power of every pump of the register from 0 to its full speed, in steps of 25 rpm.

    At speed 0 the flow is exactly 0 and the power unknown: standby is not fitted. Where a pump has no flow source its
    flows are null, at 0 too. Flow above the speed its curve was drawn at is null, up to the one grid step that reaches
    full speed.

    Args:
        register: ``pump``, ``pump_curve``, ``visit`` and ``meter_accuracy`` are read.
        power_points: pump_id, speed_rpm [rev/min], power_w [W], samples: metered medians by speed, as
            ``accounting.power_points`` gives them. A pump without any is fitted to the powers read at its visits.
    """
    problems: list[Problem] = []
    curves, faults = _curves(register.pump_curve)
    metered, visits = _by_pump(power_points), _by_pump(register.visit)
    columns: dict[str, list[np.ndarray]] = {name: [] for name in _NUMBERS}
    labels: dict[str, list[str]] = {"pump_id": [], "flow_source": [], "power_source": []}
    lengths: list[int] = []

    for pump in register.pump.sort("pump_id").iter_rows(named=True):
        pump_id = str(pump["pump_id"])
        speeds = np.arange(0, np.ceil(pump["full_speed_rpm"] / GRID_RPM) + 1) * GRID_RPM
        try:
            flow = _flow_source(pump, curves, faults, visits.get(pump_id, []), problems)
        except CurveError as error:
            problems.append(_no_flow(pump, str(error)))
            flow = None
        fit, power_source = _power_source(
            pump, metered.get(pump_id, []), visits.get(pump_id, []), register.meter_accuracy, problems
        )
        nothing = np.full(speeds.size, np.nan)
        bands = (_grid_flow(flow, speeds) if flow else (nothing,) * 3) + (
            fit.power_w(speeds) if fit else (nothing,) * 3
        )
        for name, values in zip(_NUMBERS, (speeds, *bands), strict=True):
            columns[name].append(values)
        for name, label in zip(labels, (pump_id, flow.source if flow else "none", power_source), strict=True):
            labels[name].append(label)
        lengths.append(speeds.size)

    numbers = {name: np.concatenate(parts) if parts else np.empty(0) for name, parts in columns.items()}
    texts = {name: np.repeat(np.array(values, dtype=object), lengths) for name, values in labels.items()}
    rows = pl.DataFrame(
        {name: pl.Series(name, values, dtype=pl.Float64) for name, values in numbers.items()}
        | {name: pl.Series(name, values.tolist(), dtype=pl.String) for name, values in texts.items()}
    ).with_columns(pl.col(_NUMBERS).fill_nan(None))
    return SpeedGrid(SPEED_GRID.conform(rows), problems)


_NUMBERS = (
    "speed_rpm",
    "flow_m3h_lo",
    "flow_m3h_mid",
    "flow_m3h_hi",
    "power_w_lo",
    "power_w_mid",
    "power_w_hi",
)


def _by_pump(rows: pl.DataFrame) -> _Rows:
    found: _Rows = {}
    for row in rows.filter(pl.col("pump_id").is_not_null()).iter_rows(named=True):
        found.setdefault(str(row["pump_id"]), []).append(row)
    return found


def _curves(rows: pl.DataFrame) -> tuple[dict[str, PumpCurve], dict[str, str]]:
    """Curves by name, and by name what is wrong with the others. A curve drawn at several speeds is not one curve."""
    good: dict[str, PumpCurve] = {}
    faults: dict[str, str] = {}
    for (name,), part in rows.sort("curve", "speed_rpm", "flow_m3h").group_by("curve", maintain_order=True):
        speeds = part["speed_rpm"].unique()
        try:
            if len(speeds) != 1:
                raise CurveError("its points belong to several speeds; give each speed a curve of its own")
            good[str(name)] = points(part["flow_m3h"].to_list(), part["head_m"].to_list(), float(speeds[0]))
        except CurveError as error:
            faults[str(name)] = str(error)
    return good, faults


def _flow_source(
    pump: dict[str, object],
    curves: dict[str, PumpCurve],
    faults: dict[str, str],
    visits: list[dict[str, object]],
    problems: list[Problem],
) -> _Flow | None:
    """The best flow source of one pump; ``None`` where the register names none.

    Raises:
        CurveError: sources are named, and none of them can be used.
    """
    name = pump["curve"]
    if not name:
        return None
    if name in faults:
        raise CurveError(f"curve {name!r}: {faults[str(name)]}")
    if name not in curves:
        raise CurveError(f"curve {name!r} is not in pump_curves.csv")
    curve, static = curves[str(name)], float(pump["static_head_m"] or 0.0)  # type: ignore[arg-type]
    if static >= curve.shutoff_head_m:
        raise CurveError(f"the static head of {static:.2f} m reaches the shut-off head of {curve.shutoff_head_m:.2f} m")

    readings = []
    for visit in visits:
        if visit["work"] == "commissioning" and visit["flow_m3h"] is not None and visit["speed_rpm"] is not None:
            reading = (float(visit["speed_rpm"]), float(visit["flow_m3h"]))  # type: ignore[arg-type]
            try:
                friction_from_reading(curve, *reading, static)
            except CurveError as error:
                problems.append(_bad_reading(pump, visit, str(error)))
            else:
                readings.append(reading)
    if readings:
        return _Flow(curve, static, sorted(readings), COMMISSIONED_FLOW, "commissioned")

    if pump["design_flow_m3h"] is None or pump["design_head_m"] is None:
        return None
    design_flow, design_head = float(pump["design_flow_m3h"]), float(pump["design_head_m"])  # type: ignore[arg-type]
    friction = friction_from_design(design_flow, design_head, static)
    at_rated = float(flows(curve, SystemCurve(static, friction), np.array([curve.rated_speed_rpm]))[0])
    if np.isnan(at_rated):
        raise CurveError("the system through the design point passes the last point of the pump curve")
    return _Flow(curve, static, [(curve.rated_speed_rpm, at_rated)], CURVE_FLOW, "curve")


def _grid_flow(flow: _Flow, speeds: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    low, mid, high = flow_band(flow.pump, flow.static_head_m, flow.readings, flow.half_width, speeds)
    known = np.isfinite(mid) & (speeds < flow.pump.rated_speed_rpm + GRID_RPM)
    return tuple(np.where(known, values, np.nan) for values in (low, mid, high))  # type: ignore[return-value]


def _power_source(
    pump: dict[str, object],
    metered: list[dict[str, object]],
    visits: list[dict[str, object]],
    meter_accuracy: float,
    problems: list[Problem],
) -> tuple[PowerFit | None, str]:
    if metered:
        given, source, half_width = metered, "fitted to readings", meter_accuracy
    else:
        given = [visit for visit in visits if visit["power_w"] is not None and visit["speed_rpm"] is not None]
        source, half_width = "fitted to visit points", VISIT_POWER
    if not given:
        return None, "none"
    speeds, powers = (np.array([row[name] for row in given], float) for name in ("speed_rpm", "power_w"))
    samples = np.array([row.get("samples") or 1 for row in given], float)
    fit = fit_power(speeds, powers, samples, half_width)
    # One speed only is the common case of a plan with one period, and nothing is wrong with it.
    if fit is None and np.ptp(speeds) >= GRID_RPM * 4:
        problems.append(
            Problem(
                "power_curve_refused",
                f"pump {pump['pump_id']}: wire power against speed lies on no plausible curve, so power at speeds that "
                "were not metered is unknown; check the power channel",
                "warns",
                site_id=str(pump["site_id"]),
            )
        )
    return fit, source if fit else "none"


def _no_flow(pump: dict[str, object], why: str) -> Problem:
    return Problem(
        "flow_curve_refused",
        f"pump {pump['pump_id']}: {why}; its flow and turnover are unknown until that is corrected",
        "warns",
        file="pumps.csv",
        site_id=str(pump["site_id"]),
    )


def _bad_reading(pump: dict[str, object], visit: dict[str, object], why: str) -> Problem:
    return Problem(
        "commissioned_flow_refused",
        f"pump {pump['pump_id']}, flow read on {visit['day_local']}: {why}; the reading is not used",
        "warns",
        file="visits.csv",
        site_id=str(pump["site_id"]),
    )
