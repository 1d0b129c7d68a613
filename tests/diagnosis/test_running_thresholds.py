"""Rules about running habits under stricter thresholds: never more is found."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from found_by import PREPARED, found_by
from running_cases import CRAWL, FAST, KNEE, PRIMED, days
from running_fleet import HABITS, after_priming, database
from small_fleet import LAST, WEEK, Fleet

from pumpledger.diagnosis.rules import BY_ID
from pumpledger.diagnosis.run import diagnose
from pumpledger.engine.database import Database


def everything() -> dict:
    fleet = Fleet()
    fleet.site("F", plan=FAST)
    fleet.site("K", plan=CRAWL)
    habit = fleet.site("H")
    for day, start in zip(days(5), (1080, 1100, 1050, 1120, 1090), strict=True):
        fleet.set(habit, day, 3000, start, start + 120)
    many, power = fleet.site("M", **PRIMED), []
    for day in days(7):
        fleet.set(many, day, 1800, 360, 369)
        power += after_priming(many, day, 369, 5)
        for at in range(500, 500 + 40 * 7, 40):
            fleet.set(many, day, 0, at, at + 10)
            fleet.set(many, day, 1800, at + 10, at + 14)
    # the plan's own grid of the small fleet is kept where the knee's is not
    return {"fleet": fleet, "power": power, "causes": {3000.0: "override", 1800.0: "priming"}} | KNEE


@pytest.fixture(scope="module")
def reviewed() -> Iterator[Database]:
    """None of these rules' thresholds makes a table that others read, so that one diagnosis serves them all."""
    made = everything()
    with database(made.pop("fleet"), **made) as db:
        diagnose(db, WEEK, LAST)
        yield db


@pytest.mark.parametrize("rule", HABITS)
def test_stricter_thresholds_never_find_more(rule: str, reviewed: Database) -> None:
    def found(values: dict[str, float]) -> int:
        return found_by(reviewed, rule, values)

    assert rule not in PREPARED
    usual = found({})
    assert usual >= 1
    for name, limits in BY_ID[rule].parameters.items():
        strict, slack = (limits.most, limits.least) if limits.stricter == "more" else (limits.least, limits.most)
        assert found({name: strict}) <= usual <= found({name: slack}), name
