"""What lies in the inbox, against the ledger: which exports are new, known, repeated, or to be read again.

Belongs here: the comparison, which writes nothing. Reading what is new is `ingest.py`.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from pathlib import Path

from pumpledger.engine.database import can_be_named
from pumpledger.engine.lake import Lake
from pumpledger.intake.carriers import Member, members
from pumpledger.intake.declarations import Declarations
from pumpledger.intake.dialect import Dialect
from pumpledger.intake.dialects import match_source
from pumpledger.intake.files import ExportFile, examine, export_id, sha256_of
from pumpledger.intake.ledger import Entry, Ledger
from pumpledger.intake.progress import Progress
from pumpledger.intake.shown_names import clean_name
from pumpledger.intake.unreadable import Unreadable
from pumpledger.problems import Problem
from pumpledger.workspace import write_whole

_AT_ONCE = 2


@dataclass(frozen=True, slots=True)
class Work:
    """An export to be read. ``sequence`` is its place in the order of arrival where it has one already."""

    export: ExportFile
    dialect: Dialect
    source: str
    sequence: int | None = None


@dataclass(slots=True)
class Arrivals:
    """What lies in the inbox. ``repeated`` are exports whose content is held under another name: (work, that name);
    ``outdated`` entries to be read again."""

    work: list[Work] = field(default_factory=list)
    repeated: list[tuple[Work, str]] = field(default_factory=list)
    outdated: list[Entry] = field(default_factory=list)
    unread: list[tuple[Path, Problem]] = field(default_factory=list)
    seen: Seen | None = None

    @property
    def nothing_new(self) -> bool:
        return not (self.work or self.repeated)


class Seen:
    """Sizes, times and hashes of the files of the inbox when they were last read: spares hashing an old inbox again."""

    def __init__(self, lake: Lake) -> None:
        self._path = lake.root / ".seen.json"
        self._files: dict[str, list[object]] = (
            json.loads(self._path.read_text(encoding="utf-8")) if self._path.exists() else {}
        )
        self.changed = False

    def contents(self, path: Path) -> dict[str, list[str]] | None:
        """``shown name -> [inner name, SHA-256 of the content]`` of a file whose size and time are as they were."""
        held = self._files.get(path.name)
        return dict(held[1]) if held and held[0] == _stamp(path) else None

    def remember(self, path: Path, contents: dict[str, list[str]]) -> None:
        self._files[path.name] = [_stamp(path), contents]
        self.changed = True

    def keep(self) -> None:
        """Write for the next run what was remembered."""
        if self.changed:
            write_whole(self._path, json.dumps(self._files, sort_keys=True).encode())
            self.changed = False


def _stamp(path: Path) -> list[int]:
    stat = path.stat()
    return [stat.st_size, stat.st_mtime_ns]


def look(files: Iterable[Path], ledger: Ledger, declared: Declarations, progress: Progress | None = None) -> Arrivals:
    """Compare ``files`` with the ledger; nothing is written.

    To read are new exports; known ones whose dialect, or whose pumps' place in the register, has changed since; and
    those that lean on one of these.
    """
    files, seen, progress = list(files), Seen(ledger.lake), progress or Progress()
    arrivals = Arrivals(seen=seen)
    to_examine: list[Path] = []
    for path in files:
        known = seen.contents(path)
        if known is None or not all(_stands(name, *inner, ledger, declared) for name, inner in known.items()):
            to_examine.append(path)
            progress.expect(2 * path.stat().st_size)
    found: list[Work] = []
    with ThreadPoolExecutor(_AT_ONCE) as pool:  # hashing leaves the interpreter alone
        examined = pool.map(lambda path: _examined(path, declared, progress), to_examine)
        for path, (work, unread, contents) in zip(to_examine, examined, strict=True):
            progress.expect(2 * (sum(item.export.size for item in work) - path.stat().st_size))
            arrivals.unread += [(path, problem) for problem in unread]
            found += work
            if contents is not None:
                seen.remember(path, contents)
    _sort_out(found, by_name(files), ledger, declared, arrivals, progress)
    return arrivals


def _stands(name: str, inner: str, sha256: str, ledger: Ledger, declared: Declarations) -> bool:
    source = match_source(declared.fleet, inner)
    dialect = declared.dialects.get(source.name) if source else None
    if source is None or dialect is None:
        return False
    return _still_holds(ledger.known(name, export_id(sha256, dialect.pump_of(inner))), source.name, dialect, declared)


def _examined(
    path: Path, declared: Declarations, progress: Progress
) -> tuple[list[Work], list[Problem], dict[str, list[str]] | None]:
    """The exports of one file of the inbox, hashed; what could not be read of it; and ``shown name -> [inner name,
    SHA-256]`` of its contents where all could."""
    work, unread, contents = [], [], {}
    try:
        if not can_be_named(path):
            fault = "has a backslash and one of * ? [ in its path, which cannot be told apart from a pattern; rename it"
            raise Unreadable(Problem("export_name", fault, file=clean_name(path.name)))
        carried = members(path)
        arrived = sha256_of(path) if any(member.packed for member in carried) else None
    except Unreadable as error:
        return [], [error.problem], None
    for member in carried:
        try:
            source, dialect = _declared(path, member, declared)
            export = examine(path, member, arrived, progress)
        except Unreadable as error:
            unread.append(error.problem)
            continue
        contents[member.name] = [member.inner, export.sha256]
        work.append(Work(replace(export, pump=dialect.pump_of(member.inner)), dialect, source))
    return work, unread, contents if len(contents) == len(carried) else None


def _sort_out(
    found: list[Work],
    files: dict[str, Path],
    ledger: Ledger,
    declared: Declarations,
    arrivals: Arrivals,
    progress: Progress,
) -> None:
    first_of: dict[str, str] = {}
    again: dict[str, Work] = {}
    for item in found:
        name, export_id = item.export.name, item.export.export_id
        entry = ledger.known(name, export_id)
        if _still_holds(entry, item.source, item.dialect, declared):
            continue
        same = ledger.of_content(name, item.export.sha256)
        if any(other.status == "withdrawn" for other in same):
            continue
        # The dialect gave this name another pump then.
        arrivals.outdated += [other for other in same if other.export_id != export_id]
        original = first_of.get(export_id)
        twin = ledger.original(export_id)
        if original is None and twin and twin.file != name:
            if twin.file.split("/")[0] in files or _still_holds(twin, item.source, item.dialect, declared):
                original = twin.file
            else:  # renamed for another dialect, or kept under this name alone: read it in place of the old one
                arrivals.outdated.append(twin)
        if entry:
            arrivals.outdated.append(entry)
        if original:
            arrivals.repeated.append((item, original))
        else:
            first_of[export_id] = name
            again[export_id] = item
    _with_leaning(again, files, ledger, declared, arrivals)
    order = {key: entry.sequence for entry in arrivals.outdated if entry.status != "repeated"
             for key in (entry.export_id, (entry.file, entry.content_sha256))}  # fmt: skip
    work = [
        replace(item, sequence=order.get(export_id) or order.get((item.export.name, item.export.sha256)))
        for export_id, item in again.items()
    ]
    progress.expect(-sum(item.export.size for item in found if item.export.export_id not in again))
    arrivals.work = sorted(work, key=lambda item: (item.sequence is None, item.sequence or 0, item.export.name))


def _with_leaning(
    again: dict[str, Work], files: dict[str, Path], ledger: Ledger, declared: Declarations, arrivals: Arrivals
) -> None:
    """Add the exports whose rows give way to those of outdated ones, or were judged by them, as far as their files are
    still there."""
    gone = {outdated.export_id: outdated for outdated in arrivals.outdated}
    while more := {entry.export_id: entry for outdated in gone.values() for entry in ledger.after(outdated)} | {
        entry.export_id: entry for entry in ledger.leaning_on(set(gone))
    }:
        if more.keys() <= gone.keys():
            break
        gone |= more
    for entry in sorted(gone.values(), key=lambda entry: entry.sequence):
        item = None if entry.export_id in again else find(files, entry, declared)
        if item is not None:
            again[entry.export_id] = item
            arrivals.outdated.append(entry)


def by_name(files: Iterable[Path]) -> dict[str, Path]:
    """``files`` by the name that the ledger knows them by."""
    return {clean_name(path.name): path for path in files}


def find(files: dict[str, Path], entry: Entry, declared: Declarations) -> Work | None:
    """The export of a ledger entry, if its file still lies among ``files`` (by name) as it was."""
    path = files.get(entry.file.split("/")[0])
    if path is None:
        return None
    work, _, _ = _examined(path, declared, Progress())
    return next((item for item in work if item.export.export_id == entry.export_id), None)


def _declared(path: Path, member: Member, declared: Declarations) -> tuple[str, Dialect]:
    if member.fault is not None:
        raise Unreadable(member.fault)
    source = match_source(declared.fleet, member.inner) or match_source(declared.fleet, path.name)
    if source is None:
        raise Unreadable(
            Problem(
                "dialect_undeclared",
                "no [[source]] in fleet.toml matches this file's name; add one with its files and dialect "
                f"(`pumpledger dialect {path.name}` proposes a dialect)",
                file=member.name,
            )
        )
    if source.name not in declared.dialects:
        raise Unreadable(
            Problem(
                "dialect_unknown",
                f"source {source.name!r} names the dialect {source.dialect!r}, which is not there or does not hold; "
                f"known: {', '.join(declared.known)}",
                file=member.name,
            )
        )
    return source.name, declared.dialects[source.name]


def _still_holds(entry: Entry | None, source: str, dialect: Dialect, declared: Declarations) -> bool:
    if entry is None:
        return False
    if entry.status == "withdrawn":
        return True
    zones = declared.pumps[source].zones(dialect.pump_codes)
    return entry.dialect_digest == dialect.digest and all(
        zones.get(pump) == zone for pump, zone in entry.pump_zones.items()
    )
