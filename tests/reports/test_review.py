"""The written review: what stands where, the same numbers as in the tables, nothing but text from hostile names."""

from __future__ import annotations

import base64
import csv
import dataclasses
import hashlib
import re
from pathlib import Path

import polars as pl
import pytest
from page import Element, read_page, rows_of
from review_builder import made_up_review
from review_pumps import HOSTILE, HOSTILE_ROUTE

from pumpledger.engine import tables
from pumpledger.engine.followup_tables import ACTIONS
from pumpledger.reports.csv_tables import FILLED_IN, csv_bytes
from pumpledger.reports.data import ReviewData
from pumpledger.reports.pages import site_file
from pumpledger.reports.review import summary_lines, write_review


@pytest.fixture(scope="module")
def index(written: Path) -> Element:
    return read_page(written / "index.html")


def site_page(written: Path, site_id: str) -> Element:
    return read_page(written / "sites" / f"{site_id}.html")


def test_files(written: Path) -> None:
    names = sorted(str(path.relative_to(written)) for path in written.rglob("*") if path.is_file())
    assert names == [
        "action_states.csv", "actions.csv", "balance.csv", "corrections.csv", "curves.csv", "daily.csv", "efficiency.csv",
        "efficiency_record.csv", "exclusions.csv", "exports.csv", "findings.csv", "fleet_savings.csv", "index.html",
        "loading.csv", "plan_effects.csv", "proposals.csv", "proposed_periods.csv", "quarantine.csv", "routes.html", "savings.csv", "savings_bands.csv", "site_weeks.csv",
        *(f"sites/QM-00{number}.html" for number in range(1, 7)), "verdicts.csv",
    ]  # fmt: skip
    assert written.name == "2026-W45"
    assert [path.name for path in written.parent.iterdir()] == ["2026-W45"]


def test_same_data_same_bytes(written: Path, tmp_path: Path) -> None:
    again = write_review(tmp_path, made_up_review())
    write_review(tmp_path, made_up_review())  # and over an earlier review
    for path in written.rglob("*"):
        if path.is_file():
            assert (again / path.relative_to(written)).read_bytes() == path.read_bytes(), path.name


def test_order_of_rows_does_not_matter(written: Path, tmp_path: Path, review: ReviewData) -> None:
    frames = {
        field.name: getattr(review, field.name).reverse()
        for field in dataclasses.fields(review)
        if field.name in ("profile", "daily", "savings", "plan_slot", "site", "pump", "air", "site_weeks")
    }
    again = write_review(tmp_path, dataclasses.replace(review, **frames))
    for name in ("index.html", "daily.csv", "savings.csv", "sites/QM-005.html"):
        assert (again / name).read_bytes() == (written / name).read_bytes(), name


def test_failed_write_leaves_the_earlier_review(tmp_path: Path, review: ReviewData) -> None:
    target = write_review(tmp_path, review)
    before = (target / "index.html").read_bytes()
    with pytest.raises(pl.exceptions.ColumnNotFoundError):
        write_review(tmp_path, dataclasses.replace(review, daily=review.daily.drop("coverage")))
    assert (target / "index.html").read_bytes() == before


@pytest.mark.parametrize("page", ["index.html", "sites/QM-001.html", "sites/QM-005.html", "sites/QM-006.html"])
def test_frame_of_a_page(written: Path, page: str) -> None:
    """WCAG 2.2 items named in the comments; numbers from memory."""
    root = read_page(written / page)
    assert root.one("html").attributes["lang"] == "en"  # 3.1.1
    assert root.one("main").attributes["id"] == root.one("a", "skip").attributes["href"][1:]  # 2.4.1
    assert len(root.all("h1")) == 1
    for table in root.all("table"):  # 1.3.1
        assert table.one("caption").text
        assert table.all("th")
        assert all(head.attributes.get("scope") in ("col", "row") for head in table.all("th"))
    for picture in root.all("svg"):  # 1.1.1
        named = picture.attributes.get("role") == "img" and picture.attributes.get("aria-label")
        assert named or picture.attributes.get("aria-hidden") == "true"
    ids = [element.attributes["id"] for element in root.all() if "id" in element.attributes]
    assert len(ids) == len(set(ids))
    for element in root.all():
        for name in ("aria-describedby", "aria-labelledby"):
            assert element.attributes.get(name) is None or element.attributes[name] in ids


