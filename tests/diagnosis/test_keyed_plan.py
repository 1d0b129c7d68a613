"""C1, C2, C3, C4, C17, C18: the plan as it is recorded, and steps that did not run so; each with a near miss and a
'cannot tell'. C5 and C9, which compare whole days, stand in test_whole_days.py.
"""

from __future__ import annotations

from datetime import date, timedelta

import polars as pl
import pytest
from keyed_plan_fleet import CUT, DROPPED, EXCHANGED, HOLE, NIGHT, THREE, TWO, run
from small_fleet import LAST, WEEK, Fleet

from pumpledger.diagnosis.run import diagnose

NAN = float("nan")
MONDAY = date(2026, 11, 2)


def rows(frame, rule):
    return list(frame.filter(frame["rule_id"] == rule).iter_rows(named=True))


def verdicts(frame, rule):
    return [row["verdict"] for row in rows(frame, rule)]


MINE = ("C1", "C2", "C3", "C4", "C5", "C9", "C17", "C18")
ASKED = (*MINE, "C10")


def test_healthy_sites_say_nothing(fleet, findings) -> None:
    fleet.site("S1")
    fleet.site("S2", plan=THREE, aux_load="chlorinator", aux_min_speed_rpm=1100.0)
    fleet.site("S3", plan=((1, 1500, 360, 600), (2, 1500, 1080, 1320)))
    fleet.site("S4", plan=((1, 1000, 0, 1440),), pool_class="public")
    party = fleet.site("S5", plan=TWO)
    fleet.set(party, MONDAY, 3000, 600, 900)
    fleet.site("S6", plan=None)
    assert findings(fleet).filter(pl.col("rule_id").is_in(MINE)).is_empty()


# C1: 85.5 m3 in 80 m3 of pool, at most 1.133 turnovers, 1.069 in the middle; 1.086 at a quarter of the way


@pytest.mark.parametrize(("required", "found"), [(1.09, True), (1.08, False)])
def test_hole_in_a_day_that_filters_too_little(fleet, findings, required, found) -> None:
    fleet.site(plan=HOLE, required_turnovers=required)
    found_rows = rows(findings(fleet), "C1")
    assert [(r["verdict"], r["measured"], r["days"]) for r in found_rows] == [("found", 45.0, 7)] * found
    assert not found or "stops at 08:00 and period 2 starts at 08:45" in found_rows[0]["sentence"]


@pytest.mark.parametrize(
    ("share", "required", "found"),
    [
        (0.6, 1.20, True),
        (0.6, 1.19, False),
        (1.0, 1.29, True),
        (1.0, 1.28, False),
        (0.0, 1.07, True),
        (0.0, 1.06, False),
    ],
)
def test_how_short_the_estimate_must_be_is_a_threshold(share, required, found) -> None:
    """A flow that may be 20 % more: 1.069 turnovers in the middle, at most 1.283, and 1.197 at 0.6 of the way."""
    fleet = Fleet()
    fleet.site(plan=HOLE, required_turnovers=required)
    with fleet.database() as db:
        db.load("daily", db.table("daily").with_columns(turnovers_hi=1.2 * pl.col("turnovers_mid")))
        diagnose(db, WEEK, LAST, {"C1": {"sure_share": share}})
        assert verdicts(db.table("finding"), "C1") == ["found"] * found


@pytest.mark.parametrize(("gap", "found"), [(15, False), (16, True), (300, True), (301, False)])
def test_a_pause_as_long_as_a_hole(fleet, findings, gap, found) -> None:
    fleet.site(plan=((1, 1500, 360, 480), (2, 1000, 480 + gap, 1140)), required_turnovers=3.0)
    assert verdicts(findings(fleet), "C1") == ["found"] * found


