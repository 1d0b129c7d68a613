"""B3: two pumps' logs under each other's name. Logs are exchanged by hand from a day on; near misses change only one of
them, or both on different days, or are of pumps that nothing tells apart."""

from __future__ import annotations

from datetime import date

import pytest
from logged_fleet import AUTUMN, LoggedFleet, varied_plan

from pumpledger.verdicts.corrections import parse_remedy
from pumpledger.verdicts.identity import mode_b3
from pumpledger.verdicts.registry import MODES, mode_parameters

PARAMETERS = mode_parameters(MODES["B3"])
DAY = date(2026, 11, 3)
FACTORS = (1.0, 1.3, 1.0, 1.0, 1.0, 1.0)


def weighed(fleet: LoggedFleet, **changed: float) -> list[dict]:
    with fleet.database() as db:
        return mode_b3(db, PARAMETERS | changed).to_dicts()


def six_pumps(
    one_plan: bool = False, factors=FACTORS, on_record: bool = True, source=lambda n: "gateway"
) -> LoggedFleet:
    fleet = LoggedFleet(AUTUMN)
    for n in range(6):
        runs = varied_plan(0 if one_plan else n)
        fleet.pump(f"P{n}", runs if on_record else None, runs=runs, factor=factors[n], source=source(n))
    return fleet


def test_a_healthy_source_says_nothing_over_the_25_hour_day() -> None:
    assert weighed(six_pumps()) == []
    assert weighed(six_pumps(one_plan=True)) == []


def test_swapped_logs_give_one_remedy_for_both_pumps() -> None:
    fleet = six_pumps()
    fleet.swap_logs("P1", "P4", DAY)
    rows = weighed(fleet)
    assert [row["pump_id"] for row in rows] == ["P1", "P4"]
    assert {row["remedy"] for row in rows} == {"swap P1 P4 from 2026-11-03"}
    assert {(row["source"], row["quantity"], row["blocks"], row["sureness"]) for row in rows} == {
        ("gateway", "identity", True, 1.0)
    }
    assert {(row["first_day"], row["last_day"]) for row in rows} == {(DAY, AUTUMN[-1])}
    assert "plan and watts, and not their own, from 2026-11-03 on" in rows[0]["sentence"]
    assert parse_remedy(rows[0]["remedy"])[0] == "swap"


@pytest.mark.parametrize("first", [AUTUMN[1], AUTUMN[6], AUTUMN[11]])
def test_the_day_is_found_wherever_it_lies(first) -> None:
    """Among them the 25-hour day, and the last that leaves three days."""
    fleet = six_pumps()
    fleet.swap_logs("P1", "P4", first)
    assert {row["remedy"] for row in weighed(fleet)} == {f"swap P1 P4 from {first}"}


def test_two_days_are_too_few() -> None:
    fleet = six_pumps()
    fleet.swap_logs("P1", "P4", AUTUMN[12])
    assert weighed(fleet) == []
    assert len(weighed(fleet, days_least=2)) == 2


def test_logs_swapped_back_are_no_matter_any_more() -> None:
    fleet = six_pumps()
    fleet.swap_logs("P1", "P4", DAY)
    fleet.swap_logs("P1", "P4", date(2026, 11, 6))
    assert weighed(fleet) == []


def test_pumps_of_one_kind_may_have_their_plans_swapped_on_record_instead() -> None:
    fleet = six_pumps(factors=[1.0] * 6)
    fleet.swap_logs("P1", "P4", DAY)
    rows = weighed(fleet)
    assert len(rows) == 2
    assert "their plans may stand under each other's code in plans.csv instead" in rows[0]["sentence"]


def test_one_plan_and_other_watts_is_told_by_the_watts() -> None:
    fleet = six_pumps(one_plan=True)
    fleet.swap_logs("P1", "P4", DAY)
    rows = weighed(fleet)
    assert {row["remedy"] for row in rows} == {"swap P1 P4 from 2026-11-03"}
    assert "fit each other's watts" in rows[0]["sentence"]


def test_one_plan_and_one_kind_of_pump_cannot_be_told() -> None:
    fleet = six_pumps(one_plan=True, factors=[1.0] * 6)
    fleet.swap_logs("P1", "P4", DAY)
    assert weighed(fleet) == []


def test_watts_that_differ_by_less_than_a_tenth_cannot_be_told() -> None:
    fleet = six_pumps(one_plan=True, factors=(1.0, 1.08, 1.0, 1.0, 1.0, 1.0))
    fleet.swap_logs("P1", "P4", DAY)
    assert weighed(fleet) == []


@pytest.mark.parametrize("one_plan", [False, True])
def test_without_plans_on_record_the_first_days_are_the_record(one_plan) -> None:
    fleet = six_pumps(one_plan=one_plan, on_record=False)
    fleet.swap_logs("P1", "P4", DAY)
    rows = weighed(fleet)
    assert {row["remedy"] for row in rows} == {"swap P1 P4 from 2026-11-03"}
    assert ("earlier running and watts" in rows[0]["sentence"]) is not one_plan


def test_swapped_since_before_the_window_is_told_by_plan_and_visits() -> None:
    fleet = six_pumps()
    fleet.swap_logs("P1", "P4", AUTUMN[0])
    assert "on all days looked at" in weighed(fleet)[0]["sentence"]
    one_plan = six_pumps(one_plan=True)
    one_plan.swap_logs("P1", "P4", AUTUMN[0])
    assert weighed(one_plan) == []
    speeds = [plan[1] for plan in varied_plan(0)]
    for pump, factor in (("P1", 1.3), ("P4", 1.0)):
        for rpm in speeds:
            watts = factor * (45 + 52 * (rpm / 1000) ** 3)
            fields = {"site_id": f"S-{pump}", "day_local": date(2026, 9, 1), "work": "commissioning"}
            one_plan.visits.append(fields | {"speed_rpm": float(rpm), "power_w": watts})
    assert {row["remedy"] for row in weighed(one_plan)} == {"swap P1 P4 from 2026-10-26"}


