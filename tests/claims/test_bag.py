"""The bag, held against the Library of Congress's own reader of BagIt (package bagit), and against every small change."""

from __future__ import annotations

import hashlib
import subprocess
from pathlib import Path

import bagit
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pumpledger.claims.bag import MANIFEST, TAG_MANIFEST, faults, seal


def files(folder: Path) -> list[str]:
    return sorted(path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file())


def test_an_independent_reader_finds_it_whole(packet: Path) -> None:
    bag = bagit.Bag(str(packet))
    bag.validate()
    assert bag.version == "1.0"
    assert bag.info["Bagging-Date"] == "2026-11-22"
    assert faults(packet) == []


def test_sha256sum_checks_it_too(packet: Path) -> None:
    for manifest in (MANIFEST, TAG_MANIFEST):
        subprocess.run(["sha256sum", "--check", "--strict", "--quiet", manifest], cwd=packet, check=True)


def test_any_changed_file_is_named(own_packet: Path) -> None:
    for name in files(own_packet):
        path = own_packet / name
        held = path.read_bytes()
        path.write_bytes(held[:-1] + bytes([held[-1] ^ 1]))
        assert any(name in fault for fault in faults(own_packet)), name
        path.write_bytes(held)
    assert faults(own_packet) == []


def test_any_removed_or_added_file_is_named(own_packet: Path) -> None:
    for name in files(own_packet):
        path = own_packet / name
        held = path.read_bytes()
        path.unlink()
        assert any(name in fault for fault in faults(own_packet)), name
        path.write_bytes(held)
    for name in ("data/extra.csv", "extra.txt", "data/clean/.hidden"):
        (own_packet / name).write_bytes(b"")
        assert faults(own_packet) == [f"{name} was added: no manifest names it."]
        (own_packet / name).unlink()


@given(st.data())
@settings(max_examples=60, deadline=None)
def test_any_changed_digit_of_the_data_is_named(packet: Path, data: st.DataObject) -> None:
    name = data.draw(st.sampled_from([name for name in files(packet) if name.endswith((".csv", ".json"))]))
    held = (packet / name).read_bytes()
    places = [at for at, byte in enumerate(held) if chr(byte).isdigit()]
    if not places:
        return
    at = data.draw(st.sampled_from(places))
    other = data.draw(st.sampled_from([digit for digit in b"0123456789" if digit != held[at]]))
    try:
        (packet / name).write_bytes(held[:at] + bytes([other]) + held[at + 1 :])
        assert faults(packet) == [f"{name} was changed."]
    finally:
        (packet / name).write_bytes(held)


@pytest.mark.parametrize("path", ["../outside", "/etc/hostname", "data/../../outside", "data//a", "data\\..\\a"])
def test_a_manifest_reaches_no_file_outside(own_packet: Path, path: str) -> None:
    line = f"{'0' * 64}  {path}\n"
    (own_packet / MANIFEST).write_text((own_packet / MANIFEST).read_text() + line)
    assert any("names no file of the packet" in fault for fault in faults(own_packet))


def test_links_are_no_files(own_packet: Path) -> None:
    target = own_packet / "data" / "claim.json"
    held = target.read_bytes()
    target.unlink()
    (own_packet.parent / "elsewhere").write_bytes(held)
    target.symlink_to(own_packet.parent / "elsewhere")
    assert any("data/claim.json" in fault for fault in faults(own_packet))


def test_odd_names_are_written_as_the_standard_says(tmp_path: Path) -> None:
    """RFC 8493, section 2.1.3: line feed, carriage return and percent sign are percent-encoded."""
    folder = tmp_path / "bag" / "data"
    folder.mkdir(parents=True)
    for name in ("a\nb", "100%", "100%0A", " lead", "\u00e9t\u00e9"):
        (folder / name).write_bytes(name.encode())
    digest = seal(tmp_path / "bag", {"External-Identifier": "x\ny"})
    assert digest == hashlib.sha256((tmp_path / "bag" / MANIFEST).read_bytes()).hexdigest()
    assert faults(tmp_path / "bag") == []
    assert "data/a%0Ab" in (tmp_path / "bag" / MANIFEST).read_text()
    assert "External-Identifier: x y\n" in (tmp_path / "bag" / "bag-info.txt").read_text()


def test_no_bag_at_all(tmp_path: Path) -> None:
    assert any("no packet" in fault for fault in faults(tmp_path))
