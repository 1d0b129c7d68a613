"""B8 and B9: a counter that starts again is told from one that was reset, and no step ever gives negative energy.

Outside: numpy's unsigned integers wrap at 2^16 and 2^32 as RFC 2578's counters do (7.1.6, from memory); the rises must
be those of the steps that were put in.
"""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import polars as pl
import pytest
from counter_log import START, counted, readings, stepped
from hypothesis import given, settings
from hypothesis import strategies as st
from logged_fleet import AUTUMN, LoggedFleet, varied_plan

from pumpledger.engine.database import Database
from pumpledger.profile.build import build_spans
from pumpledger.profile.counters import mend_counters
from pumpledger.verdicts.value_modes import BAD_VALUES

DAY = 96
USUAL = [5, 6, 5, 7] * 24  # a day of quarter hours: 0.2 kW at 0.01 kWh


def kinds(steps: pl.DataFrame) -> list[str]:
    return [kind for kind in steps["kind"] if kind != "plain"]


@pytest.mark.parametrize(
    ("resolution", "turns_at", "modulus"),
    [
        (0.01, 65_536, 655.36),
        (0.1, 1_000_000, 100_000.0),  # 99,999.9 and then 0
        (0.001, 2**32, 4_294_967.296),  # Wh in 32 bits
        (1.0, 100_000, 100_000.0),
        (0.01, 10_000, 100.0),
    ],
)
@pytest.mark.parametrize("before", [1, 3, 40])
def test_a_rollover_is_unwrapped_wherever_the_register_ends(resolution, turns_at, modulus, before) -> None:
    first = turns_at - sum(USUAL[:before]) - 1
    steps, rules = stepped(readings(counted(USUAL, resolution, first, turns_at)))
    assert kinds(steps) == ["rollover"]
    assert rules["modulus"].to_list() == [pytest.approx(modulus)]
    assert steps["rise"].to_list() == pytest.approx([step * resolution for step in USUAL])


@pytest.mark.parametrize("bits", [16, 32])
def test_rises_across_a_wrap_are_those_of_unsigned_arithmetic(bits) -> None:
    kind = {16: np.uint16, 32: np.uint32}[bits]
    shown = (np.array(counted(USUAL, 1, 2**bits - 200)) % 2**bits).astype(kind)
    wrapped = np.diff(shown)  # modulo 2^bits, as unsigned subtraction is
    steps, _ = stepped(readings((shown * 0.01).round(2).tolist()))
    assert steps["rise"].to_list() == pytest.approx((wrapped * 0.01).tolist())
    assert kinds(steps) == ["rollover"]


@pytest.mark.parametrize("after", [0, 4])
@pytest.mark.parametrize("first", [12_345, 70_000, 999])
def test_a_reset_to_nothing_or_a_little_is_not_counted(first, after) -> None:
    values = counted(USUAL[:40], 0.01, first) + counted(USUAL[40:], 0.01, after)
    steps, rules = stepped(readings(values))
    assert kinds(steps) == ["reset"]
    assert rules["modulus"].to_list() == [None]
    assert steps.filter(pl.col("kind") == "reset")["rise"].to_list() == [None]
    assert steps["rise"].sum() == pytest.approx(sum(USUAL) * 0.01)


def test_a_fall_near_a_modulus_that_would_rise_too_fast_is_a_reset() -> None:
    """From 655.00 to 0: 0.36 kWh in a quarter hour, five times what the pump ever drew; 0.10 would pass."""
    near, _ = stepped(readings(counted(USUAL[:40], 0.01, 65_500 - sum(USUAL[:40])) + counted(USUAL[40:], 0.01)))
    assert kinds(near) == ["reset"]
    nearer, _ = stepped(readings(counted(USUAL[:40], 0.01, 65_527 - sum(USUAL[:40])) + counted(USUAL[40:], 0.01)))
    assert kinds(nearer) == ["rollover"]
    assert nearer.filter(pl.col("kind") == "rollover")["rise"][0] == pytest.approx(0.09)


