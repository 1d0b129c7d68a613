"""Properties of the accounts: what must hold for any day. Each example is a small fleet, six days at six sites in one
run."""

from __future__ import annotations

import polars as pl
import pytest
from account_rows import PUMP, SITE, accounts, grid, span, window
from hypothesis import given, settings
from hypothesis import strategies as st

SPEEDS = (0.0, 1200.0, 1725.0, 2400.0, 3450.0)
FEW = settings(max_examples=4, deadline=None)
NAMES = [f"P{index}" for index in range(6)]
PUMPS = [PUMP | {"pump_id": name, "site_id": f"S{name}"} for name in NAMES]
SITES = [SITE | {"site_id": f"S{name}"} for name in NAMES]
GRIDS = pl.concat([grid(name) for name in NAMES])

Day = list[tuple[float, float, float]]


@st.composite
def days(draw: st.DrawFn) -> Day:
    """A whole day as stretches (start_min, end_min, speed_rpm), cut on 5 minutes."""
    cuts = sorted(draw(st.sets(st.integers(1, 287), min_size=1, max_size=5)))
    edges = [0, *(cut * 5 for cut in cuts), 1440]
    return [(start, end, draw(st.sampled_from(SPEEDS))) for start, end in zip(edges, edges[1:], strict=False)]


fleets = st.lists(days(), min_size=6, max_size=6)


def spans_of(fleet: list[Day], metered: bool) -> list[dict]:
    """Spans of a fleet; metered power is what the plain grid says, and nothing when off."""
    return [
        span(
            start,
            end,
            "run" if speed else "off",
            speed,
            pump_id=name,
            power_w=1800 * (speed / 3450) ** 2 if metered else None,
        )
        for name, day in zip(NAMES, fleet, strict=True)
        for start, end, speed in day
    ]


def run(spans: list[dict], fleet: list[Day], sites: list[dict] = SITES) -> tuple[list[dict], list[dict]]:
    """The accounts, with a plan that asks for exactly what ``fleet`` does."""
    windows = [
        window(start, end, speed, pump_id=name)
        for name, day in zip(NAMES, fleet, strict=True)
        for start, end, speed in day
        if speed
    ]
    return accounts(spans, sites=sites, pumps=PUMPS, grids=GRIDS, windows=windows)


def like(value: object) -> object:
    return pytest.approx(value, abs=1e-9) if isinstance(value, float) else value


@FEW
@given(fleet=fleets, metered=st.booleans())
def test_twice_the_pool_halves_the_turnovers(fleet: list[Day], metered: bool) -> None:
    spans = spans_of(fleet, metered)
    small, _ = run(spans, fleet)
    large, _ = run(spans, fleet, [site | {"pool_volume_m3": 2 * SITE["pool_volume_m3"]} for site in SITES])
    for one, other in zip(small, large, strict=True):
        for bound in ("lo", "mid", "hi"):
            assert one[f"turnovers_{bound}"] == pytest.approx(2 * other[f"turnovers_{bound}"])
            assert one[f"volume_m3_{bound}"] == other[f"volume_m3_{bound}"]


@FEW
@given(fleet=fleets, metered=st.booleans(), share=st.floats(0.1, 0.9), which=st.integers(0, 5))
def test_splitting_a_span_changes_nothing(fleet: list[Day], metered: bool, share: float, which: int) -> None:
    split = []
    for day in fleet:
        start, end, speed = day[which % len(day)]
        middle = start + round((end - start) * share * 60) / 60
        split.append(
            sorted([part for part in day if part[0] != start] + [(start, middle, speed), (middle, end, speed)])
        )
    whole, cut = run(spans_of(fleet, metered), fleet), run(spans_of(split, metered), fleet)
    for before, after in zip(whole[0] + whole[1], cut[0] + cut[1], strict=True):
        assert after == {column: like(value) for column, value in before.items()}


@FEW
@given(
    fleet=fleets, metered=st.booleans(), lost=st.sets(st.integers(0, 5), min_size=1, max_size=4), more=st.integers(0, 5)
)
def test_more_unknown_minutes_never_narrow_the_range(
    fleet: list[Day], metered: bool, lost: set[int], more: int
) -> None:
    """For a pump that follows its plan: 'all at plan' bounds what was planned, not an override that nobody saw."""

    def seen_without(indices: set[int]) -> list[dict]:
        kept = [[part for index, part in enumerate(day) if index not in indices] for day in fleet]
        return run(spans_of(kept, metered), fleet)[0]

    known = {
        (row["pump_id"], name)
        for row in seen_without(set())
        for name in ("volume_m3", "energy_kwh")
        if row[f"{name}_lo"] is not None
    }
    assert len(known) == 12
    for fewer, fewest in zip(seen_without(lost), seen_without(lost | {more}), strict=True):
        for name in ("volume_m3", "energy_kwh"):
            assert fewest[f"{name}_lo"] <= fewer[f"{name}_lo"] + 1e-9
            assert fewest[f"{name}_hi"] >= fewer[f"{name}_hi"] - 1e-9
        assert fewest["coverage"] <= fewer["coverage"]


@FEW
@given(fleet=fleets, metered=st.booleans(), random=st.randoms(use_true_random=False))
def test_the_order_of_rows_is_irrelevant(fleet: list[Day], metered: bool, random) -> None:
    rows = spans_of(fleet, metered)
    shuffled = random.sample(rows, len(rows))
    assert run(rows, fleet) == run(shuffled, fleet)


@FEW
@given(fleet=fleets, metered=st.booleans())
def test_low_mid_high_are_in_order_and_money_is_the_sum_of_its_bands(fleet: list[Day], metered: bool) -> None:
    daily, savings = run(spans_of(fleet, metered), fleet)
    for row in daily:
        for name in ("volume_m3", "turnovers", "energy_kwh"):
            assert 0 <= row[f"{name}_lo"] <= row[f"{name}_mid"] <= row[f"{name}_hi"]
        base_kwh = row["energy_kwh_mid"] - row["peak_kwh"]
        assert base_kwh >= -1e-9 and row["peak_kwh"] >= 0
        assert row["cost"] == pytest.approx(0.20 * base_kwh + 0.50 * row["peak_kwh"])
    for row in savings:
        for name in ("raw_kwh", "equal_kwh"):
            assert row[f"{name}_lo"] <= row[f"{name}_mid"] <= row[f"{name}_hi"]


@FEW
@given(day=days())
def test_two_like_pumps_are_twice_one(day: Day) -> None:
    rows = spans_of([day] * 6, True)
    _, (one,) = accounts(
        [row for row in rows if row["pump_id"] == "P0"], pumps=[PUMP | {"pump_id": "P0"}], grids=grid("P0")
    )
    _, (two,) = accounts(
        [row for row in rows if row["pump_id"] in ("P0", "P1")],
        pumps=[PUMP | {"pump_id": name} for name in ("P0", "P1")],
        grids=pl.concat([grid("P0"), grid("P1")]),
    )
    sums = [f"{name}_kwh_{bound}" for name in ("raw", "equal") for bound in ("lo", "mid", "hi")]
    for column in ("measured_kwh", "baseline_kwh", "baseline_equal_kwh", *sums):
        assert two[column] == pytest.approx(2 * one[column])
