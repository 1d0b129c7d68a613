"""Thresholds of the rules about equipment: stricter never finds more, and each one moves what is found.

The generic test of `test_ranking.py` asks the same of all other rules; these have a fleet of their own.
"""

from __future__ import annotations

from datetime import timedelta

import pytest
from equipment_fleet import LAST, WEEK, WEEK_DAYS, EquipmentFleet

from pumpledger.diagnosis.rules import equipment, parameter_values
from pumpledger.diagnosis.run import diagnose
from pumpledger.engine.database import sql_text

ROUND = ((1, 1000, 0, 1440),)


@pytest.fixture(scope="module")
def wide():
    """A site for each rule of `equipment` that shows what it looks for."""
    fleet = EquipmentFleet()
    fleet.weather("w", lambda hour: 31.0 if 19 <= hour.hour < 23 else 17.0)
    trip = fleet.site("S9")
    fleet.drew(trip, WEEK_DAYS[0], 600, 640, 8.0)
    sag = fleet.site("S10", weather="w")
    fleet.site("S11", suction_limit_m3h=9.0, pipe_size="2 in")
    stuck = fleet.site("S12", aux_load="heater", aux_min_speed_rpm=1400.0)
    silent = fleet.site("S13", aux_load="booster", aux_min_speed_rpm=1400.0)
    fleet.site("S15", aux_load="chlorinator", aux_min_speed_rpm=1400.0, aux_hours_per_day=4.0, weather="w")
    slow = fleet.site("S16", aux_load="heater", aux_min_speed_rpm=1400.0)
    warm = fleet.site("S18", weather="w", freeze_setpoint_c=3.0, freeze_speed_rpm=1125.0)
    night = fleet.site("S19", plan=ROUND)
    still = fleet.site("S20")
    for pump in (stuck, silent, slow):
        fleet.log_aux(pump)
    for day in fleet.days:
        if day < fleet.days[-3]:
            fleet.load_on(silent, day, 435, 465)
    for n, day in enumerate(WEEK_DAYS):
        fleet.set(sag, day, 920, 660, 780)
        fleet.set(sag, day, 840, 780, 900)
        fleet.load_on(slow, day, 600, 700)
        fleet.set(warm, day, 1125, 120, 200)
        fleet.load_on(stuck, day, 1300, 1304)
        if n < 5:
            fleet.set(night, day, 0, 1320 + 5 * n)
            fleet.set(night, day + timedelta(days=1), 0, 0, 360)
    for day in fleet.days[-11:]:
        fleet.set(still, day, 0)
    with fleet.database() as db:
        diagnose(db, WEEK, LAST)
        yield db


@pytest.mark.parametrize("rule", equipment.RULES, ids=lambda rule: rule.id)
def test_stricter_parameters_never_find_more(rule, wide) -> None:
    def found(values: dict[str, float]) -> int:
        return rule.evidence(wide, parameter_values(rule, {rule.id: values})).filter(verdict="found").height

    usual = found({})
    assert usual >= 1
    for name, limits in rule.parameters.items():
        strict, slack = (limits.most, limits.least) if limits.stricter == "more" else (limits.least, limits.most)
        assert found({name: strict}) <= usual <= found({name: slack}), name


def test_every_declared_threshold_is_used() -> None:
    shared = sql_text("diagnosis/aux_window")
    for rule in equipment.RULES:
        text = sql_text(f"diagnosis/rule_{rule.id.lower()}") + (shared if rule.find else "")
        assert all(f"${name}" in text for name in rule.parameters), rule.id


def test_what_can_hurt_prints_its_caution() -> None:
    cautions = {rule.id: rule.caution for rule in equipment.RULES}
    for identifier, words in {
        "D9": "lock out",
        "D10": "lock out",
        "D11": "drown",
        "D12": "hydrogen",
        "D13": "hydrogen",
        "D16": "overheat",
        "D18": "treat them as exposed",
        "D19": "treat them as exposed",
    }.items():
        assert words in cautions[identifier] and "licensed practice" in cautions[identifier]
