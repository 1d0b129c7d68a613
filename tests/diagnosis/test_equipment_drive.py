"""D9, D10, D11: drive, heat and ratings; each with a near miss."""

from __future__ import annotations

from datetime import datetime, timedelta

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


@pytest.mark.parametrize(("watts", "found"), [(25.0, False), (14.9, True)])
def test_a_slow_pump_that_never_rests_is_held_against_a_usual_rest(watts, found) -> None:
    """600 rpm around the clock, and so no rest of its own in the log: 5 W, and 10 W above them a pump turns."""
    fleet = EquipmentFleet()
    pump = fleet.site(plan=((1, 600, 0, 1440),))
    for day in fleet.days:
        fleet.set(pump, day, 600)
    for day in WEEK_DAYS[:2]:
        fleet.drew(pump, day, 0, 1440, watts)
    assert verdicts(judged(fleet), "D8") == ["found"] * found


@pytest.mark.parametrize(("draws", "found"), [((360, 1200), False), ((360, 500), True), ((0, 1440), True)])
def test_power_in_the_planned_hours_beside_no_speed_is_no_standstill(draws, found) -> None:
    """90 W from 06:00 to 20:00 and 4 W else: the speed is not to be believed. Two hours, or all day long, are another
    device or the meter's zero."""
    fleet = EquipmentFleet()
    pump = fleet.site(plan=((1, 1000, 360, 1200),))
    for day in WEEK_DAYS[:2]:
        fleet.set(pump, day, 0)
        for edge in draws:
            fleet.set(pump, day, 1000, edge, edge + 1)  # a minute that cuts the spans
        fleet.dead += [(pump, day, 0, 1440, 4.0), (pump, day, *draws, 90.0)]
    assert verdicts(judged(fleet), "D8") == ["found"] * found


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


@pytest.mark.parametrize(
    ("short", "found"),
    [
        (lambda k: 40 + 10 * k, True),
        (lambda k: 150 - 10 * k, False),  # faster as it warms
        (lambda k: 40 + 10 * (k % 2), False),  # nearly one speed
        (lambda k: (40, 150)[k % 2], False),  # two speeds, and the air has no say
    ],
)
def test_a_day_too_hot_for_any_hour_at_the_plan(short, found) -> None:
    """1000 rpm planned from 08:00 to 20:00 in air that warms by a degree an hour from 19 deg C on: short by 40 to 150."""
    fleet = EquipmentFleet()
    pump = fleet.site(weather="w")
    fleet.weather("w", lambda hour: 19.0 + (hour.hour - 16) % 24)
    for day in WEEK_DAYS:
        for k in range(12):
            fleet.set(pump, day, 1000 - short(k), 480 + 60 * k, 540 + 60 * k)
    result = rows(judged(fleet), "D10")
    assert [row["verdict"] for row in result] == ["found"] * found
    assert not found or "the hotter it was the slower" in result[0]["sentence"]


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


@pytest.mark.parametrize(
    ("suction", "filtering", "severity"),
    [(9.55, 40, None), (9.5, 40, "safety"), (40, 9.5, "next visit"), (40, 9.01, "next visit"), (8.99, 40, "safety"),
     (40, 8.99, "safety")],
)  # fmt: skip
def test_flow_above_the_least_rating(suction, filtering, severity) -> None:
    """9.0 m3/h are likely: below a filter's rating that is a question for a gauge, above it the pump must not run so. A
    suction fitting can hold a bather: there the high bound is enough."""
    fleet = EquipmentFleet()
    fleet.site(suction_limit_m3h=suction, filter_limit_m3h=filtering)
    result = rows(judged(fleet), "D11")
    assert [(row["verdict"], row["severity"]) for row in result] == [("found", severity)] * (severity is not None)
    if severity:
        assert (result[0]["measured"], result[0]["threshold"]) == (pytest.approx(9.54), min(suction, filtering))
        assert ("suction fittings are rated" in result[0]["sentence"]) == (filtering == 40)
        assert "drown" in result[0]["caution"] and ("likely 9.0" in result[0]["sentence"]) == (severity != "safety")


def test_how_likely_a_rating_is_passed_is_read_off_the_bounds() -> None:
    """scipy.stats.norm: nine of ten lie within 0.54 m3/h of 9.0, so its standard deviation is 0.54 / 1.645."""
    from scipy.stats import norm

    for limit in (9.05, 9.2, 9.5):
        fleet = EquipmentFleet()
        fleet.site(filter_limit_m3h=limit)
        (row,) = rows(judged(fleet), "D11")
        assert row["probability"] == pytest.approx(norm.sf((limit - 9.0) / (0.54 / 1.645)), abs=0.01)


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


@pytest.mark.parametrize(("minutes", "planned", "found"), [(10, False, False), (20, False, True), (10, True, True)])
def test_priming_again_is_priming_for_as_long_as_one_lasts(minutes, planned, found) -> None:
    """Bursts at the priming speed that no start asked for (D1); one keyed in as a period is none."""
    fleet = EquipmentFleet()
    fast = ((2, 2500, 720, 720 + minutes),) if planned else ()
    pump = fleet.site(
        suction_limit_m3h=10.0, priming_speed_rpm=2500.0, priming_min=5.0, plan=((1, 1500, 360, 720), *fast)
    )
    for day in WEEK_DAYS:
        fleet.set(pump, day, 2500, 600, 600 + minutes)
    assert verdicts(judged(fleet), "D11") == ["found"] * found


@pytest.mark.parametrize("planned", [False, True])
def test_what_ran_in_a_log_that_may_be_another_pumps_is_no_flow_of_this_one(planned) -> None:
    fleet = EquipmentFleet()
    pump = fleet.site(suction_limit_m3h=9.0 if planned else 10.0)
    for day in WEEK_DAYS:
        fleet.set(pump, day, 2500, 600, 700)
    doubt = {"mode": "B3", "quantity": "identity", "state": "open", "pump_id": pump, "blocks": True}
    result = rows(judged(fleet, doubts=(doubt,)), "D11")
    assert ["planned, not run this week" in row["sentence"] for row in result] == [True] * planned


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
