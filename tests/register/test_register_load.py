"""What a good register becomes: units, clocks, text as written, tariffs, weather."""

from __future__ import annotations

from datetime import date, datetime

import pint
import polars as pl
import pytest
from register_folder import GOOD, Folder

from pumpledger.register.fields import PLANS, PUMP_CURVES, PUMPS, SITES, VISITS, inside_columns

UNITS = pint.UnitRegistry()


def inside(value: float, theirs: str, ours: str) -> float:
    """``value`` converted by pint itself, which `units.py` also rests on; the constants are those of facts 4.2."""
    return UNITS.Quantity(value, theirs).to(ours).magnitude


def test_us_suffixes_give_the_same_register(folder, tmp_path_factory) -> None:
    """1 gpm = 0.2271247 m3/h, 1 US gal = 3.785411784 L, 1 ft = 0.3048 m (facts 4.2, exact by definition)."""
    folder.write("sites.csv", "site_id,site_name,pool_volume_gal,suction_limit_gpm\nS-1,A,20000,84\n")
    folder.write(
        "pumps.csv",
        "pump_id,site_id,static_head_ft,design_flow_gpm,design_head_ft,"
        "freeze_setpoint_f,freeze_speed_rpm,baseline_power_kw\n"
        "P-1,S-1,10,60,40,39.2,1500,1.75\n",
    )
    folder.write("pump_curves.csv", "curve,speed_rpm,flow_gpm,head_ft\nmid,3450,0,60\nmid,3450,60,50\nmid,3450,90,30\n")
    folder.write("visits.csv", "site_id,day_local,work,speed_rpm,flow_gpm,power_kw\nS-1,2026-10-02,check,2400,50,0.8\n")
    us = folder.load()
    other = Folder(tmp_path_factory.mktemp("metric"))
    volume, limit = inside(20000, "gallon", "meter**3"), inside(84, "gallon/minute", "meter**3/hour")
    flow, head, static = (
        inside(60, "gallon/minute", "meter**3/hour"),
        inside(40, "foot", "meter"),
        inside(10, "foot", "meter"),
    )
    other.write("sites.csv", f"site_id,site_name,pool_volume_m3,suction_limit_m3h\nS-1,A,{volume!r},{limit!r}\n")
    other.write(
        "pumps.csv",
        "pump_id,site_id,static_head_m,design_flow_m3h,design_head_m,"
        "freeze_setpoint_c,freeze_speed_rpm,baseline_power_w\n"
        f"P-1,S-1,{static!r},{flow!r},{head!r},4,1500,1750\n",
    )
    points = [
        (inside(q, "gallon/minute", "meter**3/hour"), inside(h, "foot", "meter")) for q, h in ((60, 50), (90, 30))
    ]
    rows = "".join(f"mid,3450,{q!r},{h!r}\n" for q, h in [(0, inside(60, "foot", "meter")), *points])
    other.write("pump_curves.csv", f"curve,speed_rpm,flow_m3h,head_m\n{rows}")
    read = inside(50, "gallon/minute", "meter**3/hour")
    other.write(
        "visits.csv", f"site_id,day_local,work,speed_rpm,flow_m3h,power_w\nS-1,2026-10-02,check,2400,{read!r},800\n"
    )
    metric = other.load()
    for name in ("site", "pump", "pump_curve", "visit"):
        ours, theirs = getattr(us, name), getattr(metric, name)
        assert ours.schema == theirs.schema
        for column in ours.columns:
            expected = theirs[column].to_list()
            if ours[column].dtype == pl.Float64:
                expected = [None if value is None else pytest.approx(value, rel=1e-12) for value in expected]
            assert ours[column].to_list() == expected, (name, column)
    assert us.site["pool_volume_m3"][0] == pytest.approx(20000 * 0.003785411784, rel=1e-12)
    assert us.pump["design_flow_m3h"][0] == pytest.approx(60 * 0.2271247, rel=1e-6)


def test_limits_hold_in_either_unit(folder) -> None:
    """A suction limit of 400 m3/h is 1761 gpm; 1762 gpm is more than any field may hold."""
    folder.write("sites.csv", "site_id,site_name,pool_volume_m3,suction_limit_gpm\nS-1,A,80,1761\nS-2,B,60,1762\n")
    register = folder.load()
    assert register.site["site_id"].to_list() == ["S-1"]
    assert register.problems[0].column == "suction_limit_gpm"


def test_weather_in_fahrenheit_equals_celsius(folder) -> None:
    celsius = folder.load().weather
    fahrenheit = (
        folder.write(
            "weather/hill.csv", "time_utc,air_temperature_f\n2026-11-01T00:00:00-07:00,50\n2026-11-01T08:00:00Z,23\n"
        )
        .load()
        .weather
    )
    assert (
        fahrenheit["time_utc"].to_list()
        == celsius["time_utc"].to_list()
        == [
            datetime(2026, 11, 1, 7),
            datetime(2026, 11, 1, 8),
        ]
    )
    assert fahrenheit["air_temperature_c"].to_list() == pytest.approx(celsius["air_temperature_c"].to_list())
    assert celsius["air_temperature_c"].to_list() == [10, -5]


