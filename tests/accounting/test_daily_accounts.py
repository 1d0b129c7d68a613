"""The daily accounts by given rows -> expected rows. Expected values are arithmetic on the given ones."""

from __future__ import annotations

from datetime import date

import polars as pl
import pytest
from account_rows import MONDAY, PUMP, SITE, accounts, grid, span, window

from pumpledger.accounting.daily import AccountingParameters

HALF = 1725.0  # half of full speed: flow 10 m3/h and 450 W on the plain grid


def one(spans: list[dict], **more: object) -> dict:
    rows, _ = accounts(spans, **more)
    assert len(rows) == 1
    return rows[0]


def whole_day() -> list[dict]:
    """10 h at half speed in the morning, metered at 460 W; off for the rest, 2 W."""
    return [span(0, 360, "off", power_w=2), span(360, 960, "run", HALF, power_w=460), span(960, 1440, "off", power_w=2)]


def test_a_whole_metered_day() -> None:
    day = one(whole_day())
    assert day["coverage"] == 1 and day["valid"] and day["believed"] and day["starts"] == 1
    assert (day["day_min"], day["observed_min"], day["run_min"], day["longest_gap_min"]) == (1440, 1440, 600, 0)
    energy = 10 * 0.460 + 14 * 0.002
    assert day["energy_kwh_mid"] == pytest.approx(energy)
    assert day["energy_kwh_lo"] == pytest.approx(energy * 0.98) and day["energy_kwh_hi"] == pytest.approx(energy * 1.02)
    assert day["energy_source"] == "metered power" and day["energy_coverage"] == 1
    assert day["volume_m3_mid"] == pytest.approx(10 * 10) and day["volume_source"] == "curve"
    assert day["volume_m3_lo"] == pytest.approx(90) and day["volume_m3_hi"] == pytest.approx(110)
    assert day["turnovers_mid"] == pytest.approx(100 / 80)
    assert day["peak_kwh"] == pytest.approx(5 * 0.002)  # off from 16:00 to 21:00
    assert day["cost"] == pytest.approx((energy - 0.010) * 0.20 + 0.010 * 0.50)
    assert day["aux_min"] is None


def test_published_style_log_of_two_speeds() -> None:
    """Facts 3i: 80 gpm and 1.80 kW for 10 min, then 30 gpm and 0.18 kW for 10 h: 18,800 gal, 2.100 kWh, 0.9400
    turnovers of 20,000 gal.

    Facts 3j: the mean of the rows' power over 10 h 10 min is another number, and a wrong one.
    """
    gallon_m3, gpm_m3h = 0.003785411784, 0.2271247
    spans = [
        span(0, 480, "off"),
        span(480, 490, "run", 3000, power_w=1800, flow_m3h=80 * gpm_m3h),
        span(490, 1090, "run", 1200, power_w=180, flow_m3h=30 * gpm_m3h),
        span(1090, 1440, "off"),
    ]
    day = one(
        spans,
        sites=[SITE | {"pool_volume_m3": 20_000 * gallon_m3}],
        grids=grid(flow_m3h_at_full=None, power_w_at_full=None),
    )
    assert day["volume_m3_mid"] / gallon_m3 == pytest.approx(18_800, rel=1e-6)
    assert day["turnovers_mid"] == pytest.approx(0.9400, rel=1e-6)
    assert day["energy_kwh_mid"] == pytest.approx(2.100, abs=1e-6)
    assert day["energy_kwh_mid"] != pytest.approx((1.80 + 0.18 + 0) / 3 * (10 + 10 / 60), rel=0.1)
    assert day["volume_source"] == "metered" and day["volume_m3_hi"] == pytest.approx(day["volume_m3_mid"] * 1.05)


def test_two_speeds_by_the_grid() -> None:
    """Facts 3h: 20,000 gal; 32 gpm for 16 h and 65 gpm for 1 h: 34,620 gal = 1.7310 turnovers. The grid is straight in
    speed here."""
    gallon_m3, gpm_m3h = 0.003785411784, 0.2271247
    spans = [span(0, 960, "run", 1600), span(960, 1020, "run", 3250), span(1020, 1440, "off")]
    day = one(
        spans,
        sites=[SITE | {"pool_volume_m3": 20_000 * gallon_m3}],
        grids=grid(flow_m3h_at_full=32 * gpm_m3h * 3450 / 1600),
    )
    assert day["volume_m3_mid"] / gallon_m3 == pytest.approx(34_620, rel=1e-6)
    assert day["turnovers_mid"] == pytest.approx(1.7310, rel=1e-6)


