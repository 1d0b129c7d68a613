"""Codes and file names that mean harm: through the command, nothing lands outside the fleet folder, nothing of
another file is read under a hostile name, and no message carries control characters to a terminal.

Reserved names and marks of paths are common practice of file systems, no source.
"""

from __future__ import annotations

import os
import re
from pathlib import Path

import polars as pl
import pytest

from pumpledger.reports.pages import site_file
from tests import command
from tests.fleet_folder import METER_HEADER, meter_rows, write_fleet

REFUSED_CODES = (
    "../H9", "..", ".", ".hidden", "/etc/H9", "a/b", "..\\H9", "C:\\H9", "C:H9", "H\u00009", "H9\u202e", "\uff28\uff11",
    "\u041d9", "H9\u200b", "x" * 300, "~", "-rf", "$(id)", "%2e%2e%2fH9", "H9\t1", "CON:", "H9?", "*",
)  # fmt: skip
"""No code of letters, digits, '-', '_' and '.': the site is set aside. The Cyrillic and the full-width letter look like
an H."""
TAKEN_CODES = ("H1", "h1", "CON", "nul", "COM1.csv", "A..B", "x" * 40)
"""Codes that a register may hold and that a file system may not."""


def run(*arguments: object) -> command.Done:
    done = command.run(*arguments)
    assert not re.search(rb"[\x00-\x08\x0b-\x1f\x7f]", done.err + done.out)
    done.err.decode("utf-8"), done.out.decode("utf-8")
    return done


def day(pump: str, rpm: int = 2000) -> str:
    hours = [(f"2026-10-29T{hour:02d}:00:00", rpm if 8 <= hour < 14 else 0, 0, 0) for hour in range(0, 24, 2)]
    return meter_rows(pump, [*hours, ("2026-10-30T00:00:00", 0, 0, 0), ("2026-10-30T06:00:00", 0, 0, 0)], "-0700")


def files_of(root: Path) -> set[bytes]:
    """Every file beneath, as bytes relative to ``root``."""
    top = os.fsencode(root)
    return {os.path.relpath(os.path.join(at, name), top) for at, _, names in os.walk(top) for name in names}


def only_inside(root: Path, before: set[bytes], fleet: bytes = b"a/b/fleet") -> set[bytes]:
    """What a run has added beneath ``root``; it may add to four places of the fleet folder alone."""
    added = files_of(root) - before
    allowed = tuple(fleet + part for part in (b"/lake/", b"/reports/", b"/.dagster/", b"/.lock"))
    assert [path for path in added if not path.startswith(allowed)] == []
    assert before <= files_of(root)
    return added


def quoted(cell: str) -> str:
    return '"' + cell.replace('"', '""') + '"'


def test_codes_of_the_register(tmp_path: Path) -> None:
    codes = [*TAKEN_CODES, *REFUSED_CODES]
    sites = "".join(f"{quoted(code)},Made-up,80\n" for code in codes)
    pumps = "".join(f"{quoted(f'P{number}')},{quoted(code)}\n" for number, code in enumerate(codes))
    bad_pumps = "".join(f"{quoted(code)},H1\n" for code in REFUSED_CODES[:3])
    rows = "".join(day(f"P{number}") for number in range(len(TAKEN_CODES)))
    fleet = write_fleet(
        tmp_path / "a" / "b" / "fleet",
        {
            "sites.csv": "site_id,site_name,pool_volume_m3\n" + sites,
            "pumps.csv": "pump_id,site_id\n" + pumps + bad_pumps,
            "inbox/meter_1.csv": METER_HEADER + rows,
        },
    )
    before = files_of(tmp_path)
    done = run("review", fleet)
    assert done.returncode == 1, done.stdout
    pages = sorted(path.name for path in (fleet / "reports" / "2026-W44" / "sites").iterdir())
    # H1 is set aside too: pumps with codes that cannot be read name it as their site.
    kept = [code for code in TAKEN_CODES if code != "H1"]
    assert pages == sorted(site_file(code) for code in kept)
    only_inside(tmp_path, before)
    told = done.stderr
    for line in range(2 + len(TAKEN_CODES), 2 + len(codes)):
        assert f"sites.csv line {line}, column site_id" in told or f"sites.csv line {line}:" in told, line


@pytest.mark.parametrize("code", [*TAKEN_CODES, *(code for code in REFUSED_CODES if code.isprintable())])
def test_names_of_pages(code: str) -> None:
    """Tame for any file system, and one file each also where H1 and h1 are the same name."""
    name = site_file(code)
    assert re.fullmatch(r"[A-Za-z0-9_-]{1,310}\.html", name)
    assert not re.fullmatch(r"(con|prn|aux|nul|com\d|lpt\d)\.html", name.lower())
    others = {site_file(other).lower() for other in (*TAKEN_CODES, *REFUSED_CODES) if other != code}
    assert name.lower() not in others


