"""Exports that disks, transfers, programs and people have spoiled: no traceback, no lost row, nothing read as what it
does not say, and no file that costs more than a moment.

A seeded number of the files of `tests/fuzz/mutate_exports.py`, and by hand what its long runs found. The other reader
is Python's csv, gzip, zipfile and strptime (`tests/fuzz/judge.py`).
"""

from __future__ import annotations

import random
import time
from pathlib import Path

import pytest
from intake_fleet import COUNTERS, EVENTS, SAMPLES, Fleet

from pumpledger.intake.carriers import members
from tests.fuzz.corpus import seeds
from tests.fuzz.judge import Finding, agrees_with_text, judge, staged_member
from tests.fuzz.mutate_exports import BATCH, inbox, run, spoiled
from tests.fuzz.mutations import mutate

ROW = "2026-10-26T07:{minute:02d}:00Z,P-LA,{rpm},210,1\n"
GOOD = "".join(ROW.format(minute=5 * n, rpm=1500 + n) for n in range(10))


def test_the_same_number_is_the_same_file() -> None:
    known = seeds()
    assert [spoiled(n, 1, known)[1] for n in range(30)] == [spoiled(n, 1, known)[1] for n in range(30)]
    assert sum(spoiled(n, 1, known)[1] != known[n % len(known)].content for n in range(100)) > 90


@pytest.mark.parametrize("good", seeds(), ids=lambda seed: seed.file)
def test_the_good_files_are_read_whole(db, tmp_path: Path, good) -> None:  # noqa: ANN001
    """Else the fuzzers would spoil what is no export at all."""
    path = tmp_path / good.file
    path.write_bytes(good.content)
    outcome = judge(db, path, good.dialect)
    assert outcome.set_aside == [] and outcome.rows["readings"] == sum(outcome.rows.values()) > 10


def test_spoiled_exports_of_every_kind() -> None:
    tally = run(range(BATCH - 1), seed=20)
    assert tally.findings == []
    assert tally.in_part > 30 and sum(tally.set_aside.values()) > 20 and tally.rows["readings"] > 500


def test_spoiled_exports_together_in_one_inbox() -> None:
    tally = run(range(0), seed=20)
    inbox(range(40), 20, seeds(), tally)
    assert tally.findings == []


def test_a_judge_that_can_find(db, tmp_path: Path) -> None:
    """A reading that is not what the bytes say must be told: the judge is given other bytes than the intake."""
    good = seeds()[0]
    path = tmp_path / good.file
    path.write_bytes(good.content)
    (member,) = members(path)
    staged = staged_member(db, path, member, good.dialect)
    agrees_with_text(staged, good.content, good.dialect)
    for other in (
        good.content.replace(b",1503,", b",1504,"),
        good.content.replace(b"T06:15:00Z", b"T06:16:00Z"),
        good.content + b"2026-10-25T09:00:00Z,P-LA,1,1,1\n",
        good.content.replace(b"\n2026", b"\n\n2026", 1),
    ):
        with pytest.raises(Finding):
            agrees_with_text(staged, other, good.dialect)


