"""A folder in the layout of RFC 8493 (BagIt): what it holds, with a SHA-256 of every file.

Belongs here: writing the tag files of a bag and holding a bag against them. What the files are belongs to `packet.py`.
Nothing here reads the clock: the date of a bag is a day of its data.
"""

from __future__ import annotations

import hashlib
import os
import re
from collections.abc import Mapping
from pathlib import Path

MANIFEST, TAG_MANIFEST = "manifest-sha256.txt", "tagmanifest-sha256.txt"
_DECLARATION = b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"
_LINE = re.compile(r"([0-9a-f]{64})  ([^\r\n]+)")
"""As `seal` writes it; the standard allows more, but then a changed byte of a manifest could go unseen."""


def sha256(path: Path) -> str:
    """SHA-256 of a file, in hexadecimal digits."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def seal(folder: Path, info: Mapping[str, str]) -> str:
    """Write the tag files of a bag whose payload lies in ``folder/data``; give the SHA-256 of its manifest.

    Args:
        info: lines of bag-info.txt; ``Payload-Oxum`` is added here.
    """
    payload = _files(folder / "data")
    size = sum(path.stat().st_size for path in payload)
    lines = {**info, "Payload-Oxum": f"{size}.{len(payload)}"}
    (folder / "bagit.txt").write_bytes(_DECLARATION)
    text = "".join(f"{name}: {_one_line(value)}\n" for name, value in lines.items())
    (folder / "bag-info.txt").write_bytes(text.encode())
    (folder / MANIFEST).write_bytes(_manifest(folder, payload))
    tags = [path for path in _files(folder) if path.name != TAG_MANIFEST and folder / "data" not in path.parents]
    (folder / TAG_MANIFEST).write_bytes(_manifest(folder, tags))
    return sha256(folder / MANIFEST)


def faults(folder: Path) -> list[str]:
    """What in ``folder`` is not as its manifests say, a sentence each, with the file's name; none for a whole bag."""
    found: list[str] = []
    if not (folder / "bagit.txt").is_file() or (folder / "bagit.txt").read_bytes() != _DECLARATION:
        found.append("bagit.txt is missing or changed: this is no packet, or not a whole one.")
    listed: dict[str, str] = {}
    for name in (TAG_MANIFEST, MANIFEST):
        if not (folder / name).is_file():
            found.append(f"{name} is missing.")
            continue
        lines = (folder / name).read_bytes().decode("utf-8", errors="replace").split("\n")
        if lines.pop():
            found.append(f"{name} does not end with a line.")
        for number, line in enumerate(lines, 1):
            match = _LINE.fullmatch(line)
            path = _decoded(match[2]) if match else ""
            if match is None or not _inside(path):
                found.append(f"{name} line {number} names no file of the packet.")
            elif path in listed:
                found.append(f"{name} line {number} names {path} a second time.")
            else:
                listed[path] = match[1]
    for path, digest in sorted(listed.items()):
        file = folder / path
        if file.is_symlink() or not file.is_file():
            found.append(f"{path} was removed, or is no plain file.")
        elif sha256(file) != digest:
            found.append(f"{path} was changed.")
    present = {path.relative_to(folder).as_posix() for path in _files(folder)}
    added = present - set(listed) - {TAG_MANIFEST}
    found += [f"{path} was added: no manifest names it." for path in sorted(added)]
    return found


def _files(folder: Path) -> list[Path]:
    """All files below ``folder``, links among them, by their names."""
    found = [Path(root) / name for root, folders, names in os.walk(folder) for name in names]
    links = [Path(root) / name for root, folders, _ in os.walk(folder) for name in folders]
    return sorted([*found, *(path for path in links if path.is_symlink())], key=lambda path: path.as_posix())


def _manifest(folder: Path, files: list[Path]) -> bytes:
    return "".join(f"{sha256(path)}  {_encoded(path.relative_to(folder).as_posix())}\n" for path in files).encode()


def _encoded(path: str) -> str:
    # RFC 8493, section 2.1.3: these three, and no others.
    return path.replace("%", "%25").replace("\n", "%0A").replace("\r", "%0D")


def _decoded(path: str) -> str:
    return re.sub("%0A", "\n", re.sub("%0D", "\r", path, flags=re.I), flags=re.I).replace("%25", "%")


def _inside(path: str) -> bool:
    parts = path.split("/")
    return bool(path) and not path.startswith("/") and "\\" not in path and ".." not in parts and "" not in parts


def _one_line(value: str) -> str:
    return " ".join("".join(mark if mark.isprintable() else " " for mark in value).split())
