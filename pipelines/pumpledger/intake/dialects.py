"""Dialects: the declared shape of an export, one TOML file each. Those of the package, and those of the fleet's own
``dialects/``.

Belongs here: reading and checking the declaration. A file that matches no source is never guessed at.
"""

from __future__ import annotations

import hashlib
import json
import re
import tomllib
from dataclasses import dataclass
from fnmatch import fnmatchcase
from functools import cache
from pathlib import Path

from pumpledger.problems import Problem
from pumpledger.register.fleet_file import FleetFile, Source
from pumpledger.register.zone import is_zone

_SCALES = {
    "rpm": 1.0,
    "W": 1.0,
    "kW": 1000.0,
    "Wh": 0.001,
    "kWh": 1.0,
    "MWh": 1000.0,
    "h": 1.0,
    "min": 1 / 60,
    "s": 1 / 3600,
    "m3/h": 1.0,
    "gpm": 0.003785411784 * 60,
    "L/min": 0.06,
    "L/s": 3.6,
}
"""Unit of a dialect -> factor to the unit of the readings table (exact; the US gallon is 3.785411784 L)."""

_FORMAT_MARK = re.compile(r"%-?[YymdHIMSjbB]|%[pfz%]")
"""Marks of time.format that both ways of reading understand."""

_HELD_AS = {"energy": "power"}
QUANTITIES = ("speed", "power", "energy_total", "run_total", "flow")


@dataclass(frozen=True, slots=True)
class Dialect:
    """A declared shape of export. ``columns`` maps a quantity to its column; ``scale`` to the factor into the readings'
    unit."""

    name: str
    about: str
    encoding: str
    delimiter: str
    decimal: str
    preamble_lines: int
    footer: str | None
    time_column: str
    time_format: str
    zone: str
    label: str
    interval_s: int | None
    gap_limit_s: int
    pump_column: str | None
    pump_file_name: re.Pattern[str] | None
    columns: dict[str, str]
    scale: dict[str, float]
    aux_column: str | None
    aux_on: tuple[str, ...]
    aux_off: tuple[str, ...]
    digest: str

    @property
    def hold_s(self) -> int:
        """How long the last reading before a gap stands: one sample interval; nothing for a change of state."""
        return 0 if self.label == "change_of_state" else int(self.interval_s or 0)

    def pump_of(self, file: str) -> str | None:
        """The pump that a file's name gives, where the dialect takes it from there."""
        found = self.pump_file_name.search(file) if self.pump_file_name else None
        return found[1] if found else None

    @property
    def needed_columns(self) -> list[str]:
        """Columns that must stand in the header."""
        return [name for name in (self.time_column, self.pump_column, *self.columns.values(), self.aux_column) if name]


def load_dialects(folder: Path, problems: list[Problem]) -> dict[str, Dialect]:
    """Dialects by name; one in the fleet's ``dialects/`` takes the place of the package's of the same name."""
    found: dict[str, Dialect] = {}
    for root, shown in ((Path(__file__).parent / "dialects", "dialects"), (folder / "dialects", "dialects")):
        for path in sorted(root.glob("*.toml")):
            dialect = read_dialect(path, f"{shown}/{path.name}", problems)
            if dialect:
                found[dialect.name] = dialect
            else:  # nor may the package's dialect read the files in its place
                found.pop(path.stem, None)
    return found


def match_source(fleet: FleetFile, file: str) -> Source | None:
    """The first source whose glob fits the file's name."""
    return next((source for source in fleet.sources if fnmatchcase(file, source.files)), None)


