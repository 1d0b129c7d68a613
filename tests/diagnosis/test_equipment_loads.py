"""D12, D13, D15, D16: auxiliary loads; the load's minimum is 1400 rpm, the plan 1500 rpm from 06:00 to 08:00 and 1000
rpm to 20:00, unless a test says otherwise."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from equipment_fleet import MONDAY, NAN, WEEK_DAYS, EquipmentFleet, judged, rows, verdicts

FAST = ((1, 1500, 360, 720), (2, 1000, 720, 1200))


def load_site(fleet: EquipmentFleet, load: str = "chlorinator", **fields: object) -> str:
    pump = fleet.site(aux_load=load, aux_min_speed_rpm=1400.0, **fields)
    fleet.log_aux(pump)
    return pump


# D12


@pytest.mark.parametrize(("minutes", "found"), [(10, True), (9, False)])
def test_check_value_6d_load_on_while_the_pump_stands_still_is_safety(minutes, found) -> None:
    """Facts 6d [READ-2]: chlorinator on 10 min after the pump stopped: flag, highest severity."""
    fleet = EquipmentFleet()
    fleet.load_on(load_site(fleet), MONDAY, 1300, 1300 + minutes)
    assert [(row["severity"], row["rank"]) for row in rows(judged(fleet), "D12")] == [("safety", 1)] * found


@pytest.mark.parametrize(
    ("start", "minutes", "days", "found"),
    [
        (1300, 2, 2, True),  # pump off
        (1300, 1, 7, False),  # shorter than two minutes
        (1300, 2, 1, False),  # once
        (600, 60, 7, False),  # at 1000 rpm, 0.71 of the minimum: D14's
    ],
)
def test_two_events_of_two_minutes(start, minutes, days, found) -> None:
    fleet = EquipmentFleet()
    pump = load_site(fleet)
    for day in WEEK_DAYS[:days]:
        fleet.load_on(pump, day, start, start + minutes)
    (row,) = rows(judged(fleet), "D12") or [None]
    assert (row is not None) == found
    if row:
        assert (row["days"], row["measured"], row["first_day"]) == (2, 2, MONDAY)
        assert "hydrogen" in row["caution"] and "2 times, 4 min in all" in row["sentence"]


@pytest.mark.parametrize(("minutes", "found"), [(6, False), (7, True)])
def test_a_load_written_one_sample_late_is_no_event(minutes, found) -> None:
    """Samples of 5 min: an event of 5 + 2 min is the shortest that outlasts a sample by two minutes."""
    fleet = EquipmentFleet()
    pump = load_site(fleet)
    fleet.exports.append({"sequence": 1, "export_id": "e1", "source": "coast gateway", "hold_s": 300})
    for day in WEEK_DAYS:
        fleet.load_on(pump, day, 1200, 1200 + minutes)
    assert verdicts(judged(fleet), "D12") == ["found"] * found


def test_far_below_the_minimum_counts_as_still_and_explains_d14() -> None:
    fleet = EquipmentFleet()
    pump = load_site(fleet, plan=((1, 675, 360, 1200),))
    for day in WEEK_DAYS[:3]:
        fleet.load_on(pump, day, 600, 620)
    found = judged(fleet)
    (stuck,), (below,) = rows(found, "D12"), rows(found, "D14")
    assert "far below" in stuck["sentence"] and (stuck["explained_by"], below["explained_by"]) == ("", "D12")


def test_a_night_through_midnight_is_one_event() -> None:
    fleet = EquipmentFleet()
    pump = load_site(fleet)
    fleet.load_on(pump, MONDAY, 1435, 1440)
    fleet.load_on(pump, MONDAY + timedelta(days=1), 0, 6)
    (row,) = rows(judged(fleet), "D12")
    assert (row["measured"], row["days"], row["last_day"]) == (11, 2, MONDAY + timedelta(days=1))


def test_unknown_speed_is_no_event_and_an_unlogged_load_cannot_be_told() -> None:
    fleet = EquipmentFleet()
    pump = load_site(fleet)
    for day in WEEK_DAYS:
        fleet.set(pump, day, NAN, 1300, 1400)
        fleet.load_on(pump, day, 1300, 1400)
    fleet.site("S2", aux_load="booster", aux_min_speed_rpm=1400.0)
    fleet.site("S3")
    (row,) = rows(judged(fleet), "D12")
    assert (row["site_id"], row["sentence"]) == ("S2", "cannot tell: needs the state of the booster in the export")


# D13


def habit(fleet: EquipmentFleet, pump: str, missing: int, start: int = 375, stop: int = 465) -> None:
    """The load is on from 06:15 to 07:45 on all days but the last ``missing``."""
    days = fleet.days[:-missing] if missing else fleet.days
    for day in days:
        if day == date(2026, 11, 1):  # the clock goes back at 02:00: an hour later by elapsed minutes
            fleet.load_on(pump, day, start + 60, stop + 60)
        else:
            fleet.load_on(pump, day, start, stop)


@pytest.mark.parametrize(("missing", "found"), [(3, True), (2, False), (0, False), (14, False)])
def test_load_that_no_longer_comes_on(missing, found) -> None:
    fleet = EquipmentFleet()
    habit(fleet, load_site(fleet), missing)
    result = rows(judged(fleet), "D13")
    assert [row["verdict"] for row in result] == ["found"] * found
    if found:
        # six quarter hours of 06:15 to 07:45 at 1500 rpm, three days
        assert (result[0]["measured"], result[0]["days"]) == (pytest.approx(4.5), 3)


def test_a_load_on_at_another_hour_or_at_a_slow_step_is_not_d13() -> None:
    fleet = EquipmentFleet()
    moved, slow = load_site(fleet), fleet.site("S2", aux_load="chlorinator", aux_min_speed_rpm=1400.0)
    fleet.log_aux(slow)
    habit(fleet, moved, 3)
    habit(fleet, slow, 3)
    for day in fleet.days[-3:]:
        fleet.load_on(moved, day, 360, 375)
        fleet.set(slow, day, 1000, 360, 480)
    assert verdicts(judged(fleet), "D13") == []


def test_of_a_heater_it_cannot_be_told() -> None:
    fleet = EquipmentFleet()
    habit(fleet, load_site(fleet, "heater"), 3)
    (row,) = rows(judged(fleet), "D13")
    assert row["verdict"] == "cannot tell" and "call for heat" in row["sentence"]


@pytest.mark.parametrize(("air_c", "found"), [(11.9, False), (12.0, True)])
def test_a_chlorinator_rests_in_the_cold(air_c, found) -> None:
    fleet = EquipmentFleet()
    habit(fleet, load_site(fleet, weather="w"), 3)
    fleet.weather("w", lambda hour: air_c)
    assert verdicts(judged(fleet), "D13") == ["found"] * found


def test_a_booster_has_no_season() -> None:
    fleet = EquipmentFleet()
    habit(fleet, load_site(fleet, "booster", weather="w"), 3)
    fleet.weather("w", lambda hour: 3.0)
    assert verdicts(judged(fleet), "D13") == ["found"]


# D15


@pytest.mark.parametrize(("need_h", "found"), [(2.0, False), (2.1, False), (2.2, True)])
def test_chlorinator_hours_short(need_h, found) -> None:
    """Two hours at 1500 rpm; 5 % short is let pass: 2.1 x 0.95 = 1.995 h, 2.2 x 0.95 = 2.09 h."""
    fleet = EquipmentFleet()
    load_site(fleet, aux_hours_per_day=need_h)
    result = rows(judged(fleet), "D15")
    assert [row["verdict"] for row in result] == ["found"] * found
    if found:
        assert (result[0]["measured"], result[0]["threshold"], result[0]["days"]) == (pytest.approx(2.0), need_h, 7)


@pytest.mark.parametrize(("days", "found"), [(5, True), (4, False)])
def test_short_on_five_of_seven_days(days, found) -> None:
    fleet = EquipmentFleet()
    pump = load_site(fleet, aux_hours_per_day=2.0)
    for day in WEEK_DAYS[:days]:
        fleet.set(pump, day, 1000, 360, 480)
    assert verdicts(judged(fleet), "D15") == ["found"] * found


@pytest.mark.parametrize(("air_c", "found"), [(11.9, False), (12.1, True)])
def test_less_chlorine_is_needed_in_the_cold(air_c, found) -> None:
    fleet = EquipmentFleet()
    load_site(fleet, aux_hours_per_day=6.0, weather="w")
    fleet.weather("w", lambda hour: air_c)
    assert verdicts(judged(fleet), "D15") == ["found"] * found


def test_missing_days_do_not_raise_and_missing_need_cannot_be_told() -> None:
    fleet = EquipmentFleet()
    pump = load_site(fleet, aux_hours_per_day=6.0)
    for day in fleet.days[:-4]:
        fleet.set(pump, day, NAN)
    fleet.site("S2", aux_load="chlorinator", aux_min_speed_rpm=1400.0)
    fleet.site("S3", aux_load="heater", aux_min_speed_rpm=1400.0)
    (row,) = rows(judged(fleet), "D15")
    assert (row["site_id"], row["verdict"]) == ("S2", "cannot tell") and "aux_hours_per_day" in row["sentence"]


def test_days_on_which_the_pump_stood_belong_to_d8() -> None:
    fleet = EquipmentFleet()
    pump = load_site(fleet, aux_hours_per_day=2.0)
    for day in WEEK_DAYS:
        fleet.set(pump, day, 0)
    found = judged(fleet)
    assert verdicts(found, "D15") == [] and verdicts(found, "D8") == ["found"]


# D16


@pytest.mark.parametrize(("fast_min", "found"), [(96, False), (94, True)])
def test_heating_on_a_slow_step(fast_min, found) -> None:
    """120 min of heating up to noon; 80 % of them are 96. The quarter in which the step ends counts by its mean speed.
    The edge lies on a quarter for 90 and 105 min, so the share is moved by the heater's start."""
    fleet = EquipmentFleet()
    pump = load_site(fleet, "heater", plan=FAST)
    for day in WEEK_DAYS:
        fleet.load_on(pump, day, 720 - fast_min, 840 - fast_min)  # the fast step ends at 720
    result = rows(judged(fleet), "D16")
    assert [row["verdict"] for row in result] == ["found"] * found
    if found:
        assert result[0]["measured"] == pytest.approx(94 / 120) and result[0]["explained_by"] == "D14"


