"""The command: what it prints, what it writes to a fleet; a written dialect reads nothing until it is complete."""

from __future__ import annotations

import tomllib
from datetime import datetime, timedelta
from fnmatch import fnmatchcase
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from pumpledger.cli import commands
from pumpledger.intake.dialect_file import read_dialect
from pumpledger.problems import FleetError, Problem
from pumpledger.proposal.claim import Claim, Proposal
from pumpledger.proposal.propose import propose
from pumpledger.proposal.render import render
from pumpledger.proposal.write import source_text, write_dialect
from tests.fleet_folder import write_fleet
from tests.proposal.filled import stands
from tests.proposal.variants import BASE

ESPI = """<?xml version="1.0"?>
<feed xmlns="http://www.w3.org/2005/Atom" xmlns:espi="http://naesb.org/espi"><entry><content><espi:IntervalBlock>
<espi:IntervalReading><espi:timePeriod><espi:duration>900</espi:duration><espi:start>1792998000</espi:start></espi:timePeriod>
<espi:value>250</espi:value></espi:IntervalReading></espi:IntervalBlock></content></entry></feed>
"""


def run(*arguments: object) -> tuple[int, str, str]:
    result = CliRunner().invoke(commands, ["dialect", *map(str, arguments)])
    if isinstance(result.exception, FleetError):  # `main` turns it into messages and exit status 2
        return 2, result.stdout, str(result.exception)
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result.exit_code, result.stdout, result.stderr


@pytest.fixture
def fleet(tmp_path: Path) -> Path:
    folder = write_fleet(tmp_path / "fleet", {"pumps.csv": "pump_id,site_id\nP-1,H1\nP-2,H1\n"})
    (folder / "inbox" / "roof_2026-W23.csv").write_bytes(BASE)
    return folder


def test_it_prints_a_whole_dialect_with_evidence_behind_each_line(fleet: Path) -> None:
    code, out, err = run(fleet / "inbox" / "roof_2026-W23.csv")
    assert (code, err) == (0, "")
    body = [line for line in out.splitlines() if " = " in line and not line.startswith(("#", "about"))]
    assert len(body) >= 12
    assert all("# sure: " in line or "# likely: " in line for line in body)
    assert [*tomllib.loads(out)] == ["about", "file", "time", "pump", "quantity"]


def test_it_writes_once_and_says_what_to_add(fleet: Path) -> None:
    path = fleet / "inbox" / "roof_2026-W23.csv"
    code, out, err = run(path, "--fleet", fleet, "--write", "roof_loggers")
    written = fleet / "dialects" / "roof_loggers.toml"
    assert code == 0 and written.read_text(encoding="utf-8") == out
    problems: list[Problem] = []
    assert read_dialect(written, written.name, problems) is not None, problems
    added = tomllib.loads(err[err.index("[[source]]") :])["source"][0]
    assert added == {"name": "roof loggers", "files": "roof_*.csv", "dialect": "roof_loggers"}
    written.write_text("mine")
    code, _, said = run(path, "--fleet", fleet, "--write", "roof_loggers")
    assert code == 2 and "is there already" in said and written.read_text() == "mine"


def test_with_the_register_codes_are_sure(fleet: Path) -> None:
    proposal = run(fleet / "inbox" / "roof_2026-W23.csv", "--fleet", fleet)[1]
    assert "pumps of the register" in proposal


def test_what_is_asked_keeps_a_written_dialect_from_reading(fleet: Path) -> None:
    path = fleet / "inbox" / "roof_2026-W23.csv"
    path.write_bytes(BASE.replace(b"Z,", b",").replace(b"T", b" "))
    code, out, err = run(path, "--fleet", fleet, "--write", "roof")
    assert code == 0 and "fill in" in out and "to be filled in before it reads anything" in err
    problems: list[Problem] = []
    assert read_dialect(fleet / "dialects" / "roof.toml", "roof.toml", problems) is None and problems


@pytest.mark.parametrize("name", ["../up", "a/b", "", "with blank", "x" * 61, ".hidden", "counters", "é"])
def test_names_that_are_no_dialects(fleet: Path, name: str) -> None:
    before = sorted(fleet.rglob("*"))
    proposal = propose([fleet / "inbox" / "roof_2026-W23.csv"])
    with pytest.raises(FleetError):
        write_dialect(proposal, name, fleet)
    assert sorted(fleet.rglob("*")) == before


