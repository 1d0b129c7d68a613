"""Tariff files of a fleet folder: ``tariffs/*.toml`` and ``tariffs/*.json``, checked whole, as one table of bands.

Belongs here: which files there are, that each covers every hour once, and the table. What a file says is read in
`tariff_toml` and `tariff_urdb`; which block a site pays is settled in `tariff_block`. Money is computed in
`accounting`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import polars as pl

from pumpledger.problems import Problem
from pumpledger.register.tariff_file import DAY_KINDS, Band, TariffFile
from pumpledger.register.tariff_toml import read_toml
from pumpledger.register.tariff_urdb import read_urdb

SCHEMA = {
    "tariff": pl.String,
    "band": pl.String,
    "day_kind": pl.String,
    "start_min": pl.Int64,
    "stop_min": pl.Int64,
    "price_per_kwh": pl.Float64,
    "peak": pl.Boolean,
    "month": pl.Int64,
}
"""``month`` 1-12; null where the band holds all year. ``day_kind`` weekday, weekend or holiday."""

HOLIDAY_SCHEMA = {"tariff": pl.String, "day_local": pl.Date, "day_kind": pl.String}
"""Days that a tariff does not bill by their weekday, and by what they are billed instead: holiday or weekend."""

_MONTHS = (
    *("January", "February", "March", "April", "May", "June"),
    *("July", "August", "September", "October", "November", "December"),
)


@dataclass(frozen=True, slots=True)
class Tariffs:
    """Usable tariffs: bands and holidays as rows, by name; ``blocks`` is how many blocks of kWh each has."""

    files: dict[str, TariffFile] = field(default_factory=dict)

    @property
    def blocks(self) -> dict[str, int]:
        return {name: file.blocks for name, file in self.files.items()}

    def bands(self, priced: dict[str, tuple[str, int]]) -> pl.DataFrame:
        """The table of bands; ``priced`` maps the name a site's tariff goes by to its file and block."""
        rows = [
            {
                "tariff": shown,
                "band": band.name,
                "day_kind": band.day_kind,
                "start_min": band.start_min,
                "stop_min": band.stop_min,
                "price_per_kwh": band.prices[block - 1],
                "peak": band.peak,
                "month": band.month,
            }
            for shown, (name, block) in priced.items()
            for band in self.files[name].bands
        ]
        return pl.DataFrame(rows, schema=SCHEMA).sort("tariff", "month", "day_kind", "start_min")

    def holidays(self, priced: dict[str, tuple[str, int]]) -> pl.DataFrame:
        """The table of holidays of the same tariffs."""
        rows = [
            (shown, day, self.files[name].holiday_kind)
            for shown, (name, _) in priced.items()
            for day in self.files[name].holidays
        ]
        return pl.DataFrame(rows, schema=HOLIDAY_SCHEMA, orient="row").sort("tariff", "day_local")


def read_tariffs(folder: Path, problems: list[Problem]) -> Tariffs:
    """All tariffs of ``folder`` that cover each hour of each day once; a file that does not is set aside, every fault
    of it among ``problems``."""
    files: dict[str, TariffFile] = {}
    paths = sorted([*folder.glob("*.toml"), *folder.glob("*.json")])
    twice = {path.stem for path in paths if sum(other.stem == path.stem for other in paths) > 1}
    for path in paths:
        shown = f"tariffs/{path.name}"
        found: list[Problem] = []
        if path.stem in twice:
            found.append(Problem("tariff_twice", f"{path.stem!r} stands as .toml and as .json; keep one", file=shown))
        read = read_toml if path.suffix == ".toml" else read_urdb
        file = read(path, shown, found)
        if file is not None and not any(problem.severity == "disqualifies" for problem in found):
            found += _uncovered(file, shown)
        problems.extend(found)
        if file is not None and not any(problem.severity == "disqualifies" for problem in found):
            files[path.stem] = file
    return Tariffs(files)


def _uncovered(file: TariffFile, shown: str) -> Iterator[Problem]:
    """Every stretch of a kind of day that no band covers, or that two do."""
    kinds = DAY_KINDS if file.holiday_kind == "holiday" else DAY_KINDS[:2]
    seasonal = any(band.month is not None for band in file.bands)
    for month in range(1, 13) if seasonal else (None,):
        for kind in kinds:
            bands = sorted(
                (b for b in file.bands if b.day_kind == kind and b.month in (None, month)), key=lambda b: b.start_min
            )
            when = f"{kind} in {_MONTHS[month - 1]}" if month else kind
            for start, stop, fault in _faults(bands):
                sentence = f"{when} from {_clock(start)} to {_clock(stop)} {fault}; no money is computed by this file"
                yield Problem("tariff_cover", sentence, file=shown)


def _faults(bands: list[Band]) -> Iterator[tuple[int, int, str]]:
    reached = 0
    for band in bands:
        if band.start_min > reached:
            yield reached, band.start_min, "is not covered by a band"
        elif band.start_min < reached:
            yield band.start_min, min(reached, band.stop_min), "is covered twice"
        reached = max(reached, band.stop_min)
    if reached < 1440:
        yield reached, 1440, "is not covered by a band"


def _clock(minute: int) -> str:
    return f"{minute // 60:02d}:{minute % 60:02d}"
