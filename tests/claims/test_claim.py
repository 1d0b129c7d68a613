"""One claim to the watt-hour, what makes it not ready, and what must not be claimed."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

import polars as pl
import pytest

from pumpledger.claims.data import CLAIM_TABLES, ClaimData
from pumpledger.claims.past import read_claims
from pumpledger.claims.tables_csv import _FRAMES
from pumpledger.orchestration.claiming import Asked, compute_claims, make_claims, withdraw_claim
from pumpledger.orchestration.session import Session
from pumpledger.problems import FleetError
from tests.claims.claim_fleet import COUNTED, DAYS, FIRST, LAST, PROGRAMME, SILENT, papers_text

PEOPLE = {"prepared_by": "Preparer Invented", "reviewed_by": "Reviewer Invented"}


def claim_of(
    fleet: Path, first: date = FIRST, last: date = LAST, programme: str = "rebate", **people: str
) -> ClaimData:
    (claim,) = compute_claims(Session(fleet), Asked(first, last, ("H1",), programme, **(people or PEOPLE))).found
    return claim


def states(claim: ClaimData) -> dict[str, str]:
    return dict(claim.ready.select("requirement", "state").iter_rows())


def missing(claim: ClaimData) -> list[str]:
    return claim.ready.filter(state="missing")["requirement"].to_list()


def test_a_claim_to_the_watt_hour(fleet: Path) -> None:
    claim = claim_of(fleet)
    assert missing(claim) == []
    assert claim.verdict == "READY"
    t = claim.totals
    assert (t.days, t.counted_days, t.sufficient) == (DAYS, COUNTED, True)
    assert (t.measured_kwh, t.computed_kwh, t.baseline_kwh) == pytest.approx((COUNTED * 1.6, 0, COUNTED * 12), abs=1e-6)
    assert t.raw is not None
    assert t.equal is not None
    assert (t.raw.mid, t.equal.mid) == pytest.approx((COUNTED * 10.4, COUNTED * 2.4), abs=1e-6)
    # Baseline measured: 3 %; meter 2 % of what is measured.
    half = ((COUNTED * 12 * 0.03) ** 2 + (COUNTED * 1.6 * 0.02) ** 2) ** 0.5
    assert t.raw.hi - t.raw.mid == pytest.approx(half, rel=1e-3)
    assert t.uncertainty_90 == pytest.approx(half / t.raw.mid, rel=1e-3)
    assert t.largest_term.startswith("baseline")
    # 14:00 to 18:00: 0.2 kW for two of four hours, against 1.5 kW for three of them; on weekdays alone.
    assert (t.measured_peak_kw, t.baseline_peak_kw) == pytest.approx((0.1, 1.125), abs=1e-6)
    assert t.peak_days == 14
    assert [round(result.value or 0, 6) for result in claim.programme_results] == [COUNTED * 10.4, 1.025]
    assert (claim.option, claim.units) == ("A", "metric")


def test_every_day_is_listed_and_the_parts_add_up(fleet: Path) -> None:
    claim = claim_of(fleet)
    days = claim.days
    assert days["day_local"].to_list() == [FIRST + timedelta(days=n) for n in range(DAYS)]
    long = days.row(by_predicate=pl.col("day_local") == date(2026, 11, 1), named=True)
    assert (long["day_min"], long["state"], round(long["raw_kwh_mid"], 6)) == (1500.0, "counted", 10.4)
    silent = days.row(by_predicate=pl.col("day_local") == SILENT, named=True)
    assert (silent["state"], silent["raw_kwh_mid"], silent["energy_kwh_mid"]) == ("left out", None, None)
    assert "observed" in silent["reason"]
    assert claim.exclusions["day_local"].unique().to_list() == [SILENT]
    assert claim.months["month"].to_list() == ["2026-10", "2026-11"]
    assert claim.months["days"].to_list() == [13, 8]
    assert claim.totals.raw is not None
    assert claim.months["raw_kwh"].sum() == pytest.approx(claim.totals.raw.mid)
    counted = days.filter(state="counted")
    assert counted["measured_baseline_kwh"].sum() == pytest.approx(COUNTED * 12)
    assert counted["stipulated_baseline_kwh"].null_count() == COUNTED
    hours = claim.hours_by_speed_month
    assert hours["hours"].sum() == pytest.approx(DAYS * 24 + 1)
    assert hours.filter(speed_rpm=1500)["hours"].sum() == pytest.approx(COUNTED * 8)
    assert claim.power_by_speed.select("speed_rpm", "days", "power_w_median").row(0) == (
        1500,
        COUNTED,
        pytest.approx(200),
    )
    assert claim.exports["file"].to_list() == ["meter_1.csv"]


@pytest.mark.parametrize("cut", [date(2026, 10, 19), SILENT, date(2026, 10, 31), date(2026, 11, 1)])
def test_two_periods_add_up_to_the_whole(fleet: Path, cut: date) -> None:
    whole = claim_of(fleet).totals
    parts = [claim_of(fleet, FIRST, cut).totals, claim_of(fleet, cut + timedelta(days=1), LAST).totals]
    for name in ("days", "counted_days", "measured_kwh", "baseline_kwh", "energy_kwh", "peak_days"):
        assert sum(getattr(part, name) for part in parts) == pytest.approx(getattr(whole, name)), name


def test_what_is_taken_and_not_measured_is_listed_with_its_weight(fleet: Path) -> None:
    claim = claim_of(fleet)
    rows = {row["name"]: row for row in claim.stipulated.iter_rows(named=True)}
    assert "power of the former pump" not in rows  # it was measured
    hours = rows["hours a day of the former pump"]
    assert (hours["value"], hours["effect_kwh"]) == (8, pytest.approx(COUNTED * 12 / 10))
    assert hours["effect_share"] == pytest.approx(1.2 / 10.4)
    assert "clamp" in hours["source"]


@pytest.mark.parametrize(
    ("column", "value", "requirement"),
    [
        ("serial", "", "serial"),
        ("invoice", "", "invoice"),
        ("installed_on", "", "installation day"),
        ("installed_on", "2026-10-20", "installation day"),
        ("installed_on", "2025-12-31", "installation day"),
        ("account_address", "", "address match"),
        ("pump_id", "P2", "serial"),
    ],
)
def test_a_paper_that_is_missing_is_named_with_its_file(fleet: Path, column: str, value: str, requirement: str) -> None:
    (fleet / "claim_papers.csv").write_text(papers_text(**{column: value}), encoding="utf-8")
    claim = claim_of(fleet)
    assert claim.verdict == "NOT READY"
    assert requirement in missing(claim)
    row = claim.ready.row(by_predicate=pl.col("requirement") == requirement, named=True)
    assert row["fix"].startswith("claim_papers.csv")
    assert claim.totals.raw is not None  # it is computed all the same


def test_near_misses_are_ready(fleet: Path) -> None:
    for changed in (
        {"installed_on": "2026-10-19"},
        {"installed_on": "2026-01-01"},
        {"account_address": "1  INVENTED-lane"},
    ):
        (fleet / "claim_papers.csv").write_text(papers_text(**changed), encoding="utf-8")
        assert missing(claim_of(fleet)) == []
    (fleet / "claim_papers.csv").write_text(papers_text(account_address="2 Other Road"), encoding="utf-8")
    claim = claim_of(fleet)
    assert (claim.verdict, states(claim)["address match"]) == ("READY", "doubtful")


def test_the_reviewer_is_not_the_preparer(fleet: Path) -> None:
    assert missing(claim_of(fleet, prepared_by="A. Invented", reviewed_by="a. invented")) == ["two people"]
    assert missing(claim_of(fleet, prepared_by="A. Invented")) == ["two people"]


def test_without_a_programme_there_are_accounts_and_no_claim(fleet: Path) -> None:
    claim = claim_of(fleet, programme="")
    assert missing(claim) == ["programme parameters"]
    assert "programme parameters not supplied" in claim.ready["sentence"][0]
    assert claim.programme_results == ()
    assert any("nothing is claimed" in label for label in claim.labels)
    list(make_claims(fleet, Asked(FIRST, LAST, ("H1",))))
    assert not (fleet / "claims.csv").exists()


@pytest.mark.parametrize(("last", "days", "lacking"), [(4, 10, []), (3, 9, ["days that count"])])
def test_one_silent_day_of_ten_may_be_missing_and_one_of_nine_not(
    fleet: Path, last: int, days: int, lacking: list[str]
) -> None:
    claim = claim_of(fleet, date(2026, 10, 26), date(2026, 11, last))
    assert (claim.totals.days, claim.totals.counted_days) == (days, days - 1)
    assert missing(claim) == lacking


def test_a_week_without_a_review_saves_nothing(fleet: Path) -> None:
    claim = claim_of(fleet, FIRST, date(2026, 11, 18))
    assert claim.missing_weeks == ("2026-W46", "2026-W47")
    assert {"reviews", "days that count"} <= set(missing(claim))
    late = claim.days.filter(pl.col("day_local") > LAST)
    assert late["state"].unique().to_list() == ["not reviewed"]
    assert late["raw_kwh_mid"].null_count() == late.height == 10
    assert claim.totals.raw is not None
    assert claim.totals.raw.mid == pytest.approx(COUNTED * 10.4)
    assert claim.exclusions.filter(kind="not reviewed").height == 10


def test_a_register_that_changed_since_makes_the_reviews_out_of_date(fleet: Path) -> None:
    path = fleet / "pumps.csv"
    path.write_text(path.read_text(encoding="utf-8").replace(",1500,8,", ",1600,8,"), encoding="utf-8")
    assert "reviews" in missing(claim_of(fleet))


def test_a_day_is_claimed_once(fleet: Path) -> None:
    asked = Asked(FIRST, LAST, ("H1",), "rebate", **PEOPLE)
    list(make_claims(fleet, asked))
    list(make_claims(fleet, asked))
    (line,) = read_claims(fleet)
    assert (line.state, line.site_id, line.raw_kwh) == ("ready", "H1", pytest.approx(COUNTED * 10.4))
    assert (fleet / "claims.csv").read_text(encoding="utf-8").count("\n") == 2
    assert claim_of(fleet).verdict == "READY"  # the same claim again is no second one
    (fleet / "programmes" / "other.toml").write_text(PROGRAMME, encoding="utf-8")
    other = claim_of(fleet, date(2026, 11, 8), date(2026, 11, 8), "other")
    assert missing(other) == ["claimed once"]
    assert line.claim_id in other.ready.filter(requirement="claimed once")["sentence"][0]
    withdraw_claim(fleet, line.claim_id)
    assert missing(claim_of(fleet, date(2026, 11, 8), date(2026, 11, 8), "other")) == []
    assert missing(claim_of(fleet, date(2026, 11, 9), date(2026, 11, 9), "other")) != ["claimed once"]
    with pytest.raises(FleetError, match="no claim"):
        withdraw_claim(fleet, "c-0000000000")


def test_a_draft_blocks_nobody(fleet: Path) -> None:
    list(make_claims(fleet, Asked(FIRST, LAST, ("H1",), "rebate")))
    assert [line.state for line in read_claims(fleet)] == ["not ready"]
    (fleet / "programmes" / "other.toml").write_text(PROGRAMME, encoding="utf-8")
    assert missing(claim_of(fleet, programme="other")) == []


def test_the_same_input_gives_the_same_bytes(fleet: Path) -> None:
    one, two = claim_of(fleet), claim_of(fleet)
    for table in CLAIM_TABLES:
        frame = getattr(one, _FRAMES[table.name])
        assert frame.equals(getattr(two, _FRAMES[table.name]))
        assert frame.columns == list(table.columns)
    assert (one.totals, one.claim_id, one.versions) == (two.totals, two.claim_id, two.versions)
    asked = Asked(FIRST, LAST, ("H1",), "rebate", **PEOPLE)
    list(make_claims(fleet, asked))
    folder = fleet / "reports" / "claims" / one.claim_id
    before = {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    list(make_claims(fleet, asked))
    assert before == {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def test_names_and_addresses_are_for_the_cover_alone(fleet: Path) -> None:
    lines = list(make_claims(fleet, Asked(FIRST, LAST, ("H1",), "rebate", **PEOPLE)))
    folder = fleet / "reports" / "claims" / claim_of(fleet).claim_id
    tables = [*folder.glob("*.csv"), *folder.glob("packet/data/clean/*.csv"), folder / "packet" / "data" / "claim.json"]
    shown = "\n".join([*lines, *(path.name + path.read_text(encoding="utf-8") for path in tables)])
    shown += (fleet / "claims.csv").read_text(encoding="utf-8")
    for private in ("Invented Lane", "invented lane", "Made-up One", "Preparer Invented", "Reviewer Invented"):
        assert private not in shown
    claim = claim_of(fleet)
    assert claim.private["site_address"] == "1 Invented Lane"
    assert "Made-up One" not in str(claim.site)


def test_a_metered_former_pump_adds_its_scatter_and_makes_option_b(fleet: Path) -> None:
    before = claim_of(fleet).totals
    (fleet / "claim_papers.csv").write_text(
        papers_text(baseline_days="60", baseline_cv="0.3", baseline_autocorrelation="0.5"), encoding="utf-8"
    )
    claim = claim_of(fleet)
    width = claim.uncertainty.filter(pl.col("term").str.starts_with("baseline, day"), quantity="raw saving")
    n = 60 * 0.5 / 1.5
    share = 1.645 * 1.26 * 0.3 * (60 / n * (1 + 2 / n) / COUNTED) ** 0.5
    assert width["half_width_kwh"].to_list() == [pytest.approx(share * COUNTED * 12)]
    assert before.uncertainty_90 is not None
    assert claim.totals.uncertainty_90 is not None
    assert claim.totals.uncertainty_90 > before.uncertainty_90
    assert (claim.option, claim.verdict) == ("B", "READY")
    assert "Guideline 14" in claim.totals.uncertainty_method


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ({"sites": ("H9",)}, "no site H9"),
        ({"programme": "none"}, "no programme"),
        ({"first_day": LAST, "last_day": FIRST}, "1 to 1100 days"),
    ],
)
def test_what_cannot_be_claimed_is_told(fleet: Path, text: dict[str, object], said: str) -> None:
    asked = {"first_day": FIRST, "last_day": LAST, "sites": ("H1",), "programme": "rebate"} | text
    with pytest.raises(FleetError, match=said):
        compute_claims(Session(fleet), Asked(**asked))  # type: ignore[arg-type]


def test_hostile_papers_are_text(fleet: Path) -> None:
    (fleet / "claim_papers.csv").write_text(
        papers_text(serial="=1+1", model="<b>\u202e#let", invoice="'; drop"), encoding="utf-8"
    )
    claim = claim_of(fleet)
    assert claim.pumps["serial"].to_list() == ["=1+1"]
    assert claim.verdict == "READY"
    (fleet / "claim_papers.csv").write_text("pump_id,serial\nP1,a,b\n", encoding="utf-8")
    broken = compute_claims(Session(fleet), Asked(FIRST, LAST, ("H1",), "rebate"))
    assert [problem.line for problem in broken.problems] == [2]
    assert "serial" in missing(broken.found[0])


def test_a_period_without_any_review_claims_nothing(fleet: Path) -> None:
    claim = claim_of(fleet, date(2027, 1, 4), date(2027, 1, 10))
    t = claim.totals
    assert (t.days, t.counted_days, t.raw, t.equal, t.uncertainty_90, t.measured_peak_kw) == (
        7,
        0,
        None,
        None,
        None,
        None,
    )
    assert {"programme result", "reviews", "days that count", "saving"} <= set(missing(claim))
    assert claim.days["state"].unique().to_list() == ["not reviewed"]
    assert claim.exclusions["excluded_min"].to_list() == [1440.0] * 7
    assert claim.exports.is_empty()


def test_a_year_of_days_has_no_label_of_a_part(fleet: Path) -> None:
    year = claim_of(fleet, date(2026, 10, 19), date(2027, 10, 18))
    assert year.totals.days == 365
    assert not any("part of a year" in label for label in year.labels)
    part = claim_of(fleet, date(2026, 10, 19), date(2027, 10, 17))
    assert any("No figure is scaled to a year" in label for label in part.labels)
    for claim in (year, part):
        assert claim.totals.raw is not None
        assert claim.totals.raw.mid == pytest.approx(COUNTED * 10.4)


@pytest.mark.parametrize(
    ("within", "after", "state", "said"),
    [
        (90, "last day", "met", "file it by 2027-02-06"),  # 2026-11-08 and 90 days: 22 + 31 + 31 + 6
        (68, "installation", "met", "file it by 2026-11-08"),  # 2026-09-01 and 68 days: the last day claimed itself
        (67, "installation", "missing", "until 2026-11-07"),
    ],
)
def test_a_claim_that_ends_after_the_last_day_for_filing_is_late(
    fleet: Path, within: int, after: str, state: str, said: str
) -> None:
    path = fleet / "programmes" / "rebate.toml"
    filing = f'[filing]\nwithin_days = {within}\nafter = "{after}"\n\n[install]'
    path.write_text(path.read_text(encoding="utf-8").replace("[install]", filing), encoding="utf-8")
    row = claim_of(fleet).ready.row(by_predicate=pl.col("requirement") == "filed in time", named=True)
    assert row["state"] == state and said in row["sentence"]
    if after == "installation":
        (fleet / "claim_papers.csv").write_text(papers_text(installed_on=""), encoding="utf-8")
        assert states(claim_of(fleet))["filed in time"] == "doubtful"


def test_a_programme_that_sets_no_day_for_filing_is_not_asked_about(fleet: Path) -> None:
    assert "filed in time" not in states(claim_of(fleet))
