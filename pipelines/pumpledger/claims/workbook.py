"""The claim as a workbook: what is known as plain values, what the claim makes of it as live formulas.

Belongs here: the sheets, their formulas and the settings that keep the bytes the same. A formula carries the value that the
claim prints, for readers that do not calculate; a test has an office program work them out anew.
"""

from __future__ import annotations

import io
from datetime import date, datetime, time

import polars as pl
import xlsxwriter
from xlsxwriter.utility import xl_col_to_name
from xlsxwriter.workbook import Workbook
from xlsxwriter.worksheet import Worksheet

from pumpledger.claims.clean_data import claim_frames, dictionary
from pumpledger.claims.data import ClaimData, Interval
from pumpledger.claims.seen import seen

_LONGEST = 32_000
"""A cell holds 32,767 characters."""
_SHEETS = {"ready": "Ready", "exclusions": "Exclusions", "power_by_speed": "Power by speed",
           "hours_by_speed_month": "Hours by speed", "balance": "Balance", "stipulated": "Stipulated",
           "uncertainty": "Uncertainty", "plans": "Plans", "visits": "Visits", "exports": "Exports",
           "method": "Method"}  # fmt: skip


def workbook_bytes(claim: ClaimData) -> bytes:
    """The workbook: the same bytes for the same claim."""
    held = io.BytesIO()
    settings = {
        "in_memory": True,
        "strings_to_formulas": False,
        "strings_to_urls": False,
        "strings_to_numbers": False,
        "default_date_format": "yyyy-mm-dd",
        "nan_inf_to_errors": False,
    }
    with xlsxwriter.Workbook(held, settings) as book:
        book.set_properties(
            {"title": f"Savings claim {claim.claim_id}", "created": datetime.combine(claim.last_day, time())}
        )
        _Sheets(book, claim).write()
    return held.getvalue()


