"""What a schema cannot say of a dialect: fields that depend on each other.

Belongs here: one function a rule; it yields sentences that name the field and what is expected. A rule is judged only
where the schema finds no fault in the tables it looks at, so that one slip is told once.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator
from typing import Any

from pumpledger.intake.safe_regex import regex_faults
from pumpledger.register.zone import is_zone

Content = dict[str, Any]

_FORMAT_MARK = re.compile(r"%-?[YymdHIMSjbB]|%[pfz%]")
"""Marks of time.format that both ways of reading understand."""

_WHOLE_FORMATS = ("epoch_s", "epoch_ms", "timestamp")

_FIXED_OFFSET = re.compile(r"[+-](\d\d):(\d\d)", re.ASCII)


def broken_rules(content: Content, sound: set[str]) -> list[str]:
    """A sentence for each broken rule. ``sound`` are the tables of ``content`` that fit the schema."""
    carrier = content.get("carrier", "text")
    absent = {"text": set(), "parquet": {"file"}, "espi": {"file", "quantity"}}.get(str(carrier), set()) - set(content)
    return [fault for rule, tables in _RULES if sound | absent >= tables for fault in rule(content)]


def _interval(content: Content) -> Iterator[str]:
    time = content["time"]
    if "label" not in time:  # ESPI: each reading has its own
        return
    if time["label"] != "change_of_state" and "interval_s" not in time:
        yield "time.interval_s is needed for samples and intervals"
    if time.get("interval_s", 0) > time["gap_limit_s"]:
        yield "time.gap_limit_s is shorter than time.interval_s, so every reading would stand alone"


def _energy(content: Content) -> Iterator[str]:
    quantity = content.get("quantity", {})
    if "energy" in quantity:
        if not content["time"]["label"].startswith("interval"):
            yield "quantity.energy is the energy of an interval, so time.label says where the interval lies"
        if "power" in quantity:
            yield "quantity.energy and quantity.power say the same; keep one"


def _zone(content: Content) -> Iterator[str]:
    time = content["time"]
    zone, form = time.get("zone"), time.get("format")
    if zone is None:
        return
    if (zone == "offset") != ("%z" in re.findall("%.", form)):
        yield 'time.zone = "offset" goes with %z in time.format, and only with it'
    if form in ("epoch_s", "epoch_ms") and zone != "utc":
        yield f'time.format = "{form}" goes with time.zone = "utc"'
    offset = _FIXED_OFFSET.fullmatch(zone)
    if offset and (offset[2] not in ("00", "15", "30", "45") or not -12 <= int(zone[:3]) + _part(zone) <= 14):
        yield f"time.zone = {zone!r} is no offset of any place; it lies from -12:00 to +14:00 in quarter hours"
    elif not offset and zone not in ("utc", "offset", "site") and not is_zone(zone):
        yield "time.zone is utc, offset, site, a fixed offset such as +02:00, or an IANA zone such as Europe/Berlin"


def _part(offset: str) -> float:
    """The minutes of ``+hh:mm`` in hours, with its sign."""
    return (1 if offset[0] == "+" else -1) * int(offset[4:]) / 60


def _format(content: Content) -> Iterator[str]:
    time = content["time"]
    form = time.get("format")
    if form is None:
        return
    two = "date_column" in time
    if form == "timestamp" and content.get("carrier", "text") != "parquet":
        yield 'time.format = "timestamp" is a typed column, which carrier = "parquet" alone has'
    if form in _WHOLE_FORMATS:
        if two:
            yield f"time.date_column and time.clock_column need a format with a space between; {form} is one column"
        return
    marks = re.findall(r"%-?.?", form)
    unknown = [mark for mark in marks if not _FORMAT_MARK.fullmatch(mark)]
    if unknown or "%" not in form:
        yield (
            f"time.format holds {', '.join(unknown) or 'no % mark'}; it is epoch_s, epoch_ms, timestamp (Parquet) or "
            "%Y %y %m %d %b %B %j %H %I %p %M %S %f %z"
        )
        return
    if two and " " not in form:
        yield "time.format holds no space; date_column and clock_column are read joined by one"
    yield from _incomplete([mark.replace("-", "") for mark in marks])


def _incomplete(marks: list[str]) -> Iterator[str]:
    """Formats that leave part of the instant open, or say it twice: readers fill that in silence, each its own way.
    A date alone is the day's midnight."""
    parts = {
        "year (%Y or %y)": ({"%Y"}, {"%y"}),
        "day (%m, %b or %B with %d, or %j)": ({"%m", "%d"}, {"%b", "%d"}, {"%B", "%d"}, {"%j"}),
    }
    if {"%H", "%I", "%p", "%M", "%S", "%f"} & set(marks):
        parts["hour (%H, or %I with %p)"] = ({"%H"}, {"%I", "%p"})
    for part, ways in parts.items():
        fitting = sum(way <= set(marks) for way in ways)
        if fitting != 1:
            yield f"time.format says the {part} {'twice' if fitting else 'not at all, or in part'}"
    if "%H" in marks and {"%I", "%p"} & set(marks):
        yield "time.format holds %I or %p beside %H; a 24-hour clock is %H alone, a 12-hour clock %I with %p"
    twice = sorted({mark for mark in marks if mark != "%%" and marks.count(mark) > 1})
    if twice:
        yield f"time.format holds {', '.join(twice)} twice"


