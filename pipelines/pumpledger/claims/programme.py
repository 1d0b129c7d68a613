"""A programme file: one TOML file a utility programme, read and checked into a `Programme`, with all its faults at once.

Belongs here: from text to declaration, and which file a name means. No number of any programme stands in the code.
"""

from __future__ import annotations

import hashlib
import json
import re
import tomllib
from datetime import date
from functools import cache
from pathlib import Path
from typing import Any

from pumpledger.claims.programme_data import Band, BandTable, Eligible, Formula, PeakWindow, Programme
from pumpledger.claims.programme_rules import broken_rules
from pumpledger.claims.toml_place import place
from pumpledger.problems import FleetError, Problem

FOLDER = "programmes"
SHIPPED = Path(__file__).parent / FOLDER
_SAID_MOST = 300
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9_.-]{0,60}")
_ALL_MONTHS, _ALL_DAYS = tuple(range(1, 13)), tuple(range(1, 8))


def programme_names(fleet: Path) -> list[str]:
    """Names that `find_programme` knows: of the fleet's folder, and shipped ones."""
    return sorted({path.stem for folder in (fleet / FOLDER, SHIPPED) for path in folder.glob("*.toml")})


def find_programme(fleet: Path, name: str) -> Programme:
    """The programme called ``name``: ``<fleet>/programmes/<name>.toml``, else one that is shipped.

    Raises:
        FleetError: there is no such file, or it has faults, all of which are told.
    """
    stem = name.removesuffix(".toml")
    for folder, shown in ((fleet / FOLDER, f"{FOLDER}/{stem}.toml"), (SHIPPED, f"{stem}.toml (shipped)")):
        path = folder / f"{stem}.toml"
        if _NAME.fullmatch(stem) and path.is_file():
            problems: list[Problem] = []
            programme = read_programme(path, shown, problems)
            if programme is None:
                raise FleetError(problems)
            return programme
    known = ", ".join(programme_names(fleet)) or "none"
    raise FleetError(
        Problem("programme_missing", f"there is no programme {stem!r}; known: {known}", file=f"{FOLDER}/{stem}.toml")
    )


def read_programme(path: Path, shown: str, problems: list[Problem]) -> Programme | None:
    """One programme file; ``None`` where it does not hold, with all its faults in ``problems`` under ``shown``."""
    try:
        raw = path.read_bytes()
        text = raw.decode("utf-8-sig")
        content = tomllib.loads(text)
    except (ValueError, RecursionError, OSError) as error:  # ValueError: not UTF-8, not TOML, or a huge whole number
        found = re.search(r"line (\d+), column (\d+)", str(error))
        line, column = (int(found[1]), found[2]) if found else (None, None)
        sentence = f"is not a TOML file ({str(error)[:_SAID_MOST]})"
        problems.append(Problem("programme_unreadable", sentence, file=shown, line=line, column=column))
        return None
    content = _plain(content)
    faults = _schema_faults(content)
    broken = {str(path[0]) for path, _ in faults if path}
    faults += [(where, said) for where, said in broken_rules(content) if str(where[0]) not in broken]
    if faults:
        for where, said in faults:
            line, column = place(text, where)
            name = ".".join(str(part + 1) if isinstance(part, int) else part for part in where)
            shown_column = f"{column} ({name})" if column else name or None
            problems.append(Problem("programme_invalid", said, file=shown, line=line, column=shown_column))
        return None
    return _programme(content, path.stem, shown, hashlib.sha256(raw).hexdigest())


def _plain(value: Any) -> Any:
    """TOML's days as text, so that a schema of JSON can judge them."""
    if isinstance(value, dict):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, list):
        return [_plain(item) for item in value]
    return value.isoformat() if hasattr(value, "isoformat") else value


@cache
def programme_schema() -> dict[str, Any]:
    """The JSON Schema of a programme file. Not to be changed."""
    return json.loads((Path(__file__).parent / "programme.schema.json").read_text(encoding="utf-8"))


def _schema_faults(content: dict[str, Any]) -> list[tuple[list[str | int], str]]:
    import jsonschema  # late: it takes a quarter of a second

    errors = sorted(
        jsonschema.Draft202012Validator(programme_schema()).iter_errors(content),
        key=lambda error: [str(part) for part in error.absolute_path],
    )
    found = []
    for error in errors:
        expected = error.schema.get("description") if isinstance(error.schema, dict) else None
        said = error.message[:_SAID_MOST]
        named = f"; expected: {expected}" if expected and error.validator != "required" else ""
        found.append(([*error.absolute_path], said + named))
    return found


def _programme(content: dict[str, Any], key: str, shown: str, digest: str) -> Programme:
    complete, install = content.get("completeness", {}), content.get("install", {})
    return Programme(
        key=key,
        name=content["name"],
        made_up=content.get("made_up", False),
        document=content["document"],
        edition=content["edition"],
        section=content["section"],
        retrieved=date.fromisoformat(content["retrieved"]),
        source=content["source"],
        option=content["option"],
        formulas=tuple(
            Formula(
                item["name"],
                item.get("claimed", False),
                {
                    name: value if isinstance(value, str) else float(value)
                    for name, value in item.get("parameters", {}).items()
                },
                item["source"],
            )
            for item in content["formula"]
        ),
        tables={item["name"]: _table(item) for item in content.get("table", [])},
        eligible=tuple(
            Eligible(**{**item, "one_of": tuple(item.get("one_of", ()))}) for item in content.get("eligible", [])
        ),
        baseline_evidence=tuple(content["baseline"].get("evidence", ())),
        baseline_rule=content["baseline"]["rule"],
        least_day_coverage=float(complete.get("least_day_coverage", 0.9)),
        least_share_of_days=float(complete.get("least_share_of_days", 0.9)),
        least_days=int(complete.get("least_days", 1)),
        peak=_peak(content.get("peak")),
        documents=dict(content.get("documents", {})),
        measure_life_years=float(content["life"]["years"]) if "life" in content else None,
        caps={name: float(value) for name, value in content.get("caps", {}).items()},
        units=content["units"],
        reviewer_not_preparer=content.get("review", {}).get("reviewer_not_preparer", True),
        install_from=_day(install.get("from")),
        install_until=_day(install.get("until")),
        file_within_days=content["filing"]["within_days"] if "filing" in content else None,
        file_after=content.get("filing", {}).get("after", ""),
        sampling={name: float(value) for name, value in content.get("sampling", {}).items()},
        notes=tuple(content.get("notes", ())),
        file=shown,
        sha256=digest,
    )


def _day(text: str | None) -> date | None:
    return date.fromisoformat(text) if text else None


def _table(item: dict[str, Any]) -> BandTable:
    bands = tuple(
        Band(
            float(band["from"]),
            float(band["below"]) if "below" in band else None,
            {name: float(value) for name, value in band.get("values", {"value": band.get("value")}).items()},
        )
        for band in item["bands"]
    )
    return BandTable(
        item["name"], item["by"], item["unit"], item["gives"], bands, item.get("column", ""), item["source"]
    )


def _peak(item: dict[str, Any] | None) -> PeakWindow | None:
    if item is None:
        return None
    minutes = [int(item[name][:2]) * 60 + int(item[name][3:]) for name in ("start", "stop")]
    return PeakWindow(
        tuple(sorted(item.get("months", _ALL_MONTHS))), tuple(sorted(item.get("weekdays", _ALL_DAYS))), *minutes
    )
