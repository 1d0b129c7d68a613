"""Time stamps as text: what kind of stamp a cell holds, and the strptime formats that read it.

Belongs here: single cells and formats. Which order of day and month is right is `date_order.py`; which column is the
time is `time_columns.py`.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Literal

Kind = Literal["stamp", "date", "clock", "epoch"]

_MONTHS = "jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec"
_MONTH = f"january|february|march|april|may|june|july|august|september|october|november|december|{_MONTHS}"
_DATE = (
    r"(?P<ymd>\d{4}(?P<s1>[-/.])\d{1,2}(?P=s1)\d{1,2})"
    r"|(?P<year_last>\d{1,2}(?P<s2>[-/.])\d{1,2}(?P=s2)\d{4})"
    r"|(?P<short>\d{1,2}(?P<s3>[-/.])\d{1,2}(?P=s3)\d{2})"
    r"|(?P<ordinal>\d{4}-\d{3})"
    rf"|(?P<named>\d{{1,2}}(?P<s4>[- /.])(?P<m1>{_MONTH})(?P<s5>[- /.,]{{1,2}})(?P<y1>\d{{4}}|\d{{2}}))"
    rf"|(?P<us_named>(?P<m2>{_MONTH}) \d{{1,2}},? (?P<y2>\d{{4}}))"
    r"|(?P<compact>\d{8})"
)
_CLOCK = r"\d{1,2}:\d{2}(?P<sec>:\d{2}(?P<frac>\.\d{1,6})?)?(?P<half>(?P<gap> ?)[AP]M)?"
_ZONE = r"(?P<zone> ?(?:[+-]\d{2}:?\d{2}|Z|UTC|GMT))?"
_STAMP = re.compile(
    rf"(?P<date>{_DATE})"
    rf"(?:(?P<sep>[T_]|,? )(?P<clock>{_CLOCK}){_ZONE}|(?P<sep2>[T_ ]?)(?P<packed>\d{{6}}|\d{{4}})(?P<zone2>Z)?)?",
    re.IGNORECASE | re.ASCII,
)
_ONLY_CLOCK = re.compile(rf"(?P<clock>{_CLOCK}){_ZONE}", re.IGNORECASE | re.ASCII)
_EPOCH = re.compile(r"\d{10}|\d{13}", re.ASCII)
_EPOCH_FROM_S, _EPOCH_TO_S = 946_684_800, 4_102_444_800
"""2000-01-01 and 2100-01-01, the bounds of a believable stamp (as in the rules of the intake)."""

NO_OFFSET = "no offset"


@dataclass(frozen=True, slots=True)
class TimeFormat:
    """A strptime format, or ``epoch_s`` or ``epoch_ms``; ``zone`` is what the stamp itself says: utc, offset, or
    nothing (`NO_OFFSET`)."""

    text: str
    zone: str

    @property
    def order(self) -> str:
        """Day, month and year as the format has them, such as ``dmY``; empty where it cannot be mistaken."""
        marks = "".join(re.findall(r"%([dmyY])", self.text))
        return marks if len(marks) == 3 and not marks.startswith("Y") else ""

    @property
    def dated(self) -> bool:
        """Whether it reads a day, and not a clock time alone."""
        return self.text.startswith("epoch") or bool(re.search("%[Yyj]", self.text))

    def as_written(self, text: str) -> datetime | None:
        """The clock that a stamp with an offset shows, the offset left off; for others as `read`."""
        if self.zone != "offset" or self.read(text) is None:
            return self.read(text)
        return datetime.strptime(text.strip(), self.text).replace(tzinfo=None)

    def read(self, text: str) -> datetime | None:
        """Naive: UTC where the stamp says its zone, else the wall clock as written; ``None`` where it does not fit."""
        try:
            if self.text.startswith("epoch"):
                scale = 1000 if self.text == "epoch_ms" else 1
                return datetime.fromtimestamp(int(text) / scale, UTC).replace(tzinfo=None)
            found = datetime.strptime(text.strip(), self.text)
        except (ValueError, OverflowError, OSError):
            return None
        if not 2000 <= found.year <= 2099 and self.dated:
            return None
        return found.astimezone(UTC).replace(tzinfo=None) if found.tzinfo else found


def kind_of(text: str) -> Kind | None:
    """What kind of stamp a cell looks like; digits alone are told later, by what else is in the column."""
    text = text.strip()
    found = _STAMP.fullmatch(text)
    if found:
        if found["clock"] or found["packed"]:
            return "stamp"
        return "date"
    if _ONLY_CLOCK.fullmatch(text):
        return "clock"
    if _EPOCH.fullmatch(text) and _EPOCH_FROM_S <= int(text[:10]) < _EPOCH_TO_S:
        return "epoch"
    return None


def formats_of(text: str) -> list[TimeFormat]:
    """The formats that could have written ``text``, a stamp, a date or a clock; not yet tried on it."""
    text = text.strip()
    if _EPOCH.fullmatch(text) and not _readable_compact(text):
        return [TimeFormat("epoch_s" if len(text) == 10 else "epoch_ms", "utc")]
    found = _STAMP.fullmatch(text)
    if not found:
        alone = _ONLY_CLOCK.fullmatch(text)
        if not alone:
            return []
        clock, zone, said = _clock(alone)
        return [TimeFormat(clock + zone, said)]
    dates = _dates(found)
    if found["clock"]:
        clock, zone, said = _clock(found)
        return [TimeFormat(date + found["sep"] + clock + zone, said) for date in dates]
    if found["packed"]:
        packed = "%H%M%S" if len(found["packed"]) == 6 else "%H%M"
        said, zone = ("utc", "Z") if found["zone2"] else (NO_OFFSET, "")
        return [TimeFormat(date + found["sep2"] + packed + zone, said) for date in dates]
    return [TimeFormat(date, NO_OFFSET) for date in dates]


def _readable_compact(text: str) -> bool:
    return len(text) in (12, 14)


def _dates(found: re.Match[str]) -> list[str]:
    if found["ymd"]:
        return [f"%Y{found['s1']}%m{found['s1']}%d"]
    if found["year_last"]:
        mark = found["s2"]
        return [f"%d{mark}%m{mark}%Y", f"%m{mark}%d{mark}%Y"]
    if found["short"]:
        mark = found["s3"]
        return [f"%d{mark}%m{mark}%y", f"%m{mark}%d{mark}%y", f"%y{mark}%m{mark}%d"]
    if found["ordinal"]:
        return ["%Y-%j"]
    if found["named"]:
        year = "%Y" if len(found["y1"]) == 4 else "%y"
        return [f"%d{found['s4']}{month}{found['s5']}{year}" for month in _months(found["m1"])]
    if found["us_named"]:
        comma = "," if "," in found["us_named"] else ""
        return [f"{month} %d{comma} %Y" for month in _months(found["m2"])]
    return ["%Y%m%d", "%d%m%Y", "%m%d%Y"]


def _months(name: str) -> list[str]:
    if name.lower() == "may":
        return ["%b", "%B"]
    return ["%b"] if len(name) == 3 else ["%B"]


def _clock(found: re.Match[str]) -> tuple[str, str, str]:
    """(format of the clock, format of the zone, what the zone says)."""
    half = f"{found['gap']}%p" if found["half"] else ""
    clock = ("%I" if half else "%H") + ":%M" + (":%S" if found["sec"] else "") + (".%f" if found["frac"] else "") + half
    zone = found["zone"] or ""
    if not zone:
        return clock, "", NO_OFFSET
    blank = " " if zone.startswith(" ") else ""
    if zone.strip()[0] in "+-":
        return clock, blank + "%z", "offset"
    return clock, zone, "utc"


def fitting(cells: Iterable[str], most_faults: float = 0.02) -> dict[TimeFormat, int]:
    """Formats that read all but a share of ``most_faults`` of ``cells`` (not blank), and how many they fail to read.

    The formats come from a few of the cells, so a column that mixes two forms fits none.
    """
    cells = list(cells)
    tried = {form: None for cell in _spread(cells) for form in formats_of(cell)}
    counted: dict[str, int] = {}
    for cell in cells:
        counted[cell] = counted.get(cell, 0) + 1
    faults = {}
    for form in tried:
        failed = 0
        for cell, times in counted.items():
            if form.read(cell) is None:
                failed += times
                if failed > most_faults * len(cells):
                    break
        else:
            faults[form] = failed
    return faults


def _spread(cells: list[str]) -> list[str]:
    """Ten cells from all over the column."""
    step = max(len(cells) // 10, 1)
    return cells[::step][:10]
