"""Turns a proposal into a dialect file as a person would: takes what it says, fills in what it asks from the truth.

Belongs here: the filling in, and the truth that a declared dialect holds. It uses a TOML writer of its own.
"""

from __future__ import annotations

import json
import re
import tomllib
from pathlib import Path
from typing import Any

from pumpledger.intake.dialect import Dialect
from pumpledger.intake.dialect_file import parse_dialect
from pumpledger.problems import Problem
from pumpledger.proposal.claim import Proposal
from pumpledger.proposal.render import render

BUILT_IN = Path(parse_dialect.__code__.co_filename).parent / "dialects"


def truth_of(name: str, files: list[str]) -> dict[str, Any]:
    """The lines of a dialect of the package, as `tests.proposal.truth` reads them."""
    content = tomllib.loads((BUILT_IN / f"{name}.toml").read_text(encoding="utf-8"))
    truth: dict[str, Any] = {
        "file.encoding": "utf-8",
        "file.decimal": ".",
        "file.preamble_lines": 0,
        "file.quote": '"',
        "pump.codes": "pump",
    }
    for section in ("file", "time", "pump", "quantity"):
        truth |= {f"{section}.{key}": value for key, value in content[section].items()}
    if "pump.file_name" in truth:
        pattern = truth["pump.file_name"]
        truth["pump.file_name"] = {file: re.search(pattern, file)[1] for file in files}  # type: ignore[index]
    return truth


def filled(proposal: Proposal, truth: dict[str, Any]) -> str:
    """The text of the dialect: claims as they stand, what is asked from ``truth``; what is asked and not there goes."""
    content: dict[str, dict[str, Any]] = {"file": {}, "time": {}, "pump": {}, "quantity": {}}
    for claim in proposal.claims:
        section, _, key = claim.key.partition(".")
        if claim.asked and not key:
            content[section] |= {k.split(".")[1]: v for k, v in truth.items() if k.startswith(f"{section}.")}
        elif claim.asked and claim.key in truth:
            content[section][key] = truth[claim.key]
        elif not claim.asked:
            content[section][key] = claim.value
    pump = truth.get("pump.file_name")
    if isinstance(content["pump"].get("file_name"), dict):
        content["pump"]["file_name"] = "log__(.+)\\.csv$" if pump else None
    if content["time"].get("label") == "change_of_state":
        content["time"].pop("interval_s", None)
    content["time"].setdefault("gap_limit_s", 691_200)
    text = f'about = "filled in"\ncarrier = "{proposal.carrier}"\n'
    for section, lines in content.items():
        if lines:
            text += f"[{section}]\n" + "".join(f"{key} = {_toml(value)}\n" for key, value in lines.items())
    return text


def _toml(value: object) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{json.dumps(key)} = {_toml(item)}" for key, item in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(_toml(item) for item in value) + "]"
    return json.dumps(value, ensure_ascii=False) if isinstance(value, str) else str(value)


def as_dialect(text: str) -> tuple[Dialect | None, list[Problem]]:
    """The dialect that ``text`` declares, with what is wrong with it."""
    problems: list[Problem] = []
    return parse_dialect(text, "proposed", "proposed.toml", problems), problems


def stands(proposal: Proposal) -> tuple[bool, list[Problem]]:
    """Whether the printed proposal passes the check of dialects as it is."""
    dialect, problems = as_dialect(render(proposal))
    return dialect is not None, problems
