"""The same rows again, in whatever shape: taken once, counted each time, read anew where what they rest on changed."""

from __future__ import annotations

import random

import polars as pl
import pytest
from intake_fleet import COUNTERS, MEANS, SAMPLES, Fleet

from pumpledger.intake.ledger import Ledger
from pumpledger.intake.ledger_tables import exports_of, pump_exports, pump_sources, refused_counts, superseded
from pumpledger.problems import ConservationError

ROWS = [
    f"2026-10-{day:02d}T{hour:02d}:{minute:02d}:00Z,{pump},{1000 + 25 * hour},{100 + minute},{hour % 2}\n"
    for day in (25, 26)
    for hour in range(0, 24, 3)
    for minute in (0, 5, 10)
    for pump in ("P-LA", "P-BE")
]
"""Two UTC days on both sides of a Monday, two pumps: readings in two ISO weeks."""


def counts(row: dict[str, object]) -> tuple[object, ...]:
    return tuple(row[name] for name in ("data_rows", "readings", "duplicates", "quarantine", "rejects"))


def test_second_run_takes_nothing(fleet) -> None:
    fleet.put("five_a.csv", SAMPLES + "".join(ROWS))
    assert fleet.ingest().taken == ["five_a.csv"]
    files = {path: path.read_bytes() for path in sorted(fleet.lake.root.rglob("*")) if path.is_file()}
    again = fleet.ingest()
    assert (again.taken, again.sums()["readings"]) == ([], len(ROWS))
    assert {path: path.read_bytes() for path in sorted(fleet.lake.root.rglob("*")) if path.is_file()} == files


def test_same_rows_same_bytes(fleet, tmp_path) -> None:
    other = Fleet(tmp_path / "other")
    for each in (fleet, other):
        each.put("five_a.csv", SAMPLES + "".join(ROWS[:40]))
        each.put("five_b.csv", SAMPLES + "".join(ROWS[30:]))
        each.ingest()
    for path in sorted(fleet.lake.root.rglob("*.parquet")):
        assert path.read_bytes() == (other.lake.root / path.relative_to(fleet.lake.root)).read_bytes()


def test_identical_file_under_another_name(fleet) -> None:
    fleet.put("five_a.csv", SAMPLES + "".join(ROWS[:6]) + "\n")
    fleet.ingest()
    row = fleet.take("five_b.csv", SAMPLES + "".join(ROWS[:6]) + "\n")
    assert (row["status"], row["problem"]) == ("repeated", "holds the same content as five_a.csv")
    assert counts(row) == (6, 0, 6, 0, 0)
    assert row["other_lines"] == 2  # as in the original: header and blank line are no data here either
    assert fleet.readings().height == 6
    assert fleet.ingest().taken == []


def test_identical_files_in_one_run_in_order_of_their_names(fleet) -> None:
    fleet.put("five_b.csv", SAMPLES + ROWS[0])
    fleet.put("five_a.csv", SAMPLES + ROWS[0])
    exports = fleet.ingest().exports
    assert exports.select("file", "status").rows() == [("five_a.csv", "read"), ("five_b.csv", "repeated")]


def test_identical_bytes_for_two_pumps_are_two_exports(fleet) -> None:
    """Two pumps that stood still all day write the same bytes; the file's name says which is which."""
    content = MEANS + "".join(f"26.10.2026 {hour:02d}:00;0;0\n" for hour in range(1, 24))
    for pump in ("P-LA", "P-LA2"):
        fleet.put(f"means__{pump}.csv", content)
    exports = fleet.ingest().exports
    assert exports.select("status", "readings").rows() == [("read", 23), ("read", 23)]
    assert exports["export_id"].n_unique() == 2
    assert fleet.readings()["pump_id"].value_counts(sort=True)["count"].to_list() == [23, 23]
    assert fleet.ingest().taken == []


def test_repeat_of_an_unreadable_file_is_unreadable_too(fleet) -> None:
    """Nothing is held that the second could be a duplicate of."""
    fleet.put("five_a.csv", "wrong,header\n" + ROWS[0])
    fleet.put("five_b.csv", "wrong,header\n" + ROWS[0])
    outcome = fleet.ingest()
    assert outcome.exports["status"].to_list() == ["set aside", "set aside"]
    assert [(p.name, p.file) for p in outcome.problems] == [
        ("export_columns", "five_a.csv"),
        ("export_columns", "five_b.csv"),
    ]