class _Sheets:
    """The sheets of one workbook."""

    def __init__(self, book: Workbook, claim: ClaimData) -> None:
        self.book, self.claim = book, claim
        self.tables = claim_frames(claim)
        self.head = book.add_format({"bold": True, "bottom": 1, "text_wrap": True, "valign": "top"})
        self.bold = book.add_format({"bold": True})
        self.alarm = book.add_format({"bold": True, "font_color": "#8B1A1A"})
        self.energy = book.add_format({"num_format": "#,##0.000"})
        self.money = book.add_format({"num_format": "#,##0.00"})
        self.whole = book.add_format({"num_format": "#,##0"})
        self.share = book.add_format({"num_format": "0.0%"})
        self.day = book.add_format({"num_format": "yyyy-mm-dd"})
        self.moment = book.add_format({"num_format": "yyyy-mm-dd hh:mm:ss"})

    def write(self) -> None:
        summary = self.book.add_worksheet("Claim")
        days, frame = self.book.add_worksheet("Days"), self.tables["days"][1]
        self.last_row = frame.height + 1
        self.columns = {name: xl_col_to_name(at) for at, name in enumerate(frame.columns)}
        self._frame(days, frame)
        self._arithmetic(self.book.add_worksheet("Savings"), frame)
        self._months(self.book.add_worksheet("Months"))
        for name, title in _SHEETS.items():
            self._frame(self.book.add_worksheet(title), self.tables[name][1])
        self._frame(self.book.add_worksheet("Columns"), dictionary(self.tables))
        self._summary(summary)

    def _range(self, column: str, sheet: str = "Days") -> str:
        letter = self.columns[column] if sheet == "Days" else column
        return f"{sheet}!${letter}$2:${letter}${self.last_row}"

    def _counted(self, column: str) -> str:
        return f'SUMIFS({self._range(column)},{self._range("state")},"counted")'

    def _frame(self, sheet: Worksheet, frame: pl.DataFrame) -> None:
        """Values alone, under a frozen header."""
        self._heads(sheet, frame.columns)
        for at, column in enumerate(frame.iter_columns()):
            width = max([len(column.name), *(len(str(value)) for value in column.head(200).to_list())])
            sheet.set_column(at, at, min(max(width + 1, 9), 60))
            for row, value in enumerate(column.to_list(), 1):
                self._cell(sheet, row, at, value)

    def _heads(self, sheet: Worksheet, heads: list[str]) -> None:
        for at, name in enumerate(heads):
            sheet.write_string(0, at, name, self.head)
        sheet.freeze_panes(1, 1)
        sheet.repeat_rows(0)

    def _cell(self, sheet: Worksheet, row: int, at: int, value: object) -> None:
        if value is None:
            return
        if isinstance(value, bool):
            sheet.write_boolean(row, at, value)
        elif isinstance(value, datetime):
            sheet.write_datetime(row, at, value, self.moment)
        elif isinstance(value, date):
            sheet.write_datetime(row, at, datetime.combine(value, time()), self.day)
        elif isinstance(value, int | float):
            sheet.write_number(row, at, value)
        else:
            self._text(sheet, row, at, str(value))

    def _text(self, sheet: Worksheet, row: int, at: int, value: str) -> None:
        shown = seen(value)
        sheet.write_string(row, at, shown if len(shown) <= _LONGEST else shown[:_LONGEST] + " [cut]")

    def _arithmetic(self, sheet: Worksheet, frame: pl.DataFrame) -> None:
        """Each counted day's saving from its energy and its baseline."""
        self._heads(
            sheet, ["day_local", "state", "energy_kwh", "baseline_kwh", "raw_kwh", "baseline_equal_kwh", "equal_kwh"]
        )
        sheet.set_column(0, 6, 18)
        for row, day in enumerate(frame.iter_rows(named=True), 1):
            counted = day["state"] == "counted"
            self._cell(sheet, row, 0, day["day_local"])
            sheet.write_formula(row, 1, f"=Days!{self.columns['state']}{row + 1}", None, day["state"])
            for at, column in ((2, "energy_kwh_mid"), (3, "baseline_kwh"), (5, "baseline_equal_kwh")):
                cell = f"Days!{self.columns[column]}{row + 1}"
                empty = day[column] is None
                sheet.write_formula(row, at, f'=IF({cell}="","",{cell})', self.energy, "" if empty else day[column])
            for at, base in ((4, "D"), (6, "F")):
                old = day["baseline_kwh" if base == "D" else "baseline_equal_kwh"]
                known = counted and old is not None and day["energy_kwh_mid"] is not None
                made = (
                    f'=IF(AND(B{row + 1}="counted",ISNUMBER({base}{row + 1}),ISNUMBER(C{row + 1})),'
                    f'{base}{row + 1}-C{row + 1},"")'
                )
                sheet.write_formula(row, at, made, self.energy, old - day["energy_kwh_mid"] if known else "")

    def _months(self, sheet: Worksheet) -> None:
        """Sums of each month over the sheet of days, and the period's below."""
        self._heads(sheet, ["month", "days", "counted_days", "energy_kwh", "baseline_kwh", "raw_kwh", "equal_kwh"])
        sheet.set_column(0, 6, 16)
        first, stop = 'DATEVALUE($A{row}&"-01")', 'EDATE(DATEVALUE($A{row}&"-01"),1)'
        inside = f'{self._range("day_local")},">="&{first},{self._range("day_local")},"<"&{stop}'
        months = self.tables["months"][1]
        for row, month in enumerate(months.iter_rows(named=True), 1):
            within = inside.format(row=row + 1)
            state = f'{self._range("state")},"counted"'
            self._text(sheet, row, 0, month["month"])
            sheet.write_formula(row, 1, f"=COUNTIFS({within})", self.whole, month["days"])
            sheet.write_formula(row, 2, f"=COUNTIFS({within},{state})", self.whole, month["counted_days"])
            for at, name, column in (
                (3, "energy_kwh", self._range("energy_kwh_mid")),
                (4, "baseline_kwh", self._range("baseline_kwh")),
                (5, "raw_kwh", self._range("E", "Savings")),
                (6, "equal_kwh", self._range("G", "Savings")),
            ):
                sheet.write_formula(row, at, f"=SUMIFS({column},{within},{state})", self.energy, month[name] or 0.0)
        row = months.height + 1
        sheet.write_string(row, 0, "Period", self.bold)
        for at, name in enumerate(("days", "counted_days", "energy_kwh", "baseline_kwh", "raw_kwh", "equal_kwh"), 1):
            letter = xl_col_to_name(at)
            value = sum(value for value in months[name].to_list() if value is not None)
            form = self.whole if at < 3 else self.energy
            sheet.write_formula(row, at, f"=SUM({letter}2:{letter}{row})", form, value)

    def _summary(self, sheet: Worksheet) -> None:
        claim, totals = self.claim, self.claim.totals
        sheet.set_column(0, 0, 44)
        sheet.set_column(1, 3, 18)
        sheet.set_column(4, 4, 70)
        self._heads(sheet, ["Claim", "Value", "Low, 90 %", "High, 90 %", "How"])
        sheet.freeze_panes(1, 0)
        if claim.made_up:
            sheet.write_string(1, 0, "This data is made up.", self.bold)
        self._text(sheet, 2, 0, claim.claim_id)
        sheet.write_string(2, 1, claim.verdict, self.bold if claim.is_ready else self.alarm)
        self._text(
            sheet, 3, 0, f"Site {claim.site['site_id']}, {claim.first_day} to {claim.last_day}, days of {claim.zone}"
        )
        lines = [
            ("Days of the period", f"=COUNTA({self._range('day_local')})", totals.days, None, self.whole),
            ("Days counted", f'=COUNTIFS({self._range("state")},"counted")', totals.counted_days, None, self.whole),
            ("Share counted", "=B7/B6", totals.share, None, self.share),
            ("Energy used, metered, kWh", "=" + self._counted("measured_kwh"), totals.measured_kwh, None, self.energy),
            ("Energy used, by the power curve, kWh", "=" + self._counted("computed_kwh"), totals.computed_kwh, None, self.energy),
            ("Energy used, kWh", "=" + self._counted("energy_kwh_mid"), totals.energy_kwh, None, self.energy),
            ("Baseline, kWh", "=" + self._counted("baseline_kwh"), totals.baseline_kwh, None, self.energy),
            ("Raw saving, kWh", f"=SUM({self._range('E', 'Savings')})", _mid(totals.raw), totals.raw, self.energy),
            ("Saving at equal volume, kWh", f"=SUM({self._range('G', 'Savings')})", _mid(totals.equal), totals.equal, self.energy),
            ("Days behind it", f"=COUNT({self._range('G', 'Savings')})", totals.equal_days, None, self.whole),
            (f"Raw saving, {claim.currency}", "=" + self._counted("raw_money_mid"), _mid(totals.raw_money), totals.raw_money, self.money),
            (f"Saving at equal volume, {claim.currency}", "=" + self._counted("equal_money_mid"), _mid(totals.equal_money),
             totals.equal_money, self.money),
        ]  # fmt: skip
        for row, (name, formula, value, interval, form) in enumerate(lines, 5):
            sheet.write_string(row, 0, name)
            if value is None:
                sheet.write_string(row, 1, "cannot be told")
                continue
            sheet.write_formula(row, 1, formula, form, value)
            if interval is not None:
                sheet.write_number(row, 2, interval.lo, form)
                sheet.write_number(row, 3, interval.hi, form)
                sheet.write_string(
                    row, 4, "Low and high: the terms of sheet Uncertainty, by the method of the document."
                )
        row = len(lines) + 6
        for text in (
            *claim.labels,
            "Values of the other sheets are as the accounts hold them; see sheet Columns for units.",
        ):
            self._text(sheet, row, 0, text)
            row += 1


def _mid(found: Interval | None) -> float | None:
    return None if found is None else found.mid
