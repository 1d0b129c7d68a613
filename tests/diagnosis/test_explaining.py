"""Explain before alarm: days used once, chains, pumps apart, causes of a whole source, what an outcome says of causes."""

from __future__ import annotations

from datetime import date

import polars as pl
import pytest
from outcome_rows import evidence

from pumpledger.diagnosis.explain import NO_CAUSE, explain
from pumpledger.diagnosis.rules import RULES, parameter_values
from pumpledger.engine.tables import FINDINGS

MONDAY_TO_FRIDAY = "2026-11-02 2026-11-03 2026-11-04 2026-11-05 2026-11-06"
VALUES = {rule.id: parameter_values(rule) for rule in RULES}
PUMPS = pl.DataFrame([("S1", "P1"), ("S1", "P2"), ("S2", "P3")], schema=["site_id", "pump_id"], orient="row")
SOURCES = pl.DataFrame([("P1", "coast"), ("P2", "coast"), ("P3", "inland")], schema=["pump_id", "source"], orient="row")
BOTH = {"component": "P1 + P2"}


def explained(*rows: dict[str, object]) -> dict[tuple[str, str, str], dict[str, object]]:
    found, _ = explain(evidence(*rows), FINDINGS.empty(), PUMPS, SOURCES, VALUES)
    return {(row["site_id"], row["rule_id"], row["component"]): row for row in found.iter_rows(named=True)}


def causes(*rows: dict[str, object]) -> dict[str, str]:
    return {rule: row["explained_by"] for (_, rule, _), row in explained(*rows).items()}


def test_a_chain_goes_to_its_first_cause() -> None:
    """A clock 12 h out explains running off the plan, which explains the cost: both stand under the clock."""
    assert causes({"rule_id": "A1"}, {"rule_id": "C10"}, {"rule_id": "O3", **BOTH}) == {
        "A1": "",
        "C10": "A1",
        "O3": "A1",
    }


def test_a_cause_on_one_pump_does_not_explain_another_pump() -> None:
    found = explained({"rule_id": "C6"}, {"rule_id": "C10"}, {"rule_id": "C10", "component": "P2"})
    assert found["S1", "C10", "P1"]["explained_by"] == "C6"
    assert found["S1", "C10", "P2"]["explained_by"] == ""


def test_a_cause_on_another_site_explains_nothing() -> None:
    found = explained({"rule_id": "C6", "site_id": "S2", "component": "P3"}, {"rule_id": "O3", **BOTH})
    assert found["S1", "O3", "P1 + P2"]["explained_by"] == ""


@pytest.mark.parametrize(
    ("idle", "cause"),
    [
        ("2026-11-02 2026-11-03 2026-11-04", "D8"),  # two of five days are left, three are needed
        ("2026-11-02 2026-11-03", ""),  # three are left
        ("2026-11-07 2026-11-08", ""),  # other days
    ],
)
def test_days_that_a_cause_takes_are_not_used_again(idle: str, cause: str) -> None:
    """O1 needs three short days of its own."""
    found = causes({"rule_id": "D8", "on_days": idle}, {"rule_id": "O1", "on_days": MONDAY_TO_FRIDAY, **BOTH})
    assert found["O1"] == cause


def test_two_causes_take_their_days_together() -> None:
    """Two days each leave one of five: the first cause stands for both, and both are named."""
    (row,) = [
        row
        for (_, rule, _), row in explained(
            {"rule_id": "D8", "on_days": "2026-11-02 2026-11-03"},
            {"rule_id": "D8", "component": "P2", "on_days": "2026-11-03 2026-11-05"},
            {"rule_id": "O1", "on_days": MONDAY_TO_FRIDAY, **BOTH},
        ).items()
        if rule == "O1"
    ]
    assert row["explained_by"] == "D8"
    assert row["causes"] == "Cause: Pump does not run (3 days)."


def test_a_day_is_counted_for_one_cause_only() -> None:
    """The second cause of the same days takes none, so it is not named."""
    found = explained(
        {"rule_id": "C10", "on_days": MONDAY_TO_FRIDAY},
        {"rule_id": "C6", "on_days": MONDAY_TO_FRIDAY},
        {"rule_id": "O3", "on_days": MONDAY_TO_FRIDAY, **BOTH},
    )
    text = found["S1", "O3", "P1 + P2"]["causes"]
    assert "Override left on (5 days)" in text and "Full speed" not in text


def test_a_cause_without_days_holds_all_along() -> None:
    found = causes({"rule_id": "C6"}, {"rule_id": "O3", "on_days": MONDAY_TO_FRIDAY, **BOTH})
    assert found["O3"] == "C6"


def test_an_outcome_without_a_cause_says_so() -> None:
    found = explained({"rule_id": "O3", **BOTH})
    assert found["S1", "O3", "P1 + P2"]["causes"] == NO_CAUSE
    left = explained({"rule_id": "D8", "on_days": "2026-11-02"}, {"rule_id": "O1", "on_days": MONDAY_TO_FRIDAY, **BOTH})
    assert left["S1", "O1", "P1 + P2"]["causes"] == "Cause: Pump does not run (1 day). The other days show no cause."


def test_what_cannot_be_told_explains_nothing_and_is_not_explained() -> None:
    assert causes({"rule_id": "C6", "verdict": "cannot tell"}, {"rule_id": "O3", **BOTH})["O3"] == ""
    assert causes({"rule_id": "C6"}, {"rule_id": "O3", "verdict": "cannot tell", **BOTH})["O3"] == ""


