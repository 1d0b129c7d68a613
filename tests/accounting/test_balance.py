"""Energy by power and by counter, reconciled per day: hand-computed days, limits, standby, and other devices."""

from __future__ import annotations

from datetime import date, timedelta
from itertools import pairwise

import polars as pl
import pytest
from account_rows import MONDAY, calendar, grid, midnight, span
from hypothesis import given, settings
from hypothesis import strategies as st

from pumpledger.accounting.balance import build_balance, find_aux_draw, strike_unbalanced
from pumpledger.accounting.daily import AccountingParameters
from pumpledger.engine.account_tables import COUNTER_RUNS, LOADING
from pumpledger.engine.database import Database
from pumpledger.engine.tables import SPANS

HALF = 1725.0  # half of full speed: 450 W on the plain grid
SITE = pl.DataFrame({"site_id": ["S1"], "zone": ["America/Los_Angeles"]})
PUMP = pl.DataFrame({"pump_id": ["P1"], "site_id": ["S1"]})


def counter(start_min: float, end_min: float, kwh: float, digit: float = 0.001, day: date = MONDAY) -> dict:
    """One unbroken run of the energy counter."""
    return {
        "pump_id": "P1",
        "day_local": day,
        "start_utc": midnight(day) + timedelta(minutes=start_min),
        "end_utc": midnight(day) + timedelta(minutes=end_min),
        "counter_kwh": kwh,
        "last_digit_kwh": digit,
    }


def database(spans: list[dict], runs: list[dict], days: list[date] | None = None) -> Database:
    db = Database(threads=1)
    local_days, _ = calendar(days or [MONDAY])
    for name, frame in {
        "site": SITE,
        "pump": PUMP,
        "local_day": pl.DataFrame(local_days),
        "span": pl.DataFrame(spans, schema=SPANS.schema),
        "counter_run": pl.DataFrame(runs, schema=COUNTER_RUNS.schema),
        "speed_grid": grid(),
        "loading": LOADING.empty(),
    }.items():
        db.load(name, frame)
    find_aux_draw(db)
    parameters = AccountingParameters().pick("meter_accuracy", "flow_meter_accuracy", "standby_w")
    db.build("span_estimate", "accounting/span_estimate", parameters)
    build_balance(db)
    return db


def balance(spans: list[dict], runs: list[dict], days: list[date] | None = None) -> list[dict]:
    with database(spans, runs, days) as db:
        return db.table("balance").to_dicts()


def whole_day(power_w: float = 460.0, standby_w: float = 4.0) -> list[dict]:
    """10 h at half speed, 14 h off: 4.6 kWh and 0.056 kWh with the usual powers."""
    return [span(0, 600, "run", HALF, power_w=power_w), span(600, 1440, "off", power_w=standby_w)]


POWER_KWH = 0.460 * 10 + 0.004 * 14


def test_a_day_whose_meters_agree_passes_and_prints_every_way():
    (row,) = balance(whole_day(), [counter(0, 1440, 4.70)])
    assert row["verdict"] == "pass"
    assert row["power_kwh"] == pytest.approx(POWER_KWH)
    assert row["counter_kwh"] == row["counter_same_kwh"] == pytest.approx(4.70)
    assert row["power_min"] == row["compared_min"] == pytest.approx(1440)
    assert row["difference_share"] == pytest.approx((POWER_KWH - 4.70) / 4.70)
    assert row["curve_kwh"] == pytest.approx(4.5)  # 450 W for 10 h
    assert row["curve_metered_kwh"] == pytest.approx(4.6)
    assert row["standby_kwh"] == pytest.approx(0.056)
    assert row["sentence"] == "power and counter agree within 0.9 %"


# 3 % passes, 3 to 5 % warns, above 5 % disqualifies: the limits of the order for this project.
@pytest.mark.parametrize(
    ("factor", "verdict"),
    [
        (1.0, "pass"),
        (1.029, "pass"),
        (0.972, "pass"),
        (1.033, "warns"),
        (0.965, "warns"),
        (1.052, "warns"),
        (1.056, "disqualifies"),
        (0.945, "disqualifies"),
        (2.0, "disqualifies"),
    ],
)
def test_the_limits(factor, verdict):
    (row,) = balance(whole_day(), [counter(0, 1440, POWER_KWH * factor, digit=1e-6)])
    assert row["verdict"] == verdict
    if verdict != "pass":
        assert "check which meter is right" in row["sentence"]


