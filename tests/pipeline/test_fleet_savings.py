"""The fleet's sums of the demo's week against the tables they are made from."""

from __future__ import annotations

import math
from pathlib import Path

import polars as pl
import pytest

WEEK = "2026-W45"


@pytest.fixture(scope="module")
def lake(reviewed) -> dict[str, pl.DataFrame]:
    folder: Path = reviewed[0] / "lake"
    names = ("fleet_savings", "site_weeks", "savings")
    return {name: pl.read_parquet(folder / name / f"week={WEEK}.parquet") for name in names}


def _sum(lake: dict[str, pl.DataFrame], quantity: str) -> dict[str, object]:
    return lake["fleet_savings"].filter((pl.col("quantity") == quantity) & (pl.col("place") == 0)).row(0, named=True)


def test_the_middle_values_are_those_of_the_sites(lake: dict[str, pl.DataFrame]) -> None:
    weeks, counted = lake["site_weeks"], lake["savings"].filter("counted")
    assert _sum(lake, "energy")["mid_kwh"] == pytest.approx(weeks["energy_kwh_mid"].sum(), rel=1e-9)
    for quantity, name in (("raw saving", "raw_kwh_mid"), ("equal-volume saving", "equal_kwh_mid")):
        assert _sum(lake, quantity)["mid_kwh"] == pytest.approx(counted[name].sum(), rel=1e-9)
        assert _sum(lake, quantity)["site_days"] == counted.height


@pytest.mark.parametrize(
    ("quantity", "name"), [("energy", "energy_kwh"), ("raw saving", "raw_kwh"), ("equal-volume saving", "equal_kwh")]
)
def test_the_interval_lies_between_quadrature_and_a_straight_sum(
    lake: dict[str, pl.DataFrame], quantity: str, name: str
) -> None:
    """Sites that shared nothing would give the root of squares, sites that shared all the straight sum (GUM, 5.2)."""
    found, weeks = _sum(lake, quantity), lake["site_weeks"].drop_nulls(f"{name}_mid")
    for side, bound in (("below", "lo"), ("above", "hi")):
        widths = (weeks[f"{name}_{bound}"] - weeks[f"{name}_mid"]).abs()
        assert found[f"{side}_kwh"] <= widths.sum() * (1 + 1e-9)
        # Days of one site add straight here and in quadrature by day there, so the floor is met but for that.
        assert found[f"{side}_kwh"] >= 0.95 * math.sqrt((widths**2).sum())


def test_the_parts_make_the_whole(lake: dict[str, pl.DataFrame]) -> None:
    for quantity in ("energy", "raw saving", "equal-volume saving"):
        parts = lake["fleet_savings"].filter((pl.col("quantity") == quantity) & (pl.col("place") > 0))
        whole = _sum(lake, quantity)
        assert whole["below_kwh"] == pytest.approx(math.sqrt((parts["below_kwh"] ** 2).sum()))
        assert whole["lo_kwh"] == pytest.approx(whole["mid_kwh"] - whole["below_kwh"])
        assert parts["part"].to_list()[-1] == "each site's own" and whole["sentence"].startswith("Of the \u00b1")


def test_the_page_and_the_csv_say_where_it_comes_from(reviewed, lake: dict[str, pl.DataFrame]) -> None:
    reports = reviewed[0] / "reports" / WEEK
    page = (reports / "index.html").read_text(encoding="utf-8").replace("&#39;", "'")
    for quantity in ("energy", "equal-volume saving"):
        assert _sum(lake, quantity)["sentence"] in page
    assert pl.read_csv(reports / "fleet_savings.csv").height == lake["fleet_savings"].height