def test_the_days_rest_and_the_dear_hours_are_no_hole(fleet, findings) -> None:
    fleet.tariff("evening")  # dear from 16:00 to 21:00 on weekdays
    fleet.site("S1", plan=((1, 1000, 360, 900),), required_turnovers=3.0)
    fleet.site("S2", plan=((1, 1500, 360, 960), (2, 1000, 1140, 300)), tariff="evening", required_turnovers=3.0)
    fleet.site("S3", plan=((1, 1500, 360, 960), (2, 1000, 1140, 300)), required_turnovers=3.0)
    found = rows(findings(fleet), "C1")
    # 16:00 to 19:00 and 05:00 to 06:00: on S2 the three hours are dear, the one hour is the shorter pause and a hole
    assert [(r["site_id"], r["measured"]) for r in found] == [("S2", 60.0), ("S3", 60.0)]


def test_a_pump_that_runs_through_the_hole_has_none(fleet, findings) -> None:
    pump = fleet.site(plan=HOLE, required_turnovers=1.3)
    for day in fleet.days:
        fleet.set(pump, day, 1000, 480, 525)
    assert verdicts(findings(fleet), "C1") == []


@pytest.mark.parametrize(
    ("fields", "needs"),
    [
        ({"required_turnovers": None}, "the required turnovers"),
        ({"flow": False}, "the turnovers of more days, or a source"),
    ],
)
def test_a_hole_whose_harm_cannot_be_told(fleet, findings, fields, needs) -> None:
    fleet.site(plan=HOLE, **fields)
    (row,) = rows(findings(fleet), "C1")
    assert row["verdict"] == "cannot tell" and row["sentence"].startswith("cannot tell: needs " + needs)


@pytest.mark.parametrize(
    ("plan", "verdict"),
    [
        (((1, 1500, 0, 720), (2, 1500, 780, 1440)), ["found"]),  # 12:00 to 13:00
        (((1, 1500, 0, 720), (2, 1500, 779, 1440)), []),
        (((1, 1500, 0, 1380),), ["cannot tell"]),  # 23:00 to 24:00: closed, or not
        (((1, 1500, 600, 540),), ["found"]),  # 09:00 to 10:00
    ],
)
def test_a_public_pool_pauses(fleet, findings, plan, verdict) -> None:
    """Facts 3.2 [READ]: several codes ask public pools to circulate all the time that they are open."""
    fleet.site(plan=plan, pool_class="public", required_turnovers=0.5)
    found = rows(findings(fleet), "C1")
    assert [r["verdict"] for r in found] == verdict
    assert all(r["severity"] == "this week" for r in found if r["verdict"] == "found")


# C2: 2 h at 1500 and 6 h at 1000 rpm at night, half an hour at 1000 by day: 54 of 57 m3


def night_site(fleet, site="S1", plan=NIGHT, **fields) -> str:
    return fleet.site(site, plan=plan, **{"aux_load": "chlorinator", "aux_min_speed_rpm": 900.0, **fields})


def test_most_litres_at_night_with_a_chlorinator(fleet, findings) -> None:
    night_site(fleet)
    (row,) = rows(findings(fleet), "C2")
    assert (row["verdict"], row["days"], row["first_day"]) == ("found", 7, MONDAY)
    assert row["measured"] == pytest.approx(54 / 57)


@pytest.mark.parametrize(("minutes", "found"), [(171, True), (172, False)])
def test_seven_tenths_of_the_litres(fleet, findings, minutes, found) -> None:
    """54 m3 at night, and 1350 rpm by day are 8.1 m3/h: 54 / (54 + 8.1 x / 60) is 0.7 at x = 171.4 min."""
    night_site(fleet, plan=((1, 1500, 1320, 1440), (2, 1000, 0, 360), (3, 1350, 900, 900 + minutes)))
    assert verdicts(findings(fleet), "C2") == ["found"] * found


@pytest.mark.parametrize(
    "fields", [{"aux_load": "none"}, {"aux_load": "booster"}, {"plan": THREE}, {"tariff": "night"}]
)
def test_night_running_that_is_none_of_our_business(fleet, findings, fields) -> None:
    fleet.tariff(
        "night",
        tuple(
            ("low" if price < 0.2 else "high", kind, a, z, price, False)
            for kind in ("weekday", "weekend")
            for a, z, price in ((0, 360, 0.1), (360, 1440, 0.3))
        ),
    )
    night_site(fleet, **fields)
    assert verdicts(findings(fleet), "C2") == []