def test_renamed_for_the_right_dialect_is_read(fleet) -> None:
    """All rows are rejects by the wrong dialect; under a name that fits another source the same bytes are read."""
    fleet.own_dialect(
        'about = "made up"\n[file]\ndelimiter = ","\n'
        '[time]\ncolumn = "time_utc"\nformat = "%d/%m/%Y %H:%M"\nzone = "utc"\n'
        'label = "instant"\ninterval_s = 300\ngap_limit_s = 1200\n[pump]\ncolumn = "pump"\n'
        '[quantity]\nspeed = { column = "speed_rpm", unit = "rpm" }\n'
    )
    path = fleet.put("five_a.csv", SAMPLES + "26/10/2026 07:00,P-LA,1500,200,1\n")
    assert fleet.ingest().exports["status"].to_list() == ["set aside"]
    path.rename(path.with_name("own_a.csv"))
    exports = fleet.ingest().exports
    assert exports.select("file", "status", "readings").rows() == [("own_a.csv", "read", 1)]
    assert fleet.refused().is_empty()


def test_renamed_within_its_source_is_a_repeat(fleet) -> None:
    path = fleet.put("five_a.csv", SAMPLES + ROWS[0])
    fleet.ingest()
    path.rename(path.with_name("five_z.csv"))
    assert fleet.ingest().exports["status"].to_list() == ["read", "repeated"]
    assert fleet.readings().height == 1


def test_duplicates_and_conflicts_within_a_file(fleet) -> None:
    first, second = ROWS[0], ROWS[0].replace(",100,", ",101,")
    row = fleet.take("five_a.csv", SAMPLES + first + first + second + "".join(ROWS[1:20]))
    assert counts(row) == (22, 20, 1, 1, 0)
    assert fleet.fates() == [(3, "duplicates", "same_row_again"), (4, "quarantine", "conflicting_repeat")]
    assert fleet.readings().filter(pl.col("line") == 2)["power_w"].to_list() == [100]


def test_overlapping_export(fleet) -> None:
    """Ten rows again, one of them with another value: nine duplicates, and the corrected row stands in the place of the
    first."""
    fleet.take("five_a.csv", SAMPLES + "".join(ROWS[:20]))
    changed = ROWS[15].replace(",1150,", ",1175,")
    assert changed != ROWS[15]
    row = fleet.take("five_b.csv", SAMPLES + "".join([*ROWS[10:15], changed, *ROWS[16:30]]))
    assert counts(row) == (20, 11, 9, 0, 0)
    refused = fleet.refused().filter(pl.col("file") == "five_b.csv")
    assert refused.filter(pl.col("rule") == "same_row_again")["line"].to_list() == [*range(2, 7), *range(8, 12)]
    assert fleet.readings().height == 30
    corrected = fleet.readings().filter(line=7, export_id=row["export_id"])
    assert corrected["speed_rpm"].to_list() == [1175] or corrected["power_w"].to_list() == [1175]
    ((week),) = fleet.lake.reading_weeks()
    (change,) = superseded(Ledger(fleet.lake), week).rows(named=True)
    assert (change["old_line"], change["new_line"], change["new_export_id"]) == (17, 7, row["export_id"])


def test_counts_by_pump_leave_out_what_was_held(fleet) -> None:
    """A whole re-export by another source holds none of the pump's readings, and must not be taken for its source."""
    fleet.put("five_a.csv", SAMPLES + "".join(ROWS[:12]))
    fleet.ingest()
    row = fleet.take("one_b.csv", SAMPLES + "".join(ROWS[:12]) + "\n")
    assert counts(row) == (12, 0, 12, 0, 0)
    assert (row["pumps"], row["first_utc"]) == (0, None)
    ledger = Ledger(fleet.lake)
    weeks = set(fleet.lake.reading_weeks())
    assert pump_exports(ledger, weeks).filter(pl.col("file") == "one_b.csv")["readings"].sum() == 0
    assert pump_exports(ledger, weeks)["readings"].sum() == 12
    assert set(pump_sources(ledger, weeks)["source"]) == {"five"}
    assert set(exports_of(ledger, weeks)["file"]) == {"five_a.csv", "one_b.csv"}
    assert refused_counts(ledger, weeks)["rows"].sum() == 12


