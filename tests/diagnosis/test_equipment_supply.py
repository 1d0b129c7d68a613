"""D18, D19, D20: freeze sensor, supply and season, each with a near miss; and a healthy fleet for all rules of equipment."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from equipment_fleet import LAST, NAN, WEEK_DAYS, EquipmentFleet, judged, rows, verdicts

# D18


def night_runs(fleet: EquipmentFleet, pump: str, nights: int, speed: float = 1725, minutes: int = 60) -> None:
    for day in WEEK_DAYS[:nights]:
        fleet.set(pump, day, speed, 60, 60 + minutes)


@pytest.mark.parametrize(
    ("air_c", "nights", "speed", "minutes", "found"),
    [
        (12.0, 3, 1725, 60, True),
        (12.0, 2, 1725, 60, False),
        (12.0, 3, 1725, 19, False),
        (7.0, 3, 1725, 60, False),
        (12.0, 3, 1800, 60, False),  # not the speed of freeze protection
    ],
)
def test_freeze_protection_in_the_warm(air_c, nights, speed, minutes, found) -> None:
    fleet = EquipmentFleet()
    pump = fleet.site(weather="w", freeze_setpoint_c=3.0, freeze_speed_rpm=1725.0)
    fleet.weather("w", lambda hour: air_c)
    night_runs(fleet, pump, nights, speed, minutes)
    result = rows(judged(fleet), "D18")
    assert [row["verdict"] for row in result] == ["found"] * found
    if found:
        # three hours at 45 + 52 x 1.725^3 = 311.9 W
        assert result[0]["benefit_kwh_week"] == pytest.approx(3 * (45 + 52 * 1.725**3) / 1000)
        assert (result[0]["measured"], result[0]["threshold"]) == (12.0, 7.0)


def test_a_high_set_point_moves_the_limit_and_frost_is_no_fault() -> None:
    fleet = EquipmentFleet()
    pump = fleet.site(weather="w", freeze_setpoint_c=6.0, freeze_speed_rpm=1725.0)
    fleet.weather("w", lambda hour: 8.9)  # 6 + 3 = 9
    night_runs(fleet, pump, 5)
    assert verdicts(judged(fleet), "D18") == []


def test_it_explains_an_override_and_needs_weather() -> None:
    fleet = EquipmentFleet()
    pump = fleet.site(weather="w", freeze_setpoint_c=3.0, freeze_speed_rpm=1725.0)
    fleet.weather("w", lambda hour: 12.0)
    night_runs(fleet, pump, 4, minutes=200)
    bare = fleet.site("S2", freeze_speed_rpm=1725.0)
    night_runs(fleet, bare, 4)
    fleet.site("S3")
    found = judged(fleet)
    assert {(row["site_id"], row["verdict"]) for row in rows(found, "D18")} == {("S1", "found"), ("S2", "cannot tell")}
    assert all(r["verdict"] == "cannot tell" or r["explained_by"] == "D18" for r in rows(found, "C10"))


# D19: plan round the clock at 1000 rpm

ROUND = ((1, 1000, 0, 1440),)


def unplugged(fleet: EquipmentFleet, pump: str, starts: list[int], state: float, until: int = 390) -> None:
    for day, start in zip(WEEK_DAYS, starts, strict=False):
        fleet.set(pump, day, state, start)
        if day < LAST:
            fleet.set(pump, day + timedelta(days=1), state, 0, until)
            fleet.set(pump, day + timedelta(days=1), 1500, until, until + 3)  # priming


@pytest.mark.parametrize(
    ("starts", "verdict"),
    [
        ([1320, 1335, 1310, 1328], ["found"]),
        ([1320, 1335, 1310], []),  # three nights
        ([1100, 1400, 1200, 1430], []),  # no habit
        ([1320, 1320, 1322, 1324], ["cannot tell"]),  # to the minute: a programme
        ([1320, 1320, 1320, 1350], ["cannot tell"]),  # three of four to the minute
    ],
)
def test_switched_off_at_night(starts, verdict) -> None:
    fleet = EquipmentFleet()
    unplugged(fleet, fleet.site(plan=ROUND), starts, 0)
    result = rows(judged(fleet), "D19")
    assert [row["verdict"] for row in result] == verdict
    if verdict == ["found"]:
        # lengths: 1440 - start + 390 = 510, 495, 520, 502 min; the middle of them is 506
        assert (result[0]["measured"], result[0]["days"]) == (pytest.approx(506 / 60), 4)


def test_the_clock_change_moves_no_hand() -> None:
    """22:00 each night, which is 1380 min after midnight on the day of 25 h."""
    fleet = EquipmentFleet()
    pump = fleet.site(plan=ROUND)
    change = date(2026, 11, 1)
    for n in range(4):
        day = change + timedelta(days=n)
        fleet.set(pump, day, 0, 1320 + 60 * (day == change))
        fleet.set(pump, day + timedelta(days=1), 0, 0, 390)
    assert verdicts(judged(fleet), "D19") == ["cannot tell"]


def test_a_silent_log_counts_only_with_priming_when_it_comes_back() -> None:
    fleet = EquipmentFleet()
    cut, lost = fleet.site(plan=ROUND), fleet.site("S2", plan=ROUND)
    for pump in (cut, lost):
        unplugged(fleet, pump, [1320, 1335, 1310, 1328], NAN)
    fleet.primes(cut)
    (row,) = rows(judged(fleet), "D19")
    assert row["site_id"] == "S1" and "silent" in row["sentence"]


@pytest.mark.parametrize(("starts", "found"), [([1320, 1335, 1310, 1328], ["found"]), ([1320, 1326, 1321, 1328], [])])
def test_a_stop_past_the_end_of_the_plan_is_a_hand_where_its_minute_varies(starts, found) -> None:
    """Planned from 08:00 to 02:00, off from about 22:00 until morning. The middle half of the first starts lies 11.75 min
    apart, of the second 5.75: that may be a plan which ends earlier than its record."""
    fleet = EquipmentFleet()
    pump = fleet.site(plan=((1, 1000, 480, 120),))
    for day, start in zip(WEEK_DAYS, starts, strict=False):
        fleet.set(pump, day, 0, start)
        fleet.set(pump, day + timedelta(days=1), 0, 0, 120)
    result = rows(judged(fleet), "D19")
    assert [row["verdict"] for row in result] == found
    if found:
        # planned minutes lost: 1440 - start + 120 = 240, 225, 250, 232; the middle of them is 236
        assert (result[0]["measured"], result[0]["days"]) == (pytest.approx(236 / 60), 4)


def test_a_speed_without_power_each_night_is_d19_and_explains_d9() -> None:
    fleet = EquipmentFleet()
    pump = fleet.site(plan=ROUND)
    for day, start in zip(WEEK_DAYS, [1320, 1335, 1310, 1328], strict=False):
        fleet.drew(pump, day, start, 1440, 0.0)
        fleet.drew(pump, day + timedelta(days=1), 0, 390, 0.0)
    found = judged(fleet)
    assert verdicts(found, "D19") == ["found"] and rows(found, "D9")[0]["explained_by"] == "D19"


def test_a_planned_pause_and_the_edge_of_a_plan_are_no_cut() -> None:
    fleet = EquipmentFleet()
    fleet.site(plan=((1, 1000, 390, 1320),))
    early = fleet.site("S2", plan=((1, 1000, 390, 1320),))
    for n, day in enumerate(WEEK_DAYS):
        fleet.set(early, day, 0, 1200 + 3 * n, 1320)  # stops early and does not come back inside the plan
    assert verdicts(judged(fleet), "D19") == []


# D20


def still(fleet: EquipmentFleet, pump: str, days: int) -> None:
    for day in fleet.days[-days:]:
        fleet.set(pump, day, 0)


@pytest.mark.parametrize(("days", "found"), [(10, True), (9, False)])
def test_ten_days_of_zero_without_a_word(days, found) -> None:
    fleet = EquipmentFleet()
    still(fleet, fleet.site(), days)
    result = rows(judged(fleet), "D20")
    assert [row["measured"] for row in result] == [10] * found
    if found:
        assert (result[0]["explained_by"], result[0]["first_day"]) == ("D8", date(2026, 10, 30))


@pytest.mark.parametrize(("days", "found"), [(3, True), (2, False)])
def test_a_closing_on_record_explains_too_little_water(days, found) -> None:
    fleet = EquipmentFleet()
    still(fleet, fleet.site(), days)
    fleet.visit("S1", fleet.days[-days], "closing")
    found_rows = judged(fleet, asked=("D20", "O1"))
    assert verdicts(found_rows, "D20") == ["found"] * found and verdicts(found_rows, "D8") == []
    if found:
        assert rows(found_rows, "O1")[0]["explained_by"] == "D20"


def test_an_opening_after_the_closing_and_missing_days_are_no_closed_season() -> None:
    fleet = EquipmentFleet()
    opened, lost = fleet.site(), fleet.site("S2")
    still(fleet, opened, 5)
    fleet.visit("S1", fleet.days[-5], "closing")
    fleet.visit("S1", fleet.days[-4], "opening")
    for day in fleet.days:
        fleet.set(lost, day, NAN)
    assert verdicts(judged(fleet), "D20") == []


@pytest.mark.parametrize(("days", "found"), [(3, True), (2, False)])
def test_a_closed_pool_that_runs(days, found) -> None:
    fleet = EquipmentFleet()
    pump = fleet.site(season="closed")
    still(fleet, pump, 14)
    for day in fleet.days[-days:]:
        fleet.set(pump, day, 1500, 360, 480)
    assert verdicts(judged(fleet), "D20") == ["found"] * found


# all of them


def test_a_healthy_fleet_over_the_clock_change_is_quiet() -> None:
    fleet = EquipmentFleet()
    fleet.weather("w", lambda hour: 15.0 + hour.hour / 3)
    fleet.site()
    fleet.site("S2", plan=ROUND, weather="w", freeze_setpoint_c=3.0, freeze_speed_rpm=1125.0)
    pump = fleet.site("S3", aux_load="heater", aux_min_speed_rpm=1400.0)
    for day in fleet.days:
        fleet.load_on(pump, day, 435, 465)  # inside 06:00 to 08:00 on both clocks
    found = judged(fleet)
    own = found.filter(found["rule_id"].is_in(["D9", "D10", "D11", "D12", "D13", "D15", "D16", "D18", "D19", "D20"]))
    assert own.is_empty(), own