@pytest.mark.parametrize(
    ("work", "note", "verdict"),
    [
        ("agreed override", None, []),
        ("keying", "start moved", ["found"]),
        ("keying", "Night running is wished", ["cannot tell"]),
    ],
)
def test_an_agreement_about_the_night(fleet, findings, work, note, verdict) -> None:
    night_site(fleet)
    fleet.visit("S1", date(2026, 1, 1), work, note=note)
    assert verdicts(findings(fleet), "C2") == verdict


def test_night_running_without_a_source_of_flow(fleet, findings) -> None:
    """Half an hour by day at the slowest speed of the night: 480 of 510 min are the least share of water. Faster by day,
    nobody knows."""
    night_site(fleet, flow=False)
    night_site(fleet, "S2", plan=(*NIGHT[:2], (3, 1350, 900, 930)), flow=False)
    night, faster = rows(findings(fleet), "C2")
    assert (night["site_id"], night["verdict"], night["measured"]) == ("S1", "found", pytest.approx(480 / 510))
    assert faster["sentence"].startswith("cannot tell: needs a source of flow")


def test_a_load_kept_from_its_hours_by_the_night_plan_is_in_use(fleet, findings) -> None:
    """It ran by day in the week before the plan was moved to the night, and has had no water since."""
    pump = night_site(fleet)
    fleet.log_aux(pump)
    fleet.aux[pump, MONDAY - timedelta(days=3)][600:660] = 1
    assert verdicts(findings(fleet), "C2") == ["found"]


def test_a_load_that_is_logged_and_never_on_is_not_in_use(fleet, findings) -> None:
    fleet.log_aux(night_site(fleet))
    assert verdicts(findings(fleet), "C2") == []


def test_the_night_of_25_hours(fleet, findings) -> None:
    """01:30 happens twice: seven hours pass from midnight to 06:00, and 05:00 to 06:00 is night still.

    Two hours at 1000 rpm from 04:00 and 50 min from 12:00: 120 of 170 min, 70.6 %. Were the night of 2026-11-01 over
    after 360 elapsed minutes, an hour of it would count as day: 35 %.
    """
    pump = night_site(fleet, plan=((1, 1000, 240, 360), (2, 1000, 720, 770)))
    for day in fleet.days[-2:]:
        fleet.set(pump, day, NAN)
    (row,) = rows(findings(fleet), "C2")
    # the newest seven days end on 11-06 and begin on 10-31; the long one is the second of them
    assert (row["verdict"], row["first_day"], row["days"]) == ("found", date(2026, 10, 31), 7)


# C3: the first step is recorded from 06:00 to 09:00


@pytest.mark.parametrize(("stop", "found"), [(510, True), (511, False)])
def test_cut_by_half_an_hour(fleet, findings, stop, found) -> None:
    pump = fleet.site(plan=TWO)
    run(fleet, pump, ((1, 2400, 360, stop), (2, 1200, stop, 1080)))
    assert [(r["verdict"], r["measured"]) for r in rows(findings(fleet), "C3")] == [("found", 30.0)] * found


def test_a_cut_before_midnight_loses_the_rest_of_the_night(fleet, findings) -> None:
    """22:00 to 03:00, handing over at 23:00: four of five hours."""
    pump = fleet.site(plan=((1, 2400, 1320, 180), (2, 1200, 180, 1080)))
    run(fleet, pump, ((1, 2400, 1320, 1380), (2, 1200, 1380, 1080)))
    assert [(r["verdict"], r["measured"]) for r in rows(findings(fleet), "C3")] == [("found", 240.0)]


def test_cut_on_five_of_seven_days_at_one_moment(fleet, findings) -> None:
    often, seldom, varied = (fleet.site(f"S{n}", plan=TWO) for n in range(3))
    run(fleet, often, CUT, fleet.days[-5:])
    run(fleet, seldom, CUT, fleet.days[-4:])
    for n, day in enumerate(fleet.days):
        run(fleet, varied, ((1, 2400, 360, 390 + 15 * (n % 7)), (2, 1200, 390 + 15 * (n % 7), 1080)), [day])
    assert [(r["site_id"], r["days"]) for r in rows(findings(fleet), "C3")] == [("S0", 5)]


