"""Dialect files: the package's own hold; faults of a fleet's own are named all at once, and never guessed around.

What the fields of the schema become is `test_dialect_fields.py`.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from intake_fleet import BUILT_IN, SAMPLES

from pumpledger.intake.dialect import Dialect
from pumpledger.intake.dialects import load_dialects
from pumpledger.problems import Problem

GOOD = """
about = "made up"
[file]
delimiter = ","
[time]
column = "t"
format = "%Y-%m-%d %H:%M:%S"
zone = "utc"
label = "instant"
interval_s = 60
gap_limit_s = 600
[pump]
column = "pump"
[quantity]
speed = { column = "n", unit = "rpm" }
aux = { column = "a", on = ["on"], off = ["off"] }
"""


def load(folder: Path, text: str | bytes) -> tuple[Dialect | None, list[Problem]]:
    (folder / "dialects").mkdir(exist_ok=True)
    (folder / "dialects" / "own.toml").write_bytes(text if isinstance(text, bytes) else text.encode())
    problems: list[Problem] = []
    return load_dialects(folder, problems).get("own"), problems


def test_all_built_in_dialects_hold(tmp_path) -> None:
    problems: list[Problem] = []
    dialects = load_dialects(tmp_path, problems)
    assert (sorted(dialects), problems) == (sorted(BUILT_IN), [])
    assert {name: (d.hold_s, d.gap_limit_s) for name, d in dialects.items()} == {
        "samples_1min": (60, 600),
        "samples_5min": (300, 1200),
        "means_15min": (900, 1800),
        "events": (0, 7 * 3600),
        "counters": (900, 2700),
    }


def test_good_own_dialect(tmp_path) -> None:
    dialect, problems = load(tmp_path, b"\xef\xbb\xbf" + GOOD.replace("\n", "\r\n").encode())
    assert problems == []
    assert dialect.needed_columns == ["t", "pump", "n", "a"]


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ('about = "made up"', "", "about"),
        ('delimiter = ","', 'delimiter = ",,"', "file.delimiter"),
        ('delimiter = ","', "delimiter = '\"'", "neither a quote"),
        ('delimiter = ","', 'delimiter = "\\n"', "neither a quote"),
        ('delimiter = ","', 'delimiter = ","\ndecimal = ","', "the decimal mark"),
        ('delimiter = ","', 'delimiter = ","\nencoding = "klingon"', "file.encoding"),
        ('label = "instant"', 'label = "sometimes"', "time.label"),
        ("interval_s = 60", "", "interval_s is needed"),
        ("interval_s = 60", "interval_s = 601", "gap_limit_s is shorter"),
        ("interval_s = 60", "interval_s = true", "time.interval_s"),
        ('zone = "utc"', 'zone = "offset"', "goes with %z"),
        ("%H:%M:%S", "%H:%M:%S%z", "goes with %z"),
        ('zone = "utc"', 'zone = "Mars/Base"', "IANA zone"),
        ('zone = "utc"', 'zone = "America"', "IANA zone"),
        ("%H:%M:%S", "%Q", "%Q"),
        ("%H:%M:%S", "%H:%M:%S %Z", "%Z"),
        ("%H:%M:%S", "%H:%M:%", "time.format"),
        ("%Y-%m-%d %H:%M:%S", "hours", "no % mark"),
        ('column = "pump"', 'file_name = "pump.csv"', "exactly one group"),
        ('column = "pump"', 'file_name = "(a)(b)"', "exactly one group"),
        ('column = "pump"', 'file_name = "(a"', "not a regular expression"),
        ('column = "pump"', 'column = "pump"\nfile_name = "(a)"', "pump"),
        ('column = "pump"', 'column = "t"', "stands for two things: t"),
        ('column = "a", on', 'column = "n", on', "stands for two things: n"),
        ('off = ["off"]', 'off = ["on"]', "stands twice"),
        ('on = ["on"]', 'on = ["on", "on"]', "stands twice"),
        ('unit = "rpm"', 'unit = "turns"', "quantity.speed.unit"),
        ("speed = {", "torque = {", "quantity"),
        ("[quantity]", "[quantities]", "quantity"),
        ("[file]", "[file", "not a TOML file"),
    ],
)
def test_each_fault(tmp_path, old, new, expected) -> None:
    assert GOOD.count(old) == 1
    dialect, problems = load(tmp_path, GOOD.replace(old, new))
    assert dialect is None
    assert any(expected in p.sentence for p in problems), problems
    assert {(p.file, p.severity) for p in problems} == {("dialects/own.toml", "disqualifies")}


def test_epoch_seconds_are_utc(tmp_path) -> None:
    text = GOOD.replace("%Y-%m-%d %H:%M:%S", "epoch_s")
    assert load(tmp_path, text)[1] == []
    assert load(tmp_path, text.replace('"utc"', '"site"'))[0] is None


def test_all_faults_at_once(tmp_path) -> None:
    text = GOOD.replace('"instant"', '"often"').replace('"rpm"', '"turns"').replace("gap_limit_s = 600", "")
    text = text.replace('delimiter = ","', 'delimiter = ";;"\ncolour = "red"')
    places = [p.sentence.split(": ")[0] for p in load(tmp_path, text)[1]]
    assert places == ["file", "file.delimiter", "quantity.speed.unit", "time", "time.label"]
    text = (
        GOOD.replace("interval_s = 60", "").replace('"utc"', '"Nowhere"').replace('column = "pump"', 'file_name = "x"')
    )
    assert len(load(tmp_path, text)[1]) == 3


def test_not_utf8(tmp_path) -> None:
    dialect, problems = load(tmp_path, GOOD.replace("made up", "é").encode("latin-1"))
    assert (dialect, [p.name for p in problems]) == (None, ["dialect_unreadable"])


def test_a_fleets_own_takes_the_place_of_the_packages(fleet) -> None:
    row = "2026-10-26T07:00:00Z,P-LA,1500,200,1\n"
    fleet.own_dialect(GOOD, "samples_5min")
    shown = fleet.ingest()
    assert fleet.take("five_a.csv", "t,pump,n,a\n2026-10-26 07:00:00,P-LA,1500,on\n")["readings"] == 1
    problem = fleet.take("five_b.csv", SAMPLES + row)["problem"]
    assert "column 't' (is it" in problem or "column 't'" in problem
    assert shown.exports.is_empty()


def test_a_broken_own_dialect_does_not_fall_back_to_the_packages(fleet) -> None:
    """The fleet said that its files are different: reading them by the package's shape would be a guess."""
    fleet.own_dialect(GOOD.replace("interval_s = 60", ""), "samples_5min")
    row = fleet.take("five_a.csv", SAMPLES + "2026-10-26T07:00:00Z,P-LA,1500,200,1\n")
    assert (row["status"], row["readings"]) == ("set aside", 0)
    assert "which is not there or does not hold" in row["problem"]
    assert [p.file for p in fleet.dialect_problems] == ["dialects/samples_5min.toml"]


@pytest.mark.parametrize(
    ("name", "pump"),
    [
        ("inland__P-QM-009.csv", "P-QM-009"),
        ("a__b__P.1.csv", "P.1"),
        ("inland__P_9.csv", "P_9"),
        ("inland.csv", None),
        ("inland__.csv", None),
        ("inland__P-1.csv.old", None),
    ],
)
def test_pump_of_a_file_name_stands_after_the_last_double_underscore(tmp_path, name, pump) -> None:
    assert load_dialects(tmp_path, [])["means_15min"].pump_of(name) == pump
