"""B5: a whole source in the wrong zone. Stamps are written and misread by ``zoneinfo`` alone, so the verdict must name
the zone that the logger really wrote.

Outside: the tz database (check values 7a and 7c: 25 h on 2026-11-01, 23 h on 2026-03-08 in Los Angeles) and, for case
(iii) of facts 7, an offset equal to the zone's own.
"""

from __future__ import annotations

from datetime import date, datetime, timedelta

import pytest
from logged_fleet import AUTUMN, LA, SPRING, SUMMER, LoggedFleet, misread, varied_plan

from pumpledger.verdicts.registry import MODES, mode_parameters
from pumpledger.verdicts.source_clock import fixed_zone, mode_b5, offset_min, stretches, unmoved_min, wrapped

PARAMETERS = mode_parameters(MODES["B5"])
KATHMANDU, LONDON, AUCKLAND = "Asia/Kathmandu", "Europe/London", "Pacific/Auckland"


def weighed(fleet: LoggedFleet) -> list[dict]:
    with fleet.database() as db:
        return mode_b5(db, PARAMETERS).to_dicts()


def a_source(days, written: str, read: str, zone: str = LA, pumps: int = 6, right: int = 0, **more) -> LoggedFleet:
    """Pumps in ``zone`` whose logger writes stamps of one zone that are read as another's; ``right`` of them are not
    out."""
    fleet = LoggedFleet(days)
    fleet.source("gateway", "site" if read == zone else read)
    for n in range(pumps):
        stamp = (lambda at: at) if n < right else (lambda at: misread(at, written, read))
        fleet.pump(f"P{n}", varied_plan(n), zone=zone, stamp=stamp, **more)
    return fleet


@pytest.mark.parametrize(
    ("days", "written", "read", "zone", "remedy", "late"),
    [
        (AUTUMN, "utc", LA, LA, "zone utc", 480),
        (AUTUMN, LA, "utc", LA, "zone site", -480),
        (AUTUMN, "-08:00", "utc", LA, "zone -08:00", -480),
        (AUTUMN, "-07:00", LA, LA, "zone -07:00", 60),
        (AUTUMN, LA, "-07:00", LA, "zone site", -60),
        (SPRING, "-08:00", LA, LA, "zone -08:00", -60),
        (SUMMER, "utc", LA, LA, "zone utc", 420),
        (SUMMER, "-08:00", LA, LA, "zone -08:00", -60),
        (SUMMER, "utc", "America/New_York", LA, "zone utc", 240),
        (SUMMER, "utc", LONDON, LONDON, "zone utc", -60),
        (SUMMER, KATHMANDU, "utc", KATHMANDU, "zone site", 345),
        (SUMMER, "utc", AUCKLAND, AUCKLAND, "zone utc", 720),
    ],
)
def test_the_zone_that_the_logger_wrote_is_named(days, written, read, zone, remedy, late) -> None:
    (row,) = weighed(a_source(days, written, read, zone))
    assert (row["source"], row["pump_id"], row["quantity"]) == ("gateway", "", "time")
    assert (row["remedy"], row["blocks"], row["sureness"]) == (remedy, True, 1.0)
    way = "late" if late > 0 else "early"
    assert f"6 of the 6 pumps of this source whose plans can tell run {abs(late)} min {way}" in row["sentence"]
    assert days[0] <= row["first_day"] <= row["last_day"] <= days[-1]


@pytest.mark.parametrize(("days", "zone"), [(AUTUMN, LA), (SPRING, LA), (SUMMER, LA), (SUMMER, KATHMANDU)])
def test_a_right_zone_says_nothing_over_days_of_23_24_and_25_hours(days, zone) -> None:
    assert weighed(a_source(days, zone, zone, zone)) == []
    assert weighed(a_source(days, "utc", "utc", zone)) == []


def test_a_logger_that_did_not_follow_the_clock_change_is_named_as_such() -> None:
    (row,) = weighed(a_source(AUTUMN, "-07:00", LA))
    assert (
        "They did not before the clock change of 2026-11-01, which the logger's clock did not follow."
        in row["sentence"]
    )
    assert (row["first_day"], row["last_day"]) == (date(2026, 11, 2), date(2026, 11, 8))
    (row,) = weighed(a_source(SPRING, "-08:00", LA))
    assert "before the clock change of 2026-03-08, which the logger's clock did not follow" in row["sentence"]


