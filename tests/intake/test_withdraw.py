"""Corrections and withdrawals: what counts after is what would count had the export not come."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

import polars as pl
import pytest
from intake_fleet import SAMPLES, Fleet

from pumpledger.intake.ledger import Ledger
from pumpledger.intake.withdraw import restore, withdraw
from pumpledger.problems import FleetError


def rows(first: int, last: int, watts: int = 100) -> str:
    """Five-minute samples ``first`` to ``last`` of one pump."""
    start = datetime(2026, 10, 26, 7)
    stamps = (start + timedelta(minutes=5 * number) for number in range(first, last))
    return SAMPLES + "".join(f"{stamp:%Y-%m-%dT%H:%M:%SZ},P-LA,1500,{watts},1\n" for stamp in stamps)


def out(fleet: Fleet, file: str) -> list[str]:
    """Withdraw ``file``; the names of the exports that are read again."""
    ledger = Ledger(fleet.lake)
    (entry,) = [entry for entry in ledger.entries if entry.file == file]
    sha = str(entry.export["sha256"])[:12]
    _, leaning = withdraw(ledger, fleet.declared(), sorted(fleet.inbox.iterdir()), sha)
    return [other.file for other in leaning]


def watts(fleet: Fleet) -> list[float]:
    return fleet.readings().sort("time_utc")["power_w"].to_list()


def status(fleet: Fleet) -> dict[str, str]:
    return dict(fleet.ingest().exports.select("file", "status").iter_rows())


def test_a_later_export_corrects_and_withdrawing_it_brings_the_first_back(fleet: Fleet) -> None:
    fleet.take("five_a.csv", rows(0, 10))
    before = fleet.readings()
    row = fleet.take("five_b.csv", rows(4, 12, 120))
    assert (row["readings"], row["duplicates"]) == (8, 0)
    assert watts(fleet) == [100] * 4 + [120] * 8
    assert out(fleet, "five_b.csv") == []
    assert fleet.readings().equals(before)
    assert status(fleet) == {"five_a.csv": "read", "five_b.csv": "withdrawn"}
    assert fleet.ingest().taken == []
    refused = fleet.refused().filter(file="five_b.csv")
    assert refused["rule"].to_list() == ["export_withdrawn"] * 8


def test_rows_that_a_later_export_repeated_are_not_lost_with_the_first(fleet: Fleet) -> None:
    fleet.take("five_a.csv", rows(0, 10))
    row = fleet.take("five_b.csv", rows(5, 15))
    assert (row["readings"], row["duplicates"]) == (5, 5)
    assert out(fleet, "five_a.csv") == ["five_b.csv"]
    assert status(fleet) == {"five_a.csv": "withdrawn", "five_b.csv": "read"}
    alone = fleet.readings()
    assert alone.height == 10 and alone["time_utc"].min() == datetime(2026, 10, 26, 7, 25)
    other = Fleet(fleet.root / "other")
    other.take("five_b.csv", rows(5, 15))
    assert alone.equals(other.readings())


def test_a_chain_of_three(fleet: Fleet) -> None:
    """Each corrects the one before; taking out the middle one leaves what the last says, and taking that out, too, the
    first."""
    for name, value in (("a", 100), ("b", 110), ("c", 120)):
        fleet.take(f"five_{name}.csv", rows(0, 6, value))
    assert watts(fleet) == [120] * 6
    out(fleet, "five_b.csv")
    assert watts(fleet) == [120] * 6
    out(fleet, "five_c.csv")
    fleet.ingest()
    assert watts(fleet) == [100] * 6


def test_a_value_that_comes_back_is_a_correction_too(fleet: Fleet) -> None:
    fleet.take("five_a.csv", rows(0, 6, 100))
    fleet.take("five_b.csv", rows(0, 6, 110))
    fleet.take("five_c.csv", rows(0, 6, 100) + "\n")
    assert watts(fleet) == [100] * 6
    out(fleet, "five_c.csv")
    assert watts(fleet) == [110] * 6


def test_restored_is_read_again_in_its_place(fleet: Fleet) -> None:
    fleet.take("five_a.csv", rows(0, 10))
    fleet.take("five_b.csv", rows(4, 12, 120))
    before = fleet.readings()
    out(fleet, "five_a.csv")
    fleet.ingest()
    assert watts(fleet) == [120] * 8
    restore(Ledger(fleet.lake), fleet.entry("five_a.csv").export_id)
    assert status(fleet) == {"five_a.csv": "read", "five_b.csv": "read"}
    assert fleet.readings().equals(before), "the earlier export does not correct the later one"


def test_an_export_that_is_read_again_keeps_its_place(fleet: Fleet) -> None:
    """Its pumps' place in the register changes; what corrected it before still does."""
    fleet.take("five_a.csv", rows(0, 10))
    fleet.take("five_b.csv", rows(4, 12, 120))
    fleet.zone_of_west("America/Denver")
    assert fleet.ingest().taken == ["five_a.csv", "five_b.csv"]
    assert [fleet.entry(f"five_{name}.csv").sequence for name in "ab"] == [1, 2]
    assert watts(fleet) == [100] * 4 + [120] * 8


def test_other_instruments_do_not_correct_each_other(fleet: Fleet) -> None:
    fleet.take("five_a.csv", rows(0, 6, 100))
    row = fleet.take("one_b.csv", rows(0, 6, 120))
    assert (row["readings"], row["duplicates"]) == (6, 0)
    assert sorted(watts(fleet)) == [100] * 6 + [120] * 6


@pytest.mark.parametrize(
    ("sha", "name"), [("abc", "sha_short"), ("0" * 64, "sha_unknown"), ("zzzzzz", "sha_unknown")]
)
def test_which_export_is_meant_must_be_plain(fleet: Fleet, sha: str, name: str) -> None:
    fleet.take("five_a.csv", rows(0, 10))
    with pytest.raises(FleetError) as caught:
        withdraw(Ledger(fleet.lake), fleet.declared(), sorted(fleet.inbox.iterdir()), sha)
    assert [problem.name for problem in caught.value.problems] == [name]
    assert watts(fleet) == [100] * 10


def test_what_would_be_lost_is_not_taken_out(fleet: Fleet) -> None:
    fleet.take("five_a.csv", rows(0, 10))
    fleet.take("five_b.csv", rows(5, 15))
    Path(fleet.inbox / "five_b.csv").unlink()
    with pytest.raises(FleetError, match="five_b.csv"):
        out(fleet, "five_a.csv")
    assert fleet.readings().height == 15


def test_the_same_content_under_another_name_stays_out(fleet: Fleet) -> None:
    fleet.take("five_a.csv", rows(0, 10))
    out(fleet, "five_a.csv")
    fleet.put("five_z.csv", rows(0, 10))
    assert status(fleet) == {"five_a.csv": "withdrawn", "five_z.csv": "repeated"}
    assert fleet.readings().is_empty()


def test_a_run_killed_between_record_and_files_is_swept(fleet: Fleet) -> None:
    """The record says withdrawn, its files are still there: they do not count, and the next run removes them."""
    fleet.take("five_a.csv", rows(0, 10))
    path = next((fleet.lake.root / "readings").rglob("*.parquet"))
    kept = path.read_bytes()
    out(fleet, "five_a.csv")
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(kept)
    fleet.ingest()
    assert not path.exists() and fleet.readings().equals(pl.DataFrame(schema=fleet.readings().schema))
