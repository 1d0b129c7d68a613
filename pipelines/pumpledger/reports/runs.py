"""Quarter hours into runs: stretches of one state and one speed, ready to be drawn.

Belongs here: run-length work on whole tables, in polars, once for the fleet. Drawing does not.
"""

from __future__ import annotations

from datetime import date

import polars as pl

QUARTER_MIN = 15.0
SPEED_STEP_RPM = 25  # speeds are keyed in on this grid, so two quarters on one grid step are one run
SHORTEST_MIN = 0.05

Run = tuple[float, float, str, float | None]
"""start_min, duration_min, kind (run, off or unknown), speed_rpm (null unless it runs)."""
DayKey = tuple[str, date]

_KINDS = ("off", "run", "unknown")


def speed_runs(profile: pl.DataFrame) -> dict[DayKey, list[Run]]:
    """Runs of every pump and day of ``profile``, minutes elapsed since local midnight.

    A quarter that holds two states is split by its minutes; the part that continues the neighbour touches it. So the
    drawn minutes of each state are exactly those of the table. The order inside a quarter is not in the table.
    """
    quarters = _with_neighbours(profile)
    parts = pl.concat([_part(quarters, kind) for kind in range(len(_KINDS))]).sort("row", "start_min")
    step = (pl.col("speed_rpm") / SPEED_STEP_RPM).round().fill_null(-1.0)
    continues = (
        (pl.col("pump_id") == pl.col("pump_id").shift())
        & (pl.col("day_local") == pl.col("day_local").shift())
        & (pl.col("kind") == pl.col("kind").shift())
        & (step == step.shift())
        & ((pl.col("start_min") - (pl.col("start_min") + pl.col("duration_min")).shift()).abs() < SHORTEST_MIN)
    ).fill_null(False)
    turned = (pl.col("speed_rpm") * pl.col("duration_min")).fill_null(0.0)
    runs = _run_sums(parts.with_columns(turned.alias("turned")), continues, ("duration_min", "turned")).with_columns(
        pl.when((pl.col("kind") == 1) & pl.col("speed_rpm").is_not_null())
        .then(pl.col("turned") / pl.col("duration_min"))
        .alias("speed_rpm")
    )
    grouped: dict[DayKey, list[Run]] = {}
    columns = ("pump_id", "day_local", "start_min", "duration_min", "kind", "speed_rpm")
    for pump_id, day, start, duration, kind, speed in runs.select(columns).iter_rows():
        grouped.setdefault((pump_id, day), []).append((start, duration, _KINDS[kind], speed))
    return grouped


def plan_runs(plan_slot: pl.DataFrame) -> dict[DayKey, list[Run]]:
    """Runs of the plan in force, off included, so that a day with a plan and a day without can be told apart."""
    slots = plan_slot.select("pump_id", "day_local", "quarter", "planned_speed_rpm").drop_nulls()
    return _merge(slots.sort("pump_id", "day_local", "quarter"), "planned_speed_rpm")


def aux_runs(profile: pl.DataFrame) -> dict[DayKey, list[Run]]:
    """Stretches in which the auxiliary load was energised, by quarter hour."""
    energised = profile.filter(pl.col("aux_min") > 0).select("pump_id", "day_local", "quarter", pl.lit(1.0).alias("on"))
    return _merge(energised.sort("pump_id", "day_local", "quarter"), "on")


def _with_neighbours(profile: pl.DataFrame) -> pl.DataFrame:
    minutes = [pl.col(f"{kind}_min").fill_null(0.0).alias(kind) for kind in _KINDS]
    # Minutes the table does not speak of are unknown, never off.
    unknown = pl.max_horizontal("unknown", QUARTER_MIN - pl.col("run") - pl.col("off"))
    dominant = (
        pl.when((pl.col("unknown") >= pl.col("run")) & (pl.col("unknown") >= pl.col("off")))
        .then(2)
        .when(pl.col("run") >= pl.col("off"))
        .then(1)
        .otherwise(0)
    )
    same_day = (pl.col("pump_id") == pl.col("pump_id").shift()) & (pl.col("day_local") == pl.col("day_local").shift())
    return (
        profile.select("pump_id", "day_local", "quarter", "speed_rpm", *minutes)
        .sort("pump_id", "day_local", "quarter")
        .with_row_index("row")  # whole numbers sort faster than names
        .with_columns(unknown.alias("unknown"))
        .with_columns(dominant.alias("dominant"), same_day.fill_null(False).alias("same_day"))
        .with_columns(
            pl.when("same_day").then(pl.col("dominant").shift()).fill_null(-1).alias("before"),
            pl.when(pl.col("same_day").shift(-1)).then(pl.col("dominant").shift(-1)).fill_null(-1).alias("after"),
        )
    )


def _place(kind: int) -> pl.Expr:
    """Order of a state inside its quarter: beside the neighbour that it continues; ties by kind."""
    return pl.when(pl.col("before") == kind).then(0).when(pl.col("after") == kind).then(2).otherwise(1) * 3 + kind


def _part(quarters: pl.DataFrame, kind: int) -> pl.DataFrame:
    others = [other for other in range(len(_KINDS)) if other != kind]
    earlier = sum(
        (pl.when(_place(other) < _place(kind)).then(pl.col(_KINDS[other])).otherwise(0.0) for other in others),
        start=pl.lit(0.0),
    )
    speed = (
        pl.col("speed_rpm") * (pl.col("run") + pl.col("off")) / pl.col("run")
        if kind == 1
        else pl.lit(None, pl.Float64())
    )
    return quarters.filter(pl.col(_KINDS[kind]) > SHORTEST_MIN).select(
        "row",
        "pump_id",
        "day_local",
        (pl.col("quarter") * QUARTER_MIN + earlier).alias("start_min"),
        pl.col(_KINDS[kind]).alias("duration_min"),
        pl.lit(kind).alias("kind"),
        speed.alias("speed_rpm"),
    )


def _merge(slots: pl.DataFrame, value: str) -> dict[DayKey, list[Run]]:
    continues = (
        (pl.col("pump_id") == pl.col("pump_id").shift())
        & (pl.col("day_local") == pl.col("day_local").shift())
        & (pl.col(value) == pl.col(value).shift())
        & (pl.col("quarter") == pl.col("quarter").shift() + 1)
    ).fill_null(False)
    runs = _run_sums(slots.with_columns(pl.lit(1).alias("quarters")), continues, ("quarters",))
    grouped: dict[DayKey, list[Run]] = {}
    for pump_id, day, quarter, quarters, speed in runs.select(
        "pump_id", "day_local", "quarter", "quarters", value
    ).iter_rows():
        run = (quarter * QUARTER_MIN, quarters * QUARTER_MIN, "run" if speed > 0 else "off", float(speed))
        grouped.setdefault((pump_id, day), []).append(run)
    return grouped


def _run_sums(rows: pl.DataFrame, continues: pl.Expr, summed: tuple[str, ...]) -> pl.DataFrame:
    """The first row of each run, with ``summed`` added up over it: differences of running sums, quicker than groups."""
    running = rows.with_columns((pl.col(name).cum_sum() - pl.col(name)).alias(f"{name}_before") for name in summed)
    starts = running.filter(~continues)
    totals = {name: rows[name].sum() for name in summed}
    return starts.with_columns(
        (pl.col(f"{name}_before").shift(-1, fill_value=totals[name]) - pl.col(f"{name}_before")).round(4).alias(name)
        for name in summed
    )
