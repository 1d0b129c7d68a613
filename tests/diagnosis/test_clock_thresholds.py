"""Each threshold of the rules about clock and record to its strict end, then to its slack end: never more findings, then
never fewer; and every threshold is asked."""

from __future__ import annotations

from datetime import date

import pytest
from clock_cases import reviewed, run_programme, tables
from found_by import found_by
from small_fleet import LAST, WEEK, Fleet
from test_clock_drift import a_minute_a_day, past_days, site
from test_clock_offsets import outage
from test_clock_record import OTHER, SUMMER

from pumpledger.diagnosis import run
from pumpledger.diagnosis.rules import BY_ID, RULES, parameter_values
from pumpledger.diagnosis.run import diagnose

RULE_IDS = ("A2", "A3", "A4", "A5", "A7", "C13")


def case(rule: str) -> tuple[Fleet, dict]:
    """A fleet on which the rule finds one pump, and the tables beside it."""
    fleet = Fleet()
    match rule:
        case "A2":
            fleet.site(moved_min=lambda day: -60 if day >= date(2026, 11, 1) else 0)
        case "A3":
            fleet.site(moved_min=lambda day: 20)
        case "A4":
            pump = site(fleet, "S1", lambda day: a_minute_a_day(day) - 45)
            return fleet, {"past": past_days(pump, lambda day: a_minute_a_day(day) - 45)}
        case "A5":
            outage(fleet, date(2026, 10, 29), 130, 312, 320)
        case "A7":
            pump = fleet.site()
            run_programme(fleet, pump, SUMMER)
            return fleet, {"older": {(pump, date(2025, 5, 1)): SUMMER}}
        case "C13":
            run_programme(fleet, fleet.site(), OTHER)
    return fleet, {}


@pytest.mark.parametrize("rule", RULE_IDS)
def test_stricter_never_finds_more(rule: str) -> None:
    fleet, beside = case(rule)
    with tables(fleet, **beside) as db:
        diagnose(db, WEEK, LAST)

        def found(values: dict[str, float]) -> int:
            return found_by(db, rule, values)

        assert found({}) == 1
        for name, limits in BY_ID[rule].parameters.items():
            strict, slack = (limits.most, limits.least) if limits.stricter == "more" else (limits.least, limits.most)
            assert found({name: strict}) <= 1 <= found({name: slack}), name


class Asked(dict):
    """Values that remember which of them were asked for."""

    def __init__(self, values: dict[str, float]) -> None:
        super().__init__(values)
        self.names: set[str] = set()

    def __getitem__(self, name: str) -> float:
        self.names.add(name)
        return super().__getitem__(name)


def test_every_threshold_is_asked(monkeypatch: pytest.MonkeyPatch) -> None:
    asked = {rule.id: Asked(parameter_values(rule)) for rule in RULES}
    monkeypatch.setattr(run, "parameter_values", lambda rule, _: asked[rule.id])
    for rule in RULE_IDS:
        fleet, beside = case(rule)
        reviewed(fleet, **beside)
    many = Fleet()
    for n in range(5):
        many.site(f"S{n}", moved_min=lambda day: 720)
    reviewed(many)
    assert {rule: set(BY_ID[rule].parameters) - asked[rule].names for rule in ("A1", *RULE_IDS)} == {
        rule: set() for rule in ("A1", *RULE_IDS)
    }
