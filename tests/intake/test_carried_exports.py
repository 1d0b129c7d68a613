"""The same export in every carrier and encoding gives the same readings; what is bad in an archive costs itself."""

from __future__ import annotations

import gzip
from pathlib import Path

import polars as pl
import pytest
from carrier_files import patched, zipped, zstd
from intake_fleet import COUNTERS, EVENTS, MEANS, SAMPLES, Fleet

from pumpledger.intake import inbox

ROWS = "".join(
    f"2026-10-26T07:{minute:02d}:00Z,P-LA,{1500 + minute},21{minute % 10}.5,{minute % 2}\n" for minute in range(12)
)
TEXT = SAMPLES + ROWS + "2026-10-26T08:00:00Z,P-XX,1500,200,1\n" + "2026-10-26T08:05:00Z,P-LA,fast,200,1\n"
BY_SOURCE = {
    "five_a.csv": TEXT,
    "one_a.csv": SAMPLES + "2026-10-27T07:00:00Z,P-LA2,1500,210,1\n",
    "means__P-BE.csv": MEANS + "26.10.2026 00:15;1800;0,4125\n",
    "events_a.csv": EVENTS + "2026-10-28T06:00:00-07:00,P-LA,1500,,1,11\n",
    "counters_a.csv": COUNTERS + "1792998000\tP-BE\t1500\t1042.37\t5120.25\n# end\n",
}
CARRIED = {
    "five_a.csv.gz": lambda data: gzip.compress(data),
    "five_a.csv.zst": lambda data: zstd(data),
    "five_a.csv": lambda data: gzip.compress(data),  # told by its bytes, not by its ending
    "week.zip": lambda data: zipped(("plant/five_a.csv", data), ("plant/one_b.csv", SAMPLES.encode())),
}
UNDONE = ("export_id", "line", "fate", "rule", "reason", "raw")


def of_text(fleet: Fleet) -> pl.DataFrame:
    return fleet.readings().filter(pl.col("pump_id") == "P-LA")


@pytest.fixture
def plain(tmp_path: Path) -> Fleet:
    """A fleet that took the export as it is."""
    fleet = Fleet(tmp_path / "plain")
    taken = fleet.take("five_a.csv", TEXT)
    assert (taken["readings"], taken["quarantine"], taken["rejects"]) == (12, 1, 1)
    return fleet


@pytest.mark.parametrize("name", CARRIED)
def test_carriers_give_the_same_readings_of_the_same_export(fleet, plain, name) -> None:
    """Also the same export_id, lines and raw text: what it was carried in leaves no mark."""
    fleet.put(name, CARRIED[name](TEXT.encode()))
    exports = fleet.ingest().exports
    shown = "week.zip/plant/five_a.csv" if name == "week.zip" else name
    row = exports.row(by_predicate=pl.col("file") == shown, named=True)
    assert (row["status"], row["readings"], row["bytes"]) == ("read", 12, len(TEXT))
    assert row["sha256"] != plain.entry("five_a.csv").export["sha256"]  # of the file as it arrived
    assert fleet.readings().equals(plain.readings())
    assert fleet.refused().select(UNDONE).equals(plain.refused().select(UNDONE))


@pytest.mark.parametrize("name", ["five_b.csv.gz", "five_b.csv.zst", "five_b.zip"])
def test_a_packed_copy_of_what_is_held_is_a_repeat(fleet, name) -> None:
    fleet.take("five_a.csv", TEXT)
    before = fleet.readings()
    pack = {"gz": gzip.compress, "st": zstd, "ip": lambda data: zipped(("five_b.csv", data))}[name[-2:]]
    fleet.put(name, pack(TEXT.encode()))
    row = fleet.ingest().exports.rows(named=True)[1]
    assert (row["status"], row["problem"]) == ("repeated", "holds the same content as five_a.csv")
    assert (row["data_rows"], row["duplicates"], row["export_id"]) == (14, 14, fleet.entry("five_a.csv").export_id)
    assert fleet.readings().equals(before)
    assert fleet.ingest().taken == []