def test_unmetered_runs_take_the_fitted_curve_and_standby_only_widens() -> None:
    day = one([span(0, 600, "run", HALF), span(600, 1440, "off")])
    assert day["energy_source"] == "fitted curve" and day["energy_coverage"] == 0
    assert day["energy_kwh_mid"] == pytest.approx(10 * 0.450)
    assert day["energy_kwh_lo"] == pytest.approx(10 * 0.450 * 0.95)
    assert day["energy_kwh_hi"] == pytest.approx(10 * 0.450 * 1.05 + 14 * 0.015)


def test_between_grid_speeds_flow_is_linear() -> None:
    day = one([span(0, 60, "run", 1010), span(60, 1440, "off")], grids=grid(flow_m3h_at_full=34.5))
    assert day["volume_m3_mid"] == pytest.approx(10.10)


def test_a_jitter_above_full_speed_is_full_speed_and_more_is_unknown() -> None:
    near = one([span(0, 240, "run", 3462), span(240, 1440, "off")])
    far = one([span(0, 240, "run", 3600), span(240, 1440, "off")])
    assert near["volume_m3_mid"] == pytest.approx(4 * 20)
    assert far["volume_m3_mid"] is None and far["volume_source"] == "none"
    assert far["energy_kwh_mid"] is None and far["energy_source"] == "none" and far["cost"] is None


def test_counter_metered_and_mixed_sources() -> None:
    counter = one([span(0, 600, "run", HALF, energy_kwh=4.6), span(600, 1440, "off", energy_kwh=0.0)])
    assert counter["energy_source"] == "counter" and counter["energy_kwh_mid"] == pytest.approx(4.6)
    mixed = one([span(0, 300, "run", HALF, power_w=460), span(300, 600, "run", HALF), span(600, 1440, "off")])
    assert mixed["energy_source"] == "mixed" and mixed["energy_kwh_mid"] == pytest.approx(5 * 0.460 + 5 * 0.450)


@pytest.mark.parametrize(
    ("gap_min", "after", "source"),
    [
        # 10 h at 450 W. Ten minutes may be 0 or 450 W: 0.075 kWh, 1.7 % of the day, says nobody.
        (10, span(610, 1440, "off", power_w=0), "mixed"),
        # Two minutes: 0.015 kWh, 0.3 % of the day.
        (2, span(602, 1440, "off", power_w=0), "metered power"),
        # The same speed goes on after the gap: nothing is open.
        (100, span(700, 1440, "run", HALF, power_w=450), "metered power"),
    ],
)
def test_a_gap_that_hides_a_change_of_speed_makes_the_day_part_estimated(
    gap_min: int, after: dict, source: str
) -> None:
    day = one([span(0, 600, "run", HALF, power_w=450), span(600, 600 + gap_min, "unknown"), after])
    assert day["valid"] and day["energy_source"] == source
    if source == "mixed":
        assert day["energy_kwh_mid"] == pytest.approx(4.5 + 0.075 / 2, rel=0.01)


def test_no_flow_source_and_no_power_source_are_null_not_zero() -> None:
    day = one(
        [span(0, 600, "run", HALF), span(600, 1440, "off")], grids=grid(flow_m3h_at_full=None, power_w_at_full=None)
    )
    assert day["valid"] and day["run_min"] == 600
    for column in ("volume_m3_lo", "volume_m3_mid", "volume_m3_hi", "turnovers_lo", "turnovers_mid", "turnovers_hi"):
        assert day[column] is None
    for column in ("energy_kwh_lo", "energy_kwh_mid", "energy_kwh_hi", "peak_kwh", "cost"):
        assert day[column] is None
    assert day["volume_source"] == day["energy_source"] == "none"


