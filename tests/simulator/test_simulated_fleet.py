"""The whole demo fleet: repeatable, small, as the register wants it, with the seeded sites it promises."""

from __future__ import annotations

import tomllib
from collections import Counter
from datetime import date
from pathlib import Path

import polars as pl
import pytest

from pumpledger.register.fields import FILES
from pumpledger.simulator.fleet import ZONE, make_conditions, make_exports, make_fleet, make_sites
from pumpledger.simulator.horizon import demo_horizon
from pumpledger.simulator.trace import simulate
from pumpledger.simulator.weather import make_station

FAULTS = {"A1", "A2", "B1", "B2", "B4", "O1", "O3", "C6", "C10", "C12", "D8", "D14", "D17"}
INNOCENTS = {
    "agreed override",
    "backwash",
    "vacuum day",
    "night running on purpose",
    "near-symmetric plan",
    "plan change on record",
    "clock change handled right",
    "freeze protection acts",
    "heater season",
    "short override",
    "closed season",
}
COMMITTED = Path(__file__).parents[2] / "sample_data" / "quillmarsh"


def all_bytes(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()
    }


def test_equal_arguments_give_equal_bytes(tmp_path: Path) -> None:
    make_fleet(tmp_path / "one", 6, 1, 11)
    make_fleet(tmp_path / "two", 6, 1, 11)
    make_fleet(tmp_path / "other", 6, 1, 12)
    assert all_bytes(tmp_path / "one") == all_bytes(tmp_path / "two")
    assert all_bytes(tmp_path / "one")["truth/daily.csv"] != all_bytes(tmp_path / "other")["truth/daily.csv"]


def test_one_more_site_leaves_the_others_as_they_were(tmp_path: Path) -> None:
    """Random numbers belong to a site: its truth does not hang on how many neighbours it has."""
    make_fleet(tmp_path / "five", 5, 1, 11)
    make_fleet(tmp_path / "six", 6, 1, 11)
    five = (tmp_path / "five/truth/daily.csv").read_text(encoding="utf-8")
    assert (tmp_path / "six/truth/daily.csv").read_text(encoding="utf-8").startswith(five)


def test_a_fleet_is_never_written_over(tmp_path: Path) -> None:
    make_fleet(tmp_path, 1, 1, 1)
    with pytest.raises(FileExistsError):
        make_fleet(tmp_path, 1, 1, 1)


@pytest.mark.parametrize(("sites", "weeks"), [(0, 1), (1, 0)])
def test_nothing_is_no_fleet(tmp_path: Path, sites: int, weeks: int) -> None:
    with pytest.raises(ValueError, match="at least one"):
        make_fleet(tmp_path, sites, weeks, 1)


def test_the_committed_demo_is_this_fleet(demo) -> None:
    """Same files and seeds; numbers to seven digits, for another build of numpy may round a last digit differently."""
    for name in ("fleet.toml", "plans.csv", "truth/seeded.csv", "truth/exports.csv", "claim_papers.csv",
                 "programmes/made_up_rebate.toml"):  # fmt: skip
        assert (COMMITTED / name).read_bytes() == (demo.folder / name).read_bytes(), name
    assert sorted(p.name for p in (COMMITTED / "inbox").iterdir()) == sorted(
        p.name for p in (demo.folder / "inbox").iterdir()
    )
    stored = pl.read_csv(COMMITTED / "truth/daily.csv")
    made = pl.read_csv(demo.folder / "truth/daily.csv")
    for column in ("energy_kwh", "volume_m3", "run_min"):
        assert made[column].to_list() == pytest.approx(stored[column].to_list(), rel=1e-7, abs=2e-5)


def test_it_says_that_it_is_made_up(demo) -> None:
    text = (demo.folder / "fleet.toml").read_text(encoding="utf-8")
    assert text.splitlines()[0] == "# This data is made up."
    assert (demo.folder / "README.txt").read_text(encoding="utf-8").splitlines()[0] == "This data is made up."
    fleet = tomllib.loads(text)
    assert fleet["made_up"] is True and "made-up data" in fleet["name"]


def test_it_is_small(demo) -> None:
    assert sum(len(content) for content in all_bytes(demo.folder).values()) < 8_000_000


