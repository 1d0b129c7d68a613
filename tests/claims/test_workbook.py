"""The workbook, read by openpyxl and worked out anew by LibreOffice, which know nothing of this tool."""

from __future__ import annotations

import io
import os
import shutil
import subprocess
import zipfile
from pathlib import Path

import openpyxl
import polars as pl
import pytest

from pumpledger.claims.workbook import workbook_bytes
from tests.claims.made_up_claim import MADE_UP_NAME, made_up_claim
from tests.claims.made_up_packet import counted

TOTALS = {
    "Days of the period": "days",
    "Days counted": "counted_days",
    "Share counted": "share",
    "Energy used, metered, kWh": "measured_kwh",
    "Energy used, kWh": "energy_kwh",
    "Baseline, kWh": "baseline_kwh",
    "Days behind it": "equal_days",
}


def soffice() -> str:
    found = shutil.which("soffice")
    if found is None and os.environ.get("CI") != "true":
        pytest.skip("LibreOffice is not installed")
    assert found, "CI works the formulas out anew"
    return found


def calculated(book: openpyxl.Workbook, tmp_path: Path) -> openpyxl.Workbook:
    """``book`` with its formulas worked out by LibreOffice; openpyxl writes formulas without values, so none is kept."""
    program = soffice()
    book.save(tmp_path / "claim.xlsx")
    subprocess.run(
        [program, "--headless", f"-env:UserInstallation=file://{tmp_path}/profile", "--convert-to", "xlsx", "--outdir",
         str(tmp_path / "out"), str(tmp_path / "claim.xlsx")],
        check=True, capture_output=True, timeout=180,
    )  # fmt: skip
    return openpyxl.load_workbook(tmp_path / "out" / "claim.xlsx", data_only=True)


def summary(book: openpyxl.Workbook) -> dict[str, object]:
    return {row[0]: row[1] for row in book["Claim"].iter_rows(values_only=True, min_row=6) if row[0]}


def loaded(**changed: object) -> openpyxl.Workbook:
    return openpyxl.load_workbook(io.BytesIO(workbook_bytes(made_up_claim(**changed))))


def test_an_office_program_comes_to_the_same_totals(tmp_path: Path) -> None:
    claim = made_up_claim()
    printed = openpyxl.load_workbook(io.BytesIO(workbook_bytes(claim)), data_only=True)
    book = calculated(loaded(), tmp_path)
    found = summary(book)
    for name, field in TOTALS.items():
        assert found[name] == pytest.approx(getattr(claim.totals, field), abs=1e-9), name
        assert summary(printed)[name] == pytest.approx(found[name], abs=1e-9), name
    assert found["Raw saving, kWh"] == pytest.approx(claim.totals.raw.mid, abs=1e-9)
    assert found["Saving at equal volume, kWh"] == pytest.approx(claim.totals.equal.mid, abs=1e-9)
    assert found["Raw saving, USD"] == pytest.approx(claim.totals.raw_money.mid, abs=1e-9)
    months = list(book["Months"].iter_rows(values_only=True, min_row=2))
    names = ("month", "days", "counted_days", "energy_kwh", "baseline_kwh", "raw_kwh", "equal_kwh")
    for row, month in zip(months[:-1], claim.months.iter_rows(named=True), strict=True):
        assert list(row) == pytest.approx([month[name] for name in names], abs=1e-9)
    assert months[-1][5] == pytest.approx(claim.totals.raw.mid, abs=1e-9)


def test_the_formulas_are_live(tmp_path: Path) -> None:
    """A day struck in the sheet of days leaves the totals by as much as it held."""
    book, claim = loaded(), made_up_claim()
    heads = [cell.value for cell in book["Days"][1]]
    book["Days"].cell(2, heads.index("state") + 1).value = "left out"
    first = claim.days.row(0, named=True)
    found = summary(calculated(book, tmp_path))
    assert found["Days counted"] == claim.totals.counted_days - 1
    assert found["Raw saving, kWh"] == pytest.approx(claim.totals.raw.mid - first["raw_kwh_mid"], abs=1e-9)
    assert found["Energy used, kWh"] == pytest.approx(claim.totals.energy_kwh - first["energy_kwh_mid"], abs=1e-9)


def test_days_are_values_and_the_arithmetic_is_formulas() -> None:
    book = loaded()
    assert not any(isinstance(cell.value, str) and cell.value.startswith("=") for row in book["Days"] for cell in row)
    assert str(book["Claim"]["B12"].value).startswith("=SUMIFS(Days!")
    for sheet in book.worksheets:
        assert sheet.freeze_panes, sheet.title


def test_values_are_those_of_the_data(packet: Path) -> None:
    book = openpyxl.load_workbook(packet / "data" / "claim.xlsx", data_only=True)
    heads, *rows = book["Days"].iter_rows(values_only=True)
    at = heads.index("raw_kwh_mid")
    held = [row[at] for row in rows if row[heads.index("state")] == "counted"]
    assert held == pytest.approx(counted(packet)["raw_kwh_mid"].to_list(), rel=2e-15)  # a cell holds 16 digits


@pytest.mark.parametrize(
    "text", ["=1+1", "+1", "-1", "@SUM(A1)", "=cmd|'/c calc'!A0", "\t=1", "_x0041_", "a\x07b\u202ec"]
)
def test_text_of_a_register_is_text(text: str) -> None:
    claim = made_up_claim()
    odd = claim.ready.with_columns(pl.lit(text).alias("sentence"), pl.lit(text).alias("requirement"))
    book = openpyxl.load_workbook(io.BytesIO(workbook_bytes(made_up_claim(ready=odd))))
    cells = [cell for row in book["Ready"].iter_rows(min_row=2) for cell in row if cell.column in (2, 4)]
    assert {cell.data_type for cell in cells} == {"s"}
    shown = text.replace("\t", "[U+0009]").replace("\x07", "[U+0007]").replace("\u202e", "[U+202E]")
    assert {cell.value for cell in cells} == {shown}


def test_no_macros_no_links_no_names() -> None:
    with zipfile.ZipFile(io.BytesIO(workbook_bytes(made_up_claim()))) as archive:
        names = archive.namelist()
        text = b"".join(archive.read(name) for name in names)
        assert {info.date_time[:3] for info in archive.infolist()} == {(1980, 1, 1)}
    assert not [name for name in names if "vba" in name.lower() or "externalLink" in name]
    assert MADE_UP_NAME.encode() not in text and b"Invented Person" not in text


def test_a_saving_that_cannot_be_told_is_not_zero() -> None:
    from dataclasses import replace

    claim = made_up_claim()
    unknown = replace(claim.totals, equal=None, equal_money=None)
    found = summary(openpyxl.load_workbook(io.BytesIO(workbook_bytes(made_up_claim(totals=unknown))), data_only=True))
    assert found["Saving at equal volume, kWh"] == "cannot be told"


def test_the_same_claim_gives_the_same_bytes() -> None:
    assert workbook_bytes(made_up_claim()) == workbook_bytes(made_up_claim())