def test_a_logger_that_followed_a_clock_change_unlike_its_dialect_is_named_as_such() -> None:
    (row,) = weighed(a_source(AUTUMN, LA, "-07:00"))
    assert "the clock change of 2026-11-01, which the logger's clock followed" in row["sentence"]


def test_an_hour_that_is_over_does_not_block_the_week_that_is_right() -> None:
    """Standard time all the year: an hour out in summer, and right from 1 November on."""
    (row,) = weighed(a_source(AUTUMN, "-08:00", LA))
    assert (row["remedy"], row["blocks"], row["last_day"]) == ("zone -08:00", False, date(2026, 10, 31))
    assert "From 2026-11-02 on they do not." in row["sentence"]


@pytest.mark.parametrize(
    ("days", "late"),
    [
        (AUTUMN, lambda day: -60 if day >= date(2026, 11, 1) else 0),
        (SPRING, lambda day: 60 if day >= date(2026, 3, 8) else 0),
        (SUMMER, lambda day: 60),
    ],
)
def test_pumps_whose_own_clocks_were_not_moved_are_no_matter_of_the_source(days, late) -> None:
    assert weighed(a_source(days, LA, LA, late_min=late)) == []


def test_twelve_hours_at_once_are_no_zone() -> None:
    (row,) = weighed(a_source(AUTUMN, LA, LA, late_min=lambda day: 720))
    assert (row["remedy"], row["blocks"]) == ("", True)
    assert "AM and PM" in row["sentence"]


def test_four_fifths_of_the_pumps_carry_the_vote_and_less_do_not() -> None:
    (row,) = weighed(a_source(SUMMER, "utc", LA, pumps=10, right=2))
    assert row["sureness"] == 0.8
    assert weighed(a_source(SUMMER, "utc", LA, pumps=10, right=3)) == []


def test_four_pumps_are_too_few() -> None:
    assert weighed(a_source(SUMMER, "utc", LA, pumps=4)) == []
    assert len(weighed(a_source(SUMMER, "utc", LA, pumps=5))) == 1


def test_plans_that_cannot_tell_have_no_vote() -> None:
    """Three pumps run around the clock: they fit at every shift, and must not outvote the five that can tell."""
    fleet = a_source(SUMMER, "utc", LA, pumps=5)
    for n in range(3):
        fleet.pump(f"C{n}", ((1, 1200, 0, 1440),))
    (row,) = weighed(fleet)
    assert "5 of the 5 pumps" in row["sentence"]


def test_symmetric_plans_are_ambiguous_and_say_nothing() -> None:
    fleet = LoggedFleet(SUMMER)
    fleet.source("gateway", "site")
    for n in range(6):
        fleet.pump(f"P{n}", ((1, 1500, 120 + 15 * n, 360), (2, 1500, 840 + 15 * n, 1080)), late_min=lambda day: 720)
    assert weighed(fleet) == []


def test_pumps_at_different_odd_times_are_no_source() -> None:
    fleet = LoggedFleet(SUMMER)
    fleet.source("gateway", "site")
    for n in range(6):
        fleet.pump(f"P{n}", varied_plan(n), late_min=lambda day, n=n: 45 * (n + 2))
    assert weighed(fleet) == []


def test_only_the_source_that_is_out_is_named_and_pumps_of_two_zones_vote_as_one() -> None:
    fleet = a_source(SUMMER, "utc", LA, pumps=4)
    for n in range(4, 7):
        stamp = lambda at: misread(at, "utc", "America/Phoenix")
        fleet.pump(f"P{n}", varied_plan(n), zone="America/Phoenix", stamp=stamp)
    fleet.source("other", "site")
    for n in range(6):
        fleet.pump(f"Q{n}", varied_plan(n), source="other")
    (row,) = weighed(fleet)
    assert (row["source"], row["remedy"]) == ("gateway", "zone utc")
    assert "7 of the 7 pumps" in row["sentence"]