def test_clocks_become_minutes_and_may_cross_midnight(folder) -> None:
    plan = folder.load().plan
    assert plan.select("pump_id", "valid_from", "period", "speed_rpm", "start_min", "stop_min").rows() == [
        ("P-1", date(2026, 10, 1), 1, 1500, 480, 960),
        ("P-1", date(2026, 10, 1), 2, 2400, 960, 1080),
        ("P-2", date(2026, 10, 1), 1, 1800, 1320, 360),
    ]


@pytest.mark.parametrize(
    ("start", "stop"), [("00:00", "24:00"), ("18:00", "24:00"), ("18:00", "00:00"), ("24:00", "06:00")]
)
def test_periods_that_touch_midnight(folder, start, stop) -> None:
    register = folder.swap("plans.csv", "22:00,06:00", f"{start},{stop}").load()
    assert register.problems == []


def test_plan_of_another_day_may_overlap(folder) -> None:
    register = folder.add("plans.csv", "P-1,2026-10-15,1,1700,08:00,17:00").load()
    assert (register.problems, register.plan.height) == ([], 4)


HOSTILE = {
    "markup": "<script>alert(1)</script>",
    "formula": "=HYPERLINK(1)",
    "entity": "&lt;b&gt;",
    "right to left": "\u202ePool\u202c \u05d1\u05e8\u05d9\u05db\u05d4",
    "form feed": "Pool\x0cTwo",
    "separators of records": "Pool\x1c\x1d\x1eTwo",
    "next line": "Pool\x85Two",
    "line separator": "Pool\u2028Two\u2029",
    "null": "Pool\x00Two",
    "bell and escape": "Pool\x07\x1b[31m",
    "quotes": 'Pool ""of"" the year',
    "combining marks": "Po\u0301ol",
}


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE)
@pytest.mark.parametrize("quoted", [True, False])
def test_hostile_text_survives_as_text(folder, text, quoted) -> None:
    if not quoted and '"' in text:
        text = text.replace('""', "'")
    folder.swap("sites.csv", "First Pool", f'"{text}"' if quoted else text)
    folder.swap("sites.csv", ",60,", ",zero,")  # the line after it is still counted right
    register = folder.load()
    assert register.site["site_name"].to_list() == [text.replace('""', '"').strip()]
    assert [(p.name, p.line) for p in register.problems] == [("bad_value", 3)]


def test_quoted_comma_and_quoted_line_break(folder) -> None:
    folder.swap("sites.csv", "First Pool", '"First, or\nonly, Pool"').swap("sites.csv", ",60,", ",zero,")
    register = folder.load()
    assert register.site["site_name"].to_list() == ["First, or\nonly, Pool"]
    assert [(p.name, p.line) for p in register.problems] == [("bad_value", 4)]


def test_bom_line_ends_and_blank_lines(folder) -> None:
    plain = folder.load()
    for name, text in GOOD.items():
        body = text.replace("\n", "\r\n")
        if name.endswith(".csv"):
            body = body.replace("\r\n", "\r\n\r\n").rstrip() + "\r\n , ,\r\n"
        folder.write(name, b"\xef\xbb\xbf" + body.encode())
    again = folder.load()
    assert again.problems == []
    for name, frame in plain.tables().items():
        assert again.tables()[name].equals(frame), name


def test_empty_cells_after_the_last_column_are_no_fault(folder) -> None:
    """Spreadsheets fill rows up with empty cells."""
    folder.write("sites.csv", GOOD["sites.csv"].replace("\n", ",,\n"))
    assert folder.load().problems == []


def test_frames_have_the_declared_columns(folder) -> None:
    register = folder.load()
    for frame, fields in (
        (register.site, SITES),
        (register.pump, PUMPS),
        (register.plan, PLANS),
        (register.pump_curve, PUMP_CURVES),
        (register.visit, VISITS),
    ):
        assert frame.columns == list(inside_columns(fields))
    assert register.site["zone"].to_list() == ["America/Los_Angeles", "America/Phoenix"]
    assert register.site.select("pool_class", "freeze_risk", "season", "route").row(0) == (
        "residential",
        False,
        "open",
        "",
    )
    assert register.pump["full_speed_rpm"].to_list() == [3450, 3450]
    assert register.pump["baseline_power_w"].to_list() == [None, None]  # missing is never zero
    assert (register.made_up, register.meter_accuracy, register.currency) == (True, 0.02, "USD")


def test_tariff_bands_cover_each_day_without_wrapping(folder) -> None:
    bands = folder.load().tariff_band
    assert bands.select("band", "day_kind", "start_min", "stop_min", "price_per_kwh", "peak").rows() == [
        ("rest", "weekday", 0, 960, 0.2, False),
        ("peak", "weekday", 960, 1260, 0.42, True),
        ("rest", "weekday", 1260, 1440, 0.2, False),
        ("weekend", "weekend", 0, 1440, 0.2, False),
    ]


def test_unfit_curve_leaves_its_pumps_without_one(folder) -> None:
    register = folder.swap("pump_curves.csv", "15,16", "15,21").load()
    assert register.pump["curve"].to_list() == [None, None]
    assert register.pump_curve.is_empty()


def test_order_of_rows_does_not_matter(folder) -> None:
    plain = folder.load()
    for name in ("sites.csv", "pumps.csv", "plans.csv", "pump_curves.csv", "visits.csv", "weather/hill.csv"):
        header, *rows = GOOD[name].splitlines(keepends=True)
        folder.write(name, header + "".join(reversed(rows)))
    for name, frame in plain.tables().items():
        assert folder.load().tables()[name].equals(frame), name
