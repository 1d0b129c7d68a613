"""Exports that correct each other come, go and come back in any order (hypothesis), against a model of one line: of
each instant, the value of the last export that holds it and is not withdrawn."""

from __future__ import annotations

import tempfile
from pathlib import Path

import polars as pl
from hypothesis import given, settings
from hypothesis import strategies as st
from intake_fleet import SAMPLES, Fleet

from pumpledger.intake.ledger import Ledger
from pumpledger.intake.ledger_tables import superseded
from pumpledger.intake.withdraw import restore, withdraw

_EXPORTS = 4
VALUES = st.dictionaries(st.integers(0, 4), st.sampled_from([1500, 1600, 1700]), max_size=5)
"""Minute -> speed of one export: few of both, so that exports often meet, agree and disagree."""
STEPS = st.lists(
    st.tuples(st.sampled_from(["take out", "put back", "review"]), st.integers(0, _EXPORTS - 1)), max_size=7
)


def text(number: int, values: dict[int, int]) -> str:
    """One minute of its own keeps two exports from being the same file."""
    rows = {**values, 30 + number: 1000}
    return SAMPLES + "".join(
        f"2026-10-26T07:{minute:02d}:00Z,P-LA,{speed},200,1\n" for minute, speed in sorted(rows.items())
    )


def expected(exports: list[dict[int, int]], out: set[int]) -> dict[int, float]:
    left = {number: {**values, 30 + number: 1000} for number, values in enumerate(exports) if number not in out}
    return {minute: float(speed) for values in left.values() for minute, speed in values.items()}


def check(fleet: Fleet, exports: list[dict[int, int]], out: set[int]) -> None:
    outcome = fleet.ingest()
    assert outcome.problems == []
    readings = fleet.readings().select(pl.col("time_utc").dt.minute().cast(pl.Int64), "speed_rpm").rows()
    assert len(readings) == len(dict(readings)), "an instant that counts twice"
    assert dict(readings) == expected(exports, out)
    listed = superseded(Ledger(fleet.lake), "2026-W44")
    assert listed.select("time_utc", "old_export_id", "new_export_id").is_duplicated().sum() == 0
    counted = listed.filter("counted")
    assert counted.height == listed.n_unique(["time_utc", "old_export_id"])
    assert fleet.ingest().taken == []


@given(st.lists(VALUES, min_size=2, max_size=_EXPORTS), STEPS, st.booleans())
@settings(max_examples=10, deadline=None, derandomize=True, database=None)
def test_what_counts_is_what_the_last_one_left_says(
    exports: list[dict[int, int]], steps: list[tuple[str, int]], at_once: bool
) -> None:
    with tempfile.TemporaryDirectory() as root:
        fleet, out = Fleet(Path(root) / "fleet"), set()
        for number, values in enumerate(exports):
            fleet.put(f"five_{number}.csv", text(number, values))
            if not at_once:
                fleet.ingest()
        check(fleet, exports, out)
        for step, number in steps:
            if step == "review" or number >= len(exports):
                check(fleet, exports, out)
                continue
            entry = fleet.entry(f"five_{number}.csv")
            if step == "take out" and number not in out:
                withdraw(Ledger(fleet.lake), fleet.declared(), sorted(fleet.inbox.iterdir()), entry.export_id)
                out.add(number)
            elif step == "put back" and number in out:
                restore(Ledger(fleet.lake), entry.export_id)
                out.remove(number)
        check(fleet, exports, out)
