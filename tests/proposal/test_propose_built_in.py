"""The package's own dialects, proposed from the demo fleet's exports: what is sure is what is declared, and the fleet
read by the proposals has the same readings.

Outside check: DuckDB's own CSV sniffer (sniff_csv), which shares nothing with this one, on delimiter, header and
lines before it.
"""

from __future__ import annotations

import shutil
import tomllib
from fnmatch import fnmatchcase
from itertools import takewhile
from pathlib import Path

import duckdb
import polars as pl
import pytest

from pumpledger.orchestration.session import Session
from pumpledger.proposal.known_codes import codes_of
from pumpledger.proposal.propose import propose
from tests.proposal.filled import as_dialect, filled, stands, truth_of
from tests.proposal.truth import is_true

FLEET = Path(__file__).resolve().parents[2] / "sample_data" / "quillmarsh"
SOURCES = {
    source["dialect"]: sorted(path for path in (FLEET / "inbox").iterdir() if fnmatchcase(path.name, source["files"]))
    for source in tomllib.loads((FLEET / "fleet.toml").read_text())["source"]
}
WEEK = {name: [path for path in paths if "W44" in path.name] for name, paths in SOURCES.items()}


@pytest.mark.parametrize("name", SOURCES)
def test_what_is_sure_is_what_is_declared(name: str) -> None:
    """Three files alone, all files together, and all with the register: nothing sure is false."""
    truth = truth_of(name, [path.name for path in SOURCES[name]])
    for paths in [*([path] for path in SOURCES[name][:3]), SOURCES[name]]:
        proposal = propose(paths)
        sure = [claim for claim in proposal.claims if claim.sureness == "sure"]
        assert [claim for claim in sure if not is_true(claim, truth)] == []
        assert stands(proposal)[0] == (not proposal.asked), stands(proposal)[1]
        assert len(sure) >= 6
    known = propose(SOURCES[name], codes_of(FLEET))
    assert all(is_true(claim, truth) for claim in known.claims if claim.sureness == "sure")
    pump = next(claim for claim in known.claims if claim.key in ("pump.column", "pump.file_name"))
    assert pump.sureness == known.claim("pump.codes").sureness == "sure"


@pytest.mark.parametrize("name", SOURCES)
def test_likely_lines_hold_too_for_a_whole_source(name: str) -> None:
    truth = truth_of(name, [path.name for path in SOURCES[name]])
    proposal = propose(SOURCES[name])
    assert [claim for claim in proposal.claims if not claim.asked and not is_true(claim, truth)] == []


@pytest.mark.parametrize("name", SOURCES)
def test_an_independent_sniffer_sees_the_same_table(name: str) -> None:
    """DuckDB's sniffer on the first file. Lines before the header that begin with # it calls comments."""
    path = SOURCES[name][0]
    with duckdb.connect() as con:
        delimiter, skipped, header, comment = con.execute(
            "select Delimiter, SkipRows, HasHeader, Comment from sniff_csv($path)", {"path": str(path)}
        ).fetchall()[0]
    if comment == "#":
        skipped += sum(1 for _ in takewhile(lambda line: line.startswith("#"), path.read_text().splitlines()))
    proposal = propose([path])
    assert proposal.value("file.delimiter") == delimiter
    assert header and proposal.claim("file.names") is None
    assert proposal.value("file.preamble_lines") == skipped


def readings(folder: Path) -> pl.DataFrame:
    """All readings of the fleet in ``folder``, taken in anew."""
    session = Session(folder)
    session.take_inbox()
    files = [path for week in session.lake.reading_weeks() for path in session.lake.readings_files(week)]
    return (
        pl.concat([pl.read_parquet(path, glob=False) for path in files])
        .drop("export_id")
        .sort("pump_id", "time_utc", "line")
    )


def test_a_fleet_read_by_the_proposals_has_the_same_readings(tmp_path: Path) -> None:
    """One week of all five sources, 40 thousand rows; what is asked is filled in from the declared dialects."""
    folders = {}
    for kind in ("declared", "proposed"):
        folders[kind] = folder = tmp_path / kind
        shutil.copytree(FLEET, folder, ignore=shutil.ignore_patterns("truth", "inbox", "lake", "reports", ".dagster"))
        (folder / "inbox").mkdir()
        for paths in WEEK.values():
            for path in paths:
                shutil.copy(path, folder / "inbox")
    (folders["proposed"] / "dialects").mkdir()
    for name, paths in WEEK.items():
        text = filled(propose(paths), truth_of(name, [path.name for path in paths]))
        dialect, problems = as_dialect(text)
        assert dialect is not None, problems
        (folders["proposed"] / "dialects" / f"{name}.toml").write_text(text, encoding="utf-8")
    declared, proposed = readings(folders["declared"]), readings(folders["proposed"])
    assert declared.height > 20_000
    assert declared.equals(proposed)
