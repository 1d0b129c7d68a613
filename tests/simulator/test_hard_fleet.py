"""A whole hard fleet: who gets what, what its truth says, and what its loggers write."""

from __future__ import annotations

from collections import Counter
from datetime import timedelta
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from click.testing import CliRunner

from pumpledger.cli import commands
from pumpledger.simulator.controller import Period
from pumpledger.simulator.deck import deal
from pumpledger.simulator.fleet import ZONE, make_fleet
from pumpledger.simulator.hard_fleet import make_hard_sites
from pumpledger.simulator.horizon import demo_horizon
from pumpledger.simulator.kinds import FAULTS, INNOCENTS
from pumpledger.simulator.plans import Wish, cheapest_speed, excess
from pumpledger.simulator.shown import LoggerFault, shown_w, speed_texts, watts_texts
from tests.simulator.test_simulated_fleet import all_bytes

HORIZON = demo_horizon(ZONE, 8)
SEEDS = range(100, 120)

NOTED = {"A3": "A5", "C13": "C9"}
"""Modes under which a case of another is noted, where nothing more can be seen of it."""


@pytest.fixture(scope="module")
def fleets() -> list:
    """The sites of twenty fleets of 48, without their traces."""
    return [make_hard_sites(48, HORIZON, seed, 0.02) for seed in SEEDS]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """24 sites over four weeks, on disk."""
    folder = tmp_path_factory.mktemp("hard") / "fleet"
    make_fleet(folder, 24, 4, 7, faults="all")
    return folder


def test_each_kind_comes_up_about_twenty_times_in_twenty_fleets(fleets) -> None:
    dealt = ("fault", "hidden")
    counts = Counter(s.mode for sites in fleets for site in sites for s in site.seeded if s.kind in dealt)
    assert set(counts) == set(FAULTS)
    assert counts.pop("A5") >= 12  # a power cut that nothing shows is noted as the wrong clock that it left
    assert min(counts.values()) >= 16
    looks = Counter(s.mode for sites in fleets for site in sites for s in site.seeded if s.kind == "innocent")
    assert set(looks) == set(INNOCENTS)


def test_about_half_of_the_sites_are_healthy_and_a_quarter_of_those_look_ill(fleets) -> None:
    sites = [site for fleet in fleets for site in fleet]
    healthy = [site for site in sites if not any(s.kind == "fault" for s in site.seeded)]
    assert 0.42 <= len(healthy) / len(sites) <= 0.55
    looks = [[s for s in site.seeded if s.kind == "innocent"] for site in healthy]
    assert 0.2 <= sum(bool(names) for names in looks) / len(healthy) <= 0.3
    assert max(len(names) for names in looks) == 1
    # Few of the healthy truly cost more than they have to; more would be no healthy fleet.
    dear = [site for site in healthy if any(s.mode == "O3" for s in site.seeded)]
    assert len(dear) / len(healthy) < 0.3


