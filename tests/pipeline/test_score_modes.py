"""What is counted about modes, on frames of a few rows, each number worked out beside it."""

from __future__ import annotations

from datetime import date, timedelta

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binomtest

from pumpledger.scoring.evidence import ACTION, FOUND, SITE_WEEK, TRUTH, Evidence, _of_sites, monday_of, pooled
from pumpledger.scoring.mode_lines import mode_lines
from pumpledger.scoring.modes import CORE, Share, alarms, cases, first_actions, judged, recalls, taken_for, wilson

MONDAYS = [date(2026, 10, 5) + timedelta(days=7 * week) for week in range(4)]
"""Weeks 2026-W41 to W44: Sundays 11, 18, 25 October and 1 November."""


def evidence(truth=(), found=(), sites=("S1", "S2"), actions=(), fleet="0") -> Evidence:
    """``truth``: (site, kind, mode, from, to, size); ``found``: (site, week 0-3, rule, severity, explained_by);
    ``actions``: (site, week, rank, rule) or with the week last seen."""
    return Evidence(
        pl.DataFrame(
            [(fleet, *row, *[None] * (len(TRUTH) - 1 - len(row))) for row in truth], schema=TRUTH, orient="row"
        ),
        pl.DataFrame([(fleet, s, MONDAYS[w], *rest) for s, w, *rest in found], schema=FOUND, orient="row"),
        pl.DataFrame([(fleet, s, monday) for s in sites for monday in MONDAYS], schema=SITE_WEEK, orient="row"),
        pl.DataFrame(
            [(fleet, s, MONDAYS[w], rank, rule, MONDAYS[(seen or [w])[0]]) for s, w, rank, rule, *seen in actions],
            schema=ACTION,
            orient="row",
        ),
    )


def october(day: int) -> date:
    return date(2026, 10, day)


A3 = ("S1", "fault", "A3", october(8), october(20), 0.5)  # Thursday of W41 to Tuesday of W43


@given(of=st.integers(1, 400), data=st.data())
def test_wilson_is_that_of_scipy(of: int, data: st.DataObject) -> None:
    """Against `scipy.stats.binomtest(...).proportion_ci(method="wilson")`."""
    hits = data.draw(st.integers(0, of))
    theirs = binomtest(hits, of).proportion_ci(0.95, method="wilson")
    assert wilson(hits, of) == (pytest.approx(theirs.low, abs=1e-6), pytest.approx(theirs.high, abs=1e-6))


def test_wilson_of_nothing_says_nothing() -> None:
    assert wilson(0, 0) == (0.0, 1.0) and Share(0, 0).share == 0.0


def test_monday_of_a_week_by_iso_8601() -> None:
    """2026-W45 begins on 2026-11-02; 2027-W01 on 2027-01-04, for 2027 begins on a Friday."""
    assert monday_of("2026-W45") == date(2026, 11, 2)
    assert monday_of("2027-W01") == date(2027, 1, 4)


@pytest.mark.parametrize(
    ("week", "true"),
    [(0, True), (1, True), (2, True), (3, True)],
)
def test_a_finding_is_true_from_the_week_of_the_first_day_to_the_week_after_the_last(week: int, true: bool) -> None:
    """To 20 October + 7 days = the 27th, so that W44, which begins on the 26th, may still name it."""
    row = judged(evidence([A3], [("S1", week, "A3", "next visit", "")])).row(0, named=True)
    assert (row["true"], row["false"]) == (true, not true)


def test_a_finding_before_the_first_day_or_long_after_the_last_is_false() -> None:
    late = ("S1", "fault", "A3", october(20), october(21), 0.5)  # W43
    early = ("S2", "fault", "A3", october(5), october(10), 0.5)  # + 7 = 17th: W42 (12th) may, W43 (19th) may not
    held = judged(
        evidence(
            [late, early],
            [("S1", 1, "A3", "x", ""), ("S1", 2, "A3", "x", ""), ("S2", 1, "A3", "x", ""), ("S2", 2, "A3", "x", "")],
        )
    ).sort("site_id", "monday")
    assert held["true"].to_list() == [False, True, True, False]
    assert held["healthy"].to_list() == [True, False, False, True]


def test_a_consequence_is_neither_hit_nor_false() -> None:
    truth = [A3, ("S1", "consequence", "C12", october(8), october(20), 0.5)]
    found = [("S1", 1, "C12", "next visit", "")]
    row = judged(evidence(truth, found)).row(0, named=True)
    assert row["true"] and not row["false"]
    assert cases(evidence(truth, found))["days"].to_list() == [None]
    assert taken_for(evidence(truth, found)).is_empty()


