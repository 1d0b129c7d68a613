"""Three made-up days of two pumps, written in one shape after another, each with what a proposal has to say about it.

Belongs here: the shapes. Every one holds the same rows, so that every proposal has to lead to the same readings.
"""

from __future__ import annotations

import gzip
import io
import zipfile
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any

OFFSET = timedelta(hours=-7)
"""America/Phoenix, which never changes its clock (facts 7b)."""

INTERVAL = timedelta(minutes=15)
FIRST_LOCAL = datetime(2026, 6, 3)
PLAN = [(8, 1500.0), (12, 2850.0), (17, 1225.0)]


@dataclass(frozen=True)
class Row:
    """One quarter hour of one pump; ``at`` is the wall clock at its beginning."""

    at: datetime
    pump: str
    rpm: float
    watts: float
    total_wh: float
    run_s: float

    @property
    def utc(self) -> datetime:
        return self.at - OFFSET


def rows(days: int = 3) -> list[Row]:
    """By time, then pump. The pumps start an hour apart; power follows the affinity law with a small ripple."""
    found, wh, run = [], {"P-1": 1_204_000.0, "P-2": 356_000.0}, {"P-1": 4_000_000.0, "P-2": 990_000.0}
    for number in range(days * 96):
        at = FIRST_LOCAL + number * INTERVAL
        for pump, later in (("P-1", 0), ("P-2", 1)):
            hour = at.hour - later
            rpm = next((speed for start, speed in reversed(PLAN) if start <= hour < 21), 0.0)
            watts = round(4.5 + (1500 * (rpm / 3450) ** 3 + 22 + number % 7) * (rpm > 0), 1)
            found.append(Row(at, pump, rpm, watts, wh[pump], run[pump]))
            wh[pump] = round(wh[pump] + watts / 4, 3)
            run[pump] += 900 * (rpm > 0)
    return found


@dataclass
class Variant:
    """``files`` as they arrive; ``says`` the lines that must be proposed, as (value, sureness); ``answers`` what a
    person fills in; ``keeps`` the quantities that it holds."""

    files: dict[str, bytes]
    says: dict[str, tuple[Any, str]]
    answers: dict[str, Any] = field(default_factory=dict)
    keeps: tuple[str, ...] = ("speed_rpm", "power_w")
    days: int = 3


ASKED = (None, "cannot tell")
SITE = {"time.zone": "site"}
RPM = {"column": "speed_rpm", "unit": "rpm"}
WATTS = {"column": "power_w", "unit": "W"}


def lines(header: list[str], cells: Callable[[Row], list[str]], delimiter: str = ",", days: int = 3) -> list[str]:
    return [delimiter.join(header), *(delimiter.join(cells(row)) for row in rows(days))]


def text(some: list[str]) -> bytes:
    return ("\n".join(some) + "\n").encode()


def iso(row: Row) -> str:
    return f"{row.utc:%Y-%m-%dT%H:%M:%SZ}"


def plain(some: Row) -> list[str]:
    return [iso(some), some.pump, f"{some.rpm:.0f}", f"{some.watts:.1f}"]


HEADER = ["time", "pump", "speed_rpm", "power_w"]


def stamped(form: str, days: int = 3) -> bytes:
    return text(lines(HEADER, lambda r: [r.at.strftime(form), *plain(r)[1:]], days=days))


def wide(unit: str) -> bytes:
    table: dict[datetime, list[str]] = {}
    for row in rows():
        table.setdefault(row.at, []).append(f"{row.watts / 1000:.4f}")
    return text(
        [f"time;P-1 {unit};P-2 {unit}", *(f"{at - OFFSET:%Y-%m-%dT%H:%M:%SZ};{';'.join(w)}" for at, w in table.items())]
    )


