"""Readings to spans with causes: given rows, expected spans; 24- and 25-hour days; holes, counters, repeats of no row."""

from __future__ import annotations

from datetime import date, datetime, timedelta

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pumpledger.engine.database import Database
from pumpledger.engine.tables import PROFILE, READINGS, SPANS
from pumpledger.profile.build import build_profile, build_spans
from pumpledger.profile.calendar import load_calendar
from pumpledger.verdicts.value_modes import BAD_VALUES

ZONE = "America/Los_Angeles"
DAY = date(2026, 10, 30)
MIDNIGHT = datetime(2026, 10, 30, 7)  # local midnight as UTC, offset -07:00
PLAN = [(1, 2600.0, 480, 540), (2, 1200.0, 540, 1080)]  # 08:00-09:00 fast, 09:00-18:00 slow


def at(minute: float) -> datetime:
    return MIDNIGHT + timedelta(minutes=minute)


def reading(minute: float, rpm: float | None, watts: float | None = None, **fields: object) -> dict[str, object]:
    row = dict.fromkeys(READINGS.columns) | {
        "pump_id": "P1",
        "time_utc": at(minute),
        "speed_rpm": rpm,
        "power_w": watts,
    }
    row |= {"export_id": "e", "line": int(minute * 10) + 2, "day_local": (at(minute) - timedelta(hours=7)).date()}
    return row | fields


def every(step: float, states: list[tuple[float, float, float]], stop: float = 1440) -> list[dict[str, object]]:
    """Samples each ``step`` minutes of (from minute, rpm, W), in force from that minute on."""
    rows, minute = [], 0.0
    while minute < stop:
        rpm, watts = next((rpm, watts) for start, rpm, watts in reversed(states) if start <= minute)
        rows.append(reading(minute, rpm, watts))
        minute += step
    return rows


def spans(
    rows: list[dict[str, object]],
    hold_s: int = 300,
    gap_limit_s: int = 1200,
    plan: list[tuple[int, float, int, int]] | None = PLAN,
    days: tuple[date, ...] = (DAY,),
    air_c: float | None = None,
    **pump: object,
) -> Database:
    """A database with ``span`` and ``profile`` of one pump."""
    db = Database(threads=2)
    weather = [(at(60 * hour - 600), air_c) for hour in range(80)] if air_c is not None else []
    db.load("site", pl.DataFrame({"site_id": ["S1"], "zone": [ZONE], "weather": ["w"]}))
    fields = {
        "priming_speed_rpm": 1800.0,
        "priming_min": 5.0,
        "freeze_setpoint_c": None,
        "freeze_speed_rpm": None,
        "aux_min_speed_rpm": None,
    } | pump
    number = dict.fromkeys(fields, pl.Float64)
    db.load("pump", pl.DataFrame([{"pump_id": "P1", "site_id": "S1", **fields}], schema_overrides=number))
    periods = [("P1", date(2026, 1, 1), *period) for period in plan or []]
    names = {"pump_id": pl.String, "valid_from": pl.Date, "period": pl.Int64, "speed_rpm": pl.Float64}
    db.load("plan", pl.DataFrame(periods, schema=names | {"start_min": pl.Int64, "stop_min": pl.Int64}, orient="row"))
    stations = {"weather": pl.String, "time_utc": pl.Datetime("us"), "air_temperature_c": pl.Float64}
    db.load("weather", pl.DataFrame([("w", *row) for row in weather], schema=stations, orient="row"))
    load_calendar(db, [ZONE], list(days))
    db.load("reading", READINGS.conform(pl.DataFrame(rows, schema=READINGS.schema)))
    db.load("export_hold", pl.DataFrame({"export_id": ["e"], "hold_s": [hold_s], "gap_limit_s": [gap_limit_s]}))
    db.load("bad_value", BAD_VALUES.empty())
    build_spans(db, timedelta(seconds=gap_limit_s))
    build_profile(db)
    return db


