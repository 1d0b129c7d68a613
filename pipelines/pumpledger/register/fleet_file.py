"""fleet.toml: name, zone, units, currency, and which files of the inbox are read by which dialect."""

from __future__ import annotations

import difflib
import tomllib
from dataclasses import dataclass, field, replace
from pathlib import Path

from pumpledger.problems import FleetError, Problem
from pumpledger.register.zone import is_zone

_KNOWN = ("name", "made_up", "zone", "units", "currency", "meter_accuracy", "co2_kg_per_kwh", "co2_source", "source",
          "rules", "proposals")  # fmt: skip
PROPOSALS = {
    "least_saving_share": (0.03, 0.0, 0.5),
    "least_saving_year": (10.0, 0.0, 10000.0),
    "wear_per_start": (0.0, 0.0, 10.0),
}
"""Keys of ``[proposals]``, each with its default, least and most: what a new plan must save to be worth a visit, as a share
of the day's cost and in currency a year, and what a start wears off in currency."""


@dataclass(frozen=True, slots=True)
class Source:
    """Files of the inbox whose name matches the glob ``files`` and are read by ``dialect``."""

    name: str
    files: str
    dialect: str


@dataclass(frozen=True, slots=True)
class FleetFile:
    """What fleet.toml says. ``meter_accuracy`` is the relative accuracy of logged power and energy (0.02 is 2 %);
    ``rules`` are thresholds in place of the defaults: rule -> parameter -> value.

    ``co2_kg_per_kwh`` stands only with ``co2_source``, the document it is taken from; else neither does.
    """

    name: str
    made_up: bool
    zone: str
    units: str
    currency: str
    meter_accuracy: float
    sources: tuple[Source, ...]
    rules: dict[str, dict[str, float]] = field(default_factory=dict)
    co2_kg_per_kwh: float | None = None
    co2_source: str = ""
    proposals: dict[str, float] = field(
        default_factory=lambda: {key: usual for key, (usual, _, _) in PROPOSALS.items()}
    )


def read_fleet_file(folder: Path, problems: list[Problem]) -> FleetFile | None:
    """Read ``folder/fleet.toml``; ``None`` where a fleet cannot run on what it says, with its faults in ``problems``.

    Raises:
        FleetError: the folder or the file is missing, or the file is not TOML.
    """
    name = "fleet.toml"
    if not folder.is_dir():
        raise FleetError(
            Problem(
                "fleet_missing", f"there is no fleet folder at {folder}; `pumpledger demo DIR` makes one to look at"
            )
        )
    try:
        content = tomllib.loads((folder / name).read_text(encoding="utf-8-sig"))
    except FileNotFoundError:
        raise FleetError(
            Problem(
                "fleet_file_missing", f"{folder} holds no fleet.toml; see the README, 'The fleet folder'", file=name
            )
        ) from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, OSError) as error:
        raise FleetError(Problem("fleet_file_unreadable", f"is not a TOML file ({error})", file=name)) from None
    faults: list[Problem] = []
    for key in content:
        if key not in _KNOWN:
            close = difflib.get_close_matches(key, _KNOWN, n=1)
            problems.append(
                Problem(
                    "unknown_key",
                    f"the key {key!r} is not known and is not used" + (f"; did you mean {close[0]}?" if close else ""),
                    "warns",
                    name,
                    column=key,
                )
            )
    zone = content.get("zone")
    if not is_zone(zone):
        faults.append(
            Problem("fleet_zone", 'zone is an IANA time zone such as "America/Los_Angeles"', file=name, column="zone")
        )
    units = content.get("units", "metric")
    if units not in ("metric", "us"):
        faults.append(Problem("fleet_units", 'units is "metric" or "us"', file=name, column="units"))
    accuracy = content.get("meter_accuracy", 0.02)
    if isinstance(accuracy, bool) or not isinstance(accuracy, int | float) or not 0 < accuracy < 0.5:
        faults.append(
            Problem(
                "fleet_meter_accuracy",
                "meter_accuracy is a share between 0 and 0.5, such as 0.02",
                file=name,
                column="meter_accuracy",
            )
        )
    if not isinstance(content.get("made_up", False), bool):
        faults.append(Problem("fleet_made_up", "made_up is true or false, without quotes", file=name, column="made_up"))
    sources = _sources(content.get("source"), name, faults)
    rules = _rules(content.get("rules", {}), name, faults)
    proposals = _proposals(content.get("proposals", {}), name, faults)
    problems += faults
    if faults:
        return None
    factor = _co2(content, name, problems)
    return FleetFile(
        name=str(content.get("name", folder.name)),
        made_up=content.get("made_up", False),
        zone=zone,
        units=units,
        currency=str(content.get("currency", "USD")),
        meter_accuracy=float(accuracy),
        sources=sources,
        rules=rules,
        proposals=proposals,
        co2_kg_per_kwh=factor,
        co2_source=str(content["co2_source"]).strip() if factor is not None else "",
    )