def test_a_zone_that_changed_in_midweek_has_no_one_remedy() -> None:
    since = SUMMER[9]
    fleet = LoggedFleet(SUMMER)
    fleet.source("gateway", "site")
    start = misread(datetime(since.year, since.month, since.day), "utc", LA)
    for n in range(6):
        fleet.pump(f"P{n}", varied_plan(n), stamp=lambda at: misread(at, "utc", LA) if at >= start else at)
    (row,) = weighed(fleet)
    assert (row["remedy"], row["blocks"]) == ("", True)
    assert "declare the later ones as a source of their own" in row["sentence"]
    assert since <= row["first_day"] <= since + timedelta(days=1)


def test_of_offsets_that_carry_alike_the_whole_hour_is_named() -> None:
    """Plans between the quarter hours, sampled each quarter hour: some pumps seem a quarter hour later than they are."""
    fleet = LoggedFleet(SUMMER)
    fleet.source("gateway", "utc")
    for n in range(14):
        start = 367 + 15 * (n % 9) if n > 4 else 360 + 15 * n
        plan = ((1, 2200 + 50 * n, start, start + 90), (2, 1100 + 50 * n, start + 90, start + 480 + 15 * n))
        fleet.pump(f"P{n:02d}", plan, stamp=lambda at: misread(at, "-05:00", "utc"))
    (row,) = weighed(fleet)
    assert (row["remedy"], row["sureness"]) == ("zone -05:00", 1.0)


def test_offsets_in_the_stamps_have_no_remedy() -> None:
    fleet = LoggedFleet(SUMMER)
    fleet.source("gateway", "offset")
    for n in range(6):
        fleet.pump(f"P{n}", varied_plan(n), stamp=lambda at: misread(at, LA, "utc"))
    (row,) = weighed(fleet)
    assert row["remedy"] == ""
    assert "The offset that the stamps carry is wrong" in row["sentence"]


def test_without_plans_or_without_the_dialects_zone_nothing_is_said() -> None:
    fleet = LoggedFleet(SUMMER)
    fleet.source("gateway", "site")
    for n in range(6):
        fleet.pump(f"P{n}", None, runs=varied_plan(n), stamp=lambda at: misread(at, "utc", LA))
    assert weighed(fleet) == []
    fleet = a_source(SUMMER, "utc", LA)
    fleet.dialects = {}
    assert weighed(fleet) == []
    with a_source(SUMMER, "utc", LA).database() as db:
        db.drop("source_dialect")
        assert mode_b5(db, PARAMETERS).is_empty()


def test_two_valid_days_are_too_few() -> None:
    fleet = a_source(SUMMER[:2], "utc", LA)
    assert weighed(fleet) == []


def test_offsets_are_those_of_the_tz_database() -> None:
    assert [offset_min(LA, date(2026, 10, 31)), offset_min(LA, date(2026, 11, 2))] == [-420, -480]
    assert [offset_min("Asia/Kathmandu", SUMMER[0]), offset_min("Australia/Lord_Howe", SUMMER[0])] == [345, 630]
    assert [offset_min("utc", SUMMER[0]), offset_min("-09:30", SUMMER[0])] == [0, -570]
    assert [fixed_zone(-480), fixed_zone(345), fixed_zone(0), fixed_zone(-570)] == [
        "-08:00",
        "+05:45",
        "+00:00",
        "-09:30",
    ]
    assert [unmoved_min(LA, date(2026, 11, 2)), unmoved_min(LA, SUMMER[0])] == [-60, 60]
    assert [unmoved_min("America/Phoenix", SUMMER[0]), unmoved_min("Australia/Lord_Howe", date(2026, 7, 1))] == [0, -30]
    assert wrapped([721, -720, 1440]).tolist() == [-719, 720, 0]


def test_days_are_cut_at_weeks_and_clock_changes() -> None:
    from pumpledger.verdicts.quarter_hours import quarter_hours

    with a_source(AUTUMN, LA, LA).database() as db:
        assert [len(part) for part in stretches(quarter_hours(db))] == [6, 1, 7]
