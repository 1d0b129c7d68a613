"""Exports in gzip, zstandard and zip: the same bytes come out, and a broken carrier never looks like a short export.

Outside checks: the gzip, bz2, lzma, tarfile and zipfile modules of Python and DuckDB's writer pack, the code under test
unpacks. Multi-member gzip is RFC 1952 section 2.2; zstandard's frames and skippable frames are RFC 8878 section 3.1.
"""

from __future__ import annotations

import bz2
import gzip
import io
import lzma
import os
import pickle
import random
import tarfile
import tracemalloc
from pathlib import Path

import duckdb
import pyarrow
import pytest
from carrier_files import BODY, PACKERS, outcome, outcomes, put, zipped, zstd
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from pumpledger.intake.bounded import CHUNK, BoundedStream, Limits
from pumpledger.intake.carriers import contents, members
from pumpledger.intake.unreadable import Unreadable

MIB = 1 << 20


@pytest.mark.parametrize("ending", ["csv", *PACKERS])
@given(data=st.binary(max_size=4000), times=st.sampled_from([0, 1, 700]))
@example(data=b"", times=0)
@settings(max_examples=24, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_bytes_come_out_as_they_went_in(tmp_path, ending, data, times) -> None:
    # The first line keeps bytes from passing for another kind of file, as any text does.
    data = b"t,n\n" + data * times
    path = put(tmp_path, f"any.{ending}", PACKERS.get(ending, bytes)(data))
    (member,) = members(path)
    assert outcome(member) == data
    with member.open() as stream:
        assert b"".join(iter(stream.readline, b"")) == data


def test_what_duckdb_packs_is_read(tmp_path) -> None:
    query = "(select i as n, sin(i) as s from range(300000) r(i))"
    with duckdb.connect() as connection:
        for codec in ("uncompressed", "gzip", "zstd"):
            connection.execute(f"copy {query} to '{tmp_path / codec}' (format csv, compression {codec})")
    plain = (tmp_path / "uncompressed").read_bytes()
    assert [outcome(members(tmp_path / codec)[0]) == plain for codec in ("gzip", "zstd")] == [True, True]


@pytest.mark.parametrize(
    "data",
    [
        gzip.compress(BODY) + gzip.compress(BODY),
        zstd(BODY) + zstd(BODY),
        b"\x50\x2a\x4d\x18" + (4).to_bytes(4, "little") + b"skip" + zstd(BODY + BODY),
        gzip.compress(b"") + gzip.compress(BODY + BODY),
    ],
    ids=["gzip members", "zstd frames", "zstd skippable frame", "empty gzip member"],
)
def test_a_chain_of_packed_parts_is_one_export(tmp_path, data) -> None:
    assert outcomes(put(tmp_path, "x", data)) == {"x": BODY + BODY}


@pytest.mark.parametrize(
    ("name", "data", "shown", "inner", "packed"),
    [
        ("a.csv", BODY, "a.csv", "a.csv", False),
        ("a.csv.gz", gzip.compress(BODY), "a.csv.gz", "a.csv", True),
        ("a.csv.ZST", zstd(BODY), "a.csv.ZST", "a.csv", True),
        ("a.csv.gz", BODY, "a.csv.gz", "a.csv", False),
        ("a.csv", gzip.compress(BODY), "a.csv", "a.csv", True),
        ("a.csv.gz", zstd(BODY), "a.csv.gz", "a.csv", True),
        ("a.csv.zip", BODY, "a.csv.zip", "a.csv", False),
        ("a.csv", zipped(("b.csv", BODY)), "a.csv/b.csv", "b.csv", True),
        ("w.zip", zipped(("north/b.csv", BODY)), "w.zip/north/b.csv", "b.csv", True),
        (".gz", BODY, ".gz", ".gz", False),
        ("a\x1b[2Jb\u202e.csv", BODY, "a\ufffd[2Jb\ufffd.csv", "a\ufffd[2Jb\ufffd.csv", False),
    ],
)
def test_a_file_is_read_by_what_it_is_not_by_its_ending(tmp_path, name, data, shown, inner, packed) -> None:
    (member,) = members(put(tmp_path, name, data))
    assert (member.name, member.inner, member.packed) == (shown, inner, packed)
    assert outcome(member) == BODY


@pytest.mark.parametrize("ending", PACKERS)
def test_a_file_cut_at_any_byte_is_never_a_shorter_export(tmp_path, ending) -> None:
    whole = PACKERS[ending](BODY)
    for length in range(4, len(whole)):
        found = outcomes(put(tmp_path, "x", whole[:length]))
        assert found in ("export_cut_short", {"x": "export_cut_short"}), length


@pytest.mark.parametrize(("ending", "payload"), [("gz", (10, 0)), ("zip", (35, 73))])
def test_a_flipped_bit_is_found_by_the_checksum(tmp_path, ending, payload) -> None:
    """The right bytes may come out only where deflate's data ends: in its end mark, and in bits that mean nothing."""
    whole = PACKERS[ending](BODY)
    unharmed = 0
    for at in range(payload[0], len(whole) - payload[1]):
        broken = bytearray(whole)
        broken[at] ^= 0x10
        found = outcomes(put(tmp_path, "x", bytes(broken)))
        (result,) = found.values() if isinstance(found, dict) else ("",)
        assert result in ("export_damaged", "export_cut_short", BODY), at
        unharmed += result == BODY
    assert unharmed <= 2


def test_what_follows_the_packed_bytes_is_not_dropped_in_silence(tmp_path) -> None:
    assert outcomes(put(tmp_path, "x", gzip.compress(BODY) + b"and more")) == {"x": "export_damaged"}
    assert outcomes(put(tmp_path, "x", zstd(BODY) + b"and more")) == {"x": "export_damaged"}


def test_a_fault_stays_when_reading_goes_on(tmp_path) -> None:
    body = random.Random(1).randbytes(4 * MIB)
    (member,) = members(put(tmp_path, "x.gz", gzip.compress(body, 1)[:-1000]))
    with member.open() as stream:
        assert stream.read(MIB) == body[:MIB]
        for _ in range(3):
            with pytest.raises(Unreadable) as raised:
                while stream.read(MIB):
                    pass
            assert str(raised.value) == (
                "x.gz: ends before its compressed data does: the file was cut short; copy it again"
            )


def test_a_wrong_checksum_is_not_forgotten_after_it_was_told(tmp_path) -> None:
    """The decoder itself says "wrong" once, and "end of file" from then on."""
    body = random.Random(2).randbytes(3 * MIB)
    archive = bytearray(zipped(("a.csv", body), method=0))
    archive[2 * MIB] ^= 1
    (member,) = members(put(tmp_path, "w.zip", bytes(archive)))
    with member.open() as stream:
        for _ in range(3):
            with pytest.raises(Unreadable, match="damaged"):
                while stream.read(MIB):
                    pass


@pytest.mark.parametrize("pack", [gzip.compress, zstd, lambda data: zipped(("z.csv", data))], ids=PACKERS)
@pytest.mark.parametrize(
    "limits",
    [Limits(member_bytes=2 * MIB), Limits(ratio=100, ratio_from_bytes=2 * MIB), Limits(archive_bytes=2 * MIB)],
    ids=["member", "ratio", "archive"],
)
def test_ten_million_zeros_stop_at_the_limit(tmp_path, pack, limits) -> None:
    path = put(tmp_path, "bomb", pack(bytes(10_000_000)))
    if pack in (gzip.compress, zstd) and limits.archive_bytes == 2 * MIB:
        assert outcomes(path, limits=limits) == {"bomb": bytes(10_000_000)}, "no archive"
        return
    got = 0
    with pytest.raises(Unreadable) as raised, members(path, limits)[0].open() as stream:
        while part := stream.read(CHUNK):
            got += len(part)
    assert raised.value.problem.name == "export_too_large"
    assert got <= 2 * MIB + CHUNK
    assert "unpacks to more than" in str(raised.value)


def test_a_plain_file_has_no_limit(tmp_path) -> None:
    assert outcomes(put(tmp_path, "x", BODY), limits=Limits(1, 1, 1, 1, 1, 1)) == {"x": BODY}


@pytest.mark.parametrize("ending", PACKERS)
def test_memory_stays_the_same_however_long_the_export(tmp_path, ending) -> None:
    """Python's own allocations and Arrow's; 64 MiB unpack through a few."""
    path = put(tmp_path, "x", PACKERS[ending](BODY * (64 * MIB // len(BODY))))
    pool = pyarrow.default_memory_pool()
    before, seen = pool.bytes_allocated(), 0
    tracemalloc.start()
    with members(path)[0].open() as stream:
        count = 0
        while part := stream.read(CHUNK):
            count += len(part)
            seen = max(seen, pool.bytes_allocated() - before)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert count == len(BODY) * (64 * MIB // len(BODY))
    assert peak < 6 * MIB
    assert seen < 4 * MIB


def _tar(data: bytes) -> bytes:
    sink = io.BytesIO()
    with tarfile.open(fileobj=sink, mode="w") as archive:
        info = tarfile.TarInfo("a.csv")
        info.size = len(data)
        archive.addfile(info, io.BytesIO(data))
    return sink.getvalue()


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (bz2.compress(BODY), "compressed by bzip2"),
        (lzma.compress(BODY), "compressed by xz"),
        (_tar(BODY), "a tar archive"),
        (gzip.compress(_tar(BODY)), "a tar archive"),
        (gzip.compress(gzip.compress(BODY)), "packed once more"),
        (zstd(zipped(("a.csv", BODY))), "packed once more"),
        (b"%PDF-1.7\n", "a PDF"),
        (zipped(("[Content_Types].xml", b"<x/>"), ("xl/workbook.xml", b"<x/>")), "an office document"),
        (zipped(("mimetype", b"x"), ("META-INF/manifest.xml", b"<x/>")), "an office document"),
    ],
)
def test_other_kinds_are_named(tmp_path, data, words) -> None:
    with pytest.raises(Unreadable, match=words), members(put(tmp_path, "x.csv", data))[0].open() as stream:
        stream.read()


@pytest.mark.parametrize(
    "text", [b"BZh9,n\n1,2\n", b"P*M\n", b"PK,n\n1,2\n", b"\xff\xfet\x00,\x00n\x00\n\x00", b"PAR1"]
)
def test_text_that_begins_almost_like_something_packed_is_text(tmp_path, text) -> None:
    assert outcomes(put(tmp_path, "x", text)) == {"x": text}


def test_what_the_operating_system_refuses_is_a_sentence(tmp_path, monkeypatch) -> None:
    assert outcomes(tmp_path) == "export_unreadable"
    assert outcomes(tmp_path / "never there") == "export_unreadable"
    os.mkfifo(tmp_path / "pipe")
    assert outcomes(tmp_path / "pipe") == "export_unreadable"
    (tmp_path / "round").symlink_to("round")
    assert outcomes(tmp_path / "round") == "export_unreadable"
    for name, data in (("a", BODY), ("b", gzip.compress(BODY)), ("c", zipped(("c.csv", BODY)))):
        path = put(tmp_path, name, data)
        (member,) = members(path)
        path.unlink()
        with pytest.raises(
            Unreadable, match="cannot be read .No such file or directory.; copy it into the inbox again"
        ):
            member.open()

    def forbidden(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    put(tmp_path, "a", BODY)
    monkeypatch.setattr(Path, "open", forbidden)
    with pytest.raises(Unreadable, match="Permission denied"):
        members(tmp_path / "a")


def test_a_disk_that_fails_in_the_middle_is_a_sentence(tmp_path, monkeypatch) -> None:
    class Failing(io.FileIO):
        def read(self, *_: object) -> bytes:
            raise OSError(5, "Input/output error")

        readinto = read

    opened = Path.open
    for name, data in (("a", BODY), ("b.gz", gzip.compress(BODY))):
        (member,) = members(put(tmp_path, name, data))
        monkeypatch.setattr(Path, "open", lambda path, *_, **__: Failing(path))
        with pytest.raises(Unreadable, match="Input/output error"):
            member.open().read()
        monkeypatch.setattr(Path, "open", opened)


def test_a_window_past_bounded_memory_is_refused(tmp_path) -> None:
    # RFC 8878 3.1.1.1.2: exponent 31 - 10 = 21 in the upper five bits asks for 2 GiB. Then an empty last raw block.
    frame = b"\x28\xb5\x2f\xfd" + bytes([0, 21 << 3]) + b"\x01\x00\x00"
    with pytest.raises(Unreadable, match="window too long"):
        members(put(tmp_path, "x.zst", frame))[0].open()


def test_members_can_be_sent_to_another_process(tmp_path) -> None:
    path = put(tmp_path, "w.zip", zipped(("a.csv", BODY), ("b.csv", BODY[:9])))
    assert [outcome(pickle.loads(pickle.dumps(member))) for member in members(path)] == [BODY, BODY[:9]]


def test_open_streams_close_their_files(tmp_path) -> None:
    for ending, pack in {"csv": bytes, **PACKERS}.items():
        (member,) = members(put(tmp_path, f"x.{ending}", pack(BODY)))
        before = len(os.listdir("/proc/self/fd")) if Path("/proc/self/fd").exists() else None
        for _ in range(3):
            with member.open() as stream:
                stream.read(5)
                assert isinstance(stream.raw, BoundedStream)  # type: ignore[attr-defined]
            assert stream.closed
        if before is not None:
            assert len(os.listdir("/proc/self/fd")) == before
    (member,) = members(put(tmp_path, "x.gz", gzip.compress(gzip.compress(BODY))))
    before = len(os.listdir("/proc/self/fd")) if Path("/proc/self/fd").exists() else None
    with pytest.raises(Unreadable) as raised:
        member.open()
    # The error at hand holds on to the frames, so that only a stream that was closed has let go of its file.
    assert raised.value.problem.name == "archive_entry"
    if before is not None:
        assert len(os.listdir("/proc/self/fd")) == before


def test_mangled_carriers_end_in_bytes_or_a_sentence(tmp_path) -> None:
    """1500 seeded mutations: nothing but Unreadable is raised, and what has a checksum is right or refused."""
    rng = random.Random(20261026)
    seeds = [pack(BODY) for pack in PACKERS.values()]
    seeds.append(zipped(("a/one.csv", BODY), ("tw\u00f6.csv", BODY), ("d/", b""), ("three.csv", BODY), method=0))
    seen: set[str] = set()
    for _ in range(1500):
        seed = rng.choice(seeds)
        data = bytearray(seed)
        for _ in range(rng.choice((1, 1, 2, 8))):
            at = rng.randrange(len(data))
            change = rng.randrange(4)
            if change == 0:
                data[at] = rng.randrange(256)
            elif change == 1:
                del data[at : at + rng.randrange(1, 40)]
                data = data or bytearray(b"x")
            elif change == 2:
                data[at:at] = rng.randbytes(rng.randrange(1, 20))
            else:
                data[at : at + 4] = rng.choice((b"\xff" * 4, bytes(4)))
        path = put(tmp_path, "x", bytes(data))
        found = outcomes(path)
        if isinstance(found, str):
            seen.add(found)
            continue
        checked = contents(path).members[0].kind in ("gzip", "zip")
        for result in found.values():
            assert not checked or isinstance(result, str) or result == BODY
            seen.add(result if isinstance(result, str) else "read")
    assert {"read", "export_damaged", "export_cut_short", "archive_damaged"} <= seen
