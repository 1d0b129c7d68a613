"""How the uncertainty of a fleet is combined: by hand, by properties, a Monte Carlo, and the package uncertainties.

Source of the rule: JCGM 100:2008 (GUM), 5.1 (independent inputs, quadrature) and 5.2.2 note (correlation 1, straight
sum).
"""

from __future__ import annotations

import math
import random
from datetime import date

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from uncertainties import ufloat

from pumpledger.accounting.fleet_uncertainty import OWN, Term, build_fleet_savings, parts, total, words
from pumpledger.engine.account_tables import FLEET_SAVINGS
from pumpledger.engine.database import Database

SOME = [
    Term("A", "meter", "energy meters", 3, 3),
    Term("B", "meter", "energy meters", 4, 5),
    Term("B", "baseline", "stipulated baselines", 6, 6),
    Term("A", "baseline", "", 8, 8),
    Term("B", "volume", "", 15, 15),
]

_widths = st.floats(0, 1e4, allow_nan=False, width=32)
_terms = st.lists(
    st.builds(
        Term,
        st.sampled_from(["A", "B", "C", "D"]),
        st.sampled_from(["meter", "baseline", "volume"]),
        st.sampled_from(["", "", "energy meters", "stipulated baselines"]),
        _widths,
        _widths,
    ),
    max_size=20,
)


def test_shared_causes_add_straight_and_the_rest_in_quadrature() -> None:
    """By hand: meters 3 + 4 = 7, stipulated 6, own sqrt(8^2 + 15^2) = 17; in all sqrt(49 + 36 + 289)."""
    found = {part.name: part for part in parts(SOME)}
    assert (found["energy meters"].below, found["energy meters"].above) == (7, 8)
    assert found["stipulated baselines"].below == 6
    assert found[OWN].below == pytest.approx(17) and found[OWN].sites == 2
    below, above = total(found.values())
    assert below == pytest.approx(math.sqrt(7**2 + 6**2 + 17**2))
    assert above == pytest.approx(math.sqrt(8**2 + 6**2 + 17**2))


def test_own_terms_of_one_site_and_kind_add_straight() -> None:
    """Two pumps of a site share its technician and its memory: 3 + 4, not 5."""
    (part,) = parts([Term("A", "baseline", "", 3, 3), Term("A", "baseline", "", 4, 4)])
    assert part.below == 7


def test_nothing_known_has_no_parts_and_no_words() -> None:
    assert parts([]) == [] and total([]) == (0, 0) and words([], 0, 0) == ""


@given(st.integers(1, 400), st.floats(0.01, 1e3))
@settings(deadline=None, max_examples=40)
def test_many_independent_sites_shrink_the_relative_width_as_one_over_root_n(sites: int, width: float) -> None:
    """Each site saves 100 kWh; the width of the sum over the sum."""
    own, _ = total(parts(Term(str(i), "volume", "", width, width) for i in range(sites)))
    common, _ = total(parts(Term(str(i), "meter", "energy meters", width, width) for i in range(sites)))
    assert own / (100 * sites) == pytest.approx(width / 100 / math.sqrt(sites), rel=1e-9)
    assert common / (100 * sites) == pytest.approx(width / 100, rel=1e-9)


@given(_terms, st.randoms(use_true_random=False))
@settings(deadline=None, max_examples=60)
def test_the_order_of_the_terms_does_not_matter(terms: list[Term], chance: random.Random) -> None:
    shuffled = list(terms)
    chance.shuffle(shuffled)
    assert parts(shuffled) == parts(terms)


_one_more = st.builds(Term, st.just("A"), st.just("volume"), st.sampled_from(["", "energy meters"]), _widths, _widths)


@given(_terms, _one_more)
@settings(deadline=None, max_examples=60)
def test_one_more_term_never_narrows_and_never_adds_more_than_itself(terms: list[Term], more: Term) -> None:
    before, after = total(parts(terms)), total(parts([*terms, more]))
    for narrow, wide, width in zip(before, after, (more.below, more.above), strict=True):
        assert narrow <= wide + 1e-9 * (1 + wide)
        assert wide <= narrow + width + 1e-9 * (1 + wide)


