"""The score of a small made-up fleet whose errors are drawn as large as stated, and what the score is computed from.

The fleet of 24 sites is too small to tell 90 % from 85 %; the bounds here are those of a binomial over its pumps, with
the formula beside them. The run over 300 sites is `pumpledger demo --sites 300 --stated-errors`, `review`, `score`.
"""

from __future__ import annotations

import math
import shutil
from dataclasses import replace
from pathlib import Path

import polars as pl
import pytest
from click.testing import CliRunner

from pumpledger.cli import commands
from pumpledger.hydraulics import uncertainty
from pumpledger.orchestration.run import run_review
from pumpledger.problems import FleetError
from pumpledger.scoring.coverage import coverage, distance
from pumpledger.scoring.evidence import read_evidence
from pumpledger.scoring.lines import score_lines
from pumpledger.scoring.mode_lines import mode_lines
from pumpledger.scoring.modes import cases
from pumpledger.scoring.score import Score, score_fleet
from pumpledger.simulator import errors
from pumpledger.simulator.fleet import make_fleet


@pytest.fixture(scope="module")
def scored(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Score]:
    folder = tmp_path_factory.mktemp("stated") / "fleet"
    make_fleet(folder, 24, 1, 5, stated_errors=True)
    truth = folder / "truth"
    aside = folder.parent / "truth"
    shutil.move(truth, aside)  # the review never sees it
    run_review(folder)
    shutil.move(aside, truth)
    return folder, score_fleet(folder)


@pytest.mark.parametrize("name", ["volume", "energy", "equal", "raw"])
def test_the_intervals_hold_the_truth_about_nine_times_in_ten(scored: tuple[Path, Score], name: str) -> None:
    """Days of a pump err together, so ``units`` counts: 0.9 less three sqrt(0.9 x 0.1 / units)."""
    held = getattr(scored[1], name)
    assert held.units >= 14
    assert held.share >= 0.9 - 3 * math.sqrt(0.09 / held.units)


def test_the_middle_values_are_near(scored: tuple[Path, Score]) -> None:
    score = scored[1]
    assert score.logged_whole.within >= 0.99 and score.logged_scale.median <= 0.001
    assert score.logged_truth.median <= 0.02  # the meter's own 2 %
    assert score.commissioned.median <= 0.05


def test_the_fleets_sums_hold_their_truth(scored: tuple[Path, Score]) -> None:
    """Three sums of one week, each added up here again from the truth of the days behind it."""
    folder, score = scored
    assert [total.quantity for total in score.totals] == ["energy", "equal-volume saving", "raw saving"]
    savings = pl.read_parquet(folder / "lake" / "savings" / "week=2026-W45.parquet").filter("counted")
    truth = pl.read_csv(folder / "truth" / "savings.csv", try_parse_dates=True)
    days = set(savings.select("site_id", "day_local").iter_rows())
    for total, name in zip(score.totals[1:], ("equal_kwh", "raw_kwh"), strict=True):
        true = sum(kwh for *day, kwh in truth.select("site_id", "day_local", name).iter_rows() if tuple(day) in days)
        assert total.true_kwh == pytest.approx(true) and total.held


def test_the_lines_say_what_was_compared(scored: tuple[Path, Score]) -> None:
    folder, score = scored
    shown = CliRunner().invoke(commands, ["score", str(folder)])
    assert shown.exit_code == 0
    assert shown.output.splitlines() == [*score_lines(score), *mode_lines(read_evidence([folder]))]
    held = score.volume
    assert f"volume: {held.share:.1%} of {held.days:,} days at {held.units} pumps" in shown.output
    assert f"{score.faults - len(score.missed)} of {score.faults} seeded faults found" in shown.output


def test_the_modes_are_those_of_truth_and_lake(scored: tuple[Path, Score], tmp_path: Path) -> None:
    """Every seeded fault is a case; two fleets are pooled; without a truth or a review there is nothing to read."""
    folder, score = scored
    seeded = pl.read_csv(folder / "truth" / "seeded.csv").filter(pl.col("kind") == "fault")
    held = read_evidence([folder])
    assert cases(held).height == seeded.height
    assert held.site_weeks.height == 24
    early = [row["mode"] for row in cases(held).iter_rows(named=True) if row["days"] is not None]
    assert len(early) >= score.faults - len(score.missed) > 0
    assert read_evidence([folder, folder]).truth.height == 2 * held.truth.height
    bare = Path(shutil.copytree(folder, tmp_path / "fleet"))
    shutil.rmtree(bare / "lake")
    with pytest.raises(FleetError, match="no review yet"):
        read_evidence([bare])
    shutil.rmtree(bare / "truth")
    with pytest.raises(FleetError, match="made-up fleet"):
        read_evidence([bare])