@pytest.mark.parametrize("page", ["index.html", "sites/QM-006.html"])
def test_nothing_is_fetched_and_policy_holds(written: Path, page: str) -> None:
    root = read_page(written / page)
    policy = root.one("meta", **{"http-equiv": "Content-Security-Policy"}).attributes["content"]
    assert policy.startswith("default-src 'none'; ")
    script = "".join(child for child in root.one("script").children if isinstance(child, str))
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    assert f"script-src 'sha256-{digest}'" in policy
    assert not [element for element in root.all() if element.tag in ("link", "img", "iframe", "object")]
    assert not [element for element in root.all() if "src" in element.attributes or "onclick" in element.attributes]
    for anchor in root.all("a"):
        assert not re.match(r"[a-z]+:", anchor.attributes["href"]), anchor.attributes["href"]
    assert "://" not in (written / page).read_text()


def test_links_lead_somewhere(written: Path) -> None:
    for path in [written / "index.html", *sorted((written / "sites").iterdir())]:
        root = read_page(path)
        ids = {element.attributes.get("id") for element in root.all()}
        for anchor in root.all("a"):
            href = anchor.attributes["href"]
            assert href[1:] in ids if href.startswith("#") else (path.parent / href).is_file(), href


def test_hostile_names_are_text(written: Path, index: Element) -> None:
    for path in [written / "index.html", written / "sites" / "QM-006.html"]:
        assert "<script>alert" not in path.read_text()
    assert site_page(written, "QM-006").one("h1").text.startswith(HOSTILE)
    assert any(anchor.text == HOSTILE for anchor in index.all("a"))
    assert HOSTILE_ROUTE in index.one("table", id="actions-later").text


def test_site_file_names_stay_inside_the_folder() -> None:
    assert site_file("QM-001") == "QM-001.html"
    odd = site_file("../a b")
    assert re.fullmatch(r"[A-Za-z0-9_-]+\.html", odd)
    assert odd != site_file("../a_b") and odd != site_file("___a_b")


def test_made_up_is_said_and_only_then(written: Path, tmp_path: Path, review: ReviewData) -> None:
    assert read_page(written / "index.html").one("p", "madeup").text.startswith("Made-up data")
    real = write_review(tmp_path, dataclasses.replace(review, made_up=False))
    assert not read_page(real / "index.html").all("p", "madeup")
    assert not read_page(real / "sites" / "QM-001.html").all("p", "madeup")


def test_verdict_adds_up_the_tables(index: Element, review: ReviewData) -> None:
    shown = {figure.one("dt").text: figure.one(css="figure").text for figure in index.one("dl", "figures").all("div")}
    week = review.savings.filter(pl.col("day_local").is_between(review.first_day, review.last_day) & pl.col("counted"))
    assert shown["Reporting"] == "5"
    assert shown["Believable"] == "4"
    assert shown["Need someone"] == "5"  # six actions, one of them a note
    assert shown["Energy this week"] == f"{review.site_weeks['energy_kwh_mid'].sum():.0f}"
    assert shown["Saved at equal volume"] == f"{week['equal_kwh_mid'].sum():.0f}".replace("-", "\N{MINUS SIGN}")
    assert shown["Saved, raw"] == f"{week['raw_kwh_mid'].sum():.0f}".replace("-", "\N{MINUS SIGN}")
    assert shown["Worth"] == f"{week['equal_money_mid'].sum():.2f}".replace("-", "\N{MINUS SIGN}")
    for quantity in ("energy", "equal-volume saving"):
        said = f"Of the half-width of {quantity}, all comes from energy meters."
        assert said in index.one("section", id="verdict").text


