"""Good exports of every shape and carrier, small and made up: what the fuzzers spoil.

Belongs here: seeds. How they are spoiled is `mutations.py`, what must hold afterwards is `judge.py`.
"""

from __future__ import annotations

import gzip
import io
import zipfile
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq

from pumpledger.intake.dialect import Dialect
from pumpledger.intake.dialect_file import parse_dialect
from pumpledger.intake.dialects import load_dialects
from tests import espi_writer

ZONES = {"P-LA": "America/Los_Angeles", "P-LA2": "America/Los_Angeles", "P-BE": "Europe/Berlin"}
START = datetime(2026, 10, 25, 6)
"""UTC; the Sunday on which Berlin puts its clocks back, so that the wall-clock seeds hold the hour twice."""

_TIME = """[time]
column = "{column}"
format = "{form}"
zone = "{zone}"
label = "{label}"
interval_s = {interval_s}
gap_limit_s = 7200
"""


@dataclass(frozen=True, slots=True)
class Seed:
    """A good export under a file name that gives its pump where the dialect takes it from there.

    ``head`` bytes at its beginning are header and preamble: spoiling them mostly sets the file aside whole. ``glob`` is
    what a fleet's source matches, also with a number before the name.
    """

    dialect: Dialect
    file: str
    content: bytes
    head: int = 0

    @property
    def glob(self) -> str:
        return "*" + self.file.split("_")[0] + "_*"


OWN: dict[str, str] = {}
"""Text by name of the dialects that are not the package's."""


def _own(name: str, text: str) -> Dialect:
    problems: list = []
    OWN[name] = 'about = "Made up, for the fuzzers."\n' + text
    dialect = parse_dialect(OWN[name], name, f"{name}.toml", problems)
    assert dialect is not None, problems
    return dialect


def _time(column: str, form: str, zone: str = "utc", label: str = "instant", interval_s: int = 300) -> str:
    return _TIME.format(column=column, form=form, zone=zone, label=label, interval_s=interval_s)


def _text(dialect: Dialect, file: str, head: str, rows: list[str], end: str = "\n", encoding: str = "utf-8") -> Seed:
    lines = end.join([*head.splitlines(), *rows]) + end
    first = end.join(head.splitlines()) + end if head else ""
    return Seed(dialect, file, lines.encode(encoding), len(first.encode(encoding)))


def _at(minutes: int) -> datetime:
    return START + timedelta(minutes=minutes)


def _built_in() -> list[Seed]:
    known = load_dialects(Path("nowhere"), [])
    five = [
        f"{_at(5 * n):%Y-%m-%dT%H:%M:%SZ},{'P-LA' if n % 2 else 'P-BE'},{1500 + n},{210 + n}.5,{n % 2}"
        for n in range(24)
    ]
    one = [f"{_at(n):%Y-%m-%dT%H:%M:%SZ},P-LA,{1500 + n},{210 + n},1" for n in range(24)]
    means = [f"25.10.2026 0{h}:{m:02d};{1000 + m};0,{h}{m}" for h in (1, 2, 2, 3) for m in (0, 15, 30, 45)]
    events = [
        f"2026-10-25T{h:02d}:30:00-0700,P-LA,{1500 if h % 2 else 0},{400 if h % 2 else 0},{h % 2},{8 + h}.5"
        for h in range(12)
    ]
    counters = [f"{1792998000 + 900 * n}\tP-LA\t{600 + n}\t{1042.37 + n}\t{512 + n / 4}" for n in range(16)]
    return [
        _text(known["samples_5min"], "five_1.csv", "time_utc,pump,speed_rpm,power_w,aux", five),
        _text(known["samples_1min"], "one_1.csv", "time_utc,pump,speed_rpm,power_w,aux", one, "\r\n"),
        _text(known["means_15min"], "means__P-BE.csv", "Ende;Drehzahl_rpm;Leistung_kW", means, "\r\n"),
        _text(known["events"], "events_1.csv", "at,pump,speed_rpm,power_w,aux,air_c", events),
        _text(
            known["counters"],
            "counters_1.csv",
            "# made up\n# quarter hours\nepoch_s\tpump\tspeed_now_rpm\tenergy_total_kwh\trun_total_h",
            [*counters, "# end"],
        ),
    ]


