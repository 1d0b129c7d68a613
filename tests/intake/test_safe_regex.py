"""Regular expressions of a dialect: slips that run for hours are refused, honest ones are not."""

from __future__ import annotations

import re
import time

import pytest

from pumpledger.intake.safe_regex import regex_faults

HONEST = [
    r".*__(.+)\.csv$",
    r"(P-.+) kW",
    r"__([^_]+)\.csv$",
    r"^(?:.*_)?(P-\d+)_\d{4}-\d{2}.*\.csv$",
    r"(?i)(p-\d+)",
    r"(?P<pump>P-\d{3,4})_.*",
    r"([A-Z]{2}-\d+)(?:_old|_new)?\.csv",
    r"(?:\d{2}){3}_(\w+)",
    r"[(+*](x)",
    r"(x)\(\+\*\|",
    r"([^]+*]+)",
    r"x{(y)",
]
ENDLESS = [
    r"((?:a+)+)b",
    r"(a|a)*b",
    r"(a+)+",
    r"((?:a|ab){9,})c",
    r"((?:a?){25}a{25})",
    r"(?:(a*))*b",
    r"(?P<p>(?:x*){30})y",
    r"(?x)( a + ) + b",
    r".*.*.*.*(x)",
    "(" + "a?" * 30 + "a" * 30 + ")",
]


@pytest.mark.parametrize("pattern", HONEST)
def test_honest_patterns_hold_and_are_fast(pattern) -> None:
    assert regex_faults(pattern) == []
    start = time.perf_counter()
    for text in ("a" * 255, "P-1" * 85, "_" * 255, "P-1_" + "2026-01" * 30):
        re.search(pattern, text)
    assert time.perf_counter() - start < 1


@pytest.mark.parametrize("pattern", ENDLESS)
def test_endless_patterns_are_refused(pattern) -> None:
    (fault,) = regex_faults(pattern)
    assert "may take hours" in fault


@pytest.mark.parametrize(
    ("pattern", "expected"),
    [("x", "exactly one group"), ("(a)(b)", "exactly one group"), ("(a", "not a regular"), ("*(a)", "not a regular")],
)
def test_groups(pattern, expected) -> None:
    (fault,) = regex_faults(pattern)
    assert expected in fault


@pytest.mark.parametrize("pattern", ["(" * 150 + ")" * 150, "(a){99999999999}", "(?:" * 60 + "(a)" + ")" * 60])
def test_odd_sizes_are_no_traceback(pattern) -> None:
    assert isinstance(regex_faults(pattern), list)
