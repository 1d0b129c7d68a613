"""Reads one register CSV against its fields: every fault found at once, with file, line, column and what was expected.

Belongs here: one file by itself. Checks between files stand in `checks.py`.
"""

from __future__ import annotations

import csv
import difflib
import io
import re
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

from pumpledger.problems import Problem
from pumpledger.register.fields import Field
from pumpledger.register.zone import is_zone
from pumpledger.units import to_inside

_ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9_.-]{0,39}")
_CLOCK = re.compile(r"([01]?\d|2[0-4]):([0-5]\d)", re.ASCII)
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d+)?", re.ASCII | re.IGNORECASE)
_YES_NO = {"yes": True, "no": False, "true": True, "false": False, "1": True, "0": False}


class _Unfit(ValueError):
    """A cell that does not fit its field; the message says what was expected."""


@dataclass(slots=True)
class RegisterRows:
    """Rows read from one file. ``rows`` fit every field; ``bad`` hold at least one fault, with what could be read of
    them."""

    file: str
    rows: list[dict[str, object]] = field(default_factory=list)
    bad: list[dict[str, object]] = field(default_factory=list)
    header_ok: bool = True


def read_rows(path: Path, name: str, fields: tuple[Field, ...], problems: list[Problem]) -> RegisterRows:
    """Read ``path``; append each fault to ``problems``.

    Each row carries ``line`` (1-based) and every field under its inside column name, converted to the inside unit; a
    clock becomes minutes since midnight under ``<name>_min``.
    """
    result = RegisterRows(name)
    try:
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        problems.append(
            Problem("file_missing", "the file is missing; expected columns: " + _expected(fields), file=name)
        )
        return RegisterRows(name, header_ok=False)
    except (UnicodeDecodeError, OSError) as error:
        problems.append(
            Problem("file_unreadable", f"cannot be read as UTF-8 text ({error}); save it as UTF-8 CSV", file=name)
        )
        return RegisterRows(name, header_ok=False)
    # Not str.splitlines: it also splits at form feeds and at the line separators of Unicode, which a name may hold.
    reader = csv.reader(io.StringIO(text), strict=True)
    line = 1
    try:
        header = [cell.strip() for cell in next(reader, [])]
        wanted = _match_header(header, name, fields, problems)
        if wanted is None:
            return RegisterRows(name, header_ok=False)
        line = reader.line_num + 1
        for cells in reader:
            if any(cell.strip() for cell in cells):
                _read_row(cells, len(header), line, wanted, fields, result, problems)
            line = reader.line_num + 1
    except csv.Error as error:
        fault = f"is not a CSV file from here on ({error}); is a quote left open?"
        problems.append(Problem("file_unreadable", fault, file=name, line=line))
        return RegisterRows(name, header_ok=False)
    return result


def _expected(fields: tuple[Field, ...]) -> str:
    return ", ".join(" or ".join(item.columns) for item in fields if item.required)


def _match_header(
    header: list[str], name: str, fields: tuple[Field, ...], problems: list[Problem]
) -> dict[str, tuple[int, str]] | None:
    """Field name -> (position, unit in the file); ``None`` when the file cannot be used."""
    known = {column: (item, unit) for item in fields for column, unit in item.columns.items()}
    found: dict[str, tuple[int, str]] = {}
    usable = True
    for position, column in enumerate(header):
        if not column:
            continue
        if column not in known:
            close = difflib.get_close_matches(column, known, n=1)
            hint = f"; did you mean {close[0]}?" if close else f"; known columns: {', '.join(known)}"
            problems.append(
                Problem(
                    "unknown_column",
                    f"the column {column!r} is not known and is not used{hint}",
                    "warns",
                    name,
                    1,
                    column,
                )
            )
            continue
        item, unit = known[column]
        if item.name in found:
            problems.append(
                Problem(
                    "column_twice",
                    f"{item.name} is given twice; keep one of {' or '.join(item.columns)}",
                    file=name,
                    line=1,
                    column=column,
                )
            )
            usable = False
        found[item.name] = (position, unit)
    for item in fields:
        if item.required and item.name not in found:
            problems.append(
                Problem(
                    "column_missing",
                    f"the column {' or '.join(item.columns)} is missing: {item.meaning}",
                    file=name,
                    line=1,
                    column=item.column,
                )
            )
            usable = False
    return found if usable else None


