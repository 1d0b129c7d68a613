"""A packet of the demo fleet, verified by working everything out anew from what the packet holds."""

from __future__ import annotations

import json
import re
import shutil
from datetime import date
from pathlib import Path

import polars as pl
import pytest
from click.testing import CliRunner

from pumpledger.claims.bag import seal
from pumpledger.cli import commands
from pumpledger.orchestration.claiming import Asked, compute_claims
from pumpledger.orchestration.packing import pack
from pumpledger.orchestration.run import Outcome, run_review
from pumpledger.orchestration.session import Session
from pumpledger.orchestration.verifying import run_verify
from tests.claims.made_up_packet import pages
from tests.demo_fleet import DEMO, copy_of_demo

FIRST, LAST = date(2026, 10, 27), date(2026, 11, 8)  # the clocks go back on 1 November
SITE, SILENT = "QM-001", "QM-007"


@pytest.fixture(scope="module")
def session(reviewed_demo: tuple[Path, Outcome], tmp_path_factory: pytest.TempPathFactory) -> Session:
    return Session(Path(shutil.copytree(reviewed_demo[0], tmp_path_factory.mktemp("claimed") / "fleet")))


def packed(session: Session, site: str, folder: Path, redacted: bool = False, first: date = FIRST) -> Path:
    asked = Asked(first, LAST, (site,), "peak_capacity_example", "Invented Preparer", "Invented Reviewer")
    (claim,) = compute_claims(session, asked).found
    pack(session, claim, folder, redacted)
    return folder


@pytest.fixture(scope="module")
def folder(session: Session, tmp_path_factory: pytest.TempPathFactory) -> Path:
    return packed(session, SITE, tmp_path_factory.mktemp("packed"), redacted=True)


@pytest.fixture
def own(folder: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(folder / "packet", tmp_path / "packet"))


def seal_again(packet: Path) -> None:
    lines = (packet / "bag-info.txt").read_text().splitlines()
    seal(packet, dict(line.split(": ", 1) for line in lines if not line.startswith("Payload-Oxum")))


def test_a_packet_holds_by_itself(folder: Path) -> None:
    done = CliRunner().invoke(commands, ["verify", str(folder / "packet")])
    assert done.exit_code == 0, done.output
    assert "to the watt-hour" in done.output and "byte by byte" in done.output


def test_a_site_without_readings_has_a_packet_that_holds(session: Session, tmp_path: Path) -> None:
    packet = packed(session, SILENT, tmp_path / "out") / "packet"
    verified = run_verify(packet)
    assert verified.holds, verified.differing


