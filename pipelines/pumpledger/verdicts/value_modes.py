"""Modes that look at values: B4 wrong unit, B10 clamp backwards, B11 half or double, B12 frozen, B13 straight lines,
B16 another sample interval.

Belongs here: what each mode says of what its query finds. Thresholds stand in `registry.py`, queries in
``sql/verdicts``. All need ``speed_level`` and ``reading_step`` of `reduce.py`.
"""

from __future__ import annotations

from collections.abc import Mapping

import polars as pl

from pumpledger.engine.database import Database
from pumpledger.engine.schema import Table
from pumpledger.verdicts.mode import SUSPICIONS
from pumpledger.verdicts.reduce import RUNNING_RPM, SPEED_CHANGE_RPM, STANDBY_W
from pumpledger.verdicts.whole_source import dissent, whole_sources

_LEAST_OFFSET_W = -100.0
"""A small negative standby is the meter's offset; less is a clamp that sits backwards (common practice, no source)."""

BAD_VALUES = Table(
    "bad_values",
    "one value of one reading that is to be taken as missing",
    ("pump_id", "time_utc", "quantity"),
    {
        "pump_id": ("text", "pump"),
        "time_utc": ("time", "the reading's time"),
        "quantity": ("text", "power; or speed, power and flow, where the whole reading was drawn in"),
    },
)

_AGAINST = {"visits": "its visits", "kin": "other pumps of its curve", "own": "it on the days before"}
"""What half and double are told by."""

_COLUMN = {
    "speed": "speed column",
    "power": "power column",
    "energy_total": "energy counter",
    "run_total": "run-hour counter",
    "flow": "flow column",
}


def mode_b4(db: Database, parameters: Mapping[str, float]) -> pl.DataFrame:
    """Columns in another unit than declared: power, speed, counters and flow; a pump's, or nearly all of a source's."""
    at = dict(parameters)
    db.build("unit_factor", "verdicts/unit_factor")
    power = {name: at[name] for name in ("least_running_w", "readings", "dead_ratio", "alone_ratio", "visit_ratio")}
    db.build("unit_power", "verdicts/unit_power", power | {"running_rpm": RUNNING_RPM})
    speed = {name: at[name] for name in ("most_percent_rpm", "plan_ratio")}
    counter = {name: at[name] for name in ("least_kwh", "least_h", "least_running_w", "counter_ratio", "run_ratio")}
    flow = {name: at[name] for name in ("readings", "flow_lo", "flow_hi")}
    measures = [
        db.table("unit_power"),
        db.query("verdicts/unit_speed", speed | {"slowest_rpm": RUNNING_RPM}),
        db.query("verdicts/unit_counter", counter),
        db.query("verdicts/unit_flow", flow | {"running_rpm": RUNNING_RPM}),
    ]
    db.load("unit_measure", pl.concat([part.select(measures[0].columns) for part in measures], how="vertical_relaxed"))
    found = _with_source(db, db.query("verdicts/unit_suspect", {"day_share": at["day_share"]}))
    odd = found.filter("suspect").with_columns(
        key=pl.coalesce("cure", pl.lit("")), looks=pl.coalesce("looks", "looks_any"), sure=pl.col("cure").is_not_null()
    )
    judged = found.join(odd.select("pump_id", "quantity", "key"), on=["pump_id", "quantity"], how="left")
    whole = whole_sources(judged, at["agree_share"], at["agree_pumps"])
    return _rows([*_units_of_sources(odd, whole), *_units_of_pumps(_left(odd, whole))])


def _units_of_pumps(odd: pl.DataFrame) -> list[dict[str, object]]:
    rows = []
    for row in odd.iter_rows(named=True):
        column, basis = _COLUMN[row["quantity"]], f"; {row['basis']}" if row["basis"] else ""
        rows.append(
            _taken(row)
            | {
                "sentence": f"The {column} of {row['pump_id']} looks like {row['looks']}.",
                "evidence": f"{row['measured']:.4g} {row['unit']} on {row['last_day']}{basis}; {row['odd_days']} of "
                f"{row['judged_days']} days since {row['first_day']}",
                "sureness": row["odd_days"] / row["judged_days"],
                "blocks": row["quantity"] != "run_total",
                "remedy": _from(row["key"], row),
            }
        )
    return rows


def _units_of_sources(odd: pl.DataFrame, whole: pl.DataFrame) -> list[dict[str, object]]:
    rows = []
    for agreed in whole.iter_rows(named=True):
        same = _same(odd, agreed)
        one = same.row(0, named=True)
        rows.append(
            _taken(agreed)
            | {
                "sentence": f"The {_COLUMN[agreed['quantity']]} of {agreed['source']} looks like {one['looks']}.",
                "evidence": f"{agreed['agreeing']} of {agreed['judged']} pumps{dissent(agreed['others'])}; "
                f"{one['pump_id']} for one: {one['measured']:.4g} {one['unit']} on {one['last_day']}",
                "sureness": agreed["agreeing"] / agreed["judged"],
                "blocks": agreed["quantity"] != "run_total",
                "remedy": _from(agreed["key"], agreed | {"fits_before": _began_inside(same)}),
            }
        )
    return rows


