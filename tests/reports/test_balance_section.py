"""The section on meters and filter of a site's page: given rows, expected words."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import polars as pl
import pytest
from review_builder import made_up_review

from pumpledger.engine.account_tables import BALANCE, LOADING
from pumpledger.reports.balance_section import BalanceSections, filter_words
from pumpledger.reports.data import ReviewData

DAY = date(2026, 11, 2)


def balance_row(day: date, verdict: str, sentence: str, **numbers: float) -> dict:
    row = dict.fromkeys(BALANCE.columns) | {
        "site_id": "QM-001",
        "pump_id": "P-1",
        "day_local": day,
        "compared_min": 0.0,
    }
    return row | {"verdict": verdict, "sentence": sentence} | numbers


def data(*rows: dict) -> ReviewData:
    return replace(made_up_review(), balance=pl.DataFrame(list(rows), schema=BALANCE.schema), loading=LOADING.empty())


def loading_row(state: str, basis: str, factors: tuple[float, float, float] | None = None) -> dict:
    bounds = zip(("lo", "mid", "hi"), factors or (None, None, None), strict=True)
    return {"state": state, "basis": basis} | {f"flow_factor_{bound}": value for bound, value in bounds}


def test_what_all_days_say_alike_is_said_once() -> None:
    days = [DAY, DAY + timedelta(days=1)]
    rows = [
        balance_row(day, "cannot tell", "logged power alone: no counter to check it by", power_kwh=4.5) for day in days
    ]
    section = BalanceSections(data(*rows)).of_pump({"pump_id": "P-1"}, days)
    assert section["alike"] == "logged power alone: no counter to check it by."
    assert [row["sentence"] for row in section["days"]] == ["", ""]
    assert section["days"][0]["power_kwh"] == "4.50"
    assert section["days"][0]["counter_kwh"] == "–"
    assert section["filter"] == "Filter: nothing is known of it."


def test_a_day_whose_meters_disagree_shows_both_and_why() -> None:
    odd = balance_row(
        DAY, "disqualifies", "power and counter differ by 9.1 %", power_same_kwh=4.5, counter_same_kwh=4.95, difference_share=-0.0909
    )  # fmt: skip
    even = balance_row(DAY + timedelta(days=1), "pass", "power and counter agree within 0.1 %")
    section = BalanceSections(data(odd, even)).of_pump({"pump_id": "P-1"}, [DAY, DAY + timedelta(days=1)])
    assert section["alike"] == ""
    assert section["days"][0]["same"] == "4.50 against 4.95, \N{MINUS SIGN}9.1 %"
    assert section["days"][0]["sentence"] == "power and counter differ by 9.1 %"
    assert [row["verdict"] for row in section["days"]] == ["disqualifies", "pass"]


def test_days_that_are_not_shown_stay_out() -> None:
    rows = [balance_row(DAY, "pass", "a"), balance_row(DAY - timedelta(days=20), "warns", "b")]
    section = BalanceSections(data(*rows)).of_pump({"pump_id": "P-1"}, [DAY])
    assert [row["verdict"] for row in section["days"]] == ["pass"]
    assert BalanceSections(data(*rows)).of_pump({"pump_id": "P-2"}, [DAY])["days"] == []


@pytest.mark.parametrize(
    ("row", "words"),
    [
        (
            loading_row("loading", "power fell", (0.6, 0.7, 0.85)),
            "Filter: loading. Its flow is taken as 70 % of the clean flow (60 % to 85 %). Power fell.",
        ),
        (
            loading_row("clean", "no loading seen: power is 99.9%", (1.0, 1.0, 1.0)),
            "Filter: no loading seen. Power is 99.9%.",
        ),
        (
            loading_row("cannot tell", "no logged power at a held speed"),
            "Filter: cannot tell. No logged power at a held speed.",
        ),
    ],
)
def test_the_filter_in_words(row: dict, words: str) -> None:
    assert filter_words([row]).replace("\N{NO-BREAK SPACE}", " ") == words
