"""The dilution law against the values printed with it."""

from __future__ import annotations

import pytest

from pumpledger.accounting.dilution import filtered_share, turnover_time_h, turnovers_for_share
from pumpledger.units import to_inside


@pytest.mark.parametrize(
    ("turnovers", "percent"), [(0.5, 39.35), (1, 63.21), (1.5, 77.69), (2, 86.47), (3, 95.02), (4, 98.17), (6, 99.75)]
)
def test_filtered_share(turnovers: float, percent: float) -> None:
    """Facts 3b. The law: Gage and Bidwell; 63 % a turnover read in Simmonds et al., Water 2021, 13(17), 2350
    (abstract)."""
    assert filtered_share(turnovers) * 100 == pytest.approx(percent, abs=0.01)


@pytest.mark.parametrize(("turnovers", "percent"), [(1, 63), (2, 86), (3, 95)])
def test_published_whole_percent(turnovers: int, percent: int) -> None:
    """Facts 3c: J. Water & Health 16(3) 449, abstract."""
    assert round(filtered_share(turnovers) * 100) == percent


@pytest.mark.parametrize(("share", "turnovers"), [(0.99, 4.6052), (0.999, 6.9078)])
def test_turnovers_for_a_share(share: float, turnovers: float) -> None:
    """Facts 3d, arithmetic."""
    assert turnovers_for_share(share) == pytest.approx(turnovers, abs=1e-3)
    assert filtered_share(turnovers_for_share(share)) == pytest.approx(share)


def test_a_filter_that_takes_half_needs_twice_the_turnovers() -> None:
    """The form with an efficiency is from memory, high confidence."""
    assert filtered_share(4, 0.5) == pytest.approx(filtered_share(2))


def test_turnover_time() -> None:
    """Facts 3a: 65,000 gal at 240 gpm, a public-training example: 4.5139 h. Facts 2d: 10,000 gal at 36 gpm: 4.6296
    h."""
    assert turnover_time_h(to_inside(65_000.0, "gal"), to_inside(240.0, "gpm")) == pytest.approx(4.5139, abs=1e-3)
    assert turnover_time_h(to_inside(10_000.0, "gal"), to_inside(36.0, "gpm")) == pytest.approx(4.6296, abs=1e-4)


@pytest.mark.parametrize(
    "call",
    [
        lambda: filtered_share(-1),
        lambda: filtered_share(1, 1.1),
        lambda: turnovers_for_share(1),
        lambda: turnover_time_h(10, 0),
    ],
)
def test_outside_the_range(call) -> None:
    with pytest.raises(ValueError):
        call()