def test_an_interlock_that_keeps_the_heater_off_shows_by_its_usual_hours() -> None:
    fleet = EquipmentFleet()
    pump = load_site(fleet, "heater")
    habit(fleet, pump, 3)
    for day in fleet.days[-3:]:
        fleet.set(pump, day, 1000, 360, 480)
    (row,) = rows(judged(fleet), "D16")
    assert (row["measured"], row["days"], row["explained_by"]) == (0, 3, "")
    assert "stayed off" in row["sentence"]


def test_a_heater_that_moved_with_its_step_or_heated_little_is_healthy() -> None:
    fleet = EquipmentFleet()
    moved, little = load_site(fleet, "heater"), fleet.site("S2", aux_load="heater", aux_min_speed_rpm=1400.0)
    fleet.log_aux(little)
    habit(fleet, moved, 3)
    for day in fleet.days[-3:]:
        fleet.set(moved, day, 1000, 360, 480)
        fleet.set(moved, day, 1500, 600, 720)
        fleet.load_on(moved, day, 600, 700)
        fleet.load_on(little, day, 600, 629)  # at 1000 rpm, but less than 30 min
    assert verdicts(judged(fleet), "D16") == []


def test_a_habit_is_learned_from_the_days_before_the_load_failed() -> None:
    """On in six of the eleven earlier days, off since: 6 of 11 are no habit, 6 of the 6 up to the last are one."""
    fleet = EquipmentFleet()
    pump = load_site(fleet, plan=FAST)
    for day in fleet.days[:6]:
        fleet.load_on(pump, day, 400, 600)
    assert verdicts(judged(fleet), "D13") == ["found"]


def test_a_speed_that_jitters_about_the_chlorinators_is_at_it() -> None:
    """1386 rpm is within 15 of 1400, 1384 is not; ten hours are needed, and two run at 1500."""
    for speed, found in ((1386, []), (1384, ["found"])):
        fleet = EquipmentFleet()
        pump = load_site(fleet, aux_hours_per_day=10.0)
        for day in fleet.days:
            fleet.set(pump, day, speed, 480, 1200)
        assert verdicts(judged(fleet), "D15") == found