def test_two_resets_and_a_rollover_between_are_three_things() -> None:
    values = counted(USUAL[:30], 0.01, 40_000)
    values += counted(USUAL[30:60], 0.01, 65_536 - sum(USUAL[30:45]), 65_536)
    values += counted(USUAL[60:], 0.01, 3)
    steps, _ = stepped(readings(values))
    assert kinds(steps) == ["impossible", "rollover", "reset"]  # from 401.72 up to 654.5 is no rise
    values = counted(USUAL[:30], 0.01, 50_000) + counted(USUAL[30:60], 0.01, 20_000) + counted(USUAL[60:], 0.01)
    steps, _ = stepped(readings(values))
    assert kinds(steps) == ["reset", "reset"]
    assert steps["rise"].sum() == pytest.approx(sum(USUAL) * 0.01)


def test_jitter_of_one_step_neither_falls_nor_counts_twice() -> None:
    values = counted(USUAL, 0.01, 1000)
    noisy = [round(value - 0.01 * (n % 3 == 2), 6) for n, value in enumerate(values[:50])] + values[50:]
    standing = [10.0, 9.99] * 20
    for shown, truth in ((noisy, sum(USUAL) * 0.01), (standing, 0.0)):
        steps, _ = stepped(readings(shown))
        assert kinds(steps) == []
        assert steps["rise"].min() >= 0
        assert truth - 1e-9 <= steps["rise"].sum() <= truth + 0.01 * len(shown) / 3
    assert steps["rise"].sum() == 0


def test_a_value_that_drops_out_for_one_reading_costs_two_steps_and_no_energy_is_made() -> None:
    values = counted(USUAL, 0.01, 4000)
    values[50] = 0.0
    steps, _ = stepped(readings(values))
    assert kinds(steps) == ["reset", "impossible"]
    assert steps["rise"].sum() == pytest.approx((sum(USUAL) - USUAL[49] - USUAL[50]) * 0.01)


def test_priming_is_no_impossible_rise() -> None:
    """Five-minute samples, 0.05 kW and then 2 kW for one of them: no hourly mean shows that rate."""
    day = [4, 4, 4, 4, 4, 167, *[4] * 282]
    steps, _ = stepped(readings(counted(day, 0.001, 4_000_000), step_min=5))
    assert kinds(steps) == []
    fell = counted([*day, *day[:100]], 0.001, 2**32 - sum(day[:5]) - 160, 2**32) + counted(day[100:], 0.001, 500)
    steps, _ = stepped(readings(fell, step_min=5))
    assert kinds(steps) == ["rollover", "reset"]  # the rollover lies in the priming


def test_a_fall_over_a_long_hole_is_a_reset() -> None:
    """Within a day at 2 kW much lies near a modulus; over two days a new meter is as likely."""
    log = readings(counted([20] * 100, 0.01, 8_200, 10_000))
    before, after = START + timedelta(hours=20), START + timedelta(hours=24)
    hole = log.filter((pl.col("time_utc") < before) | (pl.col("time_utc") > after))
    assert kinds(stepped(log)[0]) == kinds(stepped(hole)[0]) == ["rollover"]
    moved = pl.when(pl.col("time_utc") > after).then(pl.col("time_utc") + timedelta(days=2)).otherwise("time_utc")
    later = hole.with_columns(time_utc=moved)
    assert kinds(stepped(later)[0]) == ["reset"]


def test_run_hours_roll_over_too_and_never_run_faster_than_time() -> None:
    steps, rules = stepped(readings(counted([25] * 60, 0.01, 999_000, 1_000_000), "run_total_h"))
    assert (kinds(steps), rules["modulus"].to_list()) == (["rollover"], [10_000.0])
    minutes, rules = stepped(
        readings([n / 4 + 7 + 1 / 60 for n in range(40)] + [n / 4 for n in range(20)], "run_total_h")
    )
    assert kinds(minutes) == ["reset"]
    assert rules["resolution"].to_list() == [pytest.approx(1 / 60)]


def test_pumps_and_counters_do_not_mix() -> None:
    one = readings(counted(USUAL, 0.01, 60_000))
    other = readings(counted(USUAL, 0.01, 100)).with_columns(pump_id=pl.lit("P0"))
    steps, rules = stepped(pl.concat([one, other]))
    assert kinds(steps) == [] and rules.is_empty()
    assert steps.height == 2 * DAY


