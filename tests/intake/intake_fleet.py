"""A made-up fleet of three pumps in two zones whose inbox the tests fill, and short ways to what became of it."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import polars as pl

from pumpledger.engine.database import Database
from pumpledger.engine.lake import Lake
from pumpledger.engine.tables import READINGS, REFUSED
from pumpledger.intake.carriers import members
from pumpledger.intake.declarations import Declarations, declarations
from pumpledger.intake.dialect import Dialect
from pumpledger.intake.dialects import load_dialects
from pumpledger.intake.files import examine
from pumpledger.intake.ingest import Intake, begin, ingest
from pumpledger.intake.known_pumps import KnownPumps
from pumpledger.intake.ledger import Entry, Ledger
from pumpledger.intake.stage import Staged, stage
from pumpledger.problems import Problem
from pumpledger.register.load import Register, load_register

BUILT_IN = ("samples_1min", "samples_5min", "means_15min", "events", "counters")
SAMPLES = "time_utc,pump,speed_rpm,power_w,aux\n"
MEANS = "Ende;Drehzahl_rpm;Leistung_kW\n"
EVENTS = "at,pump,speed_rpm,power_w,aux,air_c\n"
COUNTERS = "# made up\n# quarter hours\nepoch_s\tpump\tspeed_now_rpm\tenergy_total_kwh\trun_total_h\n"

_SOURCES = {
    "five": ("five_*.csv", "samples_5min"),
    "one": ("one_*.csv", "samples_1min"),
    "means": ("means*.csv", "means_15min"),
    "events": ("events_*.csv", "events"),
    "counters": ("counters_*.csv", "counters"),
    "own": ("own_*.csv", "own"),
}
_SITES = ["site_id,site_name,zone,pool_volume_m3", "S-LA,West,America/Los_Angeles,80", "S-BE,North,Europe/Berlin,60"]
_PUMPS = ["pump_id,site_id", "P-LA,S-LA", "P-LA2,S-LA", "P-BE,S-BE"]


class Fleet:
    """A fleet folder under ``root``: register, inbox, lake."""

    def __init__(self, root: Path) -> None:
        self.root = root
        self.inbox = root / "inbox"
        self.inbox.mkdir(parents=True)
        sources = "".join(
            f'[[source]]\nname = "{name}"\nfiles = "{files}"\ndialect = "{dialect}"\n'
            for name, (files, dialect) in _SOURCES.items()
        )
        (root / "fleet.toml").write_text(f'zone = "UTC"\nmade_up = true\n{sources}')
        self.register_files(_SITES, _PUMPS)
        self.lake = Lake(root / "lake")
        self.dialect_problems: list[Problem] = []

    def register_files(self, sites: list[str], pumps: list[str]) -> None:
        (self.root / "sites.csv").write_text("\n".join(sites) + "\n")
        (self.root / "pumps.csv").write_text("\n".join(pumps) + "\n")

    def add_pump(self, pump_id: str, site_id: str = "S-LA") -> None:
        with (self.root / "pumps.csv").open("a") as file:
            file.write(f"{pump_id},{site_id}\n")

    def zone_of_west(self, zone: str) -> None:
        self.register_files([_SITES[0], f"S-LA,West,{zone},80", _SITES[2]], _PUMPS)

    def own_dialect(self, text: str, name: str = "own") -> None:
        (self.root / "dialects").mkdir(exist_ok=True)
        (self.root / "dialects" / f"{name}.toml").write_text(text)

    def add_source(self, files: str, dialect: str = "own") -> None:
        """One more source, called as its dialect with a plus, after the others."""
        with (self.root / "fleet.toml").open("a") as file:
            file.write(f'[[source]]\nname = "{dialect}+"\nfiles = "{files}"\ndialect = "{dialect}"\n')

    def put(self, name: str, content: str | bytes) -> Path:
        path = self.inbox / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return path

    def declared(self) -> Declarations:
        register: Register = load_register(self.root)
        self.dialect_problems.clear()
        return declarations(register, load_dialects(self.root, self.dialect_problems))

    def ingest(self) -> Intake:
        declared, ledger = self.declared(), Ledger(self.lake)
        outcome = ingest(begin(sorted(self.inbox.iterdir()), ledger, declared), ledger, declared)
        check_sums(outcome.exports)
        return outcome

    def take(self, name: str, content: str | bytes) -> dict[str, object]:
        """Put one file, ingest, and return its row of ``exports``."""
        self.put(name, content)
        return self.ingest().exports.row(by_predicate=pl.col("file") == name, named=True)

    def readings(self) -> pl.DataFrame:
        """All readings that count, by pump and time."""
        frames = [pl.read_parquet(path, glob=False) for path in self._files(self.lake.readings_files)]
        gone = [pl.read_parquet(path, glob=False) for path in self._files(self.lake.superseded_files)]
        if not frames:
            return READINGS.empty()
        rows = READINGS.conform(pl.concat(frames))
        if gone:
            keys = pl.concat(gone).select("pump_id", export_id="old_export_id", line="old_line")
            rows = rows.join(keys, on=["pump_id", "export_id", "line"], how="anti", maintain_order="left")
        return rows

    def _files(self, of_week: Callable[[str], list[Path]]) -> list[Path]:
        return [path for week in self.lake.reading_weeks() for path in of_week(week)]

    def values(self) -> list[tuple[object, ...]]:
        """Readings without where they came from."""
        return self.readings().drop("export_id", "line").rows()

    def refused(self) -> pl.DataFrame:
        frames = [pl.read_parquet(path, glob=False) for path in sorted((self.lake.root / "refused").glob("*.parquet"))]
        return REFUSED.conform(pl.concat(frames)) if frames else REFUSED.empty()

    def fates(self) -> list[tuple[int, str, str]]:
        """(line, fate, rule) of the refused rows."""
        return self.refused().select("line", "fate", "rule").sort("line").rows()

    def entry(self, name: str) -> Entry:
        (entry,) = [entry for entry in Ledger(self.lake).entries if entry.file == name]
        return entry


def check_sums(exports: pl.DataFrame) -> None:
    """Every data row has one fate, in each export."""
    assert (
        exports["data_rows"].to_list()
        == exports.select(pl.sum_horizontal("readings", "duplicates", "quarantine", "rejects")).to_series().to_list()
    )


def built_in(name: str) -> Dialect:
    return load_dialects(Path("nowhere"), [])[name]


def stage_file(db: Database, path: Path, dialect: Dialect, pump_zone: dict[str, str]) -> Staged:
    """One file staged beside itself, outside of any ledger."""
    frame = pl.DataFrame(list(pump_zone.items()), schema={"pump_id": pl.String, "zone": pl.String}, orient="row")
    none = pl.DataFrame(schema={"site_id": pl.String, "pump_id": pl.String})
    (member,) = members(path)
    return stage(db, examine(path, member), dialect, "test", KnownPumps(frame, none), path.parent / "staging")


def staged_readings(staged: Staged) -> pl.DataFrame:
    frames = [pl.read_parquet(path, glob=False) for path in sorted(staged.folder.glob("*.parquet"))]
    return READINGS.conform(pl.concat(frames)) if frames else READINGS.empty()


def utc(text: str) -> datetime:
    """``2026-10-26T07:00-07:00`` as naive UTC."""
    return datetime.fromisoformat(text).astimezone(UTC).replace(tzinfo=None)
