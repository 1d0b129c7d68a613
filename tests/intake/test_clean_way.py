"""The short way of a clean export against the long way: the same readings, counts, extents and refused rows."""

from __future__ import annotations

import tempfile
from datetime import datetime, timedelta
from pathlib import Path

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from intake_fleet import COUNTERS, EVENTS, SAMPLES, built_in, stage_file, staged_readings

from pumpledger.engine.database import Database
from pumpledger.intake import stage as stage_module
from pumpledger.intake.dialect import Dialect
from pumpledger.intake.stage import Staged

ZONES = {"P-1": "America/Los_Angeles", "P-2": "America/Los_Angeles", "P-BE": "Europe/Berlin"}
CHANGE = datetime(2026, 11, 1, 9)  # clocks go back in Los Angeles
HEADERS = {"samples_5min": SAMPLES, "events": EVENTS, "counters": COUNTERS}


def line(name: str, moment: datetime, pump: str, rpm: int, watts: int, word: str) -> str:
    if name == "counters":
        return f"{int((moment - datetime(1970, 1, 1)).total_seconds())}\t{pump}\t{rpm}\t{watts}\t{watts / 10}"
    if name == "events":
        return f"{moment - timedelta(hours=7):%Y-%m-%dT%H:%M:%S}-07:00,{pump},{rpm},{watts},{word},"
    return f"{moment:%Y-%m-%dT%H:%M:%SZ},{pump},{rpm},{watts},{word}"


@st.composite
def exports(draw: st.DrawFn) -> tuple[str, str, bool]:
    """(dialect, text, whether anything in it must send it the long way). Mostly clean, each kind of spoiling now and then."""
    name = draw(st.sampled_from(list(HEADERS)))
    start = CHANGE + timedelta(minutes=draw(st.sampled_from([-40_000, -60, 5, 3_000])))
    spoils = draw(st.sampled_from([None, None, None, "pump", "zone", "speed", "word", "repeat", "text", "far"]))
    rows = []
    for step in range(draw(st.integers(2, 8))):
        moment = start + timedelta(minutes=5 * step)
        rows += [
            line(name, moment, pump, draw(st.integers(0, 3600)), draw(st.integers(0, 3000)), "1")
            for pump in ("P-1", "P-2")
        ]
    at, moment = draw(st.integers(0, len(rows))), start + timedelta(minutes=2)
    spoiled = {
        "pump": line(name, moment, "P-9", 1200, 100, "1"),
        "zone": line(name, moment, "P-BE", 1200, 100, "1"),
        "speed": line(name, moment, "P-1", 9999, 100, "1"),
        "word": line(name, moment, "P-1", 1200, 100, "maybe"),
        "repeat": rows[0],
        "text": "nothing that fits",
        "far": line(name, moment + timedelta(days=3000), "P-1", 1200, 100, "1"),
    }.get(spoils)
    if spoiled and not (spoils == "word" and name == "counters"):
        rows.insert(at, spoiled)
    else:
        spoils = None
    text = HEADERS[name] + "\n".join(rows) + "\n" + ("# end\n" if name == "counters" else "")
    crosses = start <= CHANGE < start + timedelta(minutes=5 * len(rows) // 2)
    return name, text, spoils is not None or crosses


def told(staged: Staged) -> tuple:
    return (
        staged.data_rows,
        staged.other_lines,
        staged.fates,
        {key: value for key, value in staged.profile.items() if key != "file"},
        staged.extents.rows(),
        staged.refused.drop("export_id", "file").rows(),
        staged.pumps_seen,
        staged_readings(staged).rows(),
    )


def both_ways(db: Database, dialect: Dialect, text: str, monkeypatch: pytest.MonkeyPatch) -> tuple[tuple, tuple, bool]:
    taken: list[bool] = []
    read_clean = stage_module.read_clean

    def watched(*arguments: object) -> pl.DataFrame | None:
        tally = read_clean(*arguments)
        taken.append(tally is not None)
        return tally

    with tempfile.TemporaryDirectory() as root:
        path = Path(root) / "x.csv"
        path.write_text(text, encoding="utf-8")
        with monkeypatch.context() as patch:
            patch.setattr(stage_module, "read_clean", watched)
            short = told(stage_file(db, path, dialect, ZONES))
            patch.setattr(stage_module, "read_clean", lambda *_: None)
            long = told(stage_file(db, path, dialect, ZONES))
    return short, long, taken[0]


def test_both_ways_say_the_same(db, monkeypatch) -> None:
    ways: list[bool] = []

    @given(exports())
    @settings(max_examples=50, deadline=None, derandomize=True)
    def run(export: tuple[str, str, bool]) -> None:
        name, text, must_go_long = export
        short, long, clean = both_ways(db, built_in(name), text, monkeypatch)
        assert short == long
        assert not (clean and must_go_long)
        ways.append(clean)

    run()
    assert 10 <= sum(ways) <= len(ways) - 10  # both ways were walked