@pytest.mark.parametrize("seed", range(4))
def test_pieces_shuffles_and_re_exports_give_the_same_readings(fleet, tmp_path, seed) -> None:
    """One file; or the same rows cut into overlapping pieces, shuffled within and taken over several runs."""
    fleet.take("five_a.csv", SAMPLES + "".join(ROWS))
    other, chance = Fleet(tmp_path / "other"), random.Random(seed)
    starts = sorted(chance.sample(range(1, len(ROWS)), 3))
    pieces = [ROWS[max(a - 7, 0) : b] for a, b in zip([0, *starts], [*starts, len(ROWS)], strict=True)]
    pieces.append(chance.sample(ROWS, 25))
    chance.shuffle(pieces)
    for number, piece in enumerate(pieces):
        other.put(f"five_{number}.csv", SAMPLES + "".join(chance.sample(piece, len(piece))))
        if chance.random() < 0.5:
            other.ingest()
    sums = other.ingest().sums()
    assert other.values() == fleet.values()
    assert sums == {
        "data_rows": sum(map(len, pieces)),
        "readings": len(ROWS),
        "duplicates": sum(map(len, pieces)) - len(ROWS),
        "quarantine": 0,
        "rejects": 0,
    }


def test_counters_in_pieces(fleet, tmp_path) -> None:
    rows = [f"{1792998000 + 900 * i}\tP-LA\t1500\t{i / 100}\t{i / 4}\n" for i in range(40)]
    fleet.take("counters_a.csv", COUNTERS + "".join(rows) + "# end\n")
    other = Fleet(tmp_path / "other")
    for number, piece in enumerate((rows[:15], rows[10:30], rows[29:])):
        other.take(f"counters_{number}.csv", COUNTERS + "".join(piece) + "# end\n")
    assert other.values() == fleet.values()


def test_pump_added_later_is_read_again(fleet) -> None:
    fleet.put("five_a.csv", SAMPLES + "".join(ROWS[:10]) + ROWS[0].replace("P-LA", "P-NEW"))
    outcome = fleet.ingest()
    assert [(p.name, p.file, p.line) for p in outcome.problems] == [("pump_not_in_register", "five_a.csv", 12)]
    assert fleet.fates() == [(12, "quarantine", "pump_not_in_register")]
    fleet.add_pump("P-NEW")
    outcome = fleet.ingest()
    assert (outcome.taken, outcome.problems) == (["five_a.csv"], [])
    assert fleet.refused().is_empty()
    assert fleet.readings().height == 11
    assert fleet.ingest().taken == []


def test_pump_that_leaves_the_register_after_its_export_left_the_inbox(fleet) -> None:
    """Its readings stay in the lake; the run says nothing about rows that wait, for none do."""
    fleet.add_pump("P-OLD")
    path = fleet.put("five_a.csv", SAMPLES + ROWS[0].replace("P-LA", "P-OLD"))
    fleet.ingest()
    path.unlink()
    fleet.register_files(["site_id,site_name,pool_volume_m3", "S-LA,West,80"], ["pump_id,site_id", "P-LA,S-LA"])
    assert fleet.ingest().problems == []
    assert fleet.readings()["pump_id"].to_list() == ["P-OLD"]


def test_zone_mended_in_the_register_is_read_again(fleet) -> None:
    """Local days follow the zone: 06:30 UTC is the day before in Los Angeles and the same day in Berlin."""
    fleet.take("five_a.csv", SAMPLES + "2026-10-26T06:30:00Z,P-LA,1500,200,1\n")
    assert fleet.readings()["day_local"].dt.to_string("iso").to_list() == ["2026-10-25"]
    assert fleet.lake.reading_weeks() == ["2026-W43"]
    fleet.zone_of_west("Europe/Berlin")
    assert fleet.ingest().taken == ["five_a.csv"]
    assert fleet.readings()["day_local"].dt.to_string("iso").to_list() == ["2026-10-26"]
    assert fleet.lake.reading_weeks() == ["2026-W44"]


DIALECT = (
    'about = "made up"\n[file]\ndelimiter = ","\n'
    '[time]\ncolumn = "time_utc"\nformat = "%Y-%m-%dT%H:%M:%SZ"\nzone = "utc"\n'
    'label = "instant"\ninterval_s = 300\ngap_limit_s = 1200\n[pump]\ncolumn = "pump"\n'
    '[quantity]\npower = { column = "power_w", unit = "UNIT" }\n'
)


