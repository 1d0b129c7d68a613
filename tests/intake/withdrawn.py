"""Exports that correct each other, and short ways to take them out and put them back."""

from __future__ import annotations

from pathlib import Path

import polars as pl
from intake_fleet import SAMPLES, Fleet

from pumpledger.intake.ledger import Ledger
from pumpledger.intake.ledger_tables import superseded
from pumpledger.intake.withdraw import restore, withdraw


def row(minute: int, speed: object = 1500, power: object = 200, pump: str = "P-LA", day: int = 26) -> str:
    return f"2026-10-{day}T07:{minute:02d}:00Z,{pump},{speed},{power},1\n"


A = SAMPLES + "".join(row(minute) for minute in range(0, 30, 5))
B = SAMPLES + row(20) + row(25, 1600) + row(30, 1700) + row(35)
"""Of the rows of A: one again, one corrected; and two more."""
C = SAMPLES + row(25) + row(30, 1750) + row(35) + row(40)
"""The corrected row as A had it; one of B's corrected; one again; one more."""


def take_out(fleet: Fleet, name: str) -> list[str]:
    """Withdraw an export; the files that the next review reads again."""
    sha = str(fleet.entry(name).export["sha256"])
    entry, again = withdraw(Ledger(fleet.lake), fleet.declared(), sorted(fleet.inbox.iterdir()), sha)
    assert entry.status == "withdrawn"
    return [other.file for other in again]


def put_back(fleet: Fleet, name: str) -> None:
    restore(Ledger(fleet.lake), fleet.entry(name).export_id)


def fresh(tmp_path: Path, *contents: tuple[str, str]) -> Fleet:
    """A fleet that took these and nothing else, one by one."""
    other = Fleet(tmp_path / f"fresh-{len(list(tmp_path.iterdir()))}")
    for name, text in contents:
        other.take(name, text)
    return other


def same_bytes(fleet: Fleet, other: Fleet) -> None:
    """Readings file by file, and what the review lists as corrected."""
    files = sorted(path.relative_to(fleet.lake.root) for path in fleet.lake.root.glob("readings/**/*.parquet"))
    assert files == sorted(path.relative_to(other.lake.root) for path in other.lake.root.glob("readings/**/*.parquet"))
    for path in files:
        assert (fleet.lake.root / path).read_bytes() == (other.lake.root / path).read_bytes()
    for week in fleet.lake.reading_weeks():
        assert superseded(Ledger(fleet.lake), week).equals(superseded(Ledger(other.lake), week))


def speeds(fleet: Fleet) -> dict[int, float]:
    """Speed by minute of the hour; a pump and instant that count twice would show here."""
    readings = fleet.readings()
    assert readings.select("pump_id", "time_utc").is_duplicated().sum() == 0
    return dict(readings.select(pl.col("time_utc").dt.minute(), "speed_rpm").sort("time_utc").iter_rows())


def two_exports(fleet: Fleet) -> Fleet:
    """``fleet`` with A, and B after it."""
    fleet.take("five_a.csv", A)
    taken = fleet.take("five_b.csv", B)
    assert (taken["readings"], taken["duplicates"]) == (3, 1)
    assert speeds(fleet) == {0: 1500, 5: 1500, 10: 1500, 15: 1500, 20: 1500, 25: 1600, 30: 1700, 35: 1500}
    return fleet
