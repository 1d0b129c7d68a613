"""Rows and files that do not become readings: each rule by itself, with line, raw text and what to do."""

from __future__ import annotations

import polars as pl
import pytest
from intake_fleet import COUNTERS, EVENTS, MEANS, SAMPLES

from pumpledger.intake.rules import REASONS

GOOD = "2026-10-26T07:00:00Z,P-LA,1500,200,1"


def keep_running(rows: int) -> str:
    """Enough good rows that no critical expectation sets the file aside."""
    return "".join(f"2026-10-26T08:{minute:02d}:00Z,P-LA,1500,200,1\n" for minute in range(rows))


@pytest.mark.parametrize(
    ("line", "rule"),
    [
        ("2026-10-26T07:00:00Z,,1500,200,1", "pump_missing"),
        ("2026-10-26T07:00:00Z,P-XX,1500,200,1", "pump_not_in_register"),
        ("1999-12-31T23:59:59Z,P-LA,1500,200,1", "time_out_of_range"),
        ("2100-01-01T00:00:00Z,P-LA,1500,200,1", "time_out_of_range"),
        ("2026-10-26T07:00:00Z,P-LA,3601,200,1", "speed_out_of_range"),
        ("2026-10-26T07:00:00Z,P-LA,-1,200,1", "speed_out_of_range"),
        ("2026-10-26T07:00:00Z,P-LA,nan,200,1", "speed_out_of_range"),
        ("2026-10-26T07:00:00Z,P-LA,inf,200,1", "speed_out_of_range"),
        ("2026-10-26T07:00:00Z,P-LA,1500,-101,1", "power_out_of_range"),
        ("2026-10-26T07:00:00Z,P-LA,1500,25001,1", "power_out_of_range"),
        ("2026-10-26T07:00:00Z,P-LA,1500,200,on", "aux_word_unknown"),
        ("2026-10-26T07:00:00Z,P-LA,,,1", "nothing_measured"),
        ("2026-10-26T07:00:00Z,P-LA,,,", "nothing_measured"),
    ],
)
def test_quarantine(fleet, line, rule) -> None:
    fleet.take("five_a.csv", SAMPLES + keep_running(9) + line + "\n")
    assert fleet.refused().select("file", "line", "fate", "rule", "reason", "raw").rows() == [
        ("five_a.csv", 11, "quarantine", rule, REASONS[rule], line)
    ]
    assert fleet.readings().height == 9


@pytest.mark.parametrize(
    "line",
    [
        "2000-01-01T12:00:00Z,P-LA,0,0,0",
        "2099-12-31T12:00:00Z,P-LA,0,0,0",
        "2026-10-26T07:00:00Z,P-LA,3600,25000,1",
        "2026-10-26T07:00:00Z,P-LA,0,-100,",
    ],
)
def test_limits_themselves_are_readings(fleet, line) -> None:
    assert fleet.take("five_a.csv", SAMPLES + line + "\n")["readings"] == 1


@pytest.mark.parametrize(
    ("cells", "readings"), [("-0.01\t1", 0), ("1\t-0.01", 0), ("1e10\t1", 0), ("1\t1e8", 0), ("0\t0", 1)]
)
def test_counters_out_of_range(fleet, cells, readings) -> None:
    good = "".join(f"{1792998000 + 900 * i}\tP-LA\t1500\t{i}\t{i}\n" for i in range(1, 4))
    taken = fleet.take("counters_a.csv", COUNTERS + good + f"1792998000\tP-LA\t1500\t{cells}\n# end\n")
    assert taken["readings"] - 3 == readings
    assert [rule for *_, rule in fleet.fates()] == ["counter_out_of_range"] * (1 - readings)


