"""Money by tariff band, the peak, CO2, and what is left out: days computed by hand, and properties."""

from __future__ import annotations

from datetime import date

import pytest
from account_rows import BANDS, MONDAY, PUMP, SITE, all_accounts, grid, rate_rows, span
from hypothesis import given, settings
from hypothesis import strategies as st

HALF = 1725.0  # 10 m3/h on the plain grid
NOON = PUMP | {"baseline_start_min": 720}
SPRING, AUTUMN = date(2026, 3, 8), date(2026, 11, 1)


def ten_hours(start: float = 360, power_w: float = 460.0, day: date = MONDAY) -> list[dict]:
    """Off, 10 h at half speed, off; 100 m3."""
    return [
        span(0, start, "off", power_w=0, day=day),
        span(start, start + 600, "run", HALF, power_w=power_w, day=day),
        span(start + 600, 1440, "off", power_w=0, day=day),
    ]


def day(spans: list[dict], **more: object) -> dict:
    rows = all_accounts(spans, **more)["savings"]
    assert len(rows) == 1
    return rows[0]


def by_band(tables: dict[str, list[dict]], column: str) -> dict[str, float]:
    return {row["band"]: row[column] for row in tables["savings_band"]}


def test_the_baseline_is_priced_by_its_own_hours() -> None:
    """1.8 kW from 12:00 for 8 h: four at 0.20, four in the peak at 0.50. At equal volume 5 h: one of them in the peak.
    The pump of today runs 06:00 to 16:00, 4.6 kWh at 0.20."""
    tables = all_accounts(ten_hours(), pumps=[NOON])
    row = tables["savings"][0]
    assert by_band(tables, "baseline_kwh") == pytest.approx({"base": 1.8 * 4, "peak": 1.8 * 4})
    assert by_band(tables, "baseline_equal_kwh") == pytest.approx({"base": 1.8 * 4, "peak": 1.8 * 1})
    assert by_band(tables, "measured_kwh") == pytest.approx({"base": 4.6, "peak": 0})
    assert row["raw_money_mid"] == pytest.approx(1.8 * (4 * 0.20 + 4 * 0.50) - 4.6 * 0.20)
    assert row["equal_money_mid"] == pytest.approx(1.8 * (4 * 0.20 + 1 * 0.50) - 4.6 * 0.20)
    assert row["money_method"] == "hours of the single-speed pump"
    assert (row["baseline_peak_kw"], row["measured_peak_kw"]) == pytest.approx((1.8 * 4 / 5, 0))
    assert row["raw_share_mid"] == pytest.approx(1 - 4.6 / 14.4)
    assert row["equal_share_mid"] == pytest.approx(1 - 4.6 / 9.0)


def test_interval_of_the_money() -> None:
    """First order: nameplate 10 % of the baseline's cost and the meter's 2 % of today's, in quadrature."""
    row = day(ten_hours(), pumps=[NOON])
    off = ((0.10 * 1.8 * 2.8) ** 2 + (0.02 * 4.6 * 0.20) ** 2) ** 0.5
    assert row["raw_money_hi"] - row["raw_money_mid"] == pytest.approx(off)
    assert row["raw_money_mid"] - row["raw_money_lo"] == pytest.approx(off)
    assert row["equal_money_lo"] < row["equal_money_mid"] < row["equal_money_hi"]


def test_without_a_recorded_start_the_method_is_named_and_the_peak_withheld() -> None:
    row = day(ten_hours(start=600))  # 10:00 to 20:00: six hours before the peak, four in it
    price = 0.6 * 0.20 + 0.4 * 0.50
    assert row["raw_money_mid"] == pytest.approx((14.4 - 4.6) * price)
    assert row["equal_money_mid"] == pytest.approx((9.0 - 4.6) * price)
    assert row["money_method"] == "hours of the present pump"
    assert row["measured_peak_kw"] == pytest.approx(0.46 * 4 / 5)
    assert row["baseline_peak_kw"] is None and row["peak_kw_saved"] is None


def test_peak_power_by_coincidence() -> None:
    """Facts 5i [CALC]: 1.75 kW x 0.6 - 0.25 kW x 0.5 = 0.925 kW over the defined peak window. Here the old pump runs
    three of the five peak hours, the new one half of them."""
    spans = [
        span(0, 600, "off", power_w=0),
        span(600, 1110, "run", HALF, power_w=250),
        span(1110, 1440, "off", power_w=0),
    ]
    pump = PUMP | {"baseline_power_w": 1750.0, "baseline_hours_per_day": 9.0, "baseline_start_min": 600}
    assert day(spans, pumps=[pump])["peak_kw_saved"] == pytest.approx(0.925, abs=1e-9)


