"""The ledger: one small JSON record an export, written last, so that a record stands for readings that are all there.

Belongs here: what is remembered of each export and when it must be read again. Nothing about rows.
"""

from __future__ import annotations

import hashlib
import json
import shutil
from collections.abc import Iterator
from dataclasses import asdict, dataclass, field
from datetime import datetime
from pathlib import Path

import polars as pl

from pumpledger.engine.lake import Lake
from pumpledger.engine.tables import EXPORTS, REFUSED
from pumpledger.workspace import write_whole


@dataclass(slots=True)
class Entry:
    """What the ledger holds of one export: its row of ``exports``, and what decides whether it must be read again."""

    export: dict[str, object]
    dialect_digest: str
    pump_zones: dict[str, str | None]
    extents: list[dict[str, object]] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)
    profile: dict[str, object] = field(default_factory=dict)

    @property
    def export_id(self) -> str:
        return str(self.export["export_id"])

    @property
    def file(self) -> str:
        return str(self.export["file"])


class Ledger:
    """All entries of one fleet folder, by file name and SHA-256."""

    def __init__(self, lake: Lake) -> None:
        self.lake = lake
        self.folder = lake.root / "ledger"
        self._by_file: dict[tuple[str, str], Entry] = {}
        self._by_id: dict[str, Entry] = {}
        self._last_sequence = 0
        for path in self.folder.glob("*.json"):
            self._index(_read(path))
        self._sizes: dict[str, list[object]] = self._read_seen()

    @property
    def entries(self) -> list[Entry]:
        """All entries in order of arrival."""
        return sorted(self._by_file.values(), key=lambda entry: entry.export["sequence"])

    def _index(self, entry: Entry) -> None:
        self._by_file[(entry.file, str(entry.export["sha256"]))] = entry
        if entry.export["status"] != "repeated":
            self._by_id[entry.export_id] = entry
        self._last_sequence = max(self._last_sequence, int(entry.export["sequence"]))

    def known(self, file: str, sha256: str) -> Entry | None:
        return self._by_file.get((file, sha256))

    def same_export(self, export_id: str) -> Entry | None:
        """The entry whose readings came from this export under whatever name."""
        return self._by_id.get(export_id)

    def next_sequence(self) -> int:
        return self._last_sequence + 1

    def commit(self, entry: Entry) -> None:
        """Remember ``entry``; from here on its readings count."""
        self._index(entry)
        write_whole(
            self.folder / _name(entry), json.dumps(asdict(entry), default=_text, indent=1, sort_keys=True).encode()
        )

    def forget(self, entry: Entry) -> None:
        """Take an export out: the record first, then its files, so that a stop in between leaves nothing that
        counts."""
        (self.folder / _name(entry)).unlink(missing_ok=True)
        self._by_file.pop((entry.file, str(entry.export["sha256"])))
        if entry.export["status"] != "repeated":
            self._by_id.pop(entry.export_id)
            for path in [
                *self.lake.root.glob(f"readings/week=*/{entry.export_id}.parquet"),
                self.refused_path(entry.export_id),
            ]:
                path.unlink(missing_ok=True)

    def sweep(self) -> None:
        """Remove what a stopped run left: staging, and files whose export has no record."""
        shutil.rmtree(self.lake.root / "staging", ignore_errors=True)
        known = {entry.export_id for entry in self.entries}
        for path in [*self.lake.root.glob("readings/week=*/*.parquet"), *self.lake.root.glob("refused/*.parquet")]:
            if path.stem not in known:
                path.unlink()

    def refused_path(self, export_id: str) -> Path:
        return self.lake.root / "refused" / f"{export_id}.parquet"

    def exports(self) -> pl.DataFrame:
        """The table ``exports``."""
        rows = [
            {
                **entry.export,
                "first_utc": _moment(entry.export["first_utc"]),
                "last_utc": _moment(entry.export["last_utc"]),
            }
            for entry in self.entries
        ]
        return EXPORTS.conform(pl.DataFrame(rows, schema=EXPORTS.schema)) if rows else EXPORTS.empty()

    def profiles(self, weeks: set[str] | None = None) -> pl.DataFrame:
        """What the suite ``file_profile`` judges: one row an export that was read, of ``weeks`` where given."""
        rows = [
            entry.profile
            for entry in self.entries
            if entry.profile and (weeks is None or any(item["week"] in weeks for item in entry.extents))
        ]
        return pl.DataFrame(rows, infer_schema_length=None)

    def exports_of(self, weeks: set[str]) -> pl.DataFrame:
        """Rows of ``exports`` that have to do with ``weeks``: their readings lie there, or they have none and repeat
        one whose do."""
        inside = {entry.export_id for entry in self.entries if any(item["week"] in weeks for item in entry.extents)}
        return self.exports().filter(pl.col("export_id").is_in(inside))

    def refused_counts(self, weeks: set[str]) -> pl.DataFrame:
        """``export_id, file, pump_id, rule, fate, reason, rows`` of the refused rows of the exports of ``weeks``."""
        wanted = self.exports_of(weeks).filter(pl.col("status") != "repeated")["export_id"]
        frames = [
            pl.read_parquet(path, glob=False) for export_id in wanted if (path := self.refused_path(export_id)).exists()
        ]
        rows = pl.concat(frames) if frames else REFUSED.empty()
        keys = ["export_id", "file", "pump_id", "rule", "fate"]
        return rows.group_by(keys).agg(pl.col("reason").first(), pl.len().cast(pl.Int64).alias("rows")).sort(keys)

    def pump_exports(self, weeks: set[str]) -> pl.DataFrame:
        """``pump_id, file, source, readings`` of ``weeks``."""
        rows = [
            (str(item["pump_id"]), entry.file, str(entry.export["source"]), int(item["rows"]))
            for entry in self.entries
            for item in entry.extents
            if item["week"] in weeks
        ]
        schema = {"pump_id": pl.String, "file": pl.String, "source": pl.String, "readings": pl.Int64}
        return (
            pl.DataFrame(rows, schema=schema, orient="row")
            .group_by("pump_id", "file", "source")
            .agg(pl.col("readings").sum())
            .sort("pump_id", "file")
        )

    def pump_sources(self, weeks: set[str]) -> pl.DataFrame:
        """``pump_id, source``: the source of most of the pump's readings in ``weeks``."""
        counted = self.pump_exports(weeks).group_by("pump_id", "source").agg(pl.col("readings").sum())
        return (
            counted.sort("pump_id", "readings", "source", descending=[False, True, False])
            .unique("pump_id", keep="first", maintain_order=True)
            .select("pump_id", "source")
        )

    def extents_of(self, week: str, extents: pl.DataFrame) -> list[str]:
        """Exports that hold readings of ``week`` for a pump of ``extents`` within its time range, in order of
        arrival."""
        wanted = {
            pump: (first, last) for pump, first, last in extents.select("pump_id", "first_utc", "last_utc").iter_rows()
        }
        found: dict[str, None] = {}
        for export_id, pump, first, last in self._extents_of_week(week):
            if pump in wanted and first <= wanted[pump][1] and last >= wanted[pump][0]:
                found[export_id] = None
        return list(found)

    def _extents_of_week(self, week: str) -> Iterator[tuple[str, str, datetime, datetime]]:
        for entry in self.entries:
            for item in entry.extents:
                if item["week"] == week:
                    yield entry.export_id, str(item["pump_id"]), _moment(item["first_utc"]), _moment(item["last_utc"])

    def unchanged_sha(self, path: Path) -> str | None:
        """SHA-256 of a file whose size and time are as when it was last hashed; spares reading an old inbox again."""
        seen = self._sizes.get(path.name)
        stat = path.stat()
        return str(seen[2]) if seen and seen[:2] == [stat.st_size, stat.st_mtime_ns] else None

    def remember_sizes(self, hashed: dict[Path, str]) -> None:
        """Keep size, time and hash of the files of the inbox for the next run."""
        for path, sha256 in hashed.items():
            stat = path.stat()
            self._sizes[path.name] = [stat.st_size, stat.st_mtime_ns, sha256]
        write_whole(self.folder / "seen", json.dumps(self._sizes, sort_keys=True).encode())

    def _read_seen(self) -> dict[str, list[object]]:
        path = self.folder / "seen"
        return json.loads(path.read_text(encoding="utf-8")) if path.exists() else {}


def _name(entry: Entry) -> str:
    if entry.export["status"] == "repeated":
        return f"{entry.export_id}.{hashlib.sha256(entry.file.encode()).hexdigest()[:8]}.json"
    return f"{entry.export_id}.json"


def _read(path: Path) -> Entry:
    return Entry(**json.loads(path.read_text(encoding="utf-8")))


def _moment(value: object) -> datetime | None:
    return value if value is None or isinstance(value, datetime) else datetime.fromisoformat(str(value))


def _text(value: object) -> str:
    if isinstance(value, datetime):
        return value.isoformat()
    raise TypeError(f"not JSON: {value!r}")