def test_best_plan_is_compared_on_the_same_days(index: Element, review: ReviewData) -> None:
    """QM-001 seven days, QM-002 three, QM-003 seven: the four doubtful days of QM-002 must not look like saving."""
    best = dict(review.site_weeks.select("site_id", "best_plan_kwh").iter_rows())
    days = review.daily.filter(pl.col("believed") & pl.col("site_id").is_in(["QM-001", "QM-002", "QM-003"]))
    days = days.filter(pl.col("day_local") >= review.first_day)
    over = days["energy_kwh_mid"].sum() - sum(best[site] / 7 for site in days["site_id"])
    assert days.height == 17
    sentence = index.one("section", id="verdict").text
    assert f"{over:.0f} kWh more than the sites' own simple best plans on the 17 site-days of 3 sites" in sentence


def test_actions_by_budget(index: Element) -> None:
    """Twelve per hundred sites is one of six, and every safety action beside it."""
    now = rows_of(index.one("table", id="actions-now"))
    later = rows_of(index.one("table", id="actions-later"))
    assert [row[0] for row in now] == ["1", "2"]
    assert [row[0] for row in later] == ["3", "4", "5", "6"]
    assert now[0][3].startswith("\u25b2 Safety Check freeze protection") and now[0][4] == "unknown"
    assert now[1][4:] == ["about 353 kWh, 105.78 USD", "very likely, 95 %", "15", "Mon 26 Oct"]
    assert later[3][4] == "2.10 USD"


def test_changes(index: Element) -> None:
    lists = {block.one("h3").text: block.text for block in index.one(css="columns").all("div")}
    assert {name: int(name.rsplit(" ", 1)[1]) for name in lists} == {
        "New 5": 5, "Still open 1": 1, "No longer seen 1": 1, "Not seen, but the data cannot be believed 1": 1,
    }  # fmt: skip
    assert "Heron Close" in lists["No longer seen 1"]
    assert "Reed Court" in lists["Not seen, but the data cannot be believed 1"]
    assert "Alder Yard" in lists["Still open 1"]


def test_first_review_says_so(tmp_path: Path, review: ReviewData) -> None:
    target = write_review(tmp_path, dataclasses.replace(review, previous_actions=None))
    assert "no review of the week before" in read_page(target / "index.html").one("section", id="changes").text


def test_doubt(index: Element, review: ReviewData) -> None:
    section = index.one("section", id="doubt")
    assert (
        "10,080 data rows = 10,062 readings + 12 duplicates + 5 quarantine + 1 rejects: the sum holds" in section.text
    )
    sites, exports, _, refused, failed = section.all("table")
    assert [row[1] for row in rows_of(sites)] == ["only 3 of 7 days can be believed", "no reading this week"]
    assert [row[0] for row in rows_of(exports)] == ["coast_2026-11-09.csv", "@odd.csv"]
    assert rows_of(exports)[1][2:] == ["\N{EN DASH}"] * 5  # set aside: rows were not counted, and that is not zero
    assert sum(int(row[4]) for row in rows_of(refused)) == review.refused_counts["rows"].sum()
    assert [row[0] for row in rows_of(failed)] == ["daily"]
    assert "pumps.csv line 9, column site_id" in section.text


def test_broken_conservation_is_loud(tmp_path: Path, review: ReviewData) -> None:
    target = write_review(tmp_path, dataclasses.replace(review, conservation={**review.conservation, "rejects": 0}))
    assert "THE SUM DOES NOT HOLD" in read_page(target / "index.html").one("section", id="doubt").text


def test_turnover_table(index: Element, review: ReviewData) -> None:
    rows = {row[0]: row for row in rows_of(index.one("section", id="turnover").one("table"))}
    weeks = {row["site_id"]: row for row in review.site_weeks.iter_rows(named=True)}
    heron = weeks["QM-001"]
    assert rows["Heron Close"][2] == f"{heron['turnovers_lo']:.2f} to {heron['turnovers_hi']:.2f}"
    assert rows["Heron Close"][3:] == ["1.00", "at or above", "estimated from speed"]
    assert rows["Sallow Street Baths"][4:] == ["below", "metered"]
    assert rows["Reed Court"][4] == "cannot tell: only 3 of 7 days can be believed"
    assert rows[HOSTILE][2:] == ["unknown", "\N{EN DASH}", "cannot tell: no reading this week", "\N{EN DASH}"]


