"""The keying card, and a pump's proposal on its site's page and the route sheets: what they must say, and must not.

All numbers are invented. The cautions are common practice, no source."""

from __future__ import annotations

import os
import re
import subprocess
import xml.etree.ElementTree as ET
from dataclasses import replace
from datetime import date
from pathlib import Path

import polars as pl
import pytest
from page import Element, read_page, rows_of
from review_builder import made_up_review
from review_pumps import HOSTILE

from pumpledger.engine.proposal_tables import PLAN_EFFECTS, PROPOSALS, PROPOSED_PERIODS
from pumpledger.reports.data import FRONTIER, QUARTER_PRICE, ReviewData
from pumpledger.reports.keying_card import KeyingCards
from pumpledger.reports.pages import site_file
from pumpledger.reports.proposal_words import effect_words, proof_words, saving_words, state_words
from pumpledger.reports.review import write_review
from pumpledger.reports.svg_frontier import frontier_picture
from pumpledger.reports.svg_tariff_day import tariff_day_picture

CHROMIUM = Path("/usr/bin/chromium")
ROW = dict.fromkeys(PROPOSALS.columns) | {
    "site_id": "QM-001",
    "pump_id": "P-1",
    "state": "proposed",
    "reason": "",
    "found": "Filters too little; Runs in peak hours",
    "priced": True,
    "cost_day": 1.25,
    "bound_day": 1.24,
    "gap": 0.008,
    "energy_kwh_lo": 4.0,
    "energy_kwh_mid": 4.4,
    "energy_kwh_hi": 4.8,
    "turnovers_lo": 1.0,
    "turnovers_mid": 1.1,
    "turnovers_hi": 1.2,
    "saving_kwh_lo": 2.0,
    "saving_kwh_mid": 2.5,
    "saving_kwh_hi": 3.0,
    "saving_money_lo": 0.5,
    "saving_money_mid": 0.75,
    "saving_money_hi": 1.0,
    "next_m3_cost": 0.01,
    "binding": "turnover",
    "cured": "turnover",
    "notes": "suction rating not recorded: no speed above the plan in force",
}
PERIODS = [("QM-001", "P-1", 1, 1450, 1260, 480), ("QM-001", "P-1", 2, 2400, 600, 720)]
PRICES = [0.2] * 64 + [0.5] * 20 + [0.2] * 12
EFFECT = dict.fromkeys(PLAN_EFFECTS.columns) | {
    "site_id": "QM-001",
    "pump_id": "P-1",
    "valid_from": date(2026, 10, 27),
    "days": 9,
    "expected_kwh_lo": 4.0,
    "expected_kwh_mid": 4.4,
    "expected_kwh_hi": 4.8,
    "realised_kwh_lo": 5.0,
    "realised_kwh_mid": 5.2,
    "realised_kwh_hi": 5.4,
    "expected_turnovers_mid": 1.1,
    "realised_turnovers_mid": 1.1,
    "outcome": "uses more",
}


def review(*rows: dict, periods: list = PERIODS, effects: tuple = (), **fields: object) -> ReviewData:
    made = made_up_review()
    tariff = made.site.filter(pl.col("site_id") == "QM-001")["tariff"][0] or "T"
    site = made.site.with_columns(tariff=pl.lit(tariff))
    prices = [(tariff, quarter, price) for quarter, price in enumerate(PRICES)]
    return replace(
        made,
        site=site,
        proposals=PROPOSALS.conform(pl.DataFrame(list(rows), schema=PROPOSALS.schema)),
        proposed_periods=PROPOSED_PERIODS.conform(pl.DataFrame(periods, schema=PROPOSED_PERIODS.schema, orient="row")),
        plan_effects=PLAN_EFFECTS.conform(pl.DataFrame(list(effects), schema=PLAN_EFFECTS.schema)),
        quarter_price=pl.DataFrame(prices, schema=QUARTER_PRICE, orient="row"),
        **fields,
    )


