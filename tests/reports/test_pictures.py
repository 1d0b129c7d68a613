"""The pictures of a site's page: what they draw, what they say in words, how large they are.

The reader is the standard library's XML parser; places are worked out from the numbers by proportion.
"""

from __future__ import annotations

import dataclasses
import re
from datetime import date, timedelta
from pathlib import Path
from xml.etree import ElementTree

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st
from page import read_page

from pumpledger.engine.account_tables import EFFICIENCY, EFFICIENCY_RECORD
from pumpledger.engine.tables import SPEED_GRID
from pumpledger.reports.data import VISIT, ReviewData
from pumpledger.reports.day_pictures import day_pictures
from pumpledger.reports.review import write_review
from pumpledger.reports.svg_chart import BOTTOM, HEIGHT, LEFT, MOST_TICKS, RIGHT, TOP, WIDTH, ticks
from pumpledger.reports.svg_curves import Upright, curve_picture
from pumpledger.reports.svg_days import DayBar, day_picture

MONDAY = date(2026, 11, 2)
CURVE = [(float(n), 0.9 * n / 200, n / 200, 1.1 * n / 200) for n in range(0, 3451, 150)]


def parsed(svg: str) -> ElementTree.Element:
    root = ElementTree.fromstring(svg)
    assert (root.tag, root.get("role")) == ("svg", "img")
    assert root[0].tag == "title" and root[0].text == root.get("aria-label")
    return root


def of_class(root: ElementTree.Element, css: str) -> list[ElementTree.Element]:
    return [element for element in root.iter() if css in (element.get("class") or "").split()]


def drawn_at(path: str) -> list[tuple[float, float]]:
    pairs = [tuple(map(float, pair.split())) for pair in re.findall(r"[-\d.]+ [-\d.]+", path)]
    return pairs  # type: ignore[return-value]


@given(top=st.floats(1e-3, 1e6))
def test_ticks_are_few_even_and_inside(top: float) -> None:
    marks = ticks(top)
    assert marks[0] == 0 and 2 <= len(marks) <= MOST_TICKS + 1
    assert marks[-1] <= top * (1 + 1e-9) < marks[-1] + (marks[1] - marks[0]) * (1 + 1e-6)


def test_ticks_by_hand() -> None:
    assert ticks(31.8) == [0, 10, 20, 30]
    assert ticks(5) == [0, 1, 2, 3, 4, 5]
    assert ticks(0) == [0]


def test_curve_lies_where_the_numbers_say() -> None:
    """The scale ends 6 % over the largest value: 1.06 * 1.1 * 3450 / 200 at the top, 3450 rpm at the right."""
    root = parsed(curve_picture("Flow", "m³/h", CURVE, [(1500.0, 7.0)], [(3000.0, 15.5)], 3450.0))
    top = 1.06 * 1.1 * 3450 / 200
    line = drawn_at(of_class(root, "estimate")[0].get("d"))
    assert len(line) == len(CURVE)
    for (x, y), (speed, _, mid, _) in zip(line, CURVE, strict=True):
        assert x == pytest.approx(LEFT + speed / 3450 * (WIDTH - LEFT - RIGHT), abs=0.051)
        assert y == pytest.approx(HEIGHT - BOTTOM - mid / top * (HEIGHT - TOP - BOTTOM), abs=0.051)
    assert len(drawn_at(of_class(root, "range")[0].get("d"))) == 2 * len(CURVE)
    circle = of_class(root, "read")[0]
    assert float(circle.get("cx")) == pytest.approx(LEFT + 1500 / 3450 * (WIDTH - LEFT - RIGHT), abs=0.051)
    assert len(of_class(root, "seen")) == 1
    assert root[0].text == (
        "Flow against speed; from 0.0 to 0.0 m³/h at 0 rpm to 15.5 to 19.0 m³/h at 3,450 rpm; 1 read at visits, "
        "1 metered.".replace(" rpm", "\N{NO-BREAK SPACE}rpm")
    )