def test_an_invalid_day_is_a_range_from_all_off_to_all_at_plan() -> None:
    """Observed until 08:00 with one hour run; the plan asks for half speed from 06:00 to 16:00."""
    spans = [span(0, 420, "off", power_w=0), span(420, 480, "run", HALF, power_w=450), span(480, 1440, "unknown")]
    day = one(spans, windows=[window(360, 960, HALF)])
    assert day["coverage"] == pytest.approx(480 / 1440) and not day["valid"] and not day["believed"]
    assert day["longest_gap_min"] == 960
    assert day["volume_m3_lo"] == pytest.approx(1 * 10 * 0.9)
    assert day["volume_m3_mid"] == pytest.approx(1 * 10)
    assert day["volume_m3_hi"] == pytest.approx(1 * 10 * 1.1 + 8 * 10 * 1.1)
    assert day["energy_kwh_lo"] == pytest.approx(0.450 * 0.98)
    assert day["energy_kwh_mid"] == pytest.approx(0.450)
    assert day["energy_kwh_hi"] == pytest.approx(0.450 * 1.02 + 8 * 0.450 * 1.05 + 8 * 0.015)


def test_time_without_any_span_is_as_unknown_as_a_span_that_says_so() -> None:
    spans = [span(0, 420, "off", power_w=0), span(420, 480, "run", HALF, power_w=450)]
    said = one([*spans, span(480, 1440, "unknown")], windows=[window(360, 960, HALF)])
    unsaid = one(spans, windows=[window(360, 960, HALF)])
    assert said == unsaid


def test_without_a_plan_unknown_minutes_are_bounded_by_the_highest_speed_seen() -> None:
    spans = [span(0, 60, "run", HALF, power_w=450), span(60, 1440, "unknown")]
    day = one(spans)
    assert day["volume_m3_hi"] == pytest.approx(24 * 10 * 1.1)
    assert day["energy_kwh_hi"] == pytest.approx(0.450 * 1.02 + 23 * 0.450 * 1.05)


def test_a_day_without_any_reading_has_a_range_and_no_value() -> None:
    day = one([], windows=[window(360, 960, HALF)])
    assert day["observed_min"] == 0 and day["coverage"] == 0 and day["longest_gap_min"] == 1440 and day["starts"] == 0
    assert (day["volume_m3_lo"], day["volume_m3_mid"]) == (0, None) and day["volume_m3_hi"] == pytest.approx(10 * 11)
    assert (day["energy_kwh_lo"], day["energy_kwh_mid"]) == (0, None)
    assert day["energy_kwh_hi"] == pytest.approx(10 * 0.450 * 1.05 + 14 * 0.015)
    assert day["cost"] is None and day["peak_kwh"] is None


@pytest.mark.parametrize(
    ("gap_min", "valid"),
    [(120, True), (121, False), (144, False)],
    ids=["two hours", "over two hours", "coverage 0.90, gap too long"],
)
def test_valid_by_longest_gap(gap_min: int, valid: bool) -> None:
    day = one([span(0, 600, "off"), span(600 + gap_min, 1440, "off")])
    assert day["valid"] is valid and day["longest_gap_min"] == gap_min


def test_valid_by_coverage() -> None:
    def holes(minutes: float) -> dict:
        return one([span(0, 300, "off"), span(300 + minutes, 700, "off"), span(700 + minutes, 1440, "off")])

    assert holes(72)["coverage"] == pytest.approx(0.90) and holes(72)["valid"]
    assert not holes(73)["valid"]


def test_gaps_at_both_ends_of_the_day_are_seen() -> None:
    assert one([span(0, 1300, "off")])["longest_gap_min"] == 140
    assert one([span(130, 1440, "off")])["longest_gap_min"] == 130


def test_a_doubted_pump_is_valid_and_not_believed() -> None:
    day = one(whole_day(), doubts=[{"pump_id": "P1", "doubt": "kilowatts in a column of watts"}])
    assert day["valid"] and not day["believed"]


@pytest.mark.parametrize(
    ("day", "minutes"),
    [(date(2026, 3, 8), 1380), (date(2026, 11, 1), 1500), (date(2026, 11, 2), 1440)],
    ids=["23 h", "25 h", "24 h"],
)
def test_days_of_23_24_and_25_hours(day: date, minutes: int) -> None:
    """Facts 7a: Los Angeles, by the tz database."""
    row = one([span(0, minutes, "run", HALF, day=day, power_w=450)], days=[day])
    assert row["day_min"] == minutes and row["coverage"] == 1
    assert row["energy_kwh_mid"] == pytest.approx(minutes / 60 * 0.450)
    assert row["volume_m3_mid"] == pytest.approx(minutes / 60 * 10)


