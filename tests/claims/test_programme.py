"""Programme files: the shipped example, every fault at once with its place, and what a file must not hold."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pumpledger.claims.programme import SHIPPED, find_programme, programme_names, programme_schema, read_programme
from pumpledger.claims.programme_data import Programme
from pumpledger.problems import FleetError, Problem

GOOD = """name = "Invented"
made_up = true
document = "Invented manual"
edition = "first"
section = "1"
retrieved = 2026-11-01
source = "invented for a test"
option = "metered"
units = "us"

[baseline]
rule = "the former pump at its recorded hours"
evidence = ["measured", "owner record"]

[completeness]
least_share_of_days = 0.95
least_days = 60

[peak]
months = [6, 7, 8, 9]
weekdays = [1, 2, 3, 4, 5]
start = "16:00"
stop = "21:00"

[[formula]]
name = "raw saving"
claimed = true
source = "section 2"
"""


def _read(tmp_path: Path, text: str | bytes) -> tuple[Programme | None, list[Problem]]:
    path = tmp_path / "one.toml"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    problems: list[Problem] = []
    return read_programme(path, "programmes/one.toml", problems), problems


def test_a_file_is_held_as_it_stands(tmp_path: Path) -> None:
    found, problems = _read(tmp_path, GOOD)
    assert not problems
    assert found is not None
    assert (found.key, found.option, found.units, found.made_up) == ("one", "metered", "us", True)
    assert (found.least_share_of_days, found.least_days, found.least_day_coverage) == (0.95, 60, 0.9)
    assert found.peak is not None
    assert (found.peak.start_min, found.peak.stop_min, found.peak.months) == (960, 1260, (6, 7, 8, 9))
    assert found.reviewer_not_preparer
    assert len(found.sha256) == 64


def test_all_faults_come_at_once_each_with_its_line(tmp_path: Path) -> None:
    text = (
        GOOD.replace('option = "metered"', 'option = "guess"')
        .replace("least_days = 60", "least_days = -1")
        .replace('stop = "21:00"', 'stop = "15:00"')
        .replace('name = "raw saving"', 'name = "magic"')
        .replace("retrieved = 2026-11-01", 'retrieved = "2026-02-30"')
    )
    found, problems = _read(tmp_path, text)
    assert found is None
    lines = text.splitlines()
    by_line = {lines[problem.line - 1].split(" = ")[0]: str(problem) for problem in problems if problem.line}
    assert set(by_line) == {"option", "least_days", "stop", "name", "retrieved"}
    assert "expected: metered, key parameter or deemed" in by_line["option"]
    assert "not later than start" in by_line["stop"]
    assert "raw saving" in by_line["name"]
    assert "programmes/one.toml line 8, column 1 (option)" in by_line["option"]


TABLE = (
    GOOD.replace('name = "raw saving"', 'name = "demand saving"')
    + """
[formula.parameters]
base_kw = "old"
base_coincidence = 0.6
new_kw = 0.25
new_coincidence = 0.5

