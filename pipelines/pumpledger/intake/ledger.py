"""The ledger: one small JSON record an export, written last, so that a record stands for readings that are all there.

Belongs here: what is remembered of each export, and the steps that make it count or no longer count. Tables made from
the records are `ledger_tables.py`; which export must be read again is `inbox.py`.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
from collections.abc import Iterator
from dataclasses import dataclass, field, fields
from datetime import datetime
from functools import cached_property
from pathlib import Path

import polars as pl

from pumpledger.engine.lake import Lake
from pumpledger.workspace import write_whole

READ_AGAIN = "to read again"
_STALE_SHARE = 0.01
"""Share of the records that may be read one by one before the copy of all is written again."""
"""Status of an export that counts for nothing until it has been read once more; its place in the order is kept."""


@dataclass(slots=True)
class Entry:
    """What the ledger holds of one export: its row of ``exports``, and what decides whether it must be read again.

    ``pump_zones`` has the zone of each pump that it names, and of a site that stands for its pump both, as
    `KnownPumps.zones` gives them. ``leans_on`` are the exports that rows of this one give way to: when one of them goes,
    this one is read again. ``reach`` are the extents that an export had while it counted.
    """

    export: dict[str, object]
    content_sha256: str
    dialect_digest: str
    pump_zones: dict[str, str | None]
    extents: list[dict[str, object]] = field(default_factory=list)
    leans_on: list[str] = field(default_factory=list)
    reach: list[dict[str, object]] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)
    profile: dict[str, object] = field(default_factory=dict)

    def content(self) -> dict[str, object]:
        """What its record holds, as it lies there: nothing is copied, because ten thousand records take seconds."""
        return {item.name: getattr(self, item.name) for item in fields(self)}

    @property
    def export_id(self) -> str:
        return str(self.export["export_id"])

    @property
    def file(self) -> str:
        return str(self.export["file"])

    @property
    def status(self) -> str:
        return str(self.export["status"])

    @property
    def sequence(self) -> int:
        return int(self.export["sequence"])

    @property
    def record(self) -> str:
        """Name of its file in the ledger."""
        if self.status != "repeated":
            return f"{self.export_id}.json"
        return f"{self.export_id}.{hashlib.sha256(self.file.encode()).hexdigest()[:8]}.json"


class Ledger:
    """All entries of one fleet folder.

    Beside the records lies a copy of all of them in one file, because ten thousand small files take a second to read;
    it is believed only for records that have not been touched since.
    """

    def __init__(self, lake: Lake) -> None:
        self.lake = lake
        self.folder = lake.root / "ledger"
        self._copy = lake.root / ".ledger-copy.json"
        self._by_record: dict[str, Entry] = {}
        self._copied: dict[str, tuple[int, int]] = {}
        for record, entry in self._load():
            self._by_record[record] = entry
        self._reindex()

    # --- looking up ---

    @cached_property
    def entries(self) -> list[Entry]:
        """All entries in order of arrival."""
        return sorted(self._by_record.values(), key=lambda entry: entry.sequence)

    @cached_property
    def _by_name(self) -> dict[tuple[str, str], Entry]:
        return {(entry.file, entry.export_id): entry for entry in self._by_record.values()}

    @cached_property
    def _by_week(self) -> dict[str, list[tuple[Entry, dict[str, object]]]]:
        weeks: dict[str, list[tuple[Entry, dict[str, object]]]] = {}
        for entry in self.entries:
            for item in entry.extents:
                weeks.setdefault(str(item["week"]), []).append((entry, item))
        return weeks

    @cached_property
    def _by_content(self) -> dict[tuple[str, str], list[Entry]]:
        contents: dict[tuple[str, str], list[Entry]] = {}
        for entry in self._by_record.values():
            contents.setdefault((entry.file, entry.content_sha256), []).append(entry)
        return contents

    def _reindex(self) -> None:
        for name in ("entries", "_by_name", "_by_content", "_by_week"):
            self.__dict__.pop(name, None)

    def _index_last(self, entry: Entry) -> None:
        if "_by_name" in self.__dict__:
            self._by_name[(entry.file, entry.export_id)] = entry
        if "_by_content" in self.__dict__:
            self._by_content.setdefault((entry.file, entry.content_sha256), []).append(entry)
        if "_by_week" in self.__dict__:
            for item in entry.extents:
                self._by_week.setdefault(str(item["week"]), []).append((entry, item))

    @property
    def weeks(self) -> list[str]:
        """Weeks that readings lie in, in order."""
        return sorted(self._by_week)

    def of_week(self, week: str) -> list[tuple[Entry, dict[str, object]]]:
        """(entry, extent) of a week in order of arrival; an extent has week, pump_id, rows, first_utc, last_utc."""
        return self._by_week.get(week, [])

    def of_weeks(self, weeks: set[str]) -> list[Entry]:
        """Entries whose readings lie in ``weeks``, or that repeat one whose do, in order of arrival."""
        inside = {entry.export_id for week in weeks for entry, _ in self.of_week(week)}
        return [entry for entry in self.entries if entry.export_id in inside]

    def known(self, file: str, export_id: str) -> Entry | None:
        return self._by_name.get((file, export_id))

    def of_content(self, file: str, sha256: str) -> list[Entry]:
        """Entries of this name and content, for whatever pump the name gave then."""
        return self._by_content.get((file, sha256), [])

    def original(self, export_id: str) -> Entry | None:
        """The entry whose readings came from this export under whatever name."""
        return self._by_record.get(f"{export_id}.json")

    def next_sequence(self) -> int:
        return 1 + (self.entries[-1].sequence if self.entries else 0)

    def holding(self, week: str, extents: pl.DataFrame) -> list[Entry]:
        """Entries that hold readings of ``week`` for a pump of ``extents`` within its time range."""
        wanted = {
            pump: (first, last) for pump, first, last in extents.select("pump_id", "first_utc", "last_utc").iter_rows()
        }
        found: dict[str, Entry] = {}
        for entry, item in self.of_week(week):
            pump, first, last = str(item["pump_id"]), moment(item["first_utc"]), moment(item["last_utc"])
            if pump in wanted and first <= wanted[pump][1] and last >= wanted[pump][0]:
                found[entry.export_id] = entry
        return list(found.values())

    def leaning_on(self, export_ids: set[str]) -> list[Entry]:
        """Other entries that lean on ``export_ids``, and those that lean on these, in order of arrival."""
        gone, found = set(export_ids), []
        while more := [e for e in self.entries if e.export_id not in gone and not gone.isdisjoint(e.leans_on)]:
            gone |= {entry.export_id for entry in more}
            found += more
        return sorted(found, key=lambda entry: entry.sequence)

    def after(self, entry: Entry) -> list[Entry]:
        """Later entries of its source that hold rows of its pumps within its time: how they were judged rests on it."""
        return [
            other
            for other in self._overlapping(entry.extents or entry.reach)
            if other.sequence > entry.sequence and other.export["source"] == entry.export["source"]
        ]

    def _overlapping(self, extents: list[dict[str, object]]) -> list[Entry]:
        frame = pl.DataFrame(
            [
                {**item, "first_utc": moment(item["first_utc"]), "last_utc": moment(item["last_utc"])}
                for item in extents
            ],
            schema={"week": pl.String, "pump_id": pl.String, "first_utc": pl.Datetime, "last_utc": pl.Datetime},
        )
        found = {
            entry.export_id: entry
            for (week,), group in frame.group_by("week", maintain_order=True)
            for entry in self.holding(str(week), group)
        }
        return list(found.values())

    # --- changing ---

    def commit(self, entry: Entry) -> None:
        """Remember ``entry``; from here on its readings count."""
        is_next = entry.record not in self._by_record and entry.sequence == self.next_sequence()
        self._by_record[entry.record] = entry
        if is_next:  # ten thousand new files are not to be indexed ten thousand times
            self.entries.append(entry)
            self._index_last(entry)
        else:
            self._reindex()
        write_whole(
            self.folder / entry.record, json.dumps(entry.content(), default=_text, indent=1, sort_keys=True).encode()
        )

    def put_out(self, entry: Entry, status: str, problem: str, fates: dict[str, int]) -> None:
        """Let an export count no longer: the record first, then its files, which a stop in between leaves for
        `sweep`."""
        entry.export |= {"status": status, "problem": problem, "pumps": 0, "first_utc": None, "last_utc": None, **fates}
        entry.reach = entry.extents or entry.reach
        entry.extents, entry.leans_on, entry.warnings, entry.profile = [], [], [], {}
        if status == READ_AGAIN:
            entry.dialect_digest = ""
        self.commit(entry)
        self._remove_files(entry.export_id, refused=status == READ_AGAIN)

    def forget(self, entry: Entry) -> None:
        """Take a record out for good: a file that only repeated another, or one that came under a new name."""
        (self.folder / entry.record).unlink(missing_ok=True)
        del self._by_record[entry.record]
        self._reindex()
        if entry.status != "repeated":
            self._remove_files(entry.export_id)

    def _remove_files(self, export_id: str, refused: bool = True) -> None:
        for table in ("readings", "superseded"):
            for path in self.lake.root.glob(f"{table}/week=*/{export_id}.parquet"):
                path.unlink(missing_ok=True)
        if refused:
            self.refused_path(export_id).unlink(missing_ok=True)

    def sweep(self) -> None:
        """Remove what a stopped run left: staging, and files of exports that do not count."""
        shutil.rmtree(self.lake.root / "staging", ignore_errors=True)
        read = {entry.export_id for entry in self._by_record.values() if entry.status == "read"}
        known = {entry.export_id for entry in self._by_record.values() if entry.status != READ_AGAIN}
        for table, counting in (("readings", read), ("superseded", read)):
            for path in self.lake.root.glob(f"{table}/week=*/*.parquet"):
                if path.stem not in counting:
                    path.unlink()
        for path in self.lake.root.glob("refused/*.parquet"):
            if path.stem not in known:
                path.unlink()
        self.settle_withdrawn()
        for path in self.lake.root.glob("**/.*.part"):
            path.unlink()

    def settle_withdrawn(self) -> None:
        """Put the refused rows of withdrawn exports in their place; those of a withdrawal that never came are removed.

        They wait under another name until the record says that the export is withdrawn, so that no row is refused and
        counts.
        """
        withdrawn = {entry.export_id for entry in self._by_record.values() if entry.status == "withdrawn"}
        for path in self.lake.root.glob("refused/*.withdrawn"):
            if path.stem in withdrawn:
                path.replace(self.refused_path(path.stem))
            else:
                path.unlink()

    def withdrawn_path(self, export_id: str) -> Path:
        """Where the refused rows of an export wait for its withdrawal."""
        return self.refused_path(export_id).with_suffix(".withdrawn")

    def refused_path(self, export_id: str) -> Path:
        return self.lake.root / "refused" / f"{export_id}.parquet"

    # --- the copy ---

    def _load(self) -> Iterator[tuple[str, Entry]]:
        if not self.folder.is_dir():
            return
        copied = json.loads(self._copy.read_bytes()) if self._copy.exists() else {}
        with os.scandir(self.folder) as files:
            for file in files:
                if not file.name.endswith(".json") or file.name.startswith("."):
                    continue
                stat = file.stat()
                stamp = (stat.st_size, stat.st_mtime_ns)
                stands, content = copied.get(file.name, ((), None))
                if tuple(stands) == stamp:
                    self._copied[file.name] = stamp
                else:
                    content = json.loads(Path(file.path).read_bytes())
                yield file.name, Entry(**content)

    def keep_copy(self) -> None:
        """Write all records into one file, for the next run to read, where too many have changed since it was written."""
        stamps = {}
        for record in self._by_record:
            stat = (self.folder / record).stat()
            stamps[record] = (stat.st_size, stat.st_mtime_ns)
        changed = len(dict(stamps.items() ^ self._copied.items())) if self._copy.exists() else len(stamps)
        if changed > len(stamps) * _STALE_SHARE:
            content = {record: [stamps[record], entry.content()] for record, entry in self._by_record.items()}
            write_whole(self._copy, json.dumps(content, default=_text).encode())
            self._copied = stamps


def moment(value: object) -> datetime | None:
    """A time of a record, which JSON holds as text."""
    return value if value is None or isinstance(value, datetime) else datetime.fromisoformat(str(value))


def _text(value: object) -> str:
    if isinstance(value, datetime):
        return value.isoformat()
    raise TypeError(f"not JSON: {value!r}")