def test_no_cut_but_a_clock_or_another_plan(fleet, findings) -> None:
    fleet.site("S1", plan=TWO, moved_min=lambda day: -90)
    run(fleet, fleet.site("S2", plan=TWO), ((1, 2400, 360, 450), (2, 1200, 450, 990)))  # came and went early: moved
    assert verdicts(findings(fleet), "C3") == []


def test_cut_on_the_few_days_that_there_are(fleet, findings) -> None:
    pump = run(fleet, fleet.site(plan=TWO), CUT)
    for day in fleet.days[:11]:
        fleet.set(pump, day, NAN)
    (row,) = rows(findings(fleet), "C3")
    assert row["sentence"].startswith("cannot tell: needs more valid days")


def test_cut_by_the_clock_on_the_day_of_25_hours(fleet, findings) -> None:
    """00:30 to 03:00 lasts 3 h 30 min on 2026-11-01; handing over at 02:00 by the clock, 2 h 30 min after, cuts 60 min."""
    pump = fleet.site(plan=((1, 2400, 30, 180), (2, 1200, 180, 1080)))
    run(fleet, pump, ((1, 2400, 30, 120), (2, 1200, 120, 1080)))
    for day in fleet.days[-2:]:
        fleet.set(pump, day, NAN)
    (row,) = rows(findings(fleet), "C3")
    # held 90 - 16 min on six days and 150 - 16 on the long one: six agree
    assert (row["measured"], row["days"]) == (60.0, 6)


# C4


def test_the_middle_step_is_dropped(fleet, findings) -> None:
    run(fleet, fleet.site(plan=THREE), DROPPED)
    (row,) = rows(findings(fleet), "C4")
    assert (row["verdict"], row["days"], row["first_day"]) == ("found", 7, MONDAY)
    assert "Period 2 (1200 rpm from 08:00 to 15:00)" in row["sentence"]


def test_the_step_before_holds_on_in_its_place(fleet, findings) -> None:
    run(fleet, fleet.site(plan=THREE), ((1, 2400, 360, 900), (3, 1800, 900, 1080)))
    found = findings(fleet)
    assert verdicts(found, "C4") == ["found"]
    assert all(r["verdict"] == "cannot tell" or r["explained_by"] == "C4" for r in rows(found, "C10"))


def test_a_step_that_ran_in_between_is_not_dropped(fleet, findings) -> None:
    pump = run(fleet, fleet.site(plan=THREE), DROPPED)
    run(fleet, pump, THREE, [MONDAY + timedelta(days=3)])
    assert verdicts(findings(fleet), "C4") == []


@pytest.mark.parametrize(("ran", "found"), [(2, True), (3, False)])
def test_a_step_dropped_on_five_days_after_it_ran(fleet, findings, ran, found) -> None:
    pump = run(fleet, fleet.site(plan=THREE), DROPPED)
    run(fleet, pump, THREE, [MONDAY + timedelta(days=n) for n in range(ran)])
    (row,) = rows(findings(fleet), "C4") or [{"days": None, "first_day": None}]
    assert (row["days"], row["first_day"]) == ((5, MONDAY + timedelta(days=2)) if found else (None, None))


def test_a_step_at_a_speed_of_its_own_is_not_dropped(fleet, findings) -> None:
    """One step of the grid from its neighbour's speed, and far from the recorded one: it runs, the record is wrong."""
    first, second, third = THREE
    other = (second[0], first[1] - 25, *second[2:])
    run(fleet, fleet.site(plan=THREE), (first, other, third))
    assert verdicts(findings(fleet), "C4") == []


@pytest.mark.parametrize("plan", [(), ((2, 1200, 480, 900),), EXCHANGED])
def test_not_one_step_alone(fleet, findings, plan) -> None:
    """Nothing ran, two of three did not, or two are exchanged."""
    run(fleet, fleet.site(plan=THREE), plan)
    assert verdicts(findings(fleet), "C4") == []