def test_a_folder_that_is_no_fleet(tmp_path: Path, fleet: Path) -> None:
    proposal = propose([fleet / "inbox" / "roof_2026-W23.csv"])
    with pytest.raises(FleetError, match=r"fleet\.toml"):
        write_dialect(proposal, "roof", tmp_path)
    assert run(fleet / "inbox" / "roof_2026-W23.csv", "--write", "roof")[0] == 2  # --write without --fleet


@pytest.mark.parametrize(
    ("names", "glob"),
    [
        (["coast_2026-W44_1.csv", "coast_2026-W45_2.csv"], "coast_*.csv"),
        (["inland_2026-W44__P-1.csv", "inland_2026-W44__P-2.csv"], "inland_*.csv"),
        (["log.csv"], "log*.csv"),
        (["a.csv", "b.csv"], "*.csv"),
        (["odd[1]*.csv"], "odd?*.csv"),
        (["no suffix"], "no suffix*"),
    ],
)
def test_the_glob_of_the_source_fits_its_files(names: list[str], glob: str) -> None:
    proposal = Proposal(names, names, "", "", "text", [])
    assert tomllib.loads(source_text(proposal, "x"))["source"][0]["files"] == glob
    assert all(fnmatchcase(name, glob) for name in names)


TEXT = st.text(st.characters(codec=None, exclude_categories=()), max_size=30)


@settings(max_examples=100, deadline=None, derandomize=True)
@given(TEXT, TEXT, st.booleans())
def test_any_name_and_any_evidence_is_sound_toml(name: str, evidence: str, asked: bool) -> None:
    """Column names and evidence come from files: quotes, line ends and control characters must not get out of place."""
    value = {"column": name, "unit": "W"}
    claims = [
        Claim("file.delimiter", name, "sure", evidence),
        Claim("pump.columns", {name: name}, "likely", evidence),
        Claim("quantity.power", value, "cannot tell" if asked else "sure", evidence, ("unit",) if asked else ()),
        Claim("time.zone", None, "cannot tell", evidence),
    ]
    content = tomllib.loads(render(Proposal([name], [name], "", evidence, "text", claims, [evidence])))
    kept = name.encode("utf-8", "replace").decode()
    assert content["file"]["delimiter"] == kept and content["pump"]["columns"] == {kept: kept}
    assert content["quantity"]["power"]["unit"] == ("" if asked else "W")
    assert "zone" not in content.get("time", {}) and content["about"] == evidence.encode("utf-8", "replace").decode()


def test_parquet_with_typed_columns(tmp_path: Path) -> None:
    """Column types are read from the file, not guessed from text; a stamp without zone is asked."""
    times = [datetime(2026, 6, 13) + timedelta(minutes=15 * n) for n in range(96)]
    columns = {"pump": ["P-1"] * 96, "speed_rpm": [1500.5 + n for n in range(96)], "power_w": [200.25] * 96}
    for zone, value in (("UTC", "utc"), (None, None)):
        path = tmp_path / f"log_{zone}.parquet"
        pq.write_table(pa.table({"t": pa.array(times, pa.timestamp("ms", zone)), **columns}), path)
        proposal = propose([path])
        assert (proposal.carrier, proposal.value("time.format"), proposal.value("time.zone")) == (
            "parquet",
            "timestamp",
            value,
        )
        assert proposal.value("quantity.speed") == {"column": "speed_rpm", "unit": "rpm"}
        assert not any(claim.key.startswith("file.") for claim in proposal.claims)
        assert stands(proposal)[0] == (value is not None), stands(proposal)[1]


def test_green_button_needs_nothing_but_whose_it_is(tmp_path: Path) -> None:
    paths = [tmp_path / f"meter__P-{number}.xml" for number in (1, 2)]
    for path in paths:
        path.write_text(ESPI)
    proposal = propose(paths)
    assert (proposal.carrier, proposal.value("time.gap_limit_s")) == ("espi", 2700)
    assert proposal.value("pump.file_name") == r".*__(.+)\.xml$"
    assert stands(proposal)[0], stands(proposal)[1]
    alone = propose(paths[:1])
    assert alone.claim("pump.file_name").asked and not stands(alone)[0]  # type: ignore[union-attr]
