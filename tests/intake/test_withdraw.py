"""An export taken out and put back: what counts is what would count had it never come, whatever happened in between."""

from __future__ import annotations

import gzip

import polars as pl
import pytest
from intake_fleet import SAMPLES, Fleet
from withdrawn import A, B, C, fresh, put_back, row, same_bytes, speeds, take_out, two_exports

from pumpledger.intake import inbox
from pumpledger.intake.ledger import Ledger
from pumpledger.intake.ledger_tables import superseded
from pumpledger.problems import FleetError


@pytest.fixture
def two(fleet: Fleet) -> Fleet:
    return two_exports(fleet)


def test_the_later_export_taken_out(two, tmp_path) -> None:
    assert take_out(two, "five_b.csv") == []
    same_bytes(two, fresh(tmp_path, ("five_a.csv", A)))
    assert two.ingest().taken == []
    same_bytes(two, fresh(tmp_path, ("five_a.csv", A)))


def test_the_earlier_export_taken_out(two, tmp_path) -> None:
    """The later one had dropped a row that the earlier one held: it is read again, and the row is back."""
    assert take_out(two, "five_a.csv") == ["five_b.csv"]
    assert two.readings().is_empty()
    assert two.ingest().taken == ["five_b.csv"]
    same_bytes(two, fresh(tmp_path, ("five_b.csv", B)))
    assert speeds(two) == {20: 1500, 25: 1600, 30: 1700, 35: 1500}
    assert two.ingest().taken == []


def test_rows_of_a_withdrawn_export_stay_on_record(two) -> None:
    """All of its rows are accounted for, none as a reading."""
    take_out(two, "five_b.csv")
    exports = two.ingest().exports
    row = exports.row(by_predicate=pl.col("file") == "five_b.csv", named=True)
    assert [row[name] for name in ("status", "data_rows", "readings", "duplicates", "quarantine", "pumps", "first_utc")] == [
        "withdrawn", 4, 0, 1, 3, 0, None,
    ]  # fmt: skip
    mine = two.refused().filter(file="five_b.csv").select("line", "fate", "rule").sort("line").rows()
    assert mine == [
        (2, "duplicates", "same_row_again"),
        *((line, "quarantine", "export_withdrawn") for line in (3, 4, 5)),
    ]
    assert superseded(Ledger(two.lake), "2026-W44").is_empty()


@pytest.mark.parametrize("name", ["five_a.csv", "five_b.csv"])
def test_put_back(two, tmp_path, name) -> None:
    """All is as if it had never been taken out; it keeps its place in the order."""
    order = [(entry.sequence, entry.file) for entry in Ledger(two.lake).entries]
    take_out(two, name)
    two.ingest()
    put_back(two, name)
    assert name in two.ingest().taken
    same_bytes(two, fresh(tmp_path, ("five_a.csv", A), ("five_b.csv", B)))
    assert [(entry.sequence, entry.file) for entry in Ledger(two.lake).entries] == order
    assert not set(two.refused()["rule"]) & {"export_withdrawn"}
    assert two.ingest().taken == []


def test_taken_out_and_put_back_before_the_next_review(two, tmp_path) -> None:
    take_out(two, "five_a.csv")
    put_back(two, "five_a.csv")
    assert two.ingest().taken == ["five_a.csv", "five_b.csv"]
    same_bytes(two, fresh(tmp_path, ("five_a.csv", A), ("five_b.csv", B)))


NAMES = {"five_a.csv": A, "five_b.csv": B, "five_c.csv": C}


@pytest.mark.parametrize(
    ("letters", "reviews_between"), [("a", False), ("b", True), ("ab", False), ("ac", False), ("cb", True)]
)
def test_a_chain_of_three(fleet, tmp_path, letters, reviews_between) -> None:
    """Corrected, and corrected back. Whichever go, one instant has one reading: that of the last that is left."""
    gone = [f"five_{letter}.csv" for letter in letters]
    for name, text in NAMES.items():
        fleet.take(name, text)
    assert speeds(fleet) == {0: 1500, 5: 1500, 10: 1500, 15: 1500, 20: 1500, 25: 1500, 30: 1750, 35: 1500, 40: 1500}
    whole = fleet.values()
    for name in gone:
        take_out(fleet, name)
        speeds(fleet)
        if reviews_between:
            fleet.ingest()
    fleet.ingest()
    left = fresh(tmp_path, *((name, text) for name, text in NAMES.items() if name not in gone))
    assert fleet.values() == left.values()
    same_bytes(fleet, left)
    for name in reversed(gone):
        put_back(fleet, name)
        fleet.ingest()
        speeds(fleet)
    assert fleet.values() == whole