def _proposals(declared: object, name: str, faults: list[Problem]) -> dict[str, float]:
    """The defaults of ``PROPOSALS`` with what the file puts in their place."""
    if not isinstance(declared, dict):
        faults.append(Problem("fleet_proposals", "[proposals] is a table of numbers", file=name, column="proposals"))
        return {}
    values = {key: usual for key, (usual, _, _) in PROPOSALS.items()}
    for key, value in declared.items():
        column = f"proposals.{key}"
        if key not in PROPOSALS:
            known = f"the key {key!r} is not known; known are {', '.join(PROPOSALS)}"
            faults.append(Problem("fleet_proposals", known, file=name, column=column))
            continue
        _, least, most = PROPOSALS[key]
        if isinstance(value, bool) or not isinstance(value, int | float) or not least <= value <= most:
            faults.append(
                Problem("fleet_proposals", f"{key} is a number from {least:g} to {most:g}", file=name, column=column)
            )
            continue
        values[key] = float(value)
    return values


def _co2(content: dict[str, object], name: str, problems: list[Problem]) -> float | None:
    """The factor, where it is a number and its source is named; else a problem that says what is withheld."""
    factor, source = content.get("co2_kg_per_kwh"), content.get("co2_source")
    if factor is None and source is None:
        return None
    named = isinstance(source, str) and bool(source.strip())
    if isinstance(factor, bool) or not isinstance(factor, int | float) or not 0 < factor <= 3:
        sentence = "co2_kg_per_kwh is a number above 0 and at most 3, in kg per kWh; no CO2 is given until it stands"
        problems.append(Problem("co2_factor", sentence, "warns", name, column="co2_kg_per_kwh"))
        return None
    if not named:
        sentence = (
            "co2_kg_per_kwh stands without its source; name in co2_source the document, edition and year it is taken "
            "from; no CO2 is given until then"
        )
        problems.append(Problem("co2_source", sentence, "warns", name, column="co2_source"))
        return None
    return float(factor)


def _sources(declared: object, name: str, faults: list[Problem]) -> tuple[Source, ...]:
    if not isinstance(declared, list) or not declared:
        faults.append(
            Problem(
                "fleet_source",
                "at least one [[source]] with name, files and dialect is needed",
                file=name,
                column="source",
            )
        )
        return ()
    sources = []
    for number, item in enumerate(declared, start=1):
        if not isinstance(item, dict) or not all(
            isinstance(item.get(key), str) and item[key] for key in ("name", "files", "dialect")
        ):
            faults.append(
                Problem(
                    "fleet_source",
                    f'[[source]] number {number} needs name, files (a glob such as "coast_*.csv") and dialect',
                    file=name,
                    column="source",
                )
            )
            continue
        sources.append(Source(item["name"], item["files"], item["dialect"]))
    return tuple(sources)


def _rules(declared: object, name: str, faults: list[Problem]) -> dict[str, dict[str, float]]:
    """Tables of numbers; whether there are such rules and parameters is for those who know them to say."""
    fault = Problem("fleet_rules", "a rule's thresholds are a table such as [rules.B1], each a number", file=name)
    if not isinstance(declared, dict):
        faults.append(replace(fault, column="rules"))
        return {}
    rules: dict[str, dict[str, float]] = {}
    for rule, values in declared.items():
        if not isinstance(values, dict):
            faults.append(replace(fault, column=f"rules.{rule}"))
            continue
        for parameter, value in values.items():
            if isinstance(value, bool) or not isinstance(value, int | float):
                faults.append(replace(fault, column=f"rules.{rule}.{parameter}"))
            else:
                rules.setdefault(rule, {})[parameter] = float(value)
    return rules
