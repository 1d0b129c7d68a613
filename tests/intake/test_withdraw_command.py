"""Which export is meant by a SHA, and the command that takes it out: messages, exit status, one run at a time."""

from __future__ import annotations

import gzip
import subprocess
import sys
from pathlib import Path
from unittest.mock import patch

import pytest
from carrier_files import zipped
from click.testing import CliRunner
from intake_fleet import Fleet
from withdrawn import A, B, speeds, two_exports

from pumpledger.cli import commands, main
from pumpledger.intake.ledger import Ledger
from pumpledger.intake.withdraw import restore, withdraw
from pumpledger.problems import FleetError
from pumpledger.workspace import Workspace


@pytest.fixture
def two(fleet: Fleet) -> Fleet:
    return two_exports(fleet)


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


def command(*arguments: object) -> tuple[int, str]:
    """Exit status and output, as the installed command gives them."""
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
    with Workspace(two.root).lock():
        program = str(Path(sys.executable).with_name("pumpledger"))
        arguments = [program, "withdraw", str(two.root), two.entry("five_b.csv").export_id]
        done = subprocess.run(arguments, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout) == (2, "")
    assert "another run holds" in done.stderr
    assert two.entry("five_b.csv").status == "read"
