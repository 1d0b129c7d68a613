"""Mode B3: two pumps' logs stand under each other's name. Each log must fit the other pump's record far better than its
own, in plan or in watts, from the same day on.

Belongs here: what is asked of a pair, and the words. The comparisons stand in `swap_by_plan.py` and `swap_by_watts.py`.

Only pumps of one source and one zone are compared: within an export a name is easily mistaken, between two loggers of
different make it is not. Pumps with one plan and one mark cannot be told apart, and nothing is said of them.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping

import numpy as np
import polars as pl

from pumpledger.engine.database import Database
from pumpledger.verdicts.counters import need_counter_rule
from pumpledger.verdicts.mode import SUSPICIONS
from pumpledger.verdicts.quarter_hours import CELLS, QuarterHours, filled, quarter_hours
from pumpledger.verdicts.swap_by_plan import Limits, Swap, records, swaps_by_plan
from pumpledger.verdicts.swap_by_watts import Visits, Watts, WattsLimits
from pumpledger.verdicts.watts_print import steady_watts

Sides = tuple[tuple[float, float], tuple[float, float]]


def mode_b3(db: Database, parameters: Mapping[str, float]) -> pl.DataFrame:
    """Pairs of pumps whose logs were swapped, a row for each of the two.

    Inputs: those of `quarter_hours`, and visit. Parameters: ratio, misfit_rpm, noise_rpm, cap_rpm, days_least,
    most_share, watts_apart, watts_noise (shares).
    """
    quarters = quarter_hours(db)
    if len(quarters.pump_id) < 2:
        return SUSPICIONS.empty()
    names = ("ratio", "misfit_rpm", "noise_rpm", "cap_rpm", "most_share")
    limits = Limits(**{name: parameters[name] for name in names}, days_least=int(parameters["days_least"]))
    record = records(quarters, limits.days_least)
    watts = _watts(db, quarters, limits, parameters)
    rows: list[dict[str, object]] = []
    for swap, said, sides in _decided(swaps_by_plan(quarters, record, limits), watts):
        rows += _rows(quarters, swap, said, sides)
    for swap in _alone(watts.swaps(record)):
        rows += _rows(quarters, swap, 1, (swap.own, swap.others), by_plan=False)
    return SUSPICIONS.conform(pl.DataFrame(rows, schema=SUSPICIONS.schema))


def _watts(db: Database, quarters: QuarterHours, limits: Limits, parameters: Mapping[str, float]) -> Watts:
    need_counter_rule(db)
    watts = filled(db.query("verdicts/quarter_watts", over=CELLS), len(quarters.pump_id), len(quarters.days))
    visits: Visits = {}
    for pump, speed, power in db.query("verdicts/visit_watts").iter_rows():
        visits.setdefault(pump, []).append((speed, power))
    apart = WattsLimits(float(np.log1p(parameters["watts_apart"])), float(np.log1p(parameters["watts_noise"])))
    return Watts(quarters, steady_watts(quarters.observed, watts), visits, limits, apart)


def _decided(found: list[Swap], watts: Watts) -> list[tuple[Swap, int, Sides]]:
    """Pairs that the watts do not speak against. A pump that fits several others is told of only where the watts point
    at one of them."""
    heard = []
    for swap in found:
        said, own, others = watts.says(swap)
        if said >= 0:
            heard.append((swap, said, (own, others)))
    sure = _alone([swap for swap, said, _ in heard if said > 0])
    alone = _alone([swap for swap, _, _ in heard])
    return [entry for entry in heard if entry[0] in sure or entry[0] in alone]


def _alone(found: list[Swap]) -> list[Swap]:
    """Pairs both of whose pumps stand in no other pair."""
    times = Counter(pump for swap in found for pump in (swap.one, swap.other))
    return [swap for swap in found if times[swap.one] == times[swap.other] == 1]


def _rows(quarters: QuarterHours, swap: Swap, said: int, watts: Sides, by_plan: bool = True) -> list[dict[str, object]]:
    """The pair as two rows with one remedy."""
    one, other = quarters.pump_id[swap.one], quarters.pump_id[swap.other]
    since = quarters.days[swap.since]
    planned = not np.isnan(quarters.planned[[swap.one, swap.other]]).all(axis=(1, 2)).any()
    plan = "plan" if planned else "earlier running"
    start = "on all days looked at" if swap.since == 0 else f"from {since:%Y-%m-%d} on"
    what = f"{plan} and watts" if by_plan and said else plan if by_plan else "watts"
    sentence = f"The logs of {one} and {other} fit each other's {what}, and not their own, {start}."
    if by_plan and planned and not said:
        sentence += " Their watts cannot tell: their plans may stand under each other's code in plans.csv instead."
    parts = []
    if by_plan:
        speeds = [[f"{value:.0f} rpm" for value in side] for side in (swap.own, swap.others)]
        parts.append(_told(f"the {plan}", one, other, speeds))
    if said:
        parts.append(_told("the watts", one, other, [[_factor(value) for value in side] for side in watts]))
    parts.append(f"{swap.fitting} of {swap.valid} pump days since say so")
    return [
        {
            "source": str(quarters.source[pump]),
            "pump_id": quarters.pump_id[pump],
            "quantity": "identity",
            "sentence": sentence,
            "evidence": "; ".join(parts),
            "sureness": swap.fitting / swap.valid,
            "blocks": True,
            "remedy": f"swap {one} {other} from {since:%Y-%m-%d}",
            "first_day": since,
            "last_day": quarters.days[swap.last],
        }
        for pump in (swap.one, swap.other)
    ]


def _factor(logarithm: float) -> str:
    factor = float(np.exp(logarithm))
    return f"{factor:.2f}-fold" if factor < 10 else f"{factor:.0f}-fold"


def _told(what: str, one: str, other: str, values: list[list[str]]) -> str:
    own, others = values
    return f"{what}: {one} {own[0]} off its own and {others[0]} off the other's, {other} {own[1]} and {others[1]}"
