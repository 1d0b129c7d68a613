"""B12 frozen values, B13 straight lines, B16 another sample interval: given readings, near misses, and what is taken as
missing."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import polars as pl
import pytest
from verdict_fleet import START, Fleet, Log, healthy

from pumpledger.verdicts.run import verdict_id
from pumpledger.verdicts.store import Decision, Decisions


def bare(step_s: int = 300, **fields: object) -> Log:
    log = healthy(step_s=step_s, **fields)
    log.energy_total_kwh = log.run_total_h = log.flow_m3h = None
    return log


def change_at(log: Log, day: int = 2) -> int:
    """Index of the first sample after the plan goes from 1500 to 1100 rpm on ``day``."""
    return (day * 86400 + 12 * 3600) // log.hold_s


def refusal(mode: str) -> Decisions:
    identifier = verdict_id(mode, "gateway", "P-1", "power", "")
    return Decisions(
        (Decision(identifier, "refused", "a tester", date(2026, 11, 9), "", mode, "gateway", "P-1", "power", ""),)
    )


# --- B12 ---


def frozen(before: int, after: int, **fields: object) -> Log:
    log = bare(**fields)
    at = change_at(log)
    log.power_w[at - before : at + after] = log.power_w[at - before]
    return log


def test_power_that_stands_still_across_a_change_of_speed_is_missing() -> None:
    fleet = Fleet().add(frozen(5, 7))
    (row,) = fleet.weigh("B12")
    assert (row["state"], row["blocks"], row["remedy"], row["pump_id"]) == ("applied", False, "", "P-1")
    assert "the longest is 12 readings" in row["evidence"]
    first = START + timedelta(days=2, hours=12, minutes=-20)  # the first of the twelve was true
    assert fleet.bad["time_utc"].to_list() == [first + timedelta(minutes=5 * n) for n in range(11)]
    assert set(fleet.bad["quantity"]) == {"power"}


@pytest.mark.parametrize(
    ("log", "why"),
    [
        (lambda: frozen(2, 3), "five samples"),
        (lambda: frozen(9, 2), "speed and power read two samples apart"),
        (lambda: frozen(2, 9), "speed and power read two samples apart"),
        (lambda: frozen(20, 0), "the same watts at a steady speed, as a coarse meter gives"),
    ],
)
def test_what_is_not_frozen(log: object, why: str) -> None:
    fleet = Fleet().add(log())
    assert fleet.weigh("B12") == [] and fleet.bad.is_empty(), why


def test_a_meter_too_coarse_to_show_the_change_is_not_frozen() -> None:
    log = bare(speed=lambda minute: np.where(minute < 720, 1500.0, 1560.0))  # 220 W and 242 W in steps of 50 W
    log.power_w = np.round(log.power_w / 50) * 50
    log.power_w[log.power_w == 200] = 250
    assert Fleet().add(log).weigh("B12") == []


def test_a_tripped_drive_is_not_frozen_but_a_finding() -> None:
    log = bare()
    log.power_w = np.full(len(log.power_w), 3.4)
    assert Fleet().add(log).weigh("B12") == []


def at_rest(digits: tuple[float, ...], stood: int) -> Log:
    """Rest that shows ``digits`` [W] by turns of chance, and stands at 3.4 W over ``stood`` samples about a start."""
    log = bare()
    resting = log.speed_rpm == 0
    log.power_w[resting] = np.random.default_rng(5).choice(digits, resting.sum())
    at = (2 * 86400 + 6 * 3600) // log.hold_s
    log.power_w[at - stood // 2 : at + stood // 2] = 3.4
    return log


@pytest.mark.parametrize(
    ("digits", "stood", "readings"),
    [
        ((3.4, 3.5), 60, 59),  # half of the steps are equal: 0.5 to the power of 59
        ((3.4, 3.5), 16, 0),  # 0.5 to the power of 15 is above a millionth
        ((3.4,), 60, 0),  # a meter that always shows the same at rest
    ],
)
def test_what_stands_still_from_rest_on_is_frozen_where_rest_lives(digits, stood, readings) -> None:
    fleet = Fleet().add(at_rest(digits, stood))
    rows = fleet.weigh("B12")
    assert len(rows) == bool(readings) and abs(fleet.bad.height - readings) <= 2 * bool(readings)


def test_a_drive_that_tripped_shows_what_rest_shows() -> None:
    log = at_rest((3.4, 3.5), 0)
    dead = slice((2 * 86400 + 7 * 3600) // 300, (2 * 86400 + 11 * 3600) // 300)
    log.power_w[dead] = np.random.default_rng(6).choice((3.4, 3.5), dead.stop - dead.start)
    assert Fleet().add(log).weigh("B12") == []


def test_a_hole_in_the_log_ends_a_run() -> None:
    log = frozen(3, 4)
    at = change_at(log)
    log.time_utc = [moment + timedelta(hours=2) * (n >= at) for n, moment in enumerate(log.time_utc)]
    assert Fleet().add(log).weigh("B12") == []


def test_frozen_needs_speed_and_power() -> None:
    log = frozen(8, 8)
    log.speed_rpm = np.full(len(log.power_w), np.nan)
    assert Fleet().add(log).weigh("B12") == []


def test_a_refused_freeze_is_taken_as_measured() -> None:
    fleet = Fleet().add(frozen(8, 8))
    (row,) = fleet.weigh("B12", decisions=refusal("B12"))
    assert row["state"] == "refused" and fleet.bad.is_empty()


# --- B13 ---


def filled(differences: int, digits: int = 6, step_s: int = 300, rise: float = 600.0, speed: bool = False) -> Log:
    """A hole of steady running on day 3, filled with a straight line of ``differences``."""
    log = bare(step_s=step_s)
    at = (3 * 86400 + 13 * 3600) // step_s
    for values in (log.power_w, log.speed_rpm)[: 2 if speed else 1]:
        line = np.linspace(values[at], values[at] + rise, differences + 1)
        values[at : at + differences + 1] = np.round(line, digits)
    return log


def test_a_straight_line_across_a_gap_is_missing_but_for_its_ends() -> None:
    fleet = Fleet().add(filled(12))
    (row,) = fleet.weigh("B13")
    assert (row["state"], row["blocks"], row["remedy"]) == ("applied", False, "")
    assert "for 60 min" in row["evidence"]
    begin = START + timedelta(days=3, hours=13)
    inside = [begin + timedelta(minutes=5 * n) for n in range(1, 12)]
    assert fleet.bad.filter(pl.col("quantity") == "power")["time_utc"].to_list() == inside
    assert fleet.bad.height == 3 * len(inside)


@pytest.mark.parametrize("log", [lambda: filled(6), lambda: filled(7, digits=1), lambda: filled(40, digits=0)])
def test_short_and_rounded_lines_are_found(log: object) -> None:
    assert len(Fleet().add(log()).weigh("B13")) == 1


def test_a_line_in_speed_alone_is_found_where_no_power_is_logged() -> None:
    log = filled(12, digits=0, speed=True)
    log.power_w = np.full(len(log.power_w), np.nan)
    assert len(Fleet().add(log).weigh("B13")) == 1


@pytest.mark.parametrize(
    ("log", "why"),
    [
        (lambda: filled(5), "five differences"),
        (lambda: filled(11, step_s=10, rise=2000), "a drive that starts: under two minutes"),
        (lambda: filled(12, rise=0), "a level line: equal differences of nothing"),
        (lambda: filled(12, rise=1.2, digits=1), "a drift of half a percent in steps of the resolution"),
        (lambda: _curve(), "a motor that warms up falls along a curve, not along a line"),
    ],
)
def test_what_is_no_straight_line(log: object, why: str) -> None:
    fleet = Fleet().add(log())
    assert fleet.weigh("B13") == [] and fleet.bad.is_empty(), why


def _curve() -> Log:
    log = bare()
    at = change_at(log)
    log.power_w[at : at + 30] = np.round(110 + 60 * np.exp(-np.arange(30) / 8))
    return log


def test_a_line_across_midnight_is_one_line() -> None:
    log = bare(speed=lambda minute: np.full(len(minute), 1500.0))
    at = 4 * 288 - 6  # the local day begins at index 0, so midnight lies inside
    log.power_w[at : at + 13] = np.linspace(200, 500, 13)
    fleet = Fleet().add(log)
    (row,) = fleet.weigh("B13")
    assert "1 lines" in row["evidence"] and fleet.bad.height == 3 * 11


def test_a_refused_line_is_taken_as_measured() -> None:
    fleet = Fleet().add(filled(12))
    (row,) = fleet.weigh("B13", decisions=refusal("B13"))
    assert row["state"] == "refused" and fleet.bad.is_empty()


# --- B16 ---


def joined(*parts: Log) -> Log:
    """The readings of the first log up to day 7, those of the second from there."""
    first, second = parts
    early = np.array([moment < START + timedelta(days=7) for moment in first.time_utc])
    late = np.array([moment >= START + timedelta(days=7) for moment in second.time_utc])
    times = [m for m, keep in zip(first.time_utc, early, strict=True) if keep]
    times += [m for m, keep in zip(second.time_utc, late, strict=True) if keep]
    both = [np.concatenate([a[early], b[late]]) for a, b in
            ((first.speed_rpm, second.speed_rpm), (first.power_w, second.power_w))]  # fmt: skip
    return Log(times, *both)


def test_another_sample_interval_is_noted() -> None:
    (row,) = Fleet().add(joined(bare(300), bare(900))).weigh("B16")
    assert (row["quantity"], row["state"], row["blocks"]) == ("time", "applied", False)
    assert row["evidence"].startswith("from 300 s to 900 s on 2026-11-02")


def test_a_source_that_changes_all_its_loggers_says_so_once() -> None:
    fleet = Fleet()
    for number in range(4):
        fleet.add(joined(bare(300), bare(900)), pump_id=f"P-{number}")
    (row,) = fleet.weigh("B16")
    assert row["pump_id"] == "" and row["pumps"] == 4


def test_jitter_gaps_and_logs_of_changes_are_no_other_interval() -> None:
    jitter = bare(60)
    shift = np.random.default_rng(3).integers(-3, 4, len(jitter.time_utc))
    jitter.time_utc = [m + timedelta(seconds=int(s)) for m, s in zip(jitter.time_utc, shift, strict=True)]
    assert Fleet().add(jitter).weigh("B16") == []

    gaps = bare(300)
    keep = np.random.default_rng(4).random(len(gaps.time_utc)) > 0.2
    gaps = Log([m for m, k in zip(gaps.time_utc, keep, strict=True) if k], gaps.speed_rpm[keep], gaps.power_w[keep])
    assert Fleet().add(gaps).weigh("B16") == []

    events = joined(bare(300), bare(900))
    events.hold_s = 0
    assert Fleet().add(events).weigh("B16") == []