@pytest.mark.parametrize("speed", [200.0, 1000.0, 1700.0, 1800.0, 3300.0])
def test_words_of_a_marked_speed_stay_inside(speed: float) -> None:
    """A digit or letter of the 10.5 px face is at most about 6 px wide."""
    words = "no flow up to 3,300 rpm"
    root = parsed(curve_picture("Flow", "m³/h", CURVE, [], [], 3450.0, Upright(speed, words)))
    text = next(element for element in root.iter("text") if element.text == words)
    width = 6 * len(words)
    left = float(text.get("x")) - (width if text.get("class") == "end" else 0)
    assert left >= 0 and left + width <= WIDTH
    assert words in root[0].text


def test_no_curve_is_said_and_not_drawn() -> None:
    root = parsed(curve_picture("Wire power", "W", [], [], [], 3450.0))
    assert not of_class(root, "estimate") and not of_class(root, "range")
    assert "not known" in [element.text for element in root.iter("text")]
    root = parsed(curve_picture("Wire power", "W", [], [(2000.0, 600.0)], [], 3450.0))
    assert "no curve: only what was read" in [element.text for element in root.iter("text")]
    assert len(of_class(root, "read")) == 1


def bars(count: int = 14) -> list[DayBar]:
    days = [MONDAY + timedelta(days=at) for at in range(count)]
    rows = [DayBar(day, 4.0, 5.0, 6.0, True, 10.0) for day in days]
    rows[2] = dataclasses.replace(rows[2], counts=False)
    rows[5] = DayBar(days[5], None, None, None, False, 10.0)
    return rows


def test_day_bars_hatch_what_does_not_count() -> None:
    root = parsed(day_picture("Energy", "kWh", bars(), "single-speed baseline", "not counted in the savings"))
    assert len(of_class(root, "interval")) == 13
    assert len(of_class(root, "baseline")) == 14
    hatched = of_class(root, "excluded")
    assert [round((float(rect.get("x")) - LEFT) / ((WIDTH - LEFT - RIGHT) / 14)) for rect in hatched] == [2, 5]
    assert [text.text for text in of_class(root, "unsure")] == ["?"]
    box = of_class(root, "interval")[0]
    top = 1.06 * 10.0
    assert float(box.get("y")) == pytest.approx(HEIGHT - BOTTOM - 6 / top * (HEIGHT - TOP - BOTTOM), abs=0.051)
    assert float(box.get("height")) == pytest.approx(2 / top * (HEIGHT - TOP - BOTTOM), abs=0.11)
    assert "4.00 to 6.00 kWh a day" in root[0].text
    assert "2 days hatched: not counted in the savings" in root[0].text
    assert "single-speed baseline 10.0 to 10.0 kWh" in root[0].text


def test_the_baselines_own_width_is_a_whisker() -> None:
    """Baseline 10 kWh within 0.3 and measured 5 within 0.4 make a raw saving within 0.5: the whisker is 0.3 again."""
    row = {"energy_kwh_lo": 4.6, "energy_kwh_mid": 5.0, "energy_kwh_hi": 5.4, "valid": True, "believed": True}
    saving = {"baseline_kwh": 10.0, "raw_kwh_mid": 5.0, "raw_kwh_hi": 5.5, "counted": True}
    root = parsed(day_pictures([MONDAY], {MONDAY: row}, {MONDAY: saving}, None)[0])
    (x, top), *_ = drawn_at(of_class(root, "whisker")[0].get("d"))
    bottom = float(re.search(r"V([\d.]+)", of_class(root, "whisker")[0].get("d"))[1])
    unit = (HEIGHT - TOP - BOTTOM) / (1.06 * 10.3)
    assert bottom - top == pytest.approx(2 * 0.3 * unit, abs=0.11)
    assert top == pytest.approx(HEIGHT - BOTTOM - 10.3 * unit, abs=0.051)
    # A day without a raw saving has no whisker, and the mark stands all the same.
    root = parsed(day_pictures([MONDAY], {MONDAY: row}, {MONDAY: {"baseline_kwh": 10.0}}, None)[0])
    assert not of_class(root, "whisker") and len(of_class(root, "baseline")) == 1