def test_a_baseline_that_runs_across_midnight() -> None:
    """20:00 for 8 h: an hour in the peak, then 21:00 to 04:00; its day is the clock day, so all eight hours count."""
    tables = all_accounts(ten_hours(), pumps=[PUMP | {"baseline_start_min": 1200}])
    assert by_band(tables, "baseline_kwh") == pytest.approx({"base": 1.8 * 7, "peak": 1.8 * 1})


@pytest.mark.parametrize(("when", "night_h"), [(SPRING, 5), (MONDAY, 6), (AUTUMN, 7)], ids=["23 h", "24 h", "25 h"])
def test_tariff_days_of_23_24_and_25_hours(when: date, night_h: int) -> None:
    """1 kW all day; night 00:00 to 06:00 by the clock at 0.10, else 0.20. Lengths by the tz database (facts 7a)."""
    kinds = ("weekday", "weekend")
    nights = tuple(("night", kind, 0, 360, 0.10, False) for kind in kinds)
    rates = rate_rows(nights + tuple(("day", kind, 360, 1440, 0.20, True) for kind in kinds))
    length = (night_h + 18) * 60
    tables = all_accounts(
        [span(0, length, "run", HALF, power_w=1000, day=when)], days=[when], rates=rates, pumps=[NOON]
    )
    assert {row["band"]: row["window_min"] for row in tables["savings_band"]} == {"night": night_h * 60, "day": 1080}
    assert by_band(tables, "measured_kwh") == pytest.approx({"night": night_h, "day": 18})
    assert tables["daily"][0]["cost"] == pytest.approx(night_h * 0.10 + 18 * 0.20)
    assert by_band(tables, "baseline_kwh") == pytest.approx({"night": 0, "day": 14.4})
    row = tables["savings"][0]
    assert row["raw_money_mid"] == pytest.approx(14.4 * 0.20 - night_h * 0.10 - 18 * 0.20)


def test_the_hours_of_the_old_pump_stand_on_days_of_a_clock_change() -> None:
    """00:00 for 8 h is 8 h on its timer: the day that skips an hour does not cut its energy, nor does the other add."""
    pump = PUMP | {"baseline_start_min": 0}
    for when, length in ((SPRING, 1380), (AUTUMN, 1500)):
        tables = all_accounts([span(0, length, "run", HALF, power_w=500, day=when)], days=[when], pumps=[pump])
        assert sum(by_band(tables, "baseline_kwh").values()) == pytest.approx(14.4)


def test_holidays_are_billed_as_the_file_says() -> None:
    spans = ten_hours(start=600)
    assert day(spans, holidays=[MONDAY])["equal_money_mid"] == pytest.approx((9.0 - 4.6) * 0.20)  # as a weekend
    own = rate_rows((*BANDS, ("holiday", "holiday", 0, 1440, 0.05, False)))
    tables = all_accounts(spans, holidays=[MONDAY], holiday_kind="holiday", rates=own)
    assert tables["savings"][0]["equal_money_mid"] == pytest.approx((9.0 - 4.6) * 0.05)
    assert {row["day_kind"] for row in tables["savings_band"]} == {"holiday"}
    assert tables["savings"][0]["measured_peak_kw"] is None  # no peak on this day


def test_each_month_has_its_own_price() -> None:
    """The last day of October and the first Monday of November."""
    rates = [
        row
        for month, price in ((10, 0.30), (11, 0.10))
        for row in rate_rows(tuple(("all", kind, 0, 1440, price, False) for kind in ("weekday", "weekend")), month)
    ]
    days = [date(2026, 10, 31), date(2026, 11, 2)]
    tables = all_accounts([*ten_hours(day=days[0]), *ten_hours(day=days[1])], days=days, rates=rates)
    assert [row["cost"] for row in tables["daily"]] == pytest.approx([4.6 * 0.30, 4.6 * 0.10])


@settings(max_examples=4, deadline=None)
@given(
    start=st.integers(0, 56),
    old_start=st.one_of(st.none(), st.integers(0, 95)),
    hours=st.floats(1, 24),
    flow=st.floats(3, 40),
    factor=st.floats(0.1, 4),
)
def test_prices_scale_money_and_bands_add_up(
    start: int, old_start: int | None, hours: float, flow: float, factor: float
) -> None:
    old = None if old_start is None else old_start * 15
    pump = PUMP | {"baseline_hours_per_day": hours, "baseline_flow_m3h": flow, "baseline_start_min": old}
    spans = ten_hours(start=start * 15.0)
    dearer = rate_rows(tuple((*band[:4], band[4] * factor, band[5]) for band in BANDS))
    plain, dear = (all_accounts(spans, pumps=[pump], rates=rates) for rates in (None, dearer))
    row, other = plain["savings"][0], dear["savings"][0]
    for name in (f"{kind}_money_{bound}" for kind in ("raw", "equal") for bound in ("lo", "mid", "hi")):
        assert other[name] == pytest.approx(factor * row[name], abs=1e-9)
    assert other["raw_kwh_mid"] == row["raw_kwh_mid"]
    for column, total in (
        ("measured_kwh", "measured_kwh"),
        ("baseline_kwh", "baseline_kwh"),
        ("baseline_equal_kwh", "baseline_equal_kwh"),
        ("raw_kwh", "raw_kwh_mid"),
        ("equal_kwh", "equal_kwh_mid"),
        ("raw_money", "raw_money_mid"),
        ("equal_money", "equal_money_mid"),
    ):
        assert sum(by_band(plain, column).values()) == pytest.approx(row[total], abs=1e-9)


