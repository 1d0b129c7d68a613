"""An export taken out and put back: what counts is what would count had it never come, whatever happened in between."""

from __future__ import annotations

import gzip
from pathlib import Path

import polars as pl
import pytest
from click.testing import CliRunner
from intake_fleet import SAMPLES, Fleet

from pumpledger.cli import commands, main
from pumpledger.intake import inbox
from pumpledger.intake.ledger import Ledger
from pumpledger.intake.ledger_tables import superseded
from pumpledger.intake.withdraw import restore, withdraw
from pumpledger.problems import FleetError


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


@pytest.fixture
def two(fleet: Fleet) -> Fleet:
    fleet.take("five_a.csv", A)
    taken = fleet.take("five_b.csv", B)
    assert (taken["readings"], taken["duplicates"]) == (3, 1)
    assert speeds(fleet) == {0: 1500, 5: 1500, 10: 1500, 15: 1500, 20: 1500, 25: 1600, 30: 1700, 35: 1500}
    return fleet


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


@pytest.mark.parametrize("gone", [["five_a.csv"], ["five_b.csv"], ["five_c.csv"], ["five_a.csv", "five_b.csv"],
                                  ["five_b.csv", "five_a.csv"], ["five_a.csv", "five_c.csv"], ["five_c.csv", "five_b.csv"]])  # fmt: skip
@pytest.mark.parametrize("reviews_between", [True, False])
def test_a_chain_of_three(fleet, tmp_path, gone, reviews_between) -> None:
    """Corrected, and corrected back. Whichever go, one instant has one reading: that of the last that is left."""
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
    assert [(entry.sequence, entry.file) for entry in Ledger(fleet.lake).entries] == [(1, "own_a.csv"), (2, "own_b.csv")]
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
    (change,) = superseded(Ledger(fleet.lake), "2026-W44").select("old_line", "speed_was_rpm", "speed_rpm").unique().rows()
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


# --- what is given for the SHA ---


@pytest.mark.parametrize("digits", [6, 16, 64])
def test_any_sha_of_it_will_do(two, digits) -> None:
    """As it arrived, unpacked or short; in capitals and with blanks; of a packed copy too."""
    two.put("five_c.csv.gz", gzip.compress(A.encode(), mtime=0))
    two.ingest()
    packed = next(entry for entry in Ledger(two.lake).entries if entry.status == "repeated")
    sha = str(packed.export["sha256"])[:digits]
    entry, _ = withdraw(Ledger(two.lake), two.declared(), sorted(two.inbox.iterdir()), f" {sha.upper()} ")
    assert (entry.file, entry.status) == ("five_a.csv", "withdrawn")


@pytest.mark.parametrize(
    ("sha", "name", "said"),
    [
        ("", "sha_short", "at least 6"),
        ("abcde", "sha_short", "at least 6"),
        ("0000000000", "sha_unknown", "fits no export"),
        ("five_a.csv", "sha_unknown", "fits no export"),
        ("%" * 70, "sha_unknown", "fits no export"),
    ],
)
def test_a_sha_that_is_none(two, sha, name, said) -> None:
    for change in (lambda: withdraw(Ledger(two.lake), two.declared(), [], sha), lambda: restore(Ledger(two.lake), sha)):
        with pytest.raises(FleetError) as caught:
            change()
        assert caught.value.problems[0].name == name
        assert said in str(caught.value)


def test_a_sha_that_fits_two(fleet) -> None:
    """Two members of one archive came in one file: its SHA fits both, and both are named."""
    from carrier_files import zipped

    fleet.put("week.zip", zipped(("five_a.csv", A.encode()), ("one_b.csv", B.encode())))
    fleet.ingest()
    sha = str(Ledger(fleet.lake).entries[0].export["sha256"])
    with pytest.raises(FleetError, match=r"fits 2 exports: .*week\.zip/five_a\.csv, .*week\.zip/one_b\.csv"):
        withdraw(Ledger(fleet.lake), fleet.declared(), [], sha)
    take_out_id = fleet.entry("week.zip/one_b.csv").export_id
    withdraw(Ledger(fleet.lake), fleet.declared(), sorted(fleet.inbox.iterdir()), take_out_id)
    assert set(fleet.ingest().exports.select("file", "status").rows()) == {
        ("week.zip/five_a.csv", "read"),
        ("week.zip/one_b.csv", "withdrawn"),
    }


# --- the command ---


def command(*arguments: object) -> tuple[int, str]:
    """Exit status and output, as the installed command gives them."""
    import sys
    from unittest.mock import patch

    runner = CliRunner()
    outcome = runner.invoke(commands, [str(argument) for argument in arguments])
    if isinstance(outcome.exception, FleetError):
        with patch.object(sys, "argv", ["pumpledger", *map(str, arguments)]), pytest.raises(SystemExit) as left:
            main()
        return int(left.value.code or 0), "".join(str(problem) for problem in outcome.exception.problems)
    return outcome.exit_code, outcome.output


def test_the_command(two) -> None:
    a, b = two.entry("five_a.csv").export_id, two.entry("five_b.csv").export_id
    status, said = command("withdraw", two.root, a[:8])
    assert status == 0
    assert said.splitlines() == [
        f"Withdrawn: five_a.csv ({a}); 6 readings no longer count.",
        "five_b.csv repeated rows of it and is read again by the next review.",
        "The next review rebuilds the weeks that it touched. `--restore` takes this back.",
    ]
    assert two.ingest().taken == ["five_b.csv"]
    assert command("withdraw", two.root, a) == (2, "five_a.csv: is withdrawn; there is nothing to take out")
    assert command("withdraw", two.root, b, "--restore") == (2, "five_b.csv: is read, not withdrawn")
    status, said = command("withdraw", two.root, a, "--restore")
    assert (status, said) == (0, f"five_a.csv ({a}) is read again by the next review.\n")
    assert two.ingest().taken == ["five_a.csv", "five_b.csv"]
    assert speeds(two)[25] == 1600


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["abc"], "too short"),
        (["abcdef0123"], "fits no export"),
        (["abcdef0123", "--restore"], "fits no export"),
    ],
)
def test_the_command_says_what_is_wrong(two, arguments, said) -> None:
    status, output = command("withdraw", two.root, *arguments)
    assert (status, said in output) == (2, True), output


def test_the_command_needs_a_fleet_and_a_sha(tmp_path) -> None:
    status, output = command("withdraw", tmp_path / "nowhere", "abcdef0123")
    assert (status, "no fleet folder" in output) == (2, True), output
    assert not (tmp_path / "nowhere").exists()
    status, output = command("withdraw", tmp_path)
    assert (status, "SHA" in output) == (2, True)


def test_the_command_waits_for_no_run(two) -> None:
    """While another process is at work on the fleet nothing is changed."""
    import subprocess
    import sys

    from pumpledger.workspace import Workspace

    with Workspace(two.root).lock():
        program = str(Path(sys.executable).with_name("pumpledger"))
        arguments = [program, "withdraw", str(two.root), two.entry("five_b.csv").export_id]
        done = subprocess.run(arguments, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout) == (2, "")
    assert "another run holds" in done.stderr
    assert two.entry("five_b.csv").status == "read"


def test_a_withdrawal_killed_between_record_and_files_is_swept(two, tmp_path) -> None:
    """The record says withdrawn, its files are still there: they do not count, and the next run removes them."""
    files = {path: path.read_bytes() for path in two.lake.root.glob("*/week=*/*.parquet")}
    take_out(two, "five_b.csv")
    for path, content in files.items():
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    two.ingest()
    same_bytes(two, fresh(tmp_path, ("five_a.csv", A)))