steps_and_breaks = st.lists(
    st.one_of(st.integers(0, 9), st.sampled_from(["reset", "jitter"])), min_size=40, max_size=120
)


@settings(max_examples=30, deadline=None)
@given(steps_and_breaks, st.integers(0, 65_535), st.booleans())
def test_no_step_is_ever_negative_and_none_counts_more_than_was_drawn(log, first, wraps) -> None:
    total, drawn, shown, jittered = first, 0, [], 0
    for item in [*USUAL[:20], *log]:
        if item == "reset":
            total = 0
        elif item == "jitter":
            jittered += 1
        else:
            total, drawn = total + item, drawn + item
        shown.append(((total % 65_536 if wraps else total) - (item == "jitter" and total > 0)) * 0.01)
    steps, _ = stepped(readings([round(max(value, 0), 6) for value in shown]))
    known = steps["rise"].drop_nulls()
    assert known.is_empty() or known.min() >= 0
    # a reset so near a modulus that it passes for a rollover gives at most what the pump may have drawn in that step
    resets = log.count("reset")
    assert known.sum() <= drawn * 0.01 + 0.02 * jittered + resets * 0.25 + 1e-6


@settings(max_examples=30, deadline=None)
@given(steps_and_breaks, st.integers(0, 65_535))
def test_a_mended_counter_gives_the_same_by_plain_differences(log, first) -> None:
    total, shown = first, []
    for item in [*USUAL[:20], *log]:
        total = 0 if item == "reset" else total + (item if isinstance(item, int) else -1)
        shown.append(round(max(total % 65_536, 0) * 0.01, 6))
    given_log = readings(shown)
    steps, _ = stepped(given_log)
    with Database(threads=1) as db:
        db.load("reading", given_log)
        mend_counters(db)
        mended = db.table("counter_mended")
    joined = given_log.join(mended, on=["pump_id", "time_utc"], how="left", suffix="_mended").sort("time_utc")
    values = joined.select(pl.coalesce("energy_total_kwh_mended", "energy_total_kwh")).to_series()
    rises = values.diff().drop_nulls().to_list()
    for rise, known in zip(rises, steps["rise"].to_list(), strict=True):
        assert rise < 0 if known is None else rise == pytest.approx(known, abs=1e-9)


@pytest.mark.parametrize(
    ("spoilt", "costs_kwh"),
    [
        (lambda kwh: round(kwh % 655.36, 2), 0),
        (lambda kwh: kwh - 648.0 if kwh > 652 else kwh, 0.15),  # a quarter hour at 2200 rev/min, 0.6 kW
    ],
)
def test_spans_over_a_mended_counter_hold_what_was_drawn(spoilt, costs_kwh) -> None:
    """Against the same log unspoilt; a reset costs the one quarter hour in which it fell."""
    energy = {}
    for name, change in (("sound", lambda kwh: kwh), ("spoilt", spoilt)):
        fleet = LoggedFleet(AUTUMN)
        fleet.pump("P1", varied_plan(0))
        fleet.count("P1", first_kwh=645.0)
        fleet.edit("P1", lambda row, change=change: {"energy_total_kwh": change(row["energy_total_kwh"])})
        with fleet.database() as db:
            db.load("bad_value", BAD_VALUES.empty())
            db.load("weather", pl.DataFrame(schema={"weather": pl.String, "time_utc": pl.Datetime("us"),
                                                    "air_temperature_c": pl.Float64}))  # fmt: skip
            build_spans(db, timedelta(hours=1))
            energy[name] = db.table("span")["energy_kwh"].sum()
    assert energy["spoilt"] == pytest.approx(energy["sound"] - costs_kwh, abs=0.011)


def test_sound_counters_are_left_as_they_are() -> None:
    with Database(threads=1) as db:
        db.load("reading", readings(counted(USUAL, 0.01, 5)))
        mend_counters(db)
        assert db.table("counter_mended").is_empty()