def test_a_wrong_truth_lowers_the_score(scored: tuple[Path, Score], tmp_path: Path) -> None:
    """A check that cannot fail is none: a tenth more water and half the energy lie outside almost every interval."""
    folder = Path(shutil.copytree(scored[0], tmp_path / "fleet"))
    path = folder / "truth" / "daily.csv"
    pl.read_csv(path).with_columns(pl.col("energy_kwh") * 0.5, pl.col("volume_m3") * 1.5).write_csv(path)
    spoilt = score_fleet(folder)
    assert spoilt.energy.share < 0.1 and spoilt.volume.share < 0.1
    assert spoilt.energy.above == 0 and spoilt.volume.above == spoilt.volume.days - spoilt.volume.inside


def test_without_truth_or_without_review_there_is_no_score(scored: tuple[Path, Score], tmp_path: Path) -> None:
    folder = Path(shutil.copytree(scored[0], tmp_path / "fleet"))
    shutil.rmtree(folder / "lake")
    with pytest.raises(FleetError, match="no review yet"):
        score_fleet(folder)
    shutil.rmtree(folder / "truth")
    with pytest.raises(FleetError, match="only a made-up fleet"):
        score_fleet(folder)


def test_the_command_ends_with_2_without_truth(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys) -> None:
    from pumpledger.cli import main

    monkeypatch.setattr("sys.argv", ["pumpledger", "score", str(tmp_path)])
    with pytest.raises(SystemExit) as ended:
        main()
    assert ended.value.code == 2
    assert "only a made-up fleet that pumpledger demo wrote has a truth" in capsys.readouterr().err


def test_the_drawn_errors_are_as_large_as_the_stated_ones() -> None:
    """The simulator imports nothing of the pipeline and holds the half-widths a second time: they must be the same."""
    assert errors.BASELINE_POWER == uncertainty.BASELINE_POWER
    assert (errors.BASELINE_FLOW, errors.CURVE_HEAD, errors.DESIGN_FLOW, errors.VISIT_POWER) == (
        uncertainty.BASELINE_FLOW,
        uncertainty.CURVE_HEAD,
        uncertainty.CURVE_FLOW.below,
        uncertainty.VISIT_POWER,
    )
    assert errors.STATIC_HEAD == uncertainty.STATIC_HEAD
    assert errors.STATIC_HEAD_LEAST_M == uncertainty.STATIC_HEAD_LEAST_M
    assert errors.FLOW_METER == uncertainty.FLOW_METER
    assert uncertainty.CURVE_FLOW.below == uncertainty.CURVE_FLOW.above
    drawn = [errors.draw_errors(1, index, 0, 1.0, "nameplate") for index in range(1, 2001)]
    # Nine in ten inside; 2,000 draws scatter by sqrt(0.09 / 2000) = 0.7 %, three times that is 2 %.
    for name, half_width in (("meter", errors.METER), ("baseline_power", 0.10), ("static_head_m", 0.2)):
        inside = sum(abs(getattr(one, name)) <= half_width for one in drawn) / len(drawn)
        assert inside == pytest.approx(0.9, abs=0.02)


def _rows(truth: list[float], half: float = 1.0) -> pl.DataFrame:
    return pl.DataFrame(
        {
            "truth": truth, "lo": [10 - half] * len(truth), "mid": [10.0] * len(truth), "hi": [10 + half] * len(truth),
            "unit": ["P"] * len(truth), "where": [f"P on {i}" for i in range(len(truth))],
        }
    )  # fmt: skip


def test_coverage_by_hand() -> None:
    """Of 9, 10, 11, 12 and 8.5 in 9 to 11: three inside with both ends, one above, one below."""
    held = coverage(_rows([9.0, 10.0, 11.0, 12.0, 8.5]))
    assert held is not None
    assert (held.days, held.units, held.inside, held.above) == (5, 1, 3, 1)
    assert held.share == 0.6 and held.chance == pytest.approx(2 * 0.3)
    assert held.mean_off == pytest.approx((10 / 9 + 1 + 10 / 11 + 10 / 12 + 10 / 8.5) / 5 - 1)
    assert coverage(_rows([])) is None


def test_distance_by_hand() -> None:
    off = distance(_rows([8.0, 10.0, 12.5]), 0.21)
    assert off is not None
    assert (off.median, off.largest, off.where) == (pytest.approx(0.2), pytest.approx(0.25), "P on 0")
    assert off.within == pytest.approx(2 / 3)
    assert distance(_rows([0.0]), 0.1) is None


def test_nothing_to_compare_is_said(scored: tuple[Path, Score]) -> None:
    bare = replace(scored[1], volume=None, commissioned=None)
    assert "  volume: no day to compare" in score_lines(bare)
