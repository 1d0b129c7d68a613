"""Packets of one claim: which stands, which came before, and what a run that was stopped leaves."""

from __future__ import annotations

from pathlib import Path

import pytest

from pumpledger.claims.packets_kept import FIELDS, FILE, keep_packet
from pumpledger.problems import FleetError
from pumpledger.register.csv_log import read_log


def made(folder: Path, text: str) -> Path:
    packet = folder / ".made"
    packet.mkdir(parents=True)
    (packet / "manifest.txt").write_text(text, encoding="utf-8")
    return packet


def standing(folder: Path, name: str = "packet") -> str:
    return (folder / name / "manifest.txt").read_text(encoding="utf-8")


def numbers(folder: Path) -> list[tuple[object, object]]:
    return [(line["number"], line["manifest_sha256"]) for line in read_log(folder / FILE, FIELDS)]


def test_another_packet_takes_the_next_number_and_the_one_before_is_kept(tmp_path: Path) -> None:
    kept = [keep_packet(tmp_path, made(tmp_path, text), text * 64, "READY", 1.5) for text in ("a", "a", "b", "b", "a")]
    assert kept == [1, 1, 2, 2, 3]
    assert (standing(tmp_path), standing(tmp_path, "superseded/1"), standing(tmp_path, "superseded/2")) == (
        "a",
        "a",
        "b",
    )
    assert numbers(tmp_path) == [(1, "a" * 64), (2, "b" * 64), (3, "a" * 64)]


def test_the_same_packet_made_again_mends_one_that_was_changed(tmp_path: Path) -> None:
    keep_packet(tmp_path, made(tmp_path, "a"), "a" * 64, "READY", None)
    (tmp_path / "packet" / "manifest.txt").write_text("changed", encoding="utf-8")
    assert keep_packet(tmp_path, made(tmp_path, "a"), "a" * 64, "READY", None) == 1
    assert standing(tmp_path) == "a" and not (tmp_path / "superseded").exists()


def test_a_run_stopped_before_its_line_loses_no_packet(tmp_path: Path) -> None:
    keep_packet(tmp_path, made(tmp_path, "a"), "a" * 64, "READY", 1.0)
    log = (tmp_path / FILE).read_bytes()
    keep_packet(tmp_path, made(tmp_path, "b"), "b" * 64, "READY", 2.0)
    (tmp_path / FILE).write_bytes(log)  # stopped between the packet and its line
    assert keep_packet(tmp_path, made(tmp_path, "b"), "b" * 64, "READY", 2.0) == 2
    assert (standing(tmp_path), standing(tmp_path, "superseded/1")) == ("b", "a")
    assert numbers(tmp_path) == [(1, "a" * 64), (2, "b" * 64)]


def test_a_log_that_does_not_hold_is_told(tmp_path: Path) -> None:
    (tmp_path / FILE).write_text("number,manifest_sha256,verdict,raw_kwh\nfirst,x,READY,\n", encoding="utf-8")
    with pytest.raises(FleetError, match="number"):
        keep_packet(tmp_path, made(tmp_path, "a"), "a" * 64, "READY", None)