def test_faults_begin_in_every_week_and_vary_in_size(fleets) -> None:
    seeded = [s for fleet in fleets for site in fleet for s in site.seeded if s.kind == "fault"]
    begun = Counter((s.from_day - HORIZON.first_day).days // 7 for s in seeded)
    assert set(begun) >= set(range(7))
    days = {(s.from_day - HORIZON.first_day).days for s in seeded}
    assert len(days) >= 45
    for mode in ("A3", "C10", "D3", "D5", "D7"):
        sizes = [s.size for s in seeded if s.mode == mode]
        assert min(sizes) < 1 / 3 and max(sizes) > 2 / 3
    for s in seeded:
        assert HORIZON.first_day <= s.from_day <= s.to_day <= HORIZON.last_day and 0.0 <= s.size <= 1.0


def test_a_site_never_has_two_faults_of_the_same_thing(fleets) -> None:
    at_once = 0
    for site in (site for fleet in fleets for site in fleet):
        faults = [s for s in site.seeded if s.kind == "fault"]
        touches = [FAULTS[s.mode].touches for s in faults]
        assert len(touches) == len(set(touches))
        at_once += any(a is not b and a.from_day <= b.to_day and b.from_day <= a.to_day for a in faults for b in faults)
    assert at_once >= 100  # of 960 sites


def test_what_a_fault_brings_stands_beside_it(fleets) -> None:
    for site in (site for fleet in fleets for site in fleet):
        for fault in (s for s in site.seeded if s.kind == "fault"):
            named = NOTED.get(fault.mode, fault.mode)
            of = {name: {s.mode for s in site.seeded if s.kind == "consequence" and s.note == f"of {name}"}
                  for name in (fault.mode, named)}  # fmt: skip
            noted = of[named] if named != fault.mode else set()
            assert of[fault.mode] == set(FAULTS[fault.mode].brings) or noted == (
                {named, *FAULTS[named].brings} - {fault.mode}
            )


def test_the_third_site_on_the_makers_plan_is_the_first_that_is_known(fleets) -> None:
    """A case is one of C9 if three days of it are left when the third begins, and within its own first fortnight."""
    for sites in fleets:
        lost = sorted(((s.from_day, s) for site in sites for s in site.seeded if s.note.startswith("back to a plan")
                       and s.kind == "fault"), key=lambda pair: pair[0])  # fmt: skip
        if lost:
            third = lost[2][0]
            for day, case in lost:
                known = third < day + timedelta(days=14) and third <= case.to_day - timedelta(days=2)
                assert case.mode == ("C9" if known else "C13")
                assert not known or case.seen_from == max(third, day)


def test_nothing_shows_in_a_log_that_holds_another_pumps_readings(fleets) -> None:
    pairs = [(swap, note) for sites in fleets for site in sites for swap in site.seeded for note in site.seeded
             if (swap.kind, swap.mode) == ("fault", "B3") and note.mode not in ("B3", "C17", "C18")]  # fmt: skip
    faults = [(swap, note) for swap, note in pairs if note.kind == "fault"]
    assert faults and not any(swap.from_day <= note.seen_from <= swap.to_day for swap, note in faults)
    within = [note for swap, note in pairs if swap.from_day <= note.from_day and note.to_day <= swap.to_day]
    assert {note.kind for note in within} == {"hidden", "consequence"}


def test_what_a_plan_costs_too_much_by_hand(fleets) -> None:
    """Twice as long at the same speed moves twice the water: against the cheapest for just that water it costs twice
    and whatever the speed is off; the cheapest plan itself costs nothing too much, to a quarter of an hour."""
    machine = fleets[0][0].pumps[0].machine
    wish = Wish(30.0)
    speed, _ = cheapest_speed(machine, wish)
    hours = 30.0 / float(machine.flow_m3h(speed, 0.06))
    just = (Period(speed, 0, round(60 * hours)),)
    assert excess(machine, just, wish) == pytest.approx(0.0, abs=0.03)
    assert hours <= 12
    twice = (Period(speed, 0, round(120 * hours)),)
    assert excess(machine, twice, wish) == pytest.approx(1.0 + 2 * excess(machine, just, wish), abs=0.02)


def test_pairs_and_sources_come_whole(fleets) -> None:
    for sites in fleets:
        zone = [site for site in sites if any(s.mode == "B5" for s in site.seeded)]
        assert len(zone) in (0, 5) and all(site.pumps[0].source == "shore" for site in zone)
        by_id = {site.pumps[0].pump_id: site.pumps[0] for site in sites}
        swapped = [pump for pump in by_id.values() if pump.swapped]
        for pump in swapped:
            start, stop, other = pump.swapped
            assert by_id[other].swapped == (start, stop, pump.pump_id) and by_id[other].source == pump.source
        reset = [s for site in sites for s in site.seeded if s.note.startswith("back to a plan") and s.kind == "fault"]
        assert len(reset) in (0, 3)


@pytest.mark.parametrize(("sites", "days"), [(1, 28), (5, 28), (24, 28), (100, 56), (300, 56)])
def test_any_number_of_sites_is_dealt(sites: int, days: int) -> None:
    lots = deal(sites, 3, days)
    assert len(lots) == sites
    assert sum(bool(lot.faults) for lot in lots) <= 0.56 * sites + 1


def test_no_site_is_no_fleet() -> None:
    with pytest.raises(ValueError, match="at least one site"):
        deal(0, 1, 56)


def test_a_short_hard_fleet_is_refused(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="at least 4 weeks"):
        make_fleet(tmp_path / "a", 24, 3, 1, faults="all")
    shown = CliRunner().invoke(commands, ["demo", str(tmp_path / "b"), "--weeks", "3", "--faults", "all"])
    assert shown.exit_code == 2 and "at least 4 weeks" in shown.output
    with pytest.raises(ValueError, match="block or all"):
        make_fleet(tmp_path / "c", 24, 4, 1, faults="none")


def test_equal_arguments_give_equal_bytes(folder: Path, tmp_path: Path) -> None:
    make_fleet(tmp_path / "again", 24, 4, 7, faults="all")
    assert all_bytes(folder) == all_bytes(tmp_path / "again")


def test_the_truth_is_written_with_its_size(folder: Path) -> None:
    seeded = pl.read_csv(folder / "truth" / "seeded.csv", try_parse_dates=True)
    assert seeded.columns == ["site_id", "pump_id", "kind", "mode", "from_day", "to_day", "note", "size", "seen_from"]
    assert set(seeded["kind"]) == {"fault", "hidden", "innocent", "consequence"}
    assert seeded.filter(pl.col("kind").is_in(["fault", "hidden"]))["size"].null_count() == 0
    assert seeded.filter(pl.col("kind") == "innocent")["size"].null_count() > 0
    errors = pl.read_csv(folder / "truth" / "errors.csv")
    assert errors["meter"].std() > 0.005  # drawn as large as stated


def test_healthy_sites_filter_what_they_must(folder: Path) -> None:
    """All but a party's day or the day of a new plan: the water of the truth against the register's need."""
    sites = pl.read_csv(folder / "sites.csv")
    faulty = pl.read_csv(folder / "truth" / "seeded.csv").filter(pl.col("kind") == "fault")["site_id"]
    moved = (
        pl.read_csv(folder / "truth" / "daily.csv")
        .group_by("site_id", "day_local")
        .agg(pl.col("volume_m3").sum())
        .join(sites, on="site_id")
        .filter(~pl.col("site_id").is_in(faulty.implode()) & (pl.col("season") == "open"))
        .with_columns(share=pl.col("volume_m3") / (pl.col("pool_volume_m3") * pl.col("required_turnovers")))
    )
    assert moved.height > 200
    assert (moved["share"] >= 0.97).mean() >= 0.99


def test_shown_power_by_hand() -> None:
    """Ten rows ten seconds apart; from 20 to 60 s something is wrong."""
    at, power = np.arange(0, 100, 10), np.array([4.0, 4, 400, 410, 420, 430, 440, 450, 460, 470])
    inside = slice(2, 6)

    def one(kind: str, amount: float = 0.0) -> np.ndarray:
        return shown_w([LoggerFault(kind, 20, 60, amount)], at, power)  # type: ignore[arg-type]

    assert one("ratio", -1.0)[inside].tolist() == [-400, -410, -420, -430]
    assert one("offset", 25.0)[inside].tolist() == [425, 435, 445, 455]
    assert one("frozen")[inside].tolist() == [400] * 4
    assert one("line")[inside].tolist() == [400, 410, 420, 430]
    for kind in ("ratio", "offset", "frozen", "line"):
        outside = np.delete(one(kind, 2.0), [2, 3, 4, 5])
        assert outside.tolist() == [4, 4, 440, 450, 460, 470]
    assert shown_w([], at, power).tolist() == power.tolist()


def test_shown_text_by_hand() -> None:
    at, power, speed = np.arange(0, 50, 10), np.array([4.0, 400, 400.25, 400, 4]), np.array([0, 1725, 1725, 1725, 0])
    kw = [LoggerFault("kw", 10, 30)]
    assert watts_texts(kw, at, power, False) == ["4.0", "0.4000", "0.4002", "400.0", "4.0"]
    assert watts_texts([], at, power, True) == ["0.0040", "0.4000", "0.4002", "0.4000", "0.0040"]
    assert speed_texts([LoggerFault("percent", 10, 30)], at, speed) == ["0", "50.0", "50.0", "1725", "0"]
    line = speed_texts([LoggerFault("line", 0, 30)], at, speed)
    assert line == ["0", "862", "1725", "1725", "0"]


def rows_of(folder: Path, pump_id: str) -> pl.DataFrame:
    """All rows of a pump in the five-minute files of a fleet, in the order of time; damaged rows are left out."""
    parts = [
        pl.read_csv(path, infer_schema=False, truncate_ragged_lines=True)
        for path in sorted((folder / "inbox").glob("*.csv"))
        if path.name.startswith(("coast", "shore"))
    ]
    rows = pl.concat(parts).filter(pl.col("pump") == pump_id)
    return rows.with_columns(
        at=pl.col("time_utc").str.to_datetime("%Y-%m-%dT%H:%M:%SZ", strict=False),
        rpm=pl.col("speed_rpm").cast(pl.Float64, strict=False),
        w=pl.col("power_w").cast(pl.Float64, strict=False),
    ).drop_nulls(["at", "rpm", "w"])


@pytest.fixture(scope="module")
def logged(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, pl.DataFrame]:
    """A fleet of 96 sites over four weeks, so that faults of loggers are among them, and its truth."""
    folder = tmp_path_factory.mktemp("logged") / "fleet"
    make_fleet(folder, 96, 4, 21, faults="all")
    return folder, pl.read_csv(folder / "truth" / "seeded.csv", try_parse_dates=True).filter(pl.col("kind") == "fault")


def test_logger_faults_stand_in_the_exports(logged) -> None:
    """One of each kind that this fleet has on a five-minute logger, inside and outside of its days."""
    folder, seeded = logged
    pumps = {row["mode"]: row for row in seeded.iter_rows(named=True)}
    seen = set()
    for mode, row in pumps.items():
        if mode not in ("B10", "B14", "B16"):
            continue
        rows = rows_of(folder, row["pump_id"])
        if rows.is_empty():
            continue
        seen.add(mode)
        margin = timedelta(days=1)
        inside = rows.filter(pl.col("at").dt.date().is_between(row["from_day"] + margin, row["to_day"] - margin))
        before = rows.filter(pl.col("at").dt.date() < row["from_day"])
        if mode == "B10":
            assert (inside.filter(pl.col("rpm") > 0)["w"] < 0).all() and (before["w"] >= 0).all()
        elif mode == "B14":
            rest = inside.filter(pl.col("rpm") == 0)["w"]
            assert rest.is_empty() or rest.min() > 14
        else:
            step = inside.sort("at")["at"].diff().drop_nulls().dt.total_minutes()
            assert step.median() == 15
            assert before.height < 20 or before.sort("at")["at"].diff().drop_nulls().dt.total_minutes().median() == 5
    assert len(seen) >= 2


def test_a_shared_log_is_the_other_pumps(logged) -> None:
    """Two pumps of a pair: in its days each one's rows are the other's, to the jitter of the logger."""
    folder, seeded = logged
    pairs = seeded.filter(pl.col("mode") == "B3")
    if pairs.is_empty():
        pytest.skip("no pair in this fleet")
    one, other = pairs["pump_id"][0], pairs["note"][0].split()[-1]
    assert other in set(pairs["pump_id"]) and one != other
    first, last = pairs["from_day"][0], pairs["to_day"][0]
    run = pl.read_csv(folder / "truth" / "daily.csv", try_parse_dates=True)
    middle = first + (last - first) // 2
    minutes = {
        pump: run.filter((pl.col("pump_id") == pump) & (pl.col("day_local") == middle))["run_min"].item()
        for pump in (one, other)
    }
    shown = rows_of(folder, one).with_columns(
        day=pl.col("at").dt.replace_time_zone("UTC").dt.convert_time_zone(ZONE).dt.date()
    )
    ran = 5.0 * shown.filter((pl.col("day") == middle) & (pl.col("rpm") > 0)).height
    assert ran == pytest.approx(minutes[other], abs=45)