def test_the_file_of_a_later_export_is_gone(two) -> None:
    """Its rows would be lost, so nothing is done, and what to put back is said."""
    two.inbox.joinpath("five_b.csv").unlink()
    before = {path: path.read_bytes() for path in two.lake.root.rglob("*") if path.is_file()}
    with pytest.raises(FleetError, match=r"five_b\.csv.*put it back first"):
        take_out(two, "five_a.csv")
    assert {path: path.read_bytes() for path in two.lake.root.rglob("*") if path.is_file()} == before
    assert take_out(two, "five_b.csv") == []  # itself can go without its file


def test_a_file_of_the_same_name_with_other_content_is_not_it(two) -> None:
    two.put("five_b.csv", SAMPLES + row(55))
    with pytest.raises(FleetError, match="put it back first"):
        take_out(two, "five_a.csv")


def test_put_back_without_its_file(two) -> None:
    """It is said on each run until the file is there again."""
    content = two.inbox.joinpath("five_b.csv").read_bytes()
    two.inbox.joinpath("five_b.csv").unlink()
    take_out(two, "five_b.csv")
    put_back(two, "five_b.csv")
    for _ in range(2):
        outcome = two.ingest()
        assert [(problem.name, problem.file) for problem in outcome.problems] == [("export_gone", "five_b.csv")]
        assert speeds(two)[25] == 1500
    two.put("five_b.csv", content)
    assert two.ingest().problems == []
    assert speeds(two)[25] == 1600


def test_the_copy_of_a_withdrawn_export_does_not_bring_it_back(two, tmp_path) -> None:
    """Neither under another name, nor packed, nor where the first file is gone, nor when the dialect changes."""
    take_out(two, "five_b.csv")
    two.put("five_z.csv", B)
    two.put("five_z.csv.gz", gzip.compress(B.encode()))
    exports = two.ingest().exports
    assert exports["status"].to_list() == ["read", "withdrawn", "repeated", "repeated"]
    two.inbox.joinpath("five_b.csv").unlink()
    two.put("five_y.csv", B)
    two.ingest()
    same_bytes(two, fresh(tmp_path, ("five_a.csv", A)))
    assert two.ingest().taken == []


def test_withdrawn_and_repeated_files_are_not_read_again(two, monkeypatch) -> None:
    two.put("five_c.csv", A)
    two.ingest()
    take_out(two, "five_b.csv")
    monkeypatch.setattr(inbox, "examine", lambda path, *_: pytest.fail(f"reads {path}"))
    assert two.ingest().taken == []


OWN = (
    'about = "made up"\n[file]\ndelimiter = ","\n'
    '[time]\ncolumn = "time_utc"\nformat = "%Y-%m-%dT%H:%M:%SZ"\nzone = "utc"\n'
    'label = "instant"\ninterval_s = 300\ngap_limit_s = 1200\n[pump]\nPUMP\n'
    '[quantity]\nspeed = { column = "speed_rpm", unit = "rpm" }\npower = { column = "power_w", unit = "UNIT" }\n'
)


def own(unit: str = "W", pump: str = 'column = "pump"') -> str:
    return OWN.replace("UNIT", unit).replace("PUMP", pump)


def test_a_withdrawn_export_stays_out_when_its_dialect_changes(fleet) -> None:
    """Also where the new dialect takes its pump from elsewhere, which makes it an export of another name."""
    fleet.own_dialect(own())
    fleet.take("own_a.csv", A)
    take_out(fleet, "own_a.csv")
    for text in (own("kW"), own(pump='fixed = "P-BE"')):
        fleet.own_dialect(text)
        assert fleet.ingest().taken == []
        assert fleet.readings().is_empty()


def test_a_dialect_that_gives_the_file_another_pump(fleet) -> None:
    """The readings move to that pump; none stays with the first."""
    fleet.own_dialect(own(pump='fixed = "P-BE"'))
    fleet.take("own_a.csv", A)
    fleet.take("own_b.csv", B)
    fleet.own_dialect(own(pump='fixed = "P-LA"'))
    assert fleet.ingest().taken == ["own_a.csv", "own_b.csv"]
    assert fleet.readings()["pump_id"].unique().to_list() == ["P-LA"]
    assert [(entry.sequence, entry.file) for entry in Ledger(fleet.lake).entries] == [
        (1, "own_a.csv"),
        (2, "own_b.csv"),
    ]
    assert speeds(fleet)[25] == 1600