@settings(max_examples=3, deadline=None)
@given(cut=st.integers(361, 959))
def test_splitting_a_span_changes_no_money(cut: int) -> None:
    whole = ten_hours()
    parts = [
        whole[0],
        span(360, cut, "run", HALF, power_w=460),
        span(cut, 960, "run", HALF, power_w=460),
        whole[2],
    ]
    one, other = (day(spans, pumps=[NOON]) for spans in (whole, parts))
    assert {k: v for k, v in other.items() if isinstance(v, float)} == pytest.approx(
        {k: v for k, v in one.items() if isinstance(v, float)}
    )


def test_a_baseline_without_evidence_is_named_and_nothing_is_claimed() -> None:
    tables = all_accounts(ten_hours(), pumps=[PUMP | {"baseline_evidence": None}])
    row = tables["savings"][0]
    assert not row["counted"] and row["reason"] == "no evidence recorded for the baseline of pump P1"
    assert row["baseline_kwh"] is row["raw_kwh_mid"] is row["equal_kwh_mid"] is row["equal_money_mid"] is None
    assert [item["kind"] for item in tables["exclusions"]] == ["no baseline"]


def test_co2_is_the_saving_by_the_factor_and_null_without_one() -> None:
    assert day(ten_hours(), co2_kg_per_kwh=0.25)["co2_kg_mid"] == pytest.approx(0.25 * (9.0 - 4.6))
    assert day(ten_hours())["co2_kg_mid"] is None


def test_service_is_shown_only_where_the_low_bound_reaches_it() -> None:
    """100 m3 + - 10 % of 80 m3: 1.125 to 1.375 turnovers."""
    assert day(ten_hours(), sites=[SITE | {"required_turnovers": 1.12}])["service"] == "shown"
    within = day(ten_hours(), sites=[SITE | {"required_turnovers": 1.2}])
    assert within["service"] == "not shown" and within["counted"]
    assert day(ten_hours(), grids=grid(flow_m3h_at_full=None))["service"] == "cannot tell"


def left_out(spans: list[dict], **more: object) -> list[tuple[str, float | None, float]]:
    tables = all_accounts(spans, **more)
    first = tables["exclusions"][0]["reason"] if tables["exclusions"] else ""
    assert first == tables["savings"][0]["reason"]
    return [(row["kind"], row["minutes"], row["excluded_min"]) for row in tables["exclusions"]]


def test_left_out_with_reason_and_minutes() -> None:
    assert left_out(ten_hours()) == []
    # 112 m3 required, at most 110 in 600 minutes: 2 m3 more at 110 m3 in 600 min.
    short = left_out(ten_hours(), sites=[SITE | {"required_turnovers": 1.4}])
    assert short == [("filtered too little", pytest.approx(2 * 600 / 110), 1440)]
    assert left_out([span(0, 600, "run", HALF, power_w=460), span(730, 1440, "off", power_w=0)]) == [
        ("lost coverage", 130, 1440)
    ]
    dry = left_out(ten_hours(power_w=200))  # 450 W is what the speed takes on the plain grid
    assert dry == [("ran dry", 600, 1440)]
    assert left_out(ten_hours(power_w=250)) == []  # 55 % are 248 W
    stood = {"site_id": "S1", "day_local": MONDAY}
    struck = left_out(
        [span(0, 1440, "off", power_w=0)],
        struck=[stood | {"reason": "pump P1 did not run in its planned hours"}],
        idle=[stood | {"observed_min": 600.0}],
    )
    assert struck == [("stood still", 600, 1440), ("filtered too little", None, 1440)]
    assert left_out(ten_hours(), struck=[stood | {"reason": "pump P1: meter and counter differ by 7 %"}]) == [
        ("meters disagree", None, 1440)
    ]


def test_every_reason_of_a_day_is_kept() -> None:
    rows = left_out([span(0, 300, "run", HALF, power_w=460)], sites=[SITE | {"season": "closed"}])
    kinds = [kind for kind, _, _ in rows]
    assert kinds == ["closed", "lost coverage"]
