"""Zip archives: every entry is an export, is left out by name, or is refused by name, and the others are read.

The archives are written by Python's zipfile module; hostile ones are then patched by hand. The overlapping kinds are
those of D. Fifield, "A better zip bomb" (WOOT 2019) [from memory]: one packed block, listed many times, and headers
that lie inside the data of the entry before.
"""

from __future__ import annotations

import gzip
import io
import random
import struct
import time
import zipfile
import zlib

import pytest
from carrier_files import BODY, outcome, outcomes, patched, put, zipped
from hypothesis import given
from hypothesis import strategies as st

from pumpledger.intake.bounded import Limits
from pumpledger.intake.carriers import contents, members
from pumpledger.intake.shown_names import clean_parts, unique
from pumpledger.intake.unreadable import Unreadable

GOOD = ("good.csv", BODY)


def test_every_entry_of_an_archive_is_a_member_in_order(tmp_path) -> None:
    archive = zipped(("north/", b""), ("north/b.csv", BODY), ("south/b.csv", b"t\n"), ("a.csv", b""))
    found = members(put(tmp_path, "week.zip", archive))
    assert [(member.name, member.inner, outcome(member)) for member in found] == [
        ("week.zip/north/b.csv", "b.csv", BODY),
        ("week.zip/south/b.csv", "b.csv", b"t\n"),
        ("week.zip/a.csv", "a.csv", b""),
    ]


def test_folders_and_what_systems_add_are_left_out_by_name(tmp_path) -> None:
    archive = zipped(
        ("logs/", b""), GOOD, ("__MACOSX/._good.csv", b"x"), ("logs/.DS_Store", b"x"), ("Thumbs.db", b"x"), ("w\\", b"")
    )
    found = contents(put(tmp_path, "w.zip", archive))
    assert [member.name for member in found.members] == ["w.zip/good.csv"]
    assert found.skipped == (
        "w.zip/logs",
        "w.zip/__MACOSX/._good.csv",
        "w.zip/logs/.DS_Store",
        "w.zip/Thumbs.db",
        "w.zip/w",
    )


def test_a_folder_that_holds_bytes_is_not_left_out(tmp_path) -> None:
    archive = zipped(("a.csv", BODY)).replace(b"a.csv", b"a.cs/")
    assert outcomes(put(tmp_path, "w.zip", archive)) == {"w.zip/a.cs": BODY}


def test_an_archive_of_nothing_is_not_lost_in_silence(tmp_path) -> None:
    for archive in (zipped(), zipped(("logs/", b""), (".DS_Store", b"x"))):
        assert outcomes(put(tmp_path, "w.zip", archive)) == "archive_entries"


def _link() -> zipfile.ZipInfo:
    info = zipfile.ZipInfo("bad.csv")
    info.create_system, info.external_attr = 3, 0o120777 << 16
    return info


@pytest.mark.parametrize(
    ("archive", "words"),
    [
        (patched(zipped(("bad.csv", BODY), GOOD), "bad.csv", "flags", 0x1), "is locked with a password"),
        (patched(zipped(("bad.csv", BODY), GOOD), "bad.csv", "method", 9), "compressed by deflate64"),
        (patched(zipped(("bad.csv", BODY), GOOD), "bad.csv", "method", 77), "compressed by method 77"),
        (patched(zipped(("bad.csv", BODY), GOOD), "bad.csv", "method", 77, local=False), "compressed by method 77"),
        (zipped(("bad.csv", zipped(GOOD)), GOOD), "packed once more"),
        (zipped(("bad.csv", gzip.compress(BODY)), GOOD), "packed once more"),
        (zipped((_link(), b"/etc/hostname"), GOOD), "is a link"),
        (zipped(("/../" + "n" * 300 + "bad.csv", BODY), GOOD), "name of more than 255 characters"),
    ],
    ids=["password", "deflate64", "unknown", "directory only", "zip", "gz", "link", "long name"],
)
def test_a_refused_entry_takes_no_other_with_it(tmp_path, archive, words) -> None:
    bad, good = members(put(tmp_path, "w.zip", archive))
    assert outcome(good) == BODY
    with pytest.raises(Unreadable, match=words) as raised:
        bad.open()
    assert raised.value.problem.name == "archive_entry"
    assert raised.value.problem.file == bad.name and bad.name.startswith("w.zip/") and len(bad.name) < 140


@pytest.mark.parametrize("method", [zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA])
def test_packings_that_cannot_be_held_to_a_buffer_are_refused(tmp_path, method) -> None:
    assert outcomes(put(tmp_path, "w.zip", zipped(GOOD, method=method))) == {"w.zip/good.csv": "archive_entry"}