def page(text: str, tmp_path: Path) -> Element:
    path = tmp_path / "page.html"
    path.write_text(text, encoding="utf-8")
    return read_page(path)


def card(tmp_path: Path, data: ReviewData | None = None) -> Element:
    ((_, html),) = KeyingCards(data or review(ROW)).pages()
    return page(html, tmp_path)


def test_the_card_says_what_to_key_in_and_what_was_there(tmp_path: Path) -> None:
    sheet = card(tmp_path)
    steps, before = sheet.all("table", "steps")
    assert rows_of(steps) == [["1", "1,450", "21:00", "08:00"], ["2", "2,400", "10:00", "12:00"]]
    assert [row[1] for row in rows_of(before)] == ["2,400", "1,200", "1,750"]


def test_the_pad_is_checked_before_anything_is_keyed_in(tmp_path: Path) -> None:
    text = card(tmp_path).text
    assert text.index("Check at the pad first") < text.index("Key in")
    assert "lock out and prove dead" in text and "Local codes and licensed practice decide" in text
    assert "safe from frost" in text and "nothing here says" in text


def test_the_card_gives_cost_proof_saving_and_reasons(tmp_path: Path) -> None:
    text = card(tmp_path).text.replace("\N{NO-BREAK SPACE}", " ")
    for words in (
        "Cost 1.25 USD a day.",
        "costs less than 1.24 USD a day, so that at most 0.8 % of its cost could still be saved",
        "it saves 0.75 USD (0.50 to 1.00) and saves 2.50 kWh (2.00 to 3.00) a day",
        "Found here: Filters too little, Runs in peak hours.",
        "The plan on record breaks, and this one keeps: turnover.",
        "Left as it is: suction rating not recorded: no speed above the plan in force.",
        "A tenth of a turnover more would cost about 0.07 USD a day.",  # 0.01 x 68 m3 / 10
        "at least 1.00 turnovers a day by the low flow estimate",
    ):
        assert words in text, words


def test_the_card_has_room_to_write_and_says_how_to_record(tmp_path: Path) -> None:
    sheet = card(tmp_path)
    assert len(rows_of(sheet.one("table", "to-fill"))) == len(PERIODS)
    assert "Done by" in sheet.text and "pumpledger propose FLEET --site QM-001 --adopt YYYY-MM-DD" in sheet.text
    rows = [part.text for part in sheet.all("code") if part.text.startswith("P-1,")]
    assert rows == ["P-1,YYYY-MM-DD,1,1450,21:00,08:00", "P-1,YYYY-MM-DD,2,2400,10:00,12:00"]


@pytest.mark.parametrize(("place", "words"), [(None, "no jurisdiction on record"), ("Utah", "those of Utah")])
def test_the_card_says_whose_rules_were_looked_at(place: str | None, words: str, tmp_path: Path) -> None:
    data = review(ROW)
    site = data.site.with_columns(jurisdiction=pl.lit(place, dtype=pl.String))
    assert words in card(tmp_path, replace(data, site=site)).text


@pytest.mark.parametrize(("least", "words"), [(1800.0, "never below 1,800"), (None, "not recorded: find it")])
def test_a_load_keeps_its_least_speed_or_is_said_to_have_none(least: float | None, words: str, tmp_path: Path) -> None:
    data = review(ROW)
    pump = data.pump.with_columns(
        aux_load=pl.lit("heater"), aux_min_speed_rpm=pl.lit(least, dtype=pl.Float64), freeze_setpoint_c=pl.lit(2.0),
        freeze_speed_rpm=pl.lit(1200.0), priming_speed_rpm=pl.lit(2600.0), priming_min=pl.lit(3.0),
    )  # fmt: skip
    text = card(tmp_path, replace(data, pump=pump)).text
    assert f"heater: {words}" in text
    assert "2,600" in text and "for 3 min" in text and "leave it on" in text


