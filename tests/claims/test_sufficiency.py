"""Enough days: the counts of CalTRACK, and the same rule as a public library judges it."""

from __future__ import annotations

import warnings

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pumpledger.claims.sufficiency import enough_days, most_missing, thin_months, usable_day


@pytest.mark.parametrize(("missing", "enough"), [(0, True), (37, True), (38, False), (365, False)])
def test_a_year_may_miss_37_days(missing: int, enough: bool) -> None:
    # Facts 5n: CalTRACK 2.0, 2.2.1.2.
    found, sentence = enough_days(365, 365 - missing)
    assert found is enough
    assert f"{missing} do not" in sentence


@pytest.mark.parametrize(("missing", "usable"), [(0, True), (48, True), (49, False), (96, False)])
def test_a_day_is_usable_with_half_its_intervals(missing: int, usable: bool) -> None:
    # Facts 5o: CalTRACK 2.0, 2.2.2.1.
    assert usable_day(96, missing) is usable


@pytest.mark.parametrize("intervals", [92, 96, 100, 23, 24, 25, 1380, 1500])
def test_days_of_23_and_25_hours_are_judged_by_their_own_length(intervals: int) -> None:
    assert usable_day(intervals, intervals // 2)
    assert not usable_day(intervals, intervals // 2 + 1)


def test_nonsense_is_refused() -> None:
    for intervals, missing in ((0, 0), (96, 97), (96, -1)):
        with pytest.raises(ValueError, match="intervals"):
            usable_day(intervals, missing)
    with pytest.raises(ValueError, match="days"):
        enough_days(10, 11)
    assert enough_days(0, 0) == (False, "the period has no day")


def test_a_programme_may_ask_for_more() -> None:
    assert enough_days(100, 95, least_share=0.95)[0]
    assert not enough_days(100, 94, least_share=0.95)[0]
    found, sentence = enough_days(80, 80, least_days=90)
    assert not found
    assert "90 counted days" in sentence


@given(st.integers(1, 800), st.sampled_from([0.5, 0.8, 0.9, 0.95, 1.0]))
def test_the_share_holds_at_the_limit_and_not_beyond(days: int, share: float) -> None:
    allowed = most_missing(days, share)
    if (days, share) != (365, 0.9):
        assert (days - allowed) / days >= share - 1e-9
    assert (days - allowed - 1) / days < share


def test_a_month_needs_its_neighbours() -> None:
    # CalTRACK 2.0, 2.2.1.2 for hourly data: more than 90 %, in the month and in each month beside it.
    assert thin_months([1, 1, 1, 1]) == []
    assert thin_months([1, 1, 0.9, 1, 1]) == [1, 2, 3]
    assert thin_months([0.91, 0.95]) == []
    assert thin_months([0.5]) == [0]
    assert thin_months([]) == []


def _library_takes(days: int, missing: int) -> bool:
    """What opendsm (version 1.2) says of a year of daily values with ``missing`` of them absent inside it."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from opendsm.eemeter.common.data_settings import BaseSufficiencySettings
        from opendsm.eemeter.common.sufficiency_criteria import DailySufficiencyCriteria

        # One row more, because a day's length is the time to the next row there.
        index = pd.date_range("2025-01-01", periods=days + 1, freq="D", tz="UTC")
        observed = np.append(10.0 + np.arange(days) % 3, np.nan)
        gone = np.linspace(1, days - 2, missing).round().astype(int)
        assert len(set(gone.tolist())) == missing
        observed[gone] = np.nan
        frame = pd.DataFrame(
            {"observed": observed, "temperature": 20.0, "temperature_not_null": 24, "temperature_null": 0}, index=index
        )
        criteria = DailySufficiencyCriteria(
            data=frame, is_electricity_data=True, is_reporting_data=False, settings=BaseSufficiencySettings()
        )
        criteria.disqualification = []
        criteria._check_valid_days_percentage("observed")
    assert (criteria.n_days_total, criteria.n_valid_observed_days) == (days, days - missing)
    return not criteria.disqualification


@pytest.mark.parametrize("days", [30, 90, 100, 120, 331, 364, 366])
def test_the_share_of_days_agrees_with_opendsm_at_and_around_the_limit(days: int) -> None:
    for missing in range(most_missing(days) - 1, most_missing(days) + 3):
        assert enough_days(days, days - missing)[0] is _library_takes(days, missing), missing


def test_at_exactly_37_of_365_the_written_rule_stands_and_the_library_is_stricter() -> None:
    # The text of the methods names 37; opendsm compares the share 328/365 with 0.9 and refuses.
    assert [_library_takes(365, missing) for missing in (36, 37, 38)] == [True, False, False]
    assert [enough_days(365, 365 - missing)[0] for missing in (36, 37, 38)] == [True, True, False]
