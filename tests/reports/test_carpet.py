"""The speed carpet: drawn minutes are the table's minutes, unknown is hatched, a long day has a hundred quarters."""

from __future__ import annotations

import random
import re
from datetime import date
from html.parser import HTMLParser
from pathlib import Path

import polars as pl
import pytest
from page import Element, read_page
from review_pumps import DAYS, LONG_DAY, ZONE, stretches

from pumpledger.engine import tables
from pumpledger.reports.data import ReviewData
from pumpledger.reports.runs import plan_runs, speed_runs
from pumpledger.reports.svg_bars import interval_bar, scale_top
from pumpledger.reports.svg_carpet import FLEET, FULL_SCALE_RPM, SITE, DayRow, band, carpet, day_clock
from pumpledger.reports.wording import (
    NO_BREAK,
    benefit,
    day_in_words,
    day_range,
    days_in_words,
    hours,
    kwh,
    likelihood,
    number,
    percent,
    span,
)  # fmt: skip

DAY = date(2026, 11, 3)


class _Rects(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.rects: list[dict[str, str]] = []
        self.paths: list[dict[str, str]] = []

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag == "rect":
            self.rects.append(dict(attrs))
        if tag == "path":
            self.paths.append(dict(attrs))


def drawn(svg: str) -> _Rects:
    reader = _Rects()
    reader.feed(svg)
    return reader


def minutes(reader: _Rects, css: str, scale: float) -> float:
    return sum(float(rect["width"]) for rect in reader.rects if re.fullmatch(css, rect["class"])) / scale


@pytest.mark.parametrize("pump", ["P-1", "P-2", "P-3", "P-4", "P-5a", "P-6"])
def test_drawn_minutes_are_those_of_the_profile(pump: str, review: ReviewData) -> None:
    table = review.profile.filter(pl.col("pump_id") == pump)
    runs = speed_runs(table)
    rows = [DayRow(day=day, zone=ZONE, runs=runs[(pump, day)]) for day in DAYS]
    reader = drawn(carpet(rows, SITE, "x"))
    assert minutes(reader, "s[1-5]", SITE.scale) == pytest.approx(table["run_min"].sum(), abs=0.5)
    assert minutes(reader, "unknown", SITE.scale) == pytest.approx(table["unknown_min"].sum(), abs=0.5)


def test_runs_of_random_profiles_keep_every_minute() -> None:
    """Any split of a quarter among running, off and unknown: nothing is lost, nothing overlaps."""
    chance = random.Random(20261101)
    rows = []
    for quarter in range(96):
        run, off = sorted(chance.choice([0.0, 5.0, 7.5, 15.0]) for _ in range(2))
        off -= run
        observed = run + off
        rows.append({
            "site_id": "s", "pump_id": "p", "day_local": DAY, "quarter": quarter, "clock_local": "",
            "run_min": run, "off_min": off, "unknown_min": 15 - observed, "aux_min": None, "planned_speed_rpm": None,
            "energy_kwh": None,
            "speed_rpm": 1200.0 * run / observed if observed else None,
        })  # fmt: skip
    table = tables.PROFILE.conform(pl.DataFrame(rows, infer_schema_length=None))
    runs = speed_runs(table)[("p", DAY)]
    at = 0.0
    for start, duration, _, _ in runs:
        assert start == pytest.approx(at, abs=1e-6)
        at = start + duration
    assert at == pytest.approx(1440)
    for kind in ("run", "off", "unknown"):
        assert sum(run[1] for run in runs if run[2] == kind) == pytest.approx(table[f"{kind}_min"].sum())
    speeds = [run[3] for run in runs if run[2] == "run"]
    assert speeds == pytest.approx([1200.0] * len(speeds))


def test_a_part_touches_the_neighbour_it_continues(review: ReviewData) -> None:
    """P-2 on 7 November: the gap ends at 15:07, inside a quarter; one run before, one after, no splinter."""
    runs = speed_runs(review.profile.filter(pl.col("pump_id") == "P-2"))[("P-2", date(2026, 11, 7))]
    assert [(start, kind) for start, _, kind, _ in runs] == [
        (0, "off"), (480, "run"), (720, "unknown"), (907, "run"), (1200, "off"),
    ]  # fmt: skip


def test_unknown_speed_is_not_zero_speed() -> None:
    row = {name: None for name in tables.PROFILE.columns} | {
        "site_id": "s", "pump_id": "p", "day_local": DAY, "quarter": 0,
        "run_min": 15.0, "off_min": 0.0, "unknown_min": 0.0,
    }  # fmt: skip
    runs = speed_runs(pl.DataFrame([row], schema=tables.PROFILE.schema))[("p", DAY)]
    assert runs == [(0.0, 15.0, "run", None)]
    reader = drawn(carpet([DayRow(day=DAY, zone=ZONE, runs=runs)], FLEET, "x"))
    assert minutes(reader, "unknown", FLEET.scale) == pytest.approx(1440)  # the quarter, and the rest nobody spoke of


def test_unknown_is_hatched_and_never_a_tint(written: Path) -> None:
    root = read_page(written / "sites" / "QM-006.html")
    picture = root.one("svg", "carpet")
    assert len(picture.all("rect", "unknown")) == 14
    assert not [rect for rect in picture.all("rect") if re.fullmatch("s[1-5]", rect.attributes["class"])]
    pattern = root.one("pattern", id="hatch")
    assert pattern.attributes["patterntransform"] == "rotate(45)"
    assert ".unknown { fill: url(#hatch)" in root.one("style").text


def test_rows_nobody_spoke_of_are_unknown() -> None:
    reader = drawn(carpet([DayRow(day=LONG_DAY, zone=ZONE)], SITE, "x"))
    assert minutes(reader, "unknown", SITE.scale) == pytest.approx(1500)


def test_days_of_23_and_25_hours() -> None:
    """tz database, facts check 7a: 2026-03-08 has 23 h and 2026-11-01 25 h in Los Angeles."""
    assert day_clock(ZONE, date(2026, 3, 8)) == (1380, (0, 300, 660, 1020, 1380), None)
    assert day_clock(ZONE, LONG_DAY) == (1500, (0, 420, 780, 1140, 1500), 120)
    assert day_clock("America/Phoenix", LONG_DAY) == (1440, (0, 360, 720, 1080, 1440), None)  # 7b
    assert day_clock("Australia/Sydney", date(2026, 4, 5))[::2] == (
        1500,
        180,
    )  # 7c: 02:00 comes again after three hours
    assert day_clock("Australia/Sydney", date(2026, 10, 4))[0] == 1380  # 7c


def test_long_day_is_drawn_longer(review: ReviewData) -> None:
    runs = speed_runs(review.profile.filter(pl.col("pump_id") == "P-3"))
    assert sum(run[1] for run in runs[("P-3", LONG_DAY)]) == 1500
    plain, long = (
        drawn(carpet([DayRow(day=day, zone=ZONE, runs=runs[("P-3", day)])], SITE, "x")) for day in (DAY, LONG_DAY)
    )
    assert minutes(plain, "s5", SITE.scale) == pytest.approx(1440, abs=0.1)
    assert minutes(long, "s5", SITE.scale) == pytest.approx(1500, abs=0.1)
    assert [path for path in long.paths if path["class"] == "twice"]
    assert not [path for path in plain.paths if path["class"] == "twice"]


@pytest.mark.parametrize("speed", [600, 1200, 1799, 1800, 2900, 3450])
def test_height_tells_the_speed(speed: float) -> None:
    """The level can be read without the tint."""
    runs = [(0.0, 1440.0, "run", float(speed))]
    rects = drawn(carpet([DayRow(day=DAY, zone=ZONE, runs=runs)], SITE, "x")).rects
    assert len(rects) == 1
    assert float(rects[0]["height"]) / SITE.row == pytest.approx(speed / FULL_SCALE_RPM, abs=0.001)
    assert rects[0]["class"] == f"s{band(speed)}"


def test_bands_rise_with_speed() -> None:
    assert [band(speed) for speed in (600, 1199, 1200, 1800, 2400, 3000, 3450)] == [1, 1, 2, 3, 4, 5, 5]


def test_speed_is_printed_on_the_site_page(written: Path) -> None:
    texts = [
        text.text for text in read_page(written / "sites" / "QM-005.html").all("svg", "carpet")[0].all("text", "rpm")
    ]
    assert texts.count("1,300") == 14
    assert "3,450" in texts and "1,700" in texts


def test_override_frost_and_aux_are_marked(written: Path) -> None:
    first = read_page(written / "sites" / "QM-005.html").all("svg", "carpet")[0]
    outline = first.one("rect", "override")
    assert float(outline.attributes["width"]) / SITE.scale == pytest.approx(1207 - 780, abs=0.1)
    assert len(first.all("rect", "offplan")) == 1
    assert len(first.all("rect", "frost")) == 2
    assert [text.text for text in first.all("text", "cold")] == ["\N{MINUS SIGN}1.5 °C"] * 2
    heron = read_page(written / "sites" / "QM-001.html").one("svg", "carpet")
    assert len(heron.all("path", "aux")) == 14


def test_plan_runs_tell_no_plan_from_off(review: ReviewData) -> None:
    runs = plan_runs(review.plan_slot)
    assert runs[("P-2", DAY)] == [(0, 480, "off", 0), (480, 720, "run", 1500), (1200, 240, "off", 0)]
    assert runs[("P-2", LONG_DAY)][1] == (540, 720, "run", 1500)  # 08:00 lies nine hours after midnight
    assert ("P-6", DAY) not in runs


def twin(root: Element, picture: Element) -> str:
    return root.one("div", id=picture.attributes["aria-describedby"]).text


def test_every_carpet_has_a_text_twin(written: Path) -> None:
    root = read_page(written / "index.html")
    twins = {
        picture.attributes["aria-label"].split(",")[1].split()[1]: twin(root, picture)
        for picture in root.all("svg", "carpet")
    }
    assert len(twins) == 7
    assert twins["P-3"] == "Mon 2 Nov to Sun 8 Nov unexplained run 00:00 to 24:00 at 3,450 rpm."
    assert "Tue 3 Nov to Wed 4 Nov unknown all day." in twins["P-2"]
    assert "Thu 5 Nov unknown 02:05 to 05:05; ran 08:00 to 20:00 at 1,500 rpm; otherwise off." in twins["P-2"]
    assert "override 13:00 to 20:07 at 3,450 rpm" in twins["P-5a"]
    assert "Thu 5 Nov to Sat 7 Nov off all day." in twins["P-4"]
    assert twins["P-6"] == "Mon 2 Nov to Sun 8 Nov unknown all day."


def test_text_twin_of_the_long_day(written: Path) -> None:
    words = read_page(written / "sites" / "QM-001.html").text
    assert (
        "Sun 1 Nov ran 06:00 to 08:00 at 2,400 rpm; ran 08:00 to 18:00 at 1,200 rpm; ran 18:00 to 20:00 at 1,750 rpm; "
        "otherwise off (a day of 25 hours)." in words
    )
    assert stretches("P-1", LONG_DAY)[1][0] == 420


def test_words_of_odd_days() -> None:
    assert day_in_words([]) == "unknown all day"
    assert day_in_words([("off", "", "00:00", "24:00", 0, 1440.0)]) == "off all day"
    assert day_in_words([("off", "", "00:00", "12:00", 0, 720.0)]) == "off as far as known"
    many = [("run", "", f"{hour:02d}:00", f"{hour:02d}:30", 1200, 30.0 + hour) for hour in range(10)]
    assert day_in_words(many).endswith("09:00 to 09:30 at 1,200 rpm; and 3 shorter stretches")
    assert days_in_words([(DAY, "a"), (date(2026, 11, 4), "a"), (date(2026, 11, 5), "b")]) == [
        ("Tue 3 Nov to Wed 4 Nov", "a"), ("Thu 5 Nov", "b"),
    ]  # fmt: skip


def test_numbers_in_words() -> None:
    assert (
        number(None) == "\N{EN DASH}" and number(-1234.56, 1) == "\N{MINUS SIGN}1,234.6" and number(-0.04, 1) == "0.0"
    )
    assert kwh(99.94) == "99.9" and kwh(100.4) == "100"
    assert (
        span(None, 1.0) == "unknown"
        and span(1.004, 1.001, 2) == "1.00"
        and span(-3.0, 2.0) == "\N{MINUS SIGN}3.0 to 2.0"
    )
    assert (
        percent(0.9999) == f"99{NO_BREAK}%"
        and percent(1.0) == f"100{NO_BREAK}%"
        and percent(0.29) == f"29{NO_BREAK}%"
        and percent(None) == "\N{EN DASH}"
    )
    assert benefit(None, None, "USD") == "unknown" and benefit(12.0, None, "USD") == f"about 12.0{NO_BREAK}kWh"
    assert benefit(0.0, 2.1, "USD") == f"2.10{NO_BREAK}USD"
    assert likelihood(None) == "not stated" and likelihood(0.3) == f"possible, 30{NO_BREAK}%"
    assert day_range(date(2026, 12, 28), date(2027, 1, 3)) == "28 December 2026 to 3 January 2027"
    assert hours(375) == "6 h 15 min" and hours(None) == "unknown" and hours(0) == "0 min"


def test_bar_marks_stand_where_the_numbers_are() -> None:
    top = 2.0
    reader = drawn(interval_bar(0.5, 1.0, 1.5, top, "x", requirement=1.0, baseline=2.0, best=0.0))
    interval = next(rect for rect in reader.rects if rect["class"] == "interval")
    assert float(interval["x"]) == pytest.approx(5 + 210 * 0.25, abs=0.06)
    assert float(interval["width"]) == pytest.approx(210 * 0.5, abs=0.06)
    paths = {path["class"]: path["d"] for path in reader.paths}
    assert paths["middle"].startswith("M110.0 ") and paths["requirement"].startswith("M110.0 ")
    assert paths["baseline"].startswith("M210.5 ") and paths["best"].startswith("M5.0 ")


def test_bar_of_nothing_known_is_hatched() -> None:
    reader = drawn(interval_bar(None, None, None, 2.0, "x", requirement=1.0))
    assert [rect["class"] for rect in reader.rects] == ["unknown"]
    assert scale_top([None]) == 1.0 and scale_top([0.0]) == 1.0
