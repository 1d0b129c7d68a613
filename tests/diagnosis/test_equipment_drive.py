"""D9, D10, D11, D18, D19, D20: drive, ratings, freeze sensor, supply and season; each with a near miss."""

from __future__ import annotations

from datetime import date, datetime, timedelta

import polars as pl
import pytest
from asked_alone import asked_alone
from equipment_fleet import LAST, MONDAY, NAN, WEEK_DAYS, EquipmentFleet, judged, rows, verdicts
from small_fleet import WEEK

from pumpledger.diagnosis.run import diagnose
from pumpledger.diagnosis.standing import PAST_FINDING

# D9


@pytest.mark.parametrize(
    ("minutes", "watts", "found"), [(10, 10.0, True), (9, 10.0, False), (10, 10.1, False), (60, 0.0, True)]
)
def test_speed_without_power(minutes, watts, found) -> None:
    """The pump draws nothing at rest, so the limit is 0 + 10 W; at 1000 rpm it draws 97 W."""
    fleet = EquipmentFleet()
    pump = fleet.site()
    fleet.drew(pump, MONDAY, 600, 600 + minutes, watts)
    result = rows(judged(fleet), "D9")
    assert [row["verdict"] for row in result] == ["found"] * found
    if found:
        assert (result[0]["measured"], result[0]["first_day"]) == (minutes, MONDAY)
        assert "lock out" in result[0]["caution"]


def test_power_at_rest_is_counted_in() -> None:
    """9 W at rest all night: 19 W is still nothing, 19.1 W is more than nothing."""
    for watts, expected in ((19.0, ["found"]), (19.1, [])):
        fleet = EquipmentFleet()
        pump = fleet.site()
        for day in fleet.days:
            fleet.dead.append((pump, day, 0, 1, 9.0))
            fleet.dead.append((pump, day, 1200, 1201, 9.0))
        fleet.drew(pump, MONDAY, 600, 660, watts)
        assert verdicts(judged(fleet), "D9") == expected


def test_days_on_which_a_running_pump_looks_at_rest_say_nothing_of_the_others() -> None:
    """The week before, the speed came in another unit: it reads as standstill beside 97 W. So much is what running draws."""
    fleet = EquipmentFleet()
    pump = fleet.site()
    for day in (day for day in fleet.days if day < MONDAY):
        fleet.set(pump, day, 0.0, 0, 1440)
        fleet.dead.append((pump, day, 0, 1500, 97.0))
        for hour in (5, 10, 15, 20):  # stretches of rest between holes, more of them than of true rest
            fleet.set(pump, day, NAN, 60 * hour, 60 * hour + 5)
    assert verdicts(judged(fleet), "D9") == []
    fleet.drew(pump, MONDAY, 600, 660, 5.0)
    assert verdicts(judged(fleet), "D9") == ["found"]


def test_a_meter_that_shows_too_much_at_rest_until_it_is_mended() -> None:
    """90 W too much on the first eleven days of fourteen: the 97 W at 1000 rpm since are more than the day's rest takes."""
    fleet = EquipmentFleet()
    pump = fleet.site()
    for day in fleet.days[:-3]:
        for start, stop, watts in ((0, 360, 90.0), (360, 480, 310.0), (480, 1200, 187.0), (1200, 1440, 90.0)):
            fleet.dead.append((pump, day, start, stop, watts))
    assert verdicts(judged(fleet), "D9") == []


@pytest.mark.parametrize(("weeks", "expected"), [(1, ["cannot tell"]), (4, ["found"])])
def test_a_channel_that_stood_still_lately_leaves_it_open(weeks, expected) -> None:
    fleet = EquipmentFleet()
    pump = fleet.site()
    fleet.drew(pump, MONDAY, 600, 660, 0.0)
    with fleet.database() as db, asked_alone("D9"):
        day = MONDAY - timedelta(days=7 * weeks - 3)
        stuck = {"week": f"{day:%G-W%V}", "site_id": "S1", "rule_id": "B12", "component": pump, "verdict": "found"}
        row = stuck | {"severity": "note", "explained_by": "", "first_day": day, "last_day": day}
        db.load("past_finding", pl.DataFrame([dict.fromkeys(PAST_FINDING) | row], schema=PAST_FINDING))
        diagnose(db, WEEK, LAST)
        assert verdicts(db.table("finding"), "D9") == expected


def test_no_power_on_any_day_may_be_the_meter() -> None:
    fleet = EquipmentFleet()
    fleet.power_scale[fleet.site()] = 0.05  # 97 W becomes 4.9 W and 220 W becomes 11 W
    fleet.power_scale[fleet.site("S2")] = 0.0
    found = judged(fleet)
    assert {row["site_id"]: row["verdict"] for row in rows(found, "D9")}["S2"] == "cannot tell"
    (row,) = [row for row in rows(found, "D9") if row["site_id"] == "S2"]
    assert "drive or meter" in row["sentence"]


