"""Puts a proposal into a fleet folder as a dialect file, and says what else the fleet needs.

Belongs here: the file and the `[[source]]` to add. Nothing that stands there is ever replaced.
"""

from __future__ import annotations

import os
import re
from pathlib import Path

from pumpledger.intake import dialects as packaged
from pumpledger.problems import FleetError, Problem
from pumpledger.proposal.claim import Proposal
from pumpledger.proposal.file_names import common_part
from pumpledger.proposal.render import render

_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,59}")


def write_dialect(proposal: Proposal, name: str, fleet: Path) -> Path:
    """Write ``fleet``/dialects/``name``.toml.

    Raises:
        FleetError: the name is no plain word or is taken, or the folder is no fleet or cannot be written.
    """
    if not _NAME.fullmatch(name):
        raise _refused(f"{name!r} is no name for a dialect: letters, digits, - and _, at most 60 of them")
    if not (fleet / "fleet.toml").is_file():
        raise _refused(f"{fleet} holds no fleet.toml; name a fleet folder")
    if (Path(packaged.__file__).parent / "dialects" / f"{name}.toml").exists():
        raise _refused(f"{name} is a dialect of the package, which this one would replace; give it another name")
    path = fleet / "dialects" / f"{name}.toml"
    try:
        path.parent.mkdir(exist_ok=True)
        file = path.open("x", encoding="utf-8", newline="\n")
    except FileExistsError:
        raise _refused(f"dialects/{name}.toml is there already; give this one another name, or move that one") from None
    except OSError as error:
        raise _refused(f"dialects/{name}.toml cannot be written ({error.strerror})") from None
    try:
        with file:
            file.write(render(proposal))
            file.flush()
            os.fsync(file.fileno())
    except OSError as error:  # a full disk: half a dialect is worse than none
        path.unlink(missing_ok=True)
        raise _refused(f"dialects/{name}.toml cannot be written ({error.strerror})") from None
    return path


def source_text(proposal: Proposal, name: str) -> str:
    """The ``[[source]]`` that reads the proposal's files by the dialect ``name``."""
    return f'[[source]]\nname = "{name.replace("_", " ")}"\nfiles = "{_glob(proposal.inner)}"\ndialect = "{name}"\n'


def _glob(names: list[str]) -> str:
    """A pattern that fits all ``names``: what they begin and end with, dates and the like left open."""
    start, end = (common_part(names, from_end) for from_end in (False, True))
    if len(set(names)) == 1:
        stem, dot, suffix = names[0].rpartition(".")
        start, end = (stem, dot + suffix) if dot else (names[0], "")
    start = re.split(r"\d", start, maxsplit=1)[0]
    end = re.split(r"\d", end)[-1] if re.search(r"\d", end) else end
    end = end[end.rfind(".") :] if "." in end else ""
    return re.sub(r'[\[\]?*"\\]', "?", start) + "*" + re.sub(r'[\[\]?*"\\]', "?", end)


def _refused(sentence: str) -> FleetError:
    return FleetError(Problem("dialect_not_written", sentence))
