"""The command `claim`: what it prints, and what it refuses."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from pumpledger.cli import commands
from pumpledger.problems import FleetError
from tests.claims.claim_fleet import COUNTED

PERIOD = ("--from", "2026-10-19", "--to", "2026-11-08")


def run(*arguments: object) -> str:
    result = CliRunner().invoke(commands, ["claim", *map(str, arguments)])
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result.output


def test_the_ready_list_comes_before_the_totals(fleet: Path) -> None:
    text = run(fleet, "--site", "H1", "--programme", "rebate", *PERIOD, "--prepared-by", "A", "--reviewed-by", "B")
    assert text.index("READY") < text.index("met      programme parameters") < text.index("Raw saving")
    assert f"Raw saving: {COUNTED * 10.4:.1f} kWh" in text
    assert f"By the programme, raw saving: {COUNTED * 10.4:g} kWh" in text
    assert "made up" in text
    assert "Kept in claims.csv: 1 line." in text
    claim = text.split()[1].strip(",")
    assert "withdrawn" in run(fleet, "--withdraw", claim)


def test_what_is_missing_says_where_it_is_mended(fleet: Path) -> None:
    text = run(fleet, "--site", "H1", *PERIOD)
    assert "NOT READY" in text
    assert "Mend it in: programmes/<name>.toml and --programme" in text
    assert "Mend it in: --prepared-by and --reviewed-by" in text


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--site", "H1"), "--from and --to"),
        (PERIOD, "name sites with --site"),
        ((*PERIOD, "--site", "H1", "--all"), "name sites with --site"),
        (("--from", "2026-13-01", "--to", "2026-11-08", "--all"), "2026-13-01"),
    ],
)
def test_what_is_not_said_is_asked_for(fleet: Path, arguments: tuple[str, ...], said: str) -> None:
    assert said in run(fleet, *arguments)


def test_a_fleet_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(FleetError, match="no fleet folder"):
        run(tmp_path / "none", "--all", *PERIOD)
    assert not (tmp_path / "none").exists()