@pytest.mark.skipif(not CHROMIUM.exists() and os.environ.get("CI") != "true", reason="wants Debian's chromium")
def test_the_card_prints_on_one_page(tmp_path: Path) -> None:
    """Three periods, three before them, three notes, a cheaper plan: as much as a card may hold."""
    cheaper = ", then ".join(["2425 rpm from 10:00 to 12:15"] * 3) + ", 0.85% cheaper"
    more = ROW | {
        "notes": "; ".join([ROW["notes"]] * 3),
        "cured": "turnover; quiet hours; filter rating",
        "cheaper": cheaper,
    }
    data = review(more, periods=[*PERIODS, ("QM-001", "P-1", 3, 1475, 720, 1080)])
    (tmp_path / "card.html").write_text(next(KeyingCards(data).pages())[1], encoding="utf-8")
    flags = (
        "--headless",
        "--no-sandbox",
        "--disable-gpu",
        "--no-pdf-header-footer",
        f"--user-data-dir={tmp_path}/profile",
    )
    out = tmp_path / "card.pdf"
    subprocess.run(
        [str(CHROMIUM), *flags, f"--print-to-pdf={out}", f"file://{tmp_path}/card.html"],
        check=True, capture_output=True, timeout=120,
    )  # fmt: skip
    assert len(re.findall(rb"/Type\s*/Page[^s]", out.read_bytes())) == 1


def test_names_from_the_register_are_only_text(tmp_path: Path) -> None:
    data = review(ROW)
    site = data.site.with_columns(site_name=pl.lit(HOSTILE))
    html = next(KeyingCards(replace(data, site=site)).pages())[1]
    assert HOSTILE not in html and HOSTILE in page(html, tmp_path).text


def test_there_is_a_card_only_where_something_is_proposed() -> None:
    kept = ROW | {"state": "kept", "reason": "the plan in force is within 3% of the best: leave it as it is"}
    assert list(KeyingCards(review(kept, periods=[])).pages()) == []
    told = KeyingCards(review(kept, periods=[])).of_pump("P-1")
    assert told["state"] == "The plan in force is within 3% of the best: leave it as it is."
    withheld = dict.fromkeys(PROPOSALS.columns) | {"state": "withheld", "reason": "x.", "found": "", "notes": ""}
    assert state_words(withheld) == "No plan is proposed: x."
    assert KeyingCards(review()).of_pump("P-1") is None


def test_words_of_the_proof_never_promise_more_than_it() -> None:
    assert proof_words(ROW | {"gap": 0.0}, "USD") == "Proven: no plan that keeps to all of this costs less."
    assert "at most 0.1\N{NO-BREAK SPACE}%" in proof_words(ROW | {"gap": 0.00001}, "USD")
    assert "at most 0.9\N{NO-BREAK SPACE}%" in proof_words(ROW | {"gap": 0.0081}, "USD")


def test_a_plan_that_costs_more_says_so() -> None:
    dearer = ROW | {"saving_money_lo": -1.0, "saving_money_mid": -0.75, "saving_money_hi": -0.5}
    assert "costs 0.75\N{NO-BREAK SPACE}USD more (0.50 to 1.00)" in saving_words(dearer, "USD")
    assert "cannot be told" in saving_words(ROW | {"saving_kwh_mid": None}, "USD")


def test_the_review_links_card_site_page_and_route_sheet(tmp_path: Path) -> None:
    folder = write_review(tmp_path, review(ROW, effects=(EFFECT,)))
    name = site_file("P-1")
    assert (folder / "cards" / name).exists()
    site = read_page(folder / "sites" / "QM-001.html")
    assert [link for link in site.all("a") if link.attributes["href"] == f"../cards/{name}"]
    text = site.text.replace("\N{NO-BREAK SPACE}", " ")
    assert "1,450 rpm, 21:00 to 08:00" in text
    assert "Expected 4.0 to 4.8 kWh and 1.10 turnovers a day; over 9 believed days 5.0 to 5.4 kWh" in text
    assert "Uses more." in text
    assert f"cards/{name}" in (folder / "routes.html").read_text(encoding="utf-8")
    assert (folder / "proposals.csv").read_text().count("\n") == 2
    again = write_review(tmp_path / "again", review(ROW, effects=(EFFECT,)))
    assert (again / "cards" / name).read_bytes() == (folder / "cards" / name).read_bytes()