def test_a_counter_that_stands_still_disqualifies():
    (row,) = balance(whole_day(), [counter(0, 1440, 0.0)])
    assert (row["verdict"], row["difference_share"]) == ("disqualifies", pytest.approx(1.0))


def test_power_that_stands_at_zero_under_a_running_counter_disqualifies():
    (row,) = balance([span(0, 1440, "run", HALF, power_w=0.0)], [counter(0, 1440, 4.7)])
    assert (row["verdict"], row["difference_share"]) == ("disqualifies", pytest.approx(-1.0))


def test_the_last_digit_is_no_difference():
    """0.1 kWh of digit on 2.2 kWh is 4.5 %: a difference of 4 % is within it, and a pass would be luck."""
    spans = [span(0, 1440, "run", HALF, power_w=2200 / 24)]
    (row,) = balance(spans, [counter(0, 1440, 2.1, digit=0.1)])
    assert row["verdict"] == "cannot tell"
    assert "too coarse" in row["sentence"]
    (row,) = balance(spans, [counter(0, 1440, 1.9, digit=0.1)])  # 0.3 kWh apart, 0.2 past the digit: 9 % of 2.2
    assert row["verdict"] == "disqualifies"


@pytest.mark.parametrize(
    ("spans", "runs", "words"),
    [
        (whole_day(), [], "no counter to check it by"),
        ([span(0, 1440, "run", HALF, energy_kwh=11.0)], [counter(0, 1440, 11.0)], "no logged power to check it by"),
        ([span(0, 1440, "run", HALF)], [], "neither logged power nor a counter"),
        ([span(0, 600, "run", HALF, power_w=460)], [counter(700, 1440, 4.0)], "no time in common"),
        (whole_day(), [counter(0, 300, 2.3)], "only 300 minutes"),
        ([span(0, 1440, "off", power_w=0.0)], [counter(0, 1440, 0.0)], "neither power nor counter moved"),
        ([], [], "neither logged power nor a counter"),
    ],
)
def test_what_cannot_be_told_is_said(spans, runs, words):
    (row,) = balance(spans, runs)
    assert row["verdict"] == "cannot tell"
    assert words in row["sentence"]


def test_only_the_time_that_both_saw_is_compared():
    """Power has a hole from 300 to 360; the counter broke there too. It is two runs, each fully covered."""
    spans = [
        span(0, 300, "run", HALF, power_w=460),
        span(300, 360, "unknown"),
        span(360, 1440, "run", HALF, power_w=460),
    ]
    (row,) = balance(spans, [counter(0, 300, 2.3), counter(360, 1440, 8.28)])
    assert (row["verdict"], row["compared_min"]) == ("pass", pytest.approx(1380))
    assert row["last_digit_kwh"] == pytest.approx(0.002)
    # A counter that went on through the hole knows more than the power, and is not held against it.
    (row,) = balance(spans, [counter(0, 1440, 11.04)])
    assert row["verdict"] == "cannot tell"
    assert "no time in common" in row["sentence"]


def test_a_counter_run_may_end_past_midnight():
    tuesday = MONDAY + timedelta(days=1)
    spans = [span(0, 1440, "run", HALF, power_w=480, day=day) for day in (MONDAY, tuesday)]
    first, second = balance(spans, [counter(3, 1443, 11.52), counter(3, 1440, 11.496, day=tuesday)], [MONDAY, tuesday])
    assert [first["verdict"], second["verdict"]] == ["pass", "pass"]
    assert first["power_same_kwh"] == pytest.approx(11.52)


def test_power_below_zero_disqualifies_and_is_named():
    (row,) = balance([span(0, 1440, "run", HALF, power_w=-40.0)], [])
    assert row["verdict"] == "disqualifies"
    assert "falls to -40 W" in row["sentence"]
    assert "never counted as saving" in row["sentence"]


def test_a_disqualified_day_is_struck_with_its_reason():
    with database(whole_day(), [counter(0, 1440, 6.0)]) as db:
        db.load(
            "struck_day",
            pl.DataFrame({"site_id": ["S9"], "day_local": [MONDAY], "reason": ["did not run"]}),
        )
        strike_unbalanced(db)
        rows = db.table("struck_day").to_dicts()
    assert [(row["site_id"], row["day_local"]) for row in rows] == [("S1", MONDAY), ("S9", MONDAY)]
    assert rows[0]["reason"].startswith("pump P1: power and counter differ by 22.4 %")
    with database(whole_day(), [counter(0, 1440, 4.75)]) as db:
        db.load(
            "struck_day",
            pl.DataFrame(rows[:0], schema={"site_id": pl.String, "day_local": pl.Date, "reason": pl.String}),
        )
        strike_unbalanced(db)
        assert db.table("struck_day").is_empty()


