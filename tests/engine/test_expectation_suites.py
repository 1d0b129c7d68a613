"""Suites: every failing row is named, however many; what cannot be evaluated raises; the suites of the package hold."""

from __future__ import annotations

import json
from pathlib import Path

import polars as pl
import pytest

from pumpledger.engine.database import resource_folder
from pumpledger.engine.expectations import Check, checks_frame, run_suite

ROWS = 260
TABLE = pl.DataFrame(
    {
        "name": [f"r{n:03d}" for n in range(ROWS)],
        "low": [float(n) for n in range(ROWS)],
        "high": [float(n) + (1 if n % 2 else -1) for n in range(ROWS)],
        "word": ["good" if n % 3 else "bad" for n in range(ROWS)],
        "maybe": [None if n % 4 == 0 else 1 for n in range(ROWS)],
        "group": [n // 2 if n >= 100 else n + 1000 for n in range(ROWS)],
    }
)
# Expectation, its arguments, the row numbers that fail it (by the arithmetic of TABLE).
CASES: dict[str, tuple[str, dict[str, object], list[int]]] = {
    "between": ("expect_column_values_to_be_between", {"column": "low", "max_value": 99}, list(range(100, ROWS))),
    "in set": ("expect_column_values_to_be_in_set", {"column": "word", "value_set": ["good"]}, list(range(0, ROWS, 3))),
    "not null": ("expect_column_values_to_not_be_null", {"column": "maybe"}, list(range(0, ROWS, 4))),
    "unique": ("expect_column_values_to_be_unique", {"column": "group"}, list(range(100, ROWS))),
    "no match": ("expect_column_values_to_not_match_regex", {"column": "word", "regex": "^b"}, list(range(0, ROWS, 3))),
    "pair": (
        "expect_column_pair_values_a_to_be_greater_than_b",
        {"column_A": "high", "column_B": "low"},
        list(range(0, ROWS, 2)),
    ),
    "holds": ("expect_column_values_to_be_between", {"column": "low", "min_value": 0}, []),
}


def write_suite(folder: Path, expectations: list[tuple[str, dict[str, object]]], critical: bool = True) -> None:
    content = {
        "name": "made_up",
        "expectations": [
            {"type": kind, "kwargs": kwargs, "meta": {"critical": critical, "meaning": f"meaning {number}"}}
            for number, (kind, kwargs) in enumerate(expectations)
        ],
    }
    (folder / "made_up.json").write_text(json.dumps(content))


@pytest.fixture
def suites(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setattr("pumpledger.engine.expectations.resource_folder", lambda name: tmp_path)
    return tmp_path


def test_all_failing_rows_are_named(suites) -> None:
    """Up to 160 of 260 rows fail; a result cut at 20 would set the wrong files aside."""
    write_suite(suites, [(kind, kwargs) for kind, kwargs, _ in CASES.values()])
    checks = run_suite("made_up", TABLE, "name")
    by_meaning = {check.meaning: check for check in checks}  # results come in an order of their own
    for number, (name, (kind, _, failing)) in enumerate(CASES.items()):
        check = by_meaning[f"meaning {number}"]
        assert check.expectation == kind
        assert check.failing == tuple(f"r{n:03d}" for n in failing), name
        assert (check.success, check.critical) == (not failing, True)
    assert max(len(check.failing) for check in checks) == 160


def test_meaning_and_weight_come_from_the_suite(suites) -> None:
    write_suite(suites, [CASES["holds"][:2]], critical=False)
    assert run_suite("made_up", TABLE, "name") == [
        Check("made_up", "expect_column_values_to_be_between", "meaning 0", False, True, "0", ())
    ]


@pytest.mark.parametrize(
    ("kind", "kwargs"),
    [
        ("expect_column_values_to_be_between", {"column": "nowhere", "max_value": 1}),
        ("expect_column_values_to_be_between", {"column": "word", "max_value": 1}),
        ("expect_column_values_to_not_match_regex", {"column": "word", "regex": "("}),
    ],
)
def test_what_cannot_be_evaluated_raises(suites, kind, kwargs) -> None:
    """A fault of the tool is never read as bad data, nor as good."""
    write_suite(suites, [CASES["holds"][:2], (kind, kwargs)])
    with pytest.raises(RuntimeError, match="could not be evaluated"):
        run_suite("made_up", TABLE, "name")


def test_no_rows_no_checks(suites) -> None:
    assert run_suite("made_up", TABLE.clear(), "name") == []


@pytest.mark.parametrize("path", sorted(resource_folder("expectations").glob("*.json")), ids=lambda path: path.stem)
def test_suites_of_the_package(path) -> None:
    """Each is plain JSON under its own name, each expectation with a meaning and a weight; no meaning stands twice."""
    suite = json.loads(path.read_text(encoding="utf-8"))
    assert suite["name"] == path.stem
    meanings = [item["meta"]["meaning"] for item in suite["expectations"]]
    assert len(set(meanings)) == len(meanings)
    assert all(isinstance(item["meta"]["critical"], bool) for item in suite["expectations"])


PROFILE = {
    "file": "a.csv",
    "rows": 100,
    "reject_share": 0.0,
    "impossible_share": 0.0,
    "quarantine_share": 0.0,
    "duplicate_share": 0.0,
    "speed_null_share": 0.0,
}


@pytest.mark.parametrize(
    ("change", "failing", "critical"),
    [
        ({}, 0, 0),
        ({"rows": 0}, 1, 0),
        ({"reject_share": 0.01}, 0, 0),
        ({"reject_share": 0.02}, 1, 0),
        ({"reject_share": 0.5}, 1, 0),
        ({"reject_share": 0.51}, 2, 1),
        ({"impossible_share": 0.5}, 0, 0),
        ({"impossible_share": 0.51}, 1, 1),
        ({"quarantine_share": 0.03}, 1, 0),
        ({"duplicate_share": 0.02}, 1, 0),
        ({"speed_null_share": 0.06}, 1, 0),
        ({"file": None}, 1, 1),
    ],
)
def test_file_profile(change, failing, critical) -> None:
    checks = run_suite("file_profile", pl.DataFrame([PROFILE | change], schema_overrides={"file": pl.String}), "file")
    failed = [check for check in checks if not check.success]
    assert (len(failed), sum(check.critical for check in failed)) == (failing, critical)


def test_checks_as_a_table() -> None:
    frame = checks_frame([Check("s", "e", "m", True, False, "2", ("a", "b"))])
    assert frame.rows() == [("s", "e", "m", True, False, "2", "a; b")]
    assert checks_frame([]).is_empty()