def test_too_few_days_tell_nothing() -> None:
    words = effect_words(EFFECT | {"days": 1, "outcome": "too few days"})
    assert "1 believed day since then: too few to tell" in words and "5.0" not in words


def test_what_if_shows_each_pump_and_what_was_asked(tmp_path: Path) -> None:
    points = [("P-1", False, 1.0, 1.25, 1.24), ("P-1", False, 1.5, 2.5, 2.45), ("P-1", True, 0.9, 2.0, 2.0)]
    frame = pl.DataFrame(points, schema=FRONTIER, orient="row")
    sheet = page(KeyingCards(review(ROW, frontier=frame)).what_if("1.5 turnovers a day"), tmp_path)
    assert "1.5 turnovers a day" in sheet.text and len(sheet.all("svg", "chart")) == 2
    table = next(t for t in sheet.all("table") if "Cheapest cost" in t.text)
    assert rows_of(table) == [["1.00", "1.25", "1.24"], ["1.50", "2.50", "2.45"]]


def test_the_day_over_the_tariff_draws_prices_to_scale() -> None:
    """Two prices, 0.2 and 0.5: three bands whose heights stand as 2 to 5, over 16, 5 and 3 of 24 hours."""
    svg = ET.fromstring(tariff_day_picture(PRICES, [(480, 1200, 1500.0)], [(1260, 480, 1450.0)], "USD"))
    bands = [part for part in svg.iter("rect") if part.get("class") == "range"]
    heights, widths = ([float(b.get(name)) for b in bands] for name in ("height", "width"))
    assert heights[0] / heights[1] == pytest.approx(0.4, abs=0.01) and heights[2] == heights[0]
    assert [w / sum(widths) for w in widths] == pytest.approx([16 / 24, 5 / 24, 3 / 24], abs=0.001)
    title = svg.find("title").text
    assert "0.500 16:00 to 21:00" in title and "21:00 to 08:00" in title and "08:00 to 20:00" in title


def test_the_proposed_line_is_off_where_the_plan_is_off() -> None:
    svg = ET.fromstring(tariff_day_picture([], [], [(1260, 480, 1450.0)], "USD"))
    (line,) = [part for part in svg.iter("path") if part.get("class") == "estimate keyed"]
    ends = [tuple(map(float, pair.split())) for pair in line.get("d")[1:].split("L")]
    assert (
        ends[0][1] == ends[-1][1] < ends[len(ends) // 2][1]
    )  # runs at both midnights, off at noon (y grows downwards)
    assert "no tariff on record" in svg.find("title").text


def test_the_frontier_marks_the_requirement_and_the_plan_on_record() -> None:
    text = frontier_picture([(1.0, 1.25, 1.24), (1.5, 2.5, 2.45)], 1.2, (0.9, 2.0, 2.0), "USD")
    svg = ET.fromstring(text)
    circles = [float(part.get("cx")) for part in svg.iter("circle")]
    (limit,) = [part for part in svg.iter("path") if part.get("class") == "limit"]
    at = float(limit.get("d")[1:].split()[0])
    assert circles[0] < at < circles[1] and (at - circles[0]) / (circles[1] - circles[0]) == pytest.approx(
        0.4, abs=0.01
    )
    assert len([part for part in svg.iter("rect") if part.get("class") == "seen"]) == 1
    assert "plan on record 0.90 turnovers at 2.00" in svg.find("title").text