def mode_b10(db: Database, parameters: Mapping[str, float]) -> pl.DataFrame:
    """Power below zero while the pump runs, in the whole log: the clamp, or the sign of the export."""
    limits = {"running_rpm": RUNNING_RPM, "standby_w": STANDBY_W}
    limits |= {name: parameters[name] for name in ("readings", "days", "share")}
    found = _with_source(db, db.query("verdicts/meter_sign", limits)).with_columns(quantity=pl.lit("power"))
    odd = found.filter("suspect").with_columns(key=pl.lit("power x-1"))
    judged = found.join(odd.select("pump_id", "key"), on="pump_id", how="left")
    whole = whole_sources(judged, parameters["agree_share"], parameters["agree_pumps"])
    rows = []
    for agreed in whole.iter_rows(named=True):
        rows.append(
            _taken(agreed)
            | {
                "sentence": f"{agreed['source']} counts drawn power as negative.",
                "evidence": f"{agreed['agreeing']} of {agreed['judged']} pumps draw less than nothing while running"
                f"{dissent(agreed['others'])}",
                "sureness": agreed["agreeing"] / agreed["judged"],
                "blocks": True,
                "remedy": _from("power x-1", agreed | {"fits_before": _began_inside(_same(odd, agreed))}),
            }
        )
    for row in _left(odd, whole).iter_rows(named=True):
        rows.append(
            _taken(row)
            | {
                "sentence": f"The meter clamp of {row['pump_id']} sits backwards: its power is negative while it runs.",
                "evidence": f"{row['power_w']:.4g} W on average while running; {row['negative_n']} of "
                f"{row['running_n']} readings below zero since {row['first_day']}",
                "sureness": row["negative_n"] / row["running_n"],
                "blocks": True,
                "remedy": _from("power x-1", row),
            }
        )
    return _rows(rows)


def mode_b11(db: Database, parameters: Mapping[str, float]) -> pl.DataFrame:
    """A meter that reads half or double: one leg of two, or a wrong clamp ratio."""
    limits = {"running_rpm": RUNNING_RPM, "readings": parameters["readings"]}
    db.build("power_reference", "verdicts/power_reference", limits | {"kin": parameters["kin"]})
    tests = {name: parameters[name] for name in ("log2_limit", "speeds", "share")}
    found = db.query("verdicts/half_double", limits | tests).filter("suspect")
    own = {name: parameters[name] for name in ("own_readings", "log2_limit", "rest_log2", "share", "own_days")}
    own["running_rpm"] = RUNNING_RPM
    steps = db.query("verdicts/own_step", own).filter("suspect").join(found, on="pump_id", how="anti")
    rows = []
    for row in _with_source(db, pl.concat([found, steps.select(found.columns)]).sort("pump_id")).iter_rows(named=True):
        word = "half" if row["factor"] == 2 else "double"
        against = _AGAINST[row["basis"]]
        rows.append(
            _taken(row)
            | {
                "quantity": "power",
                "sentence": f"The power meter of {row['pump_id']} reads {word} of what {against} drew.",
                "evidence": f"{row['ratio']:.3g} times what {against} drew, at {row['speeds']} speeds; {row['odd_n']} "
                f"of {row['compared_n']} comparisons since {row['first_day']}",
                "sureness": row["odd_n"] / row["compared_n"],
                "blocks": True,
                "remedy": _from(f"power x{row['factor']:g}", row),
            }
        )
    return _rows(rows)


def mode_b12(db: Database, parameters: Mapping[str, float]) -> pl.DataFrame:
    """Power that stays the same to the last digit while the speed changes: those values are taken as missing."""
    limits = {name: parameters[name] for name in ("samples", "either_side", "chance", "rest_steps")}
    limits |= {"speed_change_rpm": SPEED_CHANGE_RPM, "standby_w": STANDBY_W}
    db.build("frozen_value", "verdicts/frozen_value", limits)
    runs = _with_source(db, db.query("verdicts/frozen_runs"))
    return _rows(
        [
            _taken(row)
            | {
                "quantity": "power",
                "sentence": f"The power of {row['pump_id']} stood still while its speed changed; {row['readings']} "
                "readings of it are taken as missing.",
                "evidence": f"{row['runs']} times; the longest is {row['longest']} readings of {row['power_w']:.10g} W "
                f"from {row['longest_utc']:%Y-%m-%d %H:%M} UTC",
                "sureness": 1.0,
                "blocks": False,
                "remedy": "",
            }
            for row in runs.iter_rows(named=True)
        ]
    )