@pytest.mark.parametrize(
    ("written", "shown"),
    [
        ("../../x.csv", "w.zip/x.csv"),
        ("/abs/x.csv", "w.zip/abs/x.csv"),
        ("C:\\logs\\x.csv", "w.zip/logs/x.csv"),
        ("c:x.csv", "w.zip/x.csv"),
        ("C:../x.csv", "w.zip/x.csv"),
        ("\\\\host\\share\\x.csv", "w.zip/host/share/x.csv"),
        ("a/./b//x.csv", "w.zip/a/b/x.csv"),
        ("x\x1b]0;y\x07.csv", "w.zip/x\ufffd]0;y\ufffd.csv"),
        ("x\n.csv", "w.zip/x\ufffd.csv"),
        ("x\u202evsc.csv", "w.zip/x\ufffdvsc.csv"),
        ("no\u0308rd.csv", "w.zip/n\u00f6rd.csv"),
        ("..", "w.zip/entry 1"),
        (" ", "w.zip/entry 1"),
        ("C:", "w.zip/entry 1"),
    ],
)
def test_names_are_shown_without_ways_out_of_a_folder(tmp_path, written, shown) -> None:
    (member,) = members(put(tmp_path, "w.zip", zipped((written, BODY))))
    assert member.name == shown
    assert outcome(member) == (BODY if member.inner else "archive_entry")


@given(st.text(max_size=60))
def test_parts_of_any_name_are_clean(name) -> None:
    parts = clean_parts(name)
    assert all(part not in ("", ".", "..") and not set(part) & set("/\\") for part in parts)
    marks = set("".join(parts))
    assert not any(ord(mark) < 32 or 0x7F <= ord(mark) < 0xA0 for mark in marks)
    assert not marks & set("\u2028\u2029\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\u200e\u200f\ufeff")
    assert clean_parts("/".join(parts)) == parts


@given(st.lists(st.sampled_from(["a", "a (2)", "a (3)", "b"]), max_size=12))
def test_names_given_twice_stay_apart(names) -> None:
    taken: dict[str, int] = {}
    shown = [unique(name, taken) for name in names]
    assert len(set(shown)) == len(names)
    assert all(after.startswith(before) for before, after in zip(names, shown, strict=True))


@pytest.mark.filterwarnings("ignore:Duplicate name")
def test_the_same_name_twice_is_two_exports(tmp_path) -> None:
    archive = zipped(("a.csv", BODY), ("a.csv", b"t\n"), ("x/../a.csv", b"u\n"))
    assert outcomes(put(tmp_path, "w.zip", archive)) == {
        "w.zip/a.csv": BODY,
        "w.zip/a.csv (2)": b"t\n",
        "w.zip/x/a.csv": b"u\n",
    }
    assert {member.inner for member in members(tmp_path / "w.zip")} == {"a.csv"}


def test_names_that_are_not_utf8(tmp_path) -> None:
    # Latin-1 bytes, undeclared: zip's default is code page 437. UTF-8 bytes, undeclared: read as what they are.
    latin = zipped(("nXrd.csv", BODY)).replace(b"nXrd", b"n\xf6rd")
    assert outcomes(put(tmp_path, "w.zip", latin)) == {"w.zip/n\u00f7rd.csv": BODY}
    silent = zipped(("nXXrd.csv", BODY)).replace(b"nXXrd", "n\u00f6rd".encode())
    assert outcomes(put(tmp_path, "w.zip", silent)) == {"w.zip/n\u00f6rd.csv": BODY}
    # Declared as UTF-8 and not so: the directory is damaged.
    assert outcomes(put(tmp_path, "w.zip", zipped(("n\u00f6rd.csv", BODY)).replace(b"\xc3\xb6", b"\xc3\xc3"))) == (
        "archive_damaged"
    )


def test_ten_thousand_and_one_names_are_too_many(tmp_path) -> None:
    many = put(tmp_path, "w.zip", zipped(*((f"{number}.csv", b"") for number in range(10_001))))
    start = time.perf_counter()
    assert outcomes(many) == "archive_entries"
    assert time.perf_counter() - start < 5
    assert len(members(many, Limits(members=10_001))) == 10_001


def test_endless_names_are_refused_before_they_are_read(tmp_path) -> None:
    archive = zipped(*(("n" * 60_000 + str(number), b"") for number in range(80)))
    assert outcomes(put(tmp_path, "w.zip", archive)) == "archive_entries"


def _listed_again(archive: bytes, times: int) -> bytes:
    """An archive of one entry whose record stands ``times`` times in the directory."""
    end = archive.rindex(b"PK\x05\x06")
    start = struct.unpack_from("<I", archive, end + 16)[0]
    records = archive[start:end] * times
    tail = struct.pack("<4s4H2IH", b"PK\x05\x06", 0, 0, times, times, len(records), start, 0)
    return archive[:start] + records + tail


