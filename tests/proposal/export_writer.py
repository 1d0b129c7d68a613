"""Writes made-up exports of random shape, and what a true proposal may say of each.

Belongs here: a writer for any dialect. The pumps are `pump_rows.py`. Both share nothing with the code under test.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Any

from tests.proposal.pump_rows import Row, simulate

Choose = Callable[[Sequence[Any]], Any]

SPEED_NAMES = {
    "rpm": ["speed_rpm", "Drehzahl [1/min]", "Vitesse (tr/min)", "speed", "rpm", "Velocidad"],
    "%": ["speed %", "Drehzahl [%]", "speed_pct", "speed"],
    "Hz": ["speed_hz", "Drehzahl Hz", "speed"],
}
POWER_NAMES = {
    "W": ["power_w", "Leistung [W]", "Puissance", "Power (W)", "power"],
    "kW": ["power_kw", "Leistung kW", "power"],
}
ENERGY_NAMES = {"kWh": ["energy_kwh", "Verbrauch kWh", "energy"], "Wh": ["energy_wh", "Consommation Wh", "energy"]}
TOTAL_NAMES = {
    "kWh": ["energy_total_kwh", "Zählerstand kWh", "kWh total", "energy counter"],
    "Wh": ["energy_total_wh", "Zählerstand Wh", "energy counter"],
    "MWh": ["energy_total_mwh", "total MWh"],
}
RUN_NAMES = {
    "h": ["run_total_h", "Betriebsstunden", "run hours"],
    "min": ["run_total_min", "run time min"],
    "s": ["run_total_s"],
}
FLOW_NAMES = {
    "m3/h": ["flow_m3h", "Débit [m³/h]"],
    "gpm": ["flow_gpm"],
    "L/min": ["flow l/min"],
    "L/s": ["flow l/s", "flow"],
}
AIR_NAMES = {"C": ["air_c", "Außentemperatur °C", "air temp"], "F": ["air_f", "outdoor temp (°F)"]}
AUX_NAMES = ["aux", "heater", "Heizung", "relay"]
AUX_WORDS = [("1", "0"), ("on", "off"), ("EIN", "AUS"), ("true", "false")]
NOISE = [("rssi", "-60"), ("firmware", "1.2"), ("status", "ok"), ("water temp C", (27.5, 1)), ("fault", "0")]
TIMES = [
    "%Y-%m-%dT%H:%M:%SZ",
    "%Y-%m-%d %H:%M:%S",
    "%Y-%m-%d %H:%M",
    "%d.%m.%Y %H:%M",
    "%d/%m/%Y %H:%M:%S",
    "%m/%d/%Y %H:%M",
    "%m/%d/%Y %I:%M %p",
    "%m/%d/%y %I:%M:%S %p",
    "%d.%m.%y %H:%M:%S",
    "%d-%b-%Y %H:%M:%S",
    "%Y%m%d %H%M%S",
    "%Y-%m-%dT%H:%M:%S%z",
    "%Y/%m/%d %H:%M",
    "epoch_s",
    "epoch_ms",
    "%y-%m-%d %H:%M",
    "%Y%m%d%H%M%S",
]
STARTS = [
    datetime(2026, 1, 5),
    datetime(2026, 3, 2),
    datetime(2026, 5, 5),
    datetime(2026, 10, 26),
    datetime(2026, 12, 10),
]


@dataclass
class Export:
    """Files by name, and the truth: the value of each line of a dialect that reads them."""

    files: dict[str, bytes]
    truth: dict[str, Any]
    codes: dict[str, str]
    """File name or column name -> code, where those carry it."""


def _number(value: float, places: int, decimal: str, thousands: str | None) -> str:
    text = f"{value:,.{places}f}" if thousands else f"{value:.{places}f}"
    return text.replace(",", "\0").replace(".", decimal).replace("\0", thousands or "")


def _stamp(at: datetime, form: str) -> str:
    if form.startswith("epoch"):
        return str(int(at.replace(tzinfo=UTC).timestamp()) * (1000 if form == "epoch_ms" else 1))
    if form.endswith("%z"):
        return at.strftime(form[:-2]) + "-07:00"
    return at.strftime(form)


def write_export(choose: Choose, rng: random.Random) -> Export:
    """One export of a random dialect."""
    kind = choose(["long", "long", "long", "file_name", "wide"])
    events = kind == "long" and choose([False, False, False, True])
    interval_s = choose([60, 300, 300, 900, 900, 3600])
    label = "change_of_state" if events else choose(["instant", "interval_beginning", "interval_ending"])
    days = choose([0.3, 1, 3, 9]) if interval_s >= 300 else choose([0.3, 1])
    form = choose(TIMES)
    zone = (
        "utc"
        if form.startswith("epoch") or form.endswith("Z")
        else "offset"
        if form.endswith("%z")
        else choose(["utc", "site"])
    )
    delimiter, decimal = choose(
        [(",", "."), (",", "."), (";", ","), (";", "."), ("\t", "."), ("\t", ","), ("|", "."), (",", ",")]
    )
    thousands = choose([None, None, None, "," if decimal == "." else "."])
    encoding = choose(["utf-8", "utf-8", "utf-8-sig", "utf-16", "latin-1"])
    headed = choose([True, True, True, True, False]) or kind == "wide"
    split_time = not form.startswith("epoch") and " " in form and choose([False, False, False, True])
    codes = choose([["P-1", "P-2", "P-3"], ["P-7"], ["101", "102"], ["Nord", "Süd"]])
    codes = [*codes, "P-8"] if kind == "wide" and len(codes) == 1 else codes
    rows = simulate(rng, codes, choose(STARTS), interval_s, days, events)
    if label == "interval_ending":
        for row in rows:
            row.at += timedelta(seconds=interval_s)
    truth: dict[str, Any] = {
        "file.encoding": {"utf-8-sig": "utf-8"}.get(encoding, encoding),
        "file.delimiter": delimiter,
        "file.decimal": decimal,
        "file.quote": '"',
        "time.format": form,
        "time.zone": zone,
        "time.label": label,
        "pump.codes": "pump",
    }
    if thousands:
        truth["file.thousands"] = thousands
    if not events:
        truth["time.interval_s"] = interval_s
    columns = _columns(choose, label, wide=kind == "wide")
    truth |= {f"quantity.{quantity}": value for quantity, value, _ in columns if quantity}
    hurt = choose([None, None, None, "gaps", "repeats", "wild", "newest first", "blanks", "garbage"])
    writer = _Writer(choose, kind, delimiter, decimal, thousands, encoding, headed, split_time, form, label, rng, hurt)
    return writer.write(rows, codes, columns, truth)


Column = tuple[str, dict[str, Any], Callable[[Row], Any]]


def _columns(choose: Choose, label: str, wide: bool) -> list[Column]:
    """(quantity, its line of the dialect, value of a row with its number of decimals) of each column; noise has no
    quantity."""
    found: list[Column] = []

    def add(quantity: str, names: dict[str, list[str]], value: dict[str, tuple[Callable[[Row], float], int]]) -> None:
        unit = choose(list(names))
        name = choose(names[unit])
        if choose([False] * 12 + [True]):  # a header that says the wrong unit
            name = choose([each for wrong in names.values() for each in wrong])
        reading, places = value[unit]
        found.append((quantity, {"column": name, "unit": unit}, lambda row: (reading(row), places)))

    wanted = choose(
        [
            ["speed", "power"],
            ["speed", "power", "aux"],
            ["power"],
            ["speed"],
            ["speed", "total", "run"],
            ["total"],
            ["energy"] if label.startswith("interval") else ["power", "air"],
            ["speed", "flow", "power"],
            ["run", "power"],
        ]
    )
    wanted = wanted[:1] if wide else wanted
    if "speed" in wanted:
        add(
            "speed",
            SPEED_NAMES,
            {"rpm": (lambda r: r.rpm, 0), "%": (lambda r: r.rpm / 34.5, 1), "Hz": (lambda r: r.rpm / 57.5, 2)},
        )
    if "power" in wanted:
        add(
            "power",
            POWER_NAMES,
            {"W": (lambda r: r.watts, choose([0, 1])), "kW": (lambda r: r.watts / 1000, choose([3, 4]))},
        )
    if "energy" in wanted:
        add(
            "energy",
            ENERGY_NAMES,
            {"kWh": (lambda r: r.interval_wh / 1000, choose([3, 5])), "Wh": (lambda r: r.interval_wh, choose([0, 2]))},
        )
    if "total" in wanted:
        add(
            "energy_total",
            TOTAL_NAMES,
            {
                "kWh": (lambda r: r.total_wh / 1000, choose([0, 2, 3])),
                "Wh": (lambda r: r.total_wh, 0),
                "MWh": (lambda r: r.total_wh / 1e6, choose([3, 5])),
            },
        )
    if "run" in wanted:
        add(
            "run_total",
            RUN_NAMES,
            {
                "h": (lambda r: r.run_s / 3600, choose([0, 2])),
                "min": (lambda r: r.run_s / 60, 0),
                "s": (lambda r: r.run_s, 0),
            },
        )
    if "flow" in wanted:
        add(
            "flow",
            FLOW_NAMES,
            {
                "m3/h": (lambda r: r.m3h, 2),
                "gpm": (lambda r: r.m3h / 0.2271247, 1),
                "L/min": (lambda r: r.m3h / 0.06, 0),
                "L/s": (lambda r: r.m3h / 3.6, 2),
            },
        )
    if "air" in wanted:
        add("air_temperature", AIR_NAMES, {"C": (lambda r: r.air_c, 1), "F": (lambda r: r.air_c * 1.8 + 32, 1)})
    if "aux" in wanted:
        on, off = choose(AUX_WORDS)
        found.append(
            ("aux", {"column": choose(AUX_NAMES), "on": [on], "off": [off]}, lambda row: on if row.aux else off)
        )
    if not wide and choose([False, False, True]):
        name, value = choose(NOISE)
        found.append(("", {"column": name}, lambda row: value))
    names = [item["column"] for _, item, _ in found]
    return [column for number, column in enumerate(found) if column[1]["column"] not in names[:number]]


@dataclass
class _Writer:
    choose: Choose
    kind: str
    delimiter: str
    decimal: str
    thousands: str | None
    encoding: str
    headed: bool
    split_time: bool
    form: str
    label: str
    rng: random.Random
    hurt: str | None

    def write(self, rows: list[Row], codes: list[str], columns: list[Column], truth: dict[str, Any]) -> Export:
        preamble = self.choose([[], [], [], ["# made-up data", "# Süd"], ["Report;Q1", "", "made up"]])
        footer = self.choose([None, None, "# end", "Total rows: {rows}"])
        truth["file.preamble_lines"] = len(preamble)
        if footer:
            truth["file.footer"] = "# end" if footer == "# end" else "Total rows"
        time_name = self.choose(
            {"interval_ending": ["Ende", "time", "bis"], "interval_beginning": ["start", "time"]}.get(
                self.label, ["time", "at", "Zeit", "Datum"]
            )
        )
        id_name = self.choose(["pump", "Pumpe", "device", "id", "pump_id"])
        time_names = ["date", "clock"] if self.split_time else [time_name]
        ids = [id_name] if self.kind == "long" else []
        order = [*time_names, *ids, *(item["column"] for _, item, _ in columns)]
        if len(set(order)) < len(order):
            time_names = [f"{name} of row" for name in time_names]
            order = [*time_names, *ids, *(item["column"] for _, item, _ in columns)]
        if not self.headed:
            renamed = dict(zip(order, (f"column {number}" for number in range(1, len(order) + 1)), strict=True))
            for key in [key for key in truth if key.startswith("quantity.")]:
                truth[key] = truth[key] | {"column": renamed[truth[key]["column"]]}
            time_names, ids = [renamed[name] for name in time_names], [renamed[name] for name in ids]
            truth["file.names"] = list(renamed.values())
        if self.split_time:
            truth["time.date_column"], truth["time.clock_column"] = time_names
        else:
            truth["time.column"] = time_names[0]
        if ids:
            truth["pump.column"] = ids[0]
        if self.kind == "wide":
            return self._wide(rows, codes, columns[0], truth, time_names, preamble, footer)
        groups = (
            {code: [row for row in rows if row.pump == code] for code in codes}
            if self.kind == "file_name"
            else {"": rows}
        )
        files, of_file = {}, {}
        for code, some in groups.items():
            some = self._damaged(
                sorted(some, key=lambda row: (row.at, row.pump)) if self.choose([True, True, False]) else some
            )
            lines = [
                [
                    *self._times(row.at),
                    *([row.pump] if self.kind == "long" else []),
                    *(self._cell(value(row)) for *_, value in columns),
                ]
                for row in some
            ]
            name = f"log__{code}.csv" if code else "log.csv"
            of_file[name] = code
            if self.hurt == "blanks":
                lines = [
                    [*line[:-1], self.rng.choice(["", "NA", "--"])] if self.rng.random() < 0.05 else line
                    for line in lines
                ]
            files[name] = self._bytes(preamble, order if self.headed else None, lines, footer)
        if self.kind == "file_name":
            truth["pump.file_name"] = of_file
        return Export(files, truth, of_file)

    def _damaged(self, rows: list[Row]) -> list[Row]:
        """What real exports suffer: gaps, repeats, a wild value now and then, the newest row first."""
        if self.hurt == "gaps":
            return [row for row in rows if self.rng.random() > 0.05]
        if self.hurt == "repeats":
            return [each for row in rows for each in ([row, row] if self.rng.random() < 0.03 else [row])]
        if self.hurt == "wild":
            return [replace(row, rpm=9450, watts=-3.0) if self.rng.random() < 0.003 else row for row in rows]
        return rows[::-1] if self.hurt == "newest first" else rows

    def _wide(
        self,
        rows: list[Row],
        codes: list[str],
        column: Column,
        truth: dict[str, Any],
        time_names: list[str],
        preamble: list[str],
        footer: str | None,
    ) -> Export:
        quantity, item, value = column
        named = {f"{code} {item['column']}": code for code in codes}
        truth[f"quantity.{quantity}"] = {"unit": item["unit"]} if "unit" in item else {}
        truth["pump.header"] = truth["pump.columns"] = named
        by_time: dict[datetime, dict[str, str]] = {}
        for row in rows:
            by_time.setdefault(row.at, {})[row.pump] = self._cell(value(row))
        lines = [[*self._times(at), *(cells.get(code, "") for code in codes)] for at, cells in sorted(by_time.items())]
        files = {"wide.csv": self._bytes(preamble, [*time_names, *named], lines, footer)}
        return Export(files, truth, named)

    def _times(self, at: datetime) -> list[str]:
        return _stamp(at, self.form).split(" ", 1) if self.split_time else [_stamp(at, self.form)]

    def _cell(self, value: object) -> str:
        if isinstance(value, str):
            return value
        number, places = value  # type: ignore[misc]
        return _number(number, places, self.decimal, self.thousands)

    def _bytes(
        self, preamble: list[str], header: list[str] | None, lines: list[list[str]], footer: str | None
    ) -> bytes:
        quoted = [
            self.delimiter.join(f'"{cell}"' if self.delimiter in cell or '"' in cell else cell for cell in line)
            for line in lines
        ]
        text = [*preamble, *([self.delimiter.join(header)] if header else []), *quoted]
        text += ["".join(self.rng.choices("abc;,.1", k=12)) for _ in range(2)] if self.hurt == "garbage" else []
        text += [footer.format(rows=len(lines))] if footer else []
        return ("\n".join(text) + "\n").encode(self.encoding, "replace")
