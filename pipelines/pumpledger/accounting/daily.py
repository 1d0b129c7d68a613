"""The daily accounts: ``span`` and ``speed_grid`` in, ``daily`` out.

Belongs here: the order of the queries and their parameters. What they compute is said in ``sql/accounting``.
"""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from pumpledger.accounting.balance import find_aux_draw
from pumpledger.engine.account_tables import LOADING
from pumpledger.engine.database import Database
from pumpledger.engine.tables import DAILY, DAY_BANDS
from pumpledger.hydraulics.uncertainty import METERED_FLOW
from pumpledger.profile.build import CAUSES, STEADY


@dataclass(frozen=True, slots=True)
class AccountingParameters:
    """What the accounts rest on.

    Args:
        meter_accuracy: of the energy meter, share; the register's `meter_accuracy`.
        flow_meter_accuracy: of a flow meter, share.
        standby_w: highest standby draw of a pump that is off and not metered [W]: drive electronics that wait. An
            assumption.
        least_coverage: observed share of a day for its numbers to stand.
        longest_gap_min: longest gap of a valid day [min].
        counter_step_kwh: last digit of an energy counter [kWh]: 0.01 is usual (common practice, no source).
        open_share: of a day's energy that may hang on when the speed changed within a gap, for the day to be metered:
            half of the 0.5 % that metered days are held to; the log's own step needs the rest.
        near_rpm: two speeds this close are one [rev/min]: two steps of the 25 rpm grid.
        edge_min: a rest this short at a change of the plan is its edge [min]; that of the causes.
        same_power_share, same_power_w: powers this far apart are two states; those of the stretches.
        least_span_min: shortest span that gives a point of the power curve [min]: the state after a speed change has
            settled.
        least_counter_kwh: smallest step of an energy counter that carries a power [kWh]: with the usual
            resolution of 0.01 kWh at both ends it is known within 4 %.
        running_rpm: the slowest speed that a pump holds [rev/min]: a grid step below 600, the slowest that can be keyed
            in (common practice, no source).
    """

    meter_accuracy: float = 0.02
    flow_meter_accuracy: float = METERED_FLOW
    standby_w: float = 15.0
    least_coverage: float = 0.90
    longest_gap_min: float = 120.0
    open_share: float = 0.0025
    near_rpm: float = 50.0
    edge_min: float = CAUSES["edge_min"]
    same_power_share: float = STEADY["same_power_share"]
    same_power_w: float = STEADY["same_power_w"]
    counter_step_kwh: float = 0.01
    least_span_min: float = 10.0
    least_counter_kwh: float = 0.5
    running_rpm: float = 575.0

    def pick(self, *names: str) -> dict[str, object]:
        """These parameters, for a query that uses them."""
        return {name: getattr(self, name) for name in names}


def power_points(db: Database, parameters: AccountingParameters) -> pl.DataFrame:
    """Metered wire power by pump and speed: pump_id, speed_rpm [rev/min], power_w [W], samples.

    Reads tables ``span`` and ``pump_doubt``.
    """
    return db.query("accounting/power_points", parameters.pick("least_span_min", "least_counter_kwh", "running_rpm"))


def build_daily(db: Database, parameters: AccountingParameters, loading: pl.DataFrame | None = None) -> None:
    """Make table ``daily``, which conforms to ``tables.DAILY``: every pump and every local day of the calendar.

    ``loading`` has rows of ``account_tables.LOADING``; without it the flow is that of a clean filter.

    Reads ``span``, ``speed_grid``, ``pump``, ``site``, ``local_day``, ``quarter``, ``tariff_rate``, ``tariff_holiday``,
    ``plan_window`` and ``pump_doubt``, all of which may hold no rows but must exist. Leaves ``tariff_window``,
    ``span_estimate``, ``highest``, ``unknown_bound``, ``unknown_estimate``, ``day_band`` (tables.DAY_BANDS) and
    ``day_cost`` behind.
    """
    find_aux_draw(db)
    db.load("loading", LOADING.empty() if loading is None else loading)
    db.build("tariff_window", "accounting/tariff_window")
    db.build(
        "span_estimate",
        "accounting/span_estimate",
        parameters.pick("meter_accuracy", "flow_meter_accuracy", "standby_w"),
    )
    db.build("highest", "accounting/highest")
    db.build("unknown_bound", "accounting/unknown_bound", parameters.pick("standby_w"))
    db.build(
        "unknown_estimate",
        "accounting/unknown_estimate",
        parameters.pick(
            "least_coverage", "longest_gap_min", "near_rpm", "edge_min", "same_power_share", "same_power_w"
        ),
    )
    db.load("day_band", DAY_BANDS.conform(db.query("accounting/day_band")))
    db.build("day_cost", "accounting/day_cost")
    rows = db.query(
        "accounting/daily", parameters.pick("least_coverage", "longest_gap_min", "counter_step_kwh", "open_share")
    )
    db.load("daily", DAILY.conform(rows))
