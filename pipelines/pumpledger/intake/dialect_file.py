"""A dialect file: one TOML file read and checked into a `Dialect`, with all its faults at once.

Belongs here: from text to declaration. What the schema alone cannot say is `dialect_rules.py`; factors are
`dialect_units.py`.
"""

from __future__ import annotations

import hashlib
import json
import re
import tomllib
from functools import cache
from pathlib import Path
from typing import Any

from pumpledger.intake.dialect import Dialect
from pumpledger.intake.dialect_rules import broken_rules
from pumpledger.intake.dialect_units import HELD_AS, conversion
from pumpledger.problems import Problem

_SAID_MOST = 300
"""Longest part of a fault that may repeat the file's own text [characters]."""

_ESPI_TIME = {"zone": "utc", "label": "interval_beginning"}
"""NAESB ESPI: a reading's period has its start in epoch seconds and its own duration (facts 7.2)."""


def read_dialect(path: Path, shown: str, problems: list[Problem]) -> Dialect | None:
    """One dialect file; ``None`` where it does not hold, with all its faults in ``problems``, under the name
    ``shown``."""
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (UnicodeDecodeError, OSError) as error:
        problems.append(_unreadable(error, shown))
        return None
    return parse_dialect(text, path.stem, shown, problems)


def parse_dialect(text: str, name: str, shown: str, problems: list[Problem]) -> Dialect | None:
    """The dialect that ``text`` declares, called ``name``; ``None`` and its faults as in `read_dialect`."""
    try:
        content = tomllib.loads(text)
    except (ValueError, RecursionError) as error:  # ValueError: not TOML, or a whole number of thousands of digits
        problems.append(_unreadable(error, shown))
        return None
    faults, sound = _schema_faults(content)
    faults += broken_rules(content, sound)
    if faults:
        problems.extend(Problem("dialect_invalid", fault, file=shown) for fault in dict.fromkeys(faults))
        return None
    return _dialect(content, name, hashlib.sha256(text.encode()).hexdigest())


def _unreadable(error: Exception, shown: str) -> Problem:
    return Problem("dialect_unreadable", f"is not a TOML file ({str(error)[:_SAID_MOST]})", file=shown)


@cache
def dialect_schema() -> dict[str, Any]:
    """The JSON Schema of a dialect file, as Python holds it. Not to be changed."""
    return json.loads((Path(__file__).parent / "dialect.schema.json").read_text(encoding="utf-8"))


def _schema_faults(content: dict[str, Any]) -> tuple[list[str], set[str]]:
    """Faults by the schema, and the tables of ``content`` that have none: rules about others are not judged."""
    import jsonschema  # late: it takes a quarter of a second, and few commands read dialects

    errors = sorted(
        jsonschema.Draft202012Validator(dialect_schema()).iter_errors(content),
        key=lambda error: [str(part) for part in error.absolute_path],
    )
    unsound = {str(error.absolute_path[0]) for error in errors if error.absolute_path}
    return [_fault(error) for error in errors], set(content) - unsound


def _fault(error: Any) -> str:
    """Field, what is wrong with it, what is expected. ``error`` is a `jsonschema.ValidationError`."""
    place = ".".join(str(part) for part in error.absolute_path) or "top level"
    said, expected = error.message[:_SAID_MOST], error.schema.get("description")
    if error.validator in ("oneOf", "not"):
        return f"{place}: {expected}"
    return f"{place}: {said}" + (f"; expected: {expected}" if expected and error.validator != "required" else "")


def _dialect(content: dict[str, Any], name: str, digest: str) -> Dialect:
    """The declaration of a checked ``content``."""
    carrier = content.get("carrier", "text")
    file, pump, quantity = content.get("file", {}), content["pump"], dict(content.get("quantity", {}))
    time = content["time"] | (_ESPI_TIME if carrier == "espi" else {})
    aux = quantity.pop("aux", None)
    held = {HELD_AS.get(key, key): (key, item) for key, item in quantity.items()}
    interval_s = int(time["interval_s"]) if "interval_s" in time else None
    factors = {key: conversion(quantity, item, interval_s) for key, (quantity, item) in held.items()}
    if carrier == "espi":  # the reader divides each reading's Wh by its own duration, so there is nothing to convert
        held, factors = {"power": ("power", {})}, {"power": (1.0, 0.0)}
    quote, names = file.get("quote", '"'), file.get("names")
    return Dialect(
        name=name,
        about=content["about"],
        carrier=carrier,
        time_columns=tuple(time[key] for key in ("column", "date_column", "clock_column") if key in time),
        time_format=time.get("format", ""),
        zone=time["zone"],
        label=time["label"],
        interval_s=interval_s,
        gap_limit_s=int(time["gap_limit_s"]),
        columns={key: item.get("column", "") for key, (_, item) in held.items()},
        scale={key: scale for key, (scale, _) in factors.items()},
        shift={key: shift for key, (_, shift) in factors.items()},
        digest=digest,
        encoding=file.get("encoding", "utf-8"),
        delimiter=file.get("delimiter", ","),
        quote=None if quote == "none" else quote,
        decimal=file.get("decimal", "."),
        thousands=file.get("thousands"),
        names=tuple(names) if names else None,
        preamble_lines=int(file.get("preamble_lines", 0)),
        footer=file.get("footer"),
        pump_column=pump.get("column"),
        pump_file_name=re.compile(pump["file_name"]) if "file_name" in pump else None,
        pump_fixed=pump.get("fixed"),
        pump_header=re.compile(pump["header"]) if "header" in pump else None,
        pump_columns=dict(pump.get("columns", {})),
        pump_codes=pump.get("codes", "pump"),
        aux_column=aux["column"] if aux else None,
        aux_on=tuple(aux["on"]) if aux else (),
        aux_off=tuple(aux["off"]) if aux else (),
    )
