"""B17: day and month change places. Days are exchanged by hand with ``datetime.date``; an export so misread is one day
in each of many months."""

from __future__ import annotations

from datetime import date, datetime, timedelta

import pytest
from logged_fleet import AUTUMN, LoggedFleet, varied_plan

from pumpledger.verdicts.corrections import parse_remedy
from pumpledger.verdicts.date_order import date_order, mode_b17
from pumpledger.verdicts.registry import MODES, mode_parameters

PARAMETERS = mode_parameters(MODES["B17"])
EARLIER, WEEK = AUTUMN[:7], AUTUMN[7:]
DAY_FIRST = "%d.%m.%Y %H:%M"


def turned(days: list[date]) -> list[date]:
    """Days as they come out when day and month are taken for each other; those above the 12th cannot be read at all."""
    return [date(day.year, day.day, day.month) for day in days if day.day <= 12]


def a_source(time_format: str = DAY_FIRST) -> LoggedFleet:
    fleet = LoggedFleet(AUTUMN)
    fleet.source("gateway", "site", time_format)
    fleet.source("other", "site", DAY_FIRST)
    for n in range(3):
        fleet.pump(f"P{n}", varied_plan(n), source="other" if n == 2 else "gateway")
    fleet.readings = {}
    return fleet


def weighed(fleet: LoggedFleet) -> list[dict]:
    with fleet.database() as db:
        return mode_b17(db, PARAMETERS).to_dicts()


def test_exports_read_right_say_nothing() -> None:
    fleet = a_source()
    fleet.export("a", "P0", EARLIER)
    fleet.export("b", "P0", WEEK)
    assert weighed(fleet) == []


@pytest.mark.parametrize(
    ("time_format", "remedy"),
    [
        (DAY_FIRST, "date_order month_first"),
        ("%m/%d/%y %I:%M %p", "date_order day_first"),
        ("%Y-%m-%d %H:%M", "date_order day_first"),
    ],
)
def test_a_week_that_is_a_row_of_days_only_the_other_way_gives_the_other_order(time_format, remedy) -> None:
    fleet = a_source(time_format)
    fleet.export("week", "P0", turned(WEEK))
    (row,) = weighed(fleet)
    assert (row["source"], row["pump_id"], row["quantity"], row["remedy"]) == ("gateway", "", "time", remedy)
    assert (row["blocks"], row["sureness"], row["first_day"], row["last_day"]) == (True, 1.0, WEEK[0], WEEK[-1])
    assert (
        "is 2026-02-11 to 2026-08-11; read" in row["sentence"] and "it is 2026-11-02 to 2026-11-08" in row["sentence"]
    )
    assert parse_remedy(remedy)[0] == "date_order"


def test_both_orders_in_one_source_have_no_one_remedy() -> None:
    fleet = a_source()
    fleet.export("right", "P1", WEEK)
    fleet.export("turned", "P0", turned(WEEK))
    (row,) = weighed(fleet)
    assert (row["remedy"], row["blocks"], row["sureness"]) == ("", True, 0.5)
    assert row["sentence"].startswith("turned: read day first")
    assert "declare these as a source of their own" in row["sentence"]


def test_an_older_export_that_only_fits_as_declared_keeps_the_order_of_its_source() -> None:
    fleet = a_source()
    fleet.export("summer", "P0", [date(2026, 7, 13) + timedelta(days=n) for n in range(7)])
    fleet.export("turned", "P0", turned(WEEK))
    (row,) = weighed(fleet)
    assert (row["remedy"], row["blocks"]) == ("", True)


def test_another_source_read_right_is_no_proof_for_this_one() -> None:
    fleet = a_source()
    fleet.export("right", "P2", WEEK)
    fleet.export("turned", "P0", turned(WEEK))
    (row,) = weighed(fleet)
    assert (row["source"], row["remedy"]) == ("gateway", "date_order month_first")


def test_one_export_that_holds_both_orders_is_seen() -> None:
    """A logger whose language was changed in midweek."""
    fleet = a_source()
    fleet.export("both", "P0", [*WEEK[:3], *turned(WEEK[3:])])
    (row,) = weighed(fleet)
    assert (row["remedy"], row["first_day"]) == ("", WEEK[3])


def test_one_day_that_is_possible_both_ways_is_asked() -> None:
    fleet = a_source()
    fleet.export("right", "P1", WEEK)
    fleet.export("day", "P0", turned(WEEK[:1]))
    (row,) = weighed(fleet)
    assert (row["remedy"], row["blocks"], row["sureness"]) == ("", False, 0.5)
    assert "Either may be true" in row["sentence"]


def test_one_day_ahead_of_all_logs_is_not_asked() -> None:
    """In spring: 3 April read as 4 March is past; 4 March read as 3 April lies ahead of every log."""
    days = [date(2026, 3, 2) + timedelta(days=n) for n in range(7)]
    fleet = LoggedFleet(days)
    fleet.source("gateway", "site", DAY_FIRST)
    fleet.pump("P0", varied_plan(0))
    fleet.readings = {}
    fleet.export("day", "P0", [date(2026, 4, 3)])
    (row,) = weighed(fleet)
    assert (row["remedy"], row["blocks"]) == ("date_order month_first", True)
    fleet.export("next", "P0", [date(2026, 4, 1), date(2026, 4, 2), date(2026, 4, 4)])
    assert weighed(fleet) == []


def test_a_year_of_days_holds_days_that_could_be_turned_and_is_right() -> None:
    year = [date(2026, 1, 1) + timedelta(days=n) for n in range(312)]
    fleet = a_source()
    fleet.export("year", "P0", year)
    assert weighed(fleet) == []
    daily = a_source()
    for day in year:
        daily.export(f"{day}", "P0", [day])
    assert weighed(daily) == []


def test_days_of_other_weeks_are_left_to_their_weeks() -> None:
    fleet = a_source()
    fleet.export("september", "P0", turned([date(2026, 9, n) for n in range(1, 8)]))
    assert weighed(fleet) == []


def test_epoch_stamps_and_missing_inputs_say_nothing() -> None:
    fleet = a_source("epoch_s")
    fleet.export("week", "P0", turned(WEEK))
    assert weighed(fleet) == []
    fleet = a_source()
    fleet.export("week", "P0", turned(WEEK))
    for table in ("extent", "source_dialect"):
        with fleet.database() as db:
            db.drop(table)
            assert mode_b17(db, PARAMETERS).is_empty()
    assert weighed(a_source()) == []


def test_the_order_of_a_format() -> None:
    formats = ["%d.%m.%Y", "%m/%d/%Y", "%Y-%m-%d", "%-d/%-m/%y", "%d %b %Y", "%j", "epoch_ms", "timestamp"]
    assert [date_order(text) for text in formats] == [
        "day_first",
        "month_first",
        "month_first",
        "day_first",
        *[None] * 4,
    ]
    assert datetime.strptime("03.04.2026", "%d.%m.%Y").month == 4
