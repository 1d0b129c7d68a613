"""Power that fell at the same speed since the filter was last clean: D3.

Belongs here: what counts as a fall, and what is told of it. A season bends over months and a filter loads ever faster, so
that a smaller fall counts where the pump bends away from its own drift. A fall in one step is D5's too
(`power_shift.py`), which then explains it. How much water is left is worked out by `accounting/loading.py`.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

import numpy as np
import polars as pl

from pumpledger.accounting.loading_shape import fall_shape
from pumpledger.diagnosis.evidence import EVIDENCE
from pumpledger.diagnosis.power_levels import PowerSeries, power_series, scatter
from pumpledger.diagnosis.small_steps import bend
from pumpledger.engine.database import Database

REFERENCE_DAYS, REFERENCE_LEAST = 5, 3  # first days after a cleaning, as in `accounting/loading.py`
_TOLD = {
    "ramp": "It fell slowly, as a basket or filter loads.",
    "step": "It fell in a step: a valve, or a basket that filled at once.",
    "cannot tell": "Power is falling: cleaning or valve, its days cannot tell which.",
}


def shares_of_clean(series: PowerSeries) -> tuple[np.ndarray, np.ndarray]:
    """Days since the last cleaning on record, or since the pump was put in, and power as a share of the first of them.

    Two arrays of shape (n,), empty where too few days make a reference.
    """
    since = series.since == series.since[-1]
    days, index = series.days[since], series.index[since]
    if days.size <= REFERENCE_LEAST:
        return days[:0], index[:0]
    return days, index / np.median(index[:REFERENCE_DAYS])


def filter_loads(db: Database, values: Mapping[str, float]) -> pl.DataFrame:
    """D3: rows of EVIDENCE for pumps whose newest days of the week all lie below a clean filter's power."""
    first = min(db.table("judged_day").filter("in_week")["day_local"].to_list())
    known = db.table("loading").filter(pl.col("flow_factor_mid").is_not_null() & (pl.col("state") == "loading"))
    flow = {
        (pump, day): share for pump, day, share in known.select("pump_id", "day_local", "flow_factor_mid").iter_rows()
    }
    rows = []
    for series in power_series(db):
        days, shares = shares_of_clean(series)
        in_week = days >= first.toordinal()
        newest = shares[in_week][-int(values["days"]) :]
        if newest.size < values["days"]:
            continue
        fallen = 1 - float(newest.max())
        limit = values["fall_share"] + (0 if series.seasonal else values["season_unknown"])
        if fallen < max(values["fall_share"], values["sigmas"] * scatter(shares)):
            if not _bends_down(series, days, shares, values["bend_share"]):
                continue
            limit, fallen = values["bend_share"], values["bend_share"]
        measured = 1 - float(np.median(newest))
        sure = fallen >= limit
        low = days[in_week & (shares <= 1 - limit)]
        speed = int(series.speeds[0])
        rows.append(
            {
                "site_id": series.site_id,
                "component": series.pump_id,
                "verdict": "found" if sure else "cannot tell",
                "needs": None
                if sure
                else f"power of at least eight pumps on the same days: power at {speed} rpm fell by {measured:.0%}, "
                "which the season may do as well",
                "first_day": date.fromordinal(int(low[0])) if sure else None,
                "last_day": date.fromordinal(int(days[-1])) if sure else None,
                "days": low.size if sure else None,
                "measured": measured if sure else None,
                "threshold": limit,
                "unit": "share of power at the same speed",
                "extra": _words(series, days, shares, flow) if sure else None,
            }
        )
    return pl.DataFrame(rows, schema=EVIDENCE.schema)


def _bends_down(series: PowerSeries, days: np.ndarray, shares: np.ndarray, least_share: float) -> bool:
    """Whether the middle of the newest days lies ``least_share`` below a clean filter's, by a bend of its own."""
    if not series.seasonal or 1 - np.median(shares[-REFERENCE_DAYS:]) < least_share:
        return False
    return bend(days, np.log(shares)) <= -least_share


def _words(series: PowerSeries, days: np.ndarray, shares: np.ndarray, flow: Mapping[tuple[str, date], float]) -> str:
    words = [_TOLD[fall_shape(days, shares)]]
    if series.since[-1]:
        words.append(f"The last cleaning on record was on {date.fromordinal(int(series.since[-1]))}.")
    left = flow.get((series.pump_id, date.fromordinal(int(days[-1]))))
    if left is not None:
        words.append(f"By the pump curve about {left:.0%} of the clean flow is left.")
    return " ".join(words)