def _read_row(
    cells: list[str],
    width: int,
    line: int,
    wanted: dict[str, tuple[int, str]],
    fields: tuple[Field, ...],
    result: RegisterRows,
    problems: list[Problem],
) -> None:
    row: dict[str, object] = {"line": line}
    good = True
    for item in fields:
        position, unit = wanted.get(item.name, (-1, item.unit))
        text = cells[position].strip() if 0 <= position < len(cells) else ""
        column = f"{item.name}_min" if item.kind == "clock" else item.column
        try:
            row[column] = _value(item, unit, text)
        except _Unfit as unfit:
            shown = f"{item.name}_{unit}" if unit else item.name
            problems.append(
                Problem(
                    "bad_value",
                    f"{text!r} does not fit; expected {unfit}",
                    file=result.file,
                    line=line,
                    column=shown,
                    site_id=str(row["site_id"]) if row.get("site_id") else None,
                )
            )
            row[column] = None
            good = False
    if len(cells) < width or any(cell.strip() for cell in cells[width:]):
        fault = f"has {len(cells)} fields where the header has {width}; is the line torn, or a comma not in quotes?"
        site_id = str(row["site_id"]) if row.get("site_id") else None
        problems.append(Problem("row_width", fault, file=result.file, line=line, site_id=site_id))
        good = False
    (result.rows if good else result.bad).append(row)


def _value(item: Field, unit: str, text: str) -> object:
    if not text:
        if item.required:
            raise _Unfit(f"a value: {item.meaning}")
        return item.default
    match item.kind:
        case "number" | "count":
            return _number(item, unit, text)
        case "months":
            return _months(item, text)
        case "id":
            if not _ID.fullmatch(text):
                raise _Unfit("a code of letters, digits, '-', '_' and '.', at most 40 long")
        case "choice":
            if text not in item.choices:
                raise _Unfit("one of " + ", ".join(item.choices))
        case "day":
            try:
                return date.fromisoformat(text)
            except ValueError:
                raise _Unfit("a day as YYYY-MM-DD") from None
        case "clock":
            found = _CLOCK.fullmatch(text)
            minutes = int(found[1]) * 60 + int(found[2]) if found else 1441
            if minutes > 1440:
                raise _Unfit("a wall clock time HH:MM from 00:00 to 24:00")
            return minutes
        case "yes_no":
            if text.lower() not in _YES_NO:
                raise _Unfit("yes or no")
            return _YES_NO[text.lower()]
        case "zone":
            if not is_zone(text):
                raise _Unfit("an IANA time zone such as America/Los_Angeles")
    return text


def _months(item: Field, text: str) -> str:
    """Twelve numbers as text, each as `_number` takes it."""
    values = text.split()
    try:
        if len(values) == 12:
            return " ".join(f"{_number(item, item.unit, value):g}" for value in values)
    except _Unfit:
        pass
    raise _Unfit(f"12 numbers from {item.least:g} to {item.most:g}, January first, a space between them")


def _number(item: Field, unit: str, text: str) -> float | int:
    kind = "a whole number" if item.kind == "count" else "a number with a decimal point"
    bounds = (
        f" from {item.least:g} to {item.most:g} {item.unit}".rstrip()
        if item.least is not None and item.most is not None
        else ""
    )
    if not _NUMBER.fullmatch(text):  # float() would also take 1_000, nan and the digits of other scripts
        raise _Unfit(kind + bounds)
    try:
        value = int(text) if item.kind == "count" else float(text)
    except ValueError:
        raise _Unfit(kind + bounds) from None
    inside = to_inside(value, unit) if unit != item.unit else value
    if not (item.least is None or item.most is None or item.least <= inside <= item.most):
        raise _Unfit(kind + bounds)
    return inside