def test_price_bands_follow_the_wall_clock_on_a_25_hour_day() -> None:
    """A weekday tariff laid on the Sunday of the change: elapsed minutes run an hour ahead of the clock after it."""
    sunday = date(2026, 11, 1)
    rows, _ = accounts([span(0, 1500, "run", HALF, day=sunday, power_w=1000)], days=[sunday])
    assert rows[0]["peak_kwh"] == 0 and rows[0]["cost"] == pytest.approx(25 * 0.20)
    monday = date(2026, 11, 2)
    rows, _ = accounts([span(0, 1440, "run", HALF, day=monday, power_w=1000)], days=[monday])
    assert rows[0]["peak_kwh"] == pytest.approx(5) and rows[0]["cost"] == pytest.approx(19 * 0.20 + 5 * 0.50)


def test_starts_count_changes_from_off_to_run_only() -> None:
    tuesday = date(2026, 10, 27)
    spans = [
        span(0, 100, "run", HALF),  # no earlier span: not a start
        span(100, 200, "off"),
        span(200, 300, "run", HALF),  # a start
        span(300, 400, "run", 2400.0),  # another speed: not a start
        span(400, 450, "unknown"),
        span(450, 600, "run", HALF),  # out of the unknown: not a start
        span(600, 700, "off"),
        span(700, 1440, "run", HALF),  # a start
        span(0, 1440, "run", HALF, day=tuesday),  # across midnight: not a start
    ]
    rows, _ = accounts(spans, days=[MONDAY, tuesday])
    assert [row["starts"] for row in rows] == [2, 0]


def test_auxiliary_minutes_are_null_where_not_logged() -> None:
    logged = one(
        [span(0, 60, "run", HALF, aux_on=True), span(60, 120, "run", HALF, aux_on=False), span(120, 1440, "off")]
    )
    assert logged["aux_min"] == 60
    never_on = one([span(0, 1440, "run", HALF, aux_on=False)])
    assert never_on["aux_min"] == 0


def test_every_pump_and_day_of_the_calendar_has_a_row() -> None:
    pumps = [PUMP, PUMP | {"pump_id": "P2"}]
    rows, savings = accounts(whole_day(), pumps=pumps, days=[MONDAY, date(2026, 10, 27)])
    assert [(row["pump_id"], row["day_local"].day) for row in rows] == [("P1", 26), ("P1", 27), ("P2", 26), ("P2", 27)]
    assert len(savings) == 2


def test_no_tariff_no_money() -> None:
    day = one(whole_day(), sites=[SITE | {"tariff": None}])
    assert day["cost"] is None and day["peak_kwh"] is None and day["energy_kwh_mid"] is not None


def test_a_few_running_minutes_of_unknown_power_only_widen() -> None:
    """5 min of priming above the fitted speeds: nothing in lo and mid, the cube of speed in hi."""
    cut = grid().with_columns(
        pl.when(pl.col("speed_rpm") <= 1800).then(pl.col(name)).alias(name)
        for name in ("power_w_lo", "power_w_mid", "power_w_hi")
    )
    day = one([span(0, 5, "run", 3450), span(5, 605, "run", HALF), span(605, 1440, "off")], grids=cut)
    at_1800 = 1.8 * (1800 / 3450) ** 2 * 1.05
    assert day["energy_kwh_mid"] == pytest.approx(10 * 0.450)
    assert day["energy_kwh_hi"] == pytest.approx(
        10 * 0.450 * 1.05 + (1440 - 605) / 60 * 0.015 + 5 / 60 * at_1800 * (3450 / 1800) ** 3
    )


def test_parameters_move_the_bounds() -> None:
    day = one(whole_day(), parameters=AccountingParameters(meter_accuracy=0.10))
    assert day["energy_kwh_hi"] == pytest.approx(day["energy_kwh_mid"] * 1.10)
