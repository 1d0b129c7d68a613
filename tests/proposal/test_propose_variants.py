"""One log in many shapes: what each proposal has to say, and that all of them, filled in, lead to the same readings.

The readings are those of `variants.rows`, by arithmetic: nothing of the package computes them.
"""

from __future__ import annotations

from pathlib import Path

import polars as pl
import pytest

from pumpledger.orchestration.session import Session
from pumpledger.proposal.propose import propose
from tests.fleet_folder import write_fleet
from tests.proposal.filled import as_dialect, filled, stands
from tests.proposal.variants import VARIANTS, Variant, rows


def put(variant: Variant, folder: Path) -> list[Path]:
    folder.mkdir(parents=True, exist_ok=True)
    for name, content in variant.files.items():
        (folder / name).write_bytes(content)
    return [folder / name for name in variant.files]


@pytest.mark.parametrize("name", VARIANTS)
def test_what_the_proposal_says(name: str, tmp_path: Path) -> None:
    variant = VARIANTS[name]
    proposal = propose(put(variant, tmp_path))
    for key, (value, sureness) in variant.says.items():
        claim = proposal.claim(key)
        if not sureness:
            assert claim is None, claim
            continue
        assert claim is not None, key
        assert claim.sureness == sureness, claim
        assert value is None or claim.value == value, claim
        assert len(claim.evidence) > 3
    assert stands(proposal)[0] == (not proposal.asked), stands(proposal)[1]


@pytest.mark.parametrize("name", [name for name, variant in VARIANTS.items() if variant.keeps])
def test_filled_in_it_gives_the_same_readings(name: str, tmp_path: Path) -> None:
    variant = VARIANTS[name]
    text = filled(propose(put(variant, tmp_path / "seen")), variant.answers)
    assert as_dialect(text)[0] is not None, as_dialect(text)[1]
    folder = write_fleet(
        tmp_path / "fleet",
        {
            "dialects/proposed.toml": text,
            "sites.csv": "site_id,site_name,zone,pool_volume_m3\nS1,Made-up One,America/Phoenix,80\n",
            "pumps.csv": "pump_id,site_id\nP-1,S1\nP-2,S1\n",
        },
        {"log": ("*", "proposed")},
    )
    put(variant, folder / "inbox")
    session = Session(folder)
    intake = session.take_inbox()
    sums = intake.sums()
    files = [path for week in session.lake.reading_weeks() for path in session.lake.readings_files(week)]
    found = pl.concat([pl.read_parquet(path, glob=False) for path in files]).sort("time_utc", "pump_id")
    expected = rows(variant.days)
    assert (sums["readings"], sums["quarantine"], sums["rejects"]) == (len(expected), 0, 0)
    assert found["time_utc"].to_list() == [row.utc for row in expected]
    assert found["pump_id"].to_list() == [row.pump for row in expected]
    true = {
        "speed_rpm": [row.rpm for row in expected],
        "power_w": [row.watts for row in expected],
        "energy_total_kwh": [row.total_wh / 1000 for row in expected],
        "run_total_h": [row.run_s / 3600 for row in expected],
    }
    within = {"speed_rpm": 0.01, "power_w": 0.051, "energy_total_kwh": 0.001, "run_total_h": 0.01}
    for quantity in variant.keeps:
        assert found[quantity].to_list() == pytest.approx(true[quantity], abs=within[quantity]), quantity