@given(_terms)
@settings(deadline=None, max_examples=60)
def test_it_agrees_with_the_package_uncertainties(terms: list[Term]) -> None:
    """Correlated sums by ``uncertainties`` 3.2: one variable of unit width a cause, one a site and kind."""
    causes: dict[object, object] = {}
    whole = 0 * ufloat(0, 1)
    for term in terms:
        cause = causes.setdefault(term.shared or (term.site_id, term.kind), ufloat(0, 1))
        whole = whole + term.below * cause
    assert total(parts(terms))[0] == pytest.approx(whole.std_dev, rel=1e-9, abs=1e-12)


def test_it_agrees_with_a_monte_carlo() -> None:
    """60 sites, 40 of them on stipulated baselines, by numpy: half of the middle 90 % of 100,000 sums of normal draws.

    A half-width of a 90 % interval is 1.645 standard deviations. The estimate of a quantile of 100,000 draws scatters
    by about 0.5 %; 2 % is four times that.
    """
    rng = np.random.default_rng(4)
    widths = rng.uniform(1.0, 9.0, (60, 3))
    terms, draws = [], np.zeros(100_000)
    meter, stipulated = rng.standard_normal((2, 100_000))
    for i, (on_meter, on_baseline, on_volume) in enumerate(widths.tolist()):
        common = i < 40
        terms += [
            Term(f"S{i}", "meter", "energy meters", on_meter, on_meter),
            Term(f"S{i}", "baseline", "stipulated baselines" if common else "", on_baseline, on_baseline),
            Term(f"S{i}", "volume", "", on_volume, on_volume),
        ]
        draws += on_meter * meter + on_volume * rng.standard_normal(100_000)
        draws += on_baseline * (stipulated if common else rng.standard_normal(100_000))
    low, high = np.quantile(draws / 1.6449, [0.05, 0.95])
    assert total(parts(terms))[0] == pytest.approx((high - low) / 2, rel=0.02)


def test_the_sentence_names_every_cause_with_its_share() -> None:
    found = parts(SOME)
    assert words(found, *total(found)) == (
        "Of the \u00b120 kWh, 7.5 come from energy meters (2 sites), 6.0 come from stipulated baselines (1 site), "
        "and 17 from what is each site's own (2 sites): "
        "what sites share is added straight, then all as the root of their squares."
    )


def test_the_sentence_lumps_small_shared_causes() -> None:
    """Three are named; 3 and 4 of the others make 5."""
    terms = [Term("A", "volume", f"cause {width}", width, width) for width in (90, 80, 70, 4, 3)]
    assert "70 come from cause 70 (1 site), and 5.0 from 2 smaller shared causes: what" in words(parts(terms), 1, 1)


# The tables --------------------------------------------------------------------------------------------------------


DAY = date(2026, 11, 3)


def _day(site: str, pump: str, **more: object) -> dict[str, object]:
    row = {
        "site_id": site, "pump_id": pump, "day_local": DAY, "believed": True,
        "energy_kwh_lo": 9.7, "energy_kwh_mid": 10.0, "energy_kwh_hi": 10.5, "energy_source": "metered power",
        "volume_source": "commissioned", "evidence": "measured",
        "baseline_off": 1.0, "equal_power_off": 0.8, "equal_below": 2.0, "equal_above": 3.0,
    }  # fmt: skip
    return row | more


def _built(days: list[dict[str, object]], counted: dict[str, bool], power: str = "fitted to readings") -> pl.DataFrame:
    pumps = [row["pump_id"] for row in days]
    with Database(threads=1) as db:
        db.load("baseline_day", pl.DataFrame(days, infer_schema_length=None))
        db.load(
            "savings",
            pl.DataFrame(
                [
                    {"site_id": site, "day_local": DAY, "counted": told, "raw_kwh_mid": 20.0, "equal_kwh_mid": 15.0}
                    for site, told in counted.items()
                ]
            ),
        )
        db.load("pump", pl.DataFrame({"pump_id": pumps, "curve": ["QC-075"] * len(pumps)}))
        db.load("speed_grid", pl.DataFrame({"pump_id": pumps, "power_source": [power] * len(pumps)}))
        build_fleet_savings(db, 0.02)
        return db.table("fleet_savings")


