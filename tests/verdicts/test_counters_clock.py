"""B7, B8 and B9 as verdicts: the logger's clock is set while the counters go on, registers start again, meters change.

Clocks are set by hand in logs that are right; near misses are holes in the log through which the counters went on,
pumps that stood, and single wrong values.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime, timedelta

import pytest
from logged_fleet import AUTUMN, LoggedFleet, varied_plan

from pumpledger.verdicts.registry import MODES, mode_parameters

PLAN = varied_plan(0)  # runs from 06:00 to 15:30 by the wall clock: 14:00 to 23:30 UTC in November
SET = datetime(2026, 11, 4, 18, 5)


def weighed(fleet: LoggedFleet, mode: str) -> list[dict]:
    with fleet.database() as db:
        return MODES[mode].find(db, mode_parameters(MODES[mode])).to_dicts()


def a_log(edit: Callable[[dict], dict] = lambda row: {}, drop: tuple[str, ...] = (), step_min: int = 15) -> LoggedFleet:
    """Two pumps with counters; ``edit`` changes the first one's rows, ``drop`` takes columns of it away."""
    fleet = LoggedFleet(AUTUMN, step_min)
    for pump in ("P1", "P2"):
        fleet.pump(pump, PLAN)
        fleet.count(pump)
    fleet.edit("P1", edit)
    fleet.edit("P1", lambda row: dict.fromkeys(drop))
    return fleet


def set_clock(minutes: int, at: datetime = SET, until: datetime = datetime(2027, 1, 1)) -> Callable[[dict], dict]:
    """Stamps ``minutes`` on from an instant on, by the logger's own clock."""
    return lambda row: {"time_utc": row["time_utc"] + timedelta(minutes=minutes * (at <= row["time_utc"] < until))}


@pytest.mark.parametrize("mode", ["B7", "B8", "B9"])
def test_sound_counters_say_nothing(mode) -> None:
    assert weighed(a_log(), mode) == []


@pytest.mark.parametrize("drop", [(), ("run_total_h",), ("energy_total_kwh",)])
@pytest.mark.parametrize("minutes", [-60, -23, -180])
def test_a_clock_set_back_is_seen_by_either_counter(minutes, drop) -> None:
    (row,) = weighed(a_log(set_clock(minutes), drop), "B7")
    assert (row["source"], row["pump_id"], row["quantity"], row["remedy"], row["blocks"]) == (
        "gateway",
        "P1",
        "time",
        "",
        False,
    )
    assert "set back" in row["sentence"]
    assert row["first_day"] == row["last_day"] == date(2026, 11, 4)
    assert row["sureness"] == 1.0


def test_the_instants_and_both_times_are_told() -> None:
    """Rows that the clock runs over again are refused as repeats; the step after them counts an hour too much."""
    (row,) = weighed(a_log(set_clock(-60)), "B7")
    assert row["sentence"] == "The logger's clock was set back once, against the pump's own counters."
    assert row["evidence"].startswith(
        "2026-11-04 18:00 to 2026-11-04 18:15 UTC: 15 min by the stamps, 75 min by the run-hour counter"
    )


def test_interleaved_rows_of_a_clock_set_back_are_no_resets() -> None:
    """23 min: the stamps fall between those that were there."""
    fleet = a_log(set_clock(-23))
    assert len(weighed(fleet, "B7")) == 1
    assert weighed(fleet, "B8") == weighed(fleet, "B9") == []


@pytest.mark.parametrize("drop", [(), ("run_total_h",), ("energy_total_kwh",)])
def test_a_clock_moved_ahead_while_the_plan_runs_may_also_be_a_power_cut(drop) -> None:
    (row,) = weighed(a_log(set_clock(120, datetime(2026, 11, 4, 16, 5)), drop), "B7")
    assert "moved ahead once" in row["sentence"] and "may also have stood without power" in row["sentence"]


def test_moved_ahead_and_back_again_is_told_once() -> None:
    (row,) = weighed(a_log(set_clock(120, datetime(2026, 11, 4, 16, 5), datetime(2026, 11, 4, 19, 50))), "B7")
    assert "set back once and moved ahead once" in row["sentence"]


@pytest.mark.parametrize("minutes", [-8, 40])
def test_a_few_minutes_back_and_a_short_hole_are_no_jump(minutes) -> None:
    assert weighed(a_log(set_clock(minutes)), "B7") == []