@pytest.mark.parametrize(
    ("name", "content", "fates"),
    [
        # (readings, duplicates, quarantine, rejects)
        ("nul bytes in a row", SAMPLES + GOOD + "2026-10-26T09:00:00Z,P-LA,15\x0000,210,1\n", (10, 0, 0, 1)),
        ("a block of nul bytes at the end", SAMPLES + GOOD + "\x00" * 4096, (10, 0, 0, 1)),
        ("a byte order mark amid the file", SAMPLES + GOOD + "\ufeff" + ROW.format(minute=55, rpm=1), (10, 0, 0, 1)),
        ("numbers in other scripts", SAMPLES + GOOD + ROW.format(minute=55, rpm="\u0661\u0665"), (10, 0, 0, 1)),
        ("a minus that is none", SAMPLES + GOOD + ROW.format(minute=55, rpm="\u2212100"), (10, 0, 0, 1)),
        ("marks between digits", SAMPLES + GOOD + ROW.format(minute=55, rpm="1_500"), None),
        ("hexadecimal", SAMPLES + GOOD + ROW.format(minute=55, rpm="0x5DC"), (10, 0, 0, 1)),
        ("no number", SAMPLES + GOOD + ROW.format(minute=55, rpm="nan"), (10, 0, 1, 0)),
        ("without end", SAMPLES + GOOD + ROW.format(minute=55, rpm="inf"), (10, 0, 1, 0)),
        ("too large for a number", SAMPLES + GOOD + ROW.format(minute=55, rpm="1e999"), (10, 0, 1, 0)),
        ("a line of delimiters", SAMPLES + GOOD + "," * 100_000 + "\n", (10, 0, 0, 1)),
        ("a line of quotes", SAMPLES + GOOD + '"' * 100_001 + "\n", (10, 0, 0, 1)),
        ("a second header", SAMPLES + GOOD + SAMPLES, (10, 0, 0, 1)),
        ("a leap second", SAMPLES + GOOD + "2026-12-31T23:59:60Z,P-LA,1,1,1\n", (10, 0, 0, 1)),
        ("a day that is none", SAMPLES + GOOD + "2026-02-30T00:00:00Z,P-LA,1,1,1\n", (10, 0, 0, 1)),
        ("year 0", SAMPLES + GOOD + "0000-01-01T00:00:00Z,P-LA,1,1,1\n", (10, 0, 1, 0)),
        ("year 9999", SAMPLES + GOOD + "9999-12-31T23:59:59Z,P-LA,1,1,1\n", (10, 0, 1, 0)),
        ("a row torn at the end", SAMPLES + GOOD + "2026-10-26T09:0", (10, 0, 0, 1)),
        ("a delimiter too many at the end", SAMPLES + GOOD + ROW.format(minute=55, rpm=1)[:-1] + ",\n", (11, 0, 0, 0)),
        ("the same beside a torn row", SAMPLES + GOOD + ROW.format(minute=55, rpm=1)[:-1] + ",\ntorn\n", (11, 0, 0, 1)),
        ("two delimiters too many", SAMPLES + GOOD + ROW.format(minute=55, rpm=1)[:-1] + ",,\n", (11, 0, 0, 0)),
        ("and a blank behind them", SAMPLES + GOOD + ROW.format(minute=55, rpm=1)[:-1] + ",, \n", (10, 0, 0, 1)),
        ("one delimiter too few", SAMPLES + GOOD + "2026-10-26T09:00:00Z,P-LA,1500,210\n", (10, 0, 0, 1)),
    ],
)  # fmt: skip
def test_one_bad_row_costs_itself(fleet: Fleet, name: str, content: str, fates: tuple[int, ...] | None) -> None:
    row = fleet.take("five_1.csv", content)
    assert row["status"] == "read", row["problem"]
    found = tuple(row[fate] for fate in ("readings", "duplicates", "quarantine", "rejects"))
    if fates is None:  # either is honest: 1500, or no number
        assert found in ((11, 0, 0, 0), (10, 0, 0, 1))
    else:
        assert found == fates, fleet.fates()


def test_a_stamp_no_calendar_holds(fleet: Fleet) -> None:
    rows = "".join(f"{1792998000 + 900 * n}\tP-LA\t600\t{1042 + n}\t512\n" for n in range(10))
    for number, stamp in enumerate(("1" + "0" * 20, "-1", "99999999999999999", "")):
        row = fleet.take(f"counters_{number}.csv", COUNTERS + rows + f"{stamp}\tP-LA\t600\t2000\t512\n")
        assert row["status"] == "read" and row["readings"] + row["duplicates"] == 10, (stamp, row)
        assert row["quarantine"] + row["rejects"] == 1


def test_an_offset_no_zone_has(fleet: Fleet) -> None:
    """Offsets lie between -12:00 and +14:00 (IANA time zone database); -47:00 is a torn stamp, not two days."""
    rows = "".join(f"2026-11-01T{hour:02d}:30:00-07:00,P-LA,{1000 + hour},,1,11\n" for hour in range(10))
    row = fleet.take("events_1.csv", EVENTS + rows + "2026-11-01T11:30:00-47:00,P-LA,1500,,1,11\n")
    assert (row["readings"], row["rejects"] + row["quarantine"]) == (10, 1), fleet.readings()