[[table]]
name = "old"
by = "pool_volume"
unit = "gal"
gives = "kW"
source = "invented"
bands = [
    { from = 0, below = 15000, value = 1.2 },
    { from = 15000, value = 1.8 },
]
"""
)


@pytest.mark.parametrize(
    ("old", "new", "said", "line"),
    [
        ("from = 15000,", "from = 15001,", "what lies between", "{ from = 15001"),
        ("from = 15000,", "from = 14999,", "what lies between", "{ from = 14999"),
        ("below = 15000, ", "", "only the last band", "{ from = 0"),
        ("value = 1.2", "values = { a = 1.2 }", "has value", "{ from = 0"),
        ('unit = "gal"', 'unit = "kw"', "pool_volume is banded in", 'unit = "kw"'),
        ('base_kw = "old"', 'base_kw = "older"', "no [[table]]", "base_kw"),
        ("base_coincidence = 0.6\n", "", "needs the parameter base_coincidence", "[[formula]]"),
        ("new_kw = 0.25", "new_kw = nan", "no number of a programme", "new_kw"),
        ("new_coincidence = 0.5", "new_coincidence = 0.5\nmagic = 1", "no parameter magic", "magic"),
        ("claimed = true", "claimed = false", "exactly one", "[[formula]]"),
        ('source = "invented"\nbands', "bands", "'source' is a required property", "[[table]]"),
        ('made_up = true', 'made_up = true\nauthor = "x"', "author", ""),
    ],
)  # fmt: skip
def test_one_fault_is_told_with_its_place(tmp_path: Path, old: str, new: str, said: str, line: str) -> None:
    assert not _read(tmp_path, TABLE)[1]
    assert old in TABLE
    text = TABLE.replace(old, new, 1)
    found, problems = _read(tmp_path, text)
    assert found is None
    assert [said in str(problem) for problem in problems] == [True], problems
    at = problems[0].line
    assert (text.splitlines()[at - 1].strip() if at else "").startswith(line) and bool(at) is bool(line)


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ('field = "model"\none_of = ["A", "B"]', ""),
        ('field = "pool_class"\nequals = "residential"', ""),
        ('field = "model"\nleast = 3', "compared with equals or with one_of"),
        ('field = "label_rating"\nequals = "5"', "compared with equals or with one_of"),
        ('field = "label_rating"', "says nothing of the field"),
        ('field = "nameplate_power"\nleast = 3', "given in"),
        ('field = "colour"\nequals = "x"', "colour"),
    ],
)
def test_a_condition_fits_its_field(tmp_path: Path, line: str, said: str) -> None:
    found, problems = _read(tmp_path, f"{GOOD}\n[[eligible]]\n{line}\n")
    assert (found is None) is bool(said)
    assert [said in str(problem) for problem in problems] == ([True] if said else [])


@given(st.one_of(st.binary(max_size=200), st.text(max_size=200).map(str.encode)))
def test_any_bytes_are_refused_with_words(tmp_path_factory: pytest.TempPathFactory, raw: bytes) -> None:
    found, problems = _read(tmp_path_factory.mktemp("p"), raw)
    assert found is None
    assert problems


def test_the_shipped_example_holds_and_names_its_source() -> None:
    for path in SHIPPED.glob("*.toml"):
        problems: list[Problem] = []
        found = read_programme(path, path.name, problems)
        assert found is not None, problems
        assert "[READ]" in found.source
        assert all(table.source for table in found.tables.values())


@pytest.mark.parametrize(
    ("litres", "kw"),
    [(0, 0.202), (19999, 0.202), (20000, 0.256), (29999.9, 0.256), (30000, 0.370), (40000, 0.491), (40000.5, 0.491),
     (50000, 0.620), (60000, 0.758), (69999, 0.758), (70000, 0.830), (500000, 0.830)],
)  # fmt: skip
def test_every_volume_lies_in_one_band(litres: float, kw: float) -> None:
    # Facts 5.2, table SYS2.1 [READ]; the document's own code leaves exactly 40,000 L in no band.
    table = find_programme(Path("nowhere"), "peak_capacity_example").tables["replaced pump"]
    assert [band.values["value"] for band in table.bands if band.holds(litres)] == [kw]


def test_an_unknown_programme_is_told_with_those_that_are_known(tmp_path: Path) -> None:
    (tmp_path / "programmes").mkdir()
    (tmp_path / "programmes" / "mine.toml").write_text(GOOD, encoding="utf-8")
    assert programme_names(tmp_path) == ["mine", "peak_capacity_example"]
    assert find_programme(tmp_path, "mine").name == "Invented"
    for name in ("yours", "../mine", "/etc/passwd", ""):
        with pytest.raises(FleetError, match="known: mine, peak_capacity_example"):
            find_programme(tmp_path, name)


def test_the_schema_is_one() -> None:
    import jsonschema

    jsonschema.Draft202012Validator.check_schema(programme_schema())