def test_a_cause_of_a_source_reaches_its_pumps_and_is_one_row() -> None:
    """The unit of a whole source: the pumps' own findings stand under it, a pump of another source does not, and an
    open question of a later rule on the same source is answered."""
    whole = {"site_id": "", "component": "coast"}
    found = explained(
        {"rule_id": "B4", **whole},
        {"rule_id": "B5", **whole},
        {"rule_id": "A1", **whole, "verdict": "cannot tell"},
        {"rule_id": "B4"},
        {"rule_id": "B4", "component": "P3", "site_id": "S2"},
    )
    assert found["S1", "B4", "P1"]["explained_by"] == "B4"
    assert found["S2", "B4", "P3"]["explained_by"] == ""
    assert found["", "B4", "coast"]["explained_by"] == found["", "B5", "coast"]["explained_by"] == ""
    assert ("", "A1", "coast") not in found


def test_a_slight_cause_is_named_and_does_not_hide_an_outcome() -> None:
    note = {"rule_id": "C10", "severity": "note"}
    found = explained(note, {"rule_id": "O3", **BOTH})
    row = found["S1", "O3", "P1 + P2"]
    assert (row["explained_by"], row["causes"]) == ("", "Cause: Override left on.")


def test_a_cause_takes_the_greatest_benefit_of_what_it_explains() -> None:
    found = explained(
        {"rule_id": "C6"},
        {"rule_id": "O2", "benefit_kwh_week": 3.0, **BOTH},
        {"rule_id": "O3", "benefit_kwh_week": 5.0, "benefit_money_week": 1.0, **BOTH},
    )
    cause = found["S1", "C6", "P1"]
    assert (cause["benefit_kwh_week"], cause["benefit_money_week"]) == (5.0, 1.0)


def test_a_clock_brings_no_energy_of_an_override() -> None:
    found = explained({"rule_id": "A1"}, {"rule_id": "C10", "benefit_kwh_week": 3.0})
    assert found["S1", "A1", "P1"]["benefit_kwh_week"] is None


def test_the_order_of_explanation() -> None:
    """Contract of the project: units and identity, time base of the source, missing data, clock, override, programming,
    hydraulics, outcomes."""
    order = {rule.id: rule.order for rule in RULES}
    chain = ["B3", "B4", "B5", "B1", "A1", "C10", "C6", "D8", "O1"]
    assert sorted(chain, key=order.__getitem__) == chain


@pytest.mark.parametrize(("chance", "cause"), [(0.1, ""), (0.5, "D11"), (None, "D11")])
def test_what_is_more_likely_wrong_than_right_explains_nothing(chance, cause) -> None:
    assert causes({"rule_id": "D11", "probability": chance}, {"rule_id": "O3", **BOTH})["O3"] == cause


LAST_WEEK = {"first_day": date(2026, 10, 28), "last_day": date(2026, 11, 2)}
THIS_WEEK = {"first_day": date(2026, 11, 2), "last_day": date(2026, 11, 6)}


def beside_kept(kept: dict[str, object], *rows: dict[str, object]) -> tuple[dict[str, str], str]:
    """``explained_by`` of this week's rules, and that of the finding that stands on from last week."""
    last = {**dict.fromkeys(FINDINGS.columns), "site_id": "S1", "component": "P1", "verdict": "found", **LAST_WEEK}
    frame = pl.DataFrame([last | kept], schema=FINDINGS.schema)
    found, under = explain(evidence(*rows), frame, PUMPS, SOURCES, VALUES)
    return dict(found.select("rule_id", "explained_by").iter_rows()), under["explained_by"].item()


def test_what_stands_on_explains_the_days_that_it_was_seen_on() -> None:
    """An override of last week is no news while the clock, last seen wrong on the 2nd, is not known to be right."""
    touching = {"rule_id": "C10", "on_days": "2026-11-02"}
    assert beside_kept({"rule_id": "A1"}, touching) == ({"C10": "A1"}, "")
    later = {"rule_id": "C10", "on_days": "2026-11-03 2026-11-04"}
    assert beside_kept({"rule_id": "A1"}, later) == ({"C10": ""}, "")
    assert beside_kept({"rule_id": "A1"}, {"rule_id": "C10", **THIS_WEEK}) == ({"C10": "A1"}, "")
    assert beside_kept(
        {"rule_id": "A1"}, {"rule_id": "C10", "first_day": date(2026, 11, 3)} | {"last_day": date(2026, 11, 6)}
    ) == ({"C10": ""}, "")


def test_what_stands_on_is_explained_by_what_is_seen_now() -> None:
    """No days in common, no cause: unless it was the cause last week, too."""
    assert beside_kept({"rule_id": "C10"}, {"rule_id": "A1", **THIS_WEEK}) == ({"A1": ""}, "A1")
    later = {"rule_id": "A1", "first_day": date(2026, 11, 3), "last_day": date(2026, 11, 6)}
    assert beside_kept({"rule_id": "C10"}, later) == ({"A1": ""}, "")
    assert beside_kept({"rule_id": "C10", "explained_by": "A1"}, later) == ({"A1": ""}, "A1")
    assert beside_kept({"rule_id": "C10", "explained_by": "A1"}) == ({}, "")


def test_a_log_that_was_anothers_explains_what_was_read_in_it_before_and_after() -> None:
    """While it lasts nothing is read in it. What the record shows by itself is of no log, and other days are its own."""
    assert beside_kept({"rule_id": "B3"}, {"rule_id": "D5", **THIS_WEEK}) == ({"D5": "B3"}, "")
    assert beside_kept({"rule_id": "B3"}, {"rule_id": "C18"}) == ({"C18": ""}, "")
    after = {"first_day": date(2026, 11, 4), "last_day": date(2026, 11, 6)}
    assert beside_kept({"rule_id": "B3"}, {"rule_id": "D5", **after}) == ({"D5": ""}, "")
    assert beside_kept({"rule_id": "D17", "severity": "safety"}, {"rule_id": "B3", **THIS_WEEK}) == ({"B3": ""}, "B3")
