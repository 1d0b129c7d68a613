"""A programme's tables, conditions and caps applied to a site."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from pumpledger.claims.applied import Facts, Missing, ineligible, look_up, results
from pumpledger.claims.formulas import Inputs
from pumpledger.claims.programme import find_programme
from pumpledger.claims.programme_data import Eligible, Formula

EXAMPLE = find_programme(Path("nowhere"), "peak_capacity_example")
NOTHING = Inputs(None, None, None, 0, None, None, None)
PUMP = {
    "pump_id": "P",
    "label_rating": 4.5,
    "warranty_years": 3.0,
    "nameplate_power_w": 750.0,
    "baseline_power_w": None,
}


def facts(volume_m3: float = 25.0, **pump: object) -> Facts:
    return Facts({"pool_volume_m3": volume_m3, "pool_class": "residential"}, (PUMP | pump,))


@pytest.mark.parametrize(("volume", "capacity", "life"), [(25.0, 0.04116, 2.96352), (15.0, 0.03248, 2.33856)])
def test_the_worked_example_gives_its_printed_values(volume: float, capacity: float, life: float) -> None:
    # Facts 5a, 5b: New South Wales, activity SYS2, read in the regulator-side rules as code.
    ((formula, (paid, kw)),) = results(EXAMPLE, NOTHING, facts(volume))
    assert formula.claimed
    assert (paid.value, kw.value) == pytest.approx((life, capacity), abs=1e-6)


def test_a_two_speed_pump_has_its_own_table() -> None:
    # Facts 5c.
    assert look_up(EXAMPLE.tables["new two-speed pump"], facts(25.0)) == 0.184


@pytest.mark.parametrize(
    ("volume", "pump", "said"),
    [
        (30.0, {}, "no band for pool_volume 30000 L"),
        (25.0, {"label_rating": 10.0}, "no value for label_rating 10"),
        (25.0, {"label_rating": None}, "label_rating is not entered"),
        (25.0, {"label_rating": 4.6}, "no value for label_rating 4.6"),
    ],
)
def test_what_the_programme_has_no_number_for_is_not_computed(
    volume: float, pump: dict[str, object], said: str
) -> None:
    ((_, (paid, _)),) = results(EXAMPLE, NOTHING, facts(volume, **pump))
    assert paid.value is None
    assert said in paid.sentence


def test_two_pumps_have_no_one_rating() -> None:
    two = Facts({"pool_volume_m3": 25.0, "pool_class": "residential"}, (PUMP, PUMP | {"pump_id": "Q"}))
    with pytest.raises(Missing, match="the site has 2"):
        look_up(EXAMPLE.tables["new variable-speed pump"], two)


@pytest.mark.parametrize(
    ("pump", "site", "holds"),
    [
        ({}, {}, True),
        ({"label_rating": 4.0}, {}, False),
        ({"warranty_years": 2.9}, {}, False),
        ({"nameplate_power_w": 100.0}, {}, False),
        ({"nameplate_power_w": 100.1}, {}, True),
        ({"nameplate_power_w": 2500.0}, {}, False),
        ({"nameplate_power_w": None}, {}, False),
        ({}, {"pool_class": "public"}, False),
    ],
)
def test_conditions_at_their_edges(pump: dict[str, object], site: dict[str, object], holds: bool) -> None:
    # Facts 5.2: at least 4.5 stars, 3 years, 100 to 2500 W exclusive, domestic [READ].
    known = Facts({"pool_volume_m3": 25.0, "pool_class": "residential"} | site, (PUMP | pump,))
    assert (ineligible(EXAMPLE, known) == []) is holds


@pytest.mark.parametrize(
    ("model", "holds"), [("Made-up 3", True), ("MADE-UP  3", True), ("Made-up 30", False), (None, False)]
)
def test_a_model_is_on_the_programmes_list_or_not(model: str | None, holds: bool) -> None:
    listed = replace(EXAMPLE, eligible=(Eligible("model", one_of=("Made-up 2", "Made-up 3")),))
    found = ineligible(listed, facts(model=model))
    assert (found == []) is holds
    assert all(state == "missing" and ("one of the 2" in said or "not entered" in said) for state, said in found)


def test_a_cap_holds_the_paid_result_and_says_so() -> None:
    raw = replace(
        EXAMPLE, formulas=(Formula("raw saving", True),), caps={"most_share_of_baseline": 0.5, "most_result": 40.0}
    )
    inputs = replace(NOTHING, baseline_kwh=100.0, energy_kwh=20.0)
    ((_, (paid,)),) = results(raw, inputs, facts())
    assert (paid.value, paid.capped) == (40.0, "held to 40 kWh")
    ((_, (paid,)),) = results(replace(raw, caps={"most_share_of_baseline": 0.5}), inputs, facts())
    assert (paid.value, paid.capped) == (50.0, "held to 50% of the baseline")
    ((_, (paid,)),) = results(replace(raw, caps={"most_result": 80.0}), inputs, facts())
    assert (paid.value, paid.capped) == (80.0, "")
    ((_, (paid,)),) = results(raw, NOTHING, facts())
    assert paid.value is None
