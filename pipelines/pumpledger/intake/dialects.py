"""Which dialects a fleet has, those of the package and those of its own ``dialects/``, and which file goes by which.

Belongs here: finding them. What a dialect is stands in `dialect.py`, reading one in `dialect_file.py`. A file that
matches no source is never guessed at.
"""

from __future__ import annotations

from fnmatch import fnmatchcase
from pathlib import Path

from pumpledger.intake.dialect import Dialect
from pumpledger.intake.dialect_file import read_dialect
from pumpledger.problems import Problem
from pumpledger.register.fleet_file import FleetFile, Source


def load_dialects(folder: Path, problems: list[Problem]) -> dict[str, Dialect]:
    """Dialects by name; one in the fleet's ``dialects/`` takes the place of the package's of the same name."""
    found: dict[str, Dialect] = {}
    for root in (Path(__file__).parent / "dialects", folder / "dialects"):
        for path in sorted(root.glob("*.toml")):
            dialect = read_dialect(path, f"dialects/{path.name}", problems)
            if dialect:
                found[dialect.name] = dialect
            else:  # nor may the package's dialect read the files in its place
                found.pop(path.stem, None)
    return found


def match_source(fleet: FleetFile, file: str) -> Source | None:
    """The first source whose glob fits the file's name."""
    return next((source for source in fleet.sources if fnmatchcase(file, source.files)), None)