def test_an_explained_finding_is_no_alarm_and_counts_where_its_cause_is_true() -> None:
    """C13 laid bare by a true A3 counts; by a D8 that is not there it does not. Neither is false."""
    stale = ("S1", "fault", "C13", october(5), october(31), 0.5)
    held = judged(evidence([A3, stale], [("S1", 1, "C13", "note", "A3"), ("S1", 2, "C13", "note", "D8")]))
    assert held.sort("monday")["true"].to_list() == [True, False]
    assert not held["false"].any()


def test_days_run_to_the_sunday_of_the_first_review_that_names_it() -> None:
    """From Thursday the 8th to Sunday the 18th are 10 days; named twice counts once."""
    held = cases(evidence([A3], [("S1", 2, "A3", "x", ""), ("S1", 1, "A3", "x", ""), ("S2", 0, "A3", "x", "")]))
    assert held.select("site_id", "mode", "size", "days", "watched").rows() == [("S1", "A3", 0.5, 10, True)]


def test_recall_by_hand() -> None:
    """Four cases of D3: found after 3 days, after 17, never, and begun ten days before the end and never found.

    Recall 2 of 4. Watched for two weeks: the last day is November 1, so that a case of October 19 just is (14 days,
    both counted) and one of October 23 is not: 3 are, and 1 of them was found within 14 days. Middle of 3 and 17: 10.
    """
    truth = [
        ("S1", "fault", "D3", october(8), october(31), 0.1),  # named in W41: the 11th, 3 days
        ("S2", "fault", "D3", october(8), october(31), 0.5),  # named in W43: the 25th, 17 days
        ("S3", "fault", "D3", october(19), october(31), 0.9),
        ("S4", "fault", "D3", october(23), october(31), 1.0),
    ]
    found = [("S1", 0, "D3", "x", ""), ("S2", 2, "D3", "x", "")]
    (one,) = recalls(cases(evidence(truth, found, ("S1", "S2", "S3", "S4"))))
    assert (one.mode, one.found, one.early, one.median_days) == ("D3", Share(2, 4), Share(1, 3), 10.0)
    assert one.by_size == (Share(1, 1), Share(1, 1), Share(0, 2))


def test_two_faults_of_a_mode_at_a_site_are_two_cases() -> None:
    truth = [
        ("S1", "fault", "B1", october(5), october(6), 0.5),
        ("S1", "fault", "B1", october(27), october(28), 0.5),
    ]
    held = cases(evidence(truth, [("S1", 3, "B1", "data", "")])).sort("days", nulls_last=True)
    assert held["days"].to_list() == [5, None]  # from the 27th to November 1; the first was never named


def test_false_findings_by_healthy_site_week() -> None:
    """Two sites, four weeks: eight site-weeks. S1 is ill in all four (to the 20th, + 7 = the 27th, W44 begins on the
    26th), so that four are healthy. There: one of high severity and one note in the same week, and one explained."""
    found = [
        ("S2", 0, "D8", "this week", ""),
        ("S2", 0, "O3", "next visit", ""),
        ("S2", 1, "O3", "next visit", "D8"),
        ("S1", 0, "D8", "this week", ""),  # false, but not at a healthy site
    ]
    held = alarms(evidence([A3], found))
    assert (held.site_weeks, held.any, held.high) == (4, 2, 1)
    assert (held.weeks_any, held.weeks_high) == (Share(1, 4), Share(1, 4))


def test_weeks_before_a_fault_are_healthy_weeks() -> None:
    late = ("S1", "fault", "D8", october(27), october(31), 0.5)  # W44
    held = alarms(evidence([late], [("S1", 1, "D8", "this week", "")], ("S1",)))
    assert (held.site_weeks, held.high) == (3, 1)


def test_an_innocent_is_a_healthy_site() -> None:
    party = ("S1", "innocent", "agreed override", october(8), october(8), None)
    held = evidence([party], [("S1", 0, "C10", "next visit", "")], ("S1",))
    assert alarms(held).any == 1
    assert taken_for(held).rows() == [("agreed override", "C10", 1)]


def test_first_ten_actions() -> None:
    """Ranks 1 to 10 of W41: one true, one brought, one false; rank 11 is not looked at."""
    truth = [A3, ("S1", "consequence", "C12", october(8), october(20), 0.5)]
    actions = [("S1", 0, 1, "A3"), ("S1", 0, 9, "C12"), ("S2", 0, 10, "D8"), ("S2", 0, 11, "D8")]
    assert first_actions(evidence(truth, actions=actions)) == Share(2, 3)


def test_an_action_that_stands_on_is_judged_by_the_week_in_which_it_was_seen() -> None:
    """A fault of the first week alone: to the 8th + 7 = the 15th; W43 begins on the 19th. Seen in W41 and standing on
    it is right, seen anew in W43 it is not."""
    short = ("S1", "fault", "D2", october(7), october(8), 0.5)
    assert first_actions(evidence([short], actions=[("S1", 2, 1, "D2", 0)])) == Share(1, 1)
    assert first_actions(evidence([short], actions=[("S1", 2, 1, "D2")])) == Share(0, 1)


