"""The register's pump curves by name: those that can be used, and what is wrong with the others.

Belongs here: from rows to curves. What a curve is stands in `pump.py`.
"""

from __future__ import annotations

import polars as pl

from pumpledger.hydraulics.pump import PumpCurve, points
from pumpledger.problems import CurveError


def pump_curves(rows: pl.DataFrame) -> tuple[dict[str, PumpCurve], dict[str, str]]:
    """Curves by name, and by name what is wrong with the others. A curve drawn at several speeds is not one curve.

    Args:
        rows: curve, speed_rpm [rev/min], flow_m3h [m3/h], head_m [m].
    """
    good: dict[str, PumpCurve] = {}
    faults: dict[str, str] = {}
    for (name,), part in rows.sort("curve", "speed_rpm", "flow_m3h").group_by("curve", maintain_order=True):
        speeds = part["speed_rpm"].unique()
        try:
            if len(speeds) != 1:
                raise CurveError("its points belong to several speeds; give each speed a curve of its own")
            good[str(name)] = points(part["flow_m3h"].to_list(), part["head_m"].to_list(), float(speeds[0]))
        except CurveError as error:
            faults[str(name)] = str(error)
    return good, faults
