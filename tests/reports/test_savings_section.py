"""What a site's page says of its savings: sums of the counted days by hand, what is left out, what is missing."""

from __future__ import annotations

from dataclasses import replace
from math import fsum

import polars as pl
import pytest
from review_builder import made_up_review

from pumpledger.reports.data import ReviewData
from pumpledger.reports.savings_section import SavingsSections, baseline_words


@pytest.fixture(scope="module")
def data() -> ReviewData:
    return made_up_review()


def section(data: ReviewData, site_id: str) -> dict[str, object]:
    site = data.site.row(by_predicate=pl.col("site_id") == site_id, named=True)
    pumps = list(data.pump.filter(pl.col("site_id") == site_id).iter_rows(named=True))
    return SavingsSections(data).of_site(site, pumps)


def week(data: ReviewData, site_id: str) -> pl.DataFrame:
    inside = pl.col("day_local").is_between(data.first_day, data.last_day)
    return data.savings.filter((pl.col("site_id") == site_id) & inside)


def test_sums_are_of_counted_days_and_say_so(data: ReviewData) -> None:
    rows = week(data, "QM-004")
    counted = rows.filter("counted")
    assert 0 < counted.height < rows.height
    shown = section(data, "QM-004")
    assert shown["scope"] == (
        f"Sums of {counted.height} counted days of {rows.height}, as they stand: nothing is scaled to a longer time."
    )
    saved = fsum(counted["equal_kwh_mid"])
    share = 100 * saved / fsum(counted["baseline_equal_kwh"])
    label, words = shown["facts"][0]
    assert label == "At equal volume" and words.startswith(f"{saved:.1f} kWh (".replace("-", "\u2212"))
    assert f"{share:.1f} % of the baseline" in words
    band = shown["bands"][0]
    assert (band["band"], band["days"], band["price"]) == ("all hours", counted.height, "0.3000")
    assert band["equal_money"] == f"{saved * 0.3:.2f}\u00a0{data.currency}"


def test_left_out_by_reason_with_days_and_minutes(data: ReviewData) -> None:
    rows = week(data, "QM-004").filter(~pl.col("counted"))
    shown = section(data, "QM-004")
    assert {row["reason"] for row in shown["left_out"]} == set(rows["reason"])
    assert shown["left_out_min"] == f"{rows.height * 1440:,}"
    assert sum(len(row["days"].split(", ")) for row in shown["left_out"]) == rows.height


def test_missing_inputs_are_named(data: ReviewData) -> None:
    unproved = replace(data, pump=data.pump.with_columns(baseline_evidence=pl.lit(None, pl.String)))
    assert "the baseline has no evidence, so nothing is claimed" in section(unproved, "QM-004")["withheld"][0]
    stipulated = replace(data, pump=data.pump.with_columns(baseline_evidence=pl.lit("stipulated")))
    assert "programme parameters not supplied" in section(stipulated, "QM-004")["withheld"][0]
    said = " ".join(section(data, "QM-004")["withheld"])
    assert "baseline_start does not say" in said and "co2_kg_per_kwh" in said
    no_tariff = replace(data, site=data.site.with_columns(tariff=pl.lit(None, pl.String)))
    assert "No money" in " ".join(section(no_tariff, "QM-004")["withheld"])


def test_co2_names_its_source(data: ReviewData) -> None:
    savings = data.savings.with_columns(co2_kg_mid=pl.col("equal_kwh_mid") * 0.25)
    shown = section(replace(data, savings=savings, co2_source="made-up table, 2026"), "QM-004")
    (words,) = (value for label, value in shown["facts"] if label.startswith("CO2"))
    expected = fsum(week(data, "QM-004").filter("counted")["equal_kwh_mid"]) * 0.25
    assert words == f"{expected:,.1f} kg less, by the factor of: made-up table, 2026"


def test_one_unknown_day_leaves_the_sum_unknown(data: ReviewData) -> None:
    first = week(data, "QM-004").filter("counted")["day_local"][0]
    hole = pl.when((pl.col("site_id") == "QM-004") & (pl.col("day_local") == first)).then(None)
    savings = data.savings.with_columns(raw_kwh_mid=hole.otherwise("raw_kwh_mid"))
    assert section(replace(data, savings=savings), "QM-004")["facts"][1] == (
        "Raw",
        "unknown on one of the counted days",
    )


def test_the_baseline_in_words() -> None:
    pump = {
        "pump_id": "P-1",
        "baseline_power_w": 1750.0,
        "baseline_hours_per_day": 8.0,
        "baseline_flow_m3h": None,
        "baseline_evidence": "owner record",
        "baseline_source": "bill of 2019",
        "baseline_start_min": 540,
    }
    assert baseline_words(pump, "metric") == (
        "Pump P-1: 1,750 W for 8.0 h a day from 09:00; its flow by this site's own curve at full speed. "
        "Evidence: owner record, bill of 2019."
    )
    assert baseline_words(pump | {"baseline_power_w": None}, "metric") == "Pump P-1: no baseline on record."
