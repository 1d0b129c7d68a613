"""The packet as a whole: the same totals in every form, every file there, the same bytes twice."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import openpyxl
import polars as pl
import pytest

from pumpledger.claims.clean_data import csv_bytes
from pumpledger.claims.configuration import configuration
from pumpledger.claims.figures import differences, figures
from pumpledger.claims.packet import write_packet
from pumpledger.claims.redacted import redacted_claim
from tests.claims.made_up_claim import MADE_UP_NAME, made_up_claim
from tests.claims.made_up_packet import counted, made_up_evidence, pages


def contents(folder: Path) -> dict[str, bytes]:
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def test_pdf_workbook_csv_and_parquet_have_the_same_totals(packet: Path) -> None:
    held = counted(packet)
    read = pl.read_csv(packet / "data" / "clean" / "days.csv").filter(pl.col("state") == "counted")
    text = " ".join(pages(packet / "data" / "claim.pdf"))
    book = openpyxl.load_workbook(packet / "data" / "claim.xlsx", data_only=True)
    cells = {row[0]: row[1] for row in book["Claim"].iter_rows(values_only=True)}
    published = json.loads((packet / "data" / "claim.json").read_text())["totals"]
    for column, name, field in (
        ("energy_kwh_mid", "Energy used, kWh", published["energy_kwh"]),
        ("baseline_kwh", "Baseline, kWh", published["baseline_kwh"]),
        ("raw_kwh_mid", "Raw saving, kWh", published["raw"]["mid"]),
        ("equal_kwh_mid", "Saving at equal volume, kWh", published["equal"]["mid"]),
    ):
        total = sum(held[column].to_list())
        assert sum(read[column].to_list()) == total
        assert cells[name] == pytest.approx(total, abs=1e-9)
        assert field == pytest.approx(total, abs=1e-9)
        assert f"{total:,.3f}" in text, name


def test_the_dictionary_names_every_column_of_every_file(packet: Path) -> None:
    folder = packet / "data" / "clean"
    rows = list(csv.DictReader(io.StringIO((folder / "data_dictionary.csv").read_text("utf-8"))))
    told = {(row["table"], row["column"]): row for row in rows}
    for path in folder.glob("*.parquet"):
        columns = pl.read_parquet_schema(path)
        assert set(columns) == {column for table, column in told if table == path.stem}
        with (folder / f"{path.stem}.csv").open(encoding="utf-8", newline="") as file:
            assert next(csv.reader(file)) == list(columns)
    assert told["days", "raw_kwh_mid"]["unit"] == "kWh"
    assert all(row["meaning"] for row in rows)


def test_csv_reads_back_as_the_same_numbers_and_is_safe() -> None:
    frame = pl.DataFrame({"a": [0.1 + 0.2, 1 / 3, None], "t": ["=1+1", 'say "x", y\nz', "a\u202eb"]})
    read = list(csv.reader(io.StringIO(csv_bytes(frame).decode(), newline="")))
    assert [float(row[0]) if row[0] else None for row in read[1:]] == frame["a"].to_list()
    assert [row[1] for row in read[1:]] == ["'=1+1", 'say "x", y[U+000A]z', "a[U+202E]b"]


def test_exports_are_as_received(packet: Path, tmp_path: Path) -> None:
    wanted = made_up_evidence(tmp_path / "fleet").exports
    held = {path.name: path.read_bytes() for path in (packet / "data" / "exports").iterdir()}
    assert held == {name: path.read_bytes() for name, path in wanted.items()}


def test_two_builds_have_the_same_bytes_wherever_they_are_made(packet: Path, tmp_path: Path) -> None:
    digest = write_packet(tmp_path / "other", made_up_claim(), made_up_evidence(tmp_path / "fleet"))
    again = write_packet(tmp_path / "other", made_up_claim(), made_up_evidence(tmp_path / "fleet2"))
    assert digest == again
    assert contents(tmp_path / "other") == contents(packet)
    assert [path.name for path in tmp_path.iterdir() if path.name.startswith(".")] == []


def test_a_redacted_packet_names_nobody(tmp_path: Path) -> None:
    write_packet(tmp_path / "out", made_up_claim(), made_up_evidence(tmp_path / "fleet"), redacted=True)
    held = contents(tmp_path / "out")
    assert not [name for name in held if "exports/" in name]
    for name, content in held.items():
        for private in (MADE_UP_NAME, "Invented Town", "Invented Person", "logger_2026"):
            assert private.encode() not in content, name
    assert b"redacted" in held["data/README.txt"]


def test_words_of_the_register_are_taken_out_wherever_they_found_their_way() -> None:
    claim = made_up_claim()
    pumps = claim.pumps.with_columns(pl.lit("photo by Invented Person").alias("baseline_source"))
    stipulated = claim.stipulated.with_columns(pl.lit("measured: photo by Invented Person").alias("source"))
    ready = claim.ready.with_columns(pl.lit(f"is at {MADE_UP_NAME}").alias("sentence"))
    bare = redacted_claim(made_up_claim(pumps=pumps, stipulated=stipulated, ready=ready))
    assert bare.stipulated["source"].to_list() == ["measured: [left out]"]
    assert set(bare.ready["sentence"]) == {"is at [left out]"}
    assert "baseline_source" not in bare.pumps.columns and bare.private == {}
    assert bare.totals == claim.totals and bare.days.equals(claim.days)


def test_the_full_packet_names_people_on_the_cover_and_in_the_register_alone(packet: Path) -> None:
    for name, content in contents(packet).items():
        if name != "data/configuration/sites.csv":
            assert MADE_UP_NAME.encode() not in content and b"Invented Person" not in content, name


def test_the_figures_have_no_names_and_differ_by_less_than_a_watt_hour_or_say_so() -> None:
    claim = made_up_claim()
    assert MADE_UP_NAME not in json.dumps(figures(claim), default=str)
    assert differences(figures(claim), figures(made_up_claim())) == []
    for change, seen in ((0.0004, False), (0.0006, True), (-0.001, True)):
        days = claim.days.with_columns(pl.col("raw_kwh_mid") + change)
        assert bool(differences(figures(claim), figures(made_up_claim(days=days)))) is seen
    shorter = made_up_claim(days=claim.days.head(-1))
    assert any("rows" in fault for fault in differences(figures(claim), figures(shorter)))
    assert differences(figures(claim), figures(made_up_claim(is_ready=True)))


@pytest.fixture
def fleet(tmp_path: Path) -> Path:
    files = {
        "fleet.toml": "name = 'made up'\n",
        "sites.csv": "\ufeffsite_id,site_name,weather,tariff\nA,Invented House,coast,flat\nB,Invented Hall,ridge,\nC,Other,coast,\n",
        "pumps.csv": "pump_id,site_id,full_speed_rpm\nP-A,A,3450\nP-B,B,3450\nP-C,C,3450\n",
        "plans.csv": "pump_id,period\nP-A,1\nP-B,1\nP-C,1\n",
        "visits.csv": "site_id,note\nA,with Invented Person\nB,with Invented Person\nC,x\n",
        "pump_curves.csv": "curve,speed_rpm\nQ,3450\n",
        "verdicts.csv": "source,pump_id,decided_by\nlogger,,Invented Person\nother,,Somebody\n",
        "claims.csv": "claim_id,site_id\nc-1,A\nc-2,A\nc-3,C\n",
        "action_log.csv": "action_id\nx\n",
        "weather/coast.csv": "time_utc\n",
        "weather/ridge.csv": "time_utc\n",
        "weather/far.csv": "time_utc\n",
        "tariffs/flat.toml": "x = 1\n",
        "tariffs/other.toml": "x = 1\n",
        "dialects/own.toml": "x = 1\n",
        "programmes/p.toml": "x = 1\n",
        "programmes/q.toml": "x = 1\n",
    }
    for name, text in files.items():
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text(text, encoding="utf-8")
    return tmp_path


def test_of_other_sites_go_only_those_of_the_same_source_and_without_names(fleet: Path) -> None:
    kept = configuration(fleet, "A", {"P-A": "A", "P-B": "B"}, {"logger"}, "programmes/p.toml", "c-1")
    assert kept["sites.csv"].decode().splitlines()[1:] == ["A,Invented House,coast,flat", "B,B,ridge,"]
    assert kept["pumps.csv"].decode().splitlines()[1:] == ["P-A,A,3450", "P-B,B,3450"]
    assert kept["plans.csv"].decode().splitlines()[1:] == ["P-A,1", "P-B,1"]
    assert kept["visits.csv"].decode().splitlines()[1:] == ["A,with Invented Person", "B,"]
    assert kept["claims.csv"].decode().splitlines()[1:] == ["c-2,A"]
    assert kept["pump_curves.csv"].decode().splitlines()[1:] == ["Q,3450"]
    assert kept["verdicts.csv"].decode().splitlines()[1:] == ["logger,,left-out"]
    others = {"weather/coast.csv", "weather/ridge.csv", "tariffs/flat.toml", "dialects/own.toml", "programmes/p.toml"}
    assert {name for name in kept if "/" in name} == others
    assert "action_log.csv" not in kept


def test_the_redacted_configuration_holds_no_other_site_and_no_name(fleet: Path) -> None:
    kept = configuration(fleet, "A", {"P-A": "A", "P-B": "B"}, {"logger"}, redacted=True)
    assert kept["sites.csv"].decode().splitlines()[1:] == ["A,A,coast,flat"]
    assert not [name for name, content in kept.items() if b"Invented" in content]
    assert "weather/ridge.csv" not in kept
