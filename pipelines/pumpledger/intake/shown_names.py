"""Names of files and of entries of archives, made safe to show and to match.

Belongs here: cleaning of names. Nothing is ever written under a name that came from an archive.
"""

from __future__ import annotations

import re
import unicodedata

_SHOWN_CHARACTERS = 120
_DRIVE = re.compile(r"^\s*([A-Za-z]:\s*)+")
_PACKING = (".gz", ".gzip", ".zst", ".zstd", ".zip")


def clean_parts(name: str) -> list[str]:
    """The parts of a path without roots, drives and ``..``, with a mark in place of every unprintable character.

    >>> clean_parts("..\\\\C:\\\\logs//./a.csv")
    ['logs', 'a.csv']
    """
    text = clean_name(unicodedata.normalize("NFC", name)).replace("\\", "/")
    parts = [_DRIVE.sub("", part).strip() for part in text.split("/")]
    return [part for part in parts if part not in ("", ".", "..")]


def clean_name(name: str) -> str:
    """One file name, without unprintable characters."""
    return "".join(map(_printable, name))


def _printable(mark: str) -> str:
    # Beside control characters: marks that turn the direction of writing, lone surrogates, separators of lines.
    bad = unicodedata.category(mark) in ("Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp")
    return "\ufffd" if bad else mark


def clip(name: str) -> str:
    """``name``, its middle left out where it is too long for a line."""
    if len(name) <= _SHOWN_CHARACTERS:
        return name
    half = _SHOWN_CHARACTERS // 2 - 2
    return f"{name[:half]}...{name[-half:]}"


def unique(name: str, taken: dict[str, int]) -> str:
    """``name``, or ``name (2)`` and so on where it is taken already; entered in ``taken``, which counts on."""
    candidate = name
    while candidate in taken:
        taken[name] += 1
        candidate = f"{name} ({taken[name]})"
    taken[candidate] = 1
    return candidate


def without_packing(name: str) -> str:
    """``a.csv`` of ``a.csv.gz``: one ending that tells of packing is taken off."""
    for ending in _PACKING:
        if name.lower().endswith(ending) and len(name) > len(ending):
            return name[: -len(ending)]
    return name
