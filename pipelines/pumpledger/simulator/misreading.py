"""What the register says of a pump in place of the truth, and the truth about savings.

Belongs here: applying drawn errors to visits, design points, static heads and baselines; truth/savings.csv and
truth/errors.csv. How large the errors are stands in `errors.py`.
"""

from __future__ import annotations

from dataclasses import fields
from pathlib import Path

import numpy as np

from pumpledger.simulator.errors import PumpErrors, draw_errors
from pumpledger.simulator.horizon import Horizon
from pumpledger.simulator.physics import FULL_SPEED_RPM
from pumpledger.simulator.register_files import write_csv
from pumpledger.simulator.sites import Pump, Site
from pumpledger.simulator.trace import Trace

# A design point beyond this share of the flow at no head lies past the last point of the published curve.
_FURTHEST_DESIGN = 0.84


def misread(site: Site, seed: int, index: int) -> None:
    """Draw the errors of the site's pumps, and write its register by them."""
    for order, pump in enumerate(site.pumps):
        machine = pump.machine
        evidence = pump.baseline[3] if pump.baseline else None
        errors = draw_errors(seed, index, order, machine.static_head_m, evidence)
        pump.errors = errors
        pump.recorded_static_m = round(max(machine.static_head_m + errors.static_head_m, 0.0), 1)
        for visit in site.visits:
            if visit.pump_id == pump.pump_id and visit.flow_m3h is not None:
                visit.flow_m3h = round(visit.flow_m3h * (1.0 + errors.flow_reading), 2)
                visit.power_w = round(visit.power_w * (1.0 + errors.visit_power)) if visit.power_w else None
        if pump.design_flow_m3h is not None:
            _misplan(pump)
        if pump.baseline is not None and pump.former_w is not None:
            _, hours, flow, kind = pump.baseline
            former_m3h = float(machine.flow_m3h(FULL_SPEED_RPM))
            pump.baseline = (
                round(pump.former_w * (1.0 + errors.baseline_power) / 10.0) * 10.0,
                hours,
                round(former_m3h * (1.0 + errors.baseline_flow), 1) if flow is not None else None,
                kind,
            )


def _misplan(pump: Pump) -> None:
    """The design point is where the pump meets the pipes as they were drawn, not as they were built."""
    machine = pump.machine
    open_flow = pump.pump_class.open_flow_m3h
    built = float(machine.flow_m3h(FULL_SPEED_RPM))
    planned = min(built * (1.0 + pump.errors.design_flow), _FURTHEST_DESIGN * open_flow)
    pump.design_flow_m3h = round(planned, 1)
    pump.design_head_m = round(float(pump.pump_class.head_m(planned)), 1)


def write_savings_truth(folder: Path, sites: list[Site], traces: dict[str, Trace], horizon: Horizon) -> None:
    """truth/savings.csv, one row a site and day of the sites whose pumps all have a baseline; truth/errors.csv.

    The pump before drew what it drew, ran its recorded hours, and moved water through today's pipes and filter: equal
    volume is its power times the day's true volume over its flow at full speed with the day's mean dirt.
    """
    bounds = np.array([horizon.midnight_s(day) for day in horizon.days] + [horizon.end_s], dtype=float)
    middle_s = (bounds[1:] + bounds[:-1]) / 2.0
    rows: list[tuple[object, ...]] = []
    for site in sites:
        if any(pump.baseline is None for pump in site.pumps):
            continue
        raw, equal, used = (np.zeros(len(horizon.days)) for _ in range(3))
        for pump in site.pumps:
            trace = traces[pump.pump_id]
            dirt = np.interp(middle_s, trace.conditions.time_s, trace.conditions.loading)
            former_m3h = pump.machine.flow_m3h(FULL_SPEED_RPM, dirt)
            raw += pump.former_w / 1000.0 * pump.baseline[1]
            equal += pump.former_w / 1000.0 * np.diff(trace.volume_m3_at(bounds)) / former_m3h
            used += np.diff(trace.energy_kwh_at(bounds))
        rows.extend(
            (
                site.site_id,
                day,
                *(f"{kwh:.5f}" for kwh in (used_kwh, base, equal_base, base - used_kwh, equal_base - used_kwh)),
            )
            for day, used_kwh, base, equal_base in zip(
                horizon.days, used.tolist(), raw.tolist(), equal.tolist(), strict=True
            )
        )
    write_csv(
        folder / "truth" / "savings.csv",
        "site_id,day_local,measured_kwh,baseline_kwh,baseline_equal_kwh,raw_kwh,equal_kwh",
        rows,
    )
    names = [field.name for field in fields(PumpErrors)]
    write_csv(
        folder / "truth" / "errors.csv",
        ",".join(["pump_id", *names]),
        (
            (pump.pump_id, *(f"{getattr(pump.errors, name):.6f}" for name in names))
            for site in sites
            for pump in site.pumps
        ),
    )
