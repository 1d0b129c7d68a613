"""Each fault of a register by itself: its name, where it stands, and which site it sets aside. Then all at once."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from register_folder import Folder

from pumpledger.problems import FleetError, Problem

Edit = Callable[[Folder], Folder]

# What is done to the good folder; problem, file, line, column; the site set aside.
SET_ASIDE: dict[str, tuple[Edit, str, str, int | None, str | None, str]] = {
    "volume not a number": (
        lambda f: f.swap("sites.csv", ",60,", ",sixty,"), "bad_value", "sites.csv", 3, "pool_volume_m3", "S-2",
    ),
    "volume missing": (
        lambda f: f.swap("sites.csv", ",60,", ",,"), "bad_value", "sites.csv", 3, "pool_volume_m3", "S-2",
    ),
    "volume out of range": (
        lambda f: f.swap("sites.csv", ",60,", ",0.4,"), "bad_value", "sites.csv", 3, "pool_volume_m3", "S-2",
    ),
    "volume with an underscore": (
        lambda f: f.swap("sites.csv", ",60,", ",6_0,"), "bad_value", "sites.csv", 3, "pool_volume_m3", "S-2",
    ),
    "volume nan": (
        lambda f: f.swap("sites.csv", ",60,", ",nan,"), "bad_value", "sites.csv", 3, "pool_volume_m3", "S-2",
    ),
    "volume in digits of another script": (
        lambda f: f.swap("sites.csv", ",60,", ",٦٠,"), "bad_value", "sites.csv", 3, "pool_volume_m3", "S-2",
    ),
    "name missing": (
        lambda f: f.swap("sites.csv", "Second Pool", "  "), "bad_value", "sites.csv", 3, "site_name", "S-2",
    ),
    "zone unknown": (lambda f: f.swap("sites.csv", "Phoenix", "Fenix"), "bad_value", "sites.csv", 3, "zone", "S-2"),
    "zone is a folder of the database": (
        lambda f: f.swap("sites.csv", "America/Phoenix", "America"), "bad_value", "sites.csv", 3, "zone", "S-2",
    ),
    "zone leaves the database": (
        lambda f: f.swap("sites.csv", "America/Phoenix", "../zone"), "bad_value", "sites.csv", 3, "zone", "S-2",
    ),
    "row torn": (
        lambda f: f.swap("sites.csv", "60,evening,hill\n", "60,evening"), "row_width", "sites.csv", 3, None, "S-2",
    ),
    "comma not in quotes": (
        lambda f: f.swap("sites.csv", "Second Pool", "Pool, Second"), "row_width", "sites.csv", 3, None, "S-2",
    ),
    "site twice": (
        lambda f: f.add("sites.csv", "S-2,Again,,50,evening,hill"), "key_twice", "sites.csv", 4, "site_id", "S-2",
    ),
    "pump twice on one site": (
        lambda f: f.add("pumps.csv", "P-2,S-2,mid,14,8,,"), "key_twice", "pumps.csv", 4, "pump_id", "S-2",
    ),
    "pump code with a space": (
        lambda f: f.swap("pumps.csv", "P-2,S-2", "P 2,S-2"), "bad_value", "pumps.csv", 3, "pump_id", "S-2",
    ),
    "priming too long": (
        lambda f: f.swap("pumps.csv", "14,8,,", "14,8,2600,11"), "bad_value", "pumps.csv", 3, "priming_min", "S-2",
    ),
    "site without a pump": (
        lambda f: f.swap("pumps.csv", "P-2,S-2,mid,14,8,,\n", ""), "site_without_pump", "sites.csv", 3, None, "S-2",
    ),
    "overlap": (
        lambda f: f.swap("plans.csv", "2,2400,16:00", "2,2400,15:59"),
        "periods_overlap", "plans.csv", 3, "start", "S-1",
    ),
    "overlap across midnight": (
        lambda f: f.add("plans.csv", "P-2,2026-10-01,2,1500,05:00,07:00"),
        "periods_overlap", "plans.csv", 5, "start", "S-2",
    ),
    "period twice": (
        lambda f: f.swap("plans.csv", "01,2,2400", "01,1,2400"), "period_twice", "plans.csv", 3, "period", "S-1",
    ),
    "period of no length": (
        lambda f: f.swap("plans.csv", "16:00,18:00", "16:00,16:00"), "period_empty", "plans.csv", 3, "stop", "S-1",
    ),
    "period from midnight to midnight": (
        lambda f: f.swap("plans.csv", "22:00,06:00", "24:00,00:00"), "period_empty", "plans.csv", 4, "stop", "S-2",
    ),
    "period four": (
        lambda f: f.swap("plans.csv", "01,2,2400", "01,4,2400"), "bad_value", "plans.csv", 3, "period", "S-1",
    ),
    "plan row that cannot be read": (
        lambda f: f.swap("plans.csv", "16:00,18:00", "16:00,25:00"), "plan_unread", "plans.csv", 3, None, "S-1",
    ),
    "clock out of range": (
        lambda f: f.swap("plans.csv", "16:00,18:00", "16:00,24:01"), "bad_value", "plans.csv", 3, "stop", "S-1",
    ),
    "speed below the trade's range": (
        lambda f: f.swap("plans.csv", ",2400,", ",599,"), "bad_value", "plans.csv", 3, "speed_rpm", "S-1",
    ),
    "day that is none": (
        lambda f: f.swap("plans.csv", "P-2,2026-10-01", "P-2,2026-02-30"),
        "bad_value", "plans.csv", 4, "valid_from", "S-2",
    ),
}  # fmt: skip

# The same for faults that leave every site running.
NOT_SET_ASIDE: dict[str, tuple[Edit, str, str, int | None, str | None]] = {
    "visit with unknown work": (
        lambda f: f.swap("visits.csv", ",check,", ",chekc,"), "bad_value", "visits.csv", 3, "work",
    ),
    "pump of an unknown site": (
        lambda f: f.add("pumps.csv", "P-3,S-9,mid,14,8,,"), "unknown_reference", "pumps.csv", 4, "site_id",
    ),
    "unknown tariff": (
        lambda f: f.swap("sites.csv", "60,evening", "60,morning"), "unknown_reference", "sites.csv", 3, "tariff",
    ),
    "unknown weather": (
        lambda f: f.swap("sites.csv", "60,evening,hill", "60,evening,dale"),
        "unknown_reference", "sites.csv", 3, "weather",
    ),
    "unknown curve": (
        lambda f: f.swap("pumps.csv", "S-2,mid", "S-2,big"), "unknown_reference", "pumps.csv", 3, "curve",
    ),
    "plan of an unknown pump": (
        lambda f: f.add("plans.csv", "P-9,2026-10-01,1,1800,08:00,09:00"),
        "unknown_reference", "plans.csv", 5, "pump_id",
    ),
    "visit to an unknown site": (
        lambda f: f.add("visits.csv", "S-9,,2026-10-03,check,,,"), "unknown_reference", "visits.csv", 4, "site_id",
    ),
    "visit to an unknown pump": (
        lambda f: f.add("visits.csv", "S-2,P-9,2026-10-03,check,,,"), "unknown_reference", "visits.csv", 4, "pump_id",
    ),
    "speed off the grid": (
        lambda f: f.swap("plans.csv", ",2400,", ",2410,"), "speed_off_grid", "plans.csv", 3, "speed_rpm",
    ),
    "design flow without head": (
        lambda f: f.swap("pumps.csv", "mid,14,8", "mid,14,"), "half_given", "pumps.csv", 3, "design_head_m",
    ),
    "priming speed without time": (
        lambda f: f.swap("pumps.csv", "2600,5", "2600,"), "half_given", "pumps.csv", 2, "priming_min",
    ),
    "rising curve": (lambda f: f.swap("pump_curves.csv", "15,16", "15,21"), "curve_unfit", "pump_curves.csv", 3, None),
    "level curve": (lambda f: f.swap("pump_curves.csv", "15,16", "15,20"), "curve_unfit", "pump_curves.csv", 3, None),
    "curve without shut-off": (
        lambda f: f.swap("pump_curves.csv", "3450,0,20", "3450,1,20"), "curve_unfit", "pump_curves.csv", 2, None,
    ),
    "curve of two points": (
        lambda f: f.swap("pump_curves.csv", "mid,3450,15,16\n", ""), "curve_unfit", "pump_curves.csv", 2, None,
    ),
    "curve of two speeds": (
        lambda f: f.swap("pump_curves.csv", "3450,15", "1725,15"), "curve_unfit", "pump_curves.csv", 3, None,
    ),
    "curve with a point that cannot be read": (
        lambda f: f.add("pump_curves.csv", "mid,3450,40,two"), "curve_unfit", "pump_curves.csv", 5, None,
    ),
    "unknown column": (
        lambda f: f.swap("sites.csv", "zone,", "zome,"), "unknown_column", "sites.csv", 1, "zome",
    ),
    "plans absent": (lambda f: f.remove("plans.csv"), "file_absent", "plans.csv", None, None),
    "plans in another encoding": (
        lambda f: f.write("plans.csv", "pump_id;…".encode("utf-16")), "file_unreadable", "plans.csv", None, None,
    ),
    "weather without an offset": (
        lambda f: f.swap("weather/hill.csv", "08:00:00Z", "08:00:00"), "bad_value", "weather/hill.csv", 3, "time_utc",
    ),
    "weather before the calendar": (
        lambda f: f.swap("weather/hill.csv", "2026-11-01T08:00:00Z", "0001-01-01T00:00:00+14:00"),
        "bad_value", "weather/hill.csv", 3, "time_utc",
    ),
    "weather beyond any air": (
        lambda f: f.swap("weather/hill.csv", ",-5", ",-55"), "bad_value", "weather/hill.csv", 3, "air_temperature_c",
    ),
    "unknown key": (
        lambda f: f.swap("fleet.toml", "units =", "unit ="), "unknown_key", "fleet.toml", None, "unit",
    ),
    "tariff not TOML": (
        lambda f: f.write("tariffs/evening.toml", "[[band"), "tariff_unreadable", "tariffs/evening.toml", None, None,
    ),
    "tariff without bands": (
        lambda f: f.write("tariffs/evening.toml", "band = [1, 2]"), "tariff_empty", "tariffs/evening.toml", None, None,
    ),
    "tariff with a hole": (
        lambda f: f.swap("tariffs/evening.toml", 'start = "21:00"', 'start = "22:00"'),
        "tariff_cover", "tariffs/evening.toml", None, None,
    ),
    "tariff with an overlap": (
        lambda f: f.swap("tariffs/evening.toml", 'start = "21:00"', 'start = "20:00"'),
        "tariff_cover", "tariffs/evening.toml", None, None,
    ),
    "tariff off the quarter": (
        lambda f: f.swap("tariffs/evening.toml", 'start = "21:00"', 'start = "21:10"'),
        "tariff_clock", "tariffs/evening.toml", None, "start",
    ),
    "tariff clock in superscript": (
        lambda f: f.swap("tariffs/evening.toml", 'start = "21:00"', 'start = "²:00"'),
        "tariff_clock", "tariffs/evening.toml", None, "start",
    ),
    "tariff price as text": (
        lambda f: f.swap("tariffs/evening.toml", "0.42", '"0.42"'),
        "tariff_price", "tariffs/evening.toml", None, "price_per_kwh",
    ),
    "tariff days in a list": (
        lambda f: f.swap("tariffs/evening.toml", 'days = "weekend"', 'days = ["weekend"]'),
        "tariff_days", "tariffs/evening.toml", None, "days",
    ),
    "tariff peak as text": (
        lambda f: f.swap("tariffs/evening.toml", "peak = true", 'peak = "no"'),
        "tariff_peak", "tariffs/evening.toml", None, "peak",
    ),
}  # fmt: skip

# And for faults with which nothing can run.
FATAL: dict[str, tuple[Edit, str, str | None, int | None, str | None]] = {
    "no fleet.toml": (lambda f: f.remove("fleet.toml"), "fleet_file_missing", "fleet.toml", None, None),
    "fleet.toml is a folder": (
        lambda f: f.remove("fleet.toml").write("fleet.toml/x", ""), "fleet_file_unreadable", "fleet.toml", None, None,
    ),
    "fleet.toml not TOML": (
        lambda f: f.write("fleet.toml", "name ="), "fleet_file_unreadable", "fleet.toml", None, None,
    ),
    "no zone": (
        lambda f: f.swap("fleet.toml", 'zone = "America/Los_Angeles"', ""), "fleet_zone", "fleet.toml", None, "zone",
    ),
    "zone is a folder": (
        lambda f: f.swap("fleet.toml", "America/Los_Angeles", "America"), "fleet_zone", "fleet.toml", None, "zone",
    ),
    "units unknown": (
        lambda f: f.swap("fleet.toml", '"metric"', '"imperial"'), "fleet_units", "fleet.toml", None, "units",
    ),
    "made_up as text": (
        lambda f: f.swap("fleet.toml", "made_up = true", 'made_up = "false"'),
        "fleet_made_up", "fleet.toml", None, "made_up",
    ),
    "accuracy in percent": (
        lambda f: f.swap("fleet.toml", "made_up = true", "meter_accuracy = 2"),
        "fleet_meter_accuracy", "fleet.toml", None, "meter_accuracy",
    ),
    "no source": (
        lambda f: f.write("fleet.toml", 'zone = "UTC"'), "fleet_source", "fleet.toml", None, "source",
    ),
    "source without a dialect": (
        lambda f: f.swap("fleet.toml", 'dialect = "samples_5min"', ""), "fleet_source", "fleet.toml", None, "source",
    ),
    "no sites.csv": (lambda f: f.remove("sites.csv"), "file_missing", "sites.csv", None, None),
    "no pumps.csv": (lambda f: f.remove("pumps.csv"), "file_missing", "pumps.csv", None, None),
    "sites.csv empty": (lambda f: f.write("sites.csv", ""), "column_missing", "sites.csv", 1, "site_id"),
    "column missing": (
        lambda f: f.swap("sites.csv", "pool_volume_m3", "pool_volume"),
        "column_missing", "sites.csv", 1, "pool_volume_m3",
    ),
    "column in both units": (
        lambda f: f.swap("sites.csv", "tariff,", "pool_volume_gal,"), "column_twice", "sites.csv", 1, "pool_volume_gal",
    ),
    "quote left open": (
        lambda f: f.swap("sites.csv", "First Pool", '"First Pool'), "file_unreadable", "sites.csv", 2, None,
    ),
    "no row": (
        lambda f: f.write("sites.csv", "site_id,site_name,pool_volume_m3\n"), "no_sites", "sites.csv", None, None,
    ),
}  # fmt: skip


def found(problems: list[Problem], name: str, file: str | None, line: int | None, column: str | None) -> list[Problem]:
    return [p for p in problems if (p.name, p.file, p.line, p.column) == (name, file, line, column)]


@pytest.mark.parametrize(("edit", "name", "file", "line", "column", "site_id"), SET_ASIDE.values(), ids=SET_ASIDE)
def test_fault_sets_one_site_aside_and_the_other_runs(folder, edit, name, file, line, column, site_id) -> None:
    register = edit(folder).load()
    assert [p.severity for p in found(register.problems, name, file, line, column)] == ["disqualifies"]
    other = {"S-1": "S-2", "S-2": "S-1"}[site_id]
    assert (list(register.set_aside), register.site["site_id"].to_list()) == ([site_id], [other])
    assert set(register.pump["site_id"]) == {other}
    assert set(register.plan["pump_id"]) == {other.replace("S", "P")}


@pytest.mark.parametrize(("edit", "name", "file", "line", "column"), NOT_SET_ASIDE.values(), ids=NOT_SET_ASIDE)
def test_fault_is_named_and_both_sites_run(folder, edit, name, file, line, column) -> None:
    register = edit(folder).load()
    assert len(found(register.problems, name, file, line, column)) == 1, register.problems
    assert (register.set_aside, register.site["site_id"].to_list()) == ({}, ["S-1", "S-2"])


@pytest.mark.parametrize(("edit", "name", "file", "line", "column"), FATAL.values(), ids=FATAL)
def test_fault_with_which_nothing_runs(folder, edit, name, file, line, column) -> None:
    with pytest.raises(FleetError) as caught:
        edit(folder).load()
    assert found(caught.value.problems, name, file, line, column), caught.value.problems


def test_good_folder_has_no_problem(folder) -> None:
    assert folder.load().problems == []


def test_no_folder(folder) -> None:
    folder.root /= "nowhere"
    with pytest.raises(FleetError, match="no fleet folder"):
        folder.load()


def test_every_fault_of_every_file_at_once(folder) -> None:
    """One load names the faults of fleet.toml, of three cells of one row, of plans, curves, tariff and weather."""
    folder.swap("fleet.toml", '"metric"', '"both"')
    folder.swap("sites.csv", "S-2,Second Pool,America/Phoenix,60", "S-2,,Nowhere,big")
    folder.swap("plans.csv", "16:00,18:00", "4pm,18:00").swap("pump_curves.csv", "0,20", "0,-1")
    folder.swap("tariffs/evening.toml", "0.42", "420").swap("weather/hill.csv", ",-5", ",cold")
    with pytest.raises(FleetError) as caught:
        folder.load()
    places = [p.where() for p in caught.value.problems]
    assert places == [
        "fleet.toml, column units",
        "sites.csv line 3, column site_name",
        "sites.csv line 3, column zone",
        "sites.csv line 3, column pool_volume_m3",
        "plans.csv line 3, column start",
        "pump_curves.csv line 2, column head_m",
        "tariffs/evening.toml, column price_per_kwh",
        "weather/hill.csv line 3, column air_temperature_c",
    ]
    sentences = "\n".join(p.sentence for p in caught.value.problems)
    for expected in (
        "a value: name for people",
        "an IANA time zone such as America/Los_Angeles",
        "a number with a decimal point from 0.5 to 20000 m3",
        "a wall clock time HH:MM from 00:00 to 24:00",
        "a number from -5 to 50",
    ):
        assert expected in sentences


def test_pump_twice_sets_the_sites_of_both_rows_aside(folder) -> None:
    folder.add("sites.csv", "S-3,Third,,70,evening,hill").add("pumps.csv", "P-3,S-3,mid,14,8,,")
    register = folder.add("pumps.csv", "P-1,S-2,mid,14,8,,").load()
    assert (list(register.set_aside), register.site["site_id"].to_list()) == (["S-1", "S-2"], ["S-3"])
    assert "already stands in line 2" in register.set_aside["S-1"]


def test_two_faults_in_one_plan_row_are_one_reason(folder) -> None:
    register = folder.swap("plans.csv", "16:00,18:00", "4pm,6pm").load()
    assert [p.name for p in register.problems] == ["bad_value", "bad_value", "plan_unread"]


def test_first_reason_is_kept(folder) -> None:
    register = folder.swap("sites.csv", ",60,", ",none,").swap("plans.csv", "22:00,06:00", "22:00,22:00").load()
    assert "'none' does not fit" in register.set_aside["S-2"]


def test_half_a_plans_file_is_not_used(folder) -> None:
    """A quote left open in the second row: the first row alone would be half a plan."""
    register = folder.swap("plans.csv", "P-1,2026-10-01,2", '"P-1,2026-10-01,2').load()
    assert register.plan.is_empty()
    assert [(p.name, p.line) for p in register.problems] == [("file_unreadable", 3)]


def test_hole_and_overlap_are_told_apart(folder) -> None:
    hole = folder.swap("tariffs/evening.toml", 'start = "21:00"', 'start = "22:00"').load()
    assert hole.problems[0].sentence == (
        "weekday from 21:00 to 22:00 is not covered by a band; no money is computed by this file"
    )
    overlap = folder.swap("tariffs/evening.toml", 'start = "22:00"', 'start = "20:30"').load()
    assert overlap.problems[0].sentence.startswith("weekday from 20:30 to 21:00 is covered twice;")
    assert overlap.tariff_band.is_empty()


def test_did_you_mean(folder) -> None:
    register = folder.swap("sites.csv", "zone,", "zome,").swap("fleet.toml", "units =", "unit =").load()
    assert [p.sentence.rsplit("; ")[-1] for p in register.problems] == ["did you mean units?", "did you mean zone?"]