@pytest.mark.parametrize("watts", [-80.0, 0.09])
def test_a_clamp_the_wrong_way_round_and_another_unit_are_no_standstill(watts) -> None:
    """Power below nothing is as much as it says; a tenth of a watt beside 1000 rpm is kW."""
    fleet = EquipmentFleet()
    pump = fleet.site()
    for day in WEEK_DAYS[:2]:
        fleet.drew(pump, day, 360, 1200, watts)
    found = judged(fleet)
    assert verdicts(found, "D9") == [] and verdicts(found, "D8") == []


@pytest.mark.parametrize(
    ("rpm", "watts", "verdict"),
    [(600, 25.0, []), (600, 14.1, []), (600, 13.9, ["found"]), (900, 25.0, ["found"]), (900, 30.1, [])],
)
def test_a_small_pump_at_its_slowest_does_run(rpm, watts, verdict) -> None:
    """4 W at rest and 10 W above it: what draws more turns, though the electronics of other pumps draw 30 W."""
    fleet = EquipmentFleet()
    pump = fleet.site(plan=((1, rpm, 360, 1200),))
    for day in fleet.days:
        fleet.dead += [(pump, day, 0, 1, 4.0), (pump, day, 1200, 1300, 4.0)]
    for day in WEEK_DAYS[:2]:
        fleet.drew(pump, day, 360, 1200, watts)
    assert verdicts(judged(fleet), "D8") == verdict


def test_a_tripped_drive_explains_the_pump_that_does_not_run() -> None:
    fleet = EquipmentFleet()
    pump = fleet.site()
    for day in WEEK_DAYS[:2]:
        fleet.drew(pump, day, 360, 1200, 0.0)
    found = judged(fleet)
    # The speed changes at 08:00, the stretch does not: 06:00 to 20:00 are 840 min.
    assert (rows(found, "D9")[0]["measured"], rows(found, "D9")[0]["days"]) == (840, 2)
    assert rows(found, "D8")[0]["explained_by"] == "D9"


# D10


def hot_afternoon(hour: datetime) -> float:
    """31 deg C from 19:00 to 23:00 UTC, which is 11:00 to 15:00 in the zone's winter, 17 deg C else."""
    return 31.0 if 19 <= hour.hour < 23 else 17.0


@pytest.mark.parametrize(
    ("least", "most", "days", "found"),
    [
        (51, 81, 3, True),
        (20, 30, 3, False),
        (51, 81, 2, False),
        (300, 330, 5, False),  # more than a quarter: another step
        (80, 80, 5, False),  # by one amount: keyed in
    ],
)
def test_speed_sags_in_the_heat(least, most, days, found) -> None:
    """1000 rpm planned from 08:00 to 20:00; 11:00 to 15:00 falls short, from 13:00 on by more. The middle of 8 quarter
    hours at 51 and 8 at 81 rpm is 66."""
    fleet = EquipmentFleet()
    pump = fleet.site(weather="w")
    fleet.weather("w", hot_afternoon)
    for day in WEEK_DAYS[:days]:
        fleet.set(pump, day, 1000 - least, 660, 780)
        fleet.set(pump, day, 1000 - most, 780, 900)
    found_rows = judged(fleet)
    result = rows(found_rows, "D10")
    assert [row["verdict"] for row in result] == ["found"] * found
    if found:
        assert (result[0]["measured"], result[0]["threshold"], result[0]["days"]) == (66, 30, 3)
        # Four hours off the plan, or the same ones each day, are no override.
        assert all(r["verdict"] == "cannot tell" or r["explained_by"] == "D10" for r in rows(found_rows, "C10"))


def test_short_in_the_cool_hours_is_not_heat() -> None:
    fleet = EquipmentFleet()
    pump = fleet.site(weather="w")
    fleet.weather("w", hot_afternoon)
    for day in WEEK_DAYS:
        fleet.set(pump, day, 900, 960, 1200)
    assert verdicts(judged(fleet), "D10") == []


def test_a_whole_step_keyed_lower_is_a_stale_record_not_heat() -> None:
    fleet = EquipmentFleet()
    pump = fleet.site(weather="w", plan=((1, 1500, 360, 660), (2, 1000, 660, 900), (3, 1200, 900, 1200)))
    fleet.weather("w", hot_afternoon)
    for day in WEEK_DAYS:
        fleet.set(pump, day, 900, 660, 900)
    assert verdicts(judged(fleet), "D10") == []


