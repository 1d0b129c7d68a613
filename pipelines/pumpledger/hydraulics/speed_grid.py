"""The speed grid: flow and wire power of every pump at every 25 rpm, each low, mid and high with its source.

Belongs here: the tables ``speed_grid`` and ``curves``, and what is said where a curve cannot be used. Which source wins
is chosen in `flow_source.py` and `power_source.py`; the physics stands beside them.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import polars as pl

from pumpledger.engine.account_tables import CURVES
from pumpledger.engine.tables import SPEED_GRID
from pumpledger.hydraulics.curve_table import pump_curves
from pumpledger.hydraulics.flow_source import NO_METHOD, Band, FlowSource, choose_flow
from pumpledger.hydraulics.operating_point import zero_flow_speed_rpm
from pumpledger.hydraulics.power_source import PowerSource, choose_power
from pumpledger.hydraulics.pump import PumpCurve
from pumpledger.problems import CurveError, Problem

if TYPE_CHECKING:
    from pumpledger.register.load import Register

GRID_RPM = 25

_Rows = dict[str, list[dict[str, object]]]


@dataclass(frozen=True, slots=True)
class SpeedGrid:
    """``grid`` conforms to ``tables.SPEED_GRID``, ``curves`` to ``account_tables.CURVES``; ``problems`` says why a pump
    lacks its flow or its power curve."""

    grid: pl.DataFrame
    curves: pl.DataFrame
    problems: list[Problem]


def build_speed_grid(register: Register, power_points: pl.DataFrame, flow_metered: Collection[str] = ()) -> SpeedGrid:
    """Flow and wire power of every pump of the register from 0 to its full speed, in steps of 25 rpm.

    At speed 0 the flow is exactly 0 and the power unknown: standby is not fitted. Where a pump has no flow source its
    flows are null, at 0 too. Up to the zero-flow speed the flow and its low bound are exactly 0; the high bound is not,
    because the height itself is uncertain. Flow above the speed its curve was drawn at is null, up to the one grid step
    that reaches full speed.

    Args:
        register: ``pump``, ``pump_curve``, ``visit`` and ``meter_accuracy`` are read.
        power_points: pump_id, speed_rpm [rev/min], power_w [W], samples: metered medians by speed, as
            ``accounting.power_points`` gives them. A pump without any is fitted to the powers read at its visits.
        flow_metered: pumps with a flow meter in the log; ``curves`` says that it goes first.
    """
    problems: list[Problem] = []
    curves, faults = pump_curves(register.pump_curve)
    metered, visits = _by_pump(power_points), _by_pump(register.visit)
    columns: dict[str, list[np.ndarray]] = {name: [] for name in _NUMBERS}
    labels: dict[str, list[str]] = {"pump_id": [], "flow_source": [], "power_source": []}
    lengths: list[int] = []
    facts: list[dict[str, object]] = []

    for pump in register.pump.sort("pump_id").iter_rows(named=True):
        pump_id = str(pump["pump_id"])
        speeds = np.arange(0, np.ceil(pump["full_speed_rpm"] / GRID_RPM) + 1) * GRID_RPM
        why = ""
        try:
            flow = choose_flow(pump, curves, faults, visits.get(pump_id, []), problems)
        except CurveError as error:
            problems.append(_no_flow(pump, str(error)))
            flow, why = None, str(error)
        power = choose_power(
            pump, metered.get(pump_id, []), visits.get(pump_id, []), flow, register.meter_accuracy, problems
        )
        flow_band = _grid_flow(flow, speeds) if flow else (np.full(speeds.size, np.nan),) * 3
        for name, values in zip(_NUMBERS, (speeds, *flow_band, *power.band(speeds)), strict=True):
            columns[name].append(values)
        for name, label in zip(labels, (pump_id, flow.source if flow else "none", power.source), strict=True):
            labels[name].append(label)
        lengths.append(speeds.size)
        facts.append(
            {"site_id": pump["site_id"], "pump_id": pump_id}
            | _flow_facts(pump, flow, why, speeds, flow_band[1], curves, pump_id in flow_metered)
            | _power_facts(power)
        )

    numbers = {name: np.concatenate(parts) if parts else np.empty(0) for name, parts in columns.items()}
    texts = {name: np.repeat(np.array(values, dtype=object), lengths) for name, values in labels.items()}
    rows = pl.DataFrame(
        {name: pl.Series(name, values, dtype=pl.Float64) for name, values in numbers.items()}
        | {name: pl.Series(name, values.tolist(), dtype=pl.String) for name, values in texts.items()}
    ).with_columns(pl.col(_NUMBERS).fill_nan(None))
    return SpeedGrid(SPEED_GRID.conform(rows), pl.DataFrame(facts, schema=CURVES.schema), problems)


_NUMBERS = (
    "speed_rpm",
    "flow_m3h_lo",
    "flow_m3h_mid",
    "flow_m3h_hi",
    "power_w_lo",
    "power_w_mid",
    "power_w_hi",
)


def _flow_facts(
    pump: dict[str, object],
    flow: FlowSource | None,
    why: str,
    speeds: np.ndarray,
    mid: np.ndarray,
    curves: dict[str, PumpCurve],
    metered: bool,
) -> dict[str, object]:
    """The flow's part of a row of ``curves``. The zero-flow speed needs the pump's curve and the height only."""
    known = speeds[np.isfinite(mid) & (speeds > 0)]
    system = flow.system if flow else None
    curve, static = curves.get(str(pump["curve"])), pump["static_head_m"]
    basis = flow.basis if flow else why or _missing_flow(pump)
    stall = zero_flow_speed_rpm(curve, float(static)) if curve and static else None  # type: ignore[arg-type]
    return {
        "flow_source": flow.source if flow else "none",
        "flow_method": flow.method if flow else NO_METHOD,
        "flow_basis": f"the flow meter in the log where it reads; else {basis}" if metered else basis,
        "flow_metered": metered,
        "flow_lowest_rpm": float(known[0]) if known.size else None,
        "flow_highest_rpm": float(known[-1]) if known.size else None,
        "static_head_m": static,
        "friction": system.friction if system else None,
        "zero_flow_speed_rpm": stall,
    }


def _missing_flow(pump: dict[str, object]) -> str:
    if not pump["curve"]:
        return "no pump curve is named, and no flow is commissioned at two speeds: no turnover without a flow meter"
    return "the pump curve has no flow read, no two gauges, no design point and no pipe size to meet: no turnover"


def _power_facts(power: PowerSource) -> dict[str, object]:
    fit = power.fit
    ends = fit.exponent_band if fit else None
    return {
        "power_source": power.source,
        "power_basis": power.basis,
        "base_w": fit.base_w if fit else None,
        "factor_w": fit.factor_w if fit else None,
        "exponent": fit.exponent if fit else None,
        "exponent_lo": ends[0] if ends else None,
        "exponent_hi": ends[1] if ends else None,
        "lowest_rpm": fit.lowest_rpm if fit else None,
        "highest_rpm": fit.highest_rpm if fit else None,
    }


def _by_pump(rows: pl.DataFrame) -> _Rows:
    found: _Rows = {}
    for row in rows.filter(pl.col("pump_id").is_not_null()).iter_rows(named=True):
        found.setdefault(str(row["pump_id"]), []).append(row)
    return found


def _grid_flow(flow: FlowSource, speeds: np.ndarray) -> Band:
    low, mid, high = flow.band(speeds)
    top = flow.pump.rated_speed_rpm if flow.pump else np.inf
    known = np.isfinite(mid) & (speeds < top + GRID_RPM)
    return tuple(np.where(known, values, np.nan) for values in (low, mid, high))  # type: ignore[return-value]


def _no_flow(pump: dict[str, object], why: str) -> Problem:
    return Problem(
        "flow_curve_refused",
        f"pump {pump['pump_id']}: {why}; its flow and turnover are unknown until that is corrected",
        "warns",
        file="pumps.csv",
        site_id=str(pump["site_id"]),
    )
