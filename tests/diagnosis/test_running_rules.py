"""C6, C10, D8, D14: what ran against what was keyed in; each with a near miss and a 'cannot tell'."""

from __future__ import annotations

from datetime import date, timedelta

import polars as pl
import pytest
from small_clock import EVENING_PEAK

NAN = float("nan")
ASKED = ("A1", "C6", "C10", "C12", "D8", "D14")
MONDAY = date(2026, 11, 2)


def rows(frame, rule):
    return list(frame.filter(frame["rule_id"] == rule).iter_rows(named=True))


def verdicts(frame, rule):
    return [row["verdict"] for row in rows(frame, rule)]


def week(n: int) -> list[date]:
    return [MONDAY + timedelta(days=k) for k in range(n)]


# C6


@pytest.mark.parametrize(
    ("minutes", "speed", "days", "found"),
    [
        (1200, 3450, 3, True),
        (1199, 3450, 3, False),
        (1200, 2975, 3, False),
        (1200, 3450, 2, False),
    ],
)
def test_full_speed_all_day(fleet, findings, minutes, speed, days, found) -> None:
    pump = fleet.site()
    for day in fleet.days[-days:]:
        fleet.set(pump, day, speed, 0, minutes)
    assert verdicts(findings(fleet), "C6") == ["found"] * found


def test_full_speed_after_a_vacuum_visit_is_excused(fleet, findings) -> None:
    pump = fleet.site()
    for day in fleet.days[-3:]:
        fleet.set(pump, day, 3450)
    fleet.visit("S1", fleet.days[-2], "vacuum")
    found = findings(fleet)
    assert verdicts(found, "C6") == [] and verdicts(found, "C10") == []


def test_full_speed_on_a_smaller_motor_counts_from_nine_tenths(fleet, findings) -> None:
    pump = fleet.site(full_speed_rpm=2850.0)
    for day in fleet.days[-3:]:
        fleet.set(pump, day, 2850)
    assert verdicts(findings(fleet), "C6") == ["found"]


def test_full_speed_explains_cost_override_and_peak(fleet, findings) -> None:
    fleet.tariff("evening")
    pump = fleet.site(tariff="evening")
    for day in fleet.days:
        fleet.set(pump, day, 3450)
    found = findings(fleet, asked=())
    (c6,) = rows(found, "C6")
    assert c6["rank"] == 1
    assert found.filter(pl.col("verdict") == "found").filter(pl.col("rule_id") != "C6")[
        "explained_by"
    ].unique().to_list() == ["C6"]
    assert c6["benefit_money_week"] == rows(found, "O3")[0]["benefit_money_week"] > 0
    assert "rpm from" in c6["instruction"] and "pad" in c6["caution"]


# C10


@pytest.mark.parametrize(("minutes", "found"), [(180, True), (179, False)])
def test_override_of_three_hours(fleet, findings, minutes, found) -> None:
    pump = fleet.site()
    fleet.set(pump, MONDAY, 3000, 600, 600 + minutes)
    assert verdicts(findings(fleet), "C10") == ["found"] * found


@pytest.mark.parametrize(("extra_min", "over"), [(0, False), (1, True)])
def test_check_value_2k_an_override_of_24_h_and_one_minute_more(fleet, findings, extra_min, over) -> None:
    """Facts 2k, from memory [MEM-H]: an override may last 24 h; 24 h 1 min is beyond."""
    pump = fleet.site()
    fleet.set(pump, MONDAY, 3000, 600, 1440)
    fleet.set(pump, MONDAY + timedelta(days=1), 3000, 0, 600 + extra_min)
    (row,) = rows(findings(fleet), "C10")
    assert row["measured"] == pytest.approx((1440 + extra_min) / 60)
    assert ("longer than the 24 h" in row["sentence"]) == over


def test_override_benefit_is_its_energy_less_the_plan_s(fleet, findings) -> None:
    pump = fleet.site()
    fleet.set(pump, MONDAY, 3000, 600, 840)  # 4 h at 45 + 52 x 27 = 1449 W in place of 45 + 52 = 97 W
    (row,) = rows(findings(fleet), "C10")
    assert row["benefit_kwh_week"] == pytest.approx(4 * (1.449 - 0.097))


@pytest.mark.parametrize(
    ("work", "offset", "excused"),
    [
        ("agreed override", 0, True),
        ("agreed override", 1, True),
        ("backwash", -1, True),
        ("agreed override", 2, False),
        ("cleaning", 0, False),
    ],
)
def test_a_visit_excuses_its_day_and_a_day_either_side(fleet, findings, work, offset, excused) -> None:
    pump = fleet.site()
    fleet.set(pump, date(2026, 11, 5), 3000, 600, 900)
    fleet.visit("S1", date(2026, 11, 5) + timedelta(days=offset), work)
    assert verdicts(findings(fleet), "C10") == ([] if excused else ["found"])


def test_override_through_the_25_hour_day_counts_25_hours(fleet, findings) -> None:
    pump = fleet.site()
    fleet.set(pump, date(2026, 11, 1), 3000)
    fleet.set(pump, MONDAY, 3000, 0, 60)
    (row,) = rows(findings(fleet), "C10")
    assert row["measured"] == pytest.approx(26) and row["first_day"] == date(2026, 11, 1)


# C12