def test_requirement_is_one_line_across() -> None:
    plain = [dataclasses.replace(bar, against=None) for bar in bars()]
    root = parsed(day_picture("Turnovers", "", plain, "required 8.00", "not believed", requirement=8.0))
    (x_first, y_first), (x_last, y_last) = drawn_at(of_class(root, "requirement")[0].get("d"))
    assert (x_first, x_last, y_first) == (LEFT, WIDTH - RIGHT, y_last)
    # The requirement is the highest value, so the scale ends 6 % above it.
    assert y_first == pytest.approx(HEIGHT - BOTTOM - (HEIGHT - TOP - BOTTOM) / 1.06, abs=0.051)


def test_a_fortnight_of_nothing_known() -> None:
    days = [DayBar(MONDAY + timedelta(days=at), None, None, None, False) for at in range(14)]
    root = parsed(day_picture("Energy", "kWh", days, "no baseline recorded", "not counted in the savings"))
    assert len(of_class(root, "unsure")) == len(of_class(root, "excluded")) == 14
    assert "unknown on every day" in root[0].text


def test_no_picture_is_large() -> None:
    """A page holds four of them for a pump; the round allows 15 kB each."""
    grid = [(float(n), n / 210, n / 200, n / 190) for n in range(0, 3451, 100)]
    many = [(float(n), n / 200) for n in range(600, 3400, 100)]
    assert len(curve_picture("Flow", "m³/h", grid, many, many, 3450.0)) < 15_000
    assert len(day_picture("Energy", "kWh", bars(), "single-speed baseline", "not counted")) < 15_000


def test_hostile_words_are_escaped() -> None:
    root = parsed(day_picture("Energy", "<kWh>", bars(), "<script>", "&"))
    assert not list(root.iter("script"))


def with_efficiency(review: ReviewData, units: str = "metric") -> ReviewData:
    """The made-up review with a grid and an efficiency record for pump P-1."""
    rows = []
    for speed in range(0, 3451, 25):
        flow, power = max(speed - 1000, 0) / 200, 100 * (speed / 1000) ** 2.5 if 1000 <= speed <= 2500 else None
        rows.append(
            {"pump_id": "P-1", "speed_rpm": speed, "flow_source": "commissioned", "power_source": "fitted to readings"}
            | {f"flow_m3h_{bound}": flow * part for bound, part in (("lo", 0.9), ("mid", 1), ("hi", 1.1))}
            | {f"power_w_{bound}": power and power * part for bound, part in (("lo", 0.95), ("mid", 1), ("hi", 1.05))}
        )
    seen = dict.fromkeys(EFFICIENCY.columns) | {
        "site_id": "QM-001", "pump_id": "P-1", "speed_rpm": 2000, "run_min": 600.0, "longest_min": 120.0,
        "flow_m3h_lo": 4.5, "flow_m3h_mid": 5.0, "flow_m3h_hi": 5.5, "flow_source": "commissioned",
        "power_w_lo": 560.0, "power_w_mid": 570.0, "power_w_hi": 580.0, "power_source": "metered",
        "energy_factor_m3kwh_lo": 7.8, "energy_factor_m3kwh_mid": 8.8, "energy_factor_m3kwh_hi": 9.8,
        "wire_to_water_lo": 0.71, "wire_to_water_mid": 0.75, "wire_to_water_hi": 0.79,
        "gate": "suspect", "sentence": "At 2000 rpm 75 % of the electric power would reach the water: check.",
    }  # fmt: skip
    record = dict.fromkeys(EFFICIENCY_RECORD.columns) | {
        "site_id": "QM-001", "pump_id": "P-1", "best_state": "given", "best_speed_rpm": 2000, "best_longest_min": 120.0,
        "best_factor_m3kwh_lo": 7.8, "best_factor_m3kwh_mid": 8.8, "best_factor_m3kwh_hi": 9.8, "standby_w": 5.0,
        "knee_state": "given", "knee_speed_rpm_lo": 1500, "knee_speed_rpm_mid": 1525, "knee_speed_rpm_hi": 1550,
        "weighted_state": "high speed not within the speeds metered", "low_flow_m3h": 5.61, "low_speed_rpm": 2125,
        "high_flow_m3h": 11.02, "high_speed_rpm": 3225,
    }  # fmt: skip
    visit = {
        "site_id": "QM-001",
        "pump_id": "P-1",
        "day_local": MONDAY,
        "work": "commissioning",
        "speed_rpm": 2000.0,
        "flow_m3h": 5.0,
        "power_w": 565.0,
    }
    return dataclasses.replace(
        review,
        units=units,
        speed_grid=pl.DataFrame(rows, schema=SPEED_GRID.schema),
        efficiency=pl.DataFrame([seen], schema=EFFICIENCY.schema),
        efficiency_record=pl.DataFrame([record], schema=EFFICIENCY_RECORD.schema),
        visit=pl.DataFrame([visit], schema=VISIT),
    )


