"""The demo fleet's review against the simulator's truth, which another code integrated on another time base."""

from __future__ import annotations

from pathlib import Path

import polars as pl
import pytest

from tests.demo_fleet import DEMO

WEEKS = ("2026-W44", "2026-W45")


@pytest.fixture(scope="module")
def compared(reviewed) -> pl.DataFrame:
    folder: Path = reviewed[0]
    daily = pl.concat([pl.read_parquet(folder / "lake" / "daily" / f"week={week}.parquet") for week in WEEKS])
    truth = pl.read_csv(DEMO / "truth" / "daily.csv", try_parse_dates=True).select(
        "pump_id", "day_local", pl.col("energy_kwh").alias("true_kwh"), pl.col("volume_m3").alias("true_m3")
    )
    return daily.join(truth, on=["pump_id", "day_local"])


def test_every_pump_day_is_there(compared: pl.DataFrame) -> None:
    assert compared.height == 14 * pl.read_csv(DEMO / "pumps.csv").height


def test_energy_is_within_one_percent_on_valid_days_with_logged_power(compared: pl.DataFrame) -> None:
    metered = compared.filter(pl.col("believed") & (pl.col("energy_source") == "metered power"))
    off = (metered["energy_kwh_mid"] / metered["true_kwh"] - 1).abs()
    assert metered.height >= 300
    assert off.max() <= 0.01
    assert off.median() <= 0.002


def test_energy_by_counter_is_within_one_percent_and_its_last_digit(compared: pl.DataFrame) -> None:
    counted = compared.filter(pl.col("believed") & (pl.col("energy_source") == "counter"))
    assert counted.height >= 30
    assert ((counted["energy_kwh_mid"] - counted["true_kwh"]).abs() <= 0.01 * counted["true_kwh"] + 0.01).all()


def test_the_interval_of_energy_and_volume_holds_the_truth(compared: pl.DataFrame) -> None:
    valid = compared.filter("believed")
    inside = (
        valid.filter(pl.col("energy_source") != "none")
        .select(
            (pl.col("true_kwh") >= pl.col("energy_kwh_lo") - 1e-9)
            & (pl.col("true_kwh") <= pl.col("energy_kwh_hi") + 1e-9)
        )
        .to_series()
    )
    assert inside.mean() >= 0.97
    flowing = valid.filter(pl.col("volume_source") != "none")
    assert flowing.height >= 300
    assert flowing.select(pl.col("true_m3").is_between("volume_m3_lo", "volume_m3_hi")).to_series().mean() >= 0.95


def test_days_that_are_not_valid_are_ranges_that_hold_the_truth(compared: pl.DataFrame) -> None:
    broken = compared.filter(~pl.col("valid") & pl.col("energy_kwh_hi").is_not_null())
    assert broken.height >= 3
    assert broken.select(pl.col("true_kwh").is_between("energy_kwh_lo", "energy_kwh_hi")).to_series().all()


def test_rows_are_conserved_as_the_simulator_counted_them(reviewed) -> None:
    seeded = pl.read_csv(DEMO / "truth" / "exports.csv")
    sums = reviewed[1].sums
    assert sums["data_rows"] == sum(sums[fate] for fate in ("readings", "duplicates", "quarantine", "rejects"))
    assert sums["data_rows"] == seeded["data_rows"].sum()


def test_each_seeded_fault_is_found_and_no_innocent_site_is_accused(reviewed) -> None:
    """All thirteen rules fire on their own site; what else fires there is explained, and other sites stay quiet."""
    folder: Path = reviewed[0]
    seeded = pl.read_csv(DEMO / "truth" / "seeded.csv")
    faults = set(seeded.filter(pl.col("kind") == "fault").select("site_id", "mode").iter_rows())
    findings = pl.concat([pl.read_parquet(folder / "lake" / "findings" / f"week={week}.parquet") for week in WEEKS])
    found = findings.filter(pl.col("verdict") == "found")
    own = set(found.filter(pl.col("explained_by") == "").select("site_id", "rule_id").iter_rows())
    assert faults <= own
    faulty = {site for site, _ in faults}
    assert {site for site, _ in own} <= faulty
    assert {mode for _, mode in faults} >= {
        "A1",
        "A2",
        "B1",
        "B2",
        "B4",
        "O1",
        "O3",
        "C6",
        "C10",
        "C12",
        "D8",
        "D14",
        "D17",
    }
    assert len(faulty) >= 12 and seeded.filter(pl.col("kind") == "innocent").height >= 8


def test_a_failed_critical_expectation_sets_one_site_aside_and_the_fleet_runs(reviewed) -> None:
    """QM-018 logs kW in a column of W: a running pump that draws less than 5 W fails the suite site_days."""
    folder: Path = reviewed[0]
    week = "2026-W45"
    checks = pl.read_parquet(folder / "lake" / "checks" / f"week={week}.parquet")
    failed = checks.filter(pl.col("critical") & ~pl.col("success"))
    assert failed["suite"].to_list() == ["site_days"]
    assert {key.split(" ")[0] for key in failed["failing"].item().split("; ")} == {"QM-018"}
    sites = pl.read_parquet(folder / "lake" / "site_weeks" / f"week={week}.parquet")
    aside = sites.filter(pl.col("site_id") == "QM-018").row(0, named=True)
    assert (aside["reporting"], aside["believable"], aside["energy_kwh_mid"]) == (True, False, None)
    assert sites["believable"].sum() >= 24
    savings = pl.read_parquet(folder / "lake" / "savings" / f"week={week}.parquet")
    assert not savings.filter(pl.col("site_id") == "QM-018")["counted"].any()
