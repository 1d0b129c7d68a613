"""The picture of a finding: power at one speed over the weeks, air over running, days with the plan. Places are worked
out from the numbers by proportion; the reader is the standard library's XML parser."""

from __future__ import annotations

import dataclasses
from datetime import date, datetime, timedelta
from pathlib import Path
from xml.etree import ElementTree

import polars as pl
import pytest
from page import read_page

from pumpledger.diagnosis.rules import RULES
from pumpledger.engine.account_tables import LEVELS
from pumpledger.reports.carpets import Carpets
from pumpledger.reports.data import RULE_NOTES, ReviewData
from pumpledger.reports.finding_pictures import FindingPictures
from pumpledger.reports.review import write_review
from pumpledger.reports.svg_air import air_picture
from pumpledger.reports.svg_chart import BOTTOM, HEIGHT, LEFT, RIGHT, TOP, WIDTH, ticks
from pumpledger.reports.svg_levels import level_picture

MONDAY = date(2026, 11, 2)
DAYS = [MONDAY + timedelta(days=n) for n in range(14)]


def parts(svg: str, css: str) -> list[ElementTree.Element]:
    root = ElementTree.fromstring(svg)
    assert root[0].text == root.get("aria-label")
    return [item for item in root.iter() if css in (item.get("class") or "").split()]


def test_power_over_the_weeks_shows_the_fall_and_shades_the_days() -> None:
    """300 W for ten days, then 240: the last point lies a fifth lower; shading covers days 11 to 14 of 14."""
    days = [(day, 300.0 if n < 10 else 240.0) for n, day in enumerate(DAYS)]
    svg = level_picture("P-1", [(1500.0, days)], (DAYS[10], DAYS[13]))
    points = parts(svg, "read")
    base, top = HEIGHT - BOTTOM, TOP
    scale = (base - top) / (1.15 * 300)
    assert len(points) == 14
    assert float(points[0].get("cy")) == pytest.approx(base - 300 * scale, abs=0.1)
    assert float(points[-1].get("cy")) == pytest.approx(base - 240 * scale, abs=0.1)
    (shade,) = parts(svg, "evidence")
    wide = WIDTH - LEFT - RIGHT
    assert float(shade.get("x")) == pytest.approx(LEFT + wide * 10 / 14, abs=0.1)
    assert float(shade.get("width")) == pytest.approx(wide * 4 / 14, abs=0.1)
    assert "at 1,500 rpm 300 W on Mon 2 Nov and 240 W on Sun 15 Nov, between 240 and 300 W" in svg.replace("\xa0", " ")


def test_air_below_zero_lies_below_the_freezing_line_and_hours_add_up() -> None:
    air = [(float(hour), -4.0 if hour < 6 else 6.0) for hour in range(0, 25)]
    states = [(0.0, 7.0, "off"), (7.0, 15.5, "run"), (15.5, 17.0, "unknown"), (17.0, 24.0, "off")]
    svg = air_picture("P-1", [MONDAY], air, states, "°C", 0.0)
    (freezing,) = parts(svg, "requirement")
    zero = float(freezing.get("d").split("L")[1].split()[1])
    line = [float(point.split()[1]) for point in parts(svg, "estimate")[0].get("d")[1:].split("L")]
    assert line[0] > zero > line[-1], "an SVG counts downward"
    assert (line[0] - zero) / (zero - line[-1]) == pytest.approx(4 / 6, abs=0.02)
    (ran,) = parts(svg, "s3")
    assert float(ran.get("width")) == pytest.approx((WIDTH - LEFT - RIGHT) * 8.5 / 24, abs=0.1)
    assert "air down to −4.0 °C; it ran 8.5 h of 24 h, and 1.5 h are unknown" in svg.replace("\xa0", " ")


def test_no_air_on_record_is_said() -> None:
    svg = air_picture("P-1", [MONDAY], [], [(0.0, 24.0, "run")], "°C", 0.0)
    assert "air not on record" in svg and not parts(svg, "estimate")


def test_ticks_below_zero() -> None:
    assert ticks(12.0, -7.0) == [-5.0, 0.0, 5.0, 10.0]
    assert ticks(10.0) == [0.0, 2.0, 4.0, 6.0, 8.0, 10.0]


@pytest.fixture
def told(review: ReviewData) -> ReviewData:
    """The made-up review with the registry's own notes and eight days of levels of one pump."""
    notes = pl.DataFrame([(r.id, r.others, r.picture) for r in RULES], schema=RULE_NOTES, orient="row")
    pump = review.pump["pump_id"][0]
    first = review.last_day - timedelta(days=7)
    rows = [(pump, first + timedelta(days=n), 1200, 150.0 - n, 60.0) for n in range(8)]
    return dataclasses.replace(review, rule_notes=notes, levels=pl.DataFrame(rows, schema=LEVELS.schema, orient="row"))


def test_each_finding_of_a_page_has_its_picture_and_its_rivals(told: ReviewData, tmp_path: Path) -> None:
    folder = write_review(tmp_path, told)
    row = told.findings.filter(pl.col("rule_id") == "D17", pl.col("verdict") == "found").row(0, named=True)
    page = read_page(folder / "sites" / f"{row['site_id']}.html")
    article = next(item for item in page.all("article", "finding") if row["name"] in item.text)
    assert "Could also be: A weather station that stands colder than the pad" in article.text
    labels = [svg.attributes["aria-label"] or "" for svg in article.all("svg") if svg.attributes.get("role") == "img"]
    assert any("air down to" in label or "air not on record" in label for label in labels)


def test_kinds_of_pictures(told: ReviewData) -> None:
    pictures = FindingPictures(told, Carpets(told))
    site = told.site.row(0, named=True)
    pump = told.pump["pump_id"][0]
    finding = {"rule_id": "C6", "component": pump, "first_day": told.first_day, "last_day": told.last_day}
    (days,) = pictures.of_finding(site, [pump, "P-other"], finding, [])
    assert "Days of evidence" in days
    power = FindingPictures(
        dataclasses.replace(told, rule_notes=told.rule_notes.with_columns(picture=pl.lit("power"))), Carpets(told)
    )
    (levels,) = power.of_finding(site, [pump], finding, [])
    assert "at 1,200 rpm 150 W" in levels.replace("\xa0", " ")
    assert power.of_finding(site, [pump], {**finding, "component": "P-other"}, []) == []
    assert pictures.of_finding(site, [pump], {**finding, "rule_id": "B2"}, []) == []
    assert isinstance(told.air["time_utc"][0], datetime)