def test_plain_packed_and_archived_in_one_run(fleet) -> None:
    fleet.put("five_a.csv", TEXT)
    fleet.put("five_b.csv.gz", gzip.compress(TEXT.encode()))
    fleet.put("five_c.zip", zipped(("five_c.csv", TEXT.encode()), ("again/five_c.csv", TEXT.encode())))
    exports = fleet.ingest().exports
    assert exports.select("file", "status").rows() == [
        ("five_a.csv", "read"),
        ("five_b.csv.gz", "repeated"),
        ("five_c.zip/five_c.csv", "repeated"),
        ("five_c.zip/again/five_c.csv", "repeated"),
    ]
    assert fleet.readings().height == 12


OWN = """
about = "made up: any encoding"
[file]
delimiter = ","
encoding = "{encoding}"
[time]
column = "time_utc"
format = "%Y-%m-%dT%H:%M:%SZ"
zone = "utc"
label = "instant"
interval_s = 60
gap_limit_s = 600
[pump]
column = "pump"
[quantity]
speed = {{ column = "speed_rpm", unit = "rpm" }}
power = {{ column = "power_w", unit = "W" }}
aux = {{ column = "aux", on = ["läuft"], off = ["-"] }}
"""
WORDS = TEXT.replace(",1\n", ",läuft\n").replace(",0\n", ",-\n").replace("fast", "schnell wie möglich")


@pytest.mark.parametrize("line_end", ["\n", "\r\n"])
@pytest.mark.parametrize(
    ("encoding", "written"),
    [
        ("utf-8", WORDS.encode("utf-8")),
        ("utf-8", b"\xef\xbb\xbf" + WORDS.encode("utf-8")),
        ("utf-16", b"\xff\xfe" + WORDS.encode("utf-16-le")),
        ("utf-16", b"\xfe\xff" + WORDS.encode("utf-16-be")),
        ("latin-1", WORDS.encode("latin-1")),
        ("windows-1252", WORDS.encode("cp1252")),
    ],
    ids=["utf-8", "utf-8 with BOM", "utf-16 little", "utf-16 big", "latin-1", "windows-1252"],
)
def test_encodings_give_the_same_readings(fleet, plain, encoding, written, line_end) -> None:
    """As text of any encoding, plain and packed; the reading's line and its refused neighbour's text stay the same."""
    two_bytes = {"utf-16": written[:2]}.get(encoding)
    feed = {None: b"\n", b"\xff\xfe": b"\n\x00", b"\xfe\xff": b"\x00\n"}[two_bytes]
    turn = {None: b"\r\n", b"\xff\xfe": b"\r\x00\n\x00", b"\xfe\xff": b"\x00\r\x00\n"}[two_bytes]
    content = written.replace(feed, turn) if line_end == "\r\n" else written
    fleet.own_dialect(OWN.format(encoding=encoding))
    fleet.put("own_a.csv", content)
    fleet.put("own_b.csv.gz", gzip.compress(content))
    exports = fleet.ingest().exports
    assert exports["status"].to_list() == ["read", "repeated"]
    assert fleet.readings().drop("export_id").equals(plain.readings().drop("export_id"))
    assert fleet.refused().select("line", "rule", "raw").rows() == [
        (14, "pump_not_in_register", "2026-10-26T08:00:00Z,P-XX,1500,200,läuft"),
        (15, "cannot_be_read", "2026-10-26T08:05:00Z,P-LA,schnell wie möglich,200,läuft"),
    ]


def test_an_archive_of_several_sources(fleet, tmp_path) -> None:
    """Each member goes by the source that its own name matches, whatever the archive is called."""
    apart = Fleet(tmp_path / "apart")
    for name, text in BY_SOURCE.items():
        apart.put(name, text)
    apart.ingest()
    fleet.put("delivery.zip", zipped(*((f"plant/{name}", text.encode()) for name, text in BY_SOURCE.items())))
    exports = fleet.ingest().exports
    assert dict(exports.select("file", "source").rows()) == {
        f"delivery.zip/plant/{name}": name.split("_")[0] for name in BY_SOURCE
    }
    assert exports["status"].unique().to_list() == ["read"]
    assert exports["sha256"].n_unique() == 1  # all came in one file
    assert fleet.readings().sort("pump_id", "time_utc").equals(apart.readings().sort("pump_id", "time_utc"))