def test_energy_table(index: Element, review: ReviewData) -> None:
    rows = {row[0]: row for row in rows_of(index.one("section", id="energy").one("table"))}
    assert rows["Heron Close"][3:5] == ["12.6", "1.4"]  # 88.2 kWh over seven counted days; 10.1 kWh a week
    assert rows["Ridge House"][3:] == ["\N{EN DASH}", "\N{EN DASH}", "unknown", "unknown", "7; 0"]
    assert rows[HOSTILE][2] == "unknown"


def test_appendix_lists_every_finding(index: Element, review: ReviewData) -> None:
    rules, findings = index.one("section", id="appendix").all("table")
    assert len(rows_of(findings)) == review.findings.height
    assert sum(row[2] == "cannot tell" for row in rows_of(findings)) == 2
    assert [row[0] for row in rows_of(rules)] == ["A1", "B1", "C6", "C10", "C12", "D8", "D17", "O1", "O3"]
    assert rows_of(rules)[6][3] == "air at most 0 degC; pump off at least 20 min"
    assert rows_of(rules)[7][4:6] == ["1", "1"]
    cautions = index.one("dl", "cautions").text
    for topic in (
        "lock out",
        "Bonding",
        "suction fittings",
        "chlorinator",
        "without flow",
        "licensed",
        "Check freeze protection",
    ):
        assert topic in cautions
    assert "cannot show that pipes are protected" in cautions


def test_site_page_plan(written: Path) -> None:
    heron = site_page(written, "QM-001").one("div", "three")
    assert rows_of(heron.one("table"))[0] == ["1", "2,400", "06:00", "08:00"]
    assert "1,325 rpm, 08:00 to 18:15" in heron.text
    assert len(heron.one("ul", "checklist").all("li")) == 6
    assert "No plan is given: the pump does not run" in site_page(written, "QM-004").one("div", "three").text
    hostile = site_page(written, "QM-006")
    assert "No plan is on record" in hostile.text and "No plan is given: no flow source" in hostile.text


def test_site_page_ledger(written: Path, review: ReviewData) -> None:
    rows = {row[0]: row for row in rows_of(site_page(written, "QM-002").all("table", "bars")[0])}
    assert len(rows) == 14
    missing = rows["Tue 3 Nov not valid"]
    assert missing[1] == "0 %"
    assert missing[7:] == [
        "\N{EN DASH}",
        "\N{EN DASH}",
        "no: the day cannot be believed",
    ]  # no saving for a missing day
    day = review.daily.filter((pl.col("site_id") == "QM-002") & (pl.col("day_local") == review.last_day)).row(
        0, named=True
    )
    assert rows["Sun 8 Nov believed"][5] == f"{day['energy_kwh_lo']:.1f} to {day['energy_kwh_hi']:.1f}"
    bars = site_page(written, "QM-002").all("table", "bars")[0].all("tbody")[0].all("tr")[8].all("svg", "bar")
    assert not [
        bar for bar in bars if bar.all("path", "middle")
    ]  # what was seen of such a day is not its likeliest value
    unknown = rows_of(site_page(written, "QM-006").all("table", "bars")[0])
    assert {row[5] for row in unknown} == {"unknown"}


def test_two_pumps_are_one_site(written: Path, review: ReviewData) -> None:
    rows = {row[0]: row for row in rows_of(site_page(written, "QM-005").all("table", "bars")[0])}
    both = review.daily.filter((pl.col("site_id") == "QM-005") & (pl.col("day_local") == review.last_day))
    assert both.height == 2
    low, high = both["turnovers_lo"].sum(), both["turnovers_hi"].sum()
    assert rows["Sun 8 Nov believed"][3].startswith(f"{low:.2f} to {high:.2f}")


def test_explained_findings_stand_under_their_cause(written: Path) -> None:
    article = site_page(written, "QM-003").one("article", "finding")
    assert article.one("div", "under").one("h3").text == "Costs more than it has to"
    cannot = site_page(written, "QM-002").one("ul", "plain")
    assert cannot.text.startswith("O1 Filters too little : Cannot tell")