def test_a_hole_through_which_the_counters_went_on_is_no_jump() -> None:
    fleet = a_log()
    fleet.lose("P1", lambda row: datetime(2026, 11, 4, 16) < row["time_utc"] < datetime(2026, 11, 4, 22))
    fleet.lose("P1", lambda row: datetime(2026, 11, 5, 4) < row["time_utc"] < datetime(2026, 11, 6, 20))
    assert weighed(fleet, "B7") == []


def test_a_pump_that_stood_through_its_plan_with_the_logger_awake_is_no_jump() -> None:
    fleet = LoggedFleet(AUTUMN)
    fleet.pump("P1", PLAN, runs=((1, 2200, 360, 450), (2, 1100, 520, 700), (3, 1100, 800, 930)))
    fleet.count("P1")
    assert weighed(fleet, "B7") == []


def test_a_hole_over_a_pause_of_the_plan_is_no_jump() -> None:
    plan = ((1, 1500, 360, 600), (2, 1500, 720, 960))
    fleet = LoggedFleet(AUTUMN)
    fleet.pump("P1", plan)
    fleet.count("P1")
    fleet.lose("P1", lambda row: datetime(2026, 11, 4, 17, 45) < row["time_utc"] < datetime(2026, 11, 4, 20, 15))
    assert weighed(fleet, "B7") == []


@pytest.mark.parametrize("column", ["run_total_h", "energy_total_kwh"])
def test_a_value_that_drops_out_is_no_jump_and_is_told_as_left_out(column) -> None:
    at = datetime(2026, 11, 4, 18)
    fleet = a_log(lambda row: {column: 0.0} if row["time_utc"] == at else {})
    assert weighed(fleet, "B7") == weighed(fleet, "B8") == []
    (row,) = weighed(fleet, "B9")
    assert row["quantity"] == column.rsplit("_", 1)[0]
    assert "fell once and came back; those steps are left out" in row["sentence"]


def test_without_counters_nothing_is_said() -> None:
    fleet = a_log(set_clock(-60), ("run_total_h", "energy_total_kwh"))
    fleet.edit("P2", lambda row: {"run_total_h": None, "energy_total_kwh": None})
    assert [weighed(fleet, mode) for mode in ("B7", "B8", "B9")] == [[], [], []]


def test_a_register_that_starts_again_is_told_with_its_end() -> None:
    fleet = LoggedFleet(AUTUMN)
    fleet.pump("P1", PLAN)
    fleet.count("P1", first_kwh=650.0)
    fleet.edit("P1", lambda row: {"energy_total_kwh": round(row["energy_total_kwh"] % 655.36, 2)})
    (row,) = weighed(fleet, "B8")
    assert row["sentence"] == "The energy counter starts again at 655.36 kWh; its rises are counted across that."
    assert (row["quantity"], row["blocks"], row["remedy"], row["sureness"]) == ("energy_total", False, "", 1.0)
    assert " UTC: 655." in row["evidence"] and row["first_day"] == row["last_day"]
    assert weighed(fleet, "B9") == weighed(fleet, "B7") == []


def test_a_new_meter_is_told_with_what_to_ask() -> None:
    at = datetime(2026, 11, 4, 18)
    start = next(row for row in a_log().readings["P1"] if row["time_utc"] == at)["energy_total_kwh"]
    fleet = a_log(
        lambda row: {"energy_total_kwh": round(row["energy_total_kwh"] - start, 2)} if row["time_utc"] >= at else {}
    )
    (row,) = weighed(fleet, "B9")
    assert "fell once and went on from there: ask whether meter or pump was replaced" in row["sentence"]
    assert row["evidence"] == f"2026-11-04 17:45 to 2026-11-04 18:00 UTC: {start - 0.03:.2f} to 0.00 kWh"
    assert weighed(fleet, "B8") == weighed(fleet, "B7") == []


def test_many_falls_are_counted_and_five_are_told() -> None:
    fleet = a_log(lambda row: {"run_total_h": round(row["run_total_h"] % 8, 2)})
    (row,) = weighed(fleet, "B9")
    assert "times and went on from there" in row["sentence"]
    assert row["evidence"].count(" UTC: ") == 5 and "; and " in row["evidence"]