def _marks(content: Content) -> Iterator[str]:
    """One character must not have two meanings in a text file."""
    file = content.get("file")
    if file is None:
        return
    delimiter, decimal, thousands = file["delimiter"], file.get("decimal", "."), file.get("thousands")
    quote = file.get("quote", '"')
    if delimiter in ('"', quote, "\n", "\r", decimal):
        yield "file.delimiter is neither a quote, a line end nor the decimal mark"
    if delimiter.isalnum() or delimiter in "+-\0":
        yield "file.delimiter is no letter, digit or sign: values hold those"
    if thousands in (decimal, delimiter, quote):
        yield "file.thousands is neither the decimal mark, the delimiter nor the quote"
    footer = file.get("footer", "")
    if re.fullmatch(r"[\d.,:;+\-/\s]*\d[\d.,:;+\-/\s]*", footer):
        yield "file.footer begins like a row of data, which it would swallow; it holds a letter or another mark"


def _columns(content: Content) -> Iterator[str]:
    """Each column has one meaning, and a name as the reader sees it."""
    pump, named = content["pump"], _named_columns(content)
    twice = sorted({column for column in named if named.count(column) > 1})
    if twice:
        yield f"a column stands for two things: {', '.join(twice)}"
    if "file" not in content:
        return
    names = content["file"].get("names", [])
    blank = sorted({column for column in [*named, *names] if column != column.strip()})
    if blank:
        yield f"a column's name has blanks at its ends, which are cut off when a header is read: {blank}"
    missing = [column for column in named if column not in names]
    if names and missing:
        yield f"file.names are all columns in order; missing there: {', '.join(missing)}"
    header = _compiled(pump.get("header"))
    if names and header and not any(header.fullmatch(name) for name in names):
        yield "file.names holds no column that pump.header fits"


def _named_columns(content: Content) -> list[str]:
    time, pump = content["time"], content["pump"]
    items = content.get("quantity", {}).values()
    named = [time.get("column"), time.get("date_column"), time.get("clock_column"), pump.get("column")]
    return [name for name in [*named, *(item.get("column") for item in items), *pump.get("columns", {})] if name]


def _wide(content: Content) -> Iterator[str]:
    pump, quantity, time = content["pump"], content.get("quantity", {}), content["time"]
    field = next((field for field in ("header", "columns") if field in pump), None)
    if field is None:
        for name in (name for name, item in quantity.items() if "column" not in item):
            yield f"quantity.{name}.column is needed, for no pump.header or pump.columns names the columns"
        return
    if len(quantity) != 1 or "aux" in quantity:
        yield f"pump.{field} makes the file wide: [quantity] holds exactly one quantity, and not aux"
    if any("column" in item for item in quantity.values()):
        yield f"quantity: no column is named there, for pump.{field} names the columns"
    header = _compiled(pump.get("header"))
    stamps = [time[key] for key in ("column", "date_column", "clock_column") if key in time]
    for name in stamps if header else []:
        if header.fullmatch(name):
            yield f"pump.header also fits the time column {name!r}; make it fit the pumps' columns alone"
    codes = list(pump.get("columns", {}).values())
    twice = sorted({code for code in codes if codes.count(code) > 1})
    if twice:
        yield f"pump.columns gives two columns the same code: {', '.join(twice)}"


def _compiled(pattern: str | None) -> re.Pattern[str] | None:
    return re.compile(pattern) if pattern and not regex_faults(pattern) else None


def _patterns(content: Content) -> Iterator[str]:
    for field in ("file_name", "header"):
        if field in content["pump"]:
            for fault in regex_faults(content["pump"][field]):
                yield f"pump.{field} {fault}"


def _aux(content: Content) -> Iterator[str]:
    aux = content.get("quantity", {}).get("aux")
    if aux and len({*aux["on"], *aux["off"]}) < len(aux["on"]) + len(aux["off"]):
        yield "quantity.aux: a word stands twice in on and off"


def _full_speed(content: Content) -> Iterator[str]:
    """TOML can write nan, which no bound of a schema stops."""
    speed = content.get("quantity", {}).get("speed", {})
    for field in ("full_speed_rpm", "full_hz"):
        if math.isnan(speed.get(field, 0)):
            yield f"quantity.speed.{field} is a number"


_RULES: tuple[tuple[Callable[[Content], Iterator[str]], set[str]], ...] = (
    (_interval, {"time"}),
    (_energy, {"time", "quantity"}),
    (_zone, {"time"}),
    (_format, {"time"}),
    (_marks, {"file"}),
    (_columns, {"file", "time", "pump", "quantity"}),
    (_wide, {"time", "pump", "quantity"}),
    (_patterns, {"pump"}),
    (_aux, {"quantity"}),
    (_full_speed, {"quantity"}),
)
"""Rule -> the tables it looks at."""