@pytest.mark.parametrize(
    ("line", "reason"),
    [
        ("2026-10-26T07:00:00Z,P-LA,1500,20", "The row has 4 fields where the header has 5: the line is torn"),
        ("2026-10-26T07:00:00Z,P-LA,1,500,200,1", "The row has 6 fields where the header has 5"),
        ("2026-10-26T07:00:00Z", "The row has 1 fields where the header has 5"),
        (",P-LA,1500,200,1", "The row has no time stamp."),
        ("26.10.2026 07:00,P-LA,1500,200,1", "The row has the time stamp '26.10.2026 07:00', which does not fit"),
        (
            "2026-02-30T07:00:00Z,P-LA,1500,200,1",
            "The row has the time stamp '2026-02-30T07:00:00Z', which does not fit",
        ),
        ("2026-10-26T07:00:00Z,P-LA,fast,200,1", "The row has the speed 'fast', which is not a number."),
        ("2026-10-26T07:00:00Z,P-LA,1500,0x20,1", "The row has the power '0x20', which is not a number."),
        ('2026-10-26T07:00:00Z,"P-LA,1500,200,1', "The row cannot be split into fields"),
        ("2026-10-26T07:00:00Z,P-LA,1500\r,200,1", "The row cannot be split into fields"),
        (",,,,", "The row has no time stamp."),
        ("# remark", "The row has 1 fields"),
    ],
)
def test_rejects(fleet, line, reason) -> None:
    fleet.take("five_a.csv", SAMPLES + GOOD + "\n" + line + "\n" + keep_running(3))
    (row,) = fleet.refused().rows(named=True)
    assert (row["line"], row["fate"], row["rule"], row["raw"]) == (3, "rejects", "cannot_be_read", line)
    assert row["reason"].startswith(reason), row["reason"]
    assert row["reason"].endswith(".")
    assert fleet.readings().height == 4


def test_bytes_that_are_not_utf8_spoil_their_own_line_only(fleet) -> None:
    """Also near the top of the file: the header before them is good."""
    content = SAMPLES.encode() + b"2026-10-26T07:00:00Z,P-\xc4,1500,200,1\n" + keep_running(4).encode()
    assert fleet.take("five_a.csv", content)["readings"] == 4
    (row,) = fleet.refused().rows(named=True)
    assert (row["line"], row["fate"], row["raw"]) == (2, "rejects", "2026-10-26T07:00:00Z,P-\ufffd,1500,200,1")


def test_hostile_text_comes_back_as_text(fleet) -> None:
    names = ["<script>", "=1+1", "\u202eAL-P", "P\x00LA", "P\u2028LA", "P\x85LA", "'; drop table x; --"]
    rows = "".join(f"2026-10-26T07:00:0{n}Z,{name},1500,200,1\n" for n, name in enumerate(names))
    fleet.take("five_a.csv", SAMPLES + rows)
    refused = fleet.refused()
    assert refused["rule"].to_list() == ["pump_not_in_register"] * len(names)
    assert refused["pump_id"].to_list() == names
    assert refused["raw"].to_list() == rows.rstrip("\n").split("\n")
    assert refused["line"].to_list() == list(range(2, 9))


def test_torn_last_line(fleet) -> None:
    taken = fleet.take("five_a.csv", SAMPLES + keep_running(3) + "2026-10-26T08:03:00Z,P-LA,15")
    assert (taken["data_rows"], taken["readings"], taken["rejects"]) == (4, 3, 1)
    assert fleet.refused().select("line", "raw").row(0) == (5, "2026-10-26T08:03:00Z,P-LA,15")


def test_bom_blank_rows_and_line_ends(fleet) -> None:
    body = (
        "\n" + SAMPLES.replace("\n", "\r\n") + GOOD + "\r\n\r\n   \r\n" + keep_running(2).replace("\n", "\r\n") + "\r\n"
    )
    taken = fleet.take("five_a.csv", b"\xef\xbb\xbf" + body.lstrip("\n").encode())
    assert (taken["data_rows"], taken["readings"], taken["other_lines"]) == (3, 3, 4)
    assert fleet.readings()["line"].to_list() == [2, 5, 6]


def test_footer_in_the_middle_and_preamble(fleet) -> None:
    row = "{}\tP-LA\t1500\t1\t1\n"
    taken = fleet.take(
        "counters_a.csv", COUNTERS + row.format(1792998000) + "# end\n" + row.format(1792998900) + "# end\n\n"
    )
    assert (taken["data_rows"], taken["readings"], taken["other_lines"]) == (2, 2, 6)
    assert fleet.readings()["line"].to_list() == [4, 6]


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        (
            "five_a.csv",
            "",
            "has no header in line 1; dialect samples_5min expects time_utc, pump, speed_rpm, power_w, aux",
        ),
        ("five_a.csv", "\n" + SAMPLES, "has no header in line 1"),
        ("counters_a.csv", "# made up\n", "has no header in line 3"),
        ("five_a.csv", SAMPLES.replace("speed_rpm", "sped_rpm"), "column 'speed_rpm' (is it 'sped_rpm'?) is missing"),
        ("five_a.csv", EVENTS + "x\n", "does not fit dialect samples_5min: column 'time_utc' is missing"),
        ("five_a.csv", SAMPLES.replace(",", ";"), "is missing; the header holds 'time_utc;pump;speed_rpm;power_w;aux'"),
        ("five_a.csv", SAMPLES.replace("aux", "aux,pump"), "names a column twice: 'pump'"),
        ("five_a.csv", SAMPLES.encode("utf-16"), "is not utf-8 text"),
        ("five_a.csv", (SAMPLES + GOOD + "\n").replace("\n", "\r"), "ends its lines with carriage returns alone"),
        ("other.csv", SAMPLES, "no [[source]] in fleet.toml matches this file's name"),
        (
            "own_a.csv",
            SAMPLES,
            "source 'own' names the dialect 'own', which is not there or does not hold; known: counters,",
        ),
    ],
)
def test_files_set_aside_whole(fleet, name, content, said) -> None:
    row = fleet.take(name, content)
    assert (row["status"], row["data_rows"], row["readings"]) == ("set aside", 0, 0)
    assert said in row["problem"]
    assert fleet.ingest().problems[0].file == name  # said again on every run, until it is mended
    assert fleet.readings().is_empty()


