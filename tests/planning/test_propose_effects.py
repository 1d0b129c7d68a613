"""What was expected of a keyed plan against the believed days since then; every number by hand."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

import polars as pl
import pytest

from pumpledger.engine.tables import DAILY
from pumpledger.followup.keyed import FILE, LEAST_DAYS, KeyedPlan, add_keyed, plan_effects, read_keyed
from pumpledger.problems import FleetError

DAY = date(2026, 11, 2)
LINE = KeyedPlan("S", "P", DAY, "tech", "2026-W44", 2.0, 2.2, 2.4, 1.0, 1.1, 1.2)


def plan(*days: date) -> pl.DataFrame:
    return pl.DataFrame({"pump_id": ["P"] * len(days), "valid_from": days})


def days(kwh: float, turnovers: float | None, count: int = 6, believed: bool = True, first: date = DAY) -> pl.DataFrame:
    """``count`` days from ``first``, +-5 % on both."""
    rows = []
    for number in range(count):
        row = dict.fromkeys(DAILY.columns) | {"site_id": "S", "pump_id": "P", "believed": believed}
        row |= {"day_local": first + timedelta(days=number)}
        for name, value in (("energy_kwh", kwh), ("turnovers", turnovers)):
            if value is not None:
                row |= {f"{name}_lo": value * 0.95, f"{name}_mid": value, f"{name}_hi": value * 1.05}
        rows.append(row)
    return DAILY.conform(pl.DataFrame(rows, schema=DAILY.schema))


def outcome(daily: pl.DataFrame, *starts: date, line: KeyedPlan = LINE) -> str:
    frame = plan_effects([line], plan(*(starts or (DAY,))), daily, DAY + timedelta(days=13))
    return frame["outcome"][0]


@pytest.mark.parametrize(
    ("kwh", "turnovers", "said"),
    [
        (2.2, 1.1, "as expected"),
        (2.5, 1.1, "as expected"),  # 2.375 to 2.625 still meets 2.0 to 2.4
        (2.6, 1.1, "uses more"),  # 2.47 and more
        (1.8, 1.1, "uses less"),  # up to 1.89
        (2.2, 0.9, "filters less"),  # up to 0.945
        (2.6, 0.9, "filters less and uses more"),
        (2.2, None, "cannot tell"),
    ],
)
def test_outcomes(kwh: float, turnovers: float | None, said: str) -> None:
    assert outcome(days(kwh, turnovers)) == said


def test_the_day_of_keying_counts_for_neither_plan() -> None:
    """Six days from the day of keying are five days since; five are four, and too few."""
    frame = plan_effects([LINE], plan(DAY), days(2.2, 1.1), DAY + timedelta(days=13))
    assert frame["days"][0] == LEAST_DAYS and frame["realised_kwh_mid"][0] == pytest.approx(2.2)
    assert outcome(days(2.2, 1.1, count=5)) == "too few days"


def test_days_that_are_not_believed_or_of_a_later_plan_do_not_count() -> None:
    mixed = pl.concat([days(2.2, 1.1), days(9.0, 0.1, believed=False, first=DAY + timedelta(days=6))])
    assert outcome(mixed) == "as expected"
    later = pl.concat([days(2.2, 1.1), days(9.0, 0.1, first=DAY + timedelta(days=6))])
    assert outcome(later, DAY, DAY + timedelta(days=6)) == "as expected" and outcome(later) != "as expected"


def test_days_after_the_week_under_review_do_not_count() -> None:
    assert plan_effects([LINE], plan(DAY), days(2.2, 1.1), DAY + timedelta(days=3))["days"][0] == 3
    assert plan_effects([LINE], plan(DAY), days(2.2, 1.1), DAY - timedelta(days=1)).is_empty()


def test_a_plan_that_plans_csv_no_longer_holds_is_left_out() -> None:
    assert plan_effects([LINE], plan(DAY + timedelta(days=1)), days(2.2, 1.1), DAY + timedelta(days=13)).is_empty()


def test_bounds_that_are_not_known_are_the_middle() -> None:
    bare = KeyedPlan("S", "P", DAY, "", "2026-W44", None, 2.2, None, None, None, None)
    assert outcome(days(2.2, 1.1), line=bare) == "cannot tell"  # of the water
    assert outcome(days(2.6, 1.1), line=bare) == "uses more"
    none = KeyedPlan("S", "P", DAY, "", "2026-W44", *(None,) * 6)
    assert outcome(days(2.2, 1.1), line=none) == "cannot tell"


def test_the_file_only_grows_and_reads_back(tmp_path: Path) -> None:
    assert read_keyed(tmp_path) == []
    hostile = KeyedPlan("S", "P", DAY, '=CMD("x")', "2026-W44", 2.0, 2.2, 2.4, None, None, None)
    add_keyed(tmp_path, [LINE])
    before = (tmp_path / FILE).read_bytes()
    add_keyed(tmp_path, [hostile])
    assert (tmp_path / FILE).read_bytes().startswith(before) and read_keyed(tmp_path) == [LINE, hostile]
    (tmp_path / FILE).write_bytes(before + b"S,P,yesterday,,,,,,,,\n")
    with pytest.raises(FleetError):
        read_keyed(tmp_path)