def test_one_changed_reading_and_one_changed_value_change_figures_that_are_named(own: Path) -> None:
    """A reading less, another power of the former pump, and the packet sealed anew, as by someone who knows how it is
    made."""
    path = max((own / "data" / "exports").glob("*W45_route-6.csv"))
    rows = path.read_text().splitlines(keepends=True)
    mine = [at for at, row in enumerate(rows) if "QM-001" in row]
    del rows[mine[len(mine) // 2]]
    path.write_text("".join(rows))
    path = own / "data" / "configuration" / "pumps.csv"
    assert ",2180.0," in path.read_text()
    path.write_text(path.read_text().replace(",2180.0,", ",2190.0,"))
    seal_again(own)
    done = CliRunner().invoke(commands, ["verify", str(own)])
    assert done.exit_code == 1
    assert "totals.baseline_kwh: the packet says" in done.output and "totals.energy_kwh: the packet says" in done.output


@pytest.mark.parametrize(
    ("name", "text"),
    [("order_of_arrival.json", '{"arrived": ["../../x"], "built_weeks": []}'), ("order_of_arrival.json", "{}"),
     ("request.json", "{"), ("request.json", '{"first_day": 1}'), ("configuration/fleet.toml", "x")],
)  # fmt: skip
def test_a_spoilt_packet_is_said_and_raises_nothing(own: Path, name: str, text: str) -> None:
    (own / "data" / name).write_text(text)
    seal_again(own)
    verified = run_verify(own)
    assert len(verified.differing) == 1 and "cannot be worked out anew" in verified.differing[0]


def test_totals_of_a_real_claim_are_the_same_in_pdf_json_and_parquet(folder: Path) -> None:
    data = folder / "packet" / "data"
    totals = json.loads((data / "claim.json").read_text())["totals"]
    text = " ".join(pages(data / "claim.pdf"))
    days = pl.read_parquet(data / "clean" / "days.parquet").filter(pl.col("state") == "counted")
    assert days.height == totals["counted_days"] > 0
    for column, total in (("baseline_kwh", totals["baseline_kwh"]), ("energy_kwh_mid", totals["energy_kwh"]),
                          ("raw_kwh_mid", totals["raw"]["mid"]), ("equal_kwh_mid", totals["equal"]["mid"])):  # fmt: skip
        assert sum(days[column].drop_nulls().to_list()) == pytest.approx(total, abs=1e-9)
        assert f"{total:,.3f}" in text
    spans = pl.read_parquet(data / "clean" / "intervals.parquet")
    assert set(spans["site_id"]) == {SITE} and spans["day_local"].min() == FIRST and spans["day_local"].max() == LAST


def test_the_redacted_variant_of_a_real_claim_names_nobody_and_says_so(folder: Path) -> None:
    site = pl.read_csv(DEMO / "sites.csv").filter(pl.col("site_id") == SITE)["site_name"][0]
    for path in (folder / "redacted").rglob("*"):
        if path.is_file():
            assert site.encode() not in path.read_bytes(), path
            assert b"Invented Preparer" not in path.read_bytes(), path
    text = " ".join(pages(folder / "redacted" / "data" / "claim.pdf"))
    assert site not in text and "Invented Preparer" not in text and "MADE-UP-1000" not in text
    done = CliRunner().invoke(commands, ["verify", str(folder / "redacted")])
    assert done.exit_code == 0 and "no figure could be worked out anew" in done.output


def test_names_of_other_sites_stay_at_home(folder: Path) -> None:
    names = pl.read_csv(DEMO / "sites.csv").filter(pl.col("site_id") != SITE)["site_name"].to_list()
    held = b"".join(path.read_bytes() for path in sorted((folder / "packet").rglob("*")) if path.is_file())
    assert not [name for name in names if name.encode() in held]


def test_a_claim_made_twice_gives_the_same_bytes_although_the_log_of_claims_has_grown(
    session: Session, folder: Path
) -> None:
    arguments = ["claim", str(session.workspace.folder), "--site", SITE, "--from", str(FIRST), "--to", str(LAST)]
    arguments += ["--programme", "peak_capacity_example", "--prepared-by", "Invented Preparer"]
    arguments += ["--reviewed-by", "Invented Reviewer"]
    for _ in range(2):
        done = CliRunner().invoke(commands, arguments)
        assert done.exit_code == 0, done.output
    (made,) = (session.workspace.reports / "claims").glob("c-*/packet")
    assert "c-" in (session.workspace.folder / "claims.csv").read_text()
    wanted, found = (
        {path.relative_to(root): path.read_bytes() for path in root.rglob("*") if path.is_file()}
        for root in (folder / "packet", made)
    )
    assert found == wanted


def test_a_correction_that_came_later_under_an_earlier_name_stands_in_the_packet_too(tmp_path: Path) -> None:
    """Of two exports that differ the later arrival stands, so a packet keeps the order of arrival."""
    name = "inland_2026-W45__P-QM-002.csv"
    fleet = copy_of_demo(tmp_path / "fleet")
    for path in (fleet / "inbox").iterdir():
        if path.name != name:
            path.unlink()
    earlier = Session(fleet)
    with earlier.workspace.lock(), earlier.reading():
        earlier.take_inbox()
    earlier.close()
    text = (fleet / "inbox" / name).read_text(encoding="utf-8")
    head, *rows = text.splitlines(keepends=True)
    kept = [row for row in rows if row.strip()]
    changed = [re.sub(r"(\d)(\D*)$", lambda found: f"{(int(found[1]) + 1) % 10}{found[2]}", row) for row in kept[:200]]
    (fleet / "inbox" / "inland_2026-W45-0__P-QM-002.csv").write_text(head + "".join(changed), encoding="utf-8")
    run_review(fleet)
    session = Session(fleet)
    packet = packed(session, "QM-002", tmp_path / "out", first=date(2026, 11, 2)) / "packet"
    order = json.loads((packet / "data" / "order_of_arrival.json").read_text())["arrived"]
    assert order != sorted(order)
    assert session.lake.superseded_files("2026-W45"), "the earlier one gave way"
    verified = run_verify(packet)
    assert verified.holds, verified.differing
    (packet / "data" / "order_of_arrival.json").write_text(
        json.dumps({"arrived": sorted(order), "built_weeks": ["2026-W45"]})
    )
    seal_again(packet)
    assert not run_verify(packet).holds, "in another order another export stands"