def test_each_export_belongs_to_one_source(demo) -> None:
    fleet = tomllib.loads((demo.folder / "fleet.toml").read_text(encoding="utf-8"))
    for row in demo.table("truth/exports.csv").iter_rows(named=True):
        matching = [source["dialect"] for source in fleet["source"] if Path(row["file"]).match(source["files"])]
        assert matching == [row["dialect"]]


@pytest.mark.parametrize(
    "name", ["sites.csv", "pumps.csv", "plans.csv", "pump_curves.csv", "visits.csv", "weather/ridge.csv"]
)
def test_the_register_has_the_declared_columns_and_ranges(demo, name: str) -> None:
    fields = FILES["weather/*.csv" if name.startswith("weather/") else name]
    table = demo.table(name)
    by_column = {column: field for field in fields for column in field.columns}
    assert set(table.columns) <= set(by_column)
    assert {field.column for field in fields if field.required} <= set(table.columns)
    for column in table.columns:
        field, values = by_column[column], table[column].drop_nulls()
        if field.required:
            assert table[column].null_count() == 0, column
        if field.choices:
            assert set(values) <= set(field.choices), column
        if field.kind in ("number", "count"):
            assert field.least is None or values.min() >= field.least, column
            assert field.most is None or values.max() <= field.most, column


def test_seeded_sites(demo) -> None:
    seeded = demo.table("truth/seeded.csv")
    faults, innocents = seeded.filter(kind="fault"), seeded.filter(kind="innocent")
    assert set(faults["mode"]) == FAULTS and set(innocents["mode"]) == INNOCENTS
    assert faults["site_id"].n_unique() >= 12
    assert max(Counter(faults["site_id"]).values()) <= 2 and max(Counter(innocents["site_id"]).values()) == 1
    assert not set(faults["site_id"]) & set(innocents["site_id"])
    assert (seeded["from_day"] <= seeded["to_day"]).all()
    assert seeded["from_day"].min() >= date(2026, 10, 26) and seeded["to_day"].max() <= date(2026, 11, 8)
    assert faults.filter(mode="A2")["from_day"].to_list() == [date(2026, 11, 1)]


def test_what_the_company_knows(demo) -> None:
    sites, pumps, visits = demo.table("sites.csv"), demo.table("pumps.csv"), demo.table("visits.csv")
    assert sites.height == 28 and pumps.height == 29
    assert set(sites["weather"]) == {"coast", "inland", "ridge"} and set(sites["tariff"]) == {"flat", "evening_peak"}
    assert sites.filter(pool_class="public").height >= 1 and sites.filter(season="closed").height == 1
    assert 0.75 <= sites["filter_limit_m3h"].is_not_null().mean() <= 0.85
    assert 50 <= sites["pool_volume_m3"].median() <= 90
    commissioned = visits.filter(work="commissioning").drop_nulls("flow_m3h")["site_id"].n_unique()
    designed = pumps["design_flow_m3h"].is_not_null().sum()
    assert 15 <= commissioned <= 19 and 6 <= designed <= 10 and commissioned + designed < 28
    per_pump = visits.filter(work="commissioning").group_by("pump_id").len()["len"]
    assert per_pump.min() >= 2 and per_pump.max() <= 4


def turnover_share(demo) -> pl.DataFrame:
    """Volume of each site's day over its required volume."""
    daily = demo.table("truth/daily.csv").group_by("site_id", "day_local").agg(pl.col("volume_m3").sum())
    need = pl.col("pool_volume_m3") * pl.col("required_turnovers")
    return daily.join(demo.table("sites.csv"), on="site_id").select(
        "site_id", "day_local", share=pl.col("volume_m3") / need
    )


def test_healthy_sites_filter_enough_with_a_margin_and_without_waste(demo) -> None:
    """Only faults and days of agreed or short extra running leave the band; a fraction below it is never healthy."""
    faulty = set(demo.table("truth/seeded.csv").filter(kind="fault")["site_id"])
    closed = set(demo.table("sites.csv").filter(season="closed")["site_id"])
    shares = turnover_share(demo).filter(~pl.col("site_id").is_in(faulty | closed))
    assert shares["share"].min() >= 1.02
    median = shares.group_by("site_id").agg(pl.col("share").median())
    assert median["share"].max() <= 1.25