def test_an_older_export_read_again_keeps_its_place(fleet, tmp_path) -> None:
    """The dialect changes; the older of two exports says something else than the later one, and still does not stand."""
    fleet.own_dialect(own("kW"))
    for name, text in (("own_z.csv", A), ("own_b.csv", B)):
        fleet.take(name, text.replace(",200,", ",0.2,"))
    before = fleet.values()
    fleet.own_dialect(own("W"))
    assert set(fleet.ingest().taken) == {"own_b.csv", "own_z.csv"}
    assert speeds(fleet)[25] == 1600
    assert [entry.file for entry in Ledger(fleet.lake).entries] == ["own_z.csv", "own_b.csv"]
    fleet.own_dialect(own("kW"))
    fleet.ingest()
    assert fleet.values() == before


@pytest.mark.parametrize("then", ["withdraw the later", "withdraw the older", "nothing"])
def test_an_older_export_read_again_while_the_later_one_is_gone(fleet, then) -> None:
    """The later one's file has left the inbox, its readings stand; taken out, the older one's are back."""
    fleet.add_pump("P-NEW", "S-BE")
    fleet.take("five_a.csv", A + row(0, pump="P-9"))
    fleet.take("five_b.csv", SAMPLES + row(25, 1600) + row(30))
    path = fleet.inbox / "five_b.csv"
    path.unlink()
    fleet.add_pump("P-9")
    assert fleet.ingest().taken == ["five_a.csv"]
    assert fleet.readings().filter(pump_id="P-LA", line=7)["speed_rpm"].to_list() == []
    (change,) = (
        superseded(Ledger(fleet.lake), "2026-W44").select("old_line", "speed_was_rpm", "speed_rpm").unique().rows()
    )
    assert change == (7, 1500, 1600)
    if then == "withdraw the later":
        assert take_out(fleet, "five_b.csv") == ["five_a.csv"]
        fleet.ingest()
        assert fleet.readings().filter(pump_id="P-LA")["speed_rpm"].to_list() == [1500] * 6
    if then == "withdraw the older":
        assert take_out(fleet, "five_a.csv") == []  # it gave way to the later one; that one needs nothing of it
        fleet.ingest()
        assert fleet.readings()["speed_rpm"].to_list() == [1600, 1500]


@pytest.mark.parametrize("file", ["there", "gone"])
def test_which_was_read_first_has_no_say(fleet, file) -> None:
    """A later export that lacks the power adds nothing, also where the fuller one is put back after it."""
    fleet.take("five_a.csv", A)
    fleet.take("five_b.csv", SAMPLES + row(0, power="") + row(45))
    before = fleet.values()
    take_out(fleet, "five_a.csv")
    fleet.ingest()
    if file == "gone":
        fleet.inbox.joinpath("five_b.csv").unlink()
    put_back(fleet, "five_a.csv")
    fleet.ingest()
    assert fleet.values() == before
    assert fleet.readings()["power_w"].null_count() == 0


# --- two sources ---


def test_two_sources_do_not_correct_each_other(fleet) -> None:
    """Two instruments that say different things are both held; the same thing is held once."""
    fleet.take("five_a.csv", SAMPLES + row(0) + row(5))
    taken = fleet.take("one_a.csv", SAMPLES + row(0, 1510) + row(5))
    assert (taken["readings"], taken["duplicates"]) == (1, 1)
    assert sorted(fleet.readings()["speed_rpm"]) == [1500, 1500, 1510]
    assert superseded(Ledger(fleet.lake), "2026-W44").is_empty()
    assert take_out(fleet, "five_a.csv") == ["one_a.csv"]
    fleet.ingest()
    assert fleet.readings()["speed_rpm"].to_list() == [1510, 1500]


def test_a_correction_that_another_source_has_already_is_made(fleet) -> None:
    fleet.take("five_a.csv", SAMPLES + row(0))
    fleet.take("one_a.csv", SAMPLES + row(0, 1600))
    fleet.take("five_b.csv", SAMPLES + row(0, 1600) + row(5))
    assert fleet.readings()["speed_rpm"].to_list() == [1600, 1600, 1500]
    (change,) = superseded(Ledger(fleet.lake), "2026-W44").select("speed_was_rpm", "speed_rpm").rows()
    assert change == (1500, 1600)


def test_a_withdrawal_killed_between_record_and_files_is_swept(two, tmp_path) -> None:
    """The record says withdrawn, its files are still there: they do not count, and the next run removes them."""
    files = {path: path.read_bytes() for path in two.lake.root.glob("*/week=*/*.parquet")}
    take_out(two, "five_b.csv")
    for path, content in files.items():
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    two.ingest()
    same_bytes(two, fresh(tmp_path, ("five_a.csv", A)))
