"""`weigh`: identifiers, states, parameters, and the demo fleet, of which only what was seeded may be doubted."""

from __future__ import annotations

import dataclasses
import shutil
from datetime import date
from pathlib import Path

import polars as pl
import pytest
from verdict_fleet import Fleet, healthy

from pumpledger.engine.tables import READINGS, VERDICTS
from pumpledger.intake.ledger_tables import pump_sources
from pumpledger.orchestration.session import Session
from pumpledger.profile.calendar import week_days
from pumpledger.verdicts.corrections import corrections, pump_changes
from pumpledger.verdicts.mode import SUSPICIONS
from pumpledger.verdicts.reduce import reduce_readings
from pumpledger.verdicts.registry import MODES, mode_parameters
from pumpledger.verdicts.run import verdict_id, weigh
from pumpledger.verdicts.store import Decision, Decisions

DEMO = Path(__file__).resolve().parents[2] / "sample_data" / "quillmarsh"


def kilowatts() -> Fleet:
    log = healthy()
    log.power_w = log.power_w / 1000
    return Fleet().add(log).add(healthy(seed=5), pump_id="P-2")


def decision(rows: list[dict], word: str) -> Decisions:
    (row,) = rows
    names = ("verdict_id", "mode", "source", "pump_id", "quantity", "remedy")
    given = {name: row[name] for name in names}
    line = Decision(decision=word, decided_by="A", decided_on=date(2026, 11, 9), note="", **given)
    return Decisions((line,))


def test_a_decision_is_found_again() -> None:
    fleet = kilowatts()
    rows = fleet.weigh("B4")
    assert (rows[0]["state"], rows[0]["blocks"]) == ("open", True)
    (refused,) = fleet.weigh("B4", decisions=decision(rows, "refused"))
    assert (refused["state"], refused["blocks"]) == ("refused", False)
    (confirmed,) = fleet.weigh("B4", decisions=decision(rows, "confirmed"))  # and still seen: not cured
    assert (confirmed["state"], confirmed["blocks"]) == ("confirmed", True)


def test_a_confirmed_remedy_applied_to_the_readings_leaves_no_doubt() -> None:
    (change,) = pump_changes(corrections(decision(kilowatts().weigh("B4"), "confirmed"))).to_dicts()
    assert (change["pump_id"], change["from_day"]) == ("P-1", None)
    cured = kilowatts()
    cured.readings[0] = cured.readings[0].with_columns(pl.col("power_w") * change["power_factor"])
    assert cured.weigh("B4") == []


def test_no_reading_gives_no_verdict() -> None:
    fleet = kilowatts()
    fleet.readings = [READINGS.empty()]
    assert fleet.weigh(*MODES) == [] and fleet.bad.is_empty()


def test_an_identifier_is_short_and_does_not_hang_on_the_day() -> None:
    whole = verdict_id("B4", "coast", "", "power", "power x1000")
    assert len(whole) == 10 and whole.startswith("v-") and int(whole[2:], 16) >= 0
    assert whole == verdict_id("B4", "coast", "", "power", "power x1000 from 2026-11-04")
    other = [("B4", "coast", "P-1", "power"), ("B4", "inland", "", "power"), ("B10", "coast", "", "power")]
    assert whole not in {verdict_id(*given, "power x1000") for given in other}
    swap = "swap P-1 P-2 from 2026-11-04"
    assert verdict_id("B3", "a", "P-1", "identity", swap) == verdict_id("B3", "b", "P-2", "identity", swap)


def test_thresholds_have_bounds_and_can_be_moved_inside_them() -> None:
    for mode in MODES.values():
        assert mode.id in MODES and mode.name and mode.needs
        for name, limits in mode.parameters.items():
            assert limits.least <= limits.default <= limits.most, (mode.id, name)
    assert mode_parameters(MODES["B11"], {"B11": {"speeds": 2}})["speeds"] == 2
    for stray in ({"B11": {"speeds": 99}}, {"B11": {"nothing": 1}}, {"B99": {}}):
        with pytest.raises(ValueError, match="B11|no such mode"):
            mode_parameters(MODES["B11"], stray)
    assert kilowatts().weigh("B4", B4={"least_running_w": 1}) != []


def test_a_remedy_that_no_correction_knows_is_a_fault_of_the_tool(monkeypatch: pytest.MonkeyPatch) -> None:
    odd = pl.DataFrame({name: [None] for name in SUSPICIONS.columns}).with_columns(
        source=pl.lit("gateway"), remedy=pl.lit("hit it")
    )
    mode = dataclasses.replace(MODES["B4"], find=lambda db, parameters: SUSPICIONS.conform(odd))
    monkeypatch.setitem(MODES, "B4", mode)
    with pytest.raises(ValueError, match="hit it"):
        kilowatts().weigh("B4")


def test_the_walk_in_parts_finds_what_the_walk_in_one_finds() -> None:
    fleet = Fleet()
    for number in range(7):
        fleet.add(healthy(seed=number, days=3), pump_id=f"P-{number}")
    with fleet.database() as db:
        reduce_readings(db, 6)
        whole = db.table("reading_step")
        reduce_readings(db, 6, at_once=1500)
        assert db.table("reading_step").equals(whole) and whole["steps"].sum() == 7 * (3 * 288 - 1)


def test_a_verdict_on_a_source_holds_back_each_of_its_pumps() -> None:
    fleet = Fleet()
    for number in range(4):
        log = healthy(seed=number)
        log.power_w = log.power_w / (1000 if number < 3 else 1)
        fleet.add(log, pump_id=f"P-{number}", source="coast" if number < 3 else "inland")
    with fleet.database() as db:
        db.load("verdict", weigh(db, Decisions()))
        held = db.query("verdicts/blocked_pump")
    assert held["pump_id"].to_list() == ["P-0", "P-1", "P-2"]
    assert held["verdict_id"].n_unique() == 1 and "coast" in held["doubt"][0]


@pytest.fixture(scope="module")
def demo_verdicts(tmp_path_factory: pytest.TempPathFactory) -> pl.DataFrame:
    folder = tmp_path_factory.mktemp("demo") / "fleet"
    shutil.copytree(DEMO, folder, ignore=shutil.ignore_patterns("lake", "reports", ".dagster", ".lock", "truth"))
    session, weeks = Session(folder), ["2026-W44", "2026-W45"]
    session.take_inbox()
    with session.database([day for week in weeks for day in week_days(week)]) as db:
        files = [path for week in weeks for path in session.lake.readings_files(week)]
        superseded = [path for week in weeks for path in session.lake.superseded_files(week)]
        db.view_readings("reading", files, superseded)
        db.build("export_hold", "profile/export_hold")
        db.load("pump_source", pump_sources(session.ledger, set(weeks)))
        rows = weigh(db, Decisions())
        assert db.table("bad_value").is_empty()
    session.close()
    return rows


def test_of_the_demo_fleet_only_what_was_seeded_is_doubted(demo_verdicts: pl.DataFrame) -> None:
    """truth/seeded.csv: one B4, and no other fault of this room."""
    seeded = pl.read_csv(DEMO / "truth" / "seeded.csv").filter(pl.col("mode").is_in(list(MODES)))
    found = demo_verdicts.select("mode", "pump_id", "remedy").rows()
    assert found == [("B4", pump_id, "power x1000") for pump_id in seeded["pump_id"]]


def test_the_table_is_as_declared(demo_verdicts: pl.DataFrame) -> None:
    assert VERDICTS.conform(demo_verdicts).equals(demo_verdicts)
    assert demo_verdicts["verdict_id"].n_unique() == demo_verdicts.height