def test_a_pumps_record_on_its_page(review: ReviewData, tmp_path: Path) -> None:
    page = read_page(write_review(tmp_path, with_efficiency(review)) / "sites" / "QM-001.html")
    section = page.one("section", **{"aria-labelledby": "litre-h"})
    text = section.text.replace("\N{NO-BREAK SPACE}", " ")
    assert "8.8 m³/kWh (7.8 to 9.8) at 2,000 rpm, held 2 h" in text
    assert "1,525 rpm (1,500 to 1,550); its 5.0 W at rest are taken off" in text
    assert "none: high speed not within the speeds metered; the test points would be low 5.6 m³/h at 2,125 rpm" in text
    assert "suspect : At 2000 rpm 75 %" in text
    assert "no certified rating" in text and "says nothing about compliance" in text
    flow, power = section.all("svg", css="chart", role="img")
    assert "no flow up to 1,000 rpm" in flow.text.replace("\N{NO-BREAK SPACE}", " ")
    assert "knee 1,525 rpm" in power.text.replace("\N{NO-BREAK SPACE}", " ")
    assert len(flow.all("circle", css="read")) == len(power.all("circle", css="read")) == 1
    assert (len(flow.all("rect", css="seen")), len(power.all("rect", css="seen"))) == (0, 1)


def test_us_units_in_picture_and_table(review: ReviewData, tmp_path: Path) -> None:
    """8.8 m3/kWh is 8.8 / 3.785411784 = 2.32 gal/Wh; 4.5 m3/h is 19.8 gpm (facts 4.2)."""
    page = read_page(write_review(tmp_path, with_efficiency(review, "us")) / "sites" / "QM-001.html")
    text = page.one("section", **{"aria-labelledby": "litre-h"}).text.replace("\N{NO-BREAK SPACE}", " ")
    assert "2.3 gal/Wh (2.1 to 2.6)" in text
    assert "Flow [gpm]" in text and "19.8 to 24.2" in text


def test_nothing_known_is_said(written: Path) -> None:
    """The made-up review holds no grid: the pictures say so and no record is made up."""
    page = read_page(written / "sites" / "QM-002.html")
    section = page.one("section", **{"aria-labelledby": "litre-h"})
    assert [svg.text.count("not known") for svg in section.all("svg", css="chart", role="img")] == [1, 1]
    assert not section.all("dl") and not section.all("table")


def test_days_of_the_pictures_are_those_of_the_list(written: Path, review: ReviewData) -> None:
    page = read_page(written / "sites" / "QM-001.html")
    energy, turnovers = page.one("section", **{"aria-labelledby": "ledger-h"}).all("svg", css="chart", role="img")
    own = review.savings.filter(pl.col("site_id") == "QM-001")
    out = own.filter(~pl.col("counted") & pl.col("day_local").is_in(review.shown_days)).height
    missing = len(review.shown_days) - own.filter(pl.col("day_local").is_in(review.shown_days)).height
    assert len(energy.all("rect", css="excluded")) == out + missing
    assert len(energy.all("rect", css="interval")) + len(energy.all("text", css="unsure")) == len(review.shown_days)
    assert len(turnovers.all("path", css="requirement")) == 1