def test_a_footer_amid_the_file_is_no_data_whatever_stands_beside_it(fleet: Fleet) -> None:
    rows = [f"{1792998000 + 900 * n}\tP-LA\t600\t{1042 + n}\t512\n" for n in range(10)]
    plain = fleet.take("counters_1.csv", COUNTERS + "".join(rows[:5]) + "# end\tP-LA\t1\t1\t1\n" + "".join(rows[5:]))
    assert (plain["data_rows"], plain["readings"]) == (10, 10)
    beside = "torn\n"
    row = fleet.take(
        "counters_2.csv", COUNTERS + "".join(rows[:5]) + "# end\tP-LA\t1\t1\t1\n" + beside + "".join(rows[5:])
    )
    assert (row["data_rows"], row["rejects"]) == (11, 1)


def test_sixteen_bits_without_their_mark(fleet: Fleet) -> None:
    fleet.own_dialect(
        'about = "Test dialect in UTF-16."\n[file]\ndelimiter = ","\nencoding = "utf-16"\n[time]\ncolumn = "time_utc"\n'
        'format = "%Y-%m-%dT%H:%M:%SZ"\nzone = "utc"\nlabel = "instant"\ninterval_s = 300\ngap_limit_s = 1200\n'
        '[pump]\ncolumn = "pump"\n[quantity]\nspeed = { column = "speed_rpm", unit = "rpm" }\n'
    )
    whole = fleet.take("own_1.csv", (SAMPLES + GOOD).encode("utf-16"))
    assert whole["readings"] == 10
    row = fleet.take("own_2.csv", (SAMPLES + GOOD).encode("utf-16-le"))
    assert row["status"] == "set aside" and "UTF-16" in row["problem"].upper()
    torn = fleet.take("own_3.csv", (SAMPLES + GOOD + "x").encode("utf-16")[:-1])
    assert torn["rejects"] + torn["quarantine"] + torn["duplicates"] + torn["readings"] == torn["data_rows"] == 11


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("open quotes", SAMPLES + '2026-10-26T07:00:00Z,"P-LA,1,1,1\n' * 20_000),
        ("quotes in pairs", SAMPLES + '2026-10-26T07:00:00Z,"P""LA",1,1,1\n' * 20_000),
        ("short lines", SAMPLES + "a\n" * 100_000),
        ("blank lines", SAMPLES + GOOD + "\n" * 300_000),
        ("one long line", SAMPLES + "x" * 5_000_000),
        ("carriage returns", SAMPLES + "a,b,c,d,e\r" * 100_000),
        ("mixed line ends", SAMPLES + "a,b,c,d,e\r\na,b,c,d,e\ra,b,c,d,e\n" * 20_000),
        ("as many columns", ",".join(f"c{n}" for n in range(20_000)) + "\n" + "1," * 20_000 + "\n"),
        ("one instant", SAMPLES + ROW.format(minute=5, rpm=1500) * 50_000),
        ("conflicts", SAMPLES + "".join(ROW.format(minute=5, rpm=n % 3000) for n in range(30_000))),
        (
            "every day of 8000 years",
            SAMPLES + "".join(f"{year}-01-01T00:00:00Z,P-LA,1,1,1\n" for year in range(1, 9999)),
        ),
    ],
    ids=lambda value: value if len(str(value)) < 30 else "",
)
def test_cost_stays_in_proportion(fleet: Fleet, name: str, content: str) -> None:
    """Five megabytes at most; a way of reading whose cost grows with the square of the lines would take minutes."""
    began = time.process_time()
    row = fleet.take("five_1.csv", content)
    assert time.process_time() - began < 60
    assert row["data_rows"] == sum(row[fate] for fate in ("readings", "duplicates", "quarantine", "rejects"))


def test_a_night_of_the_clock_change_many_times_over(fleet: Fleet) -> None:
    """Each time is a step back of the clock that might mean something; looking into all of them took the cube."""
    (good,) = [seed for seed in seeds() if seed.file == "means__P-BE.csv"]
    head, body = good.content[: good.head], good.content[good.head :]
    began = time.process_time()
    row = fleet.take(good.file, head + body * 400)
    assert time.process_time() - began < 20
    assert row["data_rows"] == row["readings"] + row["duplicates"] == 400 * 16


def test_mutations_reach_the_sizes_that_matter() -> None:
    good = seeds()[0]
    sizes = {len(mutate(random.Random(n), good.content, good.head)) for n in range(100)}
    assert max(sizes) > 1_000_000 and min(sizes) < 200