HOSTILE_NAMES = (
    b"meter_[1].csv", b"meter_?.csv", b"meter_*.csv", b"meter_**.csv", b"meter_{1,2}.csv", b"meter_[!x].csv",
    b"meter_..\\..\\x.csv", b"meter_\\[1].csv", b"meter_'; drop.csv", b'meter_"quoted".csv',
    b"meter_$(touch x)`id`.csv",
    b"meter_<script>alert(1).csv", b"meter_%2e%2e%2fx.csv", b"meter_=1+1.csv", b"meter_a\nb.csv", b"meter_\x1b[31m.csv",
    b"meter_\xff.csv", b"meter_\xfe.csv", "meter_\u202evsc.csv".encode(), "meter_\u0430.csv".encode(), b"meter_a.csv",
    b"meter_" + b"x" * 245 + b".csv", b"meter_..csv", b"meter_-rf.csv", b"meter_~.csv", b"meter_ .csv",
    b"meter_NUL.csv",
)  # fmt: skip
"""The Cyrillic a looks like the Latin one; two names differ in bytes that are no UTF-8."""


def test_names_of_exports(tmp_path: Path) -> None:
    """Each file holds its own speed, so that a reading tells which file it came from. ``meter_1.csv`` is what the
    pattern ``meter_[1].csv`` fits."""
    names = [b"meter_1.csv", *HOSTILE_NAMES]
    pumps = "pump_id,site_id\n" + "".join(f"P{number},H1\n" for number in range(len(names)))
    fleet = write_fleet(tmp_path / "a" / "b" / "fleet", {"pumps.csv": pumps})
    for number, name in enumerate(names):
        content = METER_HEADER + day(f"P{number}", 1000 + number)
        with open(os.path.join(os.fsencode(fleet), b"inbox", name), "wb") as file:
            file.write(content.encode())
    for hidden in (b".meter_9.csv", b"meter_9.csv.part"):
        with open(os.path.join(os.fsencode(fleet), b"inbox", hidden), "wb") as file:
            file.write(b"not read\n")
    before = files_of(tmp_path)
    done = run("review", fleet)
    added = only_inside(tmp_path, before)
    assert not any(b"x" * 50 in path or b"touch" in path for path in added)
    readings = pl.concat(
        [pl.read_parquet(path, glob=False) for path in sorted((fleet / "lake" / "readings").rglob("*.parquet"))]
    )
    speeds = readings.filter(pl.col("speed_rpm") > 0).group_by("pump_id").agg(pl.col("speed_rpm").unique())
    found = dict(speeds.iter_rows())
    for number, name in enumerate(names):  # read as itself, or set aside with a word to say so
        pump = f"P{number}"
        assert found.get(pump, [1000 + number]) == [1000 + number], name
        if pump not in found:
            assert done.returncode == 1
            assert b"\\" in name, name
    page = (fleet / "reports" / "2026-W44" / "index.html").read_text(encoding="utf-8")
    assert "<script>alert(1)" not in page


def test_names_inside_an_archive(tmp_path: Path) -> None:
    """Members are never written under their own names: whatever they are called, nothing appears beside the fleet."""
    import zipfile

    names = [
        "meter_1.csv",
        "../meter_2.csv",
        "../../../../meter_3.csv",
        "/meter_4.csv",
        "C:\\meter_5.csv",
        "..\\meter_6.csv",
    ]
    pumps = "pump_id,site_id\n" + "".join(f"P{number},H1\n" for number in range(len(names)))
    fleet = write_fleet(tmp_path / "a" / "b" / "fleet", {"pumps.csv": pumps})
    with zipfile.ZipFile(fleet / "inbox" / "meter_week.zip", "w") as archive:
        for number, name in enumerate(names):
            archive.writestr(zipfile.ZipInfo(name), METER_HEADER + day(f"P{number}", 1000 + number))
    before = files_of(tmp_path)
    run("review", fleet)
    only_inside(tmp_path, before)
    assert not Path("/meter_4.csv").exists()


@pytest.mark.parametrize("week", ["../../x", "2026-W99", "2026-W44/../..", "", "2026-W44\n"])
def test_a_week_is_no_path(tmp_path: Path, week: str) -> None:
    fleet = write_fleet(tmp_path / "a" / "b" / "fleet", {"inbox/meter_1.csv": METER_HEADER + day("P1")})
    before = files_of(tmp_path)
    done = run("review", fleet, "--week", week)
    assert done.returncode == 2
    assert files_of(tmp_path) == before


def test_dialects_tariffs_and_stations_are_names_and_no_paths(tmp_path: Path) -> None:
    """A dialect outside of the folder is never read, nor a tariff or a station that a register points to by path."""
    outside = tmp_path / "a" / "b"
    fleet = write_fleet(
        outside / "fleet",
        {
            "sites.csv": "site_id,site_name,pool_volume_m3,tariff,weather\nH1,Made-up,80,../../evil,../../evil\n",
            "inbox/meter_1.csv": METER_HEADER + day("P1"),
            "inbox/evil_1.csv": METER_HEADER + day("P1", 1500),
        },
        {"meter": ("meter_*.csv", "meter"), "evil": ("evil_*.csv", "../../evil")},
    )
    (outside / "evil.toml").write_bytes((fleet / "dialects" / "meter.toml").read_bytes())
    before = files_of(tmp_path)
    done = run("review", fleet)
    only_inside(tmp_path, before)
    told = done.stderr
    assert done.returncode == 1 and "evil_1.csv" in told and "'../../evil' is not in tariffs/" in told
    assert "'../../evil' is not in weather/" in told