def _part(rows: pl.DataFrame, quantity: str, part: str) -> dict[str, object]:
    return rows.filter((pl.col("quantity") == quantity) & (pl.col("part") == part)).row(0, named=True)


def test_a_metered_day_parts_into_the_meter_and_the_rest() -> None:
    """10 kWh at 2 % are 0.2 kWh of the meter, and 0.3 - 0.2 below and 0.5 - 0.2 above are the site's own."""
    rows = _built([_day("A", "P"), _day("B", "Q")], {"A": True, "B": False})
    assert rows.schema == FLEET_SAVINGS.schema
    assert _part(rows, "energy", "energy meters")["below_kwh"] == pytest.approx(2 * 0.2)
    own = _part(rows, "energy", OWN)
    assert own["below_kwh"] == pytest.approx(math.hypot(0.1, 0.1))
    assert own["above_kwh"] == pytest.approx(math.hypot(0.3, 0.3))
    whole = _part(rows, "energy", "total")
    assert (whole["mid_kwh"], whole["sites"], whole["site_days"]) == (20.0, 2, 2)
    assert whole["lo_kwh"] == pytest.approx(20 - math.hypot(0.4, 0.1, 0.1))


def test_savings_take_the_counted_days_and_turn_the_energy_round() -> None:
    """A saving is low where energy is high: own 0.3 below and 0.1 above, with the baseline's 0.8 and the volume's 2
    and 3."""
    rows = _built([_day("A", "P"), _day("B", "Q")], {"A": True, "B": False})
    whole = _part(rows, "equal-volume saving", "total")
    assert (whole["mid_kwh"], whole["site_days"]) == (15.0, 1)
    assert whole["below_kwh"] == pytest.approx(math.hypot(0.2, 0.3, 0.8, 2.0))
    assert whole["above_kwh"] == pytest.approx(math.hypot(0.2, 0.1, 0.8, 3.0))
    assert _part(rows, "raw saving", "total")["below_kwh"] == pytest.approx(math.hypot(0.2, 0.3, 1.0))


def test_stipulated_baselines_and_flows_by_one_curve_are_shared() -> None:
    days = [_day(site, site, evidence="stipulated", volume_source="curve") for site in "ABC"]
    rows = _built(days, dict.fromkeys("ABC", True))
    assert _part(rows, "equal-volume saving", "stipulated baselines")["below_kwh"] == pytest.approx(3 * 0.8)
    assert _part(rows, "equal-volume saving", "flows by curve QC-075")["above_kwh"] == pytest.approx(3 * 3.0)
    assert _part(rows, "equal-volume saving", OWN)["below_kwh"] == pytest.approx(0.3 * math.sqrt(3))


def test_a_fitted_curve_holds_its_meter_in_quadrature_and_a_visits_clamp_is_its_own() -> None:
    """0.5 kWh above, of which the meter's 0.2 is one of two squares; without readings there is no shared meter."""
    by_readings = _built([_day("A", "P", energy_source="fitted curve")], {"A": False})
    assert _part(by_readings, "energy", OWN)["above_kwh"] == pytest.approx(math.sqrt(0.5**2 - 0.2**2))
    by_visit = _built([_day("A", "P", energy_source="fitted curve")], {"A": False}, "fitted to visit points")
    assert _part(by_visit, "energy", OWN)["above_kwh"] == pytest.approx(0.5)
    assert by_visit["part"].to_list() == ["total", OWN]


def test_a_site_with_one_doubted_pump_or_no_counted_day_carries_nothing() -> None:
    rows = _built([_day("A", "P"), _day("A", "P2", believed=False)], {"A": False})
    assert rows.is_empty()
