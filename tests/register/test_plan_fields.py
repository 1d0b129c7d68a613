"""Fields of the register that ask something of plans: what fits, what is said of what does not, and of what is half given."""

from __future__ import annotations

import pytest
from register_folder import Folder

from pumpledger.planning.rules import NO_PLACE, PLACES
from pumpledger.problems import FleetError, Problem
from pumpledger.register.fields import SITES

TWELVE = "1 1 1 1.25 1.5 2 2 2 1.5 1 1 1"


@pytest.fixture
def folder(tmp_path) -> Folder:
    return Folder(tmp_path)


def with_site_field(folder: Folder, column: str, value: str) -> Folder:
    """Site S-1 with one more column; S-2 without a value there."""
    columns, values = column.split(","), value.split(",")
    folder.swap("sites.csv", "tariff,weather\n", f"tariff,weather,{','.join(columns)}\n")
    folder.swap("sites.csv", "80,evening,hill\n", f"80,evening,hill,{','.join(values)}\n")
    return folder.swap("sites.csv", "60,evening,hill\n", f"60,evening,hill{',' * len(columns)}\n")


def of(problems: list[Problem], name: str) -> Problem:
    return next(problem for problem in problems if problem.name == name)


def test_turnovers_of_each_month_stand_in_place_of_the_one(folder) -> None:
    register = with_site_field(folder, "required_turnovers,required_turnovers_by_month", f"3,{TWELVE}").load()
    assert [register.site_in(month)["required_turnovers"][0] for month in (1, 4, 6, 12)] == [1.0, 1.25, 2.0, 1.0]
    assert register.site_in(6)["required_turnovers"][1] is None  # the other site has neither
    assert register.site["required_turnovers"][0] == 3.0


@pytest.mark.parametrize(
    "text", ["1 1 1", TWELVE + " 1", TWELVE.replace("2 2", "2 -2"), TWELVE.replace("1.5", "x"), "49 " * 12]
)
def test_months_that_do_not_fit_are_said_with_their_place(folder, text: str) -> None:
    register = with_site_field(folder, "required_turnovers_by_month", text).load()
    fault = of(register.problems, "bad_value")
    assert (fault.file, fault.line, fault.column) == ("sites.csv", 2, "required_turnovers_by_month")
    assert "12 numbers from 0.05 to 48, January first" in str(fault)
    assert set(register.set_aside) == {"S-1"}


def test_places_of_the_register_are_those_whose_rules_are_known() -> None:
    """The register stands below the rules and cannot ask them: the two lists are held together here."""
    choices = next(field for field in SITES if field.name == "jurisdiction").choices
    assert {*choices, NO_PLACE.name} == set(PLACES)


@pytest.mark.parametrize(
    ("column", "value", "expected"),
    [
        ("jurisdiction", "Atlantis", "one of California, Montana, Pima County, Utah, Wisconsin"),
        ("runs_all_day", "perhaps", "yes or no"),
        ("skimming_hours_per_day", "25", "from 0.25 to 24"),
        ("longest_pause_hours", "0", "from 0.25 to 24"),
        ("solar_start", "9 am", "a wall clock time HH:MM"),
        ("quiet_speed_rpm", "50", "from 100 to 3600"),
    ],
)
def test_a_value_that_does_not_fit(folder, column: str, value: str, expected: str) -> None:
    fault = of(with_site_field(folder, column, value).load().problems, "bad_value")
    assert (fault.file, fault.line, fault.column) == ("sites.csv", 2, column) and expected in str(fault)


@pytest.mark.parametrize(
    ("column", "value", "name", "said"),
    [
        ("quiet_start", "22:00", "half_given", "quiet_start is of no use without quiet_stop"),
        ("quiet_speed_rpm", "1200", "half_given", "of no use without quiet_start"),
        ("skimming_hours_per_day", "2", "half_given", "without skimming_speed_rpm"),
        ("solar_start,solar_stop", "09:00,15:00", "half_given", "without solar_speed_rpm"),
        ("quiet_start,quiet_stop", "22:00,22:00", "hours_empty", "00:00 to 24:00"),
        ("quiet_start,quiet_stop", "22:05,07:00", "hours_off_grid", "quarter hours"),
    ],
)
def test_hours_that_are_of_no_use_are_said_and_the_site_runs(folder, column, value, name, said) -> None:
    register = with_site_field(folder, column, value).load()
    fault = of(register.problems, name)
    assert (fault.file, fault.line, fault.severity) == ("sites.csv", 2, "warns") and said in str(fault)
    assert "S-1" in register.site["site_id"]


def test_hours_that_fit_are_not_spoken_of(folder) -> None:
    columns = "quiet_start,quiet_stop,solar_start,solar_stop,solar_speed_rpm,skimming_hours_per_day,skimming_speed_rpm"
    register = with_site_field(folder, columns, "22:00,07:00,09:00,15:00,1800,2,2400").load()
    assert register.problems == []
    row = register.site.row(0, named=True)
    assert (row["quiet_start_min"], row["solar_stop_min"], row["skimming_speed_rpm"]) == (1320, 900, 2400.0)


def test_a_controller_holds_three_periods_and_midnight_where_nothing_is_said(folder) -> None:
    pump = folder.load().pump.row(0, named=True)
    assert (pump["controller_periods"], pump["over_midnight"]) == (3, True)


def test_what_a_visit_must_save_stands_in_fleet_toml(folder) -> None:
    assert folder.load().fleet.proposals == {
        "least_saving_share": 0.03,
        "least_saving_year": 10.0,
        "wear_per_start": 0.0,
    }
    text = "[proposals]\nleast_saving_year = 40\n[[source]]\n"
    register = folder.swap("fleet.toml", "[[source]]\n", text).load()
    assert register.fleet.proposals["least_saving_year"] == 40.0


@pytest.mark.parametrize(
    ("line", "column"),
    [
        ("least_saving_share = 3", "least_saving_share"),
        ("least = 1", "least"),
        ('wear_per_start = "x"', "wear_per_start"),
    ],
)
def test_a_threshold_that_does_not_fit_stops_the_fleet(folder, line: str, column: str) -> None:
    folder.swap("fleet.toml", "[[source]]\n", f"[proposals]\n{line}\n[[source]]\n")
    with pytest.raises(FleetError) as raised:
        folder.load()
    assert of(raised.value.problems, "fleet_proposals").column == f"proposals.{column}"