def test_running_in_the_peak(fleet, findings) -> None:
    fleet.tariff("evening")
    fleet.site(tariff="evening", plan=((1, 1000, 420, 960), (2, 2400, 960, 1140)))
    (row,) = rows(findings(fleet), "C12")
    # 3 h at 45 + 52 x 2.4^3 = 763.8 W in the peak, 9 h at 97 W outside
    peak, rest = 3 * 763.848, 9 * 97
    assert row["measured"] == pytest.approx(peak / (peak + rest), rel=1e-4)
    assert row["threshold"] == pytest.approx(1.2 * 5 / 24)
    movable = (peak - 5 / 24 * (peak + rest)) / 1000 * (0.6 - 0.2) * 5
    assert row["benefit_money_week"] == pytest.approx(movable, rel=1e-4)


def test_an_even_day_is_not_peak_running(fleet, findings) -> None:
    fleet.tariff("evening")
    fleet.site(tariff="evening", plan=((1, 1000, 0, 1440),))
    assert verdicts(findings(fleet), "C12") == []


def test_no_tariff_and_no_peak(fleet, findings) -> None:
    fleet.tariff("flat", tuple((b, d, a, z, 0.2, False) for b, d, a, z, _, _ in EVENING_PEAK))
    fleet.site("S1")
    fleet.site("S2", tariff="flat")
    (row,) = rows(findings(fleet), "C12")
    assert (row["site_id"], row["sentence"]) == ("S1", "cannot tell: needs a tariff in sites.csv")


# D8


def test_pump_does_not_run(fleet, findings) -> None:
    pump = fleet.site()
    for day in week(3):
        fleet.set(pump, day, 0)
    found = findings(fleet)
    (row,) = rows(found, "D8")
    assert (row["verdict"], row["days"], row["first_day"], row["last_day"], row["rank"]) == (
        "found",
        3,
        MONDAY,
        date(2026, 11, 4),
        1,
    )
    assert "lock out" in row["caution"]


def test_speed_without_power_is_not_running(fleet, findings) -> None:
    pump = fleet.site()
    with fleet.database() as db:
        spans = db.table("span")
    assert spans.filter(pl.col("kind") == "run")["power_w"].min() > 30
    fleet.power_scale[pump] = 0.2  # 97 W becomes 19.4 W: at or under standby, yet no unit has that factor
    for day in week(7):
        fleet.set(pump, day, 1000, 480, 1200)
        fleet.set(pump, day, 1000, 360, 480)
    assert verdicts(findings(fleet), "D8") == ["found"]


def test_half_a_planned_day_or_a_dead_export_is_not_d8(fleet, findings) -> None:
    half, dead = fleet.site("S1"), fleet.site("S2")
    fleet.set(half, MONDAY, 0, 0, 700)
    fleet.set(dead, MONDAY, NAN)
    assert verdicts(findings(fleet), "D8") == []


def test_running_at_other_hours_is_a_clock_not_a_dead_pump(fleet, findings) -> None:
    fleet.site(plan=((1, 1500, 360, 480), (2, 1000, 480, 1020)), moved_min=lambda day: 720)
    found = findings(fleet)
    assert verdicts(found, "D8") == [] and verdicts(found, "A1") == ["found"]


@pytest.mark.parametrize("reason", ["closed", "closing visit"])
def test_closed_sites_may_stand(fleet, findings, reason) -> None:
    pump = fleet.site(season="closed" if reason == "closed" else "open")
    if reason == "closing visit":
        fleet.visit("S1", MONDAY, "closing")
    for day in week(7):
        fleet.set(pump, day, 0)
    assert verdicts(findings(fleet), "D8") == []


def test_a_dead_pump_explains_too_little_water(fleet, findings) -> None:
    pump = fleet.site()
    for day in week(7):
        fleet.set(pump, day, 0)
    (row,) = rows(findings(fleet, asked=()), "O1")
    assert (row["explained_by"], row["rank"]) == ("D8", 2)


# D14


def load_site(fleet, **fields) -> str:
    pump = fleet.site(aux_load="heater", aux_min_speed_rpm=1400.0, **fields)
    fleet.log_aux(pump)
    return pump


@pytest.mark.parametrize(
    ("start", "minutes", "days", "found"),
    [(600, 6, 3, True), (600, 5, 3, False), (600, 6, 2, False), (400, 60, 7, False)],
)
def test_load_below_its_minimum(fleet, findings, start, minutes, days, found) -> None:
    """Minute 600 runs at 1000 rpm, minute 400 at 1500: the minimum is 1400."""
    pump = load_site(fleet)
    for day in week(days):
        fleet.load_on(pump, day, start, start + minutes)
    assert verdicts(findings(fleet), "D14") == ["found"] * found


def test_load_on_with_the_pump_off_is_not_d14(fleet, findings) -> None:
    """Those minutes belong to D12 (test_equipment_loads.py)."""
    pump = load_site(fleet)
    for day in week(7):
        fleet.load_on(pump, day, 1300, 1400)
    assert verdicts(findings(fleet), "D14") == []


def test_load_that_is_not_logged_or_has_no_minimum(fleet, findings) -> None:
    fleet.site("S1", aux_load="heater", aux_min_speed_rpm=1400.0)
    pump = fleet.site("S2", aux_load="heater")
    fleet.log_aux(pump)
    sentences = [row["sentence"] for row in rows(findings(fleet), "D14")]
    assert sentences == [
        "cannot tell: needs the state of the heater in the export",
        "cannot tell: needs the minimum speed of the heater in pumps.csv",
    ]