def told(db: Database) -> list[tuple[float, float, str, float | None]]:
    """(start, end, cause, speed) in minutes of the day."""
    rows = SPANS.conform(db.table("span")).select("start_min", "duration_min", "cause", "speed_rpm").rows()
    return [(start, start + length, cause, rpm and round(rpm)) for start, length, cause, rpm in rows]


def causes(db: Database) -> list[str]:
    return [cause for _, _, cause, _ in told(db)]


ON_PLAN = [(0, 0, 4), (480, 1800, 300), (485, 2600, 1200), (540, 1200, 130), (1080, 0, 4)]


def test_a_day_on_plan_primes_and_follows_its_periods() -> None:
    assert told(spans(every(5, ON_PLAN))) == [
        (0, 480, "off", 0),
        (480, 485, "priming", 1800),
        (485, 540, "plan period", 2600),
        (540, 1080, "plan period", 1200),
        (1080, 1440, "off", 0),
    ]


def test_energy_is_power_times_real_time() -> None:
    table = spans(every(5, ON_PLAN)).table("span")
    kwh = (480 * 4 + 5 * 300 + 55 * 1200 + 540 * 130 + 360 * 4) / 60_000
    assert table["energy_kwh"].sum() == pytest.approx(kwh, rel=1e-12)


@pytest.mark.parametrize(
    ("ramp", "expected"),
    [
        # Caught on the way from 1200 to 3000: the interval after it ran at 3000.
        ([(600, 2100, 700)], [(540, 600, 1200), (600, 800, 3000)]),
        # Two samples alike are a speed, not a ramp.
        ([(600, 2100, 700), (605, 2101, 700)], [(540, 600, 1200), (600, 610, 2100), (610, 800, 3000)]),
        # Not on the way: a speed of its own.
        ([(600, 3300, 2000)], [(540, 600, 1200), (600, 605, 3300), (605, 800, 3000)]),
    ],
)
def test_a_sample_caught_on_a_ramp_stands_for_the_speed_that_follows(
    ramp: list[tuple[float, float, float]], expected: list[tuple[float, float, float]]
) -> None:
    after = ramp[-1][0] + 5
    states = [*ON_PLAN[:4], *ramp, (after, 3000, 1600), (800, 1200, 130), (1080, 0, 4)]
    db = spans(every(5, states))
    assert [(start, stop, rpm) for start, stop, _, rpm in told(db) if 540 <= start < 800] == expected
    watts = {1200: 130, 2100: 700, 3000: 1600, 3300: 2000}
    kwh = sum((stop - start) * watts[rpm] for start, stop, rpm in expected) / 60_000
    rows = db.table("span").filter(pl.col("start_utc").is_between(at(540), at(800), closed="left"))
    assert rows["energy_kwh"].sum() == pytest.approx(kwh, rel=1e-12)


def test_a_sample_on_a_ramp_in_a_log_of_means_is_a_mean() -> None:
    states = [*ON_PLAN[:4], (600, 2100, 700), (605, 3000, 1600), (800, 1200, 130), (1080, 0, 4)]
    rows = [row | {"interval_s": 300.0} for row in every(5, states)]
    assert 2100 in [rpm for _, _, _, rpm in told(spans(rows))]


def test_a_pump_seen_late_by_one_sample_is_still_on_its_plan() -> None:
    late = [(0, 0, 4), (485, 1800, 300), (490, 2600, 1200), (545, 1200, 130), (1085, 0, 4)]
    assert set(causes(spans(every(5, late)))) == {"off", "priming", "plan period"}


def test_an_override_returns_to_the_plan_within_a_day() -> None:
    states = [*ON_PLAN[:4], (600, 3000, 1600), (800, 1200, 130), (1080, 0, 4)]
    assert (600, 800, "override", 3000) in told(spans(every(5, states)))