def test_plans_exchanged_at_the_pumps_are_not_swapped_logs() -> None:
    """Each pump runs the other's plan from that day on, with its own watts."""
    fleet = six_pumps()
    other = LoggedFleet(AUTUMN)
    for pump, runs, factor in (("P1", 4, 1.3), ("P4", 1, 1.0)):
        other.pump(pump, varied_plan(runs), factor=factor)
    from_line = next(row["line"] for row in fleet.readings["P1"] if row["time_utc"].date() == DAY)
    for pump in ("P1", "P4"):
        fleet.readings[pump] = fleet.readings[pump][: from_line - 2] + other.readings[pump][from_line - 2 :]
    assert weighed(fleet) == []


def test_one_pump_off_its_plan_is_no_swap() -> None:
    fleet = six_pumps()
    fleet.readings["P1"] = [row | {"pump_id": "P1"} for row in fleet.readings["P4"]]
    assert weighed(fleet) == []


def test_both_off_their_plans_from_different_days_are_no_swap() -> None:
    fleet = six_pumps()
    early, late = six_pumps(), six_pumps()
    early.swap_logs("P1", "P4", date(2026, 10, 30))
    late.swap_logs("P1", "P4", DAY)
    fleet.readings["P1"], fleet.readings["P4"] = early.readings["P1"], late.readings["P4"]
    assert weighed(fleet) == []


def test_days_without_readings_leave_the_change_where_both_logs_allow_it() -> None:
    fleet = six_pumps()
    fleet.swap_logs("P1", "P4", DAY)
    fleet.lose("P1", lambda row: date(2026, 11, 2) <= row["time_utc"].date() <= date(2026, 11, 3))
    assert {row["remedy"] for row in weighed(fleet)} == {"swap P1 P4 from 2026-11-03"}


def test_three_logs_that_go_round_are_no_pair() -> None:
    fleet = six_pumps(factors=[1.0] * 6)
    fleet.swap_logs("P1", "P4", DAY)
    fleet.swap_logs("P4", "P5", DAY)
    assert weighed(fleet) == []


@pytest.mark.parametrize(("factors", "said"), [(FACTORS, 2), ([1.0] * 6, 0)])
def test_a_third_pump_of_the_same_plan_is_told_apart_by_watts_or_not_at_all(factors, said) -> None:
    """P5 has P4's plan, and runs P1's from the same day on, with its own watts."""
    fleet, other = LoggedFleet(AUTUMN), LoggedFleet(AUTUMN)
    for n in range(5):
        fleet.pump(f"P{n}", varied_plan(n), factor=factors[n])
    fleet.pump("P5", varied_plan(4), factor=2.0 if said else 1.0)
    other.pump("P5", varied_plan(1), factor=2.0 if said else 1.0)
    from_line = next(row["line"] for row in fleet.readings["P5"] if row["time_utc"].date() == DAY)
    fleet.readings["P5"] = fleet.readings["P5"][: from_line - 2] + other.readings["P5"][from_line - 2 :]
    fleet.swap_logs("P1", "P4", DAY)
    rows = weighed(fleet)
    assert len(rows) == said
    assert {row["pump_id"] for row in rows} <= {"P1", "P4"}


def test_pumps_of_two_sources_are_not_compared() -> None:
    fleet = six_pumps(source=lambda n: "one" if n < 3 else "other")
    fleet.swap_logs("P1", "P4", DAY)
    assert weighed(fleet) == []


def test_one_shift_round_the_clock_for_both_is_the_clocks_doing() -> None:
    """Plans twelve hours apart, and both clocks twelve hours out: each log is the other's plan."""
    fleet = LoggedFleet(AUTUMN)
    for n in range(4):
        fleet.pump(f"P{n}", varied_plan(n))
    for n, start in (("A", 120), ("B", 840)):
        fleet.pump(n, ((1, 2400, start, start + 120), (2, 1300, start + 120, start + 420)), late_min=lambda day: 720)
    assert weighed(fleet) == []


def test_where_much_of_a_source_is_off_its_plans_no_pair_is_looked_for() -> None:
    fleet = LoggedFleet(AUTUMN, step_min=15)
    for n in range(24):
        plan = ((1, 2000 + 25 * n, 300 + 15 * n, 420 + 15 * n), (2, 1000 + 25 * n, 420 + 15 * n, 800 + 15 * n))
        fleet.pump(f"P{n:02d}", plan, late_min=lambda day: 240)
    assert weighed(fleet) == []


def test_missing_speed_or_readings_say_nothing() -> None:
    fleet = six_pumps()
    fleet.swap_logs("P1", "P4", DAY)
    for pump in fleet.readings:
        fleet.edit(pump, lambda row: {"speed_rpm": None})
    assert weighed(fleet) == []
    fleet.readings = {}
    assert weighed(fleet) == []


def test_a_swap_is_seen_through_energy_counters_too() -> None:
    """No logged power: watts come from the counters, 0.01 kWh a step."""
    fleet = six_pumps(one_plan=True)
    for pump in fleet.readings:
        total = 0.0
        for row in fleet.readings[pump]:
            row["energy_total_kwh"] = int(total * 100) / 100
            total += row.pop("power_w") * 15 / 60000
    fleet.swap_logs("P1", "P4", DAY)
    rows = weighed(fleet)
    assert {row["remedy"] for row in rows} == {"swap P1 P4 from 2026-11-03"}
    assert "fit each other's watts" in rows[0]["sentence"]