def _quoted(kernel: bytes) -> bytes:
    """Two entries, the first of which quotes the second's header as a stored block and runs on into its data.

    Deflate's stored block: RFC 1951 section 3.2.4.
    """
    packer = zlib.compressobj(9, zlib.DEFLATED, -15)
    data = packer.compress(kernel) + packer.flush()

    def local(name: bytes, packed: int, size: int, crc: int) -> bytes:
        return struct.pack("<4s5H3L2H", b"PK\x03\x04", 20, 0, 8, 0, 33, crc, packed, size, len(name), 0) + name

    def record(name: bytes, packed: int, size: int, crc: int, at: int) -> bytes:
        head = (b"PK\x01\x02", 20, 20, 0, 8, 0, 33, crc, packed, size, len(name), 0, 0, 0, 0, 0, at)
        return struct.pack("<4s6H3L5H2L", *head) + name

    second = local(b"b.csv", len(data), len(kernel), zlib.crc32(kernel))
    quote = b"\x00" + struct.pack("<HH", len(second), len(second) ^ 0xFFFF) + second
    first_size, first_crc = len(second) + len(kernel), zlib.crc32(second + kernel)
    first = local(b"a.csv", len(quote) + len(data), first_size, first_crc)
    body = first + quote + data
    listing = record(b"a.csv", len(quote) + len(data), first_size, first_crc, 0)
    listing += record(b"b.csv", len(data), len(kernel), zlib.crc32(kernel), len(first) + len(quote) - len(second))
    return body + listing + struct.pack("<4s4H2IH", b"PK\x05\x06", 0, 0, 2, 2, len(listing), len(body), 0)


@pytest.mark.parametrize("archive", [_listed_again(zipped(GOOD), 50), _quoted(BODY * 40)], ids=["same block", "quoted"])
def test_entries_that_lie_over_one_another_are_refused(tmp_path, archive) -> None:
    with pytest.raises(Unreadable, match="lie over one another"):
        members(put(tmp_path, "w.zip", archive))


def test_declared_sizes_hold_or_the_entry_is_damaged(tmp_path) -> None:
    big = bytes(5_000_000)
    told_small = patched(zipped(("a.csv", big), GOOD), "a.csv", "size", 1000)
    assert outcomes(put(tmp_path, "w.zip", told_small)) == {"w.zip/a.csv": "export_damaged", "w.zip/good.csv": BODY}
    told_big = patched(zipped(("a.csv", b"t\n"), GOOD), "a.csv", "size", 900)
    assert outcomes(put(tmp_path, "w.zip", told_big)) == {"w.zip/a.csv": "export_cut_short", "w.zip/good.csv": BODY}


def test_an_entry_that_is_not_what_the_directory_says_is_damaged(tmp_path) -> None:
    archive = zipped(GOOD, ("other.csv", BODY))
    second = archive.index(b"PK\x03\x04", 4)
    for at, change in ((second, b"PK\x03\x05"), (second + 30, b"0"), (second + 8, b"\x00")):
        broken = archive[:at] + change + archive[at + len(change) :]
        found = outcomes(put(tmp_path, "w.zip", broken))
        assert found == {"w.zip/good.csv": BODY, "w.zip/other.csv": "export_damaged"}, change


def test_limits_of_one_entry_and_of_all(tmp_path) -> None:
    archive = put(tmp_path, "w.zip", zipped(("a.csv", BODY * 3), GOOD, ("c.csv", BODY)))
    size = len(BODY)
    assert outcomes(archive, limits=Limits(member_bytes=3 * size - 1)) == {
        "w.zip/a.csv": "export_too_large",
        "w.zip/good.csv": BODY,
        "w.zip/c.csv": BODY,
    }
    known = [member.fault for member in members(archive, Limits(member_bytes=3 * size - 1))]
    assert [fault.name if fault else None for fault in known] == ["export_too_large", None, None]
    assert outcomes(archive, limits=Limits(member_bytes=3 * size, archive_bytes=5 * size)) == {
        "w.zip/a.csv": BODY * 3,
        "w.zip/good.csv": BODY,
        "w.zip/c.csv": BODY,
    }
    assert outcomes(archive, limits=Limits(archive_bytes=5 * size - 1)) == "export_too_large"
    assert outcomes(archive, limits=Limits(ratio=2, ratio_from_bytes=size)) == "export_too_large"


def test_many_small_bombs_are_one_bomb(tmp_path) -> None:
    archive = put(tmp_path, "w.zip", zipped(*((f"{number}.csv", bytes(100_000)) for number in range(40))))
    limits = Limits(ratio=100, ratio_from_bytes=1_000_000)
    assert outcomes(archive, limits=limits) == "export_too_large"


def test_an_archive_replaced_after_it_was_listed_is_damaged(tmp_path) -> None:
    path = put(tmp_path, "w.zip", zipped(("a.csv", BODY), ("b.csv", BODY)))
    _, second = members(path)
    put(tmp_path, "w.zip", zipped(("other.csv", random.Random(3).randbytes(4000))))
    assert outcome(second) == "export_damaged"


def test_large_archive_records_and_a_written_stream_are_read(tmp_path) -> None:
    """Zip64 records, data descriptors (a packer that cannot seek back), the longest comment."""

    class Forward(io.BytesIO):
        def seekable(self) -> bool:
            return False

        def seek(self, *_: object) -> int:
            raise OSError("forward only")

        def tell(self) -> int:
            raise OSError("forward only")

    sink = Forward()
    with zipfile.ZipFile(sink, "w", zipfile.ZIP_DEFLATED) as archive:
        with archive.open("a.csv", "w", force_zip64=True) as entry:
            entry.write(BODY)
        archive.comment = b"c" * 0xFFFF
    assert outcomes(put(tmp_path, "w.zip", sink.getvalue())) == {"w.zip/a.csv": BODY}