def test_an_override_goes_on_across_a_short_hole_in_the_log() -> None:
    states = [*ON_PLAN[:4], (600, 3000, 1600), (800, 1200, 130), (1080, 0, 4)]
    rows = [row for row in every(5, states) if not 700 < (row["time_utc"] - MIDNIGHT).total_seconds() / 60 < 740]
    found = told(spans(rows))
    assert [item for item in found if 600 <= item[0] < 800] == [
        (600, 705, "override", 3000), (705, 740, "unknown", None), (740, 800, "override", 3000),
    ]  # fmt: skip


def test_what_never_returns_to_the_plan_is_no_override() -> None:
    assert (600, 1080, "unexplained", 3000) in told(spans(every(5, [*ON_PLAN[:4], (600, 3000, 1600)])))


@pytest.mark.parametrize(("air_c", "cause"), [(1.0, "freeze protection"), (12.0, "override")])
def test_freeze_protection_needs_its_speed_and_the_cold(air_c: float, cause: str) -> None:
    states = [(0, 0, 4), (100, 1500, 200), (300, 0, 4), *ON_PLAN[1:]]
    found = told(spans(every(5, states), air_c=air_c, freeze_setpoint_c=3.0, freeze_speed_rpm=1500.0))
    assert (100, 300, cause, 1500) in found


def test_without_a_plan_running_is_unexplained_and_never_an_override() -> None:
    assert set(causes(spans(every(5, ON_PLAN), plan=None))) == {"off", "priming", "unexplained"}


def test_a_gap_longer_than_the_limit_is_unknown_after_one_interval() -> None:
    rows = [row for row in every(5, ON_PLAN) if not 600 < (row["time_utc"] - MIDNIGHT).total_seconds() / 60 < 700]
    db = spans(rows)
    assert (605, 700, "unknown", None) in told(db)
    assert db.table("span").filter(pl.col("cause") == "unknown")["energy_kwh"].to_list() == [None]


def test_a_change_among_lost_samples_was_not_seen() -> None:
    """Two samples lost around the change at 18:00, within the gap limit: the stretch between is unknown, not guessed."""
    rows = [row for row in every(5, ON_PLAN) if row["time_utc"] not in (at(1080), at(1085))]
    assert (1080, 1090, "unknown", None) in [item for item in told(spans(rows)) if item[2] == "unknown"]
    same = [row for row in every(5, ON_PLAN) if row["time_utc"] not in (at(700), at(705))]
    assert "unknown" not in causes(spans(same))


def test_counters_are_differenced_and_a_counter_that_falls_gives_no_energy() -> None:
    totals = [10.0, 10.3, 10.6, 0.1, 0.4]  # replaced between the third and the fourth reading
    rows = [reading(600 + 15 * n, 1200, energy_total_kwh=total) for n, total in enumerate(totals)]
    db = spans(rows, hold_s=900, gap_limit_s=2700)
    assert db.table("span")["energy_kwh"].sum() == pytest.approx(0.3 + 0.3 + 0.3)
    assert (
        db.table("span").filter(pl.col("kind") == "run")["power_w"].null_count()
        == db.table("span").filter(pl.col("kind") == "run").height
    )


def test_interval_means_cover_their_interval_and_no_more() -> None:
    rows = [reading(600, 1200, 130, interval_s=900), reading(630, 1200, 130, interval_s=900)]
    known = [item for item in told(spans(rows, hold_s=900, gap_limit_s=1800)) if item[2] != "unknown"]
    assert known == [(600, 615, "plan period", 1200), (630, 645, "plan period", 1200)]


def test_a_mean_of_two_speeds_is_an_edge_of_the_plan() -> None:
    rows = [
        reading(15 * n, rpm, 100, interval_s=900) for n, rpm in enumerate([0] * 32 + [2600] * 4 + [1900] + [1200] * 35)
    ]
    found = told(spans(rows, hold_s=900, gap_limit_s=1800))
    assert (540, 555, "plan period", 1900) in found


