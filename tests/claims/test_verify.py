"""Verifying a packet: whole or not, and what its own exports give.

The figures are worked out anew by a stand-in here; `test_verify_fleet.py` does it with the pipeline.
"""

from __future__ import annotations

import json
from pathlib import Path

import polars as pl
import pytest

from pumpledger.claims.bag import seal
from pumpledger.claims.data import ClaimData
from pumpledger.claims.packet import write_packet
from pumpledger.claims.verify import verify_packet
from pumpledger.problems import FleetError, Problem
from tests.claims.made_up_claim import made_up_claim, spans
from tests.claims.made_up_packet import made_up_evidence


def anew(data: Path, published: dict[str, object]) -> tuple[ClaimData, pl.DataFrame]:
    assert (data / "exports").is_dir() and published["claim_id"]
    return made_up_claim(), spans()


def never(data: Path, published: dict[str, object]) -> tuple[ClaimData, pl.DataFrame]:
    raise AssertionError("nothing may be worked out from a packet that was changed")


def info(folder: Path) -> dict[str, str]:
    lines = (folder / "bag-info.txt").read_text().splitlines()
    return dict(line.split(": ", 1) for line in lines if not line.startswith("Payload-Oxum"))


def test_a_packet_holds(packet: Path) -> None:
    verified = verify_packet(packet, anew)
    assert verified.holds, verified.differing
    assert any("to the watt-hour" in line for line in verified.said)
    assert any("byte by byte" in line for line in verified.said)


def test_of_a_changed_packet_nothing_is_worked_out(own_packet: Path) -> None:
    (own_packet / "data" / "exports" / "logger_2026-W43.csv").write_bytes(b"time,watts\n")
    verified = verify_packet(own_packet, never)
    assert verified.differing == ("data/exports/logger_2026-W43.csv was changed.",)


@pytest.mark.parametrize(
    "name", ["claim.pdf", "claim.xlsx", "README.txt", "clean/days.csv", "clean/days.parquet", "clean/intervals.csv"]
)
def test_a_document_that_was_changed_and_packed_anew_is_named(own_packet: Path, name: str) -> None:
    path = own_packet / "data" / name
    held = path.read_bytes()
    path.write_bytes(held[:-9] + bytes([held[-9] ^ 1]) + held[-8:])
    seal(own_packet, info(own_packet))
    assert verify_packet(own_packet, anew).differing == (f"data/{name} is not what the exports give.",)


def test_a_document_left_out_or_slipped_in_and_packed_anew_is_named(own_packet: Path) -> None:
    (own_packet / "data" / "clean" / "months.csv").unlink()
    (own_packet / "data" / "clean" / "more.csv").write_bytes(b"x\n")
    seal(own_packet, info(own_packet))
    assert verify_packet(own_packet, anew).differing == (
        "data/clean/months.csv is not what the exports give.",
        "data/clean/more.csv is not what the exports give.",
    )


@pytest.mark.parametrize("change", [0.001, -0.001, 40.0])
def test_a_figure_that_was_changed_and_packed_anew_is_named(own_packet: Path, change: float) -> None:
    path = own_packet / "data" / "claim.json"
    held = json.loads(path.read_text())
    held["totals"]["raw"]["mid"] += change
    path.write_text(json.dumps(held))
    seal(own_packet, info(own_packet))
    verified = verify_packet(own_packet, anew)
    assert any(line.startswith("totals.raw.mid: the packet says") for line in verified.differing)


def test_other_versions_are_said_and_figures_still_compared(own_packet: Path) -> None:
    path = own_packet / "data" / "claim.json"
    held = json.loads(path.read_text())
    held["versions"]["typst"] = "0.0.1"
    path.write_text(json.dumps(held))
    seal(own_packet, info(own_packet))
    verified = verify_packet(own_packet, anew)
    assert verified.holds
    assert any("typst 0.0.1 then" in line for line in verified.said)


def test_a_redacted_packet_says_what_cannot_be_worked_out(tmp_path: Path) -> None:
    write_packet(tmp_path / "out", made_up_claim(), made_up_evidence(tmp_path / "fleet"), redacted=True)
    verified = verify_packet(tmp_path / "out", never)
    assert verified.holds
    assert any("no figure could be worked out anew" in line for line in verified.said)


def test_exports_that_give_nothing_are_a_difference(packet: Path) -> None:
    def fails(data: Path, published: dict[str, object]) -> tuple[ClaimData, pl.DataFrame]:
        raise FleetError(Problem("no_sites", "no site is left that can run", file="sites.csv"))

    verified = verify_packet(packet, fails)
    assert not verified.holds and "no site is left" in verified.differing[0]


@pytest.mark.parametrize(
    "text", ["", "[]", "{}", '{"totals": {}, "tables": {"days": 1}, "versions": {}}', "[" * 100_000]
)
def test_a_claim_that_is_none_is_said(own_packet: Path, text: str) -> None:
    (own_packet / "data" / "claim.json").write_text(text)
    seal(own_packet, info(own_packet))
    verified = verify_packet(own_packet, never)
    assert len(verified.differing) == 1 and "claim.json" in verified.differing[0]


def test_no_packet_at_all(tmp_path: Path) -> None:
    assert not verify_packet(tmp_path, never).holds
    assert not verify_packet(tmp_path / "absent", never).holds
