"""The score of a made-up fleet: its reviewed tables held against ``truth/``.

Belongs here: reading both, and pairing them. The review never reads ``truth/``; the score reads it, and the lake, and
writes nothing. Savings are paired on the days that the review counts; energy and volume on the days it believes.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import polars as pl

from pumpledger.engine.account_tables import FLEET_SAVINGS
from pumpledger.engine.lake import Lake
from pumpledger.engine.tables import DAILY, FINDINGS, SAVINGS, Table
from pumpledger.problems import FleetError, Problem
from pumpledger.scoring.coverage import Coverage, Off, coverage, distance

TRUTHS = ("daily.csv", "savings.csv", "errors.csv", "seeded.csv")
LOGGED = "metered power"
ENERGY_AIM, VOLUME_AIM = 0.005, 0.05
"""How far the middle values may lie off, as shares: energy on every day, volume in the median."""


@dataclass(frozen=True, slots=True)
class Total:
    """One sum over the fleet's week, its interval and its truth [kWh]."""

    week: str
    quantity: str
    lo_kwh: float
    hi_kwh: float
    true_kwh: float

    @property
    def held(self) -> bool:
        """The interval holds the truth."""
        return self.lo_kwh <= self.true_kwh <= self.hi_kwh


@dataclass(frozen=True)
class Score:
    """Everything that `lines.py` prints."""

    weeks: tuple[str, ...]
    sites: int
    erring: bool  # meters and records err as stated; else slightly, and coverage proves little
    pump_days: int
    believed_days: int
    counted_days: int
    volume: Coverage | None
    volume_by_source: dict[str, Coverage | None]
    energy: Coverage | None
    energy_by_source: dict[str, Coverage | None]
    equal: Coverage | None
    raw: Coverage | None
    totals: tuple[Total, ...]
    logged_scale: Off | None  # against the total that an unbroken log of the same meter would give
    logged_whole: Off | None  # the same, on days without an unknown minute
    logged_truth: Off | None
    commissioned: Off | None
    faults: int
    missed: tuple[str, ...]
    false: tuple[str, ...]


def score_fleet(fleet: Path) -> Score:
    """Hold every reviewed week of ``fleet`` against its truth.

    Raises:
        FleetError: there is no fleet, no truth, or no review yet.
    """
    truth = _truth(fleet)
    lake = Lake(fleet / "lake")
    weeks = tuple(
        sorted(path.stem.removeprefix("week=") for path in (fleet / "lake" / SAVINGS.name).glob("week=*.parquet"))
    )
    if not weeks:
        raise FleetError(
            Problem("no_review", f"there is no review yet to score; run pumpledger review {fleet} first", file="lake")
        )
    daily, savings, findings = (_all(lake, table, weeks) for table in (DAILY, SAVINGS, FINDINGS))
    errors = truth["errors.csv"].select("pump_id", "meter")
    days = (
        daily.filter("believed")
        .join(truth["daily.csv"], on=["pump_id", "day_local"], suffix="_true")
        .join(errors, on="pump_id")
        .with_columns(unit="pump_id", where=pl.format("{} on {}", "pump_id", "day_local"))
    )
    counted = (
        savings.filter("counted")
        .join(truth["savings.csv"], on=["site_id", "day_local"], suffix="_true")
        .with_columns(unit="site_id")
    )
    volume = _named(days.filter(pl.col("volume_source") != "none"), "volume_m3")
    energy = _named(days.filter(pl.col("energy_source") != "none"), "energy_kwh")
    logged = energy.filter(pl.col("energy_source") == LOGGED)
    same_meter = logged.with_columns(truth=pl.col("truth") * (1 + pl.col("meter")))
    missed, false, faults = _findings(findings, truth["seeded.csv"])
    return Score(
        weeks=weeks,
        sites=savings["site_id"].n_unique(),
        erring=bool((truth["errors.csv"]["meter"] != 0).any()),
        pump_days=daily.height,
        believed_days=days.height,
        counted_days=counted.height,
        volume=coverage(volume),
        volume_by_source=_by(volume, "volume_source"),
        energy=coverage(energy),
        energy_by_source=_by(energy, "energy_source"),
        equal=coverage(_named(counted, "equal_kwh")),
        raw=coverage(_named(counted, "raw_kwh")),
        totals=tuple(total for week in weeks for total in _totals(lake, week, truth)),
        logged_scale=distance(same_meter, ENERGY_AIM),
        logged_whole=distance(same_meter.filter(pl.col("coverage") > 1 - 1e-9), ENERGY_AIM),
        logged_truth=distance(logged, ENERGY_AIM),
        commissioned=distance(volume.filter(pl.col("volume_source").str.starts_with("commissioned")), VOLUME_AIM),
        faults=faults,
        missed=missed,
        false=false,
    )


