"""O1, O3, D17: water, cost and frost; wording of the one-sided ones."""

from __future__ import annotations

from datetime import date, datetime, timedelta

import polars as pl
import pytest
from small_clock import midnight
from small_fleet import WEEK

from pumpledger.diagnosis.run import diagnose

MONDAY = date(2026, 11, 2)
NAN = float("nan")
ASKED = ("O1", "O3", "D17")


def rows(frame, rule):
    return list(frame.filter(frame["rule_id"] == rule).iter_rows(named=True))


def verdicts(frame, rule):
    return [row["verdict"] for row in rows(frame, rule)]


# O1: the plan filters 90 m3, at most 95.4; 80 m3 of pool


def test_filters_too_little_by_the_high_bound(fleet, findings) -> None:
    """95.4 m3 at the high bound are 1.1925 turnovers of 80 m3: below 0.95 x 1.26 = 1.197, above 0.95 x 1.25 = 1.1875."""
    fleet.site("S1", required_turnovers=1.26)
    fleet.site("S2", required_turnovers=1.25)
    (row,) = rows(findings(fleet), "O1")
    assert (row["site_id"], row["threshold"], row["days"]) == ("S1", 1.26, 5)
    assert row["measured"] == pytest.approx(95.4 / 80)
    # exp(-90/80) = 32.5 %: dilution law, facts 3.5 [READ abstract]
    assert "32 % of the water passed no filter" in row["sentence"]
    assert "No cause shows" in row["sentence"] and "estimated" in row["sentence"]


def test_public_pool_is_this_week(fleet, findings) -> None:
    fleet.site("S1", required_turnovers=2.0, pool_class="public")
    fleet.site("S2", required_turnovers=2.0)
    assert [row["severity"] for row in rows(findings(fleet), "O1")] == ["this week", "next visit"]


@pytest.mark.parametrize(
    ("fields", "needs"),
    [
        ({"required_turnovers": None}, "the required turnovers in sites.csv"),
        ({"flow": False}, "a source of flow"),
    ],
)
def test_turnover_that_cannot_be_told(fleet, findings, fields, needs) -> None:
    fleet.site(**fields)
    (row,) = rows(findings(fleet), "O1")
    assert row["sentence"].startswith("cannot tell: needs " + needs)


def test_too_few_believed_days(fleet, findings) -> None:
    pump = fleet.site(required_turnovers=2.0)
    for day in fleet.days[9:]:
        fleet.set(pump, day, NAN, 0, 400)
    (row,) = rows(findings(fleet), "O1")
    assert row["sentence"] == "cannot tell: needs at least 3 believed days in the week"


def test_two_pumps_add_up_and_one_without_flow_makes_the_site_unknown(fleet, findings) -> None:
    fleet.site("S1", required_turnovers=1.8)
    fleet.second_pump("S1")
    assert verdicts(findings(fleet), "O1") == []
    fleet.pumps[-1]["curve"] = None
    assert verdicts(findings(fleet), "O1") == ["cannot tell"]


def test_a_few_struck_days_leave_the_rest_to_explain(fleet, findings) -> None:
    pump = fleet.site(required_turnovers=1.5)
    for day in fleet.days[-2:]:
        fleet.set(pump, day, 0)
    (row,) = rows(findings(fleet), "O1")
    assert row["explained_by"] == ""
    assert "Cause: Pump does not run (2 days). The other days show no cause." in row["sentence"]


# O3


def test_costs_more_than_its_best_plan(fleet, findings) -> None:
    fleet.site(plan=((1, 2600, 360, 900),))
    (row,) = rows(findings(fleet), "O3")
    spent = 9 * (45 + 52 * 2.6**3) / 1000
    assert row["measured"] == pytest.approx(spent)
    # 80 m3 by the low bound of 0.00564 n m3/h at 800 rpm: 17.73 h, so 17.75 h at 71.624 W
    assert row["threshold"] == pytest.approx(17.75 * 0.071624)
    assert row["benefit_kwh_week"] == pytest.approx(7 * (spent - 17.75 * 0.071624))
    assert row["benefit_money_week"] is None


def test_costs_in_money_where_there_is_a_tariff(fleet, findings) -> None:
    fleet.tariff("evening")
    fleet.site(plan=((1, 2600, 360, 900),), tariff="evening")
    (row,) = rows(findings(fleet), "O3")
    assert row["benefit_money_week"] == pytest.approx(7 * 0.2 * (9 * (45 + 52 * 2.6**3) - 17.75 * 71.624) / 1000)


def test_a_little_more_is_left_alone(fleet, findings) -> None:
    fleet.site()
    assert verdicts(findings(fleet), "O3") == []