def test_short_speed_without_weather_cannot_be_told_and_an_agreed_one_is_left_out() -> None:
    fleet = EquipmentFleet()
    bare, agreed = fleet.site(), fleet.site("S2")
    for day in WEEK_DAYS[:3]:
        fleet.set(bare, day, 900, 660, 900)
        fleet.set(agreed, day, 900, 660, 900)
    fleet.visit("S2", WEEK_DAYS[1], "agreed override")
    (row,) = rows(judged(fleet), "D10")
    assert (row["site_id"], row["verdict"]) == ("S1", "cannot tell") and "weather" in row["sentence"]


# D11: flow is 0.006 m3/h a rpm, 6 % more at the high bound. 1500 rpm: 9.54 m3/h.


@pytest.mark.parametrize(("suction", "filtering", "found"), [(9.55, 40, False), (9.5, 40, True), (40, 9.5, True)])
def test_flow_above_the_least_rating(suction, filtering, found) -> None:
    fleet = EquipmentFleet()
    fleet.site(suction_limit_m3h=suction, filter_limit_m3h=filtering)
    result = rows(judged(fleet), "D11")
    assert [(row["verdict"], row["severity"]) for row in result] == [("found", "safety")] * found
    if found:
        assert (result[0]["measured"], result[0]["threshold"]) == (pytest.approx(9.54), 9.5)
        assert ("suction fittings are rated" in result[0]["sentence"]) == (suction == 9.5)
        assert "drown" in result[0]["caution"] and result[0]["rank"] == 1


@pytest.mark.parametrize(("minutes", "found"), [(15, True), (14, False)])
def test_a_speed_that_ran_off_the_plan_counts_from_a_quarter_hour(minutes, found) -> None:
    fleet = EquipmentFleet()
    pump = fleet.site(suction_limit_m3h=10.0)
    fleet.set(pump, MONDAY, 2000, 600, 600 + minutes)  # 12.72 m3/h
    assert verdicts(judged(fleet), "D11") == ["found"] * found


def test_a_planned_speed_counts_though_the_pump_stood() -> None:
    fleet = EquipmentFleet()
    pump = fleet.site(suction_limit_m3h=9.0)
    for day in WEEK_DAYS:
        fleet.set(pump, day, 0)
    (row,) = rows(judged(fleet), "D11")
    assert (row["days"], row["first_day"]) == (7, MONDAY) and "planned, not run this week" in row["sentence"]


def test_a_vacuum_day_and_priming_are_left_out() -> None:
    fleet = EquipmentFleet()
    vacuum, primed = fleet.site(suction_limit_m3h=10.0), fleet.site("S2", suction_limit_m3h=10.0)
    fleet.set(vacuum, MONDAY, 2900, 600, 840)
    fleet.visit("S1", MONDAY, "vacuum")
    for day in fleet.days:
        fleet.set(primed, day, 2500, 360, 370)
    fleet.primes(primed)
    assert verdicts(judged(fleet), "D11") == []


@pytest.mark.parametrize(
    ("fields", "needs"),
    [
        ({"filter_limit_m3h": None}, "the rating of the filter in sites.csv"),
        ({"suction_limit_m3h": None}, "the rating of the suction fittings in sites.csv"),
        (
            {"filter_limit_m3h": None, "suction_limit_m3h": None, "flow": False},
            "the ratings of the filter and of the suction fittings in sites.csv and a source of flow",
        ),
        ({"flow": False}, "a source of flow at every speed that runs"),
    ],
)
def test_an_unknown_rating_or_flow_is_never_fine(fields, needs) -> None:
    fleet = EquipmentFleet()
    fleet.site(**fields)
    (row,) = rows(judged(fleet), "D11")
    assert row["sentence"].startswith(f"cannot tell: needs {needs}")


def test_one_known_rating_that_is_passed_is_found_though_the_other_is_unknown() -> None:
    fleet = EquipmentFleet()
    fleet.site(filter_limit_m3h=None, suction_limit_m3h=9.0)
    assert verdicts(judged(fleet), "D11") == ["found"]


@pytest.mark.parametrize(("speed", "found"), [(1800, False), (1825, True)])
def test_pipe_velocity_alone_is_no_safety_finding(speed, found) -> None:
    """Facts 2g, formula [CALC]: 1.610 in at 8 ft/s carry 50.76 gpm = 11.529 m3/h. 1800 rpm: 11.448, 1825: 11.607."""
    fleet = EquipmentFleet()
    fleet.site(pipe_size="1.5 in", plan=((1, speed, 360, 1200),))
    result = rows(judged(fleet), "D11")
    assert [row["severity"] for row in result] == ["next visit"] * found
    if found:
        assert result[0]["threshold"] == pytest.approx(50.76 * 0.2271247, rel=1e-4)


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