def _truth(fleet: Path) -> dict[str, pl.DataFrame]:
    folder = fleet / "truth"
    gone = [name for name in TRUTHS if not (folder / name).is_file()]
    if gone:
        raise FleetError(
            Problem(
                "no_truth",
                f"{', '.join(gone)} missing: only a made-up fleet that pumpledger demo wrote has a truth to be scored "
                "against",
                file="truth",
            )
        )
    return {name: pl.read_csv(folder / name, try_parse_dates=True) for name in TRUTHS}


def _all(lake: Lake, table: Table, weeks: tuple[str, ...]) -> pl.DataFrame:
    return pl.concat([lake.read(table, week) for week in weeks])


def _named(rows: pl.DataFrame, name: str) -> pl.DataFrame:
    """``rows`` with the columns that `coverage` counts; the truth stands under the plain ``name``."""
    return rows.with_columns(
        pl.col(name).alias("truth"), *(pl.col(f"{name}_{bound}").alias(bound) for bound in ("lo", "mid", "hi"))
    )


def _by(rows: pl.DataFrame, column: str) -> dict[str, Coverage | None]:
    return {str(name): coverage(part) for (name,), part in sorted(rows.group_by(column), key=lambda pair: pair[0])}


def _totals(lake: Lake, week: str, truth: dict[str, pl.DataFrame]) -> list[Total]:
    """The sums of one week, each against the truth of the very site-days behind it."""
    days = ["site_id", "day_local"]
    whole = (
        lake.read(DAILY, week)
        .group_by(days)
        .agg(counts=(pl.col("believed") & pl.col("energy_kwh_mid").is_not_null()).all())
        .filter("counts")
    )
    saved = lake.read(SAVINGS, week).filter("counted").select(days).join(truth["savings.csv"], on=days)
    true = {
        "energy": truth["daily.csv"].join(whole, on=days, how="semi")["energy_kwh"].sum(),
        "raw saving": saved["raw_kwh"].sum(),
        "equal-volume saving": saved["equal_kwh"].sum(),
    }
    sums = lake.read(FLEET_SAVINGS, week).filter(pl.col("place") == 0).select("quantity", "lo_kwh", "hi_kwh")
    return [Total(week, quantity, lo, hi, true[quantity]) for quantity, lo, hi in sums.iter_rows()]


def _findings(findings: pl.DataFrame, seeded: pl.DataFrame) -> tuple[tuple[str, ...], tuple[str, ...], int]:
    """Seeded faults without a finding of their own rule; findings, not explained by another, at sites without a
    seeded fault; and how many faults were seeded."""
    faults = set(seeded.filter(pl.col("kind") == "fault").select("site_id", "mode").iter_rows())
    own = findings.filter((pl.col("verdict") == "found") & (pl.col("explained_by") == "") & (pl.col("site_id") != ""))
    found = set(own.select("site_id", "rule_id").iter_rows())
    faulty = {site for site, _ in faults}
    missed = tuple(f"{rule} at {site}" for site, rule in sorted(faults - found))
    false = tuple(f"{rule} at {site}" for site, rule in sorted(found) if site not in faulty)
    return missed, false, len(faults)