def zipped(files: dict[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in files.items():
            archive.writestr(name, content)
    return out.getvalue()


def by_pump(name: str) -> dict[str, bytes]:
    return {
        name.format(pump=pump): text(
            [
                ",".join(["time", *HEADER[2:]]),
                *(",".join([plain(r)[0], *plain(r)[2:]]) for r in rows() if r.pump == pump),
            ]
        )
        for pump in ("P-1", "P-2")
    }


BASE = text(lines(HEADER, plain))
SURE = {
    "file.delimiter": (",", "sure"),
    "time.column": ("time", "sure"),
    "time.zone": ("utc", "sure"),
    "time.format": ("%Y-%m-%dT%H:%M:%SZ", "sure"),
    "time.interval_s": (900, "sure"),
    "pump.column": ("pump", "sure"),
    "quantity.speed": (RPM, "sure"),
    "quantity.power": (WATTS, "sure"),
}
NUMBERS = {"column 3": "speed", "column 4": "power"}

VARIANTS: dict[str, Variant] = {
    "plain": Variant({"log.csv": BASE}, SURE),
    "gzip": Variant({"log.csv.gz": gzip.compress(BASE, mtime=0)}, SURE),
    "two files in a zip": Variant(
        {"week.zip": zipped(by_pump("log__{pump}.csv"))},
        {"pump.file_name": (r".*__(.+)\.csv$", "likely"), "quantity.power": (WATTS, "sure")},
    ),
    "one file a pump": Variant(by_pump("2026-06_{pump}_log.csv"), {"pump.file_name": (r".*_(.+)_log\.csv$", "likely")}),
    "a day that reads both ways": Variant(
        {"log.csv": stamped("%d/%m/%Y %H:%M", 1)},
        {
            "time.format": ASKED,
            "time.zone": ASKED,
            "time.interval_s": (900, "sure"),
            "time.label": ("instant", "likely"),
        },
        {"time.format": "%d/%m/%Y %H:%M"} | SITE,
        days=1,
    ),
    "day first by its steps": Variant(
        {"log.csv": stamped("%d/%m/%Y %H:%M")}, {"time.format": ("%d/%m/%Y %H:%M", "sure")}, SITE
    ),
    "month first by its steps": Variant(
        {"log.csv": stamped("%m/%d/%Y %H:%M")}, {"time.format": ("%m/%d/%Y %H:%M", "sure")}, SITE
    ),
    "two-figure years": Variant(
        {"log.csv": stamped("%d.%m.%y %H:%M:%S")}, {"time.format": ("%d.%m.%y %H:%M:%S", "sure")}, SITE
    ),
    "before and after noon": Variant(
        {"log.csv": stamped("%m/%d/%Y %I:%M %p")}, {"time.format": ("%m/%d/%Y %I:%M %p", "sure")}, SITE
    ),
    "month by name": Variant({"log.csv": stamped("%d-%b-%Y %H:%M")}, {"time.format": ("%d-%b-%Y %H:%M", "sure")}, SITE),
    "offset in the stamp": Variant(
        {"log.csv": text(lines(HEADER, lambda r: [f"{r.at:%Y-%m-%d %H:%M}-07:00", *plain(r)[1:]]))},
        {"time.format": ("%Y-%m-%d %H:%M%z", "sure"), "time.zone": ("offset", "sure")},
    ),
    "epoch milliseconds": Variant(
        {
            "log.csv": text(
                lines(HEADER, lambda r: [f"{r.utc.replace(tzinfo=UTC).timestamp() * 1000:.0f}", *plain(r)[1:]])
            )
        },
        {"time.format": ("epoch_ms", "sure"), "time.zone": ("utc", "sure")},
    ),
    "date and clock": Variant(
        {
            "log.csv": text(
                lines(["Datum", "Uhrzeit", *HEADER[1:]], lambda r: [f"{r.at:%d.%m.%Y}", f"{r.at:%H:%M}", *plain(r)[1:]])
            )
        },
        {
            "time.date_column": ("Datum", "sure"),
            "time.clock_column": ("Uhrzeit", "sure"),
            "time.format": ("%d.%m.%Y %H:%M", "sure"),
        },
        SITE,
    ),
    "decimal comma": Variant(
        {"log.csv": text(lines(HEADER, lambda r: [*plain(r)[:3], plain(r)[3].replace(".", ",")], ";"))},
        {"file.decimal": (",", "sure"), "file.delimiter": (";", "sure"), "quantity.power": (WATTS, "sure")},
    ),
    "thousands": Variant(
        {"log.csv": text(lines(HEADER, lambda r: [*plain(r)[:2], f"{r.rpm:,.0f}", f"{r.watts:,.1f}"], "\t"))},
        {"file.decimal": (".", "sure"), "file.thousands": (",", "sure"), "file.delimiter": ("\t", "sure")},
    ),
    "thousands that could be decimals": Variant(
        {"log.csv": text(lines(HEADER[:3], lambda r: [*plain(r)[:2], f"{r.rpm:,.0f}"], ";"))},
        {"file.decimal": ASKED},
        {"file.decimal": ".", "quantity.speed": RPM},
        keeps=(),
    ),
    "no header": Variant(
        {"log.csv": text(lines(HEADER, plain)[1:])},
        {
            "file.names": (["column 1", "column 2", "column 3", "column 4"], "likely"),
            "file.preamble_lines": (0, "sure"),
            "quantity": ASKED,
            "time.column": ("column 1", "sure"),
        },
        {"quantity.speed": RPM | {"column": "column 3"}, "quantity.power": WATTS | {"column": "column 4"}},
    ),
    "preamble and footer": Variant(
        {"log.csv": text(["Report of June, made up", "", *lines(HEADER, plain), "Total;576 rows"])},
        {"file.preamble_lines": (2, "sure"), "file.footer": ("Total;", "likely")},
    ),
    "a line of units": Variant(
        {"log.csv": text(["time,pump,speed,power", ",,rpm,W", *lines(HEADER, plain)[1:]])},
        {
            "file.names": (["time", "pump", "speed", "power"], "likely"),
            "file.preamble_lines": (2, "likely"),
            "quantity.power": ({"column": "power", "unit": "W"}, "likely"),
        },
    ),
    "UTF-16": Variant({"log.csv": BASE.decode().encode("utf-16")}, {"file.encoding": ("utf-16", "sure")}),
    "Latin-1": Variant(
        {"log.csv": BASE.replace(b"power_w", "Puissance élect. [W]".encode("latin-1"))},
        {
            "file.encoding": ("latin-1", "likely"),
            "quantity.power": ({"column": "Puissance élect. [W]", "unit": "W"}, "sure"),
        },
    ),
    "per cent": Variant(
        {
            "log.csv": text(
                lines(
                    ["time", "pump", "Drehzahl [%]", "power_w"],
                    lambda r: [*plain(r)[:2], f"{r.rpm / 34.5:.6f}", plain(r)[3]],
                )
            )
        },
        {"quantity.speed": ({"column": "Drehzahl [%]", "unit": "%"}, "cannot tell"), "quantity.power": (WATTS, "sure")},
        {"quantity.speed": {"column": "Drehzahl [%]", "unit": "%", "full_speed_rpm": 3450}},
    ),
    "hertz": Variant(
        {
            "log.csv": text(
                lines(
                    ["time", "pump", "speed Hz", "power_w"],
                    lambda r: [*plain(r)[:2], f"{r.rpm / 57.5:.6f}", plain(r)[3]],
                )
            )
        },
        {"quantity.speed": ({"column": "speed Hz", "unit": "Hz"}, "cannot tell")},
        {"quantity.speed": {"column": "speed Hz", "unit": "Hz", "full_speed_rpm": 3450, "full_hz": 60}},
    ),
    "kilowatts": Variant(
        {"log.csv": text(lines([*HEADER[:3], "Leistung kW"], lambda r: [*plain(r)[:3], f"{r.watts / 1000:.4f}"]))},
        {"quantity.power": ({"column": "Leistung kW", "unit": "kW"}, "sure")},
    ),
    "a name that says the wrong unit": Variant(
        {"log.csv": text(lines(HEADER, lambda r: [*plain(r)[:3], f"{r.watts / 1000:.4f}"]))},
        {"quantity.power": ({"column": "power_w"}, "cannot tell")},
        {"quantity.power": {"column": "power_w", "unit": "kW"}},
    ),
    "counters in Wh and minutes": Variant(
        {
            "log.csv": text(
                lines(
                    [*HEADER, "Zählerstand", "Laufzeit gesamt"],
                    lambda r: [*plain(r), f"{r.total_wh:.0f}", f"{r.run_s / 60:.0f}"],
                )
            )
        },
        {
            "quantity.energy_total": (None, ""),
            "quantity.power": (WATTS, "sure"),
            "quantity.run_total": ({"column": "Laufzeit gesamt", "unit": "min"}, "likely"),
        },
        keeps=("speed_rpm", "power_w", "run_total_h"),
    ),
    "counters with their units": Variant(
        {
            "log.csv": text(
                lines(
                    [*HEADER, "energy total Wh", "run total h"],
                    lambda r: [*plain(r), f"{r.total_wh:.0f}", f"{r.run_s / 3600:.2f}"],
                )
            )
        },
        {
            "quantity.energy_total": ({"column": "energy total Wh", "unit": "Wh"}, "sure"),
            "quantity.run_total": ({"column": "run total h", "unit": "h"}, "sure"),
            "time.label": ("instant", "likely"),
        },
        keeps=("speed_rpm", "power_w", "energy_total_kwh", "run_total_h"),
    ),
    "wide": Variant(
        {"log.csv": wide("kW")},
        {
            "pump.header": (r"(.+)\ kW", "likely"),
            "quantity.power": ({"unit": "kW"}, "likely"),
            "pump.column": (None, ""),
        },
        keeps=("power_w",),
    ),
    "the delimiter inside quotes": Variant(
        {"log.csv": text(lines([*HEADER, "note"], lambda r: [*plain(r), '"ran; as planned, with ""care"""'], ";"))},
        {"file.delimiter": (";", "sure"), "file.quote": ('"', "sure")},
    ),
    "start and end": Variant(
        {
            "log.csv": text(
                lines(
                    ["start", "end", *HEADER[1:]],
                    lambda r: [iso(r), f"{r.utc + INTERVAL:%Y-%m-%dT%H:%M:%SZ}", *plain(r)[1:]],
                )
            )
        },
        {"time.column": ("start", "likely"), "time.label": ("interval_beginning", "sure")},
    ),
    "stamps at the end": Variant(
        {"log.csv": text(lines(["Ende", *HEADER[1:]], lambda r: [f"{r.at + INTERVAL:%d.%m.%Y %H:%M}", *plain(r)[1:]]))},
        {"time.column": ("Ende", "sure"), "time.label": ("interval_ending", "sure")},
        SITE,
    ),
}