def test_header_only(fleet) -> None:
    fleet.put("five_a.csv", SAMPLES)
    outcome = fleet.ingest()
    row = outcome.exports.row(0, named=True)
    assert (row["status"], row["data_rows"], row["other_lines"], row["first_utc"]) == ("read", 0, 1, None)
    assert [c.failing for c in outcome.checks if c.meaning == "an export holds at least one data row"] == [
        ("five_a.csv",)
    ]


def test_file_name_without_its_pump_and_then_with_it(fleet) -> None:
    """The natural mend is a new name: the same bytes are then read for the pump that it gives."""
    path = fleet.put("means.csv", MEANS + "26.10.2026 00:15;1800;0,4\n")
    fleet.ingest()
    assert fleet.fates() == [(2, "quarantine", "pump_missing")]
    path.rename(path.with_name("means__P-BE.csv"))
    fleet.ingest()
    assert fleet.readings()["pump_id"].to_list() == ["P-BE"]


@pytest.mark.parametrize(
    ("bad", "meaning"),
    [
        ("nonsense\n", "at least half of the rows can be read"),
        ("2026-10-26T09:00:{:02d}Z,P-LA,15000,200,1\n", "at least half of the values are possible"),
    ],
)
def test_critical_expectation_sets_the_file_aside(fleet, bad, meaning) -> None:
    """Six bad rows and five good: none of the eleven counts, each is accounted for, the next file is not touched."""
    fleet.put("five_b.csv", SAMPLES + GOOD + "\n")
    row = fleet.take("five_a.csv", SAMPLES + "".join(bad.format(n) for n in range(6)) + keep_running(5))
    assert (row["status"], row["data_rows"], row["readings"], row["pumps"]) == ("set aside", 11, 0, 0)
    assert row["quarantine"] + row["rejects"] == 11
    assert meaning in row["problem"]
    assert (row["first_utc"], row["last_utc"]) == (None, None)
    aside = fleet.refused().filter(pl.col("rule") == "file_set_aside")
    assert aside.select("line", "fate", "raw").rows() == [
        (8 + n, "quarantine", text) for n, text in enumerate(keep_running(5).splitlines())
    ]
    assert aside["reason"].unique().to_list() == [row["problem"]]
    assert fleet.refused()["line"].sort().to_list() == list(range(2, 13))
    assert fleet.readings()["export_id"].unique().to_list() == [fleet.entry("five_b.csv").export_id]
    assert [p.name for p in fleet.ingest().problems] == ["export_set_aside"]


def test_many_bad_files_are_all_set_aside(fleet) -> None:
    """More than the twenty rows that a validation result might be cut at."""
    for number in range(30):
        fleet.put(f"five_{number:02d}.csv", SAMPLES + f"nonsense {number}\n")
    outcome = fleet.ingest()
    assert outcome.exports["status"].to_list() == ["set aside"] * 30


def test_one_wrong_year_costs_no_years_between(fleet, monkeypatch) -> None:
    """A logger that fell back to 2000: the calendar is made for the days that occur, not for a quarter of a century."""
    from pumpledger.intake import clock

    years: set[int] = set()
    of_year = clock.year_changes
    monkeypatch.setattr(clock, "year_changes", lambda zone, year: years.add(year) or of_year(zone, year))
    assert fleet.take("five_a.csv", SAMPLES + GOOD + "\n2000-01-01T12:00:00Z,P-LA,0,0,0\n")["readings"] == 2
    assert years == {1999, 2000, 2026}
