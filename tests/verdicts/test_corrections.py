"""What a confirmed verdict does: to the dialect of a whole source, to single pumps, and to nothing else."""

from __future__ import annotations

import dataclasses
from datetime import date

import polars as pl
import pytest

from pumpledger.intake.dialect import Dialect
from pumpledger.problems import FleetError
from pumpledger.verdicts.corrections import (
    PUMP_CHANGES,
    Correction,
    corrected,
    corrections,
    of_source,
    parse_remedy,
    pump_changes,
)
from pumpledger.verdicts.store import Decision, Decisions

DAY = date(2026, 11, 4)
DIALECT = Dialect(
    name="gateway",
    about="test",
    carrier="text",
    time_columns=("t",),
    time_format="%d.%m.%Y %H:%M",
    zone="site",
    label="instant",
    interval_s=60,
    gap_limit_s=600,
    columns={"speed": "n", "power": "p"},
    scale={"speed": 1.0, "power": 1000.0},
    shift={},
    digest="d",
)


def decided(remedy: str, pump_id: str = "", decision: str = "confirmed", **more: object) -> Decision:
    given = {"verdict_id": f"v-{remedy[:8]}", "source": "coast", "quantity": "power", "mode": "B4", "note": ""} | more
    return Decision(
        decision=decision, decided_by="A Tester", decided_on=date(2026, 11, 9), pump_id=pump_id, remedy=remedy, **given
    )


def found(*lines: Decision) -> list[Correction]:
    return corrections(Decisions(lines))


@pytest.mark.parametrize(
    ("remedy", "parsed"),
    [
        ("power x1000", ("factor", "power", 1000.0, None)),
        ("power x-1 from 2026-11-04", ("factor", "power", -1.0, DAY)),
        ("energy_total x2.77777777778e-07", ("factor", "energy_total", 2.77777777778e-07, None)),
        ("speed percent of 3450", ("percent", "speed", 3450.0, None)),
        ("zone utc", ("zone", "time", "utc", None)),
        ("zone -03:30", ("zone", "time", "-03:30", None)),
        ("zone Asia/Kathmandu", ("zone", "time", "Asia/Kathmandu", None)),
        ("date_order month_first", ("date_order", "time", "month_first", None)),
        ("swap P-1 P-2 from 2026-11-04", ("swap", "identity", "P-1 P-2", DAY)),
    ],
)
def test_every_form_of_a_remedy(remedy: str, parsed: tuple) -> None:
    assert parse_remedy(remedy) == parsed


@pytest.mark.parametrize(
    "remedy",
    ["", "power", "power x0", "power xnan", "pressure x2", "power x2 from yesterday", "speed percent of 0",
     "zone Mars/Olympus", "swap P-1 P-1 from 2026-11-04", "swap P-1 P-2", "power x2; drop"],
)  # fmt: skip
def test_anything_else_is_no_remedy(remedy: str) -> None:
    with pytest.raises(ValueError, match="not a remedy|Invalid isoformat"):
        parse_remedy(remedy)


def test_a_factor_of_a_whole_source_goes_into_its_scale() -> None:
    dialect = corrected(DIALECT, found(decided("power x0.001"), decided("speed percent of 3450", quantity="speed")))
    assert dialect.scale == {"speed": 34.5, "power": 1.0}
    assert dialect.digest != DIALECT.digest
    assert DIALECT.scale == {"speed": 1.0, "power": 1000.0}


def test_a_factor_of_a_quantity_that_the_export_has_not_changes_nothing_but_the_digest() -> None:
    dialect = corrected(DIALECT, found(decided("flow x3.6")))
    assert dataclasses.replace(dialect, digest="d") == DIALECT


def test_zone_and_order_of_the_date() -> None:
    dialect = corrected(DIALECT, found(decided("zone +02:00"), decided("date_order month_first")))
    assert (dialect.zone, dialect.time_format) == ("+02:00", "%m.%d.%Y %H:%M")
    assert corrected(dialect, found(decided("date_order day_first"))).time_format == DIALECT.time_format
    iso = dataclasses.replace(DIALECT, time_format="%Y-%m-%dT%H:%M")
    assert corrected(iso, found(decided("date_order day_first"))).time_format == "%Y-%d-%mT%H:%M"
    ordinal = dataclasses.replace(DIALECT, time_format="%Y-%j %H:%M")
    assert corrected(ordinal, found(decided("date_order day_first"))).time_format == "%Y-%j %H:%M"


def test_no_correction_leaves_the_dialect_itself() -> None:
    assert corrected(DIALECT, []) is DIALECT
    assert found(decided("power x1000", decision="refused"), decided("")) == []


def test_the_digest_is_the_same_in_whatever_order_and_another_for_another_decision() -> None:
    one, two = found(decided("power x1000")), found(decided("power x0.5", pump_id="P-1"))
    assert corrected(DIALECT, one + two).digest == corrected(DIALECT, two + one).digest
    assert len({corrected(DIALECT, given).digest for given in ([], one, two, one + two)}) == 4


def test_single_pumps_and_days_do_not_touch_the_dialect_but_have_it_read_again() -> None:
    given = found(decided("power x2", "P-1"), decided("power x1000 from 2026-11-04"))
    assert dataclasses.replace(corrected(DIALECT, given), digest="d") == DIALECT
    rows = pump_changes(given).select("source", "pump_id", "from_day", "power_factor", "speed_factor").rows()
    assert rows == [("coast", "", DAY, 1000.0, None), ("coast", "P-1", None, 2.0, None)]


def test_the_day_of_a_decision_stands_above_that_of_its_remedy() -> None:
    (row,) = pump_changes(found(decided("power x2 from 2026-11-04", "P-1", from_day=date(2026, 11, 6)))).to_dicts()
    assert row["from_day"] == date(2026, 11, 6)


def test_a_swap_gives_each_pump_the_others_code_once() -> None:
    remedy = "swap P-1 P-2 from 2026-11-04"
    given = found(
        decided(remedy, "P-1", source="coast", quantity="identity"),
        decided(remedy, "P-2", source="inland", quantity="identity"),
    )
    frame = pump_changes(of_source(given, "coast"))
    assert frame.select("pump_id", "becomes_pump_id", "from_day").rows() == [("P-1", "P-2", DAY), ("P-2", "P-1", DAY)]
    assert pump_changes(of_source(given, "inland")).height == 2


def test_nothing_confirmed_gives_an_empty_table_of_the_same_shape() -> None:
    assert pump_changes([]).schema == pl.Schema(PUMP_CHANGES)


@pytest.mark.parametrize(
    "line", [decided("power times two"), decided("zone utc", "P-1"), decided("date_order day_first", from_day=DAY)]
)
def test_a_remedy_that_was_edited_by_hand_stops_the_run(line: Decision) -> None:
    with pytest.raises(FleetError, match="verdicts.csv"):
        found(line)
