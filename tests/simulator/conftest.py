"""The demo fleet, written once for all tests of the simulator, and a pump with round numbers."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import polars as pl
import pytest

from pumpledger.simulator.fleet import ZONE, make_fleet
from pumpledger.simulator.horizon import Horizon, demo_horizon
from pumpledger.simulator.physics import Machine

# 20 m of head at no flow; 10 m of pipe friction at 20 m3/h; all round, all invented.
MACHINE = Machine(
    shutoff_head_m=20.0,
    linear=0.1,
    quadratic=0.02,
    static_head_m=1.0,
    friction=0.025,
    best_flow_m3h=18.0,
    best_efficiency=0.6,
    rated_shaft_w=1200.0,
    drive_efficiency=0.9,
    drive_loss_share=0.025,
    electronics_w=6.0,
    standby_w=4.0,
)


@dataclass(frozen=True)
class Demo:
    """A fleet folder and its horizon."""

    folder: Path
    horizon: Horizon

    def table(self, name: str) -> pl.DataFrame:
        """A CSV of the folder, days parsed."""
        return pl.read_csv(self.folder / name, try_parse_dates=True, infer_schema_length=None)

    def modes(self) -> dict[str, str]:
        """Pump of each seeded mode (of the one block of the demo)."""
        return dict(self.table("truth/seeded.csv").select("mode", "pump_id").iter_rows())


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Demo:
    """28 sites, two weeks, seed 7: the fleet of sample_data."""
    folder = tmp_path_factory.mktemp("quillmarsh")
    make_fleet(folder, 28, 2, 7)
    return Demo(folder, demo_horizon(ZONE, 2))


@pytest.fixture
def machine() -> Machine:
    """The pump with round numbers."""
    return MACHINE