def test_members_whose_names_match_nothing_go_by_the_name_of_the_archive(fleet) -> None:
    fleet.add_source("plant_*", "samples_5min")
    fleet.put("plant_7.zip", zipped(("log.txt", TEXT.encode()), ("one_x.csv", BY_SOURCE["one_a.csv"].encode())))
    exports = fleet.ingest().exports
    assert exports.select("source", "status").rows() == [("samples_5min+", "read"), ("one", "read")]


BAD = {
    "locked": lambda archive: patched(archive, "one_bad.csv", "flags", 1),
    "unknown packing": lambda archive: patched(archive, "one_bad.csv", "method", 12),
    "wrong length": lambda archive: patched(archive, "one_bad.csv", "size", 7),
    "flipped bit": lambda archive: archive.replace(b"P-LA2,1500", b"P-LA2,1600", 1),
}


@pytest.mark.parametrize("bad", BAD)
def test_a_bad_member_costs_only_itself(fleet, plain, bad) -> None:
    import zipfile

    archive = BAD[bad](
        zipped(
            ("one_bad.csv", BY_SOURCE["one_a.csv"].encode()), ("five_a.csv", TEXT.encode()), method=zipfile.ZIP_STORED
        )
    )
    fleet.put("week.zip", archive)
    outcome = fleet.ingest()
    assert dict(outcome.exports.select("file", "status").rows()) == {
        "week.zip/one_bad.csv": "set aside",
        "week.zip/five_a.csv": "read",
    }
    assert [problem.file for problem in outcome.problems if problem.file != "week.zip/five_a.csv"] == [
        "week.zip/one_bad.csv"
    ]
    assert fleet.readings().equals(plain.readings())
    again = fleet.ingest()
    assert (again.taken, [str(problem) for problem in again.problems]) == (
        [],
        [str(problem) for problem in outcome.problems],
    )


def test_members_of_every_kind_of_fault(fleet, plain) -> None:
    """No source, wrong columns, not text, empty, packed twice: each a sentence, and the good one is read."""
    faults = {
        "notes.txt": (b"made up", "no [[source]]"),
        "five_b.csv": (b"when,what\n1,2\n", "is missing"),
        "five_c.csv": (b"\x00\xff" * 50, "is not utf-8 text"),
        "five_d.csv": (b"", "has no header"),
        "five_e.csv": (gzip.compress(TEXT.encode()), "packed once more"),
    }
    fleet.put("week.zip", zipped(*((name, data) for name, (data, _) in faults.items()), ("five_a.csv", TEXT.encode())))
    exports = {row["file"]: row for row in fleet.ingest().exports.iter_rows(named=True)}
    for name, (_, said) in faults.items():
        row = exports.pop(f"week.zip/{name}")
        assert row["status"] == "set aside" and said in row["problem"], row
    assert [row["status"] for row in exports.values()] == ["read"]
    assert fleet.readings().equals(plain.readings())


def test_a_mended_archive_gives_what_was_missing(fleet) -> None:
    """The same archive name with one member mended: the others are known by content and are not taken again."""
    fleet.put("week.zip", zipped(("five_a.csv", TEXT.encode()), ("one_b.csv", b"wrong\n")))
    assert fleet.ingest().taken == ["week.zip/five_a.csv"]
    fleet.put("week.zip", zipped(("five_a.csv", TEXT.encode()), ("one_b.csv", BY_SOURCE["one_a.csv"].encode())))
    outcome = fleet.ingest()
    assert (outcome.taken, [p.file for p in outcome.problems]) == (["week.zip/one_b.csv"], ["week.zip/five_a.csv"])
    assert fleet.readings().height == 13


@pytest.mark.parametrize("name", CARRIED)
def test_an_unchanged_file_is_not_read_again(fleet, monkeypatch, name) -> None:
    fleet.put(name, CARRIED[name](TEXT.encode()))
    fleet.ingest()
    before = fleet.readings()
    examined = []
    monkeypatch.setattr(inbox, "examine", lambda path, *_: examined.append(path))
    monkeypatch.setattr(inbox, "members", lambda path, *_: examined.append(path))
    assert (fleet.ingest().taken, examined) == ([], [])
    assert fleet.readings().equals(before)


def test_a_file_written_anew_with_the_same_bytes_is_looked_at_and_known(fleet) -> None:
    import os

    path = fleet.put("week.zip", CARRIED["week.zip"](TEXT.encode()))
    fleet.ingest()
    os.utime(path, ns=(1, 1))
    assert fleet.ingest().taken == []