def test_a_change_of_state_holds_until_the_next_and_over_midnight() -> None:
    rows = [reading(0, 0, 4), reading(1300, 1200, 130), reading(1640, 0, 4)]
    db = spans(rows, hold_s=0, gap_limit_s=24 * 3600, days=(DAY, DAY + timedelta(days=1)))
    table = db.table("span").filter(pl.col("kind") == "run")
    assert table.group_by("day_local").agg(pl.col("duration_min").sum()).sort("day_local").rows() == [
        (DAY, 140.0), (DAY + timedelta(days=1), 200.0),
    ]  # fmt: skip
    assert table["energy_kwh"].sum() == pytest.approx(340 * 130 / 60_000)


@pytest.mark.parametrize(("day", "quarters"), [(date(2026, 11, 1), 100), (date(2026, 3, 8), 92), (DAY, 96)])
def test_the_profile_has_the_quarters_of_the_local_day(day: date, quarters: int) -> None:
    """IANA time zone database: 25, 23 and 24 hours in America/Los_Angeles."""
    profile = PROFILE.conform(spans([], days=(day,)).table("profile"))
    assert profile.height == quarters
    assert profile["unknown_min"].sum() == 15 * quarters
    assert profile["clock_local"].n_unique() == min(quarters, 96)


def test_the_hour_that_happens_twice_runs_twice() -> None:
    night = [(1, 1500.0, 60, 120)]  # 01:00-02:00 by the wall clock
    windows = spans([], plan=night, days=(date(2026, 11, 1),)).table("plan_window")
    assert ((windows["end_utc"] - windows["start_utc"]).dt.total_minutes()).sum() == 120


@settings(max_examples=15, deadline=None, derandomize=True)
@given(
    st.lists(
        st.tuples(st.integers(0, 1439), st.sampled_from([0.0, 850.0, 1200.0, 2600.0, 3450.0]), st.booleans()),
        unique_by=lambda row: row[0],
        max_size=60,
    )
)
def test_spans_fill_the_day_once_and_the_profile_says_the_same(rows: list[tuple[int, float, bool]]) -> None:
    db = spans([reading(minute, rpm, rpm / 10, aux_on=aux) for minute, rpm, aux in rows], hold_s=60, gap_limit_s=600)
    table = db.table("span").sort("start_utc")
    assert table["duration_min"].sum() == pytest.approx(1440)
    assert (table["end_utc"][:-1] == table["start_utc"][1:]).all()
    profile = db.table("profile")
    for kind in ("run", "off", "unknown"):
        by_spans = table.filter(pl.col("kind") == kind)["duration_min"].sum()
        assert profile[f"{kind}_min"].sum() == pytest.approx(by_spans, abs=1e-6)
    assert profile["energy_kwh"].sum() == pytest.approx(table["energy_kwh"].sum(), abs=1e-6)


def test_walking_in_order_equals_windows_by_pump() -> None:
    """`steady.sql` walks along the ordered table; a window partitioned by pump must find the same neighbours."""
    rows = [
        reading(minute, 100.0 * (minute % 7), 5.0, pump_id=f"P{pump}")
        for pump in range(40)
        for minute in range(0, 300, 5)
    ]
    with Database(threads=2) as db:
        db.load("ordered", READINGS.conform(pl.DataFrame(rows, schema=READINGS.schema)))
        walked, windowed = (
            db.connection.sql(
                f"select pump_id, time_utc, lag(time_utc) over ({window}) as before, lead(time_utc) over ({window}) as after "
                f"from ordered qualify {inside}"
            ).pl().sort("pump_id", "time_utc")
            for window, inside in (
                ("", "lag(pump_id) over () = pump_id and lead(pump_id) over () = pump_id"),
                ("partition by pump_id order by time_utc", "before is not null and after is not null"),
            )
        )  # fmt: skip
    assert walked.height == 40 * 58 and walked.equals(windowed)