def test_cautions_of_findings_are_printed(written: Path) -> None:
    assert "lock out before opening" in site_page(written, "QM-004").one("p", "caution").text


def test_us_units(tmp_path: Path, review: ReviewData) -> None:
    target = write_review(tmp_path, dataclasses.replace(review, units="us"))
    facts = site_page(target, "QM-001").one("dl", "facts").text
    assert f"{68 / 3.785411784e-3:,.0f} gal" in facts  # 1 US gal = 3.785411784 L, facts 4.2
    assert f"{14 / 0.2271247:.1f} gpm" in facts


def test_csv_is_safe_and_exact(written: Path, review: ReviewData) -> None:
    with (written / "actions.csv").open(encoding="utf-8", newline="") as file:
        actions = list(csv.DictReader(file))
    assert next(row["route"] for row in actions if row["site_id"] == "QM-006") == f"'{HOSTILE_ROUTE}"
    assert list(actions[0]) == [*ACTIONS.columns, *FILLED_IN]
    assert actions[0]["first_day"] == "2026-11-03" and actions[0]["benefit_kwh_week"] == ""
    with (written / "daily.csv").open(encoding="utf-8", newline="") as file:
        daily = list(csv.DictReader(file))
    assert list(daily[0])[:5] == ["site_id", "pump_id", "day_local", "coverage", "volume_m3_lo"]
    assert set(daily[0]) == set(tables.DAILY.columns)
    assert [float(row["energy_kwh_mid"]) for row in daily] == pytest.approx(
        review.daily.sort("site_id", "pump_id", "day_local")["energy_kwh_mid"].to_list(), abs=1e-6
    )
    with (written / "savings.csv").open(encoding="utf-8", newline="") as file:
        savings = list(csv.DictReader(file))
    low = next(row for row in savings if row["site_id"] == "QM-003" and row["day_local"] == "2026-11-08")
    assert float(low["raw_kwh_mid"]) < 0 and low["raw_kwh_mid"].startswith("-")  # a negative number stays a number


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@x", "\tx", "\rx"])
def test_formulas_are_quoted(text: str) -> None:
    """Characters that spreadsheets take as the start of a formula: common advice, no source."""
    out = csv_bytes(pl.DataFrame({"a": [text, "x=1", None], "n": [-1.5, 2.0, None]})).decode()
    cells = list(csv.reader(out.splitlines(keepends=True)))
    assert cells[1] == [f"'{text}", "-1.5"]
    assert cells[2:] == [["x=1", "2.0"], ["", ""]]


def test_summary_for_the_terminal(review: ReviewData) -> None:
    lines = summary_lines(review)
    assert len(lines) == 10
    assert lines[0].startswith("Made-up data.")
    assert lines[1] == "5 of 6 sites reported; 4 can be believed."
    assert lines[5].startswith("1. QM-005 (safety): Check freeze protection")
    hostile = review.actions.with_columns(pl.lit("\x1b[31mred\x07").alias("action"))
    shown = summary_lines(dataclasses.replace(review, actions=hostile))[5]
    assert shown == "1. QM-005 (safety): [31mred"


def test_an_empty_week_knows_nothing(tmp_path: Path, review: ReviewData) -> None:
    """A register and nothing else: every page is there, and no number is."""
    nothing = ReviewData(
        fleet_name="Empty", made_up=True, week="2026-W45", first_day=review.first_day, last_day=review.last_day,
        units="metric", currency="USD", site=review.site, pump=review.pump, plan=review.plan,
    )  # fmt: skip
    target = write_review(tmp_path, nothing)
    index = read_page(target / "index.html")
    shown = {figure.one("dt").text: figure.one(css="figure").text for figure in index.one("dl", "figures").all("div")}
    assert shown["Energy this week"] == "unknown" and shown["Saved at equal volume"] == "cannot tell"
    carpets = index.all("svg", "carpet")
    assert len(carpets) == 7
    assert all(len(carpet.all("rect", "unknown")) == 7 for carpet in carpets)
    assert "unknown all day" in site_page(target, "QM-001").text
    assert len(summary_lines(nothing)) == 5
