"""Files that are no export: each gets one sentence and exit status 1, none a traceback; and big ones a bounded look."""

from __future__ import annotations

import gzip
import random
import time
import tomllib
import tracemalloc
import zipfile
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from pumpledger.cli import commands
from pumpledger.intake.unreadable import Unreadable
from pumpledger.proposal.claim import NoProposal
from pumpledger.proposal.propose import propose
from pumpledger.proposal.render import render
from pumpledger.proposal.sample import TOTAL_BYTES, take

ROWS = b"time,speed\n2026-01-01T00:00:00Z,1\n2026-01-01T00:05:00Z,2\n2026-01-01T00:10:00Z,3\n"
HOSTILE: dict[str, tuple[bytes, str]] = {
    "empty": (b"", "is empty"),
    "blank": (b"\n \n\n", "nothing but blanks"),
    "one line": (b"time,speed,power\n", "holds one line"),
    "one row": (b"time,speed\n2026-01-01T00:00:00Z,1\n", "two rows"),
    "binary": (random.Random(1).randbytes(50_000), "no text"),
    "zeros": (b"time,speed\n" + bytes(5000), "zero bytes"),
    "control characters": (b"\x01\x02\x03,\x04\n" * 500, "no text"),
    "a line of 10 MB": (b"x" * 10_000_000, "begins with a line of more than"),
    "a row of 10 MB": (b"time,speed\n2026-01-01T00:00:00Z," + b"9" * 10_000_000 + b"\n", "holds one line"),
    "a letter": (b"Dear all,\nthis is, of course, no table.\nYours\n", "is no table"),
    "a web page": (b"<html><body>404, not found</body></html>\n" * 30, "two rows"),
    "carriage returns": (ROWS.replace(b"\n", b"\r"), "carriage returns alone"),
    "UTF-32": (ROWS.decode().encode("utf-32"), "UTF-32"),
    "UTF-16 without mark, high byte first": (ROWS.decode().encode("utf-16-be"), "high byte first"),
    "PDF": (b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n", "PDF"),
    "no real Parquet": (b"PAR1 and then something else PAR1", "Parquet"),
    "cut gzip": (gzip.compress(ROWS * 50_000)[:-20], "cut short"),
    "two packings": (gzip.compress(gzip.compress(ROWS)), "once more"),
}


def run(*arguments: object) -> tuple[int, str, str]:
    result = CliRunner().invoke(commands, ["dialect", *map(str, arguments)])
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result.exit_code, result.stdout, result.stderr


@pytest.mark.parametrize("name", HOSTILE)
def test_a_sentence_and_exit_1(name: str, tmp_path: Path) -> None:
    content, sentence = HOSTILE[name]
    path = tmp_path / "export.csv"
    path.write_bytes(content)
    began = time.monotonic()
    code, out, err = run(path)
    assert (code, out) == (1, "")
    assert err.startswith("no proposal: export.csv: ") and sentence in err and err.count("\n") == 1
    assert len(err) < 400 and time.monotonic() - began < 20


def test_vanished_folder_and_workbook(tmp_path: Path) -> None:
    assert run(tmp_path / "not there.csv")[0] == 1
    assert run(tmp_path)[0] == 1
    workbook = tmp_path / "book.xlsx"
    with zipfile.ZipFile(workbook, "w") as archive:
        archive.writestr("[Content_Types].xml", "<a/>")
        archive.writestr("xl/workbook.xml", "<a/>")
    code, _, err = run(workbook)
    assert code == 1 and "CSV" in err


def test_files_of_more_than_one_shape_are_refused_by_name(tmp_path: Path) -> None:
    """No one dialect reads them: another header, delimiter, or encoding."""
    first = tmp_path / "a.csv"
    first.write_bytes(ROWS)
    others = {
        "columns": ROWS.replace(b"speed", b"power"),
        "delimiter": ROWS.replace(b",", b";"),
        "preamble_lines": b"made up\n" + ROWS,
        "encoding": ROWS.decode().encode("utf-16"),
    }
    for what, content in others.items():
        other = tmp_path / f"{what}.csv"
        other.write_bytes(content)
        code, out, err = run(first, other)
        assert (code, out) == (1, "") and (what in err or "UTF-16" in err), err


@settings(max_examples=150, deadline=None, derandomize=True, database=None)
@given(st.binary(max_size=60), st.integers(0, len(ROWS)), st.integers(0, 40))
def test_mangled_bytes_never_break_it(tmp_path_factory: pytest.TempPathFactory, junk: bytes, at: int, cut: int) -> None:
    """Junk in place of some bytes of a good file: a proposal or a sentence, and the proposal can be printed."""
    path = tmp_path_factory.getbasetemp() / "mangled.csv"
    path.write_bytes(ROWS[:at] + junk + ROWS[at + cut :] + ROWS[11:] * 3)
    try:
        text = render(propose([path]))
    except (NoProposal, Unreadable):
        return
    tomllib.loads(text)


def test_a_large_file_is_looked_at_in_bounded_memory(tmp_path: Path) -> None:
    """60 MB, plain and packed: the sample is 2 MB, from head, middle and tail, and the footer at the end is seen."""
    path = tmp_path / "big.csv"
    line = "2026-01-%02dT%02d:%02d:00Z,P-%d,%d\n"
    day = "".join(
        line % (1 + d, h, m, p, 1500 + p) for d in range(28) for h in range(24) for m in range(60) for p in range(4)
    )
    path.write_text("time,pump,speed_rpm\n" + day * 12 + "# end of log\n")
    packed = tmp_path / "big.csv.gz"
    packed.write_bytes(gzip.compress(path.read_bytes(), 1))
    for each in (path, packed):
        tracemalloc.start()
        (sample,) = take([each])
        most = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        assert sum(len(piece.data) for piece in sample.stretches) <= 2 * TOTAL_BYTES and most < 24 << 20
        assert sample.stretches[0].first and sample.stretches[-1].last and len(sample.stretches) > 1
        began = time.monotonic()
        proposal = propose([each])
        assert time.monotonic() - began < 20
        assert proposal.value("file.footer") == "# end of log"
        assert proposal.value("pump.column") == "pump" and proposal.value("time.interval_s") == 60


def test_many_columns_and_many_files(tmp_path: Path) -> None:
    """A wide file of 3,000 pumps, and 250 files of which 200 are looked at, in seconds."""
    names = [f"P-{number:04d} kW" for number in range(3000)]
    rows = [f"2026-01-01T{h:02d}:00:00Z," + ",".join("0.5" if h % 2 else "1.25" for _ in names) for h in range(20)]
    wide = tmp_path / "wide.csv"
    wide.write_text("\n".join(["time," + ",".join(names), *rows]) + "\n")
    began = time.monotonic()
    assert propose([wide]).value("pump.header") == r"(.+)\ kW"
    paths = []
    for number in range(250):
        path = tmp_path / f"log_{number:03d}x.csv"
        path.write_bytes(ROWS)
        paths.append(path)
    proposal = propose(paths)
    assert len(proposal.names) == 200 and "the first 200 files" in proposal.read
    assert proposal.value("pump.file_name") is not None
    assert time.monotonic() - began < 30
