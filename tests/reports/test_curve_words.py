"""Where flow and power come from, in the words of a site's page."""

from __future__ import annotations

from pumpledger.engine.account_tables import CURVES
from pumpledger.reports.curve_words import curve_facts

ROW = dict.fromkeys(CURVES.columns) | {
    "flow_source": "gauges",
    "flow_method": "Monte Carlo",
    "flow_basis": "gauges read on 2026-05-04",
    "static_head_m": 2.0,
    "zero_flow_speed_rpm": 1150.0,
    "power_source": "fitted to readings",
    "power_basis": "9 points",
    "base_w": 45.0,
    "exponent": 2.71,
    "exponent_lo": 2.5,
    "exponent_hi": 2.9,
    "lowest_rpm": 900.0,
    "highest_rpm": 2850.0,
}


def words(**change: object) -> dict[str, str]:
    return {label: value.replace("\u00a0", " ") for label, value in curve_facts(ROW | change, "metric")}


def test_source_method_and_limits_are_said() -> None:
    said = words()
    assert said["Flow rests on"] == "gauges: gauges read on 2026-05-04; interval by Monte Carlo"
    assert said["Zero-flow speed"].startswith("1,150 rpm") and "2.0 m" in said["Zero-flow speed"]
    power = said["Wire power rests on"]
    assert "exponent 2.71 (2.50 to 2.90)" in power and "900 rpm to 2,850 rpm only" in power and "45 W constant" in power


def test_nothing_known_is_said_and_no_zero_flow_speed_without_height() -> None:
    said = words(
        flow_source="none",
        flow_method="none",
        flow_basis="no pump curve is named",
        zero_flow_speed_rpm=None,
        exponent=None,
    )
    assert said["Flow rests on"] == "nothing: no pump curve is named" and "Zero-flow speed" not in said
    assert said["Wire power rests on"] == "fitted to readings: 9 points"
    assert curve_facts(None, "metric") == []


def test_in_us_units() -> None:
    assert "6.6" in dict(curve_facts(ROW, "us"))["Zero-flow speed"]