def mode_b13(db: Database, parameters: Mapping[str, float]) -> pl.DataFrame:
    """Straight lines drawn across gaps: the readings on them are taken as missing."""
    limits = dict(parameters) | {"differences": int(parameters["differences"])}
    db.build("straight_line", "verdicts/straight_line", limits)
    lines = _with_source(db, db.query("verdicts/straight_lines"))
    return _rows(
        [
            _taken(row)
            | {
                "quantity": "power",
                "sentence": f"Straight lines stand in the log of {row['pump_id']} where readings are missing; "
                f"{row['readings']} readings on them are taken as missing.",
                "evidence": f"{row['lines']} lines; the longest from {row['longest_utc']:%Y-%m-%d %H:%M} UTC for "
                f"{row['longest_min']:.0f} min",
                "sureness": 1.0,
                "blocks": False,
                "remedy": "",
            }
            for row in lines.iter_rows(named=True)
        ]
    )


def mode_b16(db: Database, parameters: Mapping[str, float]) -> pl.DataFrame:
    """Another sample interval from one day to the next: harmless, because real time is integrated, and noted."""
    limits = {name: parameters[name] for name in ("steps", "share", "ratio")}
    found = _with_source(db, db.query("verdicts/interval_change", limits)).with_columns(quantity=pl.lit("time"))
    key = pl.format("{} s to {} s on {}", "from_s", "to_s", "last_day")
    judged = _with_source(
        db, db.table("reading_step").filter(pl.col("sampled_n") > 0).select("pump_id").unique()
    ).with_columns(quantity=pl.lit("time"))
    odd = found.with_columns(key=key)
    voters = judged.join(odd.select("pump_id", "key", "first_day", "last_day"), on="pump_id", how="left")
    whole = whole_sources(voters, parameters["agree_share"], parameters["agree_pumps"])
    rows = []
    for agreed in whole.iter_rows(named=True):
        rows.append(
            _taken(agreed)
            | {
                "sentence": f"The sample interval of {agreed['source']} changed.",
                "evidence": f"from {agreed['key']}; {agreed['agreeing']} of {agreed['judged']} pumps",
                "sureness": agreed["agreeing"] / agreed["judged"],
            }
        )
    for row in _left(odd, whole).iter_rows(named=True):
        more = f"; {row['changes']} changes" if row["changes"] > 1 else ""
        rows.append(
            _taken(row)
            | {
                "sentence": f"The sample interval of {row['pump_id']} changed.",
                "evidence": f"from {row['key']}{more}",
                "sureness": 1.0,
            }
        )
    return _rows([row | {"blocks": False, "remedy": ""} for row in rows])


def bad_values(db: Database, refused: pl.DataFrame) -> pl.DataFrame:
    """BAD_VALUES: what B12 and B13 found, without what a person said is right, and power that no meter measures.

    Args:
        db: after `mode_b12` and `mode_b13`.
        refused: mode, pump_id: pumps whose verdict of that mode was refused.
    """
    db.load("refused_verdict", refused.select("mode", "pump_id"))
    return BAD_VALUES.conform(db.query("verdicts/bad_value", {"power_least_w": _LEAST_OFFSET_W}))


def _with_source(db: Database, rows: pl.DataFrame) -> pl.DataFrame:
    return rows.join(db.table("pump_source"), on="pump_id", how="inner", maintain_order="left")


def _left(odd: pl.DataFrame, whole: pl.DataFrame) -> pl.DataFrame:
    """The rows of ``odd`` that no verdict on their whole source speaks for."""
    return odd.join(whole, on=["source", "quantity", "key"], how="anti").sort("pump_id", "quantity")


def _same(odd: pl.DataFrame, agreed: Mapping[str, object]) -> pl.DataFrame:
    """The rows of ``odd`` that one verdict on a whole source speaks for."""
    return odd.filter(
        pl.col("source") == agreed["source"], pl.col("quantity") == agreed["quantity"], pl.col("key") == agreed["key"]
    ).sort("pump_id")


def _began_inside(same: pl.DataFrame) -> bool:
    """Whether most pumps were right before: then the source changed on a day, and earlier days stay as they are."""
    return same["fits_before"].sum() * 2 > same.height


def _from(cure: str, row: Mapping[str, object]) -> str:
    return f"{cure} from {row['first_day']}" if cure and row["fits_before"] else cure


def _taken(row: Mapping[str, object]) -> dict[str, object]:
    return {"pump_id": ""} | {name: row[name] for name in SUSPICIONS.columns if name in row}


def _rows(rows: list[dict[str, object]]) -> pl.DataFrame:
    return pl.DataFrame(rows, schema=SUSPICIONS.schema)
