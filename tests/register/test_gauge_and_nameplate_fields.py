"""Gauges, pipe size, nameplate and stated efficiency: from a register's files to the pump's curves."""

from __future__ import annotations

import polars as pl
import pytest
from register_folder import Folder

from pumpledger.hydraulics.speed_grid import build_speed_grid

NO_POINTS = pl.DataFrame(
    schema={"pump_id": pl.String, "speed_rpm": pl.Int64, "power_w": pl.Float64, "samples": pl.Int64}
)
PUMPS = (
    "pump_id,site_id,curve,pipe_size,nameplate_power_kw,nameplate_low_speed_rpm,nameplate_low_power_w,wire_to_water\n"
)
VISITS = "site_id,pump_id,day_local,work,speed_rpm,return_pressure_psi,suction_vacuum_inhg\n"


def test_us_gauges_reach_the_curves(folder: Folder) -> None:
    """15 psi and 6 inHg at 3450 rpm: 12.64 m by weight of water (facts 4j, within 0.2 % of the trade's 41.43 ft)."""
    folder.write("pumps.csv", PUMPS + "P-1,S-1,mid,,1.5,1725,250,\nP-2,S-2,mid,2 in,,,,0.4\n")
    folder.write("visits.csv", VISITS + "S-1,P-1,2026-10-02,check,3450,15,6\n")
    register = folder.load()
    assert not [problem for problem in register.problems if problem.severity != "warns"]
    found = build_speed_grid(register, NO_POINTS)
    first, second = found.curves.sort("pump_id").iter_rows(named=True)
    assert (first["flow_source"], first["power_source"]) == ("gauges", "nameplate points")
    assert (second["flow_source"], second["power_source"]) == ("pipe default", "stated efficiency")
    assert "12.6 m at 3450 rpm" in first["flow_basis"]
    # Between the points (15, 16) and (30, 8) head is linear in flow squared.
    head = (15 * 6.894757 + 6 * 3.386389) * 1000 / (998.2 * 9.80665)
    flow = (15**2 + (16 - head) / 8 * (30**2 - 15**2)) ** 0.5
    at_full = found.grid.filter((pl.col("pump_id") == "P-1") & (pl.col("speed_rpm") == 3450))
    assert at_full["flow_m3h_mid"][0] == pytest.approx(flow, rel=1e-4)


@pytest.mark.parametrize(
    ("file", "row"),
    [
        ("pumps.csv", PUMPS + "P-1,S-1,mid,3 in,,,,\n"),
        ("pumps.csv", PUMPS + "P-1,S-1,mid,,,,,40\n"),
        ("pumps.csv", PUMPS + "P-1,S-1,mid,,1.5,1725,-250,\n"),
        ("visits.csv", VISITS + "S-1,P-1,2026-10-02,check,3450,-15,6\n"),
        ("visits.csv", VISITS + "S-1,P-1,2026-10-02,check,3450,15,60\n"),
    ],
    ids=["no such pipe", "per cent for a share", "negative power", "negative pressure", "more than a vacuum"],
)
def test_values_that_cannot_be_are_named(folder: Folder, file: str, row: str) -> None:
    if file == "pumps.csv":
        row += "P-2,S-2,mid,,,,,\n"  # one site must be left to run
    problems = folder.write(file, row).load().problems
    assert [problem for problem in problems if problem.file == file and problem.line == 2]
