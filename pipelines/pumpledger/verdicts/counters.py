"""Modes that counters give away: B7 the logger's clock jumps, B8 a counter starts again, B9 a counter was reset.

Belongs here: which counters are looked at closely, and the words. What a step of a counter is stands in
``sql/profile/counter_step.sql``, because the spans count by it too; what is a jump, in ``sql/verdicts``.

None of them needs a decision: rises across such steps are mended or left out by themselves. They are told because
someone may want to ask why.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import polars as pl

from pumpledger.engine.database import Database
from pumpledger.profile.build import STEADY
from pumpledger.profile.counters import build_counter_rule, counter_steps
from pumpledger.verdicts.mode import SUSPICIONS
from pumpledger.verdicts.quarter_hours import has_table, need_pump_quarter

UNIT = {"energy_total": "kWh", "run_total": "h"}
NAME = {"energy_total": "energy counter", "run_total": "run-hour counter"}
TOLD = 5
"""Instants that an evidence text names before it says how many more there are."""


def mode_b7(db: Database, parameters: Mapping[str, float]) -> pl.DataFrame:
    """Pumps whose counters rose by another time than the stamps say went by.

    Inputs: reading, pump_source, pump, site, export_hold, quarter, local_day, plan_slot. Parameters: mismatch_min,
    mismatch_share, hole_steps, steady_hours.
    """
    need_counter_rule(db)
    need_pump_quarter(db)
    speed = {"same_speed_rpm": STEADY["same_speed_rpm"]}
    db.build("clock_hour", "verdicts/clock_hour", speed)
    db.build("clock_rate", "verdicts/clock_rate", {"steady_hours": parameters["steady_hours"]})
    suspects = db.query("verdicts/clock_suspect", {"mismatch_min": parameters["mismatch_min"]})
    counter_steps(db, suspects)
    jump = {name: parameters[name] for name in ("mismatch_min", "mismatch_share", "hole_steps")}
    jumps = db.query("verdicts/clock_jump", jump | speed)
    rows = [_jumped(part) for part in jumps.partition_by("pump_id", maintain_order=True)]
    return SUSPICIONS.conform(pl.DataFrame(rows, schema=SUSPICIONS.schema))


def mode_b8(db: Database, parameters: Mapping[str, float]) -> pl.DataFrame:
    """Counters that started again from nothing at the end of their range. Inputs: reading, pump_source, pump, site,
    local_day. No parameters: they are those of the rule that the spans count by, in `profile/counters.py`."""
    falls = _falls(db).filter(pl.col("kind") == "rollover")
    return _each_counter(falls, _rolled_over)


def mode_b9(db: Database, parameters: Mapping[str, float]) -> pl.DataFrame:
    """Counters that fell and stayed low, or fell and came back. Inputs as for B8."""
    falls = _falls(db).filter(pl.col("kind").is_in(["reset", "returns"]))
    return _each_counter(falls, _reset)


def need_counter_rule(db: Database) -> None:
    """Make ``counter_hour``, ``counter_grain`` and ``counter_rule`` where the run has not made them for all modes."""
    if not has_table(db, "counter_rule"):
        build_counter_rule(db)


def _falls(db: Database) -> pl.DataFrame:
    need_counter_rule(db)
    counter_steps(db, db.table("counter_rule"))
    return db.query("verdicts/counter_fall")


def _each_counter(falls: pl.DataFrame, told: Callable[[pl.DataFrame], dict[str, object]]) -> pl.DataFrame:
    rows = [told(part) for part in falls.partition_by("pump_id", "counter", maintain_order=True)]
    return SUSPICIONS.conform(pl.DataFrame(rows, schema=SUSPICIONS.schema))


def _note(part: pl.DataFrame, quantity: str, sentence: str, evidence: str, sureness: float) -> dict[str, object]:
    return {
        "source": part["source"][0],
        "pump_id": part["pump_id"][0],
        "quantity": quantity,
        "sentence": sentence,
        "evidence": evidence,
        "sureness": sureness,
        "blocks": False,
        "remedy": "",
        "first_day": part["day_local"].min(),
        "last_day": part["day_local"].max(),
    }


def _jumped(part: pl.DataFrame) -> dict[str, object]:
    """One pump's jumps; where both counters tell, each jump is told once and they agree or they do not."""
    part = part.sort("to_utc", "counter", descending=[False, True])  # the run counter first: it counts minutes itself
    instants = part.unique("to_utc", keep="first", maintain_order=True)
    both = part.group_by("to_utc").agg(counters=pl.len(), apart=pl.col("jump_min").max() - pl.col("jump_min").min())
    agreed = both.filter((pl.col("counters") == 1) | (pl.col("apart") <= 10)).height / both.height
    ahead = instants.filter(pl.col("jump_min") > 0).height
    back = instants.height - ahead
    said = [f"set back {_times(back)}"] if back else []
    said += [f"moved ahead {_times(ahead)}"] if ahead else []
    sentence = f"The logger's clock was {' and '.join(said)}, against the pump's own counters."
    if ahead:
        sentence += " Where it moved ahead, logger and pump may also have stood without power together."
    evidence = [
        f"{_between(row)}: {row['passed_min']:.0f} min by the stamps, "
        f"{row['counted_min']:.0f} min by the {NAME[row['counter']]}"
        for row in instants.iter_rows(named=True)
    ]
    return _note(instants, "time", sentence, _listed(evidence), agreed)


def _rolled_over(part: pl.DataFrame) -> dict[str, object]:
    counter = part["counter"][0]
    modulus = _number(part["modulus"][0], part["resolution"][0])
    sentence = f"The {NAME[counter]} starts again at {modulus} {UNIT[counter]}; its rises are counted across that."
    return _note(part, counter, sentence, _listed(_steps(part)), 1.0)


def _reset(part: pl.DataFrame) -> dict[str, object]:
    counter = part["counter"][0]
    stays, returns = part.filter(pl.col("kind") == "reset"), part.filter(pl.col("kind") == "returns")
    said = []
    if stays.height:
        said.append(
            f"The {NAME[counter]} fell {_times(stays.height)} and went on from there: ask whether meter or pump was "
            "replaced, and note the serial number. What it would have counted in between is not known."
        )
    if returns.height:
        said.append(f"The {NAME[counter]} fell {_times(returns.height)} and came back; those steps are left out.")
    return _note(part, counter, " ".join(said), _listed(_steps(part)), 1.0)


def _steps(part: pl.DataFrame) -> list[str]:
    return [
        f"{_between(row)}: {_number(row['from_value'], row['resolution'])} to "
        f"{_number(row['to_value'], row['resolution'])} {UNIT[row['counter']]}"
        for row in part.iter_rows(named=True)
    ]


def _between(row: Mapping[str, Any]) -> str:
    return f"{row['from_utc']:%Y-%m-%d %H:%M} to {row['to_utc']:%Y-%m-%d %H:%M} UTC"


def _listed(parts: list[str]) -> str:
    more = len(parts) - TOLD
    return "; ".join(parts[:TOLD]) + (f"; and {more} more" if more > 0 else "")


def _times(count: int) -> str:
    return "once" if count == 1 else "twice" if count == 2 else f"{count} times"


def _number(value: float, resolution: float) -> str:
    """``value`` with as many decimals as the counter shows."""
    decimals = next((n for n in range(5) if resolution * 10**n >= 0.999), 4)
    return f"{value:.{decimals}f}"
