"""Sums over several claims and the sample, on claims made of one that is known."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pumpledger.claims.batch import batch_rows, portfolio_rows, sampling_plan
from pumpledger.claims.data import ClaimData
from pumpledger.claims.sampling import draw, sample_size
from pumpledger.orchestration.claiming import Asked, make_claims
from tests.claims.claim_fleet import COUNTED, FIRST, LAST
from tests.claims.test_claim import PEOPLE, claim_of


@pytest.mark.parametrize(
    ("population", "confidence", "precision", "cv", "size"),
    # 1.645 x 0.5 / 0.1 squared is 67.65: the 68 that measurement plans print for 90/10; 16.9 for 90/20.
    [(10**9, 0.9, 0.1, 0.5, 68), (10**9, 0.9, 0.2, 0.5, 17), (100, 0.9, 0.1, 0.5, 41), (5, 0.9, 0.1, 0.5, 5),
     (0, 0.9, 0.1, 0.5, 0), (1, 0.68, 0.9, 0.1, 1)],
)  # fmt: skip
def test_sample_sizes_by_hand(population: int, confidence: float, precision: float, cv: float, size: int) -> None:
    assert sample_size(population, confidence, precision, cv) == size


def test_nonsense_asks_for_no_sample() -> None:
    for asked in ((10, 0.8, 0.1, 0.5), (10, 0.9, 0, 0.5), (10, 0.9, 0.1, -1), (-1, 0.9, 0.1, 0.5)):
        with pytest.raises(ValueError, match="confidence"):
            sample_size(*asked)


@given(st.sets(st.text(min_size=1, max_size=6), max_size=40), st.integers(0, 50), st.integers(0, 10**9))
def test_a_sample_can_be_drawn_again(sites: set[str], count: int, seed: int) -> None:
    drawn = draw(sites, count, seed)
    assert drawn == draw(sorted(sites, reverse=True), count, seed)
    assert len(drawn) == len(set(drawn)) == min(count, len(sites))
    assert set(drawn) <= sites
    assert set(drawn) <= set(draw(sites, count + 1, seed))


def test_each_site_is_drawn_about_as_often() -> None:
    sites = [f"S{n}" for n in range(20)]
    times = pl.Series([site for seed in range(2000) for site in draw(sites, 5, seed)]).value_counts()["count"]
    # 500 each, and three and a half standard deviations of 2,000 draws with 1 in 4.
    assert times.len() == 20
    assert times.is_between(500 - 68, 500 + 68).all()


def _two(fleet: Path) -> list[ClaimData]:
    one = claim_of(fleet)
    return [one, replace(one, claim_id="c-2", site={**one.site, "site_id": "H2"})]


def test_what_two_sites_share_adds_straight(fleet: Path) -> None:
    rows = portfolio_rows(_two(fleet)).filter(scope="ready claims", quantity="raw saving").row(0, named=True)
    own, meter = COUNTED * 12 * 0.03, COUNTED * 1.6 * 0.02
    half = (2 * own**2 + (2 * meter) ** 2) ** 0.5
    assert (rows["sites"], rows["mid_kwh"]) == (2, pytest.approx(2 * COUNTED * 10.4))
    assert rows["hi_kwh"] - rows["mid_kwh"] == pytest.approx(half, rel=1e-3)
    assert "energy meters" in rows["sentence"]


def test_a_claim_that_is_not_ready_is_in_one_sum_alone(fleet: Path) -> None:
    one, two = _two(fleet)
    draft = replace(two, is_ready=False)
    rows = portfolio_rows([one, draft])
    assert dict(rows.filter(quantity="raw saving").select("scope", "sites").iter_rows()) == {
        "ready claims": 1,
        "all claims": 2,
    }
    programme = replace(one.programme, sampling={"confidence": 0.9, "precision": 0.5, "cv": 0.5, "seed": 3.0})
    plan = sampling_plan([one, draft], programme)
    assert plan.select("population", "size", "drawn").row(0) == (1, 1, "H1")
    listed = batch_rows([one, draft], plan)
    assert listed["sampled"].to_list() == [True, False]
    assert listed["verdict"].to_list() == ["READY", "NOT READY"]
    assert sampling_plan([one], one.programme).is_empty()


def test_a_batch_is_written_once_for_all_sites(fleet: Path) -> None:
    lines = list(make_claims(fleet, Asked(FIRST, LAST, (), "rebate", **PEOPLE)))
    assert lines[0] == "1 claims: 1 READY, 0 NOT READY"
    (folder,) = (fleet / "reports" / "claims").glob("b-*")
    assert sorted(path.name for path in folder.iterdir()) == ["batch.csv", "portfolio.csv", "sampling.csv"]
    assert "H1,READY" in (folder / "batch.csv").read_text(encoding="utf-8")