def read_dialect(path: Path, shown: str, problems: list[Problem]) -> Dialect | None:
    """One dialect file; ``None`` where it does not hold, with all its faults in ``problems``."""
    import jsonschema

    try:
        text = path.read_text(encoding="utf-8-sig")
        content = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, OSError) as error:
        problems.append(Problem("dialect_unreadable", f"is not a TOML file ({error})", file=shown))
        return None
    faults = [
        Problem(
            "dialect_invalid",
            f"{'.'.join(str(part) for part in error.absolute_path) or 'top level'}: {error.message}",
            file=shown,
        )
        for error in sorted(
            jsonschema.Draft202012Validator(_schema()).iter_errors(content),
            key=lambda e: [str(p) for p in e.absolute_path],
        )
    ]
    faults = faults or _beyond_schema(content, shown)
    if faults:
        problems.extend(faults)
        return None
    file, time, pump, quantity = content["file"], content["time"], content["pump"], dict(content["quantity"])
    aux = quantity.pop("aux", None)
    return Dialect(
        name=path.stem,
        about=content["about"],
        encoding=file.get("encoding", "utf-8"),
        delimiter=file["delimiter"],
        decimal=file.get("decimal", "."),
        preamble_lines=file.get("preamble_lines", 0),
        footer=file.get("footer"),
        time_column=time["column"],
        time_format=time["format"],
        zone=time["zone"],
        label=time["label"],
        interval_s=time.get("interval_s"),
        gap_limit_s=time["gap_limit_s"],
        pump_column=pump.get("column"),
        pump_file_name=re.compile(pump["file_name"]) if "file_name" in pump else None,
        columns={_HELD_AS.get(name, name): item["column"] for name, item in quantity.items()},
        scale={_HELD_AS.get(name, name): _scale(name, item["unit"], time) for name, item in quantity.items()},
        aux_column=aux["column"] if aux else None,
        aux_on=tuple(aux["on"]) if aux else (),
        aux_off=tuple(aux["off"]) if aux else (),
        digest=hashlib.sha256(text.encode()).hexdigest(),
    )


def _scale(quantity: str, unit: str, time: dict) -> float:
    """Factor from the export's unit to the readings'. Energy of an interval is held as the mean power over it."""
    return _SCALES[unit] * (3_600_000 / time["interval_s"] if quantity == "energy" else 1.0)


@cache
def _schema() -> dict[str, object]:
    return json.loads((Path(__file__).parent / "dialect.schema.json").read_text(encoding="utf-8"))


def _beyond_schema(content: dict, shown: str) -> list[Problem]:
    """What a schema cannot say: fields that depend on each other."""
    faults = []
    time, pump = content["time"], content["pump"]
    if time["label"] != "change_of_state" and "interval_s" not in time:
        faults.append("time.interval_s is needed for samples and intervals")
    if "energy" in content["quantity"]:
        if not time["label"].startswith("interval"):
            faults.append("quantity.energy is the energy of an interval, so time.label says where the interval lies")
        if "power" in content["quantity"]:
            faults.append("quantity.energy and quantity.power say the same; keep one")
    if time.get("interval_s", 0) > time["gap_limit_s"]:
        faults.append("time.gap_limit_s is shorter than time.interval_s, so every reading would stand alone")
    if (time["zone"] == "offset") != ("%z" in time["format"]):
        faults.append('time.zone = "offset" goes with %z in time.format, and only with it')
    if time["zone"] not in ("utc", "offset", "site") and not is_zone(time["zone"]):
        faults.append("time.zone is utc, offset, site or an IANA zone such as America/Los_Angeles")
    if time["format"] != "epoch_s":
        unknown = [mark for mark in re.findall(r"%-?.?", time["format"]) if not _FORMAT_MARK.fullmatch(mark)]
        if unknown or "%" not in time["format"]:
            marks = ", ".join(unknown) or "no % mark"
            faults.append(f"time.format holds {marks}; it is epoch_s or %Y %y %m %d %b %B %j %H %I %p %M %S %f %z")
    elif time["zone"] != "utc":
        faults.append('time.format = "epoch_s" goes with time.zone = "utc"')
    file = content["file"]
    if file["delimiter"] in ('"', "\n", "\r", file.get("decimal", ".")):
        faults.append("file.delimiter is neither a quote, a line end nor the decimal mark")
    named = [time["column"], *(item["column"] for item in content["quantity"].values()), pump.get("column")]
    twice = sorted({column for column in named if column and named.count(column) > 1})
    if twice:
        faults.append(f"a column stands for two things: {', '.join(twice)}")
    aux = content["quantity"].get("aux")
    if aux and len({*aux["on"], *aux["off"]}) < len(aux["on"]) + len(aux["off"]):
        faults.append("quantity.aux: a word stands twice in on and off")
    if "file_name" in pump:
        try:
            if re.compile(pump["file_name"]).groups != 1:
                faults.append("pump.file_name needs exactly one group in parentheses")
        except re.error as error:
            faults.append(f"pump.file_name is not a regular expression: {error}")
    return [Problem("dialect_invalid", fault, file=shown) for fault in faults]
