"""Whatever the bytes of a register are, there is no traceback: problems, or a FleetError that lists them."""

from __future__ import annotations

import tempfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from register_folder import GOOD, Folder

from pumpledger.problems import FleetError, Problem
from pumpledger.register.load import Register

RUNS = settings(max_examples=100, deadline=None, derandomize=True, database=None)

CELLS = st.sampled_from(
    [
        "",
        " ",
        "S-1",
        "P-1",
        "1",
        "0",
        "-1",
        "1e9",
        "nan",
        "inf",
        "1_0",
        "America",
        "UTC",
        "2026-10-01",
        "25:00",
        "24:00",
        "yes",
        "mid",
        '"',
        '""',
        '"a,b"',
        "\x00",
        "\u2028",
        "=1+1",
        "x" * 300,
        "0001-01-01T00:00:00+14:00",
    ]
)


def load(name: str, content: bytes) -> list[Problem]:
    with tempfile.TemporaryDirectory() as root:
        folder = Folder(Path(root)).write(name, content)
        try:
            register = folder.load()
        except FleetError as error:
            assert error.problems
            return error.problems
        assert isinstance(register, Register)
        assert register.site.height > 0
        assert set(register.pump["site_id"]) == set(register.site["site_id"])
        return register.problems


@given(st.binary(max_size=400))
@RUNS
def test_any_bytes_in_sites(content: bytes) -> None:
    assert load("sites.csv", content)  # nothing that is no register passes unseen


@given(st.binary(max_size=200))
@RUNS
def test_any_bytes_after_a_good_header(content: bytes) -> None:
    header = GOOD["sites.csv"].encode()
    problems = load("sites.csv", header + content)
    assert all(problem.sentence and (problem.line or 1) >= 1 for problem in problems)


@pytest.mark.parametrize("name", [name for name in GOOD if name.endswith(".csv")])
@given(data=st.data())
@settings(max_examples=15, deadline=None, derandomize=True, database=None)
def test_any_cells_under_a_good_header(name: str, data: st.DataObject) -> None:
    header = GOOD[name].splitlines()[0]
    width = len(header.split(","))
    rows = data.draw(st.lists(st.lists(CELLS, min_size=1, max_size=width + 2), max_size=4))
    load(name, "\n".join([header, *(",".join(row) for row in rows)]).encode())


@pytest.mark.parametrize("name", ["fleet.toml", "tariffs/evening.toml"])
@given(data=st.data())
@settings(max_examples=25, deadline=None, derandomize=True, database=None)
def test_any_piece_cut_from_a_toml_file(name: str, data: st.DataObject) -> None:
    text = GOOD[name].encode()
    start = data.draw(st.integers(0, len(text)))
    stop = data.draw(st.integers(start, len(text)))
    load(name, text[:start] + data.draw(st.binary(max_size=6)) + text[stop:])