def test_what_is_taken_for_what() -> None:
    """S1: A3 seeded, C13 found in two weeks: one site. S2: nothing seeded, O3 found."""
    found = [("S1", 0, "C13", "x", ""), ("S1", 1, "C13", "x", ""), ("S2", 0, "O3", "x", ""), ("S1", 0, "A3", "x", "")]
    assert taken_for(evidence([A3], found)).rows() == [("A3", "C13", 1), ("nothing", "O3", 1)]


def test_fleets_are_kept_apart() -> None:
    """The same site name in another fleet is another site."""
    both = pooled([evidence([A3], fleet="0"), evidence((), [("S1", 1, "A3", "this week", "")], fleet="1")])
    assert cases(both)["days"].to_list() == [None]
    held = alarms(both)
    assert (held.site_weeks, held.high) == (4 + 8, 1)


def test_nothing_at_all_is_said() -> None:
    lines = mode_lines(evidence())
    assert any("no case" in line for line in lines)
    assert "There is no action to judge." in lines
    assert "Nothing was taken for something else." in lines


def test_the_lines_name_each_number() -> None:
    found = [("S1", 1, "A3", "next visit", ""), ("S2", 0, "O3", "next visit", "")]
    lines = mode_lines(evidence([A3], found, actions=[("S1", 1, 1, "A3")]))
    row = next(line for line in lines if line.startswith("  A3*"))
    assert row.split() == "A3* 1 100% 21% to 100% 1 of 1 10 0 of 0 / 1 of 1 / 0 of 0".split()
    assert "Core modes within two weeks: 100.0% of 1 (20.7% to 100.0%; aim 95%)." in lines
    assert any(line.startswith("Healthy site-weeks: 4. False findings: 1, 25.00% a site-week") for line in lines)
    assert "  nothing, found O3: 1" in lines


def verdicts(*rows: tuple[str, str, str, str]) -> pl.DataFrame:
    return pl.DataFrame(rows, schema=["source", "mode", "pump_id", "state"], orient="row")


def test_verdicts_on_logs_become_findings_of_sites() -> None:
    """One on a pump goes to its site, one on a source to the sites that have the mode, a refused one nowhere."""
    pumps = pl.DataFrame({"pump_id": ["P1", "P2", "P3"], "site_id": ["S1", "S2", "S3"]})
    truth = evidence(
        [
            ("S1", "fault", "B5", october(5), october(31), 1.0),
            ("S2", "fault", "B5", october(5), october(31), 1.0),
            ("S3", "consequence", "B5", october(5), october(31), 1.0),
        ]
    ).truth
    said = verdicts(("shore", "B5", "", "open"), ("shore", "B10", "P3", "applied"), ("shore", "B4", "P1", "refused"))
    held = _of_sites(said, pumps, truth, MONDAYS[0])
    assert sorted(held.select("site_id", "rule_id").rows()) == [("S1", "B5"), ("S2", "B5"), ("S3", "B10")]
    assert set(held["severity"]) == {"data"}


def test_a_verdict_on_a_source_that_is_well_counts_as_false() -> None:
    pumps = pl.DataFrame({"pump_id": ["P1"], "site_id": ["S1"]})
    truth = evidence([("S1", "fault", "B5", october(26), october(31), 1.0)]).truth
    held = _of_sites(verdicts(("shore", "B5", "", "open")), pumps, truth, MONDAYS[0])  # three weeks early
    assert held.select("site_id", "rule_id").rows() == [("shore", "B5")]


def test_core_modes_are_31() -> None:
    """The core set: 4 of clocks, 8 of logs, 9 of plans, 10 of water and equipment."""
    assert len(CORE) == len(set(CORE)) == 31
    assert [sum(mode.startswith(letter) for mode in CORE) for letter in "ABCD"] == [4, 8, 9, 10]


def test_a_slow_fault_counts_from_the_day_on_which_a_log_can_show_it() -> None:
    """Begun on the 5th, seen from the 14th, named in the review that ends on Sunday the 18th: 4 days, not 13."""
    slow = ("S1", "fault", "D3", october(5), october(30), 0.5, october(14))
    (row,) = cases(evidence([slow], [("S1", 1, "D3", "next visit", "")])).iter_rows(named=True)
    assert row["days"] == 4
    early = cases(evidence([slow], [("S1", 0, "D3", "next visit", "")]))
    assert early["days"].to_list() == [0]  # named on the 11th, before anybody could be sure


def test_a_hidden_fault_is_neither_missed_nor_false_nor_healthy() -> None:
    hidden = ("S1", "hidden", "D4", october(5), october(30), 0.1, None)
    told = evidence([hidden], [("S1", 1, "D4", "next visit", "")], sites=("S1",))
    assert cases(told).is_empty()
    assert judged(told)["false"].to_list() == [False]
    assert alarms(told).site_weeks == 0