def test_changed_dialect_is_read_again(fleet) -> None:
    fleet.own_dialect(DIALECT.replace("UNIT", "W"))
    fleet.take("own_a.csv", SAMPLES + "2026-10-26T07:00:00Z,P-LA,1500,2,1\n")
    assert fleet.readings()["power_w"].to_list() == [2]
    fleet.own_dialect(DIALECT.replace("UNIT", "kW"))
    assert fleet.ingest().taken == ["own_a.csv"]
    assert fleet.readings()["power_w"].to_list() == [2000]
    assert fleet.ingest().taken == []


def test_changed_dialect_and_a_repeat_of_the_file(fleet) -> None:
    fleet.own_dialect(DIALECT.replace("UNIT", "W"))
    content = SAMPLES + "2026-10-26T07:00:00Z,P-LA,1500,2,1\n"
    fleet.put("own_b.csv", content)
    fleet.ingest()
    fleet.put("own_a.csv", content)
    fleet.ingest()
    fleet.own_dialect(DIALECT.replace("UNIT", "kW"))
    fleet.ingest()
    assert fleet.readings()["power_w"].to_list() == [2000]
    fleet.inbox.joinpath("own_b.csv").unlink()  # only the repeat is left, and the dialect changes once more
    fleet.own_dialect(DIALECT.replace("UNIT", "W"))
    fleet.ingest()
    assert fleet.readings()["power_w"].to_list() == [2]


def test_file_that_grows_under_one_name(fleet) -> None:
    fleet.take("five_a.csv", SAMPLES + "".join(ROWS[:10]))
    fleet.put("five_a.csv", SAMPLES + "".join(ROWS[:14]))
    exports = fleet.ingest().exports
    assert exports.select("file", "readings", "duplicates").rows() == [("five_a.csv", 10, 0), ("five_a.csv", 4, 10)]
    assert fleet.readings().height == 14


@pytest.mark.parametrize("stop", ["ledger", "second file"])
def test_files_of_a_stopped_run_are_swept(fleet, tmp_path, monkeypatch, stop) -> None:
    """A kill after files were moved into the lake and before the ledger knew: the next run is as if it had not been."""
    fleet.put("five_a.csv", SAMPLES + "".join(ROWS[:30]) + "nonsense\n")
    fleet.put("five_b.csv", SAMPLES + "".join(ROWS[20:]) + "nonsense\n")
    commit, calls = Ledger.commit, []

    def killed(self: Ledger, entry: object) -> None:
        calls.append(entry)
        if len(calls) == (1 if stop == "ledger" else 2):
            raise KeyboardInterrupt
        commit(self, entry)

    monkeypatch.setattr(Ledger, "commit", killed)
    with pytest.raises(KeyboardInterrupt):
        fleet.ingest()
    monkeypatch.undo()
    orphans = {path.stem for path in fleet.lake.root.glob("re*/**/*.parquet")}
    assert len(orphans) > len(Ledger(fleet.lake).entries)
    fleet.ingest()
    clean = Fleet(tmp_path / "clean")
    for name in ("five_a.csv", "five_b.csv"):
        clean.put(name, (fleet.inbox / name).read_bytes())
    clean.ingest()
    assert fleet.readings().equals(clean.readings())
    assert fleet.refused().equals(clean.refused())
    assert not any((fleet.lake.root / "staging").rglob("*.parquet"))


def test_lost_row_stops_the_run(fleet, monkeypatch) -> None:
    """Conservation is asserted, not hoped for: a fate that loses a row raises, and the export does not count."""
    from pumpledger.intake import stage

    parse_text = stage.parse_text

    def one_more(*args: object) -> stage.Parsed:
        parsed = parse_text(*args)
        return stage.Parsed(parsed.data_rows + 1, parsed.other_lines)

    monkeypatch.setattr(stage, "read_clean", lambda *_: None)
    monkeypatch.setattr(stage, "parse_text", one_more)
    fleet.put("five_a.csv", SAMPLES + ROWS[0])
    with pytest.raises(ConservationError, match="2 data rows, but 1 accounted for"):
        fleet.ingest()
    assert Ledger(fleet.lake).entries == []
