"""Where an action stands: worked out on paper, a week at a time.

The rules of the life (shelving with a reason and a day, verifying by what is seen after, returning) follow the alarm
states of OPC UA Part 9, clause 5.8 (acknowledged, shelved, confirmed), from memory; the numbers of days are starting
values, common practice, no source.
"""

from __future__ import annotations

from datetime import date, timedelta

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pumpledger.engine.followup_tables import ACTION_STATES, PARKED
from pumpledger.followup.life import action_states, rule_outcomes
from pumpledger.followup.log import Event, action_id, faults_of

MONDAY = date(2026, 11, 2)
SUNDAY = MONDAY + timedelta(days=6)
KEY = ("S1", "C10", "P1")


def event(what: str, said_on: date = MONDAY, day: date | None = None, **more: object) -> Event:
    return Event(action_id(*KEY), what, "Made-up Manager", said_on, day, "a reason", *KEY, **more)  # type: ignore[arg-type]


def found(
    last_day: date = SUNDAY, in_week: bool = True, severity: str = "next visit", kwh: float | None = 10.0
) -> dict:
    return {
        "site_id": "S1",
        "rule_id": "C10",
        "component": "P1",
        "severity": severity,
        "benefit_kwh_week": kwh,
        "benefit_money_week": None,
        "last_day": last_day,
        "in_week": in_week,
    }


SCHEMA = {
    "site_id": pl.String,
    "rule_id": pl.String,
    "component": pl.String,
    "severity": pl.String,
    "benefit_kwh_week": pl.Float64,
    "benefit_money_week": pl.Float64,
    "last_day": pl.Date,
    "in_week": pl.Boolean,
}


def states(events: list[Event], rows: list[dict], days: list[date] | None = None) -> list[dict]:
    days = [MONDAY + timedelta(days=n) for n in range(7)] if days is None else days
    valid = pl.DataFrame(
        {"site_id": ["S1"] * len(days), "day_local": days}, schema={"site_id": pl.String, "day_local": pl.Date}
    )
    return action_states(events, pl.DataFrame(rows, schema=SCHEMA), valid, SUNDAY).to_dicts()


def state(events: list[Event], rows: list[dict], days: list[date] | None = None) -> str | None:
    told = states(events, rows, days)
    return told[0]["state"] if told else None


def test_found_and_nothing_said_is_open_and_gone_is_nothing() -> None:
    assert state([], [found()]) == "open"
    assert state([], []) is None


def test_acknowledged_stays_while_it_is_found() -> None:
    assert state([event("acknowledged")], [found()]) == "acknowledged"
    assert state([event("acknowledged")], []) is None
    assert state([event("acknowledged"), event("reopened")], [found()]) == "open"


def test_shelved_until_the_day_and_not_a_day_longer() -> None:
    assert state([event("shelved", day=SUNDAY + timedelta(days=1))], [found()]) == "shelved"
    (back,) = states([event("shelved", day=SUNDAY)], [found()])
    assert back["state"] == "open" and "the day has come" in back["note"]


@pytest.mark.parametrize(
    ("now", "comes_back"),
    [
        ({"severity": "this week"}, True),
        ({"severity": "note"}, False),
        ({"kwh": 15.0}, True),
        ({"kwh": 14.9}, False),
        ({"kwh": None}, False),
    ],
)
def test_what_has_become_worse_comes_back_early(now: dict, comes_back: bool) -> None:
    said = event("shelved", day=SUNDAY + timedelta(days=9), severity="next visit", benefit_kwh_week=10.0)
    assert state([said], [found(**now)]) == ("open" if comes_back else "shelved")


def test_fixed_needs_three_believed_days_after_it() -> None:
    fixed = event("fixed", day=MONDAY)
    assert state([fixed], [], [MONDAY, MONDAY + timedelta(days=1), MONDAY + timedelta(days=2)]) == "marked fixed"
    (told,) = states([fixed], [], [MONDAY + timedelta(days=n) for n in (1, 3, 5)])
    assert told["state"] == "verified" and told["verified_on"] == MONDAY + timedelta(days=5)
    assert state([fixed], [], []) == "marked fixed"  # days that cannot be believed prove nothing


def test_evidence_of_before_the_fix_is_no_return_and_a_day_after_is() -> None:
    fixed = event("fixed", day=MONDAY + timedelta(days=2))
    assert state([fixed], [found(last_day=MONDAY + timedelta(days=2))]) == "verified"
    assert state([fixed], [found(last_day=MONDAY + timedelta(days=3))]) == "returned"
    assert state([fixed], [found(last_day=MONDAY + timedelta(days=3), in_week=False)]) == "returned"


def test_rejected_rests_four_weeks() -> None:
    assert state([event("rejected", SUNDAY - timedelta(days=27))], [found()]) == "rejected"
    assert state([event("rejected", SUNDAY - timedelta(days=28))], [found()]) == "open"


def test_the_precision_of_a_rule_counts_what_came_of_its_actions() -> None:
    rows = [("a", "verified"), ("b", "verified"), ("c", "returned"), ("d", "rejected"), ("e", "open"), ("f", "shelved")]
    told = ACTION_STATES.conform(
        pl.DataFrame(
            [
                {name: None for name in ACTION_STATES.columns}
                | {"action_id": key, "site_id": key, "rule_id": "C10", "component": "P", "state": what}
                for key, what in rows
            ],
            schema=ACTION_STATES.schema,
        )
    )
    (row,) = rule_outcomes(told).to_dicts()
    assert (row["verified"], row["returned"], row["rejected"]) == (2, 1, 1)
    assert row["precision"] == pytest.approx(4 / 6)  # beta(1 + 3, 1 + 1), by hand
    assert rule_outcomes(told.filter(pl.col("state") == "open")).is_empty()


@given(
    st.lists(st.sampled_from(["acknowledged", "shelved", "fixed", "rejected", "reopened"]), max_size=6),
    st.booleans(),
    st.lists(st.integers(0, 6), unique=True),
)
def test_the_last_word_counts_and_silence_closes_nothing(whats: list[str], is_found: bool, days: list[int]) -> None:
    events = [event(what, day=SUNDAY + timedelta(days=3) if what == "shelved" else None) for what in whats]
    rows, valid = ([found()] if is_found else []), [MONDAY + timedelta(days=n) for n in sorted(days)]
    assert state(events, rows, valid) == state(events[-1:], rows, valid)
    if is_found and not whats:
        assert state(events, rows, valid) not in PARKED


@pytest.mark.parametrize(
    ("said", "fault"),
    [
        (event("shelved"), "a day to come"),
        (event("shelved", day=MONDAY + timedelta(days=29)), "28 days ahead"),
        (event("shelved", day=MONDAY + timedelta(days=8), severity="safety"), "7 days ahead"),
        (event("fixed", day=MONDAY + timedelta(days=1)), "lies after"),
        (event("acknowledged", day=MONDAY), "takes no day"),
        (Event("a-1", "rejected", "", MONDAY, None, "", *KEY), "needs a reason"),
        (Event("a-1", "acknowledged", "", MONDAY, None, "", *KEY), "who says so"),
    ],
)
def test_what_may_not_be_said(said: Event, fault: str) -> None:
    assert any(fault in problem.sentence for problem in faults_of(said))


def test_what_may_be_said() -> None:
    for said in (
        event("shelved", day=MONDAY + timedelta(days=28)),
        event("fixed", day=MONDAY),
        event("fixed"),
        event("rejected"),
        event("reopened"),
    ):
        assert faults_of(said) == []