def test_days_that_work_on_record_explains_are_not_judged(fleet, findings) -> None:
    """One backwash leaves six days to judge; three days of agreed overrides leave too few."""
    fleet.site(plan=((1, 2600, 360, 900),))
    fleet.visit("S1", fleet.days[-1], "backwash")
    (row,) = rows(findings(fleet), "O3")
    assert (row["verdict"], row["days"]) == ("found", 6)
    for day in fleet.days[-4:-1]:
        fleet.visit("S1", day, "agreed override")
    (row,) = rows(findings(fleet), "O3")
    assert row["verdict"] == "cannot tell"


@pytest.mark.parametrize("fields", [{"required_turnovers": None}, {"flow": False}])
def test_withheld_best_plan_is_no_verdict_on_cost(fleet, findings, fields) -> None:
    fleet.site(plan=((1, 2600, 360, 900),), **fields)
    (row,) = rows(findings(fleet), "O3")
    assert row["sentence"].startswith("cannot tell: needs a simple best plan, which is withheld: needs ")


# D17


def frost(fleet, coldest_c: float, hours: int = 3) -> None:
    """``hours`` at ``coldest_c`` from 02:00 on Thursday 5 November, 8 deg C otherwise."""
    start = midnight(date(2026, 11, 5)) + timedelta(hours=2)
    fleet.weather("ridge", lambda hour: coldest_c if start <= hour < start + timedelta(hours=hours) else 8.0)


def test_check_value_6f_freezing_for_three_hours_with_the_pump_off(fleet, findings) -> None:
    """Facts 6f: 30 F (-1.1 C) for 3 h, pump off, freeze risk: flag; the text must not say violation, and never safe
    (facts 1.5, 6)."""
    fleet.site(weather="ridge", freeze_risk=True)
    frost(fleet, -1.1)
    (row,) = rows(findings(fleet), "D17")
    assert (row["verdict"], row["severity"], row["rank"], row["measured"], row["first_day"]) == (
        "found",
        "safety",
        1,
        180,
        date(2026, 11, 5),
    )
    text = " ".join(row[column] for column in ("name", "sentence", "instruction", "caution")).lower()
    assert "violation" not in text and "safe" not in text and "check on site" in text


def test_two_degrees_of_margin_ask_for_a_check(fleet, findings) -> None:
    fleet.site(weather="ridge", freeze_risk=True)
    frost(fleet, 1.9)
    (row,) = rows(findings(fleet), "D17")
    assert row["verdict"] == "cannot tell" and "check on site" in row["sentence"]


def test_cold_above_the_margin_says_nothing(fleet, findings) -> None:
    fleet.site(weather="ridge", freeze_risk=True)
    frost(fleet, 2.1)
    assert verdicts(findings(fleet), "D17") == []


@pytest.mark.parametrize(("still", "verdict"), [(19, []), (20, ["found"])])
def test_minutes_still_at_a_stretch(fleet, findings, still, verdict) -> None:
    pump = fleet.site(weather="ridge", freeze_risk=True)
    frost(fleet, -3)
    day = date(2026, 11, 5)
    fleet.set(pump, day, 1000, 0, 300)
    for start in (130, 200, 260):
        fleet.set(pump, day, 0, start, start + still)
    assert verdicts(findings(fleet), "D17") == verdict


@pytest.mark.parametrize("fields", [{"freeze_risk": False}, {"freeze_risk": True, "season": "closed"}])
def test_no_risk_or_winterised(fleet, findings, fields) -> None:
    fleet.site(weather="ridge", **fields)
    frost(fleet, -5)
    assert verdicts(findings(fleet), "D17") == []


def test_no_station_and_no_readings_in_the_cold(fleet, findings) -> None:
    fleet.site("S1", freeze_risk=True)
    pump = fleet.site("S2", weather="ridge", freeze_risk=True)
    frost(fleet, -3)
    fleet.set(pump, date(2026, 11, 5), NAN, 120, 300)
    found = {row["site_id"]: row for row in rows(findings(fleet), "D17")}
    assert found["S1"]["sentence"] == "cannot tell: needs hourly readings of a weather station for the week"
    assert found["S2"]["sentence"].startswith("cannot tell: needs readings of the cold hours")


def test_frost_on_the_25_hour_day_by_utc_hours(fleet) -> None:
    """01:00 to 02:00 happens twice on 1 November: two cold hours, 120 min still."""
    fleet.site(weather="ridge", freeze_risk=True)
    first = datetime(2026, 11, 1, 8)
    fleet.weather("ridge", lambda hour: -1.0 if first <= hour < first + timedelta(hours=2) else 8.0)
    with fleet.database() as db:
        db.load("fleet_day", db.table("fleet_day").with_columns(in_week=pl.col("day_local") < MONDAY))
        diagnose(db, "2026-W44", date(2026, 11, 1))
        (row,) = rows(db.table("finding"), "D17")
    assert row["measured"] == 120


def test_week_and_its_end_must_agree(fleet) -> None:
    fleet.site()
    with fleet.database() as db, pytest.raises(ValueError, match="not in week"):
        diagnose(db, WEEK, date(2026, 11, 9))