def test_seeded_water_and_energy(demo) -> None:
    """Too little, wasteful, dead and full speed show in the truth itself."""
    site = {mode: pump[2:8] for mode, pump in demo.modes().items()}
    shares = turnover_share(demo)
    assert shares.filter(site_id=site["O1"])["share"].max() < 0.75
    assert shares.filter(site_id=site["O3"])["share"].min() > 1.5
    dead = shares.filter((pl.col("site_id") == site["D8"]) & (pl.col("day_local") >= date(2026, 11, 5)))
    assert dead["share"].to_list() == [0.0] * 4
    daily = demo.table("truth/daily.csv")
    full = daily.filter((pl.col("site_id") == site["C6"]) & (pl.col("day_local") >= date(2026, 10, 27)))
    assert full["run_min"].min() == pytest.approx(1440.0, abs=1.0) and full["energy_kwh"].min() > 12.0


def test_frost_nights_on_the_ridge_only(demo) -> None:
    """Frost lies in the snap alone, and no other night is cold enough to start freeze protection."""
    for name, coldest in (("coast", 5.0), ("inland", 4.0)):
        assert demo.table(f"weather/{name}.csv")["air_temperature_c"].min() > coldest
    ridge = demo.table("weather/ridge.csv").with_columns(
        local=pl.col("time_utc").dt.convert_time_zone("America/Los_Angeles")
    )
    snap = pl.col("local").dt.date().is_between(date(2026, 11, 4), date(2026, 11, 7))
    assert ridge.filter(snap)["air_temperature_c"].min() < -2.0
    assert ridge.filter(~snap)["air_temperature_c"].min() > 4.0
    assert ridge.filter(snap & (pl.col("air_temperature_c") <= 0.0)).height >= 20


def test_freeze_protection_acts_or_does_not(demo) -> None:
    modes = demo.modes()
    daily = demo.table("truth/daily.csv")

    def run_min(mode: str, day: date) -> float:
        return daily.filter(pump_id=modes[mode], day_local=day)["run_min"].item()

    ordinary, frost = date(2026, 10, 29), date(2026, 11, 6)
    assert run_min("freeze protection acts", frost) > run_min("freeze protection acts", ordinary) + 120
    assert run_min("D17", frost) == pytest.approx(run_min("D17", ordinary), abs=1.0)


def test_no_run_touches_the_dear_hours_unless_seeded(demo) -> None:
    seeded = {pump for mode, pump in demo.modes().items() if mode == "C12"}
    dear = set(demo.table("sites.csv").filter(tariff="evening_peak")["site_id"])
    plans = demo.table("plans.csv").filter(~pl.col("pump_id").is_in(seeded))
    for row in plans.filter(pl.col("pump_id").str.slice(2, 6).is_in(dear)).iter_rows(named=True):
        start, stop = (60 * int(text[:2]) + int(text[3:]) for text in (str(row["start"])[:5], str(row["stop"])[:5]))
        spans = [(start, stop)] if start < stop else [(start, 1440), (0, stop)]
        assert all(b <= 960 or a >= 1260 for a, b in spans), row


def test_two_pumps_of_one_file_that_are_sent_again_get_files_of_their_own(tmp_path: Path) -> None:
    """Of 300 sites with seed 23, two share a weekly file and are sent twice: one repeat must not hide the other."""
    horizon = demo_horizon(ZONE, 1)
    fleet = [site for site in make_sites(300, horizon, 23) if any(pump.sent_again for pump in site.pumps)][:2]
    traces = {
        pump.pump_id: simulate(
            pump.machine, pump.controller, horizon,
            make_conditions(make_station(site.weather, horizon, 23), horizon, 23, index, 0),
        )
        for index, site in enumerate(fleet, start=1)
        for pump in site.pumps
    }  # fmt: skip
    names = [export.file for export in make_exports(fleet, traces, horizon, 23) if export.repeated]
    assert len(names) == len(set(names)) == 2