def _own_text() -> list[Seed]:
    wide = _own(
        "wide",
        '[file]\ndelimiter = ";"\ndecimal = ","\nthousands = "."\nencoding = "windows-1252"\n'
        + _time("Zeit", "%d.%m.%Y %H:%M", "Europe/Berlin", "interval_beginning", 900)
        + '[pump]\nheader = "(P-.+) Wärme W"\n[quantity]\npower = { unit = "W" }\n',
    )
    bare = _own(
        "bare",
        '[file]\ndelimiter = "|"\nquote = "\'"\nnames = ["day", "clock", "pump", "hz", "gpm", "note"]\n'
        'footer = "total"\n[time]\ndate_column = "day"\nclock_column = "clock"\nformat = "%m/%d/%Y %I:%M:%S %p"\n'
        'zone = "site"\nlabel = "instant"\ninterval_s = 300\ngap_limit_s = 7200\n'
        '[pump]\ncolumn = "pump"\n[quantity]\n'
        'speed = { column = "hz", unit = "Hz", full_speed_rpm = 3450, full_hz = 60 }\n'
        'flow = { column = "gpm", unit = "gpm" }\n',
    )
    sixteen = _own(
        "sixteen",
        '[file]\ndelimiter = ","\nencoding = "utf-16"\n'
        + _time("ms", "epoch_ms")
        + '[pump]\nfixed = "P-LA"\n[quantity]\nspeed = { column = "share", unit = "%", full_speed_rpm = 3450 }\n'
        'air_temperature = { column = "°F", unit = "F" }\n',
    )
    wide_rows = [f"25.10.2026 {h:02d}:{m:02d};1.{200 + m},5;{h}00" for h in (1, 2, 2, 3) for m in (0, 15, 30, 45)]
    bare_rows = [f"10/25/2026|{_at(5 * n):%I:%M:%S %p}|P-LA|'{30 + n}.0'|{20 + n}|it''s 12\" wide" for n in range(16)]
    stamp = int(START.replace(tzinfo=UTC).timestamp()) * 1000
    sixteen_rows = [f"{stamp + 300_000 * n},{40 + n},{50 + n}.5" for n in range(16)]
    return [
        _text(wide, "wide_1.csv", "Zeit;P-BE Wärme W;P-LA Wärme W", wide_rows, encoding="windows-1252"),
        _text(bare, "bare_1.txt", "", [*bare_rows, "total 16"]),
        _text(sixteen, "sixteen_1.csv", "ms,share,°F", sixteen_rows, "\r\n", "utf-16"),
    ]


def _packed(plain: Seed) -> list[Seed]:
    gz = gzip.compress(plain.content, mtime=0)
    zst = pa.compress(plain.content, codec="zstd", asbytes=True)
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(zipfile.ZipInfo("five_2.csv"), plain.content)
    return [
        Seed(plain.dialect, "five_1.csv.gz", gz, 10),
        Seed(plain.dialect, "five_1.csv.zst", zst, 6),
        Seed(plain.dialect, "five_week.zip", packed.getvalue(), 30),
    ]


def _parquet() -> Seed:
    dialect = _own(
        "columns",
        'carrier = "parquet"\n'
        + _time("at", "timestamp")
        + '[pump]\ncolumn = "pump"\n[quantity]\nspeed = { column = "n", unit = "rpm" }\n'
        'power = { column = "w", unit = "W" }\n',
    )
    table = pa.table(
        {
            "at": pa.array([_at(5 * n) for n in range(24)], pa.timestamp("us")),
            "pump": ["P-LA", "P-BE"] * 12,
            "n": [1500.0 + n for n in range(24)],
            "w": [200.0 + n for n in range(24)],
        }
    )
    content = io.BytesIO()
    pq.write_table(table, content)
    return Seed(dialect, "columns_1.parquet", content.getvalue(), 4)


def _espi() -> Seed:
    dialect = _own("green", 'carrier = "espi"\n[time]\ngap_limit_s = 7200\n[pump]\nfixed = "P-LA"\n')
    start = int(START.replace(tzinfo=UTC).timestamp())
    readings = [espi_writer.reading(start + 900 * n, 900, 100 + n) for n in range(12)]
    return Seed(dialect, "green_1.xml", espi_writer.simple(readings, powerOfTenMultiplier=0), 40)


def seeds() -> list[Seed]:
    """All of them, in a fixed order."""
    built_in = _built_in()
    return [*built_in, *_own_text(), *_packed(built_in[0]), _parquet(), _espi()]