# --- what else is on the meter ---


def test_power_well_above_standby_while_the_pump_stands_is_flagged():
    (row,) = balance(whole_day(standby_w=95), [])
    assert "95 W while the pump stands: something else is on its meter" in row["sentence"]
    (row,) = balance(whole_day(standby_w=12), [])
    assert "while the pump stands" not in row["sentence"]


WEEK = [MONDAY + timedelta(days=count) for count in range(4)]


def heated(extra: tuple[float, ...]) -> list[dict]:
    """Each day 8 h at half speed, 2 h of it with the auxiliary load on and so many watts more on the meter."""
    spans = []
    for day, watts in zip(WEEK, extra, strict=True):
        spans += [
            span(0, 360, "run", HALF, power_w=450, day=day, aux_on=False),
            span(360, 480, "run", HALF, power_w=450 + watts, day=day, aux_on=True),
            span(480, 1440, "off", power_w=4, day=day, aux_on=False),
        ]
    return spans


def test_a_constant_device_is_taken_out_with_its_interval():
    with database(heated((200, 204, 198, 202)), [], WEEK) as db:
        rows, estimates = db.table("balance").to_dicts(), db.table("span_estimate").to_dicts()
        (draw,) = db.table("aux_draw").to_dicts()
    assert (draw["aux_w_lo"], draw["aux_w_mid"], draw["aux_w_hi"]) == pytest.approx((198, 201, 204))
    assert draw["constant"]
    assert rows[0]["aux_kwh_mid"] == pytest.approx(0.201 * 2)
    assert "201 W (198 to 204 W) of another device on the same meter taken out" in rows[0]["sentence"]
    with_load = estimates[1]
    assert with_load["energy_kwh_mid"] == pytest.approx((0.650 - 0.201) * 2)
    assert with_load["energy_kwh_lo"] == pytest.approx((0.650 * 0.98 - 0.204) * 2)
    assert with_load["energy_kwh_hi"] == pytest.approx((0.650 * 1.02 - 0.198) * 2)
    assert estimates[0]["energy_kwh_mid"] == pytest.approx(0.450 * 6)


def test_a_device_that_varies_is_flagged_and_stays_in():
    with database(heated((100, 400, 250, 60)), [], WEEK) as db:
        rows, estimates = db.table("balance").to_dicts(), db.table("span_estimate").to_dicts()
    assert "not constant enough to take out" in rows[0]["sentence"]
    assert rows[0]["aux_kwh_mid"] is None
    assert estimates[1]["energy_kwh_mid"] == pytest.approx(0.550 * 2)


def test_two_days_do_not_show_that_a_device_is_constant():
    spans = [row for row in heated((200, 200, 200, 200)) if row["day_local"] < WEEK[2] or not row["aux_on"]]
    with database(spans, [], WEEK) as db:
        assert db.table("aux_draw")["constant"].to_list() == [False]


@pytest.mark.parametrize("watts", [0, 40, -30])
def test_a_load_that_is_not_on_the_meter_changes_nothing(watts):
    """A gas heater's valve moves the pump's power by a few percent."""
    with database(heated((watts,) * 4), [], WEEK) as db:
        assert db.table("aux_draw").is_empty()
        assert "another device" not in " ".join(db.table("balance")["sentence"])


def test_the_power_curve_is_fitted_without_the_device():
    with database(heated((200, 200, 200, 200)), [], WEEK) as db:
        alone = db.query("accounting/pump_alone")
    assert alone["power_w"].max() == 450
    assert alone.height == 8


# --- properties ---


@settings(max_examples=10, deadline=None)
@given(st.lists(st.integers(1, 1439), max_size=6, unique=True), st.floats(3.0, 7.0))
def test_splitting_spans_changes_nothing(cuts, counted):
    edges = sorted({0, 600, 1440, *cuts})
    split = [
        span(start, end, "run", HALF, power_w=460) if end <= 600 else span(start, end, "off", power_w=4)
        for start, end in pairwise(edges)
    ]
    whole, parts = (balance(rows, [counter(0, 1440, counted)])[0] for rows in (whole_day(), split))
    assert {name: value for name, value in parts.items() if isinstance(value, str)} == {
        name: value for name, value in whole.items() if isinstance(value, str)
    }
    for name, value in whole.items():
        if isinstance(value, float):
            assert parts[name] == pytest.approx(value, abs=1e-9)
