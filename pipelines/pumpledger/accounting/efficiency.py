"""A pump's efficiency record: ``span`` and ``speed_grid`` in, ``efficiency`` and ``efficiency_record`` out.

Belongs here: the order of the queries and their parameters. What they compute is said in ``sql/accounting``; the
federal method's flows and sum stand in `weighted_factor`.
"""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from pumpledger.accounting.daily import AccountingParameters
from pumpledger.accounting.weighted_factor import method_flows, weighted_factors
from pumpledger.engine.account_tables import EFFICIENCY, EFFICIENCY_RECORD
from pumpledger.engine.database import Database
from pumpledger.hydraulics.curve_table import pump_curves
from pumpledger.hydraulics.water_power import water_powers
from pumpledger.problems import Problem


@dataclass(frozen=True, slots=True)
class EfficiencyParameters:
    """What the record rests on.

    Args:
        least_stretch_min: longest stretch that a speed needs to be listed [min]: two intervals of the coarsest usual
            log, for the mean of one interval may hold a start or a change of speed. Common practice, no source.
        sustained_min: shortest stretch of a sustained energy factor [min]. An assumption.
        suspect_share: wire-to-water efficiency above which a value is suspect: about 0.70 (facts 4.4, common practice).
        physical_share: the most that physics allows: no more power reaches the water than the wire brings.
        knee_rise: least share by which the slowest speed must cost more per litre than the knee: a smaller rise is
            within what a fitted curve can tell. An assumption.
    """

    least_stretch_min: float = 30.0
    sustained_min: float = 60.0
    suspect_share: float = 0.70
    physical_share: float = 1.0
    knee_rise: float = 0.02

    def pick(self, *names: str) -> dict[str, object]:
        """These parameters, for a query that uses them."""
        return {name: getattr(self, name) for name in names}


def build_efficiency(
    db: Database,
    power_points: pl.DataFrame,
    parameters: AccountingParameters,
    limits: EfficiencyParameters | None = None,
) -> None:
    """Make tables ``efficiency`` and ``efficiency_record``, which conform to `account_tables`.

    Reads ``span``, ``speed_grid``, ``loading``, ``pump``, ``pump_curve`` and ``pump_doubt``, all of which may hold no
    rows. ``power_points`` is the pump's own metered power by speed, as `daily.power_points` gives it.
    """
    limits = limits or EfficiencyParameters()
    db.load("power_point", power_points)
    db.build(
        "speed_run",
        "accounting/speed_run",
        parameters.pick("least_span_min", "meter_accuracy", "flow_meter_accuracy") | limits.pick("least_stretch_min"),
    )
    pump, curves = db.table("pump"), pump_curves(db.table("pump_curve"))[0]
    db.load("water_power", water_powers(db.table("speed_run"), pump, curves))
    rows = db.query("accounting/efficiency", limits.pick("suspect_share", "physical_share"))
    db.load("efficiency", EFFICIENCY.conform(rows))

    db.build("rest_power", "accounting/rest_power", parameters.pick("least_span_min"))
    db.build("best_factor", "accounting/best_factor", limits.pick("sustained_min"))
    db.build("knee_speed", "accounting/knee_speed", limits.pick("knee_rise"))
    asked = method_flows(pump, curves)
    db.load("test_flow", asked.filter(asked["missing"] == ""))
    db.load("weighted_factor", weighted_factors(asked, db.query("accounting/test_points")))
    db.load("efficiency_record", EFFICIENCY_RECORD.conform(db.query("accounting/efficiency_record")))


def implausible(efficiency: pl.DataFrame) -> list[Problem]:
    """What the plausibility gate held, one problem a pump: refused before suspect, and the slowest speed."""
    held = efficiency.filter(pl.col("gate").is_in(["refused", "suspect"]))
    first = held.sort("pump_id", "gate", "speed_rpm").unique("pump_id", keep="first", maintain_order=True)
    return [
        Problem(
            f"efficiency_{row['gate']}",
            f"pump {row['pump_id']}: {row['sentence']}",
            "warns",
            site_id=row["site_id"],
        )
        for row in first.iter_rows(named=True)
    ]
