"""Dialect texts that the tests vary, and one way to read a text."""

from __future__ import annotations

from pumpledger.intake.dialect import Dialect
from pumpledger.intake.dialect_file import parse_dialect
from pumpledger.problems import Problem

LONG = """
about = "made up"
[file]
delimiter = ","
[time]
column = "t"
format = "%Y-%m-%d %H:%M"
zone = "utc"
label = "interval_beginning"
interval_s = 900
gap_limit_s = 3600
[pump]
column = "pump"
[quantity]
speed = { column = "n", unit = "rpm" }
"""
WIDE = LONG.replace('column = "pump"', 'header = "(P-.+) W"').replace(
    'speed = { column = "n", unit = "rpm" }', 'power = { unit = "W" }'
)
BARE = LONG.replace('delimiter = ","', 'delimiter = ","\nnames = ["t", "n", "pump", "x"]')
PARQUET = LONG.replace("[file]\n", "").replace('delimiter = ","\n', "").replace("[time]", 'carrier = "parquet"\n[time]')
ESPI = """
about = "made up"
carrier = "espi"
[time]
gap_limit_s = 7200
[pump]
fixed = "P-3"
"""


def read(text: str) -> Dialect:
    """The dialect of a text that holds."""
    problems: list[Problem] = []
    dialect = parse_dialect(text, "own", "own.toml", problems)
    assert dialect is not None, problems
    assert problems == []
    return dialect


def faults(text: str) -> list[str]:
    """The sentences about a text that does not hold."""
    problems: list[Problem] = []
    assert parse_dialect(text, "own", "own.toml", problems) is None
    assert {(problem.file, problem.severity) for problem in problems} == {("own.toml", "disqualifies")}
    return [problem.sentence for problem in problems]


def changed(text: str, *changes: tuple[str, str]) -> str:
    """``text`` with each old, which stands there once, replaced by its new."""
    for old, new in changes:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return text