def test_a_short_step_that_ran_an_hour_late_is_a_clock(fleet, findings) -> None:
    fleet.site(plan=((1, 2400, 360, 420), (2, 1000, 420, 300)), moved_min=lambda day: 60)
    assert verdicts(findings(fleet), "C4") == []


@pytest.mark.parametrize(
    ("cause", "found"), [("unexplained", []), ("override", ["found"]), ("freeze protection", ["found"])]
)
def test_minutes_that_frost_or_a_hand_explains_are_left_out(fleet, cause, found) -> None:
    """Of 7 h less 32 min of edges, 2 h 30 min run at 3000 rpm. Unexplained they are 39 % of the step at another speed; as
    an override they are left out, and the pump stands through all of the rest."""
    pump = run(fleet, fleet.site(plan=THREE), DROPPED)
    for day in fleet.days:
        fleet.set(pump, day, 3000, 510, 660)
    with fleet.database() as db:
        of_hand = pl.col("cause") == "unexplained"
        db.load("span", db.table("span").with_columns(cause=pl.when(of_hand).then(pl.lit(cause)).otherwise("cause")))
        diagnose(db, WEEK, LAST)
        assert verdicts(db.table("finding"), "C4") == found


def test_dropped_on_the_few_days_that_there_are(fleet, findings) -> None:
    pump = run(fleet, fleet.site(plan=THREE), DROPPED)
    for day in fleet.days[:11]:
        fleet.set(pump, day, NAN)
    (row,) = rows(findings(fleet), "C4")
    assert row["sentence"].startswith(
        "cannot tell: needs more valid days: period 2 did not run on any day that tells (3"
    )


def test_a_visit_excuses_its_days(fleet, findings) -> None:
    run(fleet, fleet.site(plan=THREE), DROPPED, [MONDAY + timedelta(days=n) for n in range(7)])
    fleet.visit("S1", date(2026, 11, 5), "repair")
    # of the fourteen days, eleven count; the newest seven are 10-29 to 11-03, on which it ran, and 11-07, 11-08
    assert verdicts(findings(fleet), "C4") == []


# C17, C18


@pytest.mark.parametrize(
    ("plan", "found"),
    [
        (((1, 1500, 360, 480), (2, 1550, 480, 900)), True),
        (((1, 1500, 360, 480), (2, 1575, 480, 900)), False),
        (((1, 1500, 360, 480), (2, 1550, 495, 900)), True),
        (((1, 1500, 360, 480), (2, 1550, 496, 900)), False),
        (((1, 1500, 1080, 1440), (2, 1500, 0, 360)), False),  # one run, keyed in as two because of midnight
        (((1, 1500, 360, 900),), False),
    ],
)
def test_two_steps_almost_the_same(fleet, findings, plan, found) -> None:
    fleet.site(plan=plan)
    assert verdicts(findings(fleet), "C17") == ["found"] * found


@pytest.mark.parametrize(
    ("speed", "fields", "threshold"),
    [
        (1510, {}, 25.0),
        (1500, {}, None),
        (600, {}, None),
        (575, {}, 600.0),  # the register refuses it; a table that reaches the rule by another way is told
        (3450, {}, None),
        (2875, {"full_speed_rpm": 2850.0}, 2850.0),
    ],
)
def test_a_speed_that_cannot_be_keyed_in(fleet, findings, speed, fields, threshold) -> None:
    fleet.site(plan=((1, speed, 360, 600),), **fields)
    assert [r["threshold"] for r in rows(findings(fleet), "C18")] == ([] if threshold is None else [threshold])


def test_a_fleet_with_another_grid_is_not_accused(fleet, findings) -> None:
    for n in range(5):
        fleet.site(f"S{n}", plan=((1, 1510 + n, 360, 900),))
    assert verdicts(findings(fleet), "C18") == []


def test_a_closed_site_is_left_alone(fleet, findings) -> None:
    run(fleet, fleet.site(plan=((1, 1510, 360, 480), (2, 1500, 480, 900)), season="closed"), ())
    assert findings(fleet).filter(pl.col("rule_id").is_in(MINE)).is_empty()
